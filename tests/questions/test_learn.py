"""``metersim learn``: closed forms, coverage, what it refuses, and the meter file it writes."""

import dataclasses
import itertools
import json
import math
import re

import numpy as np
import pytest
from scipy.special import gammaln

import metersim as m
from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.machine.posterior import Posterior, Shift, read_meter, shipped_posterior
from metersim.measures.indices import BY_KEY
from metersim.questions.learn import ahead as look_ahead_module
from metersim.questions.learn import weigh as weighing
from metersim.questions.learn.emulate import (
    FEW,
    SEVERAL,
    SPACINGS,
    SPREAD,
    WAYS,
    Shown,
    emulators,
    fit,
    run_all,
)
from metersim.questions.learn.machines import (
    Density,
    machines_of,
    near,
    rest_of,
    smoothed,
    spread_out,
)
from metersim.questions.learn.propose import updated
from metersim.questions.learn.seen import Seen, of_entry, of_look, pooled, read_seen
from metersim.questions.learn.study import interval, learn_from, predicted, predictions
from metersim.questions.learn.weigh import (
    alike_cells,
    bits,
    effective,
    expected,
    log_chance,
    shares_at,
    weigh,
    weights_of,
)
from metersim.questions.shared.countlog import entry_of, with_entry
from metersim.questions.shared.discrepancy import share_error, shifted
from metersim.questions.shared.history import Event
from metersim.questions.shared.looks import Look, loads_at, rates_of
from metersim.questions.shared.spread import ALIKE, change_errors

BENCH = m.load_scenario("maize_bench", ["turns=20"])
MACHINES = machines_of(BENCH, 1)
SLOPES = (0.02, 0.015, 0.1)  # of the simple model in place of runs


def simple(machines, settings, points, *, cells, seed, first=0, executor=None, on_run=None):
    """Runs of a model with straight lines: each part depends on one column and on the notch."""
    z = (points - MACHINES.points.mean(axis=0)) / MACHINES.points.std(axis=0)
    return [
        [
            dict.fromkeys(
                WAYS,
                Shown(
                    values=(
                        0.11 + SLOPES[0] * one[0] + 0.02 * setting.singulator.notch,
                        0.09 + SLOPES[1] * one[1] - 0.01 * setting.singulator.notch,
                        math.log(0.15) + SLOPES[2] * one[2],
                    ),
                    variances=(1e-9, 1e-9, 1e-9),
                    effect=1.0,
                ),
            )
            for one in z
        ]
        for setting in settings
    ]


@pytest.fixture
def straight(monkeypatch):
    """The simple model in place of all runs."""
    monkeypatch.setattr(weighing, "run_all", simple)
    monkeypatch.setattr(look_ahead_module, "run_all", simple)
    for name, few in (("DRAWN", 1000), ("ENOUGH", 100.0), ("LEAST", 25.0)):
        monkeypatch.setattr(weighing, name, few)


def count(cells, skips, doubles, **at):
    scenario = BENCH.replace(**at) if at else BENCH
    return of_look(scenario, Look(cells=cells, skips=skips, doubles=doubles))


def learned(*seen, **more):
    return learn_from(BENCH, pooled(seen), **{"ahead": False, "machines": 60, **more})


# closed forms


def test_a_fit_finds_a_curved_function_and_knows_its_error():
    rng = np.random.default_rng(1)
    points = rng.standard_normal((120, 4))
    truth = lambda x: 0.1 + 0.02 * x[:, 0] - 0.01 * x[:, 1] + 0.004 * x[:, 0] * x[:, 1]  # noqa: E731
    noise = 0.004
    found = fit(points, truth(points) + noise * rng.standard_normal(120), np.full(120, noise**2))
    others = rng.standard_normal((500, 4))
    error = np.sqrt(np.mean((found(others) - truth(others)) ** 2))
    assert 0.5 < found.error / error < 2 and error < 0.6 * noise


def test_a_fit_of_nothing_predicts_nothing():
    nan = np.full(9, np.nan)
    assert fit(np.zeros((9, 2)), nan, nan).error == np.inf


