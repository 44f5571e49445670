"""A bank of possible meters, and what they show: machines, faults, and the surface between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.measures.scales import ANGLE
from metersim.questions.next.hypotheses import EACH, FINE, Points, draw_points, named
from metersim.questions.next.possible import Machines, bent_shares, discrepancy, draw_machines
from metersim.questions.next.shown import through_holes, through_lens, through_slip
from metersim.questions.next.surface import OTHERS, RUNS, Surface, run_meters, surface_of, where
from metersim.questions.shared.looks import BELT, BY_SENSOR, KINDS, KNOWN, SPACED, Levels
from metersim.questions.shared.settings import SETTINGS
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

ALL, SHARED, NONE = "all", "shared", "none"
"""Errors of the model in shares: all, those that all settings of a meter share, or none."""


@dataclass(frozen=True, eq=False)
class Bank:
    """Possible meters and what they show, before anything is counted.

    Attributes
    ----------
    base : Scenario
        Present settings.
    points : Points
        Possible meters.
    machines : Machines
        Their machines.
    surface : Surface
        What they show at any settings.
    known : dict
        Rates of meters in order that were worked out before, by settings and way of looking.
    """

    base: Scenario
    points: Points
    machines: Machines
    surface: Surface
    known: dict[tuple[str, str], Levels] = field(default_factory=dict, repr=False)


def bank(
    base: Scenario,
    settings: Sequence[Scenario],
    ways: Sequence[str],
    *,
    spent: bool = False,
    lens_clean: bool = False,
    seed: int = 1,
    runs: int = RUNS,
    each: int = EACH,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Bank:
    """Draw possible meters, and run some of them.

    Parameters
    ----------
    base : Scenario
        Present settings.
    settings : sequence of Scenario
        Further settings at which the meters are of interest, see `comparable`.
    ways : sequence of str
        Ways of looking.
    spent : bool
        Whether the seed that was used is known.
    lens_clean : bool
        Whether the lens of the sensor is known to be clean.
    seed : int
        Random seed of points, machines and runs.
    runs : int
        Runs of possible meters.
    each : int
        Possible meters of each fault.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.  The result is the same.
    on_run : callable, optional
        Function that takes the number of finished runs.

    Raises
    ------
    BadInput
        When no possible meter can be run.

    Notes
    -----
    With `RUNS` runs, chances of hypotheses after a count lie less than 4 percentage points (root
    mean square) from those of three times as many runs.
    """
    needed = dict.fromkeys([BELT, *ways])
    names = named(
        sensed=not {*BY_SENSOR}.isdisjoint(needed),
        lens_clean=lens_clean,
        drive_shows=spent or SPACED in needed,
    )
    points = draw_points(names, seed, each)
    machines = draw_machines(base, len(points), seed)
    places = [base, *settings]
    # in the shares of the priors, and evenly over each fault, whose meters are neighbours
    draws = Streams(seed).generator("runs of the surface")
    runs = min(runs, len(points))
    even = (np.arange(runs) + draws.random(runs)) / runs * points.prior.sum()
    dealt = draws.permutation(np.searchsorted(np.cumsum(points.prior), even))
    dealt = dealt.clip(max=len(points) - 1)
    ran = run_meters(
        base,
        # half of the runs are at the present settings
        [base if k % 2 else places[k // 2 % len(places)] for k in range(len(dealt))],
        points.of(dealt),
        machines.at(dealt),
        [*needed],
        seed=seed,
        executor=executor,
        on_run=on_run,
    )
    return Bank(base, points, machines, surface_of(base, ran, [*needed]))


def setting_name(meter: Scenario) -> str:
    """Name of the settings of a scenario; equal settings have equal names."""
    values = [float(setting.of(meter)) for setting in SETTINGS.values()]
    return " ".join(f"{value:.9g}" for value in values)


def shares_of(
    surface: Surface,
    meter: Scenario,
    way: str,
    points: Points,
    machines: Machines,
    *,
    errors: str = ALL,
) -> tuple[Floats, Floats]:
    """Shares of skips and doubles that possible meters show at the settings of a scenario.

    Parameters
    ----------
    surface : Surface
        What sound holes, a clean lens and a firm drive show.
    meter : Scenario
        Settings.
    way : str
        Way of looking.
    points : Points
        Possible meters.
    machines : Machines
        Their machines, with the discrepancy of the model.
    errors : str
        Errors to add: `ALL`, the discrepancy that all settings have as `SHARED`, or `NONE`.

    Returns
    -------
    tuple of ndarray
        Shares. [1]
    """
    return shares_with(surface, meter, way, points, machines, [errors])[0]


def shares_with(
    surface: Surface,
    meter: Scenario,
    way: str,
    points: Points,
    machines: Machines,
    several: Sequence[str],
) -> list[tuple[Floats, Floats]]:
    """The same with several choices of errors, each as in `shares_of`."""
    there, traits = where(meter, points, machines), machines.traits
    plain = [surface.angles(way, kind, there, traits) for kind in KINDS]
    made = []
    for errors in several:
        by, angles = np.zeros((len(points), 2)), plain
        if errors != NONE:
            by = machines.shift
        if errors == ALL:
            by = by + machines.apart(setting_name(meter))
            own = machines.deviates("error of the surface")
            angles = [
                one + own[:, k] * surface.error(way, kind, one)
                for k, (kind, one) in enumerate(zip(KINDS, plain, strict=True))
            ]
        shares = [ANGLE.back(one.clip(0.0, np.pi / 2)) for one in angles]
        skip, double = through_holes(
            *bent_shares(shares[0], shares[1], by),
            np.minimum(points.failing / meter.disc.cells, 1.0),
        )
        if way in BY_SENSOR:
            skip, double = through_lens(skip, double, points.lost)
        if way == SPACED:
            skip, double = through_slip(skip, double, points.slip * points.gaps)
        made.append((skip, double))
    return made


def in_order(bank: Bank, meter: Scenario, way: str) -> Levels:
    """Rates that possible meters in order show, with all errors of the model."""
    key = setting_name(meter), way
    if key not in bank.known:
        fine = np.flatnonzero(bank.points.which == bank.points.names.index(FINE))
        points, machines = bank.points.of(fine), bank.machines.at(fine)
        skip, double = shares_of(bank.surface, meter, way, points, machines)
        effects = [bank.surface.effects[way, kind] for kind in KINDS]
        bank.known[key] = Levels(skip, double, effects[0], effects[1])
    return bank.known[key]


def levels(bank: Bank, meter: Scenario, way: str) -> Levels:
    """Rates of all possible meters, each a mean over its errors at these settings.

    Notes
    -----
    An angle with a normal error of variance v is known as from a run of ``1/(4 v)`` cells.  So no
    count, however long, says more than the errors of surface and model at one setting allow.
    """
    surface, points, machines = bank.surface, bank.points, bank.machines
    skip, double = shares_of(surface, meter, way, points, machines, errors=SHARED)
    effects = [surface.effects[way, kind] for kind in KINDS]
    apart = discrepancy(bank.base)[1] ** 2
    variance = np.max(
        [
            apart + surface.error(way, kind, ANGLE.to(share)) ** 2
            for kind, share in zip(KINDS, (skip, double), strict=True)
        ],
        axis=0,
    )
    cells = max(*effects, 1.0) / np.maximum(4 * variance, 1 / KNOWN)
    return Levels(skip, double, effects[0], effects[1], cells)


def comparable(base: Scenario, meter: Scenario) -> bool:
    """Whether a count at other settings says something: all but the moved settings are the same."""
    moved = ("vacuum__vacuum", "singulator__notch", "pool__gate_opening", *OTHERS)
    same = {name: _field(base, name) for name in moved}
    return meter.replace(**same) == base.replace(**same)


def _field(scenario: Scenario, name: str) -> float:
    section, field = name.split("__")
    return float(getattr(getattr(scenario, section), field))
