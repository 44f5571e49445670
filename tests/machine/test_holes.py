"""Lists of holes: what they name, and what is wrong with them."""

import pytest

from metersim.files.faults import BadInput
from metersim.machine.holes import Holes, hole_faults, holes_of, listed
from metersim.machine.reading import load_scenario
from tests.strategies import BENCH


@pytest.mark.parametrize(
    ("text", "holes"),
    [
        ("none", ()),
        (" None ", ()),
        ("1", (0,)),
        ("3 17", (2, 16)),
        ("17, 3", (2, 16)),
        ("every 6", (5, 11, 17, 23)),
        ("every 7", (6, 13, 20)),
        ("every 24", (23,)),
        ("every 1", tuple(range(24))),
    ],
)
def test_a_list_names_holes_from_1(text, holes):
    assert listed(text, 24) == holes


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0", "there is no hole 0; the disc has holes 1 to 24"),
        ("25", "there is no hole 25"),
        ("3 25", "there is no hole 25"),
        ("3 3", "names hole 3 twice"),
        ("every 25", "'every 25' names no hole"),
        ("every 0", "'every 0' names no hole"),
        ("every", "'every' cannot be read; give numbers"),
        ("3-5", "'3-5' cannot be read"),
        ("third", "'third' cannot be read"),
        ("-3", "'-3' cannot be read"),
    ],
)
def test_a_list_that_cannot_be_is_refused_in_words(text, told):
    with pytest.raises(ValueError, match=told):
        listed(text, 24)


def lists(**given):
    """Three lists, empty but for those that are given."""
    return dict.fromkeys(("plugged_holes", "worn_holes", "chipped_holes"), "none") | given


def test_lists_by_condition():
    made = holes_of(lists(worn_holes="every 12", chipped_holes="2"), 24)
    assert made == Holes(cells=24, worn=(11, 23), chipped=(1,))
    assert hole_faults(lists(), 24) == []


def test_a_hole_has_one_condition_and_one_hole_is_open():
    found = hole_faults(lists(plugged_holes="every 6", worn_holes="12", chipped_holes="4"), 24)
    assert found == [("worn_holes", "hole 12 is plugged too; name it in one list")]
    ((key, words),) = hole_faults(lists(plugged_holes="every 1"), 24)
    assert key == "plugged_holes" and words.startswith("all 24 holes are plugged")
    assert hole_faults(lists(worn_holes="every 1"), 24) == []


def test_a_scenario_says_all_that_is_wrong_with_its_lists():
    with pytest.raises(BadInput) as caught:
        BENCH.replace(disc__plugged_holes="31", disc__worn_holes="4", disc__chipped_holes="2 4")
    told = {fault.key: fault.message for fault in caught.value.faults}
    assert set(told) == {"disc.plugged_holes", "disc.chipped_holes"}
    assert "no hole 31" in told["disc.plugged_holes"]
    assert "hole 4 is worn too" in told["disc.chipped_holes"]


@pytest.mark.parametrize("change", ["plugged_holes=7", "disc.plugged_holes=7", 'plugged_holes="7"'])
def test_one_number_may_be_typed_without_quotes(change):
    assert load_scenario("maize_bench", [change]).holes.plugged == (6,)
