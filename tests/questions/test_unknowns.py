"""Sampling, inputs and model apart and together: closed forms, limits, pairing, what is printed."""

import dataclasses
import json
import math
import re

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.machine.coefficients import USUAL
from metersim.machine.given import scenario_of, scenario_toml
from metersim.machine.posterior import AT, Posterior, shipped_posterior
from metersim.measures.estimates import difference, measure
from metersim.measures.indices import BY_KEY, MEASURES
from metersim.measures.intervals import LEVEL_TOTAL, Estimate, jackknife
from metersim.questions.evidence.score import constant
from metersim.questions.shared import unknowns
from metersim.questions.shared.cases import load_case
from metersim.questions.shared.discrepancy import FITTED_CROPS, errors_of, share_error
from metersim.questions.shared.spread import (
    ALIKE,
    NOTHING,
    Draws,
    Spread,
    change_between,
    change_errors,
    gather,
)
from metersim.questions.shared.unknowns import draw_places, drawn_cells, run_draws, spread
from metersim.questions.shared.unseen import OUTLIERS, shipped_unseen

Z = 1.959963984540054  # normal deviate of 97.5 %
Z90 = 1.6448536269514722  # of 95 %
RATE = "rate_per_ha={mean=80000, sd=4000}"
VACUUM = "vacuum_kpa={low=2, high=4}"
SIZES = "size_cv_percent=5"  # in place of the range of the lot
SHARES = [part.key for part in MEASURES if part.kind == "share" and part.top]
ONE = Posterior(draws=(USUAL, USUAL), share=(0.0, 0.0), spread=(0.0, 0.0), made="one machine")
"""A machine of which everything is known."""


def bench(*changes, turns=20):
    return m.load_scenario("maize_bench", [SIZES, *changes, f"turns={turns}"])


def known(*changes, turns=20):
    """A bench with a machine of which everything is known."""
    return dataclasses.replace(bench(*changes, turns=turns), meter=ONE)


def synthetic(values, variances, own=NOTHING, inputs=None, error=0.0):
    """The spread of differences that are given, in an unbent scale unless they are noisy."""
    made = [
        Draws({"x": np.asarray(v)}, {"x": np.asarray(variances)}) for v in (values, inputs or [])
    ]
    of_inputs = made[1] if inputs else None
    return Spread("numbers", (), {"x": own}, made[0], of_inputs, {"x": error})


def width(estimate):
    return estimate.high - estimate.low


def ratio(draws, key):
    """Variance over the draws, over that of the sampling: 1 when there is nothing but it."""
    return np.var(draws.values[key], ddof=1) / np.mean(draws.variances[key])


# ---------------------------------------------------------------- draws


def test_every_column_has_one_draw_in_each_stratum():
    unknowns = bench(RATE, VACUUM).unknown
    places = draw_places(unknowns, 40, 3)
    assert places.shape == (40, 2) and places.min() > 0 and places.max() < 1
    for column in places.T:
        assert sorted(np.floor(column * 40)) == list(range(40))
    assert abs(np.corrcoef(places.T)[0, 1]) < 4 / math.sqrt(40)


def test_a_key_keeps_its_draws_whatever_else_is_unknown():
    both, one = bench(RATE, VACUUM).unknown, bench(VACUUM).unknown
    assert [unknown.name for unknown in both] == ["vacuum", "rate"]
    assert (draw_places(both, 16, 3)[:, :1] == draw_places(one, 16, 3)).all()
    assert (draw_places(both[::-1], 16, 3)[:, ::-1] == draw_places(both, 16, 3)).all()
    assert (draw_places(both, 16, 4) != draw_places(both, 16, 3)).all()
    assert draw_places((), 16, 3).shape == (16, 0)


def test_a_contradiction_among_the_draws_is_found_before_anything_runs():
    with pytest.raises(BadInput, match="narrow hole_diameter_mm from 3 to 9"):
        run_draws(bench("hole_diameter_mm={low=3, high=9}"), draws=64, seed=1)
    with pytest.raises(ValueError, match="allowed: 2 or more"):
        spread(bench(VACUUM), draws=1)


