"""Singulator: lone seeds that are swept off, seed by seed, pairs, and what an inner edge takes."""

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from metersim.machine import losses, singulator
from tests.byhand import Pool, Seconds
from tests.facts import ALIKE, AT, CLEAN, first_of, meter, off_chances, sown, tuned

LOT = meter().lot
VACUUM = 3e3
# seeds of one size and shape that all lie along the track; either pose is as narrow
LONG = {
    "run__turns": 300,
    "vacuum__vacuum": VACUUM,
    "seed__size_cv": 0.0,
    "lot__pose_sd": 0.0,
    "lot__shape_cv": 0.0,
    "lot__thickness": LOT.width,
}
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


def swept_chance(needs, edge, spread, beside=0.0, inner=math.inf, factor=AT.seat_push, by=None):
    """Chance that a lone seed of half its width across leaves at one of three teeth.

    A tooth takes it when the push is more than what its seat bears: a part of a hole times the
    root of vacuum over need, in the median, with that SD of its logarithm.  An edge that does not
    touch takes none.  `beside` is the SD of the seat's offset, and `by` a function of it: what lies
    outside is pushed in, what lies inside is pushed out.
    """
    bears = factor * 4.5e-3 * np.sqrt(VACUUM / needs)
    total = 0.0
    for node, weight in zip(NODES, WEIGHTS, strict=True):
        at = beside * (by(node) if by else node)
        push = LOT.width / 2 + max(at - edge, -at - inner)
        if push > 0:
            stays = ndtr(np.log(bears / push) / spread) ** 3
            total = total + weight * (1 - stays)
    return total / WEIGHTS.sum()


def lone(coefficients, notch, **changes):
    """Needs of the seeds that are alone, and how many of them the edge takes at a notch."""
    setting = LONG | changes
    bare = {"guide__inner_guide": False, "guide__inner_gap": None}
    spared = sown(coefficients, singulator__notch=-5.0, **setting | bare)
    run = sown(coefficients, singulator__notch=notch, **setting)
    alone = (spared.cells.joined == 1) & (spared.cells.released == 1)
    taken = (run.cells.reason == losses.SWEPT)[alone]
    return first_of(spared, "needed")[alone], taken


EDGES = [3.0, 3.8, 4.4, 5.0]  # notches at which an edge pushes from some to most seeds too far


@pytest.mark.parametrize("spread", [0.15, AT.push_spread])
def test_the_share_that_is_swept_off_rises_with_the_push_as_a_lognormal_law_of_that_spread(spread):
    """At four notches, of seeds that all lie alike; their needs are those of the same seeds."""
    k = tuned(**ALIKE, push_spread=spread)
    seen = {0.8: 0.0, 1.2: 0.0}
    for notch in EDGES:
        edge = 4.9e-3 - 0.9e-3 * notch
        needs, taken = lone(k, notch)
        assert abs(off_chances(taken.sum(), swept_chance(needs, edge, spread))) < 4
        for factor in seen:
            chances = swept_chance(needs, edge, factor * spread)
            seen[factor] = max(seen[factor], abs(off_chances(taken.sum(), chances)))
    # negative controls: a spread a fifth narrower or wider
    assert min(seen.values()) > 4


def test_the_probit_of_seeds_swept_off_rises_by_one_over_the_spread():
    """Slope of the deviate of one tooth in ln(push over what a seat bears): 1/spread."""
    deviates, pushes = [], []
    for notch in EDGES[:3]:
        needs, taken = lone(tuned(**ALIKE, push_spread=0.24), notch)
        one = 1 - (1 - taken.mean()) ** (1 / 3)  # of three teeth
        deviates.append(ndtri(one))
        bears = AT.seat_push * 4.5e-3 * np.sqrt(VACUUM / np.median(needs))
        pushes.append(math.log((LOT.width / 2 - (4.9e-3 - 0.9e-3 * notch)) / bears))
    slope = np.polyfit(pushes, deviates, 1)[0]
    assert slope == pytest.approx(1 / 0.24, rel=0.1)


@pytest.mark.parametrize(
    ("name", "value", "moved"),
    [("seat_push", 0.4, 0.04), ("edge_zero", -0.2, 0.1), ("edge_speed", 0.8, 0.16)],
)
def test_what_a_seat_bears_and_where_the_edge_stands_are_their_coefficients(name, value, moved):
    """A share of the hole; a share of the gap; a power of the holes' speed over 0.3 m/s."""
    fast = {"demand__speed": 3.5, "disc__cells": 20}
    needs, taken = lone(tuned(**ALIKE, **{name: value}), 3.4, **fast)
    speed = meter(**fast).peripheral_speed

    def off(value):
        k = tuned(**{name: value})
        edge = 4.9e-3 * (1 + k.edge_zero) - 0.9e-3 * 3.4
        factor = k.seat_push * (speed / 0.3) ** k.edge_speed
        return abs(off_chances(taken.sum(), swept_chance(needs, edge, 0.3, factor=factor)))

    assert off(value) < 4
    assert off(value - moved) > 4 and off(value + moved) > 4  # negative controls


