"""Groups of faults that look alike: closed forms, limits, and a simulation broken on purpose."""

from functools import cache

import numpy as np
import pytest

import metersim as m
from metersim.questions.shared.faults import signatures as module
from metersim.questions.shared.faults.breathing import STILL
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.faults.groups import ALIKE, distinguished, groups_of
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.faults.signatures import COLUMNS, Signatures, signatures

FIELD = m.load_scenario("maize_field")
FINE = {
    "skips": 0.02, "doubles": 0.02, "bench": 0.04, "current": 1.0, "used": 1.0, "gauge": 1.0,
    "scatter": 0.2,
}  # fmt: skip
"""Numbers of a machine in order; all others are 0."""


def made(*faults, samples=2):
    """Signatures of faults that differ from a machine in order by the numbers given."""
    usual = {name: np.full(samples, FINE.get(name, 0.0)) for name in COLUMNS}
    values = {
        name: np.array([usual[name] + 0 if name not in one else np.full(samples, one[name])
                        for one in faults])
        for name in COLUMNS
    }  # fmt: skip
    names = tuple("abcdefgh"[: len(faults)])
    return Signatures(
        faults=names, prior=np.full(len(names), 1 / len(names)), values=values, usual=usual
    )


def test_the_same_signature_is_one_group_and_cannot_be_distinguished():
    found = groups_of(made({"gauge": 0.5}, {"gauge": 0.5}))
    assert found.pair("a", "b") == pytest.approx(0.5)
    assert found.groups == (("a", "b"),) and found.of("b") == ("a", "b")
    with pytest.raises(KeyError):
        found.of("z")


def test_a_clear_sign_makes_two_groups():
    found = groups_of(made({"gauge": 0.5}, {"gauge": 1.0}, {"gauge": 0.5}))
    assert found.pair("a", "b") > 0.85 > ALIKE
    assert {frozenset(one) for one in found.groups} == {frozenset("ac"), frozenset("b")}


def test_every_fault_is_in_one_group_and_faults_of_a_group_stand_side_by_side():
    found = groups_of(made({"rows": 1.0}, {}, {"rows": 1.0, "onset": 1.0}, {"onset": 1.0}, {}))
    assert sorted(name for one in found.groups for name in one) == list("abcde")
    for group in found.groups:
        for first in group:
            for second in group:
                assert first == second or found.pair(first, second) < ALIKE


def test_the_chance_of_the_right_one_is_symmetric_and_half_for_a_fault_and_itself():
    right = groups_of(made({"gauge": 0.9}, {"used": 0.9}, {"skips": 0.1})).right
    assert right == pytest.approx(right.T)
    assert np.diag(right) == pytest.approx(0.5)
    assert (right >= 0.5 - 1e-12).all() and (right < 1).all()


def test_the_chance_of_the_right_one_has_its_closed_form():
    """One sign of answers p and q: half of the sum of (p^2 + q^2)/(p + q); |z| < 4.

    The control is a day in which nobody looks.
    """
    found, days = made({"gauge": 0.9}, {"gauge": 0.95}), 40_000
    p, q = (found.chances("gauge")[:, k, 0] for k in (0, 1))
    exact = float(np.sum((p * p + q * q) / (p + q)) / 2)
    names = {"gauge": 1}
    right = distinguished(found, list(names), 3, days)[0, 1]
    posterior = p / (p + q)
    sd = np.sqrt(np.sum(p * posterior**2) - np.sum(p * posterior) ** 2)
    sd += np.sqrt(np.sum(q * (1 - posterior) ** 2) - np.sum(q * (1 - posterior)) ** 2)
    assert abs(right - exact) < 4 * sd / 2 / np.sqrt(days)
    assert distinguished(found, [], 3, 10)[0, 1] == pytest.approx(0.5) != pytest.approx(exact)


def test_more_signs_distinguish_better():
    """Information: each further sign that differs raises the chance of the right one."""
    found = made({"gauge": 0.9, "used": 0.94, "skips": 0.05}, {})
    chances = [
        distinguished(found, signs, 1, 4_000)[0, 1]
        for signs in ([], ["gauge"], ["gauge", "used"], ["gauge", "used", "skips"])
    ]
    assert chances == sorted(chances) and chances[-1] > chances[0] + 0.2


def test_machines_that_differ_make_a_fault_harder_to_name():
    """A fault of unknown severity is seen through all its machines, not through one."""
    even, mixed = made({"gauge": 0.8}, {}), made({"gauge": 0.8}, {})
    mixed.values["gauge"][0] = [0.6, 1.0]
    sure, unsure = (distinguished(one, ["gauge"], 1, 4_000)[0, 1] for one in (even, mixed))
    assert sure > unsure + 0.1


def test_one_fault_or_none_needs_no_tree():
    assert groups_of(made({"gauge": 0.5})).groups == (("a",),)


def test_the_threshold_decides_what_is_alike():
    found = made({"gauge": 0.95}, {})
    assert len(groups_of(found, alike=0.99).groups) == 1
    assert len(groups_of(found, alike=0.51).groups) == 2


# by simulation

NAMES = ("vacuum low", "vacuum high", "edge near", "edge far")


@cache
def whole():
    """Groups of a few faults by the whole simulation."""
    return simulated()


def simulated(**broken):
    """Groups of a few faults, with parts of the simulation replaced."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "possible_faults", lambda scenario: [LIBRARY[one] for one in NAMES])
        for name, part in broken.items():
            patch.setattr(module if name != "put" else MeterFault, name, part)
        return groups_of(signatures(FIELD, seed=2, samples=2, cells=600))


@pytest.mark.slow
def test_opposite_faults_do_not_look_alike():
    for first, second in (NAMES[:2], NAMES[2:]):
        assert second not in whole().of(first)
        assert whole().pair(first, second) > 0.95


@pytest.mark.slow
def test_groups_change_when_faults_do_nothing():
    broken = simulated(put=lambda self, scenario, severity: scenario)
    assert broken.of("edge far") == broken.of("edge near") != whole().of("edge far")
    assert broken.groups != whole().groups


@pytest.mark.slow
def test_groups_change_when_the_air_stands_still():
    broken = simulated(air_of=lambda machine, faulty, scope: STILL)
    assert broken.of("vacuum low") == broken.of("vacuum high") != whole().of("vacuum low")
    assert broken.of("edge far") != broken.of("edge near")  # the discs are as they were


def test_every_sign_can_distinguish_two_faults():
    """Each sign by itself: a fault that moves its number far is told from one that does not."""
    far = {
        "skips": 0.5, "doubles": 0.5, "pattern": 0.9, "rows": 1.0, "onset": 1.0, "speed": 0.4,
        "slope": 0.4, "hour": 0.4, "turn": 0.4, "bench": 0.6, "current": 2.0, "used": 2.0,
        "gauge": 0.3, "scatter": 0.5,
    }  # fmt: skip
    assert {*far} | {"stand"} == {*SIGNS}
    for sign, value in far.items():
        assert distinguished(made({sign: value}, {}), [sign], 1, 400)[0, 1] > 0.6, sign
    hidden = made({"stand": 1.0, "skips": 0.5}, {"skips": 0.5})
    assert distinguished(hidden, ["stand"], 1, 400)[0, 1] > 0.6
