"""Plants of a stand: thinned seeds against the closed forms of a perfect placement."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.files.units import ACRE, INCH
from metersim.measures.estimates import measure
from metersim.measures.plants import emerged
from metersim.run.records import Seeds
from tests.strategies import BENCH, bytes_of, ran

GERMINATION = 0.95
PERFECT = 200_000  # seeds


def perfect(spacing, seeds=PERFECT, seed=1):
    """A run whose seeds lie one a cell, exactly a spacing apart."""
    run = ran(seed=seed, run__turns=1)
    place, still = np.arange(seeds, dtype=float), np.zeros(seeds)
    columns = {field.name: still for field in dataclasses.fields(Seeds)}
    columns |= {"cell": place.astype(np.int64), "position": place * spacing}
    columns["nth"] = np.zeros(seeds, dtype=np.int8)
    return dataclasses.replace(run, seeds=Seeds(**columns))


def gaps_of(run):
    """Distances of neighbours along the row. [m]"""
    return np.diff(np.sort(run.seeds.position))


def off_mean(gaps, expected, sd):
    """Distance of the mean gap from what is expected, in standard errors of independent gaps."""
    return (gaps.mean() - expected) / (sd / math.sqrt(len(gaps)))


def off_sd(gaps, expected, kurtosis):
    """The same of the SD, for gaps of this kurtosis."""
    return (gaps.std() / expected - 1) / math.sqrt((kurtosis - 1) / (4 * len(gaps)))


def test_plants_of_a_perfect_row_have_the_floor_of_germination():
    """Gaps are geometric: mean x/g, SD x sqrt(1 - g)/g.

    At 32,000 seeds an acre in rows 30 in apart and 95 % germination these are 6.878 in and
    1.538 in (derived): no meter can be better than that.
    """
    spacing = ACRE / 32_000 / (30 * INCH)
    mean, sd = spacing / GERMINATION, spacing * math.sqrt(1 - GERMINATION) / GERMINATION
    assert mean / INCH == pytest.approx(6.878, abs=5e-4)
    assert sd / INCH == pytest.approx(1.538, abs=5e-4)
    gaps = gaps_of(emerged(perfect(spacing), GERMINATION, 0.0))
    kurtosis = 9 + GERMINATION**2 / (1 - GERMINATION)  # of a geometric distribution
    assert abs(off_mean(gaps, mean, sd)) < 4
    assert abs(off_sd(gaps, sd, kurtosis)) < 4
    # negative controls: seeds a hundredth more sure to come up, and the gaps of seeds
    better = gaps_of(emerged(perfect(spacing), 1.01 * GERMINATION, 0.0))
    assert abs(off_mean(better, mean, sd)) > 4 and abs(off_sd(better, sd, kurtosis)) > 4
    assert abs(off_mean(gaps_of(perfect(spacing)), mean, sd)) > 4


@pytest.mark.parametrize("chance", [0.3, 0.8, 0.95])
def test_runs_of_missing_plants_are_geometric(chance):
    """A gap of k spacings has the chance g (1 - g)^(k - 1): seeds come up independently."""
    steps = np.rint(gaps_of(emerged(perfect(1.0), chance, 0.0))).astype(int)
    for k in (1, 2, 3):
        share = chance * (1 - chance) ** (k - 1)
        error = math.sqrt(share * (1 - share) / len(steps))
        assert abs((steps == k).mean() - share) < 4 * error
    # negative control: a tenth fewer gaps of one spacing
    error = math.sqrt(chance * (1 - chance) / len(steps))
    assert abs((steps == 1).mean() - 0.9 * chance) > 4 * error


def test_shifts_alone_spread_gaps_by_their_difference():
    """Every seed comes up and moves by itself: mean as it was, SD sqrt(2) of a shift's."""
    spacing, shift = 0.17, 0.01
    plants = emerged(perfect(spacing), 1.0, shift)
    assert len(plants.seeds) == PERFECT
    gaps = np.diff(plants.seeds.position)  # neighbours share a shift; every second is free of it
    assert abs(off_mean(gaps[::2], spacing, math.sqrt(2) * shift)) < 4
    assert abs(off_sd(gaps[::2], math.sqrt(2) * shift, 3.0)) < 4
    assert abs(off_sd(gaps[::2], shift, 3.0)) > 4  # negative control: one shift, not two
    # neighbouring gaps share a seed, so that one is long as the other is short
    share = np.corrcoef(gaps[:-1], gaps[1:])[0, 1]
    assert abs(share + 0.5) < 4 / math.sqrt(len(gaps) / 2)


def test_seeds_that_all_come_up_where_they_lie_are_the_run():
    run = ran(run__turns=20)
    assert bytes_of(emerged(run, 1.0, 0.0)) == bytes_of(run)
    # negative controls
    for other in (emerged(run, 0.9, 0.0), emerged(run, 1.0, 1e-3)):
        assert bytes_of(other) != bytes_of(run)


