"""The answer of `measured`: the verdict first, then a table; the report is below with details."""

from __future__ import annotations

import math
from collections.abc import Sequence

from metersim.measures.cellfit import WIDE
from metersim.measures.intervals import Estimate
from metersim.questions.measured.cells import ENOUGH, FITTED, GIVEN, ValuePair
from metersim.questions.measured.pattern import has_pattern, pattern_sentences
from metersim.questions.measured.rows import (
    DOUBLE,
    MISSING,
    SCATTER,
    SKIP,
    RowDifference,
    RowFit,
    row_differences,
)
from metersim.questions.measured.study import Counted
from metersim.questions.measured.text import LONG, is_off, long_gaps, measured_text
from metersim.questions.measured.verdict import (
    PARTS,
    Finding,
    findings,
    is_misfit,
    population,
    visible,
)
from metersim.questions.shared.answer import MOST_ROWS, Answer, plain, told
from metersim.questions.shared.words import aligned, plural, quantity, set_quantity, shown

AT_THE_METER = (
    "stop machine and fan before a hand goes near the meter; keep out of treated-seed dust. "
    "Manual first."
)
LONGEST_LABEL = 28  # letters of a row's name in the table
SHOWN = (
    ("per_spacing.quality", "normal spacings"),
    ("per_spacing.multiple", "close spacings"),
    ("per_spacing.miss", "missed spacings"),
    ("precision", "spread of normal spacings"),
    ("fit.skip", "skips, of all cells"),
    ("fit.emergence", "seeds that emerged"),
    ("fit.double", "doubles, of all cells"),
)
KIND = {SKIP: "share", DOUBLE: "share", MISSING: "share", SCATTER: "length"}
VERBS = {
    SKIP: ("has more skips", "There are {} skips"),
    DOUBLE: ("has more doubles", "There are {} doubles"),
    SCATTER: ("scatters more", "Spacings scatter {}"),
    MISSING: ("has more missing plants", ""),
}


def measured_answer(found: Counted, units: str = "metric", details: bool = False) -> str:
    """The printed answer; with details the whole report below it.

    Parameters
    ----------
    found : Counted
        Measured spacings with their prediction.
    units : str
        ``metric`` or ``us``.
    details : bool
        Whether to print the report.
    """
    rows = row_differences(found.each, found.level)
    differing = findings(found)
    is_near_a_meter = bool(rows) or any(one.is_higher for one in differing)
    is_near_a_meter |= has_pattern(found.folds)
    if found.each:
        first = _first_of_rows(found, rows, differing, units)
        table = _row_table(found, rows, units)
    else:
        first, table = _first(found, differing, units), _table(found, units)
    by_hole = pattern_sentences(found.folds)
    notes = _notes(found)
    if has_pattern(found.folds):
        first = [by_hole[0], *first][:3]
        by_hole = by_hole[1:]
    return Answer(
        caution=AT_THE_METER if is_near_a_meter and not found.slip else "",
        first=first,
        notes=[*by_hole, *notes],
        table=table,
        assumes=_assumes(found, units),
        details=[*_every_row(found, rows, units), *measured_text(found, units).splitlines()],
    ).text(details)


def _first(found: Counted, differing: Sequence[Finding], units: str) -> list[str]:
    """Verdict, what these spacings cannot distinguish, and the stand."""
    cannot = cannot_distinguish(found)
    many = f"{found.size:,} spacings"
    if found.slip:
        return ["No verdict: the unit of the file is in doubt.", found.slip.question()]
    if found.size < ENOUGH:
        verdict = [f"{many} are too short for a verdict; {ENOUGH} are needed.", cannot]
    elif is_misfit(found):
        verdict = ["No verdict: the fitted cells do not describe these spacings."]
    elif differing:
        verdict = [difference_text(one, units) for one in differing[:2]]
    else:
        verdict = [f"No difference from the prediction is detected in {many}.", cannot]
    return [*filter(None, verdict), _stand(found, units)][:3]