def test_scenarios_share_the_machine_of_a_draw():
    pair = bench(), bench("notch=1")
    rows = list(run_draws(*pair, draws=3, seed=1, cells=60))
    for k, row in enumerate(rows):
        assert [one.scenario.coefficients for one in row] == [shipped_posterior().draw(k)] * 2
    kept = list(run_draws(*pair, draws=2, seed=1, cells=60, machines=False))
    assert all(one.scenario.coefficients is USUAL for row in kept for one in row)


def test_variants_that_differ_in_cells_are_watched_for_about_as_many():
    pair = bench("cells={among=[20, 30]}"), bench("cells={low=24, high=40}")
    for row in run_draws(*pair, draws=8, seed=1, cells=600):
        assert all(abs(one.total("cells") - 600) <= 20 for one in row)
        assert len({one.tallies[0].stretches for one in row}) == 1


def test_draws_are_short_unless_a_run_changes_as_it_goes_on():
    """A hopper that empties in the run empties in its draws."""
    plain = bench(turns=300)
    empty = plain.replace(pool__hopper=1.0)
    starting = plain.replace(run__turns=150, drive__start_ramp=2.0)
    short = plain.replace(run__turns=20)
    for scenario, cells in ((plain, 1200), (short, 600), (empty, 9000), (starting, 4500)):
        assert drawn_cells(scenario) == cells
        drawn = next(iter(run_draws(scenario, draws=2, seed=1)))
        assert [one.total("cells") for one in drawn] == [cells]
    pair = next(iter(run_draws(plain, empty, draws=2, seed=1)))
    assert [one.total("cells") for one in pair] == [9_000] * 2  # and pairs stay alike


# ---------------------------------------------------------------- arithmetic


def test_the_jackknife_of_a_mean_is_its_variance():
    values = np.random.Generator(np.random.PCG64(1)).normal(size=30)
    left = (values.sum() - values) / 29
    assert jackknife(left) == pytest.approx(np.var(values, ddof=1) / 30, rel=1e-12)
    assert math.isnan(jackknife([1.0]))


def test_points_are_the_values_of_the_estimates_and_leave_each_stretch_out():
    tally = m.tallied(bench(turns=50), seed=2, stretches=5)
    measured = measure(tally)
    for part in MEASURES:
        expected = measured[part.key].value
        assert measured.points[part.key][0] == pytest.approx(expected, rel=1e-12, nan_ok=True)
    none, cells = tally.sums["none"], tally.sums["cells"]
    left = (none.sum() - none) / (cells.sum() - cells)
    assert measured.points["cells.skip"][1:] == pytest.approx(left, rel=1e-12)


@pytest.mark.parametrize(("vague", "luck"), [(1.0, 1.0), (2.0, 1.0), (0.5, 1.0)])
def test_parts_of_normal_numbers_come_apart_by_the_closed_form(vague, luck):
    n, rng = 10_000, np.random.Generator(np.random.PCG64(5))
    values = rng.normal(-7, vague, n) + rng.normal(0, luck, n)
    found = synthetic(values, np.full(n, luck**2), Estimate(-7, -7 - Z90 * luck, -7 + Z90 * luck))
    both = math.hypot(vague, luck)
    # the SE of an SD; that of luck^2 is taken off the variance, derived
    error = (both / vague) ** 2 / math.sqrt(2 * n)
    assert width(found.model("x")) == pytest.approx(2 * Z90 * vague, rel=4 * error)
    assert width(found.total("x")) == pytest.approx(2 * Z90 * both, rel=4 * error)
    assert width(found.sampling("x")) == pytest.approx(2 * Z90 * luck, rel=1e-9)
    assert width(found.total("x")) > (1 + 8 * error) * width(found.model("x"))  # negative control
    wide = dataclasses.replace(found, errors={"x": 3.0})
    expected = 2 * Z90 * math.hypot(both, 3.0)
    assert width(wide.total("x")) == pytest.approx(expected, rel=4 * error)


