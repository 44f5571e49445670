"""Lists what is shipped."""

from __future__ import annotations

import argparse

from metersim.reports.lists import LISTS


def answer(options: argparse.Namespace) -> str:
    """The list that the options ask for."""
    return LISTS[options.what]()
