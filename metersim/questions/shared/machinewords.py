"""What is said of a machine: its rows, their vacuum and the start, in sentences and a table."""

from __future__ import annotations

from metersim.measures.intervals import Estimate
from metersim.questions.shared.alike import DIFFER, ONE
from metersim.questions.shared.answer import MOST_ROWS, told
from metersim.questions.shared.machinerun import MachineRun
from metersim.questions.shared.notes import decisive, emptied_text, level_text
from metersim.questions.shared.words import about_quantity, plural, shown

EMPTY = "empty"  # discs at the start of a pass
GAUGE_OFF = 0.06  # share of the vacuum asked for from which a gauge that reads another is said
FAR = 0.02  # share of the planned seeds from which a row that is off is said
NAMES = {"cells.skip": "skips", "cells.double": "doubles"}
SHARES = ("cells.skip", "cells.double", "per_spacing.multiple", "per_spacing.miss")
HEADS = ("row", "skips", "doubles", "close", "missed spacings", "seeds placed", "vacuum")


def rows_sentence(found: MachineRun) -> str:
    """Skips and doubles of all rows, and whether rows differ."""
    whole, many = found.measured.whole, len(found.numbers)
    skips, doubles = (told("share", whole[key])[0] for key in NAMES)
    return f"Skips {skips}, doubles {doubles} over {many} {plural(many, 'row')}{_differs(found)}."


def _differs(found: MachineRun) -> str:
    """Which row differs, as the end of a sentence."""
    rows = found.measured.rows
    for key, one in found.kinds.items():
        if one.verdict == ONE:
            row = found.numbers[one.likeliest]
            return f"; row {row} has {told('share', rows[row][key])[0]} {NAMES[key]}"
    for key, one in found.kinds.items():
        if one.verdict == DIFFER:
            low, high = _ends({row: each[key].value for row, each in rows.items()})
            least, most = (told("share", rows[row][key])[0] for row in (low, high))
            return f"; {NAMES[key]} are {least} in row {low} and {most} in row {high}"
    return "; in these no difference between rows is detected" if found.kinds else ""


def _ends(values: dict[int, float]) -> tuple[int, int]:
    """Rows with the least and the greatest value."""
    return min(values, key=lambda row: values[row]), max(values, key=lambda row: values[row])


def facts_of(found: MachineRun, units: str) -> list[str]:
    """Further sentences, the most important first."""
    said = [
        start_sentence(found),
        gauge_sentence(found, units),
        plan_sentence(found),
        first_seed_sentence(found, units),
    ]
    return [one for one in said if one]


def gauge_sentence(found: MachineRun, units: str) -> str:
    """A gauge that reads another vacuum than was asked for; else empty."""
    if not is_set_otherwise(found):
        return ""
    reads, wanted = found.measured.air("reading").middle, found.measured.scenario.vacuum.vacuum
    now, then = (about_quantity("pressure", one, units) for one in (reads, wanted))
    return f"The gauge reads {now}; it read {then} when the fan was set."


def vacuum_sentence(found: MachineRun, units: str) -> str:
    """The vacuum at the rows that have least and most of it."""
    middle = {row: found.measured.vacuum[row].middle for row in found.numbers}
    low, high = _ends(middle)
    least, most = (about_quantity("pressure", middle[row], units) for row in (low, high))
    said = f"The vacuum is {least} at row {low}"
    if low != high:
        said += f" and {most} at row {high}"
    return f"{said}."


def start_sentence(found: MachineRun) -> str:
    """How many cells the first turns miss, if that is more than later; else empty."""
    start = found.measured.start
    if not start.turns:
        return ""
    miss, later = told("share", start.share(0, start.turns))[0], told("share", start.settled)[0]
    turns = f"{start.turns} turns" if start.turns > 1 else "turn"
    verb = "miss" if start.turns > 1 else "misses"
    return f"The first {turns} after the start {verb} {miss} of the seeds; later turns {later}."


