"""The meter where it must agree with closed forms: no vacuum, no scatter, thinned meetings."""

import dataclasses
import math

import numpy as np
import pytest

from metersim import records
from metersim.coefficients import USUAL
from metersim.measures import measure
from metersim.simulation import simulate
from metersim.spacing import cell_model
from metersim.stations import ReleaseStation, stations_of
from tests.strategies import BENCH, measured, ran, standard_error

# Every spread off that a coefficient can turn off: seats, contacts, directions, blocked cells.
# The vacuum that seeds need keeps its least spread.
STILL = dataclasses.replace(
    USUAL,
    hold_spread=0.1,
    eccentricity=0.0,
    blocked=0.0,
    launch_spread=0.0,
    contact_base=0.0,
    contact_by_speed=0.0,
)
EVEN = {"seed__size_cv": 0.0, "demand__rate": 4.0, "demand__speed": 1.0, "run__turns": 20}


class InstantRelease(ReleaseStation):
    """A cut-off that lets every seed go at the edge, whatever vacuum it needs."""

    def travel(self, share):
        """No travel past the edge."""
        return 0.0 * share


def still_stations(scenario, coefficients=STILL, release=ReleaseStation):
    """Stations without spread, with a release of this class."""
    stations = stations_of(scenario, coefficients)
    usual = stations.release
    values = {field.name: getattr(usual, field.name) for field in dataclasses.fields(usual)}
    return dataclasses.replace(stations, release=release(**values))


# ---------------------------------------------------------------- no vacuum


@pytest.mark.parametrize("surface", ["bench", "field"])
def test_without_vacuum_no_seed_is_sown(surface):
    run = simulate(BENCH.replace(vacuum__vacuum=0.0, run__turns=5, furrow__surface=surface))
    assert len(run.seeds) == 0
    assert run.cells.joined.sum() == 0
    assert measure(run)["cells.skip"].value == 1
    # negative control
    assert len(simulate(BENCH.replace(run__turns=5, furrow__surface=surface)).seeds) > 100


def test_without_vacuum_the_vacuum_is_to_blame():
    run = simulate(BENCH.replace(vacuum__vacuum=0.0, run__turns=5))
    assert set(run.cells.reason[run.cells.reason != records.BLOCKED]) == {records.NOT_HELD}


# ---------------------------------------------------------------- no scatter


@pytest.mark.parametrize("lot", ["maize_large_flat", "maize_small_round"])
def test_without_scatter_seeds_lie_on_the_grid(lot):
    scenario = BENCH.replace(**EVEN)
    run = simulate(scenario, stations=still_stations(scenario, release=InstantRelease))
    assert (run.cells.released == 1).all()
    gaps = np.diff(run.seeds.position)
    assert np.abs(gaps / scenario.spacing - 1).max() < 1e-9
    result = measure(run)
    assert result["per_spacing.quality"].value == 1
    assert result["precision"].value < 1e-9


def test_the_release_alone_moves_a_seed_by_less_than_a_hole():
    """Its scatter cannot be set to nothing: the vacuum needed keeps a spread of at least 0.1.

    So gaps stay within one hole diameter of disc travel, times ground over peripheral speed.
    """
    scenario = BENCH.replace(**EVEN)
    run = simulate(scenario, stations=still_stations(scenario))
    assert (run.cells.released == 1).all()
    off = np.diff(run.seeds.position) - scenario.spacing
    bound = scenario.disc.hole_diameter * scenario.demand.speed / scenario.peripheral_speed
    assert 1e-6 < np.abs(off).max() < bound
    # negative control: the usual tube breaks the bound
    usual = simulate(scenario, stations=stations_of(scenario))
    assert np.abs(np.diff(usual.seeds.position) - scenario.spacing).max() > bound


def test_misses_alone_follow_the_cell_model():
    """Independent misses m on an exact grid: M = m(1-m)/s, and CV^2 = m of all spacings."""
    scenario = BENCH.replace(**EVEN | {"run__turns": 200, "vacuum__vacuum": 850.0})
    run = simulate(scenario, stations=still_stations(scenario, release=InstantRelease))
    assert (run.cells.released <= 1).all()
    result = measure(run)
    miss = result["cells.skip"].value
    assert 0.01 < miss < 0.5
    expected = cell_model(miss, 0.0)
    # a row ends with a seed, so that shares of spacings differ from the form by one in n
    slack = 2 / result.total("spacings")
    assert abs(result["per_spacing.miss"].value - expected.miss) < 4 * standard_error(
        result["per_spacing.miss"]
    )
    assert result["per_spacing.multiple"].value == 0
    assert abs(result["spacing.cv"].value - expected.cv) < 4 * standard_error(result["spacing.cv"])
    filled = 1 - miss
    assert result["spacing.mean"].value / scenario.spacing == pytest.approx(1 / filled, abs=slack)
    # negative control: misses twice as common are seen
    twice = cell_model(2 * miss, 0.0)
    assert abs(result["per_spacing.miss"].value - twice.miss) > 4 * standard_error(
        result["per_spacing.miss"]
    )


# ---------------------------------------------------------------- empty cells

