"""Makes a lot file from a bag label or from measured seeds."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim import outputs
from metersim.faults import all_of, bad
from metersim.makelot import lot_from_label, lot_from_seeds, lot_toml
from metersim.reports.lot import made_text
from metersim.seedcsv import read_seeds
from metersim.seedlot import load_lot


def answer(options: argparse.Namespace) -> str:
    """Make and write a lot as the options say, and tell what it is made of."""
    like, seeds, _ = all_of(
        lambda: load_lot(options.like),
        lambda: read_seeds(Path(options.csv)) if options.csv else None,
        lambda: _check_out(options),
    )
    name = Path(options.out).stem
    if seeds is not None:
        made = lot_from_seeds(seeds, like, title=options.title, name=name)
    else:
        made = lot_from_label(
            like,
            seeds_per_kg=options.seeds_per_kg,
            seeds_per_lb=options.seeds_per_lb,
            title=options.title,
            name=name,
        )
    outputs.write_all([(options.out, lot_toml(made))])
    units = options.units or ("us" if options.seeds_per_lb else "metric")
    return made_text(made, options.out, units)


def _check_out(options: argparse.Namespace) -> None:
    outputs.check_writable([("--out", options.out)], [options.csv, options.like])
    if not options.out.lower().endswith(".toml"):
        raise bad("--out", options.out, "must end in .toml, so that a scenario can name it")
