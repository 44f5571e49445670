"""The meter where it must agree with closed forms: no vacuum, no scatter, thinned draws."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine import losses
from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.release import ReleaseStation
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.limits import CAUSES, HOPPER, causes
from metersim.questions.evidence.predictions import critical_vacuum
from metersim.run.simulation import simulate
from tests.plain_spacing import cell_model
from tests.strategies import BENCH, bytes_of, measured, near, pool_of, ran, standard_error

# Every spread off that a coefficient can turn off: pull, seats, contacts, directions, holes,
# blocked cells, seeds that come off again and further seeds.
# The vacuum that seeds need keeps its least spread.
STILL = dataclasses.replace(
    USUAL,
    hole_spread=0.0,
    run_out=0.0,
    loosening=0.0,
    seconds=0.0,
    hold_spread=0.1,
    resistance_cv=0.0,
    eccentricity=0.0,
    blocked=0.0,
    launch_spread=0.0,
    contacts=0.0,
    curvature_contacts=0.0,
    landing_scatter=0.0,
)
EVEN = {"seed__size_cv": 0.0, "demand__rate": 4.0, "demand__speed": 1.0, "run__turns": 20}


class InstantRelease(ReleaseStation):
    """A cut-off that lets every seed go at the edge, whatever vacuum it needs."""

    def travel(self, share, at):
        """No travel past the edge."""
        return 0.0 * share


def emptied(scenario, share, coefficients=USUAL):
    """The scenario at the vacuum at which this share of its cells leaves the pool empty."""
    stations = stations_of(scenario, coefficients)
    return scenario.replace(vacuum__vacuum=critical_vacuum(scenario, share, stations))


def vacuum_that_empties(share, **changes):
    """That vacuum of the bench with some changes, as a change. [Pa]"""
    scenario = emptied(BENCH.replace(**changes), share)
    return changes | {"vacuum__vacuum": scenario.vacuum.vacuum}


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
    assert set(run.cells.reason[run.cells.reason != losses.BLOCKED]) == {losses.NOT_HELD}


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
    scenario = emptied(BENCH.replace(**EVEN | {"run__turns": 200}), 0.15, STILL)
    run = simulate(scenario, stations=still_stations(scenario, release=InstantRelease))
    assert (run.cells.released <= 1).all()
    result = measure(run)
    miss = result["cells.skip"].value
    assert 0.1 < miss < 0.2
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


def share_of_skips(result):
    """Spacings that skips are said to spoil, and those of the closed form for independent skips."""
    found = sum(cause.share for cause in causes(result) if cause.name in CAUSES.values())
    miss = result["cells.skip"].value
    extra = result.total("seeds") / result.total("cells") - (1 - miss)
    return found, miss * (1 - miss) / (1 - miss + extra)


@pytest.mark.parametrize("share", [0.4, 0.1])
def test_independent_skips_limit_as_the_closed_form_says(share):
    setting = vacuum_that_empties(share, run__turns=200)
    result = measured(**setting)
    found, expected = share_of_skips(result)
    error = math.sqrt(expected * (1 - expected) / result.total("spacings"))
    assert abs(found - expected) < 4 * error
    # negative control: at half the vacuum it is another share
    other, _ = share_of_skips(
        measured(**setting | {"vacuum__vacuum": setting["vacuum__vacuum"] / 2})
    )
    assert abs(other - expected) > 4 * error


@pytest.mark.parametrize("hopper", [0.2, 0.5])
def test_skips_in_runs_limit_as_many_spacings_as_there_are_runs(hopper):
    """Of a row without scatter all misses are laid to skips, though the hopper ran empty.

    Those behind that moment are laid to the hopper, with each cell behind the last seed.
    """
    scenario = emptied(BENCH.replace(**EVEN | {"run__turns": 200}), 0.15, STILL)
    starved = scenario.replace(pool__hopper=hopper)
    result = measure(simulate(starved, stations=still_stations(starved, release=InstantRelease)))
    assert result.counts["longest_skip_run"] > 1000
    found, independent = share_of_skips(result)
    late = next(cause.share for cause in causes(result) if cause.name == HOPPER)
    misses, tail = result["per_spacing.miss"].value * result.total("spacings"), result.emptied.tail
    assert found + late == pytest.approx((misses + tail) / (result.total("spacings") + tail))
    assert late > 0.4 > found
    # negative control: the closed form for independent skips is far off
    assert abs(independent - found) > 0.05


# ---------------------------------------------------------------- empty cells

# what is set, and the share of the cells that the vacuum is chosen to leave empty
SETTINGS = {
    "usual": ({}, 0.2),
    "hardly any empty": ({}, 0.02),
    "hardly any joined": ({}, 0.9),
    "fast": ({"demand__speed": 4.0}, 0.3),
    "smooth and fast": ({"demand__speed": 3.0, "disc__agitation": 0.0}, 0.3),
    "low pool": (pool_of(0.5), 0.3),
    "thin pool": (pool_of(0.15), 0.5),
    "small holes": ({"disc__hole_diameter": 3.2e-3}, 0.3),
    "crowded": ({"disc__cells": 64}, 0.3),
    "shaken": ({"furrow__surface": "field", "row_unit__shock_per_speed": 2.0}, 0.3),
}
# holes that are all alike, at a pool that stays at its level, and no further seeds to come back
ALIKE = dataclasses.replace(USUAL, hole_spread=0.0, run_out=0.0, avalanche_angle=0.0, seconds=0.0)
BLOCKED = dataclasses.replace(ALIKE, blocked=0.02, loosening=0.0)


def chances_of(scenario, coefficients=ALIKE):
    """Chances of a cell in a pool at its static level."""
    stations = stations_of(scenario, coefficients)
    level = stations.gate.level(stations.gate.full(Moment()))
    return stations.pickup.chances(
        scenario.vacuum.vacuum, Moment(speed=scenario.peripheral_speed, level=level)
    )


def left_empty(chances):
    """Closed form of gain and loss from an empty hole on: a balance, and the rest of a start."""
    balance = chances.loss / (chances.gain + chances.loss)
    start = np.exp(-(chances.gain + chances.loss) * chances.zone)
    return balance + (1 - balance) * start


def empty_chance(scenario, coefficients=ALIKE):
    """A cell is blocked, or holds no seed at the surface."""
    left = left_empty(chances_of(scenario, coefficients))
    return coefficients.blocked + (1 - coefficients.blocked) * left


def z_of_share(flags, chance):
    """Distance of a share of independent cells from its chance, in standard errors."""
    return (flags.mean() - chance) / math.sqrt(chance * (1 - chance) / len(flags))


def check_empty(scenario, coefficients, others=None):
    """A run leaves as many cells empty as the closed form says, and not as another setting.

    The other setting has other coefficients, if some are given.
    """
    stations = stations_of(scenario, coefficients)
    run = simulate(scenario, seed=11, stations=stations)
    # the pool stays at its static level, but for seeds that come back from the disc
    assert (run.ticks.pool != stations.gate.full(Moment())).mean() < 0.05
    empty = run.cells.joined == 0
    assert abs(z_of_share(empty, empty_chance(scenario, coefficients))) < 4
    # negative control: the chance at a third more speed and two thirds of the vacuum
    worse = scenario.replace(
        demand__speed=scenario.demand.speed * 4 / 3,
        vacuum__vacuum=scenario.vacuum.vacuum * 2 / 3,
    )
    assert abs(z_of_share(empty, empty_chance(worse, others or coefficients))) > 4


@pytest.mark.parametrize("name", SETTINGS)
def test_cells_leave_the_pool_empty_as_often_as_the_closed_form_says(name):
    changes, share = SETTINGS[name]
    scenario = emptied(BENCH.replace(**{"run__turns": 80} | changes), share, ALIKE)
    at, pickup = chances_of(scenario), stations_of(scenario, ALIKE).pickup
    full = Moment(speed=scenario.peripheral_speed, level=scenario.pool.carry_line)
    filled = pickup.chances(scenario.vacuum.vacuum, full)
    assert (at.zone < 0.9 * filled.zone) == (name == "thin pool")
    assert (at.gain < 0.5 * filled.gain) == (name in ("low pool", "thin pool"))
    check_empty(scenario, ALIKE)


def test_an_emptying_pool_leaves_cells_empty_by_its_level():
    """Tick by tick, while it presses most of its seeds to the disc and later; of twelve hoppers."""
    lot, depth = BENCH.lot, 0.02
    pool = {"gate_width": 0.3, "pool_depth": depth, "hopper": 0.4}
    pool["gate_opening"] = 2 * lot.gmd + depth * math.tan(lot.repose_angle)
    low = {f"pool__{key}": value for key, value in pool.items()}
    scenario = emptied(BENCH.replace(run__turns=70, **low), 0.15, ALIKE)
    stations, empty, pools = stations_of(scenario, ALIKE), [], []
    for replicate in range(12):
        run = simulate(scenario, replicate=replicate, stations=stations)
        enters = np.arange(len(run.cells)) / scenario.cell_rate
        tick = np.searchsorted(run.ticks.time, enters, "right") - 1
        pools.append(run.ticks.pool[tick])
        empty.append(run.cells.joined == 0)
    empty, pools = np.concatenate(empty), np.concatenate(pools)
    level, vacuum = stations.gate.seen(pools), scenario.vacuum.vacuum
    chances = stations.pickup.chances(vacuum, Moment(speed=scenario.peripheral_speed, level=level))
    chance = ALIKE.blocked + (1 - ALIKE.blocked) * left_empty(chances)
    enough = pools >= 2 * scenario.run.tick * scenario.disc.cells  # for a tick's cells
    falling = enough & (pools < stations.gate.full(Moment()))
    low, dry = chances.gain < 0.6 * chances.gain.max(), level == 0
    assert falling.sum() > 1000 and empty[dry].all()

    def off(cells, expected):
        """Distance of the empty cells among some from what is expected, in SE."""
        spread = math.sqrt((expected * (1 - expected)).sum())
        return (empty[cells].sum() - expected.sum()) / spread

    full = np.full_like(chance, chance[0])
    for cells in (falling & low & ~dry, falling & ~low):
        assert cells.sum() > 200
        assert abs(off(cells, chance[cells])) < 4
    # negative control: the low pool is not like the full one
    assert off(falling & low & ~dry, full[falling & low & ~dry]) > 4


def test_blocked_cells_are_empty_whatever_the_vacuum():
    scenario = BENCH.replace(run__turns=80, vacuum__vacuum=12e3, demand__speed=0.5)
    assert empty_chance(scenario, BLOCKED) == pytest.approx(BLOCKED.blocked, rel=0.01)
    check_empty(scenario, BLOCKED, dataclasses.replace(BLOCKED, blocked=0.01))


def test_neighbouring_cells_are_empty_independently():
    """Share of empty pairs is the square of the share of empty cells."""
    scenario = emptied(BENCH, 0.35, ALIKE)
    run = simulate(scenario, seed=12, stations=stations_of(scenario, ALIKE))
    empty = run.cells.joined == 0
    both = empty[1::2] & empty[:-1:2]
    assert abs(z_of_share(both, empty.mean() ** 2)) < 4
    # negative control: cells that share the fate of their neighbour
    shared = np.repeat(empty[::2], 2)
    assert abs(z_of_share(shared[1::2] & shared[::2], empty.mean() ** 2)) > 4


def test_a_first_seed_needs_out_of_the_pool_what_its_deviate_in_it_leaves_to_chance():
    """Of all that a seed needs in the pool, a normal cut at the vacuum, size and seat stay.

    So ln H/H0 has the mean of the cut deviate times the regression on it, and keeps the variance
    that the deviate does not explain; the size goes with the deviate likewise.
    """
    lot = dataclasses.replace(BENCH.lot, thickness=BENCH.lot.width)  # alike flat and on edge
    bench = dataclasses.replace(BENCH, lot=lot)
    scenario = emptied(bench.replace(singulator__notch=-5.0, run__turns=200), 0.3, ALIKE)
    run = simulate(scenario, stations=stations_of(scenario, ALIKE))
    # hardly anything chooses among the seeds: one that holds by a very light load falls later
    assert run.cells.swept.sum() == 0 and run.cells.shaken.sum() < 1e-3 * len(run.seeds)
    first = run.seeds.nth == 0
    chances, station = chances_of(scenario), stations_of(scenario, ALIKE).pickup
    own = 16 * scenario.seeds.size_cv**2 + USUAL.hold_spread**2
    spread = math.sqrt(own + station.load_spread**2)
    cut = chances.margin / spread
    density = math.exp(-(cut**2) / 2) / math.sqrt(2 * math.pi) / chances.hold
    mean, variance = -density, 1 - cut * density - density**2  # of the cut deviate

    def off(values, told, whole):
        """Distance of the mean in standard errors, if the deviate explains `told`."""
        rest = whole - told**2 + told**2 * variance
        return (values.mean() - told * mean) / math.sqrt(rest / len(values))

    needed = np.log(run.seeds.needed[first] / chances.needed)
    assert abs(off(needed, own / spread, own)) < 4
    size, cv = np.log(run.seeds.size[first]), scenario.seeds.size_cv
    assert abs(off(size, cv * 4 * cv / spread, cv**2)) < 4
    rest = own + (own / spread) ** 2 * (variance - 1)
    # room for the kurtosis of a cut normal: SE of a variance up to that of a normal
    assert abs(needed.var() / rest - 1) < 4 * math.sqrt(2 / len(needed))
    # negative controls: without the cut the mean is 0; and the pool's load does not stay
    assert abs(off(needed, 0.0, own)) > 4
    assert abs(off(needed, spread, spread**2)) > 4


# ---------------------------------------------------------------- no tube


@pytest.mark.parametrize("surface", ["bench", "field"])
def test_without_a_tube_seeds_touch_nothing_and_its_wear_means_nothing(surface):
    bare = {"tube__tube_fitted": False, "furrow__surface": surface}
    new, worn = (ran(**bare, tube__tube_wear=wear) for wear in (0.0, 1.0))
    assert new.seeds.contacts.sum() == 0
    assert bytes_of(new) == bytes_of(worn)
    # negative controls: with the tube seeds touch it, the worn one more often
    fitted = [ran(furrow__surface=surface, tube__tube_wear=wear).seeds for wear in (0.0, 1.0)]
    assert 0 < fitted[0].contacts.sum() < fitted[1].contacts.sum()
    # all that happens on the disc stays as it was
    assert np.array_equal(new.seeds.release_time, fitted[0].release_time)


def test_without_a_tube_a_row_is_that_of_a_tube_that_no_seed_touches():
    """Two ways to the same free fall: the tube left away, and its contacts switched off.

    But for where seeds come to rest: walls keep a seed that was launched aside in line.
    """
    smooth = dataclasses.replace(USUAL, contacts=0.0, curvature_contacts=0.0)
    bare = ran(tube__tube_fitted=False)
    without = simulate(BENCH, stations=stations_of(BENCH, smooth))
    for name, column in bare.seeds.columns():
        same = np.array_equal(getattr(without.seeds, name), column)
        assert same == (name != "position"), name
    assert not np.array_equal(ran().seeds.landing_time, bare.seeds.landing_time)  # control


def test_without_a_tube_seeds_land_as_far_off_as_they_were_launched_aside():
    """SD of the way off the line below the hole: launch angle times disc speed times fall."""
    aside = {"tube__tube_fitted": False, "run__turns": 100, "furrow__observed": "pulses"}
    for guide, narrowing in ((False, 1.0), (True, USUAL.guide_narrowing)):
        run = ran(**aside, guide__inner_guide=guide)
        seeds, scenario = run.seeds, run.scenario
        off = seeds.position - scenario.demand.speed * seeds.landing_time
        fall = seeds.landing_time - seeds.release_time
        angle = off / (scenario.peripheral_speed * fall)
        expected = USUAL.launch_spread * narrowing
        assert abs(angle.mean()) < 4 * expected / math.sqrt(len(angle))
        error = expected / math.sqrt(2 * len(angle))
        assert abs(angle.std(ddof=1) - expected) < 4 * error
        assert abs(angle.std(ddof=1) - 1.1 * expected) > 4 * error  # negative control
    # a tube keeps those in line that touch nothing, but for what they go aside below it
    kept = ran(furrow__observed="pulses").seeds
    off_line = kept.position - BENCH.demand.speed * kept.landing_time
    assert off_line[kept.contacts == 0].std() < off.std() / 4
    events = simulate(BENCH.replace(**aside | {"run__turns": 10}), engine="events")
    arrays = simulate(BENCH.replace(**aside | {"run__turns": 10}))
    assert near(events.seeds.position, arrays.seeds.position)


# ---------------------------------------------------------------- sums


@pytest.mark.parametrize(
    "changes",
    [{}, {"disc__hole_diameter": 6.5e-3, "singulator__notch": -5.0}, {"vacuum__vacuum": 1e3}],
)
def test_skips_singles_doubles_and_triples_are_all_cells(changes):
    result, released = measured(**changes), ran(**changes).cells.released
    counts = result.counts
    loads = [counts[name] for name in ("skips", "singles", "doubles", "triples")]
    assert sum(loads) == counts["cells"] == result.scenario.passages
    assert loads == [*(int((released == k).sum()) for k in range(3)), int((released > 2).sum())]
    assert released.sum() == counts["seeds"]
    shares = [result[f"cells.{load}"].value for load in ("skip", "single", "double", "triple")]
    assert sum(shares) == pytest.approx(1, abs=1e-12)


def test_much_vacuum_and_little_speed_leave_the_blocked_cells():
    """Skips at the pool fall to the floor of blocked cells, whatever the vacuum."""
    for vacuum in (10e3, 15e3):
        scenario = BENCH.replace(vacuum__vacuum=vacuum, demand__speed=0.3)
        run = simulate(scenario, stations=stations_of(scenario, BLOCKED))
        empty = run.cells.joined == 0
        assert np.array_equal(empty, run.cells.reason == losses.BLOCKED)
        assert abs(z_of_share(empty, BLOCKED.blocked)) < 4
        # negative control: another floor is told from it
        assert abs(z_of_share(empty, 0.5 * BLOCKED.blocked)) > 4
