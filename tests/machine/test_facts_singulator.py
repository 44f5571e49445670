"""Singulator: lone seeds that are swept off, seed by seed, and what an inner guide takes off."""

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from metersim.machine import losses
from tests.byhand import Pool, Seconds
from tests.facts import ALIKE, AT, CLEAN, first_of, meter, off_chances, sown, tuned

LOT = meter().lot
# seeds of one size that all lie along the track
LONG = {"run__turns": 300, "vacuum__vacuum": 1.2e3, "seed__size_cv": 0.0, "lot__pose_sd": 0.0}
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


def swept_chance(needs, edge, spread, beside=0.0, vacuum=1.2e3, hole=4.5e-3):
    """Chance that a lone seed of half its width across leaves at one of three teeth.

    A tooth takes it when the push is more than what its seat bears: half a hole times the root of
    vacuum over need, with that relative spread.  `beside` is the SD of the seat's offset.
    """
    bears = hole / 2 * np.sqrt(vacuum / needs)
    total = 0.0
    for node, weight in zip(NODES, WEIGHTS, strict=True):
        push = LOT.width / 2 + beside * abs(node) - edge
        stays = ndtr(-(push / bears - 1) / spread) ** 3
        total = total + weight * (1 - stays)
    return total / WEIGHTS.sum()


def lone(coefficients, notch, **changes):
    """Needs of the seeds that are alone, and how many of them the edge takes at a notch."""
    setting = LONG | changes
    spared = sown(coefficients, singulator__notch=-5.0, **setting)
    run = sown(coefficients, singulator__notch=notch, **setting)
    alone = (spared.cells.joined == 1) & (spared.cells.released == 1)
    taken = (run.cells.reason == losses.SWEPT)[alone]
    return first_of(spared, "needed")[alone], taken


EDGES = [3.0, 3.8, 4.4, 5.0]  # notches at which an edge pushes from some to most seeds too far


@pytest.mark.parametrize("spread", [0.15, AT.push_spread])
def test_the_share_that_is_swept_off_rises_with_the_push_as_a_normal_law_of_that_spread(spread):
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
    """Slope of the deviate of one tooth in push over what a seat bears: 1/spread."""
    deviates, pushes = [], []
    for notch in EDGES[:3]:
        needs, taken = lone(tuned(**ALIKE, push_spread=0.24), notch)
        one = 1 - (1 - taken.mean()) ** (1 / 3)  # of three teeth
        deviates.append(ndtri(one))
        bears = 4.5e-3 / 2 * np.sqrt(1.2e3 / np.median(needs))
        pushes.append((LOT.width / 2 - (4.9e-3 - 0.9e-3 * notch)) / bears)
    slope = np.polyfit(pushes, deviates, 1)[0]
    assert slope == pytest.approx(1 / 0.24, rel=0.1)


@pytest.mark.parametrize(
    ("guide", "factor", "left"), [(False, 0.5, 1.0), (True, 0.5, 0.5), (True, 0.8, 0.8)]
)
def test_a_guide_leaves_its_share_of_the_seats_offset_at_the_edge(guide, factor, left):
    """Seeds sit off the centre on either side; the edge pushes them as far as the guide leaves."""
    k = tuned(**CLEAN | {"guide_narrowing": factor, "eccentricity": 0.4})
    setting = {"guide__inner_guide": guide, "disc__hole_diameter": 4.0e-3}
    needs, taken = lone(k, 2.6, **setting)
    edge, beside = 4.9e-3 - 0.9e-3 * 2.6, 0.4 * 2.0e-3

    def off(share):
        chances = swept_chance(needs, edge, AT.push_spread, share * beside, hole=4.0e-3)
        return abs(off_chances(taken.sum(), chances))

    assert off(left) < 4
    assert off(0.8 * left) > 4 and off(1.2 * left) > 4  # negative controls


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
    "sharper": ({"disc__hole_diameter": 5.2e-3, "singulator__notch": 1.0}, {"push_spread": 0.4}),
    "milder": ({"disc__hole_diameter": 5.8e-3, "singulator__notch": -2.0}, {}),
    "guided": (
        {"disc__hole_diameter": 5.2e-3, "guide__inner_guide": True},
        {"guide_narrowing": 0.5},
    ),
}


def pairs_off(name, narrowing=None, **moved):
    """Distance of the share of pairs that pass the edge as such from that by hand, in SE."""
    changes, values = PAIRS[name]
    k = tuned(**values, blocked=0.0)
    run = sown(k, run__turns=400, vacuum__vacuum=5e3, **changes)
    pair = run.cells.joined == 2
    both = (run.cells.released == 2)[pair].sum()
    other = tuned(**values | moved, blocked=0.0)
    pool = Pool(run.scenario, other)
    if narrowing is None:
        narrowing = other.guide_narrowing if run.scenario.guide.inner_guide else 1.0
    chance = Seconds(Pool(run.scenario, k)).left_by_edge(pool, narrowing)
    return off_chances(both, np.full(pair.sum(), chance))


@pytest.mark.parametrize("name", PAIRS)
def test_pairs_pass_the_edge_as_often_as_by_hand(name):
    """Of cells with two seeds, those that keep both at all three teeth."""
    assert abs(pairs_off(name)) < 4


def test_other_edges_and_guides_would_pass_other_pairs():
    """Negative controls: another spread of what seats bear, and a guide that narrows otherwise."""
    assert abs(pairs_off("sharper", push_spread=0.24)) > 4
    assert abs(pairs_off("guided", narrowing=1.0)) > 4
