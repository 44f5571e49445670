"""Causes of signs: closed forms, limits, and what must not be confident."""

from dataclasses import fields, replace

import numpy as np
import pytest

import metersim as m
from metersim.questions.next import causes as module
from metersim.questions.next.causes import (
    ELSE_PRIOR,
    ORDER_PRIOR,
    TEMPER,
    find_causes,
    unlisted_chance,
)
from metersim.questions.next.checks import (
    FALSE,
    FINDS,
    LOOKS,
    information,
    next_checks,
)
from metersim.questions.next.diagnosis import Used
from metersim.questions.next.evidence import Answered, Counted, Measured, fit_of
from metersim.questions.next.hypotheses import ELSE
from metersim.questions.next.signoptions import OPTIONS
from metersim.questions.next.signs import Signs, answers_of
from metersim.questions.next.simulated import (
    DEGREES,
    MACHINES,
    SHARES,
    Simulated,
    angles_of,
    chances_of,
    degrees,
)
from metersim.questions.shared.faults.fault import LOCKED, RUNNING, STATES
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import SIGNS, SLIP
from metersim.questions.shared.faults.signatures import COLUMNS, IN_ORDER, Signatures
from metersim.questions.shared.looks import SENSOR, Levels, log_chances

FIELD = m.load_scenario("maize_field")
FINE = {
    "skips": 0.02, "doubles": 0.02, "true_skips": 0.01, "true_doubles": 0.02, "cell_skips": 0.015,
    "cell_doubles": 0.02, "bench": 0.03, "current": 1.0, "used": 1.0, "gauge": 1.0, "scatter": 0.2,
}  # fmt: skip
"""Numbers of a machine in order; all others are 0."""
DARK = {"stand": 1.0, "skips": 0.2, "cell_skips": 0.2, "onset": 1.0, "rows": 0.5}
WEAK = {"gauge": 0.6, "rows": 1.0, "onset": 1.0, "turn": 0.2}
LOW = {"gauge": 0.6, "rows": 1.0, "turn": 0.2}
HOLE = {"pattern": 1.0, "skips": 0.05, "cell_skips": 0.05, "true_skips": 0.05}


def known(samples=2, **faults):
    """What was simulated, by hand: numbers of faults by name, where they differ from order."""
    usual = {name: np.full(samples, FINE.get(name, 0.0)) for name in COLUMNS}
    severity = (np.arange(samples) + 0.5) / samples
    values = {
        name: np.array([np.broadcast_to(one.get(name, usual[name]), samples) for one in rows])
        for rows in [list(faults.values())]
        for name in COLUMNS
    }
    values["severity"] = np.tile(severity, (len(faults), 1))
    found = Signatures(
        faults=tuple(name.replace("_", " ") for name in faults),
        prior=np.full(len(faults), 1 / len(faults)),
        values=values,
        usual=usual,
    )
    return Simulated(found=found, order={name: np.full(MACHINES, FINE[name]) for name in SHARES})


FOUR = known(lens=DARK, fan=WEAK, vacuum_low=LOW, plugged_holes=HOLE)


def causes(*, of=FOUR, **seen):
    return find_causes(FIELD, Signs(**seen), known=of, seed=1)


# chances


def test_chances_of_one_sign_follow_bayes():
    found = causes(gauge="low")
    table = chances_of(FOUR.found, "gauge")[2].mean(axis=1)
    prior = np.array([*[(1 - ORDER_PRIOR - ELSE_PRIOR) / 4] * 4, ORDER_PRIOR, ELSE_PRIOR])
    joint = prior * np.append(table, 1 / 3) ** TEMPER
    wanted = joint / joint.sum()
    names = [*FOUR.found.faults, IN_ORDER, ELSE]
    assert [found.chances[name] for name in names] == pytest.approx(wanted, rel=1e-9)
    assert [found.prior[name] for name in names] == pytest.approx(prior)


def test_chances_sum_to_1_and_each_sign_moves_them_towards_its_cause():
    for seen, name in (
        ({"pattern": "every 30", "rows": "one"}, "plugged holes"),
        ({"stand": "wrong", "onset": "slow"}, "lens"),
        ({"gauge": "low", "rows": "all", "onset": "slow", "turn": "worse"}, "fan"),
    ):
        found = causes(**seen)
        assert sum(found.chances.values()) == pytest.approx(1)
        assert found.ranked[0] == name and found.chances[name] > 3 * found.prior[name]
        assert found.factors[name][next(iter(seen))] > 2


