"""The observer says what machines show, and the whole test runs from a case to a verdict."""

from dataclasses import replace

import numpy as np
import pytest

from metersim.files.faults import bad
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.looks import BELT, SENSOR
from tests.validation.blind.machines import (
    FIRST_DRAW,
    FORMS,
    Build,
    builds,
    cases,
    on_bench,
    real,
)
from tests.validation.blind.observer import Observer, change_word, has_pattern, trouble
from tests.validation.blind.scoring import ELSE, NONE, ORDER, OUTSIDE, RIGHT, UNSAID
from tests.validation.blind.study import answer, study

USUAL = Build(kind="usual", words="usual")
BY_NAME = {case.name: case for case in cases()}
FAR = BY_NAME["singulator bent outwards in maize"]
SPACED = BY_NAME["row spacing of the other machine entered"]


class Fixed:
    """A diagnosis that always says the same."""

    def __init__(self, **chances):
        self.chances = {name.replace("_", " "): chance for name, chance in chances.items()}
        self.prior = dict.fromkeys(self.chances, 1 / len(self.chances))

    @property
    def lines(self):
        return tuple((name,) for name in sorted(self.chances, key=lambda one: -self.chances[one]))

    def chance_of(self, names):
        return sum(self.chances[name] for name in names)


def observed(case, build=USUAL):
    return Observer(case=case, build=build, seed=5)


def test_every_truth_is_a_name_of_the_library():
    truths = {case.truth for case in BY_NAME.values()} - {OUTSIDE, ORDER}
    near = {name for case in BY_NAME.values() for name in case.near}
    assert truths | near <= set(LIBRARY)


@pytest.mark.parametrize("name", BY_NAME)
def test_a_case_can_be_stated_and_run(name):
    case = BY_NAME[name]
    stated = case.stated()
    differs = real(case, USUAL, wrong=True) != stated or case.factors
    assert bool(differs) == (case.truth != ORDER)
    assert on_bench(case, USUAL, 2, wrong=True).furrow.surface == "bench"


def test_machines_that_are_drawn_are_not_those_of_the_diagnosis():
    made = [one for k, case in enumerate(cases()) for one in builds(case, k, drawn=3, formed=2)]
    numbers = [int(one.words.split()[1]) for one in made if one.kind == "drawn"]
    assert min(numbers) >= FIRST_DRAW
    assert len(set(numbers)) > 50
    forms = {one.words.split("=")[0] for one in made if one.kind == "formed"}
    assert {name for name, _ in FORMS} - {"tube"} <= forms
    assert "another tube" in forms


def test_a_change_is_noticed_from_a_point_and_a_half_on():
    assert [change_word(now, 0.02) for now in (0.0349, 0.0351, 0.0051, 0.0049)] == [
        "same",
        "worse",
        "same",
        "better",
    ]
    assert change_word(0.125, 0.1) == "same", "of much trouble, a little more is not noticed"


def test_a_hole_that_fails_is_seen_and_holes_that_fail_at_random_are_not():
    loads = np.ones(1000, dtype=np.int64)
    loads[7::30] = 0
    assert has_pattern(loads, 30)
    assert not has_pattern(loads, 31)
    scattered = np.random.default_rng(1).random(1000) > 0.1
    assert not has_pattern(scattered.astype(np.int64), 30)
    assert trouble(loads) == pytest.approx(1 / 30, abs=1e-3)


def test_an_edge_that_is_far_shows_doubles_by_hand():
    far = observed(FAR)
    usual = observed(replace(FAR, wrong=()))
    assert far.look.way == BELT
    assert far.look.cells == FAR.counted
    assert far.look.doubles > 2 * usual.look.doubles
    assert list(far.said) == list(FAR.reports)
    assert (far.said["rows"], far.said["onset"]) == ("one", "sudden")


def test_a_wrong_row_spacing_uses_less_seed_and_shows_nothing_else():
    seen = observed(SPACED)
    assert seen.row.used == pytest.approx(25 / 37.5, abs=0.03)
    assert seen.used() == "less"
    assert observed(replace(SPACED, wrong=())).used() == "as planned"


@pytest.mark.slow
def test_a_weak_gauge_of_a_fan_reads_as_set_while_the_vacuum_is_low():
    case = BY_NAME["gauge that reads a third too much"]
    seen = observed(case)
    assert seen.gauge() == "normal"
    assert seen.look.way == SENSOR
    assert observed(BY_NAME["three open rows at the headland strip"]).gauge() == "low"


def test_seeds_lie_where_a_dusty_lens_shows_skips_and_not_where_holes_are_plugged():
    dusty = BY_NAME["dusty lens by the afternoon"]
    assert observed(dusty).stand() == "wrong"
    assert observed(replace(dusty, wrong=["disc.plugged_holes=3 8 21"])).stand() == "right"
    assert observed(replace(dusty, wrong=())).stand() == "right"


def test_slip_that_nobody_knows_uses_less_seed():
    case = BY_NAME["ground wheel slips in wet maize land"]
    slips, sound = (observed(one).row.used for one in (case, replace(case, wrong=())))
    assert slips / sound == pytest.approx(0.88, abs=0.03)


def test_the_hose_stays_on_the_machine_and_the_seal_goes_to_the_bench():
    slit, worn = (
        BY_NAME[name] for name in ("slit hose in sunflower", "flat seal on two soybean rows")
    )
    assert on_bench(slit, USUAL, 3, wrong=True).vacuum.seal_wear == 0
    assert on_bench(worn, USUAL, 2, wrong=True).vacuum.seal_wear == 0.9
    assert on_bench(worn, USUAL, 3, wrong=True).vacuum.seal_wear == 0


def test_a_right_name_and_something_else_are_scored():
    sure = answer(FAR, USUAL, 5, lambda scenario, signs: Fixed(edge_far=0.9, lens=0.1))
    assert (sure.verdict, sure.chance, sure.before) == (RIGHT, 0.9, 0.5)
    lost = answer(SPACED, USUAL, 5, lambda scenario, signs: Fixed(something_else=0.6, lens=0.4))
    assert lost.name == ELSE
    assert lost.outside == UNSAID


def test_a_machine_that_the_diagnosis_refuses_has_no_answer():
    def refuse(scenario, signs):
        raise bad("fan", "9", "too much")

    refused = answer(FAR, USUAL, 5, refuse)
    assert refused.verdict == NONE
    assert refused.listed == "edge far"


@pytest.mark.study
@pytest.mark.slow
def test_the_diagnosis_finds_a_far_edge_and_denies_no_sound_meter():
    found = list(study([FAR.name, "soybean on the hill, in order"], drawn=0, formed=0))
    assert len(found) == 2
    far = next(one for one in found if one.case == FAR.name)
    assert far.is_right
    assert far.of_truth > 3 * far.before
    sound = next(one for one in found if one.truth == ORDER)
    assert not sound.is_sure_and_wrong
