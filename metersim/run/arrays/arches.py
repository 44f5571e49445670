"""Arches over the gate at many ticks, and the seeds that it can pass or that leak past it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from metersim.machine.gate import GateStation
from metersim.machine.moment import Moment
from metersim.run.draws import ArchDraws, Array

Whole = NDArray[np.int64]


class Arches:
    """Arches over the gate, and the seeds that it can pass; neither depends on the pool."""

    def __init__(self, gate: GateStation, draws: ArchDraws) -> None:
        self._gate, self._draws = gate, draws
        self._arched, self._before, self._passable = False, 0.0, 0.0
        self._wait = draws.wait()  # until an arch forms or clears, over the mean wait

    def go_on(self, times: Array, at: Moment) -> tuple[NDArray[np.bool_], Whole]:
        """Whether an arch stops the gate at the next ticks, and the seeds that it can pass."""
        arched, steps = np.full(len(times), self._arched), np.diff(times, prepend=self._before)
        rates = {False: self._gate.arch_rate(at), True: self._gate.clearing_rate(at)}
        waited = {state: np.cumsum(steps * rate) for state, rate in rates.items()}
        tick, since = 0, 0.0
        while tick < len(times):
            passed = waited[self._arched]
            changes = tick + int(np.searchsorted(passed[tick:], since + self._wait))
            if changes >= len(times):
                self._wait -= float(passed[-1]) - since
                break
            self._arched = not self._arched
            arched[changes:] = self._arched
            self._wait, tick = self._draws.wait(), changes + 1
            since = float(waited[self._arched][changes])
        able, self._passable = whole_seeds(self._passable, steps * self._gate.flow(at) * ~arched)
        if len(times):
            self._before = float(times[-1])
        return arched, able


def whole_seeds(before: float, passed: Array) -> tuple[Whole, float]:
    """Whole seeds that can pass by each tick since the one before it, and parts of seeds so far."""
    passable = np.cumsum(np.concatenate(([before], passed)))
    whole: Whole = passable.astype(np.int64)
    return whole[1:] - whole[:-1], float(passable[-1])
