"""Fewer draws of the machine for tests that do not ask for total intervals: they take the time."""

import pytest

from metersim.questions.compare import command as of_compare
from metersim.questions.compare.study import compare
from metersim.questions.shared import options
from metersim.questions.shared.unknowns import spread_about, spreads_about
from metersim.questions.steps.study import steps

FEW = 3
TOTALS = ("test_unknowns",)  # files with the usual number


@pytest.fixture(autouse=True, scope="module")
def few_draws(request):
    """Take few draws where a call names no number, in fixtures of a module too."""
    if request.module.__name__.rpartition(".")[2] in TOTALS:
        yield
        return
    with pytest.MonkeyPatch.context() as patch:
        for function in (compare, steps, spread_about, spreads_about):
            patch.setitem(function.__kwdefaults__, "draws", FEW)
        patch.setattr(options.draws_of, "__defaults__", (FEW,))
        patch.setattr(of_compare, "DRAWS", FEW)
        yield
