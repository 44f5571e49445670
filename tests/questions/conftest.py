"""Fewer draws of the machine for tests that do not ask for total intervals: they take the time."""

import pytest

from metersim.questions.compare.study import compare
from metersim.questions.ladder.study import ladder
from metersim.questions.shared import options
from metersim.questions.shared.unknowns import spread_about, spreads_about

FEW = 3
TOTALS = ("test_unknowns",)  # files with the usual number


@pytest.fixture(autouse=True)
def few_draws(request, monkeypatch):
    """Take few draws where a call names no number."""
    if request.module.__name__.rpartition(".")[2] in TOTALS:
        return
    for function in (compare, ladder, spread_about, spreads_about):
        monkeypatch.setitem(function.__kwdefaults__, "draws", FEW)
    monkeypatch.setattr(options.draws_of, "__defaults__", (FEW,))