def test_what_the_own_run_is_longer_makes_it_narrower():
    """The sampling error of the draws is taken off, that of the own run is added."""
    rng = np.random.Generator(np.random.PCG64(5))
    values = rng.normal(-7, 1, 4000)
    short, long = (
        synthetic(values, np.full(4000, 0.8), Estimate(-7, -7 - half, -7 + half)).total("x")
        for half in (2.0, 0.02)
    )
    assert width(long) < 0.5 * width(short)


def test_with_nothing_but_sampling_the_rest_is_never_below_zero():
    values = np.random.Generator(np.random.PCG64(6)).normal(-3, 1, 64)
    own = Estimate(-3.0, -5.0, -2.0)
    found = synthetic(values, np.full(64, 2.0), own, inputs=[*values])
    for part in (found.model("x"), found.inputs("x")):
        assert part.low == part.value == part.high == found.total("x").value
    assert not found.is_detected("x")
    total, sampling = found.total("x"), found.sampling("x")
    assert (total.value - sampling.low, sampling.high - total.value) == pytest.approx((2.0, 1.0))
    # the middle of the draws is itself known to 1 in sqrt(64) draws of SD sqrt(2)
    assert width(total) == pytest.approx(3.0, abs=0.2) and width(total) >= width(sampling)


def test_what_cannot_be_told_has_no_bounds():
    nan = math.nan
    none = synthetic([1.0, nan, nan], [0.1] * 3, inputs=[1.0, nan, nan])
    assert math.isnan(none.total("x").value) and not none.is_detected("x")
    short = synthetic([1.0, 2.0, 3.0], [nan] * 3, inputs=[1.0, 2.0, 3.0])
    assert math.isnan(short.inputs("x").low) and not short.is_detected("x")
    assert short.total("x").low < 1 and short.total("x").high > 3  # sampling is in the draws
    some = synthetic([-1.0, nan, -3.0, -2.0], [0.0, nan, 0.0, 0.0])
    assert some.total("x").value == pytest.approx(-2.0)
    assert math.isnan(some.inputs("x").low)  # nothing is uncertain


@pytest.mark.slow
def test_a_further_machine_lies_inside_with_the_stated_chance():
    """Of normal machines, 32 of which are drawn; the usual quantiles hold fewer."""
    rng = np.random.Generator(np.random.PCG64(7))
    covered, plain = [], []
    for values in rng.normal(size=(2000, 32)):
        total = synthetic(values, np.zeros(32), Estimate(0, 0, 0)).total("x")
        covered.append(total.low < rng.normal() < total.high)
        low, high = np.quantile(values, [0.05, 0.95])
        plain.append(low < rng.normal() < high)
    error = math.sqrt(0.9 * 0.1 / 2000)
    assert abs(np.mean(covered) - LEVEL_TOTAL) < 4 * error
    assert abs(np.mean(plain) - LEVEL_TOTAL) > 4 * error


def test_a_difference_that_goes_with_its_level_keeps_its_sign():
    values = np.exp(np.random.Generator(np.random.PCG64(8)).normal(0, 0.8, 32))
    own = Estimate(1.0, 0.98, 1.02)
    found = dataclasses.replace(synthetic(values, np.full(32, 1e-4), own), change=True)
    assert 0 < found.total("x").low < 0.5 < 2 < found.total("x").high
    spread = np.std(values, ddof=1)
    assert np.mean(values) - 2 * spread < 0  # negative control: a plain interval has any sign
    noisy = dataclasses.replace(found, errors={"x": 10.0})
    assert noisy.total("x").low < 0 < noisy.total("x").high
    assert width(noisy.total("x")) == pytest.approx(2 * Z90 * 10, rel=0.2)


def test_runs_that_agree_in_every_draw_differ_by_nothing():
    zero = Estimate(0.0, 0.0, 0.0)
    same = dataclasses.replace(synthetic(np.zeros(8), np.zeros(8), zero, error=0.1), change=True)
    assert same.total("x") == zero
    other = dataclasses.replace(same, draws=Draws({"x": np.eye(8)[0]}, {"x": np.zeros(8)}))
    assert width(other.total("x")) > 0.3  # negative control


