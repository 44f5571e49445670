"""Each loss of seeds and each cause of uneven spacing: counted by hand, and in closed form."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.special import ndtr

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import losses
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.limits import CAUSES, DOUBLES, HOPPER, SCATTER, STARVED, causes
from metersim.run.simulation import simulate
from tests.byhand import Pool
from tests.facts import ALIKE, AT, CUT, LEAVES, first_of, meter, off_chances, sown, tuned

# ---------------------------------------------------------------- shaken

SHAKY = {
    "furrow__surface": "field",
    "row_unit__shock_per_speed": 0.5 * GRAVITY,
    "vacuum__vacuum": 1.0e3,
    "singulator__notch": -5.0,
    "run__turns": 900,
}
KNOT = 0.025  # s, from one draw of the envelope to the next: a band of 10 to 50 Hz (gao2024)


def test_the_hardest_shock_of_the_way_shakes_off_what_it_must():
    """The envelope of the shaking is Rayleigh at its knots; a seed falls when its spare load is
    less than the largest of those that it meets: (1 - exp(-a^2/2))^n stay.

    What each seed can spare is that of the same seeds in a row unit that does not shake.  Of
    cells that share no knot, so that they are independent.
    """
    scenario = meter(**SHAKY)
    stations = stations_of(scenario, AT)
    still = dataclasses.replace(stations.row_unit, acceleration_sd=0.0)
    run = simulate(scenario, stations=stations)
    spared = simulate(scenario, stations=dataclasses.replace(stations, row_unit=still))
    pool = Pool(scenario, AT)
    turning = pool.turning
    load = (1 + turning) / (1 + pool.pull + turning)
    alone = (spared.cells.joined == 1) & (spared.cells.released == 1)
    apart = np.arange(len(alone)) % 24 == 0
    cells = np.flatnonzero(alone & apart)
    strength = first_of(spared, "needed")[cells] * load / scenario.vacuum.vacuum
    spare = (1 / strength - 1) * (1 + turning)
    turn = cells * 2 * math.pi / scenario.disc.cells
    first, last = (np.floor((turn + at) / scenario.angular_speed / KNOT) for at in (LEAVES, CUT))
    lost = (run.cells.reason == losses.SHAKEN)[cells].sum()

    def off(sd):
        bears = -np.expm1(-((spare / sd) ** 2) / 2)
        return off_chances(lost, 1 - bears ** (last - first + 2))

    sd = 0.5 * scenario.demand.speed
    assert 50 < lost < len(cells) - 50
    assert abs(off(sd)) < 4
    assert off(0.8 * sd) > 4 and off(1.2 * sd) < -4  # negative controls


# ---------------------------------------------------------------- causes

# A setting and coefficients at which each reason makes many skips.
MANY = {
    losses.BLOCKED: ({"run__turns": 300}, {"blocked": 0.02}),
    losses.NOT_JOINED: ({"demand__speed": 3.5, "disc__cells": 16, "run__turns": 400}, {}),
    losses.DROPPED: ({"vacuum__vacuum": 6e3, "run__turns": 300}, {"loosening": 0.5}),
    losses.LOW_POOL: (
        {
            "pool__gate_opening": 0.0465,
            "pool__pool_depth": 0.1,
            "pool__gate_width": 0.3,
            "vacuum__vacuum": 1e3,
        },
        {"exit_zone": 10.0},
    ),
    losses.NOT_HELD: ({"vacuum__vacuum": 500.0}, {}),
    losses.POOL_EMPTY: ({"pool__hopper": 0.5, "pool__gate_opening": 0.015}, {}),
    losses.KNOCKED: ({"pool__gate_opening": 0.072}, {"knock": 0.6}),
    losses.SWEPT: ({"singulator__notch": 3.0}, {}),
    losses.SHAKEN: (SHAKY | {"run__turns": 100}, {}),
    losses.PLUGGED: ({"disc__plugged_holes": "every 6"}, {}),
}
DEPENDENT = (losses.POOL_EMPTY, losses.SHAKEN, losses.PLUGGED)  # neighbours share these


def runs_of_skips(cells, first=0):
    """Runs of skips between two seeds, by the reason of their last cell, from a cell on."""
    filled = np.flatnonzero(cells.released)
    ends = filled[1:][np.diff(filled) > 1] - 1
    ends = ends[ends >= first]
    return np.bincount(cells.reason[ends], minlength=len(losses.REASONS))


def shares_of(measured):
    """Shares of the causes by name."""
    return {cause.name: cause.share for cause in causes(measured)}


def test_every_loss_and_every_cause_is_looked_at():
    """Each reason but that of a seed has a cause, and a setting here."""
    assert set(CAUSES) == set(MANY) == set(range(1, len(losses.REASONS)))
    # seeds that were lost again count to the time to join, all others have a cause of their own
    assert CAUSES[losses.DROPPED] == CAUSES[losses.NOT_JOINED]
    assert len({*CAUSES.values(), DOUBLES, SCATTER}) == len(losses.REASONS)


@pytest.mark.parametrize("reason", MANY, ids=lambda reason: losses.REASONS[reason])
def test_each_reason_spoils_as_many_spacings_as_it_ends_runs_of_skips(reason):
    """Counted cell by cell; with m_i of all m skips it is m_i (1 - m)/(1 - m + e).

    Once the hopper is empty, runs that a low or empty pool ends count to it, and so do the cells
    behind the last seed, each as if one more spacing were missed.
    """
    changes, values = MANY[reason]
    run = sown(tuned(**values), **changes)
    result = measure(run)
    found, ended = shares_of(result), runs_of_skips(run.cells)
    spacings, tail, late = len(run.seeds) - 1, 0, 0 * ended
    assert ended[reason] > 30 or reason in DEPENDENT
    assert bool(result.emptied) == (reason == losses.POOL_EMPTY)
    if result.emptied:
        tail = len(run.cells) - 1 - np.flatnonzero(run.cells.released)[-1]
        late[list(STARVED)] = runs_of_skips(run.cells, result.emptied.cell)[list(STARVED)]
        assert tail > 0
    whole = spacings + tail
    assert found.get(HOPPER, 0.0) == pytest.approx((late.sum() + tail) / whole, abs=1e-12)
    for name in CAUSES.values():
        mine = sum((ended - late)[other] for other, cause in CAUSES.items() if cause == name)
        assert found.get(name, 0.0) == pytest.approx(mine / whole, abs=1e-12)
    extra = np.maximum(run.cells.released - 1, 0).sum()
    assert found.get(DOUBLES, 0.0) == pytest.approx(extra / whole, abs=1e-12)
    if SCATTER in found:  # then all that is not normal has its cause
        spoilt = spacings * (1 - result["per_spacing.quality"].value) + tail
        assert sum(found.values()) == pytest.approx(spoilt / whole, abs=1e-9)
    if reason in DEPENDENT:
        return
    n = len(run.cells)
    alike = [other for other, cause in CAUSES.items() if cause == CAUSES[reason]]
    skips, mine = (run.cells.released == 0).sum() / n, np.isin(run.cells.reason, alike).sum() / n
    share = mine * (1 - skips) / (1 - skips + extra / n)
    error = math.sqrt(share * skips / spacings)  # of the runs that end otherwise
    assert abs(found[CAUSES[reason]] - share) < 4 * error + 2 / spacings
    assert (run.cells.released[run.cells.reason == reason] == 0).all()


def test_the_cells_of_a_shut_pool_are_all_empty_for_want_of_seed():
    """A gate that gives no level: all cells that are not blocked, and no other reason."""
    run = sown(tuned(blocked=0.02), pool__gate_opening=5e-3, run__turns=60)
    reasons = np.bincount(run.cells.reason, minlength=len(losses.REASONS))
    assert reasons[losses.POOL_EMPTY] + reasons[losses.BLOCKED] == len(run.cells)
    assert abs(off_chances(reasons[losses.BLOCKED], np.full(len(run.cells), 0.02))) < 4


# ---------------------------------------------------------------- scatter

EVEN = {
    "seed__size_cv": 0.0,
    "furrow__surface": "field",
    "row_unit__shock_per_speed": 0.0,
    "demand__speed": 1.0,
    "singulator__notch": -5.0,
    "vacuum__vacuum": 8e3,
    "run__turns": 300,
}


@pytest.mark.parametrize("soil", [0.03, 0.036])
def test_scatter_alone_spoils_the_tails_of_a_normal_law(soil):
    """Two seeds scatter by sqrt 2 of one: 2 Phi(-x/(2 sqrt 2 s)) of spacings are not normal."""
    k = tuned(**ALIKE, hop=0.0, seconds=0.0, loosening=0.0)
    run = sown(k, **EVEN, furrow__soil_scatter=soil)
    assert (run.cells.released == 1).all()
    found = shares_of(measure(run))
    assert set(found) == {SCATTER}
    n = len(run.seeds) - 1

    def off(sd):
        share = 2 * ndtr(-run.scenario.spacing / (2 * math.sqrt(2) * sd))
        # neighbours share a seed: no more than twice the variance of independent ones
        return (found[SCATTER] - share) / math.sqrt(2 * share * (1 - share) / n)

    assert abs(off(soil)) < 4
    assert off(0.9 * soil) > 4 and off(1.1 * soil) < -4  # negative controls


def test_without_scatter_nothing_is_laid_to_it():
    """Seeds that are all alike and soil that holds them: no spacing is spoilt."""
    k = tuned(**ALIKE, hop=0.0, seconds=0.0, loosening=0.0)
    run = sown(k, **EVEN, furrow__soil_scatter=0.0)
    assert shares_of(measure(run)) == {}
