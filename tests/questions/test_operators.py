"""Habits: what an operator does with counts, as plain functions of what was seen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.questions.shared.looks import Look
from metersim.questions.shared.operators import (
    HABITS,
    Habit,
    Seen,
    Wanted,
    aim,
    chase_every_count,
    leave_alone,
    notch_and_vacuum,
    one_notch,
    place_after,
    return_to_best,
    several_notches,
    was_tried,
)

WANTED = Wanted(0.015, 0.015)
ENOUGH = 40  # looks; more than any habit that can end takes


def look(skips=0, doubles=0, cells=1000):
    return Look(cells=cells, skips=skips, doubles=doubles)


def seen(*places):
    """Looks as (notch, vacuum, skips, doubles) of 1000 cells."""
    return tuple(
        Seen(place_after({}, {"notch": notch, "vacuum": vacuum}), look(skips, doubles))
        for notch, vacuum, skips, doubles in places
    )


def worked(rule, start, right=0):
    """Notches from what is right at each look, on a meter without luck.

    A notch halves doubles and doubles skips, or the other way round; at the right one both are
    one in a hundred, so that what is wanted is met there and nowhere else.
    """
    history, place = [], {}
    while len(history) < ENOUGH:
        off = start + place.get("notch", 0) - right
        counted = look(round(10 * 2.0**off), round(10 * 2.0**-off))
        history.append(Seen(dict(place), counted))
        move = rule(tuple(history), WANTED)
        if move is None:
            return [start + one.settings.get("notch", 0) - right for one in history]
        place = place_after(place, move)
    raise AssertionError("it never ends")


# ---------------------------------------------------------------- the parts


@pytest.mark.parametrize(
    ("skips", "doubles", "way"),
    [(0, 0, 0), (15, 15, 0), (16, 0, -1), (0, 16, 1), (20, 40, 1), (40, 20, -1)],
)
def test_the_way_is_that_of_what_is_too_many(skips, doubles, way):
    """Common practice, no source; bounds themselves are still right."""
    assert aim(look(skips, doubles), WANTED) == way


steps = st.dictionaries(st.sampled_from(["notch", "vacuum", "gate"]), st.integers(-4, 4))


@given(steps, steps, steps)
def test_moves_add_up_in_any_order(place, one, two):
    there = place_after(place_after(place, one), two)
    assert there == place_after(place_after(place, two), one)
    back = {name: -count for name, count in one.items()}
    assert place_after(place_after(place, one), back) == place_after(place, {})
    assert all(there.values())  # what stands where it was found is not named


def test_where_one_has_been():
    history = seen((0, 0, 0, 50), (1, 0, 0, 20))
    assert was_tried(history, {"notch": -1})
    assert was_tried(history, {})
    assert not was_tried(history, {"notch": 1})
    assert not was_tried(history, {"vacuum": 1})


def test_one_settles_where_most_was_right_in_all_that_was_counted():
    """Two looks at one place count together: 30 and 10 of 2000 lie below 25 of 1000."""
    history = seen((0, 0, 0, 30), (1, 0, 25, 0), (0, 0, 0, 10), (2, 0, 90, 0))
    assert return_to_best(history) == {"notch": -2}
    assert return_to_best(history[:3]) is None  # already there


# ---------------------------------------------------------------- the habits


def test_who_leaves_it_alone_stops_at_once():
    assert leave_alone(seen((0, 0, 500, 0)), WANTED) is None


@pytest.mark.parametrize("start", range(-4, 5))
def test_one_notch_at_a_time_takes_as_many_looks_as_notches(start):
    """Without luck: straight to what is right, one notch a look."""
    way = -1 if start > 0 else 1
    assert worked(one_notch, start) == list(range(start, way, way)) if start else [0]


@pytest.mark.parametrize("start", [-2, 2])
def test_several_notches_are_faster_where_they_fit(start):
    """Two off: two looks in place of three."""
    assert worked(several_notches, start)[-1] == 0
    assert len(worked(several_notches, start)) < len(worked(one_notch, start))


def test_several_notches_go_past_what_is_right():
    """One off: they overshoot, and end no better than one off."""
    places = worked(several_notches, 1)
    assert places[:2] == [1, -1]
    assert abs(places[-1]) == 1


@pytest.mark.parametrize("name", [n for n in HABITS if n != "chase every count"])
@pytest.mark.parametrize("right", [0, 0.5])
@pytest.mark.parametrize("start", [-3, -1, 0, 2])
def test_every_habit_but_one_ends(name, right, start):
    """Also where no notch is right, as half a notch off."""
    places = worked(HABITS[name].rule, start, right)
    if name != "leave alone":
        assert min(map(abs, places)) <= abs(start - right)


def test_who_chases_every_count_never_ends():
    """Negative control of the last."""
    with pytest.raises(AssertionError, match="never ends"):
        worked(chase_every_count, 0, 0.5)


def test_where_no_notch_will_do_one_step_of_vacuum_is_taken():
    """Both neighbours were seen: the vacuum alone is moved, and then notches anew."""
    between = seen((0, 0, 40, 0), (-1, 0, 0, 40))
    assert one_notch(between, WANTED) == {"vacuum": 1}
    assert one_notch((*between, *seen((-1, 1, 0, 30))), WANTED) == {"notch": 1}


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=1, max_size=15))
def test_habits_are_functions_that_keep_their_word(counts):
    """Same history, same answer; one setting at a time, or the notch against the vacuum."""
    for rule, words in ((one_notch, "one"), (notch_and_vacuum, "both")):
        history, place = (), {}
        for skips, doubles in counts:
            history = (*history, Seen(dict(place), look(skips, doubles)))
            move = rule(history, WANTED)
            assert move == rule(history, WANTED)
            if move is None:
                break
            if not was_tried(history, move):
                if words == "one":
                    assert sorted(map(abs, move.values())) == [1]
                else:
                    assert move["vacuum"] == -move["notch"] and abs(move["notch"]) == 1
            place = place_after(place, move)


def test_who_chases_goes_by_what_there_was_more_of():
    for skips, doubles, way in ((3, 2, -1), (2, 3, 1), (2, 2, 0)):
        assert chase_every_count(seen((0, 0, skips, doubles)), WANTED) == {"notch": way}


@pytest.mark.parametrize("name", HABITS)
def test_a_habit_says_what_it_does(name):
    assert len(HABITS[name].says.split()) > 3
    assert Habit(lambda seen, wanted: None).says == "no words given"
