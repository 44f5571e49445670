"""How the seeds of a row lie, in sentences and rows of a table."""

from __future__ import annotations

from collections.abc import Mapping

from metersim.measures.estimates import Measured
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.limits import causes
from metersim.questions.shared.answer import told
from metersim.questions.shared.words import FIRST, about_quantity, set_quantity

MUCH_SPILT = 1e-3  # of the seed used, from which an answer says so
NO_SEED = "No seed leaves the meter."

Told = Mapping[str, tuple[str, str]]
"""Value and interval in words, of each measure of a default table."""


def told_first(estimates: Mapping[str, Estimate], units: str = "metric") -> Told:
    """Value and interval in words of the measures of a default table, by key."""
    return {key: told(BY_KEY[key].kind, estimates[key], units) for key, _ in FIRST}


def lying(measured: Measured, shown: Told, units: str = "metric") -> list[str]:
    """Two sentences on spacings and cells.

    Parameters
    ----------
    measured : Measured
        Measures of the row.
    shown : mapping
        What `told_first` gives for them.
    units : str
        ``metric`` or ``us``.
    """
    scenario = measured.scenario
    normal, close, missed = (
        shown[f"per_spacing.{name}"][0].removesuffix(" %")
        for name in ("quality", "multiple", "miss")
    )
    speed = set_quantity("speed", scenario.demand.speed, units)
    where = "in the field" if scenario.in_field else "on the bench"
    return [
        f"{normal} of 100 spacings are normal, {missed} are missed and {close} are close, at "
        f"{speed} {where}.",
        f"Skips: {shown['cells.skip'][0]} of the cells. Doubles: {shown['cells.double'][0]}.",
    ]


def main_cause(measured: Measured) -> str:
    """A sentence on what makes most spacings uneven; empty if nothing does."""
    found = causes(measured)
    if not found:
        return ""
    return (
        f"Main cause of uneven spacing: {found[0].name}, {of_hundred(found[0].share)} "
        f"{counted(measured)}."
    )


def of_hundred(share: float) -> str:
    """A share as ``12 of 100``, with two digits."""
    return f"{float(f'{100 * share:.2g}'):g} of 100"


def counted(measured: Measured) -> str:
    """What the shares of causes are shares of."""
    return "spacings" if measured.total("spacings") else "cells"


def spilt_text(measured: Measured, units: str = "metric") -> str:
    """Seed that leaked out of the pool, in words; empty if none did."""
    if not measured.spilt:
        return ""
    mass = measured.spilt * measured.scenario.seeds.seed_mass
    lost = about_quantity("mass", mass, units, digits=2)
    share = f"{100 * measured.spilt_share:.2g} % of the seed used"
    return f"Thin seed leaks out between disc and housing: {lost}, {share}."
