"""What the page says of a setting: sentences, a table, and what differs from the pinned one."""

from __future__ import annotations

from typing import Any

from metersim.machine.airline import middle_row
from metersim.measures.indices import BY_KEY
from metersim.measures.limits import cautions
from metersim.questions.explore.controls import label_of
from metersim.questions.explore.result import SAMPLING, TOTAL, Redrawn
from metersim.questions.shared.answer import capital, change_told, is_distinct, movement
from metersim.questions.shared.notes import in_doubt, level_text
from metersim.questions.shared.rowwords import (
    MUCH_SPILT,
    NO_SEED,
    lying,
    main_cause,
    spilt_text,
    told_first,
)
from metersim.questions.shared.words import FIRST, plain_name

EVEN = "Nothing spoils the spacings: every cell released one seed into its place."
ALIKE = "No difference from the pinned setting is detected."
HELD = {SAMPLING: "sampling error alone", TOTAL: "all uncertainty"}


def words_of(result: Redrawn, units: str = "metric") -> dict[str, Any]:
    """The words of a result for the page.

    Parameters
    ----------
    result : Redrawn
        Its intervals are those that its state names.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    dict
        ``headline``, ``outside``, ``warnings`` and ``differs`` are lists of sentences, ``spoils``
        is one.  ``heads`` are those of the columns of ``table``; a row has a measure, its value,
        its interval and its difference from the pinned setting, None without one.
    """
    measured, scenario = result.measured, result.scenario
    shown = told_first(result.estimates, units)
    headline = lying(measured, shown, units)
    if not measured.total("seeds"):
        headline = [NO_SEED]
    if measured.spilt_share > MUCH_SPILT:
        headline.append(spilt_text(measured, units))
    if scenario.is_toolbar:
        whose = f"row {middle_row(scenario)} of {scenario.toolbar.rows}"
        headline.append(f"This is {whose} alone: the command run gives all rows.")
    found = cautions(scenario, units, named=lambda place, _: label_of(place))
    return {
        "headline": headline,
        "spoils": main_cause(measured) or EVEN,
        "outside": [f"{capital(line)}." for line in found],
        "warnings": [
            *in_doubt(measured, units),
            *(f"{capital(line)}." for line in scenario.warnings(units)),
        ],
        "heads": [
            "",
            "expected",
            f"{level_text(measured.level)}, {HELD[TOTAL if result.spread else SAMPLING]}",
            "difference from the pinned setting",
        ],
        "table": [[label, *shown[key], _difference(result, key, units)] for key, label in FIRST],
        "differs": _differs(result, units),
    }


def _difference(result: Redrawn, key: str, units: str) -> str | None:
    if result.pinned is None:
        return None
    return change_told(BY_KEY[key].kind, result.differences[key], units)


def _differs(result: Redrawn, units: str) -> list[str]:
    """A sentence on each difference from the pinned setting that is detected."""
    if result.pinned is None:
        return []
    said = [
        capital(movement(plain_name(key), BY_KEY[key].kind, result.differences[key], units))
        for key, _ in FIRST
        if is_distinct(result.differences[key])
    ]
    return said or [ALIKE]
