"""The list of faults as it is typed: the answer, inspections, JSON, and the picture."""

import json
from functools import cache

import pytest

import metersim as m
from metersim.questions.list import command, faultcommand
from metersim.questions.list.faults import ALONE, FaultList, faults_answer, list_faults
from metersim.questions.list.figure import COLUMNS, PAGES, faults_figure
from metersim.questions.shared.faults import signatures as module
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.words import WIDE
from tests.questions.pages import check_page

FIELD = m.load_scenario("maize_field")
FEW = ("vacuum low", "fan", "edge far", "gauge", "lens")


@cache
def few():
    """The list of a few faults."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "possible_faults", lambda machine: tuple(LIBRARY[one] for one in FEW))
        return list_faults(FIELD, seed=3, samples=1)


@pytest.fixture
def quick(monkeypatch):
    """The command lists a few faults; gives what it was asked for."""
    asked = []

    def listed(scenario, **options):
        asked.append((scenario.name, options["seed"], options["samples"]))
        return few()

    monkeypatch.setattr(faultcommand, "list_faults", listed)
    return asked


@pytest.mark.slow
def test_an_answer_begins_with_a_caution_and_names_every_fault():
    said = faults_answer(few()).splitlines()
    assert said[0].startswith("Caution: ") and "lock out" in said[0]
    assert max(map(len, said)) <= WIDE
    rows = [line for line in said if any(f"  {name}  " in line for name in FEW)]
    assert len(rows) == len(FEW)
    assert said[-1].startswith("More: --details shows")


def test_faults_of_a_group_share_a_letter_and_others_have_none():
    groups = {fault.name: letter for letter, fault, _ in few().ordered}
    assert {*groups} == {*FEW}
    for name, letter in groups.items():
        mates = few().groups.of(name)
        assert (letter == ALONE) == (len(mates) == 1)
        assert {groups[mate] for mate in mates} == {letter}
    letters = [letter for letter, _, _ in few().ordered]
    assert letters == sorted(letters, key=lambda one: (one == ALONE, one))


def test_a_caution_comes_before_each_inspection():
    lines = faults_answer(few(), details=True).splitlines()
    checks = [k for k, line in enumerate(lines) if line.startswith("  Check (")]
    assert len(checks) == len(FEW)
    for k in checks:
        above = lines[:k][::-1]
        caution = next(n for n, line in enumerate(above) if line.startswith("  Caution: "))
        assert caution < next(n for n, line in enumerate(above) if not line)
    assert max(map(len, lines)) <= WIDE + 2


def test_what_a_machine_cannot_have_is_said():
    (line,) = [one for one in faults_answer(few()).splitlines() if "cannot have" in one]
    assert "chipped hole" in faults_answer(few()) and "edge far," not in line


def test_the_command_takes_a_scenario_a_seed_and_samples(quick, done):
    assert "vacuum low" in done("list", "faults")
    done("list", "faults", "--scenario", "sunflower", "--seed", "7", "--samples", "2")
    done("list", "faults", "canola_small_seed")
    assert quick == [
        ("maize_field", 1, module.SAMPLES), ("sunflower", 7, 2),
        ("canola_small_seed", 1, module.SAMPLES),
    ]  # fmt: skip


def test_json_holds_everything(quick, done, tmp_path):
    made = json.loads(done("list", "faults", "--json", "-"))
    assert [one["name"] for one in made["faults"]] == [one.name for _, one, _ in few().ordered]
    for one in made["faults"]:
        assert (
            one["caution"] and one["check"] and one["check_s"] == 60 * LIBRARY[one["name"]].minutes
        )
        for sign, chances in one["chances"].items():
            assert sum(chances.values()) == pytest.approx(1)
            assert tuple(chances) == SIGNS[sign].answers
        assert len(one["values"]["skips"]) == made["samples"] == 1
    assert made["right_of_two"]["fan"][1] == pytest.approx(0.5)
    path = tmp_path / "faults.json"
    done("list", "faults", "--json", path)
    assert json.loads(path.read_text()) == made


@pytest.mark.slow
def test_a_dot_is_drawn_for_each_answer_that_gains(quick, done, tmp_path):
    figure = faults_figure(few())
    (ax,) = figure.axes
    dots = [one.get_gid() for one in ax.collections if one.get_gid()]
    assert "vacuum low: gauge" in dots and "edge far: doubles" in dots
    assert "edge far: gauge" not in dots
    names = [label.get_text().split("  ")[0] for label in ax.get_yticklabels()]
    assert names == [fault.name for _, fault, _ in few().ordered]
    assert len(ax.get_xticks()) == len(COLUMNS) == len(SIGNS)
    check_page(figure)
    path = tmp_path / "faults.png"
    done("list", "faults", "--figure", path)
    assert path.read_bytes()[:4] == b"\x89PNG"
    with pytest.raises(ValueError, match="units"):
        faults_figure(few(), "imperial")


def test_every_answer_of_the_picture_is_one_of_its_sign():
    assert [sign for sign, *_ in COLUMNS if sign not in SIGNS] == []
    for sign, _, more, less in COLUMNS:
        assert {one for one in (more, less) if one} <= {*SIGNS[sign].answers}


def test_other_lists_refuse_what_only_faults_take(told):
    for option, words in (
        ("--details", ()), ("--json", ("-",)), ("--figure", ("a.png",)), ("--seed", ("2",)),
        ("--samples", ("3",)), ("--workers", ("2",)), ("--scenario", ("sunflower",)),
    ):  # fmt: skip
        (line,) = told("list", "lots", option, *words)
        assert line.startswith(option) and "list faults" in line


def test_a_list_of_faults_refuses_two_machines_and_bad_numbers(told):
    (line,) = told("list", "faults", "sunflower", "--scenario", "maize_bench")
    assert "second machine" in line
    assert len(told("list", "faults", "--seed", "-1", "--samples", "0", "--workers", "0")) == 3


def test_faults_are_drawn_on_a_page():
    assert PAGES[FaultList](few()).get_figwidth() == 7.5
    assert "faults" in command.LISTS
