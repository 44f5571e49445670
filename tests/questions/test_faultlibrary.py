"""The library of faults: each changes a scenario as its words say, and no check is dangerous."""

import dataclasses
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import metersim as m
from metersim.files.faults import BadInput
from metersim.machine.airline import middle_row
from metersim.machine.changes import section_of
from metersim.machine.given import scenario_of
from metersim.machine.sections import SECTIONS
from metersim.questions.next.hypotheses import FAULTS, HOLES
from metersim.questions.shared.faults.breathing import machine_around
from metersim.questions.shared.faults.fault import (
    CAUTIONS,
    LOCKED,
    RUNNING,
    MeterFault,
    at,
    between,
    stated,
    times,
)
from metersim.questions.shared.faults.library import LIBRARY, possible_faults, priors_of

BENCH, FIELD = (m.load_scenario(name) for name in ("maize_bench", "maize_field"))
SHIPPED = [
    m.load_scenario(name)
    for name in ("canola_small_seed", "maize_field", "soybean_narrow_rows", "sunflower")
]
EVERY = dict.fromkeys([0.0, 0.5, 1.0])
OPENS = re.compile(
    r"\b(open|off the|take|lid|latch|inside|reach|hand|brush|rub|feel|bend|feeler|edge|hole)\b"
)
"""Words of a check that takes a cover off, or that puts a hand near what turns."""


def test_there_are_faults_of_every_scope_onset_and_time():
    assert 25 <= len(LIBRARY) <= 35
    for names in (("scope", 3), ("onset", 2), ("when", 5), ("state", 2)):
        assert len({getattr(one, names[0]) for one in LIBRARY.values()}) == names[1]


def test_faults_that_a_next_move_knows_keep_their_names():
    finer = {"vacuum": "vacuum low", HOLES: "plugged holes"}
    assert {finer.get(name, name) for name in FAULTS} <= {*LIBRARY}


@pytest.mark.parametrize("fault", LIBRARY.values(), ids=LIBRARY)
def test_no_check_asks_for_a_running_machine_with_a_cover_off(fault):
    """What opens a machine needs a lockout, and what runs needs its guards."""
    assert dangers(fault) == []


def dangers(fault):
    """What is dangerous in a check."""
    found = []
    if fault.state == RUNNING:
        if OPENS.search(fault.check):
            found.append("a hand or an open cover at a running machine")
        if "Guards stay on" not in fault.caution and "locked out" not in fault.caution:
            found.append("no word of guards")
    elif "lock out" not in fault.caution and "Treated seed" not in fault.caution:
        found.append("no lockout")
    if fault.opens and "lock out" not in fault.caution:
        found.append("opened without a lockout")
    if "manual" not in fault.caution and fault.opens:
        found.append("no word of the manual")
    return found


def test_a_dangerous_check_is_found():
    """The control: a check with a cover off at a running machine has words that are found."""
    good = LIBRARY["vacuum low"]
    assert dangers(dataclasses.replace(good, check="open the lid and look at the disc")) != []
    assert dangers(dataclasses.replace(good, caution="Take care.")) != []
    sealed = LIBRARY["seal worn"]
    assert dangers(dataclasses.replace(sealed, caution=CAUTIONS[RUNNING])) != []
    with pytest.raises(ValueError, match="no check opens a machine that runs"):
        dataclasses.replace(good, opens=True)
    with pytest.raises(ValueError, match="allowed: one, several, all"):
        dataclasses.replace(good, scope="some")


@pytest.mark.parametrize("fault", LIBRARY.values(), ids=LIBRARY)
def test_words_are_short_and_plain(fault):
    for words in (fault.words, fault.check, *re.split(r"[.:] ", fault.caution)):
        assert len(words.split()) <= 20, words
    assert fault.minutes >= 1 and fault.prior > 0
    assert not fault.words.endswith(".") and fault.words[0].islower()
    assert len(fault.words) <= 50  # a column of the list


@pytest.mark.parametrize("fault", LIBRARY.values(), ids=LIBRARY)
@pytest.mark.parametrize("severity", EVERY)
def test_a_fault_changes_keys_that_exist_and_nothing_else(fault, severity):
    for scenario in SHIPPED:
        if not fault.fits(scenario):
            continue
        changes = fault.change(scenario, severity)
        assert changes
        for change in changes:
            assert section_of(change.partition("=")[0]) is not None
        put = fault.put(scenario, severity)
        assert put.changes[: len(scenario.changes)] == scenario.changes
        moved = {name for name in SECTIONS if getattr(put, name) != getattr(scenario, name)}
        assert moved
        assert moved <= {change.partition(".")[0] for change in changes}


def test_a_machine_has_the_faults_of_its_parts_only():
    names = {one.name for one in possible_faults(BENCH)}
    assert not names & {"slope", "idle rows", "oil drive", "inner edge worn"}
    assert "tube worn" in names
    many = machine_around(FIELD).replace(drive__kind="oil", guide__inner_guide=True)
    assert {one.name for one in possible_faults(many)} == {*LIBRARY}
    fed = FIELD.replace(tube__delivery="conveyor")
    assert "tube worn" not in {one.name for one in possible_faults(fed)}


