"""Verdicts and the paper list on answers that are made up."""

from dataclasses import replace

import pytest

from metersim.questions.shared.looks import SENSOR, Look
from tests.validation.blind.checklist import NOTHING, first_item, trouble_of
from tests.validation.blind.scoring import (
    AMONG,
    CONFIDENT,
    ELSE,
    FAMILIES,
    FINE,
    GROUP,
    NEAR,
    NONE,
    ORDER,
    OTHER,
    OUTSIDE,
    RIGHT,
    UNLIKELY,
    UNSAID,
    WRONG,
    Answer,
    report,
)

MADE = Answer(
    case="a lens",
    kind="usual",
    build="usual",
    truth="lens",
    name="lens",
    first=("lens",),
    chance=0.9,
    of_name=0.9,
    of_truth=0.9,
    before=0.05,
    listed="lens",
)
TWO = replace(MADE, truth=OUTSIDE, near=("lens", "drive"))
MANY = ("drive", "lens", "gauge", "fan")
LIMITS = {"skips_percent": 2.5, "doubles_percent": 3.0}


@pytest.mark.parametrize(
    ("name", "first", "verdict"),
    [
        ("lens", ("lens",), RIGHT),
        ("drive", ("drive", "lens"), GROUP),
        ("drive", MANY, AMONG),
        ("drive", ("drive",), WRONG),
        (ELSE, (ELSE,), OTHER),
        (ORDER, (ORDER,), FINE),
        (NONE, (NONE,), NONE),
    ],
)
def test_a_verdict_is_of_the_name_or_of_its_group(name, first, verdict):
    assert replace(MADE, name=name, first=first).verdict == verdict


def test_only_a_wrong_answer_is_sure_and_wrong():
    wrong = replace(MADE, name="drive", first=("drive",))
    assert wrong.is_sure_and_wrong
    assert not MADE.is_sure_and_wrong
    assert not replace(wrong, chance=0.8).is_sure_and_wrong
    assert replace(MADE, name=ORDER, first=(ORDER,)).is_sure_and_wrong
    assert not replace(MADE, name=ELSE, first=(ELSE,)).is_sure_and_wrong


def test_one_of_two_faults_is_near_and_not_wrong():
    assert TWO.outside == NEAR
    assert not TWO.is_sure_and_wrong
    assert replace(TWO, near=()).outside == CONFIDENT
    assert replace(TWO, near=()).is_sure_and_wrong


def test_what_is_not_listed_ends_well_without_a_likely_name():
    assert replace(TWO, name=ELSE, first=(ELSE,)).outside == UNSAID
    unsure = replace(TWO, near=(), chance=0.5, of_name=0.5)
    assert unsure.outside == UNLIKELY
    assert replace(unsure, of_name=0.51).outside == CONFIDENT
    assert replace(unsure, first=MANY, chance=0.9).outside == UNLIKELY, "many names are no name"
    assert replace(TWO, name=ELSE, first=(ELSE,)).verdict == RIGHT


def test_every_fault_of_the_library_has_one_family():
    from metersim.questions.shared.faults.library import LIBRARY

    named = [name for names in FAMILIES.values() for name in names]
    assert sorted(named) == sorted({*LIBRARY, ORDER, ELSE, OUTSIDE, NONE})


def test_a_report_counts_each_machine_once():
    wrong = replace(MADE, case="another", name="drive", first=("drive",), listed="drive")
    text = report([MADE, wrong, TWO])
    assert "in 1 of 2 (50 %). It was itself" in text
    assert "A wrong cause had over 80 % in 1 of 3 (33 %)." in text
    assert f"{NEAR}: 1" in text
    assert "| listed fault, usual | 2 | 1 | 0 | 0 | 0 | 0 | 0 | 1 | 1 | 1 |" in text


@pytest.mark.parametrize(
    ("skips", "doubles", "word"),
    [(25, 30, "none"), (26, 0, "skips"), (0, 31, "doubles"), (26, 31, "both")],
)
def test_counts_are_trouble_over_the_limits(skips, doubles, word):
    assert trouble_of(Look(cells=1000, skips=skips, doubles=doubles), LIMITS) == word


def test_the_paper_list_names_the_first_item_that_fits():
    dusty = Look(cells=1000, skips=60, doubles=5, way=SENSOR)
    assert first_item(dusty, "monitor", {"stand": "wrong", "pattern": "every N"}) == "lens"
    assert first_item(dusty, "cells", {"stand": "wrong", "pattern": "every N"}) == "plugged holes"
    assert first_item(dusty, "monitor", {"rows": "all"}) == "vacuum low"
    slipping = {"used": "less", "bench": "fine"}
    fine = Look(cells=1000, skips=5, doubles=5, way=SENSOR)
    assert first_item(fine, "monitor", slipping) == "drive"
    assert first_item(dusty, "monitor", {**slipping, "stand": "wrong"}) == "lens"
    assert first_item(fine, "monitor", {}) == ORDER
    doubled = Look(cells=1000, skips=60, doubles=60)
    assert first_item(doubled, "monitor", {"used": "more"}) == "tube worn"
    assert first_item(doubled, "cells", {"used": "more"}) == "large seed"


def test_no_item_is_something_else():
    assert NOTHING == ELSE
