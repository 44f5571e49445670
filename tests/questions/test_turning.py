"""What a run says of the running gap, the motor and its load: in the answer, details and JSON."""

import json
import re

import pytest

from metersim.machine.load import turning_of
from metersim.machine.reading import load_scenario
from metersim.machine.turning import gap_range
from metersim.questions.run.turning import turning_lines, turning_row
from metersim.questions.shared.answer import LINES
from metersim.questions.shared.notes import SPACERS

QUICK = ("--turns", "6", "--draws", "4")


def answer_of(done, *given, name="maize_bench"):
    """Printed answer of a run with settings."""
    changes = [word for one in given for word in ("--set", one)]
    return done("run", name, *QUICK, *changes)


def row_of(*changes, units="metric"):
    """Row of the table on motor and gap."""
    return turning_row(load_scenario("maize_bench", list(changes)), units)


def test_a_run_says_current_and_range_after_a_caution(done):
    lines = answer_of(done, "running_gap_mm=0.5").splitlines()
    assert lines[0] == f"Caution: {SPACERS}" and len(lines[0]) <= 118
    assert all(word in SPACERS for word in ("Stop", "lock out", "guards", "manual decides"))
    (row,) = (line for line in lines if line.startswith("motor current"))
    assert re.search(r"1\.3 A of 4 A +gap 0\.5 mm: neither rubs nor leaks between", row)
    assert row.endswith("between 0.38 and 0.71 mm")
    assert len(lines) <= LINES and max(map(len, lines)) <= 118


def test_a_run_notes_a_disc_that_rubs_and_a_motor_over_its_rating(done):
    text = answer_of(done, "running_gap_mm=0.2", "rated_torque_n_m=0.8")
    assert "Note: The disc rubs on its seal once a turn" in text
    assert re.search(r"Note: Turning the disc takes 0\.97 N m, 121 % of what its motor", text)
    assert "Note" not in answer_of(done, "running_gap_mm=0.5")


def test_without_a_running_gap_a_run_says_nothing_of_it(done):
    """Nor does an oil motor put a row into the answer."""
    for given in ((), ("kind=oil",)):
        text = answer_of(done, *given)
        assert "Caution" not in text and "motor" not in text and " gap " not in text


def test_plants_leave_room_for_the_motor(done):
    text = done(
        "run", "maize_field", *QUICK, "--plants", "--set", "running_gap_in=0.02", "--units", "us"
    )
    assert (
        "motor current" in text and "in: neither rubs nor leaks between 0.015 and 0.028 in" in text
    )
    assert "\nplants" in text and "\nseeds placed" not in text
    assert len(text.splitlines()) <= LINES


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            ["running_gap_mm=0.2"],
            "gap 0.2 mm rubs; neither rubs nor leaks between 0.38 and 0.71 mm",
        ),
        (["running_gap_mm=0.9"], "gap 0.9 mm leaks; neither rubs nor leaks"),
        (["running_gap_mm=0.5", "seal_lip_mm=0"], "gap 0.5 mm leaks; every gap rubs or leaks"),
    ],
)
def test_the_row_says_what_is_wrong_with_the_gap(changes, words):
    assert words in row_of(*changes)[2]


def test_the_row_is_that_of_the_drive():
    gap = "running_gap_mm=0.5"
    assert row_of(gap)[:2] == ("motor current", "1.3 A of 4 A")
    assert row_of(gap, "kind=oil")[:2] == ("torque at the disc", "0.43 N m of 2 N m")
    assert row_of(gap, "kind=ground")[:2] == ("torque at the disc", "0.43 N m")
    assert row_of() is None


def test_details_say_what_the_torque_is_made_of_and_that_it_is_assumed():
    text = "\n".join(
        turning_lines(load_scenario("maize_bench", ["running_gap_mm=0.2", "kind=oil"]))
    )
    assert re.search(r"torque at the disc 0\.97 N m \(seal 0\.33, rub 0\.54, pool 0\.025", text)
    assert "no published torque exists" in text and "slower than meant" in text
    assert re.search(r"in a turn -0\.18 mm to 0\.021 mm; below 0 the disc rubs", text)
    assert "takes over 2 % of the vacuum" in text and "vacuum in the chamber 4.00 kPa" in text
    fan = load_scenario("maize_bench", ["running_gap_mm=0.2", "shut_off_kpa=8"])
    assert "vacuum in the chamber" not in "\n".join(turning_lines(fan))


@pytest.mark.slow
def test_json_holds_all_of_it_in_si(done):
    scenario = load_scenario("maize_bench", ["running_gap_mm=0.8"])
    made = json.loads(
        done("run", "maize_bench", *QUICK, "--set", "running_gap_mm=0.8", "--json", "-")
    )["turning"]
    turning, (low, high) = turning_of(scenario), gap_range(scenario)
    assert made["torque_n_m"] == pytest.approx(sum(made["torque_by_cause_n_m"].values()))
    assert (made["current_a"], made["vacuum_pa"]) == (turning.current, turning.vacuum)
    assert made["gap_m"]["least"] < made["gap_m"]["mean"] < made["gap_m"]["at_rest"] == 8e-4
    assert made["neither_rubs_nor_leaks_m"] == {"low": low, "high": high}
    assert (made["rubs"], made["leaks"]) == (False, True)
    assert "turning" not in json.loads(done("run", "maize_bench", *QUICK, "--json", "-"))
    oil = json.loads(done("run", "maize_bench", *QUICK, "--set", "kind=oil", "--json", "-"))
    assert oil["turning"]["speed_over_meant"] < 1 and "gap_m" not in oil["turning"]


def test_explain_takes_the_vacuum_that_the_gap_leaves(done):
    usual, leaking = (
        done("explain", "maize_bench", "--set", f"running_gap_mm={gap}") for gap in (0.5, 0.9)
    )
    assert usual.startswith("4 kPa of vacuum") and not leaking.startswith("4 kPa of vacuum")
    assert "the seal leaks" in leaking.lower() and "leaks" not in usual