def test_a_sign_that_no_cause_shows_otherwise_changes_nothing():
    found = causes(bench="same")
    listed = [found.chances[name] / found.prior[name] for name in FOUR.found.faults]
    assert max(listed) == pytest.approx(min(listed))


def test_a_clean_lens_excludes_the_lens():
    assert causes(stand="wrong").chances["lens"] > 0.5
    assert causes(stand="wrong", lens_clean=True).chances["lens"] < 1e-6


def test_signs_that_contradict_one_another_are_something_else():
    good = causes(pattern="every 30", rows="one", onset="sudden", gauge="normal")
    odd = causes(pattern="every 30", stand="wrong", gauge="high", turn="worse")
    assert good.chances[ELSE] < 0.3 < 0.6 < odd.chances[ELSE]
    assert good.fit > 0.1 > odd.fit


def test_a_pattern_that_no_hole_can_have_is_something_else():
    found = causes(pattern="every 24", rows="one")
    assert found.ranked[0] == ELSE
    hole = causes(pattern="every 15", rows="one")  # two holes on opposite sides
    assert hole.ranked[0] == "plugged holes"


@pytest.mark.parametrize(
    ("fit", "least"), [(1.0, 0.0), (0.37, 0.0), (0.01, 0.4702), (0.001, 0.855)]
)
def test_a_bad_fit_asks_for_something_else(fit, least):
    assert unlisted_chance(fit) == pytest.approx(least, abs=5e-4)


def test_a_bad_fit_raises_something_else_above_its_bayes_chance(monkeypatch):
    plain = causes(gauge="low", rows="all")
    monkeypatch.setattr(module, "fit_of", lambda *_: 0.001)
    assert causes(gauge="low", rows="all").chances[ELSE] == pytest.approx(0.855, abs=1e-3)
    assert plain.chances[ELSE] < 0.3


def test_a_number_says_what_its_word_says_and_more():
    word = causes(gauge="low").chances
    number = causes(reading=0.6 * FIELD.vacuum.vacuum).chances
    both = word["fan"] + word["vacuum low"]
    assert number["fan"] + number["vacuum low"] > both > 0.5
    assert causes(reading=FIELD.vacuum.vacuum).chances["fan"] < 0.01


def test_seed_used_as_planned_speaks_against_missing_seeds():
    empty = known(lens=DARK, plugged_holes={**HOLE, "used": 0.85})
    few = causes(of=empty, seed_used=Used(0.85)).chances
    assert few["plugged holes"] > 3 * few["lens"]
    planned = causes(of=empty, seed_used=Used(1.0)).chances
    assert planned["lens"] > 3 * planned["plugged holes"]


def test_weighed_seed_is_heavier_where_it_is_larger():
    two = known(large_seed={"severity": 0.5}, fan={})
    counted = causes(of=two, seed_used=Used(1.2))
    weighed = causes(of=two, seed_used=Used(1.2, weighed=True))
    assert counted.factors["large seed"]["used"] == pytest.approx(counted.factors["fan"]["used"])
    assert weighed.factors["large seed"]["used"] > 10 * weighed.factors["fan"]["used"]


# counts


def test_a_count_has_the_chance_of_its_shares():
    look = m.look_of_seeds(500, skips=20, doubles=5, way=SENSOR)
    skip, double = np.array([[0.04], [0.01]]), np.array([[0.01], [0.02]])
    one = Counted("count by sensor", "", look, (skip,), (double,))
    wanted = log_chances(Levels(skip.ravel(), double.ravel()), [look])[0]
    assert one.logs[:, 0] == pytest.approx(wanted)
    assert one.logs[0, 0] > one.logs[1, 0] > one.log_flat - 60


def test_many_skips_that_a_sensor_counts_are_a_lens_and_few_are_order():
    many = m.look_of_seeds(500, skips=110, doubles=8, way=SENSOR)
    few = m.look_of_seeds(500, skips=8, doubles=9, way=SENSOR)
    assert causes(counts=(many,), monitor="cells").ranked[0] == "lens"
    assert causes(counts=(few,), monitor="cells").chances["lens"] < 0.01
    belt = causes(counts=(replace(many, way="belt"),), monitor=None)
    assert belt.chances["lens"] < 0.05  # seeds on a belt are there