def test_the_discrepancy_of_a_share_goes_with_the_root_of_its_odds():
    """It is stated at 3 %; on the scale of shares it is the same everywhere."""
    found = shipped_posterior()
    own = share_error(found, "maize")
    assert own * 2 * math.sqrt(AT * (1 - AT)) == pytest.approx(found.share_sd)
    errors = errors_of(found, "maize", MEASURES)
    assert {key for key in errors if errors[key] == own} == set(SHARES)
    assert errors["precision"] == errors["spacing.sd"] == found.spread_sd
    assert "placed.per_area" not in errors

    def level(share):
        values = np.full(32, share)
        own = Estimate(share, share, share)
        made = Draws({"cells.skip": values, "precision": values}, {"cells.skip": 0 * values,
                     "precision": 0 * values})  # fmt: skip
        return Spread("", (), {"cells.skip": own, "precision": own}, made, None, errors)

    t = 1.6955  # Student's quantile of 95 % with 31 degrees of freedom, from a table
    low = level(0.03).total("cells.skip")
    assert width(low) == pytest.approx(2 * t * found.share_sd, rel=0.05)
    assert level(0.0).total("cells.skip").low == 0 and width(level(0.0).total("cells.skip")) > 0
    both = change_errors(
        found, [BY_KEY["cells.skip"], BY_KEY["precision"]], level(0.03), level(0.03)
    )
    cancelled = math.sqrt(2 * (1 - ALIKE))
    assert both["cells.skip"] == pytest.approx(cancelled * found.share_sd)
    assert both["precision"] == pytest.approx(cancelled * found.spread_sd * 0.03)


def test_a_crop_without_a_published_level_has_wider_intervals():
    """They are as wide as a mixture with the published levels of other crops, 70 to 30.

    On the scale of angles, a level left out has an SD of 0.06 rad; so has the model here.
    """
    found, own = shipped_posterior(), 0.06
    levels: dict[str, list[float]] = {}
    for one in shipped_unseen():
        if one.measure == "per_spacing.quality" and not (one.held_back or one.group):
            levels.setdefault(one.laboratory, []).append(one.published)
    others = np.arcsin(np.sqrt(1 - constant(levels) / 100))
    rng = np.random.Generator(np.random.PCG64(9))
    mixed = np.where(
        rng.random(200_000) < 0.7,
        rng.normal(0, own, 200_000),
        rng.choice(others - others.mean(), 200_000),
    )
    wanted = np.subtract(*np.quantile(mixed, [0.95, 0.05])) / (2 * Z90)
    maize, sorghum = (share_error(found, crop) for crop in ("maize", "sorghum"))
    assert math.hypot(math.sqrt(own**2 - maize**2), sorghum) == pytest.approx(wanted, rel=0.1)
    assert own < 0.8 * wanted  # negative control: the interval of a crop with a level
    learned = dataclasses.replace(found, file="my_meter.toml")
    assert share_error(learned, "sorghum") == maize


def test_crops_with_a_published_level_are_those_of_the_unseen_levels():
    shares = {one.case for one in shipped_unseen() if one.unit == "%" and not one.held_back}
    fitted = [load_case(name) for name in shares - set(OUTLIERS)]
    crops = {p.lot.crop for case in fitted for c in case.conditions.values() for p in c.parts}
    assert crops == FITTED_CROPS


# ---------------------------------------------------------------- runs


@pytest.mark.slow
def test_a_machine_that_is_known_leaves_the_sampling_error_alone():
    """Negative control of all parts: nothing is uncertain, and the model has no discrepancy."""
    found = spread(known(turns=100), seed=4, draws=16)
    own = measure(m.tallied(known(turns=100), seed=4), level=LEVEL_TOTAL)
    assert ratio(found.draws, "precision") < 1 + 4 * math.sqrt(2 / 15)
    for key in ("cells.double", "per_spacing.quality", "precision", "spacing.mean"):
        assert found.at_middle(key) == own[key]
        assert math.isnan(found.inputs(key).low)
        # the variance over 16 draws may be some 1.7 times the sampling's by chance
        assert width(own[key]) * 0.7 < width(found.total(key)) < 2 * width(own[key])
    vague = spread(bench(turns=100), seed=4, draws=16)
    for key in ("cells.double", "per_spacing.quality", "precision"):
        assert width(vague.total(key)) > 2 * width(own[key])


