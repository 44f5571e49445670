"""All that a page shows of one setting, as numbers and arrays, and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed
from metersim.machine.losses import REASONS
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured
from metersim.measures.indices import number_or_none, put
from metersim.measures.intervals import Estimate
from metersim.measures.limits import Cause, causes
from metersim.measures.spacing import PerSpacing
from metersim.questions.shared.jsonparts import counted_json, lost_json, uncertainty_json
from metersim.questions.shared.picture import EDGES, Strip, kind_of
from metersim.questions.shared.spread import Spread
from metersim.run.snapshot import Snapshot

SAMPLING, UPDATING, TOTAL = STATES = ("sampling only", "updating", "total")
"""What intervals hold: the sampling error, the same while draws are run, or all uncertainty."""


@dataclass(frozen=True, eq=False)
class Histogram:
    """Observed spacings by tenths of the nominal spacing.

    Attributes
    ----------
    counts : ndarray of int
        Spacings from each of `metersim.questions.shared.picture.EDGES` to the next one, which is
        included; the last are all spacings beyond.
    shares : PerSpacing
        Shares of multiples, normal spacings and misses.
    """

    counts: NDArray[np.int64]
    shares: PerSpacing


@dataclass(frozen=True, eq=False, kw_only=True)
class Redrawn:
    """All that a page shows of one setting.

    It holds no records of the run, so its size does not depend on the number of turns.

    Attributes
    ----------
    state : str
        One of `STATES`.
    done, draws : int
        Draws of machine and inputs that are finished, and those that the total needs.
    measured : Measured
        Sums and measures, with intervals of the sampling error.
    histogram : Histogram
        Spacings that the observer finds.
    strip : Strip
        A piece of the row.
    disc : Snapshot
        What sits on each hole at one moment.
    pinned : Measured, optional
        Measures of the pinned setting with common random numbers, if there is one.
    paired : mapping of str to Estimate
        Differences from the pinned setting by measure, with intervals of the sampling error; empty
        without a pinned setting.
    spread, change : Spread, optional
        Total uncertainty of the measures, and of the differences, when all draws are finished.
    """

    measured: Measured
    histogram: Histogram
    strip: Strip
    disc: Snapshot
    pinned: Measured | None = None
    paired: Mapping[str, Estimate] = field(default_factory=dict)
    state: str = SAMPLING
    done: int = 0
    draws: int = 0
    spread: Spread | None = None
    change: Spread | None = None

    def __repr__(self) -> str:
        of = ", ".join((self.scenario.name, *self.scenario.changes))
        return f"<Redrawn {of}: {self.state}, {self.done} of {self.draws} draws>"

    @property
    def scenario(self) -> Scenario:
        """All settings."""
        return self.measured.scenario

    @property
    def causes(self) -> list[Cause]:
        """Causes of uneven spacing, the one that spoils most first."""
        return causes(self.measured)

    @cached_property
    def estimates(self) -> Mapping[str, Estimate]:
        """Measures by key, with the intervals that `state` names."""
        spread = self.spread
        if spread is None:
            return self.measured.estimates
        return Keyed({key: spread.total(key) for key in self.measured})

    @cached_property
    def differences(self) -> Mapping[str, Estimate]:
        """Differences from the pinned setting by key, with the intervals that `state` names."""
        change = self.change
        if change is None:
            return self.paired
        return Keyed({key: change.total(key) for key in self.paired})

    def to_dict(self) -> dict[str, Any]:
        """All numbers for JSON, in SI, under the keys of the JSON of a run."""
        scenario, measured = self.scenario, self.measured
        made: dict[str, Any] = {
            "state": self.state,
            "draws_done": self.done,
            "draws": self.draws,
            "scenario": scenario.name,
            "changes": list(scenario.changes),
            "seed": measured.origin.seed,
            "version": measured.origin.version,
            "warnings": list(scenario.warnings()),
            **counted_json(measured, measured),
        }
        for key, estimate in self.estimates.items():
            put(made, key, estimate.to_dict())
        made["spacing"]["nominal_m"] = scenario.spacing
        made |= lost_json(measured, measured)
        if self.spread:
            made["uncertainty"] = uncertainty_json(self.spread)
        made["pinned"] = self._pinned_json() if self.pinned else None
        made["histogram"] = _histogram_json(self.histogram)
        made["strip"] = _strip_json(self.strip, scenario.seeds.length)
        made["disc"] = _disc_json(self.disc)
        return made

    def _pinned_json(self) -> dict[str, Any]:
        assert self.pinned is not None
        made: dict[str, Any] = {}
        for key, estimate in self.differences.items():
            put(made, key, estimate.to_dict())
        return {"changes": list(self.pinned.scenario.changes), "differences": made}


def _histogram_json(shown: Histogram) -> dict[str, Any]:
    shares = shown.shares
    return {
        "edges": EDGES.tolist(),  # in nominal spacings
        "counts": shown.counts[:-1].tolist(),
        "beyond": int(shown.counts[-1]),
        "spacings": shares.spacings,
        **{name: number_or_none(getattr(shares, name)) for name in ("multiple", "quality", "miss")},
    }


def _strip_json(shown: Strip, length: float) -> dict[str, Any]:
    """Cells and seeds of a strip; a seed has what its cell was, if the cell is in the strip."""
    kinds = [kind_of(many) for many in shown.released.tolist()]
    inside = dict(zip(shown.cells.tolist(), kinds, strict=True))
    seeds = shown.seeds
    rows = zip(
        seeds.cell.tolist(),
        seeds.position.tolist(),
        shown.own.tolist(),
        (length * seeds.size).tolist(),
        strict=True,
    )
    return {
        "low_m": shown.low,
        "high_m": shown.high,
        "cells": [
            {"cell": cell, "place_m": place, "what": what, "why": REASONS[code]}
            for (cell, what), place, code in zip(
                inside.items(), shown.places.tolist(), shown.reason.tolist(), strict=True
            )
        ],
        "seeds": [
            {
                "cell": cell,
                "position_m": position,
                "place_m": place,
                "length_m": long,
                "what": inside.get(cell),
            }
            for cell, position, place, long in rows
        ],
    }


def _disc_json(shown: Snapshot) -> dict[str, Any]:
    names = ("pool", "hopper", "falling", "landed", "spilt")
    return {
        "time_s": shown.time,
        "angle_rad": shown.turned.tolist(),
        "passage": shown.passage.tolist(),
        "carried": shown.carried.tolist(),
        "in_pool": shown.in_pool.tolist(),
        "on_the_way": shown.on_the_way.tolist(),
        "lost": {name: seeds.tolist() for name, seeds in shown.lost.items()},
        "released": shown.released.tolist(),
        "seeds": {name: getattr(shown, name) for name in names},
    }
