"""Hypotheses weighed by counts: against closed forms, and on meters whose fault is known."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import gammaln, logsumexp

import metersim as m
from metersim.files.faults import BadInput
from metersim.machine.posterior import Posterior
from metersim.measures.scales import ANGLE
from metersim.questions.next.bank import Bank, bank, comparable, setting_name, shares_of
from metersim.questions.next.decide import bits, not_distinguished
from metersim.questions.next.diagnosis import (
    USED_SD,
    Diagnosis,
    Seen,
    Used,
    by_cells_or_spacing,
    with_others,
)
from metersim.questions.next.hypotheses import (
    DRIVE,
    ELSE,
    ELSE_PRIOR,
    FINE,
    HOLES,
    LENS,
    OF_THE_LOT,
    draw_points,
    named,
)
from metersim.questions.next.likely import factor
from metersim.questions.next.possible import draw_machines
from metersim.questions.next.surface import placed, where
from metersim.questions.shared.looks import BELT, SENSOR, SPACED, Look, loads_at, look_of_seeds

BENCH = m.load_scenario("maize_bench")
ONE = BENCH.drawn([0.5] * len(BENCH.unknown))
KNOWN = replace(
    ONE,
    meter=Posterior(draws=(ONE.coefficients,) * 2, share=(0.0,) * 2, spread=(0.0,) * 2, made="x"),
)
"""The bench on a machine that is known, by a model without error."""


@dataclass(frozen=True)
class Plain:
    """In place of a surface: shares that are known functions of the true settings."""

    effects: dict
    off: float = 0.0

    def angles(self, way, kind, there, traits):
        if kind == "skip":
            return ANGLE.to(0.01 * np.exp(3 * (1 - there.vacuum / KNOWN.vacuum.vacuum)))
        return ANGLE.to(0.012 * np.exp(-0.8 * there.edge))

    def error(self, way, kind, angles):
        return np.full_like(angles, self.off)


EFFECTS = {(way, kind): 1.0 for way in (BELT, SENSOR, SPACED) for kind in ("skip", "double")}


def plain_bank(each=400, sensed=False, spent=False, seed=3):
    names = named(sensed=sensed, lens_clean=False, drive_shows=spent)
    points = draw_points(names, seed, each)
    return Bank(KNOWN, points, draw_machines(KNOWN, len(points), seed), Plain(EFFECTS))


def log_chance(look, skip, double):
    """Logarithm of the multinomial chance of a look."""
    rest = look.cells - look.skips - look.doubles
    free = gammaln(look.cells + 1) - sum(gammaln(n + 1) for n in (look.skips, look.doubles, rest))
    return (
        free
        + look.skips * np.log(skip)
        + look.doubles * np.log(double)
        + rest * np.log(1 - skip - double)
    )


@pytest.mark.parametrize("counts", [(500, 4, 6), (500, 30, 6), (500, 2, 40), (500, 180, 120)])
def test_chances_are_those_of_bayes(counts):
    """Closed form: multinomial chances of all points, and 2/((n+1)(n+2)) of something else."""
    cells, skips, doubles = counts
    look = Look(cells=cells, skips=skips, doubles=doubles)
    found = Diagnosis(plain_bank(), [Seen(KNOWN, look)])
    points = found.points
    skip = 0.01 * np.exp(3 * (1 - points.vacuum))
    double = 0.012 * np.exp(-0.8 * points.edge)
    part = points.failing / 30
    skip, double = skip + part * (1 - skip), double * (1 - part)
    logs = log_chance(look, skip, double) + np.log(points.prior)
    other = math.log(2 / ((cells + 1) * (cells + 2))) + math.log(ELSE_PRIOR)
    weights = np.exp(logs - logsumexp([*logs, other]))
    assert found.weights == pytest.approx(weights, rel=1e-2, abs=1e-9)
    assert sum(found.after(name) for name in found.names) == pytest.approx(1)
    assert found.after(ELSE) == pytest.approx(1 - weights.sum(), rel=1e-2, abs=1e-9)


def test_a_single_cell_says_next_to_nothing():
    found = Diagnosis(plain_bank(), [Seen(KNOWN, Look(cells=1, skips=0, doubles=0))])
    for name in found.points.names:
        assert found.after(name) == pytest.approx(found.before(name), abs=0.08)


def test_counts_multiply_and_their_order_does_not_matter():
    looks = [look_of_seeds(300, 2, 9), look_of_seeds(400, 9, 3)]
    made = plain_bank()
    both, turned = (
        Diagnosis(made, [Seen(KNOWN, look) for look in some]) for some in (looks, looks[::-1])
    )
    assert both.weights == pytest.approx(turned.weights)
    first = Diagnosis(made, [Seen(KNOWN, looks[0])])
    assert both.weighed([0]) == pytest.approx(first.weights)
    assert both.weighed([0]) != pytest.approx(both.weights)


def test_a_monitor_of_which_nobody_knows_what_it_counts_is_both():
    """Chance: the mean of the two.  By spacing, a slipping drive is a hypothesis as well."""
    look = Look(cells=400, skips=12, doubles=4, way=SENSOR)
    assert by_cells_or_spacing(look, None) == (SENSOR, SPACED)
    assert by_cells_or_spacing(look, "cells") == (SENSOR,)
    assert by_cells_or_spacing(replace(look, way=BELT), "spacing") == (BELT,)
    made = plain_bank(sensed=True, spent=True)
    either, cells, spaced = (
        Diagnosis(made, [Seen(KNOWN, look, by_cells_or_spacing(look, how))]).log_chances([0])
        for how in (None, "cells", "spacing")
    )
    assert np.exp(either) == pytest.approx((np.exp(cells) + np.exp(spaced)) / 2)
    slips = made.points.which == made.points.names.index(DRIVE)
    assert (spaced != cells)[slips].any() and (spaced == cells)[~slips].all()


def test_a_monitor_counts_in_one_way_only():
    """Two counts: the mean of products over ways, not the product of means (closed form)."""
    looks = [Look(cells=400, skips=20, doubles=4, way=SENSOR)] * 2
    made = plain_bank(sensed=True, spent=True)
    away = KNOWN.replace(singulator__notch=1.0)

    def chances(how):
        ways = by_cells_or_spacing(looks[0], how)
        pairs = zip((KNOWN, away), looks, strict=True)
        return Diagnosis(made, [Seen(meter, look, ways) for meter, look in pairs])

    either, cells, spaced = (chances(how) for how in (None, "cells", "spacing"))
    both = (np.exp(cells.log_chances([0, 1])) + np.exp(spaced.log_chances([0, 1]))) / 2
    assert np.exp(either.log_chances([0, 1])) == pytest.approx(both)
    product = either.log_chances([0]) + either.log_chances([1])
    assert either.log_chances([0, 1]) != pytest.approx(product)


def test_counts_at_one_setting_are_one_longer_count():
    """Twice the same setting is their sum; an error of the model there counts once."""
    made = replace(plain_bank(), surface=Plain(EFFECTS, 0.03))
    parts = [look_of_seeds(300, 9, 9), look_of_seeds(500, 12, 8)]
    whole = Look(cells=sum(one.cells for one in parts), skips=21, doubles=17)
    two, one = (
        Diagnosis(made, [Seen(KNOWN, look) for look in looks]) for looks in (parts, [whole])
    )
    assert two.weights == pytest.approx(one.weights)
    # and no count, however long, says more than that error allows
    long = Diagnosis(made, [Seen(KNOWN, Look(cells=10**7, skips=200_000, doubles=150_000))])
    exact = Diagnosis(plain_bank(), long.seen)
    assert long.effective > 20 * exact.effective


def test_seed_that_no_meter_in_order_uses_is_a_reason_to_act():
    look = Look(cells=800, skips=8, doubles=8, way=SENSOR)
    made = plain_bank(sensed=True, spent=True)
    for ratio, differs in ((1.0, False), (0.97, False), (0.85, True), (1.3, True)):
        assert Diagnosis(made, [Seen(KNOWN, look)], Used(ratio)).used_differs == differs
    slips = Diagnosis(made, [Seen(KNOWN, look)], Used(0.85))
    assert slips.after(DRIVE) > 0.8 and not slips.after(DRIVE) > 0.9999


def test_a_count_that_nothing_explains_leaves_numbers():
    """All chances of listed meters are below the least number: points can still be drawn."""
    found = Diagnosis(plain_bank(), [Seen(KNOWN, Look(cells=10**6, skips=9, doubles=900_000))])
    assert found.after(ELSE) == pytest.approx(1)
    assert np.isfinite(found.weights).all() and found.weights.sum() > 0
    assert len(found.picks(50, 1)) == 50 and np.isfinite(found.effective)


def test_a_range_of_a_setting_is_that_of_the_machines():
    """Vacuum from 2 to 6 kPa: each machine has its own, and a move of the setting moves it."""
    base = BENCH.replace(vacuum__vacuum=4000.0)
    wide = m.load_scenario("maize_bench", ["vacuum_kpa={low = 2, high = 6}"])
    points = draw_points((FINE, HOLES), 3, each=50)
    fine = replace(points, vacuum=np.ones(len(points)))
    machines = draw_machines(wide, len(points), 4)
    there = where(wide, fine, machines).vacuum
    assert 2000 <= there.min() < 2200 and 5800 < there.max() <= 6000
    assert abs(there.mean() - 4000) < 100
    up = where(wide.replace(vacuum__vacuum=4500.0), fine, machines).vacuum
    assert up - there == pytest.approx(500)
    assert np.ptp(where(base, fine, draw_machines(base, len(points), 4)).vacuum) == 0
    assert comparable(wide, wide) and comparable(wide, wide.replace(singulator__notch=1.0))
    assert machines.of(3, wide.replace(vacuum__vacuum=4500.0)).vacuum.vacuum == 4500.0


def test_seed_used_distinguishes_a_dirty_lens_from_skips():
    """Closed form of the normal error; seed for skips that are real is not used."""
    look = Look(cells=800, skips=64, doubles=6, way=SENSOR)
    made = plain_bank(sensed=True, spent=True)
    blind, full, short = (
        Diagnosis(made, [Seen(KNOWN, look, (SENSOR,))], used)
        for used in (None, Used(1.0), Used(0.93))
    )
    assert full.after(LENS) > 0.8 > blind.after(LENS) > short.after(LENS)
    assert short.lens_contradicted and not full.lens_contradicted and not blind.lens_contradicted
    skip, double = shares_of(made.surface, KNOWN, BELT, made.points, made.machines)
    wanted = (1 - made.points.slip) * (1 - skip + double)
    logs = -(((1.0 - wanted) / USED_SD) ** 2) / 2 - math.log(USED_SD * math.sqrt(2 * math.pi))
    assert full.used_chances == pytest.approx(logs)
    weighed = Diagnosis(made, [Seen(KNOWN, look, (SENSOR,))], Used(1.0, weighed=True))
    off = (1.0 - wanted * made.points.size**3) / USED_SD
    assert weighed.used_chances - logs == pytest.approx(
        (((1.0 - wanted) / USED_SD) ** 2 - off**2) / 2
    )


def test_evidence_is_the_ratio_of_mean_chances():
    """By weights: odds after over odds before.  Something else alone has a flat chance."""
    found = Diagnosis(plain_bank(), [Seen(KNOWN, look_of_seeds(500, 20, 5))])
    listed = found.weights / found.weights.sum()
    prior = found.points.prior / found.points.prior.sum()
    for name in (FINE, HOLES, "vacuum"):
        mine = found.points.which == found.points.names.index(name)
        odds = listed[mine].sum() / listed[~mine].sum()
        before = prior[mine].sum() / prior[~mine].sum()
        assert factor(found, name, 0) == pytest.approx(odds / before)


def test_what_explains_a_count_equally_well_is_not_distinguished():
    found = Diagnosis(plain_bank(), [Seen(KNOWN, look_of_seeds(500, 25, 5))])
    names = not_distinguished(found)
    assert {HOLES, "vacuum"} <= {*names} and "edge far" not in names
    assert bits(0.5) == 1 and bits(0.0) == bits(1.0) == 0 < bits(0.1) < bits(0.3)


def test_a_row_that_is_bad_alone_has_no_other_seed():
    """Closed form: the odds of a fault of the lot fall by the chance that the row is alone."""
    found = Diagnosis(plain_bank(), [Seen(KNOWN, look_of_seeds(500, 25, 5))])
    alone = replace(found, alone=0.9)
    for name in OF_THE_LOT:
        odds, fewer = (one.after(name) / one.after(HOLES) for one in (found, alone))
        assert fewer == pytest.approx(0.1 * odds)
    assert alone.after("vacuum") / alone.after(HOLES) == pytest.approx(
        found.after("vacuum") / found.after(HOLES)
    )


def test_rows_that_were_counted_alike_leave_no_row_alone():
    """Four rows: one bad row is likely alone, and of four alike none is."""
    made, mine = plain_bank(), look_of_seeds(900, 60, 12)
    found = Diagnosis(made, [Seen(KNOWN, mine)])
    good, bad = look_of_seeds(900, 6, 12), look_of_seeds(900, 58, 12)
    assert with_others(found, [good] * 3).alone > 0.6
    alike = with_others(found, [bad] * 3)
    assert alike.alone < 0.1 and alike.common > 0.6
    assert alike.after(HOLES) < 0.5 * found.after(HOLES)  # on four discs at once?
    assert alike.after("vacuum") > found.after("vacuum")
    assert with_others(found, []).alone == 0.0


def test_picks_are_drawn_as_often_as_their_weight_says():
    found = Diagnosis(plain_bank(each=30), [Seen(KNOWN, look_of_seeds(200, 5, 5))])
    picks = found.picks(500, seed=1)
    share = found.weights / found.weights.sum()
    times = np.bincount(picks, minlength=len(share))
    assert (np.abs(times - 500 * share) <= 1).all()


def test_counts_at_settings_that_a_surface_does_not_know_are_left_out():
    assert comparable(BENCH, BENCH.replace(singulator__notch=1.0))
    assert comparable(BENCH, BENCH.replace(vacuum__vacuum=3000.0, demand__speed=3.0))
    assert not comparable(BENCH, BENCH.replace(guide__inner_guide=True))
    assert not comparable(BENCH, BENCH.replace(disc__cells=32))
    assert setting_name(BENCH) != setting_name(BENCH.replace(singulator__notch=1.0))


# the surface


def test_a_fault_and_a_notch_move_the_same_edge():
    """Two notches off and two notches on give the same cells.  Control: one notch on."""
    points = draw_points((FINE, "edge far"), 3, each=2).of(np.array([0]))
    off = replace(points, edge=np.array([-2.0]))
    fine = replace(points, edge=np.array([0.0]))

    def cells(setting, one):
        meter = placed(BENCH, where(setting, one, draw_machines(KNOWN, 1, 1)).table[0]).lasting(
            1500
        )
        return loads_at(meter, seed=5)[BELT]

    moved = [BENCH.replace(singulator__notch=float(k)) for k in (0, 1, 2)]
    assert (cells(moved[2], off) == cells(moved[0], fine)).all()
    assert (cells(moved[1], off) != cells(moved[0], fine)).any()


@pytest.fixture(scope="module")
def made():
    """A bank of the bench, with all ways of looking."""
    settings = [BENCH.replace(singulator__notch=float(k)) for k in (-1, 1)]
    return bank(BENCH, settings, [SENSOR, SPACED], spent=True)


@pytest.mark.study
@pytest.mark.slow
def test_the_surface_errs_as_much_as_it_says(made):
    """Meters that were not run, in runs of 5,000 cells: errors over stated ones, |z| < 4 of 1.

    Control: a surface of the mean alone errs more than four standard errors more.
    """
    many = 80
    rng = np.random.default_rng(4)
    some = rng.permutation(len(made.points))[:many]
    points, machines = made.points.of(some), made.machines.at(some)
    rows = where(BENCH, points, machines).table
    shown = [
        loads_at(placed(machines.of(k, BENCH), row).lasting(5000), seed=90, replicate=k)[BELT]
        for k, row in enumerate(rows)
    ]
    for kind, load in (("skip", 0), ("double", 2)):
        share = np.array([np.mean(one == 0 if load == 0 else one > 1) for one in shown])
        true = ANGLE.to(share)
        said = made.surface.angles(BELT, kind, where(BENCH, points, machines), machines.traits)
        error = np.hypot(made.surface.error(BELT, kind, said), math.sqrt(1.5 / 4 / 5000))
        squares = ((said - true) / error) ** 2
        assert abs(squares.mean() - 1) < 4 * squares.std(ddof=1) / math.sqrt(many)
        alone = ((true.mean() - true) / error) ** 2
        assert alone.mean() > 1 + 4 * squares.std(ddof=1) / math.sqrt(many)


@pytest.mark.slow
def test_signs_of_the_surface(made):
    """Less vacuum and larger seed skip more; an edge farther off and smaller seed double more."""

    def mean(name, kind):
        at = np.flatnonzero(made.points.which == made.points.names.index(name))
        points, machines = made.points.of(at), made.machines.at(at)
        angles = made.surface.angles(BELT, kind, where(BENCH, points, machines), machines.traits)
        return ANGLE.back(angles).mean()

    for kind, names in (("skip", ("vacuum", "edge near")), ("double", ("edge far", "small seed"))):
        for name in names:
            assert mean(name, kind) > 1.3 * mean(FINE, kind)


@pytest.mark.study
@pytest.mark.slow
def test_the_same_seed_gives_the_same_bank_wherever_it_is_run(made):
    from concurrent.futures import ThreadPoolExecutor

    look = [Seen(BENCH, look_of_seeds(500, 9, 9))]
    with ThreadPoolExecutor(2) as executor:
        there = bank(BENCH, [], [BELT], runs=60, each=50, executor=executor)
    here, other = (bank(BENCH, [], [BELT], runs=60, each=50, seed=seed) for seed in (1, 0))
    a, b, c = (Diagnosis(one, look).weights for one in (there, here, other))
    assert a.tolist() == b.tolist() != c.tolist()


def test_a_meter_that_cannot_be_is_refused():
    """Holes wider than the seed of nearly all possible meters."""
    with pytest.raises(BadInput, match="no meter near these settings"):
        bank(BENCH.replace(disc__hole_diameter=7.2e-3), [], [BELT], runs=40, each=20)


def test_a_diagnosis_is_made_of_what_was_counted():
    found = Diagnosis(plain_bank(each=20), [Seen(KNOWN, look_of_seeds(100, 1, 1))])
    assert found.here == [0] and len(found.weights) == len(found.points)
    low, high = found.interval("size")
    assert low < found.mean("size") < high and found.effective > 10