def test_no_part_is_wider_than_the_total():
    found = spread(bench(VACUUM, turns=50), seed=4, draws=12)
    for key in BY_KEY:
        total, *parts = (
            found.parts(key)[name] for name in ("total", "sampling", "inputs", "model")
        )
        for part in parts:
            if not math.isnan(part.low):
                assert part.value == total.value
                assert total.low <= part.low + 1e-12 and part.high <= total.high + 1e-12


@pytest.mark.slow
def test_a_range_of_what_has_no_effect_changes_nothing():
    without = spread(bench(), seed=4, draws=8)
    idle = spread(bench("soil_scatter_mm={low=0, high=60}"), seed=4, draws=8)  # field only
    for key in BY_KEY:
        own = idle.at_middle(key)
        assert own == without.at_middle(key) or math.isnan(own.value)
        assert np.array_equal(idle.draws.values[key], without.draws.values[key], equal_nan=True)
    moved = spread(bench("tube_wear={low=0, high=1}"), seed=4, draws=8)
    assert (moved.draws.values["precision"] != without.draws.values["precision"]).all()


@pytest.mark.study
@pytest.mark.slow
def test_not_knowing_a_normal_rate_is_a_normal_population():
    """What is placed on an area is the rate times seeds a cell, which is nearly 1."""
    found = spread(known(RATE), seed=2, draws=256)
    unknown, both = found.inputs("placed.per_area"), found.total("placed.per_area")
    a_cell = both.value / 8
    assert a_cell == pytest.approx(1, abs=0.02)
    closed = 2 * Z90 * 0.4 * a_cell
    assert width(unknown) == pytest.approx(closed, rel=0.05)
    assert width(found.sampling("placed.per_area")) < 0.3 * closed
    # negative control: knowing it twice as well
    half = spread(known("rate_per_ha={mean=80000, sd=2000}"), seed=2, draws=256)
    assert width(half.inputs("placed.per_area")) == pytest.approx(closed / 2, rel=0.08)


@pytest.mark.slow
def test_where_sampling_dominates_the_inputs_differ_by_it_alone():
    given = "tube_wear={mean=0.1, sd=0.0001}", "tube_wear={low=0, high=1}"
    hardly, vague = (  # the second is the negative control
        gather(one.points for (one,) in run_draws(bench(wear), draws=64, seed=3, machines=False))
        for wear in given
    )
    error = math.sqrt(2 / 63)  # of a variance of 64 normal numbers, over itself
    for key in ("per_spacing.quality", "precision", "drop_time.sd"):
        assert abs(ratio(hardly, key) - 1) < 4 * error
        assert ratio(vague, key) - 1 > 4 * error
        assert Spread("", (), {}, vague, of_inputs=vague).is_detected(key)


