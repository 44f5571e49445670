"""The whole report on a machine: every row, the air, the start, and the parts of intervals."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.machine.scenario import Scenario
from metersim.measures.rows import OF_PLAN, ROW_KEYS, Middle
from metersim.questions.shared.answer import plain, told
from metersim.questions.shared.machinerun import MachineRun
from metersim.questions.shared.notes import (
    PROVE,
    asked,
    heading_of,
    interval_cells,
    interval_heads,
    interval_lines,
    notes,
)
from metersim.questions.shared.words import (
    GROUP,
    LABEL,
    aligned,
    block,
    interval_text,
    measure_name,
    number,
    quantity,
    shown,
)

MOST_TURNS = 10  # of the start that are printed


def report(found: MachineRun, units: str = "metric") -> list[str]:
    """Lines of the whole report.

    Parameters
    ----------
    found : MachineRun
        The machine.
    units : str
        ``metric`` or ``us``.
    """
    measured = found.measured
    scenario, whole = measured.scenario, measured.whole
    origins = [one.rows[0].tally.origin for one in measured.tallies]
    lines = [heading_of(origins[0])]
    if scenario.shows:
        lines.append(scenario.shows)
    lines += ["", *block("Asked", [*asked(scenario, units, at_middle=False), rows_text(scenario)])]
    counts = whole.counts
    watched = f"{counts['cells']:,} cells, {counts['seeds']:,} seeds"
    if len(origins) > 1:
        watched += f", {len(origins)} replicates"
    lines += ["", *block("Watched", [watched]), "", "All rows together"]
    lines += whole_lines(found, units)
    drawn = [
        *interval_lines(found.spread, True, units),
        f"inputs and model: from draws of row {found.drawn_row}, alike for all rows; estimate and "
        "sampling: of the counted rows themselves",
    ]
    lines += ["", *block("Interval", drawn), "", "Rows, with total intervals"]
    lines += row_lines(found, units)
    lines += ["", *block("Rows alike", alike_lines(found))] if found.kinds else []
    lines += ["", "Air", *air_lines(found, units)]
    lines += ["", "Start, by turn of the discs", *start_lines(found, units), ""]
    if said := notes(whole, units):
        lines += [*block("Note", said), ""]
    return [*lines, PROVE]


def rows_text(scenario: Scenario) -> str:
    """A line on rows that work and rows that do not."""
    toolbar, working = scenario.toolbar, len(scenario.working_rows)
    parked = toolbar.rows - working
    said = f"{working} of {toolbar.rows} rows work"
    return f"{said}; {parked} are parked, their vacuum {toolbar.parked}" if parked else said


def whole_lines(found: MachineRun, units: str) -> list[str]:
    """Lines with the measures of all rows, and the parts of each interval."""
    spread = found.whole
    lines = [f"{'':{GROUP + LABEL}}{'estimate':>14}   {interval_heads(spread.level, spread, True)}"]
    for key in ROW_KEYS:
        kind, value = spread.measures[key].kind, spread.total(key).value
        lines.append(
            f"{measure_name(key):{GROUP + LABEL}}{quantity(kind, value, units):>14}   "
            f"{interval_cells(spread, key, units, True)}"
        )
    one = found.measured.whole[OF_PLAN.key]
    said = f"{quantity('share', one.value):>14}   {interval_text('share', one)} (sampling alone)"
    return [*lines, f"{'seeds placed, of those planned':{GROUP + LABEL}}{said}"]


def row_lines(found: MachineRun, units: str) -> list[str]:
    """A line for each working row."""
    area = shown("per_area", 1.0, units)[1]
    heads = ["row", "skips, %", "", "by counts", "doubles, %", "", "by counts", "singulation, %"]
    heads += ["missed, %", "close, %", "precision, %", f"seeds {area}", "of plan, %"]
    table: list[Sequence[str]] = [heads]
    for row, spread in found.rows.items():
        cells = [f"{row}"]
        for key in ("cells.skip", "cells.double"):
            own = found.measured.rows[row][key]
            cells.append(told("share", own)[0].removesuffix(" %"))
            cells += [interval_text("share", one) for one in (spread.total(key), own)]
        for key in ("cells.single", "per_spacing.miss", "per_spacing.multiple", "precision"):
            own = found.measured.rows[row][key]
            cells.append(told("share", own)[0].removesuffix(" %"))
        placed = found.measured.rows[row]["placed.per_area"]
        cells.append(told("per_area", placed, units)[0].removesuffix(f" {area}"))
        cells.append(told("share", found.of_plan[row])[0].removesuffix(" %"))
        table.append(cells)
    return aligned(table).splitlines()


def alike_lines(found: MachineRun) -> list[str]:
    """Chances that all rows are alike, that one differs, and that all do, by kind of cell."""
    names = {"cells.skip": "skips", "cells.double": "doubles"}
    return [
        f"{names[key]}: {one.verdict}; chance of one cause for all rows "
        f"{100 * one.common_chance:.0f} %, of row {found.numbers[one.likeliest]} alone "
        f"{100 * one.row_chances[one.likeliest]:.0f} %, of a share for each row "
        f"{100 * one.several_chance:.0f} %"
        for key, one in found.kinds.items()
    ]


def air_lines(found: MachineRun, units: str) -> list[str]:
    """Vacuum of every row of the machine, and gauge, fan and flow."""
    measured = found.measured
    symbol, flow = shown("pressure", 1.0, units)[1], shown("flow", 1.0, units)[1]
    table: list[Sequence[str]] = [("", "least", "middle", "most", "")]
    parked = f"parked, {measured.scenario.toolbar.parked}"
    for row, one in measured.vacuum.items():
        where = "" if row in found.numbers else parked
        table.append((f"vacuum at row {row} [{symbol}]", *_three(one, "pressure", units), where))
    for name, label in (("at_fan", "at the fan"), ("reading", "gauge reads")):
        cells = _three(measured.air(name), "pressure", units)
        table.append((f"{label} [{symbol}]", *cells, ""))
    table.append((f"flow of the fan [{flow}]", *_three(measured.air("flow"), "flow", units), ""))
    table.append(("fan speed, of its greatest [%]", "", f"{100 * measured.fan_speed:.1f}", "", ""))
    return aligned(table).splitlines()


def _three(one: Middle, kind: str, units: str) -> list[str]:
    return [number(shown(kind, value, units)[0]) for value in (one.least, one.middle, one.most)]


def start_lines(found: MachineRun, units: str) -> list[str]:
    """A line for each of the first turns, and one for the settled part."""
    start = found.measured.start
    table: list[Sequence[str]] = [("turn", "ends [s]", "skips, %", "interval", "vacuum")]
    for k in range(min(len(start.missed), MOST_TURNS)):
        share = start.share(k, k + 1)
        table.append(
            (
                f"{k + 1}",
                plain(float(start.ends[k]), 0.2),
                told("share", share)[0].removesuffix(" %"),
                interval_text("share", share),
                quantity("pressure", float(start.vacuum[k]), units),
            )
        )
    half = len(start.missed) // 2
    late = start.settled
    table.append(
        (
            f"{half + 1} to {len(start.missed)}",
            plain(float(start.ends[-1]), 0.2),
            told("share", late)[0].removesuffix(" %"),
            interval_text("share", late),
            quantity("pressure", float(start.vacuum[half:].mean()), units),
        )
    )
    return aligned(table).splitlines()