def test_an_edge_outside_spares_seats_inside():
    """Seats lie on either side: those outside are pushed more, those inside less."""
    k = tuned(**CLEAN | {"eccentricity": 0.4})
    needs, taken = lone(k, 2.6)
    edge, beside = 4.9e-3 - 0.9e-3 * 2.6, 0.4 * 2.25e-3
    assert abs(off_chances(taken.sum(), swept_chance(needs, edge, 0.3, beside))) < 4
    # negative controls: every seat towards the edge, and seats that all lie in the middle
    assert abs(off_chances(taken.sum(), swept_chance(needs, edge, 0.3, beside, by=abs))) > 4
    assert abs(off_chances(taken.sum(), swept_chance(needs, edge, 0.3))) > 4


def test_edges_without_a_sign_would_take_other_seeds(monkeypatch):
    """Negative control: an edge that pushes every seed by its distance, on either side."""
    k = tuned(**CLEAN | {"eccentricity": 0.4})
    needs, taken = lone(k, 2.6)
    pairs = pairs_left()
    usual = singulator.push_of_edges
    monkeypatch.setattr(
        singulator, "push_of_edges", lambda reach, at, *edges: usual(reach, np.abs(at), *edges)
    )
    _, unsigned = lone(k, 2.6, run__tick=0.2500001)
    chances = swept_chance(needs, 4.9e-3 - 0.9e-3 * 2.6, 0.3, 0.4 * 2.25e-3)
    assert abs(off_chances(taken.sum(), chances)) < 4
    assert abs(off_chances(unsigned.sum(), chances)) > 4
    assert pairs_left(0.2500001) < 0.9 * pairs


def pairs_left(tick=0.25):
    """Share of pairs that pass the edge as such."""
    run = sown(tuned(), disc__hole_diameter=5.2e-3, run__turns=400, run__tick=tick)
    pair = run.cells.joined == 2
    return (run.cells.swept == 0)[pair].mean()


@pytest.mark.parametrize("gap", [0.4e-3, 0.8e-3, None])
def test_an_inner_edge_takes_what_its_gap_says(gap):
    """It stands at its gap from the holes' rims, or at the usual share of the seed's width."""
    k = tuned(**CLEAN | {"eccentricity": 0.4, "inner_gap": 0.1})
    setting = {"guide__inner_guide": gap is None, "guide__inner_gap": gap}
    needs, taken = lone(k, -5.0, **setting)
    inner, beside = 2.25e-3 + (0.1 * LOT.width if gap is None else gap), 0.4 * 2.25e-3

    def off(at):
        return abs(off_chances(taken.sum(), swept_chance(needs, 9.4e-3, 0.3, beside, at)))

    assert off(inner) < 4
    assert off(inner - 2e-4) > 4 and off(inner + 2e-4) > 4  # negative controls


def test_what_is_swept_off_is_a_skip_of_its_own_reason():
    """All seeds that joined and were not released were swept off, and lie in the pool again."""
    run = sown(tuned(**ALIKE), singulator__notch=4.4, **LONG)
    cells = run.cells
    assert (cells.joined - cells.swept == cells.released).all()
    lost = (cells.joined > 0) & (cells.released == 0)
    assert np.array_equal(lost, cells.reason == losses.SWEPT)
    assert lost.sum() > 1000
    taken = (run.ticks.pool + run.ticks.hopper)[-1]
    filled = int(run.scenario.pool.hopper / run.scenario.seeds.seed_mass)
    assert filled - taken == len(run.seeds)


PAIRS = {
    "usual": ({"disc__hole_diameter": 5.2e-3}, {}),
    "more aggressive": (
        {"disc__hole_diameter": 5.2e-3, "singulator__notch": 1.0},
        {"push_spread": 0.4},
    ),
    "less aggressive": ({"disc__hole_diameter": 5.8e-3, "singulator__notch": -2.0}, {}),
    "guided": ({"disc__hole_diameter": 5.2e-3, "guide__inner_guide": True}, {"inner_gap": 0.15}),
    "soybean": (
        {"lot": "soybean", "disc__hole_diameter": 4.2e-3, "singulator__gap": 4.1e-3},
        {"seconds": 1.5},
    ),
}


def pairs_off(name, inner=None, **moved):
    """Distance of the share of pairs that pass the edge as such from that by hand, in SE."""
    changes, values = PAIRS[name]
    k = tuned(**values, blocked=0.0)
    run = sown(k, run__turns=400, vacuum__vacuum=5e3, **changes)
    # a pair that stays a pair on the way is one that a calm row unit carries
    pair = run.cells.joined == 2
    both = (run.cells.swept == 0)[pair].sum()
    pool = Pool(run.scenario, tuned(**values | moved, blocked=0.0))
    if inner is None:
        gap = pool.k.inner_gap * run.scenario.seeds.width
        hole = run.scenario.disc.hole_diameter
        inner = hole / 2 + gap if run.scenario.guide.inner_guide else math.inf
    chance = Seconds(Pool(run.scenario, k)).left_by_edge(pool, inner)
    return off_chances(both, np.full(pair.sum(), chance))


@pytest.mark.parametrize("name", PAIRS)
def test_pairs_pass_the_edge_as_often_as_by_hand(name):
    """Of cells with two seeds, those that keep both at all three teeth."""
    assert abs(pairs_off(name)) < 4


@pytest.mark.slow
def test_other_edges_and_guides_would_pass_other_pairs():
    """Negative controls: another push that seats bear, and no inner edge."""
    assert abs(pairs_off("more aggressive", seat_push=0.4)) > 4
    assert abs(pairs_off("guided", inner=math.inf)) > 4