def test_smoothing_keeps_mean_and_covariance():
    """Liu and West: shrunken centres and their kernels have the moments of the draws."""
    density = smoothed(MACHINES.points)
    kernel = density.root @ density.root.T
    total = np.cov(density.centres.T, bias=True) + kernel
    assert density.centres.mean(axis=0) == pytest.approx(MACHINES.points.mean(axis=0))
    assert total == pytest.approx(np.cov(MACHINES.points.T, bias=True), rel=1e-6, abs=1e-8)


def test_the_smooth_density_is_that_of_its_points():
    """Points drawn from it have the mean of ``p/q`` equal to 1 for another density p."""
    rng = np.random.default_rng(2)
    wide = smoothed(rng.standard_normal((100, 2)))
    narrow = dataclasses.replace(wide, root=0.8 * wide.root)
    points = wide.sample(rng.random(8_000), rng.standard_normal((8_000, 2)))
    ratio = np.exp(narrow.log(points) - wide.log(points))
    assert abs(ratio.mean() - 1) < 4 * ratio.std() / math.sqrt(8_000)


def test_chances_of_all_counts_sum_to_one(straight):
    """The chance is a Dirichlet-multinomial one but for what all machines share."""
    points = MACHINES.points[:2]
    found = weigh(MACHINES, [count(6, 1, 1)], runs=60, drawn=400)
    emulator, total = found.emulator(BENCH), 0.0
    few, several = shares_at(MACHINES, emulator, "belt", points)
    errors = [emulator.error("belt", part) for part in (FEW, SEVERAL)]
    k = alike_cells(MACHINES.own_share, *errors)
    shown = expected(MACHINES, emulator, "belt", points)
    for skips, doubles in itertools.product(range(7), repeat=2):
        if skips + doubles <= 6:
            logs = log_chance(shown, count(6, skips, doubles))
            logs = (
                logs
                + gammaln(7)
                - sum(gammaln(n + 1) for n in (skips, doubles, 6 - skips - doubles))
            )
            total = total + np.exp(logs + gammaln(k) - gammaln(k + 6))
    assert total == pytest.approx(1.0) and (few > 0).all() and (several > 0).all()


def test_the_errors_of_a_share_have_the_variance_of_the_discrepancy():
    k = alike_cells(0.02, 0.01, 0.005)
    assert 1 / (4 * (k + 1)) == pytest.approx(0.02**2 + 0.01**2)


@pytest.mark.parametrize("cells", [500, 5_000])
def test_learning_a_straight_model_is_that_of_normal_numbers(straight, cells):
    """On the scale of angles, prior and count are nearly normal, so precisions add up."""
    share = math.sin(0.125) ** 2
    seen = count(cells, round(cells * share), round(cells * math.sin(0.09) ** 2))
    found = weigh(MACHINES, [seen], runs=60, drawn=4000)
    angle = predicted(found, 1)["skips"]
    shift = ALIKE * share_error(shipped_posterior(), "maize") ** 2
    own = (1 - ALIKE) / ALIKE * shift
    prior, data = SLOPES[0] ** 2 + shift, own + 1 / (4 * cells)
    after = 1 / (1 / prior + 1 / data)
    mean = found.weights @ angle
    error = math.sqrt(after / effective(found.weights))
    assert abs(mean - (0.11 / prior + 0.125 / data) * after) < 4 * error + 0.002
    variance = found.weights @ (angle - mean) ** 2
    assert variance == pytest.approx(after + own, rel=0.15)


def test_information_is_that_of_normal_numbers(straight):
    """ln(prior SD/posterior SD) and the moves of mean and variance, in bits, for skips alone."""
    seen = Seen(scenario=BENCH, way="belt", cells=4000, few=48, several=None)
    found = weigh(MACHINES, [seen], runs=60, drawn=4000)
    shift = ALIKE * share_error(shipped_posterior(), "maize") ** 2
    prior, data = SLOPES[0] ** 2 + shift, (1 - ALIKE) / ALIKE * shift + 1 / 16_000
    after = 1 / (1 / prior + 1 / data)
    moved = (math.asin(math.sqrt(0.012)) - 0.11) * after / data
    nats = 0.5 * (math.log(prior / after) + after / prior + moved**2 / prior - 1)
    assert bits(found.weights, found.priors) == pytest.approx(nats / math.log(2), rel=0.15)