def test_more_skips_ask_for_a_severer_fault():
    shares = {"cell_skips": np.array([0.05, 0.3])}
    two = known(lens=shares, fan={})
    mild, bad = (
        causes(of=two, counts=(m.look_of_seeds(500, skips=n, doubles=8, way=SENSOR),),
               monitor="cells").severity("lens")
        for n in (30, 150)
    )  # fmt: skip
    assert 0.1 < mild < 0.4 < 0.6 < bad < 0.9


def test_a_fault_changes_the_angle_of_all_machines_alike():
    angles = angles_of(FOUR, "cell_skips")
    change = np.arcsin(np.sqrt(0.2)) - np.arcsin(np.sqrt(FINE["cell_skips"]))
    assert angles.shape == (5, DEGREES, MACHINES)
    assert angles[0] - angles[-1] == pytest.approx(np.full((DEGREES, MACHINES), change))


# severities between those that were simulated


def test_parts_of_simulated_machines_sum_to_1_and_pass_through_them():
    found = known(samples=3, lens={}, fan={}).found
    parts = degrees(found)
    assert parts.sum(axis=2) == pytest.approx(np.ones((3, DEGREES)))
    line = parts[0] @ found.values["severity"][0]
    wanted = (np.arange(DEGREES) + 0.5) / DEGREES
    inside = (wanted >= 1 / 6) & (wanted <= 5 / 6)
    assert line[inside] == pytest.approx(wanted[inside])
    assert line.min() == pytest.approx(1 / 6) and line.max() == pytest.approx(5 / 6)


@pytest.mark.parametrize("sign", SIGNS)
def test_chances_of_all_answers_sum_to_1_and_none_is_impossible(sign):
    table = chances_of(FOUR.found, sign)
    assert table.sum(axis=0) == pytest.approx(np.ones(table.shape[1:]))
    assert table.min() >= 0.9 * SLIP


# fit


@pytest.mark.slow
def test_days_of_a_cause_fit_it_as_often_as_they_should():
    rng = np.random.default_rng(4)
    table = rng.dirichlet(np.ones(4), (2, 6)).transpose(2, 0, 1)
    fits, wrong = [], []
    for day in range(300):
        at = rng.choice(4, p=table[:, 0, day % 6])
        made = [
            Answered("a", "", table, at),
            Measured("b", "", rng.normal(), np.zeros((2, 6)), 1, 9),
        ]
        fits.append(fit_of(made, 0, 6, seed=day))
        far = [made[0], replace(made[1], value=made[1].value + 3)]
        wrong.append(fit_of(far, 0, 6, seed=day))
    z = (np.mean(fits) - 0.5) / np.sqrt(1 / 12 / len(fits))
    assert abs(z) < 4
    assert (np.mean(wrong) - 0.5) / np.sqrt(1 / 12 / len(wrong)) < -4


def test_without_evidence_everything_fits():
    assert fit_of([], 0, 3, seed=1) == 1.0


# lines


def test_faults_that_nothing_seen_separates_share_a_line():
    found = causes(gauge="low", rows="all")
    assert {"fan", "vacuum low"} == set(found.lines[0])
    apart = causes(gauge="low", rows="all", onset="slow")
    assert apart.lines[0] == ("fan",)
    for one in (found, apart):
        assert sorted(name for names in one.lines for name in names) == sorted(one.chances)


# checks


def test_information_of_perfect_and_of_useless_answers():
    half = np.array([0.5, 0.5])
    assert information(half, np.eye(2)) == pytest.approx(1)
    assert information(half, np.full((3, 2), 1 / 3)) == pytest.approx(0, abs=1e-12)
    assert information(np.array([0.9, 0.1]), np.eye(2)) == pytest.approx(0.4690, abs=1e-4)
    one = np.array([[FINDS, FALSE], [1 - FINDS, 1 - FALSE]])
    assert 0 < information(half, one) < 1


def test_the_next_check_separates_what_is_left():
    checks = next_checks(causes(gauge="low", rows="all", turn="worse"))
    names = [one.name for one in checks[:3]]
    assert "onset" in names and "fan" in names  # what separates a fan from a setting
    useless = next(one for one in checks if one.name == "stand")
    assert useless.bits < 0.05 and useless.rate < checks[0].rate / 5