def test_seeds_that_never_come_up_leave_a_bare_row_and_the_cells():
    run = ran(run__turns=20)
    bare = emerged(run, 0.0, 0.01)
    assert len(bare.seeds) == 0
    assert bare.cells is run.cells and bare.ticks is run.ticks
    assert len(emerged(bare, 0.5, 0.01).seeds) == 0


def test_plants_are_the_seeds_they_come_from():
    """What comes up keeps cell, size and all but its place, in the order of the row."""
    run = ran(run__turns=20)
    plants = emerged(run, 0.7, 0.0).seeds
    kept = np.isin(run.seeds.position, plants.position)
    assert 0.6 < kept.mean() < 0.8
    for name, column in run.seeds.columns():
        assert np.array_equal(getattr(plants, name), column[kept]), name


def test_the_draws_of_plants_belong_to_the_run_and_to_the_seed():
    """A seed that comes up does so at any better chance, and moves in proportion to the shift."""
    run = ran(run__turns=20)
    few, more = (set(emerged(run, chance, 0.0).seeds.position) for chance in (0.5, 0.8))
    assert few < more < set(run.seeds.position)
    moved = [emerged(run, 1.0, shift).seeds.position - run.seeds.position for shift in (1e-3, 3e-3)]
    assert 3 * moved[0] == pytest.approx(moved[1], abs=1e-12)
    # what comes up does not hang on how far plants stand from their seeds, nor the other way round
    cells = [emerged(run, 0.8, shift).seeds.cell for shift in (0.0, 0.01)]
    assert np.array_equal(*cells)
    far = emerged(run, 0.8, 3e-3).seeds.position
    assert np.isin(far, run.seeds.position + moved[1]).all()


def test_plants_do_not_stand_where_they_do_because_they_came_up():
    """Among those that came up shifts have mean 0 and their own SD, and are skewed to no side."""
    spacing, shift = 0.17, 0.01
    plants = emerged(perfect(spacing), 0.5, shift).seeds
    moved = (plants.position - plants.cell * spacing) / shift
    for power, mean, variance in ((1, 0.0, 1.0), (2, 1.0, 2.0), (3, 0.0, 15.0)):
        off = ((moved**power).mean() - mean) / math.sqrt(variance / len(moved))
        assert abs(off) < 4
    # negative control: those of one side alone
    assert abs(moved[moved > -1].mean()) / math.sqrt(1 / len(moved)) > 4


def test_the_same_draws_give_the_same_plants_and_other_draws_others():
    run = ran(run__turns=20)
    assert bytes_of(emerged(run, 0.8, 0.01)) == bytes_of(emerged(run, 0.8, 0.01))
    plants = [
        emerged(dataclasses.replace(run, **choice), 0.8, 0.01)
        for choice in ({}, {"seed": 2}, {"replicate": 1})
    ]
    assert len({part.seeds.position.tobytes() for part in plants}) == 3


@pytest.mark.slow
def test_two_meters_with_common_random_numbers_share_them_seed_by_seed():
    """A cell's seeds come up together in both rows and move alike, whatever lay there before."""
    one, other = perfect(0.1), perfect(0.3)
    gone = np.arange(PERFECT) % 7 != 3
    other = dataclasses.replace(other, seeds=other.seeds.part(np.flatnonzero(gone)))
    plants, others = (emerged(run, 0.8, 0.01).seeds for run in (one, other))
    shared = gone[plants.cell]
    assert np.array_equal(plants.cell[shared], others.cell)
    moved = plants.position[shared] - 0.1 * plants.cell[shared]
    assert moved == pytest.approx(others.position - 0.3 * others.cell, abs=1e-9)
    # negative control
    strange = emerged(perfect(0.3, seed=2), 0.8, 0.01).seeds.cell
    assert not np.array_equal(strange[gone[strange]], others.cell)


def test_seeds_of_one_cell_come_up_independently():
    """Doubles: both come up with the square of the chance, and move apart."""
    run = perfect(0.2)
    place = np.arange(PERFECT) % 2
    seeds = dataclasses.replace(run.seeds, cell=np.arange(PERFECT) // 2, nth=place)
    run = dataclasses.replace(run, seeds=seeds)
    plants = emerged(run, 0.8, 0.0).seeds
    both = (np.bincount(plants.cell, minlength=PERFECT // 2) == 2).mean()
    assert abs(both - 0.64) < 4 * math.sqrt(0.64 * 0.36 / (PERFECT // 2))
    moved = emerged(run, 1.0, 0.01).seeds.position - seeds.position
    assert abs(np.corrcoef(moved[::2], moved[1::2])[0, 1]) < 4 / math.sqrt(PERFECT // 2)


def test_missing_plants_are_misses():
    """Of a meter's row, plants are measured like seeds: fewer come up, more gaps are misses."""
    run = ran(run__turns=100)
    shares = [measure(emerged(run, chance, 0.0))["per_spacing.miss"] for chance in (1.0, 0.9, 0.7)]
    assert shares[0].high < shares[1].low < shares[1].high < shares[2].low
    assert shares[0] == measure(run)["per_spacing.miss"]
    assert BENCH.spacing * 0.9 < np.median(gaps_of(emerged(run, 0.9, 0.0))) < BENCH.spacing * 1.1