def test_first_machines_represent_all():
    points = np.random.default_rng(3).standard_normal((128, 6))
    order = spread_out(points)
    assert sorted(order) == list(range(128))
    for many in (8, 16, 32):
        some = points[order[:many]]
        assert np.abs(some.mean(axis=0)).max() < 2 / math.sqrt(many)
        assert 0.6 < some.std() / points.std() < 1.5


def test_a_shift_moves_shares_on_their_scale_and_keeps_sums():
    points = {
        "cells.skip": np.array([0.01, 0.0]),
        "cells.double": np.array([0.02, 0.03]),
        "cells.single": np.array([0.97, 0.97]),
        "precision": np.array([0.1, 0.2]),
        "spacing.mean": np.array([0.2, 0.2]),
    }
    assert shifted(points, Shift()) == {k: pytest.approx(v) for k, v in points.items()}
    moved = shifted(points, Shift(skip=0.02, double=-0.01, spread=0.1))
    angles = np.arcsin(np.sqrt(moved["cells.skip"])) - np.arcsin(np.sqrt(points["cells.skip"]))
    assert angles == pytest.approx([0.02, 0.02])
    total = moved["cells.skip"] + moved["cells.double"] + moved["cells.single"]
    assert total == pytest.approx([1.0, 1.0])
    assert moved["precision"] == pytest.approx(points["precision"] * math.exp(0.1))
    assert (moved["spacing.mean"] == points["spacing.mean"]).all()


def test_rests_of_a_learned_machine_are_independent_between_settings():
    level = m.spread(BENCH, draws=4)
    old = shipped_posterior()
    own = dataclasses.replace(old, shifts=(Shift(),) * len(old.draws))
    skip = [BY_KEY["cells.skip"]]
    before, after = (change_errors(one, skip, level, level)["cells.skip"] for one in (old, own))
    assert after == pytest.approx(before * math.sqrt(1 / (1 - ALIKE)))


# what is learned


def test_learning_from_nothing_gives_the_prior_back(straight):
    found = learned()
    assert found.bits == 0 and not found.taught
    for name, one in found.after.items():
        assert one == found.before[name]
    for name in shipped_posterior().varied:
        old, new = (
            np.array([getattr(draw, name) for draw in one.draws])
            for one in (shipped_posterior(), found.posterior)
        )
        assert abs(new.mean() - old.mean()) < 4 * old.std() / math.sqrt(128)
        assert new.std() == pytest.approx(old.std(), rel=0.3)


