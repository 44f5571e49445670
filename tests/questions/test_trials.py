"""Meters in the hands of habits: the same luck for all, and what was wrong with each."""

import itertools

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.questions.habits.naming import CELLS, name_causes, runs_of, surface_of
from metersim.questions.habits.trials import (
    CAUSES,
    LEAST_CHANGE,
    LONG,
    MOST_LOOKS,
    NOTHING,
    OFFSETS,
    UNSEEN,
    Meter,
    Task,
    Trial,
    Truth,
    cause_of,
    draw_meters,
    try_habits,
)
from metersim.questions.shared.hidden import HIDDEN, draw_states, meter_of
from metersim.questions.shared.looks import Look, loads, rates
from metersim.questions.shared.operators import HABITS, Habit, Seen, Wanted
from metersim.questions.shared.settings import moved
from metersim.run.simulation import simulate

BENCH = load_scenario("maize_bench")
WANTED = Wanted(0.01, 0.015)
RIGHT = {name: HIDDEN[name].middle for name in UNSEEN}
TIGHT = Meter(3, 2, {**RIGHT, "seed size": 1.03})  # starts with many skips


def tried(habits, meter=TIGHT, scenario=BENCH, count=300, seed=4):
    found = try_habits(Task(scenario, meter, habits, WANTED, count, seed))
    return {trial.habit: trial for trial in found}


@pytest.fixture(scope="module")
def trials():
    return tried(HABITS)


# ---------------------------------------------------------------- meters


def test_start_notches_are_spread_evenly_over_what_is_drawn():
    meters = draw_meters(BENCH, 50, 7)
    offsets = [meter.offset for meter in meters]
    assert {k: offsets.count(k) for k in OFFSETS} == dict.fromkeys(OFFSETS, 10)
    assert offsets[:10] != sorted(offsets[:10])
    assert [meter.state for meter in meters] == draw_states(50, 7, UNSEEN)
    assert draw_meters(BENCH, 50, 8) != meters


def test_a_singulator_at_its_end_starts_where_it_can():
    """The gap allows 5.4 notches: from 5, none further in can be set."""
    meters = draw_meters(BENCH.replace(singulator__notch=5.0), 12, 1)
    assert {meter.offset for meter in meters} == {-2, -1, 0}


# ---------------------------------------------------------------- luck


def test_all_habits_see_the_same_first_look(trials):
    first = {name: trial.seen[0] for name, trial in trials.items()}
    few = first.pop("count too few").look
    assert len(set(map(str, first.values()))) == 1
    whole = first["one notch"].look
    assert (few.cells, whole.cells) == (50, 300)
    assert few.skips <= whole.skips and few.doubles <= whole.doubles  # the same first 50 cells


@pytest.mark.slow
def test_a_habit_fares_the_same_whoever_else_is_tried(trials):
    """Also when nobody counts more cells than it."""
    for name in HABITS:
        assert tried({name: HABITS[name]})[name] == trials[name]


def test_looks_and_truth_are_those_of_runs(trials):
    """Conservation, against plain runs: what was counted is what fell."""
    trial = trials["one notch"]
    seeds = 0
    replicate = 1 + 3 * (MOST_LOOKS + 1) + MOST_LOOKS
    for number, one in enumerate(trial.seen):
        notch = {"notch": 2 + one.settings.get("notch", 0)}
        there = meter_of(moved(BENCH, notch), TIGHT.state)
        run = simulate(there.lasting(LONG + 300 * (number + 1)), seed=4, replicate=replicate)
        released = loads(run)[LONG + 300 * number :]
        assert one.look == Look(
            cells=300, skips=int((released == 0).sum()), doubles=int((released > 1).sum())
        )
        seeds += int(released.sum())
    assert trial.seeds == seeds
    there = meter_of(moved(BENCH, {"notch": 2 + trial.settings["notch"]}), TIGHT.state)
    plain = rates(there, LONG, seed=4, replicate=replicate)
    assert (trial.end.skip, trial.end.double) == (plain.skip, plain.double)


@pytest.mark.parametrize("count", [1000, 5000])
def test_long_looks_are_as_long_and_have_draws_of_their_own(count):
    """Also where one run does not hold all of them; and truth is not moved by them."""
    again = {"again": Habit(lambda seen, wanted: {} if len(seen) < 5 else None, count)}
    trial = tried(again)["again"]
    assert [one.look.cells for one in trial.seen] == [count] * 5
    assert len({(one.look.skips, one.look.doubles) for one in trial.seen}) == 5
    assert trial.end == tried({"leave alone": HABITS["leave alone"]})["leave alone"].end
    shares = [one.look.skip_share for one in trial.seen]
    error = np.sqrt(trial.end.skip * (1 / count + 1 / LONG))
    assert np.abs(np.array(shares) - trial.end.skip).max() < 4 * 1.5 * error