def plan_sentence(found: MachineRun) -> str:
    """Which rows get more or fewer seeds than planned, if that is more than doubles; else empty."""
    values = {row: one.value for row, one in found.of_plan.items()}
    low, high = _ends(values)
    far = [row for row in (low, high) if _is_far(found.of_plan[row])]
    if not far or values[high] - values[low] < FAR:
        return ""
    ends = " and ".join(f"{100 * values[row]:.0f} % in row {row}" for row in (low, high))
    return f"Seeds placed, of those planned for the row's ground: {ends}."


def _is_far(one: Estimate) -> bool:
    return one.high < 1 - FAR or one.low > 1 + FAR


def first_seed_sentence(found: MachineRun, units: str) -> str:
    """Where an empty disc drops its first seed; empty where discs were filled."""
    start = found.measured.start
    if found.measured.scenario.travel.start != EMPTY or not start.first > 0:
        return ""
    where = about_quantity("distance", start.first, units, 2)
    return f"The discs start empty: the first {where} after the start stay bare."


def notes_of(found: MachineRun, units: str) -> list[str]:
    """Notes that change the answer."""
    made, toolbar = [], found.measured.scenario.toolbar
    parked = toolbar.rows - len(found.numbers)
    if parked and toolbar.parked == "open":
        rows = f"{parked} parked {plural(parked, 'row')}"
        made.append(f"The vacuum of {rows} is not sealed off: air leaks in through their holes.")
    made += [
        f"Row {row}: {emptied_text(one, units)}"
        for row, one in found.measured.rows.items()
        if one.emptied
    ][:1]
    own = [row for row, _ in found.measured.scenario.rows if row in found.numbers]
    if own:
        rows = ", ".join(map(str, own))
        made.append(f"{plural(len(own), 'Row').capitalize()} {rows}: with changes of their own.")
    return made + [one for one in decisive(found.measured.whole, units) if "hopper" not in one]


def is_set_otherwise(found: MachineRun) -> bool:
    """Whether the gauge reads another vacuum than was asked for."""
    wanted, reads = found.measured.scenario.vacuum.vacuum, found.measured.air("reading").middle
    return abs(reads - wanted) > GAUGE_OFF * wanted


def row_cells(found: MachineRun, row: int | None, units: str) -> list[str]:
    """Cells of the table on a row, or on all rows, with as many digits as the counts bear."""
    one = found.measured.whole if row is None else found.measured.rows[row]
    cells = [told("share", one[key])[0] for key in SHARES]
    cells.append(told("per_area", one["placed.per_area"], units)[0])
    if row is None:
        return [*cells, ""]
    return [*cells, pressure(found.measured.vacuum[row].middle, units)]


def total_cells(found: MachineRun, units: str) -> list[str]:
    """Cells of the table with the total intervals of all rows."""
    kinds = {key: "share" for key in SHARES} | {"placed.per_area": "per_area"}
    return [*(told(kind, found.whole.total(key), units)[1] for key, kind in kinds.items()), ""]


def pressure(value: float, units: str) -> str:
    """A vacuum without its unit, in three digits."""
    return f"{shown('pressure', value, units)[0]:.3g}"


def table(found: MachineRun, units: str) -> list[tuple[str, ...]]:
    """Heads, all rows, their interval, and the rows that are worst where not all fit."""
    rows = found.measured.rows
    room = MOST_ROWS - 2
    worst = sorted(rows, key=lambda row: -_worse(found, row))[:room]
    kept = sorted(worst) if len(rows) > room else list(rows)
    symbol = shown("pressure", 1.0, units)[1]
    heads = (*HEADS[:-1], f"vacuum [{symbol}]")
    names = {row: f"{row}" for row in kept}
    first = "all rows" if len(rows) <= room else f"all {len(rows)} rows"
    return [
        heads,
        (first, *row_cells(found, None, units)),
        (level_text(found.spread.level), *total_cells(found, units)),
        *((names[row], *row_cells(found, row, units)) for row in kept),
    ]


def _worse(found: MachineRun, row: int) -> float:
    """Skips and doubles of a row, by which rows are chosen for the table."""
    one = found.measured.rows[row]
    return one["cells.skip"].value + one["cells.double"].value