@pytest.mark.slow
def test_what_two_variants_do_not_know_alike_cancels_in_their_difference():
    changes = [SIZES, RATE, "turns=20"]
    pair = m.compare("maize_bench", vary="notch=0,1", changes=changes, seed=3, draws=16)
    (apart,), (one, other) = pair.spreads, pair.levels
    for key in ("placed.per_area", "cells.double", "precision"):
        differences = other.draws.values[key] - one.draws.values[key]
        assert apart.draws.values[key] == pytest.approx(differences, rel=1e-12)
        total = apart.total(key)
        assert total.value == pytest.approx(
            other.total(key).value - one.total(key).value, abs=1e-12
        )
        # negative control: another machine and other inputs for each
        unpaired = np.roll(other.draws.values[key], 1) - one.draws.values[key]
        made = Draws({key: unpaired}, {key: 2 * apart.draws.variances[key]})
        alone = dataclasses.replace(apart, draws=made, of_inputs=None, errors={})
        assert width(total) < 0.8 * width(alone.total(key)), key
    assert repr(apart) == (
        "<Spread of notch=1 minus notch=0: 16 draws of a machine, 1 unknown; "
        "to_dataframe() shows it>"
    )


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("scenario", ["maize_bench", "maize_field"])
def test_a_fresh_machine_lies_in_the_interval_with_the_stated_chance(scenario):
    """Machines that were not drawn for the interval; the model's own discrepancy is left out.

    48 intervals of 32 draws each have an SE of some 0.03 together, as each holds its own share.
    """
    base, every = m.load_scenario(scenario, "turns=100"), shipped_posterior()
    keys = ("cells.skip", "cells.double", "per_spacing.quality", "precision", "spacing.sd")
    rows = [
        [measure(m.tallied(dataclasses.replace(base, coefficients=draw), seed=9, replicate=k))]
        for k, draw in enumerate(every.draws)
    ]
    points = [row[0].points for row in rows]
    values = {key: np.array([point[key][0] for point in points]) for key in keys}
    variances = {key: np.array([jackknife(point[key][1:]) for point in points]) for key in keys}
    rng, held = np.random.Generator(np.random.PCG64(3)), {key: [] for key in keys}
    for _ in range(48):
        order = rng.permutation(len(points))
        drawn, fresh = order[:32], order[32:]
        own = measure(rows[drawn[0]][0].tallies, level=LEVEL_TOTAL)
        part = Draws(*({key: one[key][drawn] for key in keys} for one in (values, variances)))
        found = Spread("", (), own.estimates, part)
        for key in keys:
            total = found.total(key)
            inside = (total.low <= values[key][fresh]) & (values[key][fresh] <= total.high)
            held[key].append(inside.mean())
    for key in keys:
        assert np.mean(held[key]) == pytest.approx(LEVEL_TOTAL, abs=0.05), key


@pytest.mark.study
@pytest.mark.slow
def test_short_draws_give_the_intervals_of_long_ones(monkeypatch):
    """Runs of 1,200 cells in place of 3,000, of the same machines: means of eight intervals.

    Half of an interval over 16 draws has an SE of some 20 % of it, as stated for differences; so a
    mean of eight has one of 7 %.  The machines are the same, so a ratio has less.
    """
    pair = [m.load_scenario("maize_field", [f"speed_kmh={speed}", "turns=300"]) for speed in (6, 8)]
    middles = [measure(m.tallied(one, seed=1), level=LEVEL_TOTAL) for one in pair]
    keys = ("cells.skip", "cells.double", "per_spacing.quality", "precision")
    monkeypatch.setattr(unknowns, "DRAWN_CELLS", 3_000)  # the runs may be as long as asked for
    changes = [{key: difference(*middles, BY_KEY[key]) for key in keys}]

    def halves(cells, known=True):
        rows = list(run_draws(*pair, draws=128, seed=5, cells=cells))
        points = [[one.points for one in row] for row in rows]
        if not known:  # as if the runs of the draws had no sampling error
            points = [[{k: v[:1].repeat(9) for k, v in p.items()} for p in row] for row in points]
        found = []
        for group in range(0, 128, 16):
            part = points[group : group + 16]
            apart = gather({key: b[key] - a[key] for key in keys} for a, b in part)
            errors = errors_of(pair[0].posterior, "maize", MEASURES)
            one, other = (
                Spread("", (), own.estimates, gather(column), None, errors, pair[0].posterior)
                for own, column in zip(middles, zip(*part, strict=True), strict=True)
            )
            change = change_between(one, other, changes[0], apart)
            found.append([width(spread.total(key)) for spread in (one, change) for key in keys])
        return np.mean(found, axis=0)

    long, short, blunt = halves(3000), halves(1200), halves(300, known=False)
    ratios = short / long
    assert (np.abs(ratios[:4] - 1) < 0.08).all(), ratios  # levels
    assert (np.abs(ratios[4:] - 1.03) < 0.15).all(), ratios  # differences
    assert (blunt / long)[6] > 1.25, blunt / long  # negative control: shorter, as if they were long


def test_the_table_holds_a_row_a_measure():
    pytest.importorskip("pandas")
    frame = spread(bench(VACUUM, turns=5), draws=4).to_dataframe()
    assert list(frame["key"]) == [part.key for part in MEASURES]
    assert (frame["total_high"].dropna() >= frame["total_low"].dropna()).all()
    assert {"sampling_low", "inputs_low", "model_low", "own_run"} <= set(frame)


