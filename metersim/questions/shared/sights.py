"""What a run and a pass show, in one sentence that follows their numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from metersim.measures.observed import observed_spacings
from metersim.measures.rows import PassMeasured
from metersim.questions.shared.page import percent
from metersim.questions.shared.picture import binned
from metersim.questions.shared.words import quantity, set_quantity
from metersim.run.records import Run

MORE = "more are {} than {}"
ALIKE = 0.1  # shares that differ by less of the larger one count as equal
FEWEST = 5  # empty cells whose holes and order are looked at
APART = 1.8  # 90 % half intervals of a row that stands out: 1 row in 700 by chance
FAR = 0.1  # of the vacuum at the rows from that at the gauge, as a share, that is mentioned


def run_sight(run: Run) -> str:
    """What a run shows: a hole that fails, cells that are empty in rows, or the spacings."""
    released, cells = run.cells.released, run.scenario.disc.cells
    empty = np.flatnonzero(released == 0)
    if empty.size == released.size:
        return "no cell carries a seed, so there is no spacing."
    share = f"{percent(empty.size / released.size)} of cells are empty"
    by_hole = np.bincount(empty % cells, minlength=cells)
    hole = int(np.argmax(by_hole))
    if empty.size >= FEWEST and 2 * by_hole[hole] > empty.size:
        return f"{share}; {by_hole[hole]} of these {empty.size:,} are turns of hole {hole + 1}."
    in_rows, by_chance = _in_rows(released == 0)
    if empty.size >= FEWEST and 2 * in_rows > max(1, 4 * by_chance) * empty.size:
        return f"{share}; {in_rows:,} of these {empty.size:,} lie three or more in a row."
    _, index = binned(observed_spacings(run), run.scenario.spacing)
    if not index.spacings:
        return "fewer than two seeds fell, so there is no spacing."
    if index.quality == 1:
        return f"all {index.spacings:,} spacings are normal."
    close, missed = index.multiple, index.miss
    shown = {"close": f"close ({percent(close)})", "missed": f"missed ({percent(missed)})"}
    first, last = ("close", "missed") if close >= missed else ("missed", "close")
    form = "as many are {} as {}" if abs(close - missed) < ALIKE * max(close, missed) else MORE
    said = form.format(shown[first], shown[last])
    return f"{percent(index.quality)} of spacings are normal; {said}."


def _in_rows(empty: NDArray[np.bool_]) -> tuple[int, float]:
    """Empty cells with two empty neighbours in a row, and their share if cells were independent."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], empty, [False])).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    chance = float(empty.mean())
    return int(lengths[lengths >= 3].sum()), 1 - (1 - chance) ** 2 * (1 + 2 * chance)


def pass_sight(found: PassMeasured, units: str = "metric") -> str:
    """What a pass shows: a start with skips, a row that stands out, or the vacuum of the rows."""
    start, whole = found.start, found.whole["cells.skip"]
    if start.turns:
        first, later = percent(start.missed[0] / start.cells[0]), percent(start.settled.value)
        return f"the first turn misses {first} of its cells, later turns {later}."
    shares = {row: one["cells.skip"] for row, one in found.rows.items()}
    row, most = max(shares.items(), key=lambda one: one[1].value)
    together = percent(whole.value)
    if len(shares) > 1 and most.value - APART * (most.value - most.low) > whole.value:
        return f"row {row} misses {percent(most.value)} of its cells, all rows together {together}."
    middle = float(np.median([found.vacuum[row].middle for row in shares]))
    wanted = found.scenario.vacuum.vacuum
    if abs(middle / wanted - 1) < FAR:
        return f"no row stands out; all rows together miss {together} of their cells."
    stated, there = set_quantity("pressure", wanted, units), quantity("pressure", middle, units)
    return (
        f"the gauge was set to {stated}, the rows get {there} and miss {together} of their cells."
    )