def test_quality_alone_is_left_out_where_nobody_asks_for_it(trials):
    task = Task(BENCH, TIGHT, HABITS, WANTED, 300, 4, quality=False)
    for trial in try_habits(task):
        whole = trials[trial.habit]
        assert trial.seen == whole.seen and trial.cause == whole.cause
        for one, other in ((trial.start, whole.start), (trial.end, whole.end)):
            assert (one.skip, one.double) == (other.skip, other.double)
            assert np.isnan(one.quality) and other.quality > 0


def test_every_look_at_every_meter_has_luck_of_its_own():
    """Two looks at one place differ, and so do two meters with the same state."""
    again = {"again": Habit(lambda seen, wanted: {})}
    one = tried(again)["again"].seen
    other = tried(again, Meter(4, 2, TIGHT.state))["again"].seen
    assert len(one) == MOST_LOOKS
    counts = [(look.look.skips, look.look.doubles) for look in (*one, *other)]
    assert len(set(counts)) > MOST_LOOKS / 2
    assert counts[:MOST_LOOKS] != counts[MOST_LOOKS:]
    assert tried(again)["again"].seen == one


# ---------------------------------------------------------------- what comes of it


def test_a_meter_left_alone_stays_as_it_was(trials):
    alone = trials["leave alone"]
    assert alone.start == alone.first == alone.end
    assert (len(alone.seen), alone.settings, alone.gain) == (1, {}, 0)
    assert all(trial.start == alone.start for trial in trials.values())


def test_two_notches_too_many_are_taken_back(trials):
    """Two notches too aggressive leave some six percent of the cells empty."""
    trial = trials["one notch"]
    assert trial.start.skip > 0.04
    assert trial.settings["notch"] < 0
    assert trial.gain > 0.03
    assert trial.gain == pytest.approx(trial.start.bad - trial.end.bad)


@pytest.mark.parametrize("offset", [-2, 0, 2])
def test_an_operator_sees_counts_and_own_moves_alone(offset):
    """Wherever the notch starts: nothing is moved at first, then what was moved so far."""
    heard = []

    def listening(seen, wanted):
        heard.append([dict(one.settings) for one in seen])
        assert not any(hasattr(one, hidden) for one in seen for hidden in ("meter", "state"))
        return ({"vacuum": 1}, {"notch": -1}, None)[len(seen) - 1]

    trial = tried({"listen": Habit(listening)}, Meter(3, offset, RIGHT))["listen"]
    moves = [{}, {"vacuum": 1}, {"vacuum": 1, "notch": -1}]
    assert heard == [moves[:1], moves[:2], moves[:3]]
    assert trial.settings == moves[-1] and trial.meter.offset == offset


def test_a_habit_stops_at_the_end_of_the_travel():
    habits = {"in": Habit(lambda seen, wanted: {"notch": 2})}
    trial = tried(habits)["in"]
    assert trial.settings == {"notch": 2} and len(trial.seen) == 2  # 2 + 4 are more than 5.4
    assert tried({"on": Habit(lambda seen, wanted: {"notch": 0})})["on"].settings == {}


@pytest.mark.parametrize(
    ("move", "said"),
    [
        ({"noch": 1}, "moves 'noch', which is no setting; did you mean 'notch'?"),
        ({"notch": 0.5}, "moves notch by 0.5; give a whole number of steps"),
        ({"notch": True}, "moves notch by True; give a whole number of steps"),
        (1, "gives 1; give steps by setting, {}, or None to stop"),
    ],
)
def test_a_habit_that_cannot_be_done_is_told(move, said):
    with pytest.raises(BadInput) as error:
        tried({"mine": Habit(lambda seen, wanted: move)})
    assert str(error.value) == f"habit: mine: {said}"


def test_moves_of_several_settings_at_once_are_seen():
    def mixed(*places):
        seen = tuple(Seen(place, Look(cells=9, skips=0, doubles=0)) for place in places)
        truth = Truth(0, 0, 1)
        return Trial(TIGHT, "x", NOTHING, truth, truth, truth, seen, 9).mixed

    assert not mixed({})
    assert not mixed({}, {"notch": 1}, {"notch": 1, "vacuum": 1}, {"vacuum": 1})
    assert mixed({}, {"notch": 1, "vacuum": -1})
    assert mixed({}, {"notch": 1}, {"vacuum": 1})


