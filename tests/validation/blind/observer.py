"""What a person would say of a machine: an observer with thresholds of its own.

The person compares the machine with what it showed while it was in order.  Each answer comes from
a count or a look of usual length, so it can be wrong by chance.  All thresholds are assumptions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from metersim.machine.load import turning_of
from metersim.machine.rows import row_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.next.signs import Signs
from metersim.questions.shared.looks import BELT, SENSOR, Look
from tests.validation.blind.machines import Build, Case, Row, Shown, on_bench, real, show

LOOKED = 600  # seeds that pass while a person looks for a change on the display
NOTICED = 0.015  # least change of skips and doubles together that a person notices
RELATIVE = 0.3  # least change over what there was
OFF_ROW = 0.02  # skips and doubles over the usual ones at which a row is called affected
HARDER = 1.3  # speed over the usual one
HILL = "conditions.slope_along_deg=8"
LATER = 4.0  # h
AFTER_TURN = 4.0  # s
TURN_NOTICED = 0.02
TURNS, FAILS, OTHERS = 20, 0.4, 0.2
"""Turns for which a person watches holes, share of them in which a hole then fails, and most of
what the others may fail."""
AREA_ERROR, USED_OFF = 0.02, 0.05  # SD of seed used on an area, and what is called off
GAUGE_OFF = 0.08
TORQUE_HIGH = 1.25  # over that of the machine in order
DUG, SCATTER_WORSE = 150, 1.25  # spacings that are dug up
DUG_PLACES = 6  # at which the monitor showed a skip
SKIPS_SHOWN = 0.025  # on the monitor, from which a person digs to see
KEYS = ("speed", "slope", "hour", "turn")


def trouble(loads: NDArray[np.int64]) -> float:
    """Share of skips and doubles together. [1]"""
    return float(np.mean(loads != 1)) if len(loads) else 1.0


def change_word(now: float, before: float) -> str:
    """Whether trouble is worse than before, the same or better."""
    least = max(NOTICED, RELATIVE * before)
    return "worse" if now - before > least else "better" if before - now > least else "same"


def has_pattern(loads: NDArray[np.int64], holes: int) -> bool:
    """Whether a hole is seen to fail again and again."""
    turns = min(TURNS, len(loads) // holes)
    if turns == 0:
        return False
    failed = (loads[: turns * holes].reshape(turns, holes) != 1).mean(axis=0)
    return bool(failed.max() >= FAILS and np.median(failed) <= OTHERS)


@dataclass(frozen=True, eq=False, kw_only=True)
class Observer:
    """A person at a machine with a fault."""

    case: Case
    build: Build
    seed: int

    @cached_property
    def rng(self) -> np.random.Generator:
        """Chance of what the person measures."""
        return np.random.default_rng([self.seed, 1])

    def _seen(
        self, wrong: bool, nth: int, more: Sequence[str] = (), faster: float = 1.0, cells: int = 0
    ) -> Shown:
        made = real(self.case, self.build, wrong=wrong, more=more)
        made = made.replace(demand__speed=made.demand.speed * faster)
        return self._show(made, nth, cells)

    def _show(self, made: Scenario, nth: int, cells: int = 0) -> Shown:
        spacing = self.case.stated().spacing
        seed = 10 * self.seed + nth
        return show(made, self.build, spacing, seed=seed, cells=cells or 2 * LOOKED)

    @cached_property
    def now(self) -> Shown:
        """The machine as the person looks at it."""
        return self._seen(True, 0, cells=2 * max(self.case.counted, LOOKED))

    @cached_property
    def usual(self) -> Shown:
        """The same machine while it was in order."""
        return self._seen(False, 1)

    def _display(self, row: Row) -> NDArray[np.int64]:
        """What is counted: places of the monitor, or cells by hand."""
        return row.monitored() if self.case.counted_by == "monitor" else row.loads

    @cached_property
    def worst(self) -> int:
        """Place of the row that the person complains about."""
        return int(np.argmax([trouble(self._display(row)) for row in self.now.rows]))

    @property
    def row(self) -> Row:
        """The row that the person complains about."""
        return self.now.rows[self.worst]

    @cached_property
    def look(self) -> Look:
        """The count."""
        loads = self._display(self.row)[: self.case.counted]
        by_sensor = self.case.counted_by == "monitor"
        if len(loads) == 0:  # no pulse at all: every place is a skip
            loads = np.zeros(self.case.counted, dtype=np.int64)
        return Look(
            cells=len(loads),
            skips=int(np.sum(loads == 0)),
            doubles=int(np.sum(loads >= 2)),
            way=SENSOR if by_sensor else BELT,
        )

    def _against(self, other: Shown, before: Shown | None = None) -> str:
        first = self._seen(True, 2) if before is None else before
        now, was = (trouble(self._display(one.rows[self.worst])[:LOOKED]) for one in (other, first))
        return change_word(now, was)

    def rows(self) -> str:
        """Rows that show it; of a meter alone, what the person knows."""
        many = len(self.now.rows)
        if many == 1:
            return self.case.affected
        pairs = zip(self.now.rows, self.usual.rows, strict=True)
        off = sum(
            trouble(self._display(a)[:LOOKED]) - trouble(self._display(b)[:LOOKED]) > OFF_ROW
            for a, b in pairs
        )
        if off == 0:
            return self.case.affected
        return "one" if off == 1 else "all" if off == many else "several"

    def onset(self) -> str:
        """How it came."""
        return self.case.onset

    def pattern(self) -> str:
        """Whether the same hole fails again and again."""
        loads = self.row.pulses if self.case.counted_by == "monitor" else self.row.loads
        return "every N" if has_pattern(loads, self.row.of.disc.cells) else "random"

    def speed(self) -> str:
        """Skips and doubles at a higher speed."""
        return self._against(self._seen(True, 3, faster=HARDER))

    def slope(self) -> str:
        """Skips and doubles on a slope, against the level."""
        if self.row.of.conditions.slope_along or self.row.of.conditions.slope_across:
            level = ["conditions.slope_along_deg=0", "conditions.slope_across_deg=0"]
            found = self._against(self._seen(True, 2), self._seen(True, 4, level))
        else:
            found = self._against(self._seen(True, 4, [HILL]))
        return "worse" if found == "worse" else "same"

    def hour(self) -> str:
        """Skips and doubles some hours later."""
        hours = self.row.of.sensor.hours_since_brushing + LATER
        found = self._against(self._seen(True, 5, [f"sensor.hours_since_brushing={hours:g}"]))
        return "worse" if found == "worse" else "same"

    def turn(self) -> str:
        """Skips and doubles just after a turn, beyond those of the machine in order."""
        if not self.case.stated().is_toolbar:
            return "same"
        more = []
        for wrong in (True, False):
            row = self._seen(wrong, 6, ["start=empty"]).rows[self.worst]
            first = float(row.pulse_times[0]) if len(row.pulse_times) else 0.0
            early = trouble(row.monitored(first, first + AFTER_TURN))
            more.append(early - trouble(row.monitored(first + AFTER_TURN)))
        return "worse" if more[0] - more[1] > TURN_NOTICED else "same"

    def bench(self) -> str:
        """The same meter on a bench, counted by hand."""
        number = self.row.of.row or 1
        found = [
            self._show(on_bench(self.case, self.build, number, wrong=wrong), 7).rows[0].loads
            for wrong in (True, False)
        ]
        now, usual = (trouble(one[:LOOKED]) for one in found)
        return "same" if change_word(now, usual) == "worse" else "fine"

    def current(self) -> str:
        """Current or torque of the drive."""
        usual = real(self.case, self.build, wrong=False)
        usual = row_scenario(usual, self.row.of.row or 1) if usual.is_toolbar else usual
        ratio = turning_of(self.row.of).torque / turning_of(usual).torque
        return "high" if ratio > TORQUE_HIGH else "normal"

    def used(self) -> str:
        """Seed used on an area, from what is left in the hopper."""
        over = self.row.used * (1 + AREA_ERROR * self.rng.standard_normal()) - 1
        return "more" if over > USED_OFF else "less" if over < -USED_OFF else "as planned"

    def gauge(self) -> str:
        """Gauge against the vacuum that is stated."""
        over = self.now.gauge / self.case.stated().vacuum.vacuum - 1
        return "high" if over > GAUGE_OFF else "low" if over < -GAUGE_OFF else "normal"

    def stand(self) -> str:
        """Whether seeds lie where the monitor shows skips; the person digs at some of these."""
        if np.mean(self.row.monitored() == 0) < SKIPS_SHOWN:
            return "right"
        seeds, times = self.row.run.seeds, self.row.pulse_times
        wide = np.flatnonzero(np.diff(times) * self.row.of.demand.speed > 1.5 * self.row.spacing)
        dug = self.rng.permutation(wide)[:DUG_PLACES]
        unseen = seeds.sensor_time[~seeds.seen]
        lie = [bool(np.any((unseen > times[k]) & (unseen < times[k + 1]))) for k in dug]
        return "wrong" if 2 * sum(lie) > len(lie) else "right"

    def scatter(self) -> str:
        """Spacings of dug seeds, without skips and doubles."""
        spreads = []
        for row in (self.row, self.usual.rows[self.worst]):
            near = row.spaces[:DUG]
            near = near[(near > 0.5) & (near < 1.5)]
            spreads.append(float(np.std(near)) if len(near) > 1 else math.inf)
        return "worse" if spreads[0] > SCATTER_WORSE * spreads[1] else "same"

    @cached_property
    def said(self) -> Mapping[str, str]:
        """Answers of the person by sign."""
        asked: dict[str, Callable[[], str]] = {one: getattr(self, one) for one in self.case.reports}
        return {sign: answer() for sign, answer in asked.items()}

    def signs(self) -> Signs:
        """All that the person says, as the diagnosis takes it."""
        monitor = "spacing" if self.case.counted_by == "monitor" else None
        return Signs(counts=(self.look,), monitor=monitor, **self.said)