def cannot_distinguish(found: Counted) -> str:
    """What spacings of this number cannot distinguish, as an example."""
    edges = visible(found)
    if edges is None:
        return ""
    low, high = (f"{100 * edge:.0f} %" for edge in edges)
    return f"{found.size:,} spacings cannot distinguish {low} from {high} normal spacings."


def difference_text(one: Finding, units: str) -> str:
    """A difference from the prediction, and the part that is likely where it is worse."""
    pair = one.pair
    (own, _), other = told(pair.measure.kind, pair.measured, units), _predicted(pair, units)
    verb = VERBS[one.name][1].format("more" if one.is_higher else "less")
    verb = verb.replace("are less", "are fewer")
    said = f"{verb} than predicted: {own}, predicted {other}."
    return f"{said} Likely part: {one.part}." if one.is_higher else said


def _stand(found: Counted, units: str) -> str:
    value, reach = told("per_area", population(found), units)
    what = "Plants" if found.emergence in (FITTED, GIVEN) else "Seeds"
    where = f"{what} in the row: {value}"
    return f"{where}." if math.isnan(population(found).low) else f"{where}, {reach}."


def _first_of_rows(
    found: Counted, rows: Sequence[RowDifference], differing: Sequence[Finding], units: str
) -> list[str]:
    """Which rows are worse, or that none can be distinguished."""
    if found.slip:
        return ["No verdict: the unit of the file is in doubt.", found.slip.question()]
    fitted = [one for one in found.each if one.values]
    short = len(found.each) - len(fitted)
    said = [row_text(one, units) for one in rows[:2]]
    if len(rows) > 2:
        said.append(
            f"{len(rows) - 2} further {plural(len(rows) - 2, 'difference')}: see the table."
        )
        return said
    if len(fitted) < 2:
        said = [f"The rows are too short for a verdict: {ENOUGH} spacings in each are needed."]
        return [*said, *filter(None, [cannot_distinguish(found)]), _stand(found, units)]
    if not rows:
        besides = f"; {short} {plural(short, 'row')} too short for a verdict" if short else ""
        said = [f"These {len(fitted)} rows cannot be distinguished in any measure{besides}."]
    if differing and not rows:
        said.append(difference_text(differing[0], units))
    elif not differing and not is_misfit(found):
        said.append("No difference of all rows together from the prediction is detected.")
    return [*said, _stand(found, units)][:3]


def row_text(one: RowDifference, units: str) -> str:
    """A row that is worse than the others, and the part that is likely."""
    own, other = (_size(KIND[one.name], value, units) for value in (one.own, one.others))
    verb = VERBS[one.name][0]
    return f"{one.label} {verb}: {own}, the others {other}. Likely: {PARTS[one.name]}."


def _size(kind: str, value: float, units: str) -> str:
    amount, symbol = shown(kind, value, units)
    return f"{amount:.2g} {symbol}"


def _notes(found: Counted) -> list[str]:
    """Notes that change the answer."""
    if found.slip:
        return []
    notes = []
    if long := long_gaps(found):
        notes.append(
            f"{long} spacings are over {LONG:g} nominal ones. Give rows of their own to stretches "
            "between stops."
        )
    if is_misfit(found):
        notes.append(
            "Look at the picture (--figure): several rows in one, another speed, or cells of three?"
        )
    elif found.fit is not None and is_off(found.fit):
        notes.append(
            f"The distance between cells is {100 * found.fit.distance.value:.3g} % of the nominal "
            "spacing. Check rate, row spacing, speed, slip and unit."
        )
    if found.fit is not None and found.fit.is_wide and found.each:
        notes.append(
            f"Scatter is over {100 * WIDE:g} % of the spacing. Skips and doubles are less certain."
        )
    return notes