def test_what_is_in_the_hopper_moves_nothing_else():
    """A handful of seed: whoever counts fills it up before it is empty."""
    handful = BENCH.replace(pool__hopper=0.7)  # some 2000 seeds
    alone = {"leave alone": HABITS["leave alone"]}
    few, many = (tried(alone, Meter(0, 0, RIGHT), one)["leave alone"] for one in (handful, BENCH))
    assert few.end == many.end and few.end.skip < 0.02
    run = simulate(handful.lasting(LONG), seed=1)
    assert np.mean(loads(run) == 0) > 5 * few.end.skip  # negative control: it does run empty


# ---------------------------------------------------------------- causes


def test_the_cause_is_what_would_take_away_most():
    shares = {"notch": 0.02, "seed size": 0.03, "vacuum": 0.05}
    assert cause_of(0.05, shares) == "notch"
    assert cause_of(0.05, {**shares, "vacuum": 0.01}) == "vacuum"
    assert cause_of(0.02 + 0.99 * LEAST_CHANGE, shares) == NOTHING


@pytest.mark.parametrize(
    ("offset", "wrong", "cause"),
    [
        (0, {}, NOTHING),
        (2, {}, "notch"),
        (-2, {}, "notch"),
        (0, {"seed size": 0.9}, "seed size"),
        (0, {"vacuum": 0.4}, "vacuum"),
        (0, {"tube": 0.9, "cut-off": 0.1}, NOTHING),  # wear does not show in counts
    ],
)
def test_what_alone_is_wrong_is_the_cause(offset, wrong, cause):
    weak = BENCH.replace(vacuum__vacuum=3e3)  # where a leak can be felt
    meter = Meter(0, offset, {**RIGHT, **wrong})
    alone = tried({"leave alone": HABITS["leave alone"]}, meter, weak)["leave alone"]
    assert alone.cause == cause


def test_a_worn_tube_costs_quality_and_no_singles():
    """Negative control of a cause that is not asked for."""
    habits = {"leave alone": HABITS["leave alone"]}
    new, worn = (
        tried(habits, Meter(0, 0, {**RIGHT, "tube": wear}))["leave alone"].end for wear in (0, 0.9)
    )
    assert worn.single == new.single
    assert worn.quality < new.quality - 0.1


# ---------------------------------------------------------------- names


@pytest.fixture(scope="module")
def surface():
    runs = [
        (state, rates(meter_of(BENCH, state), CELLS, replicate=k))
        for k, state in enumerate(runs_of())
    ]
    return surface_of(runs)


def test_a_surface_gives_what_fresh_runs_give(surface):
    """Counts of doubles and skips within four standard errors, half of it for the surface."""
    for k, (size, vacuum) in enumerate(itertools.product((0.96, 1.0, 1.05), (0.7, 1.0))):
        state = {"seed size": size, "vacuum": vacuum}
        fresh = rates(meter_of(BENCH, state), 20_000, seed=9, replicate=k)
        said = surface.at(state)
        for name in ("skip", "double"):
            share, found = getattr(said, name), getattr(fresh, name)
            error = np.sqrt(2 * share / 20_000)
            assert abs(found - share) < 4 * error, (state, name)
    off = rates(moved(BENCH, {"notch": 1}), 20_000, seed=9)  # negative control
    assert abs(off.double - surface.at({}).double) > 4 * np.sqrt(2 * off.double / 20_000)


def test_smaller_seed_gives_doubles_and_larger_skips(surface):
    """Monotony along the surface, as in the model (tests of signs)."""
    sizes = np.linspace(0.92, 1.08, 9)
    found = [surface.at({"seed size": size}) for size in sizes]
    assert all(np.diff([one.double for one in found]) < 0)
    assert found[-1].skip > found[0].skip


@pytest.mark.study
@pytest.mark.slow
def test_long_counts_name_a_notch_and_a_meter_that_is_right():
    """An operator who counts 3000 cells at three notches leaves little to doubt.

    A mild edge lets doubles pass as small seed does, so that either may be named.
    """

    def around(seen, wanted):
        """One notch in, two out."""
        return {1: {"notch": 1}, 2: {"notch": -2}}.get(len(seen))

    habits = {"around": Habit(around, 3000)}
    meters = [Meter(k, offset, RIGHT) for k, offset in enumerate((-2, 2, 0, 0, -2, 2))]
    trials = [tried(habits, meter)["around"] for meter in meters]
    named = [trial.named for trial in name_causes(BENCH, trials, 1, grid=4)]
    mild = {"notch", "seed size"}
    allowed = (mild, {"notch"}, {NOTHING}, {NOTHING}, mild, {"notch"})
    assert all(one in some for one, some in zip(named, allowed, strict=True))
    assert {trial.cause for trial in trials} == {"notch", NOTHING}
    small = [tried(habits, Meter(7, 0, {**RIGHT, "seed size": 0.92}))["around"]]
    named = name_causes(BENCH, small, 1, grid=4)[0].named
    assert named in CAUSES  # not taken for right