SETTINGS = {
    "usual": {},
    "little vacuum": {"vacuum__vacuum": 1.2e3},
    "least vacuum": {"vacuum__vacuum": 0.6e3},
    "fast": {"demand__speed": 4.0},
    "smooth and fast": {"demand__speed": 3.0, "disc__agitation": 0.0},
    "low pool": {"pool__gate_opening": 0.03, "vacuum__vacuum": 2e3},
    "small holes": {"disc__hole_diameter": 3.2e-3},
    "crowded": {"disc__cells": 64, "vacuum__vacuum": 2e3},
    "blocked": {"vacuum__vacuum": 12e3, "demand__speed": 0.5},
}
BLOCKED = dataclasses.replace(USUAL, blocked=0.02)


def empty_chance(scenario, coefficients):
    """Closed form: a cell is blocked, or meets no seed that would hold and join in time."""
    stations = stations_of(scenario, coefficients)
    level = stations.gate.level(stations.gate.full)
    chances = stations.pickup.chances(level, scenario.vacuum.vacuum, scenario.peripheral_speed)
    thinned = math.exp(-chances.meetings * chances.hold * chances.join)
    return coefficients.blocked + (1 - coefficients.blocked) * thinned


def z_of_share(flags, chance):
    """Distance of a share of independent cells from its chance, in standard errors."""
    return (flags.mean() - chance) / math.sqrt(chance * (1 - chance) / len(flags))


@pytest.mark.parametrize("name", SETTINGS)
def test_cells_leave_the_pool_empty_as_often_as_the_closed_form_says(name):
    scenario = BENCH.replace(**{"run__turns": 80} | SETTINGS[name])
    coefficients = BLOCKED if name == "blocked" else USUAL
    run = simulate(scenario, seed=11, stations=stations_of(scenario, coefficients))
    assert np.ptp(run.ticks.pool) == 0  # the pool stays at its static level
    empty = run.cells.joined == 0
    chance = empty_chance(scenario, coefficients)
    assert abs(z_of_share(empty, chance)) < 4
    # negative control: the chance at a third more speed and two thirds of the vacuum
    worse = scenario.replace(
        demand__speed=scenario.demand.speed * 4 / 3,
        vacuum__vacuum=scenario.vacuum.vacuum * 2 / 3,
    )
    other = empty_chance(worse, BLOCKED if name != "blocked" else USUAL)
    assert abs(z_of_share(empty, other)) > 4


def test_neighbouring_cells_are_empty_independently():
    """Share of empty pairs is the square of the share of empty cells."""
    run = ran(seed=12, vacuum__vacuum=0.9e3)
    empty = run.cells.joined == 0
    both = empty[1::2] & empty[:-1:2]
    assert abs(z_of_share(both, empty.mean() ** 2)) < 4
    # negative control: cells that share the fate of their neighbour
    shared = np.repeat(empty[::2], 2)
    assert abs(z_of_share(shared[1::2] & shared[::2], empty.mean() ** 2)) > 4


def test_a_held_seed_needs_less_than_the_vacuum_and_follows_the_cut_distribution():
    """Of a lognormal cut at the vacuum, ln H/H0 has a known mean."""
    scenario = BENCH.replace(vacuum__vacuum=1e3)
    run = ran(vacuum__vacuum=1e3)
    first = run.seeds.needed[(run.seeds.place == 0) & (run.cells.swept[run.seeds.cell] == 0)]
    assert first.max() < scenario.vacuum.vacuum
    stations = stations_of(scenario)
    level = stations.gate.level(stations.gate.full)
    chances = stations.pickup.chances(level, 1e3, scenario.peripheral_speed)
    spread, cut = stations.pickup.spread, chances.margin / stations.pickup.spread
    density = math.exp(-(cut**2) / 2) / math.sqrt(2 * math.pi)
    below = chances.hold
    mean = -spread * density / below
    variance = spread**2 * (1 - cut * density / below - (density / below) ** 2)
    off = (np.log(first / chances.needed).mean() - mean) / math.sqrt(variance / len(first))
    # the singulator sweeps seeds held by a hair first, a few in a thousand here
    assert abs(off) < 4
    # negative control: without the cut the mean is 0
    assert abs(np.log(first / chances.needed).mean()) / math.sqrt(variance / len(first)) > 4


# ---------------------------------------------------------------- sums


@pytest.mark.parametrize(
    "changes",
    [{}, {"disc__hole_diameter": 6.5e-3, "singulator__notch": -5.0}, {"vacuum__vacuum": 1e3}],
)
def test_skips_singles_doubles_and_triples_are_all_cells(changes):
    result = measured(**changes)
    counts = result.counts
    loads = [counts[name] for name in ("skips", "singles", "doubles", "triples")]
    assert sum(loads) == counts["cells"] == result.scenario.passages
    assert loads[1] + 2 * loads[2] + 3 * loads[3] == counts["seeds"]
    shares = [result[f"cells.{load}"].value for load in ("skip", "single", "double", "triple")]
    assert sum(shares) == pytest.approx(1, abs=1e-12)


def test_much_vacuum_and_little_speed_leave_the_blocked_cells():
    """Skips at the pool fall to the floor of blocked cells, whatever the vacuum."""
    for vacuum in (10e3, 15e3):
        scenario = BENCH.replace(vacuum__vacuum=vacuum, demand__speed=0.3)
        run = simulate(scenario, stations=stations_of(scenario, BLOCKED))
        empty = run.cells.joined == 0
        assert np.array_equal(empty, run.cells.reason == records.BLOCKED)
        assert abs(z_of_share(empty, BLOCKED.blocked)) < 4
        # negative control: another floor is told from it
        assert abs(z_of_share(empty, 0.5 * BLOCKED.blocked)) > 4