def test_no_check_repeats_what_was_seen():
    seen = {"gauge": "low", "rows": "all", "pattern": "random"}
    names = {one.name for one in next_checks(causes(**seen))}
    assert not names & set(seen)
    count = m.look_of_seeds(500, skips=20, doubles=8)
    assert "count" not in {one.name for one in next_checks(causes(counts=(count,)))}
    assert "count" in names


def test_outcomes_of_a_check_sum_to_1_and_say_what_follows():
    for one in next_checks(causes(rows="all")):
        assert sum(chance for _, chance, _, _ in one.outcomes) == pytest.approx(1)
        assert all(0 < after <= 1 for _, _, _, after in one.outcomes)
        if one.finds:
            assert one.outcomes[0][2] in one.finds


def test_no_check_opens_a_machine_that_runs_and_each_has_a_caution():
    every = {name.replace(" ", "_"): {} for name in LIBRARY}
    checks = next_checks(causes(of=known(**every), scatter="same"))
    assert len(checks) > 25
    for one in checks:
        assert one.state in STATES and one.minutes > 0 and one.bits >= 0
        assert not (one.opens and one.state == RUNNING)
        assert len(one.caution) > 20
        inside = ("open the meter", "take the disc", "cover", "of the chamber", "brush the lens")
        if any(word in one.words for word in inside):
            assert one.state == LOCKED
    for look in LOOKS.values():
        assert not set(look.signs) - set(SIGNS)
        if look.state == RUNNING:
            assert "guards" in look.caution.lower()


# what is refused


@pytest.mark.parametrize(
    ("seen", "message"),
    [
        ({"rows": "two"}, "rows: two: known: all, one, several"),
        ({"pattern": "often"}, "pattern: often"),
        ({"pattern": "every 0"}, "pattern: every 0"),
        ({"speed": "sam"}, "did you mean 'same'?"),
    ],
)
def test_unknown_answers_are_refused(seen, message):
    with pytest.raises(m.BadInput) as error:
        Signs(**seen)
    assert message in str(error.value)


COUNT = m.look_of_seeds(500, skips=0, doubles=8)
RESTING = m.Look(cells=30, skips=3, doubles=1, way="disc")


@pytest.mark.parametrize(
    ("seen", "message"),
    [
        ({}, "nothing was seen or counted"),
        ({"pattern": "random", "counts": (RESTING,)}, "a disc at rest shows one turn"),
        ({"stand": "wrong", "counts": (COUNT,)}, "contradicts a count without skips"),
        ({"pattern": "every 1"}, "would be every cell"),
        ({"used": "less", "seed_used": Used(0.9)}, "is given as a number, too"),
        ({"gauge": "low", "reading": 3000.0}, "is given as a number, too"),
        ({"skips": "high", "counts": (COUNT,)}, "was counted, too"),
        ({"reading": 40e3}, "10.0 times the set vacuum"),
        ({"seed_used": Used(2.0)}, "must be above 0 and up to 1.5"),
    ],
)
def test_contradictory_signs_are_refused_in_one_line_each(seen, message):
    with pytest.raises(m.BadInput) as error:
        causes(**seen)
    (fault,) = error.value.faults
    assert message in str(fault) and "\n" not in str(fault)


def test_a_bench_shows_no_slope():
    with pytest.raises(m.BadInput, match="is on a bench already"):
        find_causes("maize_bench", Signs(slope="same", bench="fine"), known=FOUR)


def test_every_sign_can_be_given_looked_at_and_typed():
    named = {one.name for one in fields(Signs)}
    assert set(SIGNS) <= named
    assert {sign for look in LOOKS.values() for sign in look.signs} == set(SIGNS)
    by_option = {option.sign for option in OPTIONS.values()}
    assert set(SIGNS) - by_option == {"pattern", "skips", "doubles", "scatter"}
    for option in OPTIONS.values():
        assert set(option.words.values()) == set(answers_of(option.sign))


def test_the_result_is_a_table():
    pytest.importorskip("pandas")
    table = causes(rows="all").to_dataframe()
    assert list(table["cause"]) == causes(rows="all").ranked
    assert table["chance"].sum() == pytest.approx(1) and "Causes: " in repr(causes(rows="all"))