# ---------------------------------------------------------------- commands


@pytest.fixture
def said(capsys):
    """What a command prints."""

    def call(*words):
        assert main(list(words)) == 0
        return capsys.readouterr().out

    return call


SURE = ("--set", SIZES)
VAGUE = (*SURE, "--set", VACUUM, "--turns", "20", "--draws", "8")


@pytest.mark.slow
def test_run_prints_the_total_and_on_request_its_parts(said):
    text = said("run", "maize_bench", *VAGUE)
    assert re.search(r"expected +90 % interval$", text, re.MULTILINE)
    drawn = "8 draws of an unknown machine; vacuum_kpa from 2 to 4"
    assert "an unknown machine; vacuum_kpa from 2 to 4." in " ".join(text.split())
    assert said("run", "maize_bench", *VAGUE) == text
    details = said("run", "maize_bench", *VAGUE, "--details")
    heads = r"90 % interval +sampling +inputs +model +own run$"
    assert re.search(heads, details, re.MULTILINE) and drawn in details
    assert f"total uncertainty (sampling, inputs and model), over {drawn}" in details
    assert details.startswith(text[: text.index("More: ")])  # the same totals
    short = ("run", "maize_bench", "--turns", "20", "--draws", "2", "--details")
    sure, plain = said(*short, *SURE), said(*short)
    assert "2 draws of an unknown machine\n" in sure and "95 % interval" not in sure
    assert "2 draws of an unknown machine; size_cv_percent from " in " ".join(plain.split())


def test_json_holds_the_total_and_its_parts(said):
    words = ("run", "maize_bench", "--json", "-")
    made = json.loads(said(*words, *VAGUE))
    parts = made["uncertainty"]
    assert made["interval_level"] == LEVEL_TOTAL and parts["draws"] == 8
    assert parts["ranges_si"] == {"vacuum.vacuum": {"low": 2000.0, "high": 4000.0}}
    assert parts["machine"]["varied"] == list(shipped_posterior().varied)
    total, part = made["spacing"]["mean_m"], parts["spacing"]["mean_m"]
    for name in ("sampling", "inputs", "model"):
        assert part[name]["value"] == total["value"]
        assert total["low"] <= part[name]["low"] <= part[name]["high"] <= total["high"]
    sure = json.loads(said(*words, *SURE, "--turns", "5", "--draws", "2"))["uncertainty"]
    assert sure["spacing"]["mean_m"]["inputs"] is None and sure["ranges_si"] == {}


@pytest.mark.slow
def test_compare_prints_totals_and_on_request_their_parts(said):
    words = ("compare", "maize_bench", "--vary", "notch=0,1", *VAGUE)
    text, details = said(*words), said(*words, "--details")
    assert "difference (90 % interval)" in text and "parts of the interval:" not in text
    assert "the same in all" in text
    assert "notch=1 minus notch=0, with common random numbers (90 % interval)" in details
    assert "All share the machine" in details
    assert "notch=1 minus notch=0, parts of the interval:\n" in details


@pytest.mark.slow
def test_compare_names_what_hangs_on_what_is_not_known(said):
    """A notch takes single seeds at a narrow gap, and doubles, which a big hole has, at a wide one.

    The line may name other measures beside, before it and after it: at the wide end of the gap a
    notch turns triples into doubles, so that these may go up or down as well.
    """
    pair = ("compare", "maize_bench", "--vary", "notch=0,1", "--turns", "100")
    pair += (*SURE, "--details", "--set", "hole_diameter_mm=5.5", "--set")
    end = ": may rise or fall with the uncertain inputs (notch=1 minus notch=0)."

    def may_be_either(gap):
        lines = re.split(r"\n(?! )", said(*pair, gap))  # a folded sentence goes on after an indent
        told = [" ".join(line.split()) for line in lines]
        return any(one.endswith(end) and "quality of feed" in one.lower() for one in told)

    assert may_be_either("gap_mm={low=2.5, high=9}")
    for sure in ("gap_mm={low=2, high=2.5}", "gap_mm={low=6, high=9}"):
        assert not may_be_either(sure)


