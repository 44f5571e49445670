"""What the tests of facts share: runs at own coefficients, chances by hand, distances in SE."""

import dataclasses
import math
from functools import lru_cache

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.stations import stations_of
from metersim.run.simulation import simulate
from tests.strategies import BENCH, LOTS

# The places where a cell leaves the pool and where it is cut off, after it enters the pool.
LEAVES, CUT = math.radians(120), math.radians(330)


# The tests' own coefficients: closed forms are as sharp wherever the defaults go.
AT = Coefficients(
    orifice_dead_zone=1.4,
    side_outlet=0.45,
    arch_rate=1.0,
    arch_steepness=3.0,
    arch_clearing=1.0,
    arch_clearing_by_shock=10.0,
    avalanche_angle=0.0,
    slope_loss_by_shock=0.0,
    knock=0.15,
    resistance=8.0,
    hold_spread=0.41,
    resistance_cv=1.0,
    exit_zone=5.0,
    seal=0.65,
    depth_power=0.3,
    thin_bed=1.0,
    hole_spread=0.0,
    run_out=0.0,
    loosening=0.04,
    loss_power=0.5,
    seconds=0.3,
    seconds_power=1.4,
    seconds_knee=25.0,
    hole_power=3.0,
    seat_push=0.33,
    edge_zero=0.0,
    edge_speed=0.0,
    inner_gap=0.25,
    draw_slowness=2.2,
    draw_power=1.0,
    agitation_gain=2.4,
    eccentricity=0.08,
    blocked=0.0005,
    crowding_pitch=1.2,
    crowding_power=8.0,
    most_covered=0.5,
    push_spread=0.3,
    guide_narrowing=0.7,
    launch_spread=math.radians(8.0),
    double_lag=0.4,
    contacts=0.7,
    contact_damping=0.3,
    contact_loss=0.2,
    hardest_contact=0.9,
    curvature_contacts=1.0,
    wear_contacts=2.5,
    deflection=0.5,
    landing_scatter=0.008,
    hop=0.016,
    firmer_factor=0.5,
)


def tuned(**values):
    """The tests' own coefficients but for some."""
    return dataclasses.replace(AT, **values)


# No contact with a wall, every seed launched straight down and held where it lands, no cell
# blocked.
SMOOTH = {"contacts": 0.0, "curvature_contacts": 0.0}
CLEAN = SMOOTH | {"launch_spread": 0.0, "landing_scatter": 0.0, "blocked": 0.0}
# Beside that all seats central and even, so that seeds of one size are all alike.
ALIKE = CLEAN | {"eccentricity": 0.0, "hold_spread": 0.1, "resistance_cv": 0.0}


def meter(**changes):
    """The bench with some changes, also of its lot: ``lot="soybean"``, ``lot__pose_sd=0.0``."""
    lot = LOTS[changes.pop("lot", BENCH.seed.lot)]
    own = {key: changes.pop(key) for key in list(changes) if key.startswith("lot__")}
    values = {key.removeprefix("lot__"): value for key, value in own.items()}
    made = BENCH.replace(**changes)
    seed = dataclasses.replace(made.seed, lot=lot.name)
    return dataclasses.replace(made, lot=dataclasses.replace(lot, **values), seed=seed)


@lru_cache(maxsize=64)
def sown(coefficients=USUAL, seed=1, **changes):
    """A run of the bench at some coefficients; made once for each set of arguments."""
    scenario = meter(**changes)
    return simulate(scenario, seed=seed, stations=stations_of(scenario, coefficients))


def off_chances(found, chances):
    """Distance of a number of independent happenings from its chances, in standard errors."""
    chances = np.asarray(chances, dtype=float)
    return (found - chances.sum()) / math.sqrt((chances * (1 - chances)).sum())


def off_mean(values, mean, sd):
    """Distance of a mean of independent values from what is expected, in standard errors."""
    return (np.mean(values) - mean) / (sd / math.sqrt(len(values)))


def fallen(time, launch, steady):
    """Height of a fall with quadratic drag in a time, from a launch speed. [m]

    ``vt^2/g (ln cosh(g t/vt + a) - ln cosh(a))`` with ``tanh(a) = launch/vt``.
    """
    start = np.arctanh(launch / steady)
    end = GRAVITY * time / steady + start
    return steady**2 / GRAVITY * np.log(np.cosh(end) / np.cosh(start))


def open_share(travel, diameter):
    """Share of a round hole that is open when it has run this far past a straight edge. [1]"""
    c = np.clip(2 * travel / diameter - 1, -1, 1)
    return (np.arccos(c) - c * np.sqrt(1 - c**2)) / np.pi


def travels(run, place=0):
    """Travel of the holes past the edge when seeds of one place leave. [m]"""
    seeds, scenario = run.seeds, run.scenario
    mine = seeds.nth == place
    cut = (seeds.cell[mine] * 2 * math.pi / scenario.disc.cells + CUT) / scenario.angular_speed
    return (seeds.release_time[mine] - cut) * scenario.peripheral_speed


def first_of(run, column):
    """A column of the seeds, by cell, for cells that release their first seed; nan elsewhere."""
    seeds = run.seeds
    values = np.full(len(run.cells), np.nan)
    first = seeds.nth == 0
    values[seeds.cell[first]] = getattr(seeds, column)[first]
    return values