def test_chances_of_faults_sum_to_one_in_the_order_of_their_weights():
    faults = possible_faults(FIELD)
    chances = dict(zip((one.name for one in faults), priors_of(faults), strict=True))
    assert sum(chances.values()) == pytest.approx(1)
    assert chances["lens"] == pytest.approx(4 * chances["chipped hole"])


def test_the_seed_that_a_scenario_cannot_have_is_put_in_milder():
    """Canola of 0.85 of its size would be drawn through holes of 1.6 mm; a milder one fits."""
    wide = m.load_scenario("canola_small_seed", ["hole_diameter_mm=1.6"])
    fault = LIBRARY["small seed"]
    with pytest.raises(BadInput):
        scenario_of(wide, fault.change(wide, 1.0))
    assert wide.seed.size_factor > fault.put(wide, 1.0).seed.size_factor > 0.85


def test_one_hole_more_and_more_holes_are_plugged():
    fault = LIBRARY["plugged holes"]
    lists = [fault.put(FIELD, severity).disc.plugged_holes.split() for severity in EVERY]
    assert [len(one) for one in lists] == [1, 2, 4]
    few = FIELD.replace(disc__cells=7)  # as many as the holes lie apart
    assert len({*fault.put(few, 1.0).disc.plugged_holes.split()}) == 4


@settings(max_examples=20)
@given(st.floats(0, 1), st.floats(0, 1))
def test_a_worse_fault_is_further_from_healthy(first, second):
    mild, bad = sorted((first, second))
    for name, section, field in (
        ("vacuum low", "vacuum", "vacuum"),
        ("fan", "vacuum", "vacuum"),
        ("gauge", "vacuum", "vacuum"),
        ("edge near", "singulator", "gap"),
        ("small seed", "seed", "size_factor"),
        ("low pool", "pool", "gate_opening"),
    ):
        values = [
            getattr(getattr(LIBRARY[name].put(FIELD, severity), section), field)
            for severity in (mild, bad)
        ]
        assert values[0] >= values[1] > 0


def test_a_drive_that_slips_turns_the_disc_less_by_its_slip():
    put = LIBRARY["drive"].put(FIELD, 1.0)
    assert put.cell_rate == pytest.approx(0.8 * FIELD.cell_rate)
    assert put.drive.slip == pytest.approx(0.2)
    slipping = FIELD.replace(drive__slip=0.1)
    assert LIBRARY["drive"].put(slipping, 1.0).drive.slip == pytest.approx(1 - 0.9 * 0.8)


def test_a_gauge_that_reads_too_much_keeps_its_reading():
    """Without a fan in the scenario, vacuum times what the gauge shows is what was set."""
    put = LIBRARY["gauge"].put(FIELD, 0.3)
    reading = put.vacuum.vacuum * (1 + put.hoses.gauge_error)
    assert reading == pytest.approx(FIELD.vacuum.vacuum, rel=1e-5)
    fan = FIELD.replace(fan__shut_off=9e3)
    assert LIBRARY["gauge"].put(fan, 0.3).vacuum == fan.vacuum  # it is set by the gauge


def test_what_is_worn_already_gets_no_better():
    worn = FIELD.replace(tube__tube_wear=0.9)
    assert LIBRARY["tube worn"].put(worn, 0.0).tube.tube_wear == 0.9
    assert LIBRARY["tube worn"].put(FIELD, 0.0).tube.tube_wear == pytest.approx(0.3)
    assert at("tube", "tube_wear", 0.5, 0.1)(worn, 0.0) == ("tube.tube_wear=0.5",)


def test_changes_stay_within_the_allowed_range():
    assert stated("vacuum", "vacuum", 1e9) == "vacuum.vacuum_kpa=15"
    assert stated("toolbar", "rows", 3.6) == "toolbar.rows=4"
    assert stated("disc", "plugged_holes", "3") == 'disc.plugged_holes="3"'
    assert times("vacuum", "vacuum", 0.5, 0.25)(FIELD, 1.0) == ("vacuum.vacuum_kpa=1",)
    assert between(0.5, 2, 4) == 3


def test_a_fault_has_its_caution_from_its_state():
    one = LIBRARY["hose leak"]
    bare = MeterFault(
        **{name: value for name, value in vars(one).items() if name != "caution"},
    )
    assert bare.caution == CAUTIONS[LOCKED]


@pytest.mark.parametrize("rows", ["all", "5-8", "2 7", "3", "1-7", "1-3", "2-8"])
def test_idle_rows_are_some_that_worked_before(rows):
    """Rows that never worked do not begin to, and the row that is looked at goes on working."""
    around = ["rows=8", "shut_off_kpa=8", "free_flow_m3_h=900", f'working="{rows}"']
    machine = m.load_scenario("maize_field", around)
    parked = []
    for severity in EVERY:
        left = LIBRARY["idle rows"].put(machine, severity).working_rows
        assert set(left) <= set(machine.working_rows) and middle_row(machine) in left
        parked.append(len(machine.working_rows) - len(left))
    assert parked == sorted(parked)
    assert parked[-1] == len(machine.working_rows) // 2  # negative control: some stop