def _predicted(one: ValuePair, units: str) -> str:
    """The predicted value with the digits that the interval bears."""
    value = one.predicted.value
    if math.isnan(value):
        return ""
    known = one.predicted if not math.isnan(one.predicted.low) else one.measured
    half = (known.high - known.low) / 2
    if math.isnan(half):
        return quantity(one.measure.kind, value, units)
    return told(one.measure.kind, Estimate(value, value - half, value + half), units)[0]


def _table(found: Counted, units: str) -> list[tuple[str, ...]]:
    level = f"{found.level:.0%}".replace("%", " %")
    rows: list[tuple[str, ...]] = [("", "measured", f"{level} interval", "predicted")]
    for key, label in SHOWN:
        if key not in found:
            continue
        one = found[key]
        value, reach = told(one.measure.kind, one.measured, units)
        if math.isnan(one.measured.low):
            value, reach = quantity(one.measure.kind, one.measured.value, units), "too short"
        rows.append((label, value, reach, _predicted(one, units)))
    stand = told("per_area", population(found), units)
    what = "plants" if found.emergence in (FITTED, GIVEN) else "seeds"
    rows.append((f"{what} in the row", stand[0], stand[1].replace("the run is ", ""), ""))
    return rows


def _row_table(found: Counted, rows: Sequence[RowDifference], units: str) -> list[tuple[str, ...]]:
    """One line a row; of many rows those that differ, then the others in their order."""
    heads = ["", "spacings", *row_measures(found)]
    differing = {one.label for one in rows}
    each = sorted(found.each, key=lambda one: one.label not in differing)
    most = MOST_ROWS if len(each) <= MOST_ROWS else MOST_ROWS - 1
    order = [one.label for one in found.each]
    each = sorted(each[:most], key=lambda one: order.index(one.label))
    lines = [tuple(heads), *(row_cells(found, one, rows, units) for one in each)]
    if more := len(found.each) - most if len(found.each) > most else 0:
        lines.append((f"{more} more: --details", *[""] * (len(heads) - 1)))
    return lines


def _every_row(found: Counted, rows: Sequence[RowDifference], units: str) -> list[str]:
    """Lines of the table of all rows, for the report."""
    if not found.each:
        return []
    cells = [row_cells(found, one, rows, units) for one in found.each]
    return [*aligned([("", "spacings", *row_measures(found)), *cells]).splitlines(), ""]


def row_measures(found: Counted) -> list[str]:
    """Columns of a table of rows."""
    return [SKIP, DOUBLE, SCATTER, *([MISSING] if found.emergence in (FITTED, GIVEN) else [])]


def row_cells(
    found: Counted, one: RowFit, rows: Sequence[RowDifference], units: str
) -> tuple[str, ...]:
    """Cells of a row in a table: values with intervals, and a mark where it is worse."""
    worse = {(part.label, part.name) for part in rows}
    name = one.label
    if len(name) > LONGEST_LABEL:
        name = f"...{name[3 - LONGEST_LABEL :]}"
    cells = [name, f"{one.size:,}"]
    for name in row_measures(found):
        if name in one.values:
            value, reach = told(KIND[name], one.values[name], units)
            mark = " *" if (one.label, name) in worse else ""
            cells.append(f"{value} ({reach.replace(' to ', '-')}){mark}")
        elif not one.values:
            cells.append("too short")
        else:
            cells.append("as given" if name == MISSING else "as predicted")
    return tuple(cells)


def _assumes(found: Counted, units: str) -> str:
    """What the answer rests on."""
    scenario = found.scenario
    parts = [
        f"prediction of {scenario.title}: one seed every "
        f"{quantity('length', scenario.spacing, units)} at "
        f"{set_quantity('speed', scenario.demand.speed, units)}"
    ]
    if found.emergence == GIVEN:
        parts.append(f"{plain(100 * found.left, 1)} % of the seeds emerge, as given")
    elif found.emergence == FITTED:
        parts.append("skips as predicted: spacings do not distinguish a skip from a missing plant")
    if found.each:
        parts.append("* is worse than the others; 5 false alarms in 100 such answers")
    return "; ".join(parts)