def test_more_seeds_narrow_more(straight):
    wide = [
        found.after["skips"].high - found.after["skips"].low
        for n in (100, 800, 6400)
        for found in [learned(count(n, n // 80, n // 125))]
    ]
    assert wide == sorted(wide, reverse=True) and wide[-1] < 0.6 * wide[0]


@pytest.mark.slow
def test_counts_at_one_setting_add_up_and_their_order_has_no_effect(straight):
    parts = [count(300, 4, 2), count(500, 5, 6), count(400, 9, 1, singulator__notch=1.0)]
    texts = {learned(*order).to_toml() for order in (parts, parts[::-1], parts[1:] + parts[:1])}
    assert len(texts) == 1
    assert learned(count(800, 9, 8), parts[2]).to_toml() in texts


def test_the_same_seed_gives_the_same_bytes(straight):
    one, same, other = (learned(count(500, 6, 5), seed=seed).to_toml() for seed in (1, 1, 2))
    assert one == same != other


@pytest.mark.slow
def test_learning_twice_is_nearly_learning_at_once(straight):
    """All but the rest of the discrepancy of the setting, which is taken for new each time."""
    first = learned(count(1000, 16, 6))
    parts = pooled([count(1000, 14, 8, singulator__notch=1.0)])
    both = learned(count(1000, 16, 6), *parts)
    twice = learn_from(first.scenario, parts, ahead=False, machines=60)
    for name in ("skips", "doubles"):
        one, other = both.after[name], twice.after[name]
        assert other.value == pytest.approx(one.value, rel=0.2)
        assert other.high - other.low == pytest.approx(one.high - one.low, rel=0.3)


def _covered(of_others=False, believed=MACHINES, cells=1500, trials=80):
    """How often intervals hold the truth at another setting than the counted one, and its error."""
    rng, hits = np.random.default_rng(5), []
    drawn = MACHINES.density.sample(
        rng.random(trials), rng.standard_normal((trials, MACHINES.points.shape[1]))
    )
    there = BENCH.replace(singulator__notch=1.0)
    shows = simple(MACHINES, [BENCH, there], drawn, cells=0, seed=0)
    angles = np.array([[one["belt"].values[:2] for one in rows] for rows in shows])
    shifts = MACHINES.shifts(drawn)
    for k, alike in enumerate((near(BENCH, there), 1.0)):
        angles[k] += alike * np.column_stack([shifts["skip"], shifts["double"]])
        rest = rest_of(MACHINES.own_share, alike)
        angles[k] += rest * rng.standard_normal(angles[k].shape)
    shares = np.sin(angles.clip(0)) ** 2
    for k, here in enumerate(shares[0]):
        skips, doubles, _ = rng.multinomial(cells, [*here, 1 - here.sum()])
        try:
            found = learned_at(there, count(cells, int(skips), int(doubles)), believed)
        except BadInput:
            hits += [False, False]
            continue
        truth = shares[1, k - 1 if of_others else k]
        for name, value in zip(("skips", "doubles"), truth, strict=True):
            hits.append(found[name].low <= value <= found[name].high)
    return np.mean(hits), math.sqrt(0.9 * 0.1 / (2 * trials))


def learned_at(there, seen, believed=MACHINES):
    """Predictions at another setting, from few machines."""
    machines = dataclasses.replace(believed, scenario=there)
    found = weigh(machines, [seen], runs=40, drawn=1500)
    assert effective(found.weights) >= 100
    values = predicted(found, 1)
    return {name: interval(name, values[name], found.weights) for name in ("skips", "doubles")}


@pytest.mark.study
@pytest.mark.slow
def test_intervals_at_another_setting_cover_at_their_rate(straight):
    """Of 160 values of machines drawn from the posterior; counts of 1,500 cells."""
    covered, error = _covered()
    assert abs(covered - 0.9) < 4 * error


@pytest.mark.study
@pytest.mark.slow
def test_counts_of_another_machine_do_not_cover(straight):
    covered, error = _covered(of_others=True)
    assert covered < 0.9 - 4 * error


@pytest.mark.study
@pytest.mark.slow
def test_intervals_without_the_discrepancy_do_not_cover(straight):
    """The same machines, learned as if the model were exact; long counts leave nothing else."""
    points = MACHINES.points.copy()
    points[:, MACHINES.seen :] *= 1e-3
    exact = dataclasses.replace(MACHINES, points=points, own_share=1e-4, own_spread=1e-4)
    covered, error = _covered(believed=exact, cells=12_000)
    assert covered < 0.9 - 4 * error
    covered, error = _covered(cells=12_000)
    assert abs(covered - 0.9) < 4 * error


def test_a_rare_count_is_explained_by_many_machines(straight):
    """Each of these lies 2 SD or more from the mean of the machines."""
    for skips, doubles in ((0, 2), (4, 42), (14, 46), (62, 6)):
        found = weigh(MACHINES, [count(1500, skips, doubles)], runs=40, drawn=1500)
        assert effective(found.weights) > 400 and found.rounds == 2


def test_a_density_after_straight_observations_is_the_normal_one():
    """Kalman's formula, for one normal density and for the mean of a mixture."""
    root = np.linalg.cholesky(np.array([[1.0, 0.5], [0.5, 2.0]]))
    before = Density(np.array([[0.3, -0.2]]), np.ones(1), root)
    slopes, values, variances = np.array([[1.0, 2.0]]), np.array([3.0]), np.array([0.5])
    points = before.sample(np.zeros(50), np.random.default_rng(1).standard_normal((50, 2)))
    even = np.full(50, 1 / 50)
    after = updated(before, lambda x: x @ slopes.T, values, variances, points, even)
    precise = np.linalg.inv(root @ root.T) + slopes.T @ slopes / 0.5
    gain = np.linalg.inv(precise) @ slopes.T[:, 0] / 0.5
    middle = before.centres[0] + gain * (3.0 - slopes[0] @ before.centres[0])
    assert after.centres[0] == pytest.approx(middle)
    assert after.root @ after.root.T == pytest.approx(np.linalg.inv(precise))
    two = Density(np.array([[0.0, 0.0], [2.0, 0.0]]), np.full(2, 0.5), root)
    odds = updated(two, lambda x: x @ slopes.T, values, variances, points, even).weights
    variance = (slopes @ root @ root.T @ slopes.T).item() + 0.5
    assert math.log(odds[1] / odds[0]) == pytest.approx((3.0**2 - 1.0**2) / (2 * variance))


def test_settings_far_apart_share_less_of_the_discrepancy():
    doubled = BENCH.replace(vacuum__vacuum=2 * BENCH.vacuum.vacuum)
    assert near(BENCH, BENCH) == 1 and near(BENCH, doubled) == near(
        doubled, BENCH
    ) == pytest.approx(0.5)
    assert near(BENCH, doubled.replace(singulator__notch=4.0)) == pytest.approx(0.25)
    assert near(BENCH, BENCH.replace(run__turns=3)) == 1
    moves = [near(BENCH, BENCH.replace(singulator__notch=n)) for n in (1.0, 2.0, 4.0)]
    assert moves == sorted(moves, reverse=True) and moves[0] < 1


@pytest.mark.parametrize("alike", [0.0, 0.3, 1.0])
def test_the_whole_discrepancy_is_the_same_at_all_settings(alike):
    """Shift and rest add up to the variance of the discrepancy that was fitted."""
    whole = share_error(shipped_posterior(), "maize") ** 2
    rest = rest_of(MACHINES.own_share, alike)
    assert alike**2 * ALIKE * whole + rest**2 == pytest.approx(whole)


def test_a_count_far_from_the_predicted_setting_teaches_less(straight):
    def narrowed(vacuum):
        one = count(4000, 50, 32, vacuum__vacuum=vacuum * BENCH.vacuum.vacuum)
        return learned(one).taught[0].narrows["skips"]

    here, beside, far = narrowed(1.0), narrowed(1.3), narrowed(3.0)
    assert here > beside > far > 0


@pytest.mark.study
@pytest.mark.slow
def test_simulated_machines_are_found():
    """Runs of 40 machines of the posterior: true chances of skips and doubles are covered."""
    rng, wide = np.random.default_rng(7), MACHINES.points.shape[1]
    draw = lambda many: MACHINES.density.sample(rng.random(many), rng.standard_normal((many, wide)))  # noqa: E731
    there = BENCH.replace(vacuum__vacuum=3000.0)
    design, truths, points = draw(128), draw(40), draw(4000)
    shows = run_all(MACHINES, [BENCH, there], design, cells=2500, seed=3)
    here, other = emulators(MACHINES, [BENCH, there], design, shows)
    values = [predictions(MACHINES, one, points, 1) for one in (here, other)]
    hits = []
    for k, point in enumerate(truths):
        moves = MACHINES.shifts(point[None])
        true = []
        for setting in (BENCH, there):
            alike = near(setting, BENCH)
            (scenario,) = MACHINES.scenarios(setting.lasting(12_000), point[None])
            rates = rates_of(loads_at(scenario, seed=11, replicate=k)["belt"])
            angle = np.arcsin(np.sqrt([rates.skip, rates.double]))
            angle += alike * np.array([moves["skip"][0], moves["double"][0]])
            angle += rest_of(MACHINES.own_share, alike) * rng.standard_normal(2)
            true.append(np.sin(angle.clip(0)) ** 2)
        skips, doubles, _ = rng.multinomial(1500, [*true[0], 1 - true[0].sum()])
        seen = count(1500, int(skips), int(doubles))
        weights = weights_of(log_chance(expected(MACHINES, here, "belt", points), seen))
        for part, truth in zip(values, true, strict=True):
            for name, value in zip(("skips", "doubles"), truth, strict=True):
                one = interval(name, part[name], weights)
                hits.append(one.low <= value <= one.high)
    error = math.sqrt(0.9 * 0.1 / 80)  # the four of one machine depend on one another
    assert abs(np.mean(hits) - 0.9) < 4 * error


# what to count next


def test_a_longer_count_is_expected_to_teach_more_and_spacings_teach_the_spread(straight):
    found = learned(count(400, 5, 3), ahead=True)
    by_words = {one.trial.words(): one.narrows for one in found.ahead}
    short, long = (by_words[f"count {n} cells, at these settings"] for n in ("500", "2,000"))
    assert long["skips"] > short["skips"] > 0.02 and long["doubles"] > short["doubles"] > 0.02
    strip = by_words["measure 250 spacings, at these settings"]
    assert strip["precision"] > 0.1 > abs(short["precision"])
    gains = [one.gain for one in found.ahead]
    assert gains == sorted(gains, reverse=True)


# counts that no machine shows


def test_counts_that_contradict_one_another_are_refused(straight):
    """Each of them is shown by some machine, and both by none."""
    few, many = count(6000, 2, 48), count(6000, 320, 30, singulator__notch=1.0)
    assert learned(few).bits > 0 and learned(many).bits > 0
    with pytest.raises(BadInput, match="explains all of these counts"):
        learned(few, many)


def test_counts_that_contradict_the_model_are_refused(straight):
    with pytest.raises(BadInput, match="no machine of the model explains 600 skips of 1,000"):
        learned(count(1000, 600, 3))


@pytest.mark.parametrize(
    "other, said", [("soybean_narrow_rows", "soybean"), ("cells=40", "40 cells")]
)
def test_counts_of_another_disc_or_crop_are_refused(other, said):
    there = m.load_scenario("maize_bench", [other]) if "=" in other else m.load_scenario(other)
    with pytest.raises(BadInput, match=said):
        m.learn(BENCH, elsewhere=[(there, Look(cells=500, skips=5, doubles=4))])


def test_spacings_are_weighed_by_classes_and_spread(straight):
    sharp = Seen(
        scenario=BENCH,
        way=SPACINGS,
        cells=250,
        few=4,
        several=2,
        spread=math.log(0.13),
        variance=1 / 500,
    )
    found = weigh(MACHINES, [sharp], runs=60, drawn=4000)
    emulator = found.emulator(BENCH)
    values = emulator(SPACINGS, SPREAD, found.points) + MACHINES.shifts(found.points)["spread"]
    prior = SLOPES[2] ** 2 + ALIKE * shipped_posterior().spread_sd ** 2
    data = 1 / 500 + (1 - ALIKE) * shipped_posterior().spread_sd ** 2
    expected = math.log(0.15) + (math.log(0.13) - math.log(0.15)) * prior / (prior + data)
    assert found.weights @ values == pytest.approx(expected, abs=0.01)


# the command


@pytest.fixture
def asked(straight, tmp_path, monkeypatch, capsys):
    """A log of two rows beside, and what the command says."""
    monkeypatch.chdir(tmp_path)
    log = tmp_path / "counts.csv"
    for row, skips in (("3", 7), ("4", 2)):
        log.write_bytes(with_entry(log, entry_of(BENCH, row, 700, skips, 6)))
    values = 0.2 * (1 + 0.14 * np.random.default_rng(4).standard_normal(250))
    (tmp_path / "strip.csv").write_text("spacing_m\n" + "".join(f"{v:.4f}\n" for v in values))

    def ask(*words, status=0):
        found = main(["learn", "maize_bench", "--workers", "1", "--machines", "40", *words])
        said = capsys.readouterr()
        assert found == status and "Traceback" not in said.err, said.err
        return said.err if status else said.out

    return ask


@pytest.mark.slow
def test_the_command_writes_a_meter_that_narrows_its_scenario(asked, tmp_path):
    said = asked("--from", "counts.csv", "--row", "3", "--from", "strip.csv", "--out", "mine.toml")
    lines = said.splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert lines[0].startswith("Caution: count with the fan running only from a safe place")
    assert lines[1].startswith("Expect ") and " skips and " in lines[1] and "doubles" in lines[1]
    assert lines[2] == "Learned from 1 count of 700 seeds and 1 file of 250 spacings."
    assert lines[3].startswith("Next: ") and "is expected to narrow" in lines[3]
    assert said.index("fan running") < said.index("Next")
    words = set(re.findall("[a-z]+", said.lower()))
    assert not words & {"luck", "tell", "told", "show", "precision", "milder"}
    rows = [line.split("  ")[0] for line in lines if " to " in line]
    assert {"skips, of all cells", "doubles, of all cells", "spread of normal spacings"} <= set(
        rows
    )
    found = read_meter("mine.toml")
    assert len(found.draws) == len(found.shifts) == 128
    (tmp_path / "named.toml").write_text(
        'title = "mine"\nextends = "maize_bench"\nmeter = "mine.toml"\n[run]\nturns = 20\n'
    )
    unknown = shipped_posterior()
    prior = ALIKE * unknown.spread_sd**2  # variance of what all settings share
    error = (1 - ALIKE) / ALIKE * prior + 1 / 500
    after = prior - prior**2 / (prior + SLOPES[2] ** 2 + error)
    assert np.std([one.spread for one in found.shifts]) == pytest.approx(after**0.5, rel=0.15)
    old, new = (m.spread(one, draws=4) for one in (BENCH, "named.toml"))
    assert new.errors["precision"] < 0.5 * old.errors["precision"] == 0.5 * unknown.spread_sd
    assert asked("--from", "counts.csv", "--row", "3", "--out", "mine.toml")  # its own file


def test_counts_from_before_a_repair_or_of_another_lot_teach_nothing(asked, tmp_path):
    log = tmp_path / "counts.csv"
    old = read_seen(BENCH, log, "3")
    log.write_bytes(with_entry(log, Event(kind="repaired", row="3", date="2027-05-02")))
    with pytest.raises(BadInput, match="no count of row 3 after this change: repaired, 2027-05-02"):
        read_seen(BENCH, log, "3")
    assert len(read_seen(BENCH, log, "4")) == 1  # another row
    log.write_bytes(with_entry(log, entry_of(BENCH, "3", 700, 1, 6, lot=BENCH.lot.name)))
    assert [one.few for one in old] == [7] and [one.few for one in read_seen(BENCH, log, "3")] == [
        1
    ]
    log.write_bytes(with_entry(log, entry_of(BENCH, "3", 700, 9, 6, lot="another")))
    with pytest.raises(BadInput, match=f"lot {BENCH.lot.name} in place of another"):
        read_seen(BENCH, log, "3")


def test_a_look_at_the_disc_in_a_log_has_no_seeds_counted():
    (disc, belt) = (of_entry(BENCH, entry_of(BENCH, "3", 90, 2, 1, way=w)) for w in ("disc", "row"))
    assert (disc.way, disc.seeds, disc.cells) == ("disc", 0, 91)
    assert (belt.way, belt.seeds, belt.cells) == ("belt", 90, 91)


def test_details_hold_the_whole_report_below_the_answer(asked):
    words = ("--from", "counts.csv", "--row", "3", "--from", "strip.csv")
    short, long = asked(*words), asked(*words, "--details")
    assert long.startswith(short.rpartition("More: --details")[0].rstrip())
    report = long[len(short.rpartition("More: --details")[0]) :]
    assert "Skips at these settings: " in report and "% before, " in report
    assert "By itself" in report and "By itself" not in short
    # 250 spacings narrow the spread most; the answer gives the same intervals
    after = re.search(r"Skips at these settings: .* before, (.*) after", report)[1]
    assert f"Expect {after} skips" in short


def test_json_holds_bits_and_what_to_count_next(asked):
    made = json.loads(asked("--from", "counts.csv", "--row", "4", "--json", "-"))
    (seen,) = made["seen"]
    assert seen["cells"] == 696 and seen["bits"] > 0
    assert made["bits"] == pytest.approx(seen["bits"])
    assert {"way", "cells", "narrows", "gain", "steps"} == set(made["next"][0])


@pytest.mark.parametrize(
    "words, said",
    [
        ((), "nothing was seen; give a file with --from"),
        (("--from", "counts.csv"), "holds 2 rows, each with a meter of its own"),
        (("--from", "counts.csv", "--row", "9"), "has no row '9'"),
        (("--from", "none.csv"), "none.csv: cannot be read"),
        (("--from", "bad.csv"), "unknown column"),
        (("--cells-seen", "30"), "--cells-loaded: is needed"),
        (("--from", "strip.csv", "--out", "mine.csv"), "must end in .toml"),
        (("--from", "strip.csv", "--out", "scene.toml"), "is there already, and is no meter file"),
        (("--from", "strip.csv", "--draws", "2"), "--draws: 2"),
        (("--cells-seen", "900", "--cells-loaded", "10"), "no machine of the model explains"),
    ],
)
def test_bad_input_is_refused_in_a_line_and_writes_nothing(asked, tmp_path, words, said):
    (tmp_path / "scene.toml").write_text('title = "a scene"\nextends = "maize_bench"\n')
    (tmp_path / "bad.csv").write_text("this,that\n1,2\n")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    out = () if "--out" in words else ("--out", "new.toml")
    assert said in asked(*words, *out, status=2)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.slow
def test_a_meter_that_is_refined_is_not_overwritten(asked, tmp_path):
    asked("--from", "strip.csv", "--out", "mine.toml")
    path = tmp_path / "named.toml"
    path.write_text('title = "mine"\nextends = "maize_bench"\nmeter = "mine.toml"\n')
    words = ["learn", "named.toml", "--workers", "1", "--from", "strip.csv", "--out", "mine.toml"]
    assert main(words) == 2
    assert main([*words, "--anew", "--machines", "40"]) == 0


def test_shifts_come_back_from_a_file_and_are_checked(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    old = shipped_posterior()
    found = Posterior(
        draws=old.draws[:3],
        share=(0.01,) * 3,
        spread=(0.1,) * 3,
        shifts=(Shift(skip=0.1), Shift(double=-0.02), Shift(spread=0.3)),
        made='by "hand"\nof two lines',
        file="one.toml",
    )
    (tmp_path / "one.toml").write_text(found.to_toml())
    assert read_meter("one.toml") == found
    wrong = found.to_toml().replace("double = [0.0, -0.02, 0.0]", "double = [0.0, 9.0]")
    (tmp_path / "one.toml").write_text(wrong.replace("skip =", "skips ="))
    with pytest.raises(BadInput, match=r"shift\.skips: unknown key"):
        read_meter("one.toml")
    (tmp_path / "one.toml").write_text(wrong)
    with pytest.raises(BadInput, match=r"shift\.double: has 2 values"):
        read_meter("one.toml")
    with pytest.raises(ValueError, match="2 shifts for 3 draws"):
        dataclasses.replace(found, shifts=found.shifts[:2])


@pytest.mark.slow
def test_a_meter_file_holds_for_its_crop_and_cells_alone(asked, tmp_path):
    asked("--from", "strip.csv", "--out", "mine.toml")
    assert (read_meter("mine.toml").crop, read_meter("mine.toml").cells) == ("maize", 30)
    named = 'title = "mine"\nextends = "{}"\nmeter = "mine.toml"\n'
    for extends, said in (("soybean_narrow_rows", "soybean"), ("maize_bench", "")):
        (tmp_path / "named.toml").write_text(named.format(extends))
        if said:
            with pytest.raises(BadInput, match=f"{said}, and mine.toml was learned with maize"):
                m.load_scenario("named.toml")
        else:
            assert m.load_scenario("named.toml").meter.cells == 30
    with pytest.raises(BadInput, match=r"40, and mine\.toml was learned with 30 cells"):
        m.load_scenario("named.toml", ["cells=40"])