@pytest.mark.slow
def test_explain_and_sweep_take_the_middle_and_say_so(said, tmp_path):
    change = (*SURE, "--set", VACUUM, "--turns", "5")
    line = "uncertain, and here at its middle: vacuum_kpa from 2 to 4\n"
    assert said("explain", "maize_bench", *change, "--details").count(line) == 1
    out = tmp_path / "rows.csv"
    swept = said("sweep", "maize_bench", *change, "--vary", "notch=0,1", "--out", str(out))
    assert "vacuum_kpa from 2 to 4 at its middle" in " ".join(swept.split())
    rows = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    known = (*SURE, "--set", "vacuum_kpa=3", "--turns", "5", "--vary", "notch=0,1", "--out")
    said("sweep", "maize_bench", *known, str(tmp_path / "known.csv"))
    told = (tmp_path / "known.csv").read_text().splitlines()
    assert rows == [line for line in told if not line.startswith("#")]


@pytest.mark.parametrize(
    ("command", "words", "line"),
    [
        ("run", ["--draws", "x"], "--draws: x: must be a whole number from 2"),
        ("compare", ["--vary", "notch=0,1", "--draws", "1"], "--draws: 1: must be a whole number"),
        ("compare", ["--vary", "notch={low=0, high=1},2"], "takes values; give a range with --set"),
        ("run", ["--set", VACUUM, "--draws", "1"], "--draws: 1: must be a whole number from 2"),
        ("run", ["--set", VACUUM, "--draws", "10001"], "a whole number from 2 to 10,000"),
        ("run", ["--set", "hole_diameter_mm={low=3, high=9}"], "maize_bench: disc.hole_diameter"),
    ],
)
def test_draws_that_cannot_be_are_refused_in_one_line(command, words, line, capsys):
    assert main([command, "maize_bench", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and line in err and err.count("\n") == 1


@pytest.mark.slow
def test_pictures_of_scenarios_with_ranges_are_drawn(said, tmp_path):
    for words in (("run", "maize_bench"), ("compare", "maize_bench", "--vary", "notch=0,1")):
        path = tmp_path / f"{words[0]}.svg"
        said(*words, *VAGUE, "--figure", str(path))
        assert path.stat().st_size > 10_000


# ---------------------------------------------------------------- the lot's range


def test_a_lot_gives_its_range_unless_the_scenario_says_more():
    """The middle is used where one value is needed, and a change of lot brings another range."""
    plain = m.load_scenario("maize_bench")
    (sizes,) = plain.unknown
    assert sizes == plain.lot.size_cvs and sizes.field == "seed__size_cv"
    assert plain.seed.size_cv is None and plain.seeds.size_cv == sizes.middle == 0.05
    assert plain.drawn([0.5]) == plain.replace(seed__size_cv=0.05)
    assert plain.drawn([0.999]).seeds.size_cv > 0.064
    for known in ("size_cv_percent=4", "size_cv_percent={low=1, high=2}"):
        scenario = m.load_scenario("maize_bench", [known])
        assert scenario == scenario_of(plain, known)
        assert sizes not in scenario.unknown
    wheat = ["lot=wheat", "hole_diameter_mm=2"]
    assert m.load_scenario("maize_bench", wheat) == scenario_of(plain, wheat)
    (other,) = scenario_of(plain, wheat).unknown
    assert other == m.load_lot("wheat").size_cvs != sizes
    sure = scenario_of(plain, "size_cv_percent=4")
    assert scenario_of(sure, wheat).unknown == ()
    assert plain.lot.scaled(1.1).size_cvs == sizes and plain.lot.scaled(1.0, 0.1).size_cvs is None


def test_a_written_scenario_leaves_the_range_to_its_lot(tmp_path):
    plain = m.load_scenario("maize_bench")
    path = tmp_path / "own.toml"
    path.write_text(scenario_toml(plain))
    assert "size_cv" not in path.read_text()
    assert m.load_scenario(path).unknown == plain.unknown
    path.write_text(scenario_toml(scenario_of(plain, "size_cv_percent={low=1, high=2}")))
    assert "size_cv_percent = { low = 1, high = 2 }" in path.read_text()
