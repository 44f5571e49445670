"""A machine of several rows: both engines, the air that they share, and the pass."""

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.airline import chamber_vacuum
from metersim.machine.changes import KEYS, SHARED
from metersim.machine.given import scenario_of
from metersim.machine.reading import load_scenario
from metersim.machine.rows import row_scenario
from metersim.questions.shared.notes import vacuum_text
from metersim.run.meter import Meter
from metersim.run.toolbar import simulate_pass

AROUND = ("rows=4", "working=1-3", "shut_off_kpa=8", "free_flow_m3_h=700", "turns=6")


def machine(*changes, name="maize_field"):
    """A machine of four rows, one of them parked."""
    return load_scenario(name, [*AROUND, *changes])


KINDS = {
    "filled": (),
    "from rest": ("start=empty", "start_ramp_s=2"),
    "unsealed": ("parked=open", "set_when=sound", "start=empty"),
    "speeding up": ("speeds=0 s 2 km/h, 5 s 9 km/h", "start=empty"),
    "off and on": ("off=3 s to 5 s", "rates=4 m 90000/ha"),
    "curve": ("curve_radius_m=15", "follows_curve=false"),
    "rows that differ": ("rows.2=notch=2; cells=40", "rows.3=seal_wear=0.8; plugged_holes=2 9"),
    "rows that end early": ("curve_radius_m=4", "row_spacing_cm=75", "rows.2=cells=12"),
    "coarse ticks": ("air_tick_s=1.5", "start=empty"),
    "narrow hoses": ("hose_diameter_mm=15", "pipe_diameter_mm=40", "vacuum_kpa=2"),
}


def unlike(one, other):
    """What differs between two passes: rows with other outcomes, and the largest other numbers."""
    found = []
    for mine, theirs in zip(one.rows, other.rows, strict=True):
        for name, column in vars(mine.run.cells).items():
            if not np.array_equal(column, getattr(theirs.run.cells, name)):
                found.append((mine.number, name))
        if len(mine.run.seeds) != len(theirs.run.seeds):
            found.append((mine.number, "seeds"))
        elif not np.allclose(
            mine.run.seeds.position, theirs.run.seeds.position, rtol=1e-9, atol=1e-9
        ):
            found.append((mine.number, "position"))
    for name in ("vacuum", "reading", "flow"):
        if not np.allclose(getattr(one.air, name), getattr(other.air, name), rtol=1e-9):
            found.append(("air", name))
    return found


@pytest.mark.slow
@pytest.mark.parametrize("changes", KINDS.values(), ids=KINDS)
def test_both_engines_leave_the_same_pass(changes):
    """Discrete outcomes are identical, numbers agree to 1e-9."""
    scenario = machine(*changes)
    assert unlike(simulate_pass(scenario), simulate_pass(scenario, engine="events")) == []


BROKEN = {
    "an open hole": ("count_open", lambda self, holes, is_open: None),
    "a breath": ("breathe", lambda self, vacuum: None),
}


@pytest.mark.parametrize(("name", "rule"), BROKEN.values(), ids=BROKEN)
def test_a_rule_that_the_events_break_is_noticed(name, rule, monkeypatch):
    """Negative control of the test above."""
    scenario = machine("start=empty")
    right = simulate_pass(scenario)
    monkeypatch.setattr(Meter, name, rule)
    assert unlike(right, simulate_pass(scenario, engine="events"))


def test_a_pass_repeats_and_other_seeds_are_others():
    """Same seed, same records; seed 0 is a seed."""
    scenario = machine()
    assert unlike(simulate_pass(scenario, seed=0), simulate_pass(scenario, seed=0)) == []
    assert unlike(simulate_pass(scenario, seed=0), simulate_pass(scenario, seed=1))


def test_rows_have_draws_of_their_own():
    """Three rows of one setting leave three different rows of seeds."""
    rows = simulate_pass(machine("edge_spread_mm=0", "loss_spread_percent=0")).rows
    joined = [row.run.cells.joined for row in rows]
    assert not any(np.array_equal(joined[k], joined[k - 1]) for k in range(3))


def test_unsealed_idle_rows_rob_the_others():
    """model: all rows have less vacuum, in the order of the leak; sealed ones take nothing.

    common practice, no source: parked rows are sealed so that the working rows keep their vacuum.
    """
    kept = simulate_pass(machine("set_when=sound")).air.vacuum[:3]
    robbed = simulate_pass(machine("set_when=sound", "parked=open")).air.vacuum[:3]
    assert (robbed.mean(axis=1) < 0.97 * kept.mean(axis=1)).all()


def test_the_start_from_rest_is_the_hard_moment():
    """Every cell is open at first; once discs are full the vacuum is that of a filled start."""
    empty = simulate_pass(machine("start=empty", "set_when=sound")).air.vacuum
    filled = simulate_pass(machine("set_when=sound")).air.vacuum
    assert (empty[:, 0] < 0.92 * filled[:, 0]).all()
    assert empty[:, -1] == pytest.approx(filled[:, -1], rel=0.01)


def test_seeds_are_conserved_in_every_row():
    """Seeds that joined are lost or released; released seeds lie on the ground."""
    for row in simulate_pass(machine("start=empty", "notch=2")).rows:
        cells = row.run.cells
        lost = cells.knocked + cells.swept + cells.shaken
        assert (cells.joined == lost + cells.released).all()
        assert cells.released.sum() == len(row.run.seeds)


def test_outer_rows_of_a_curve_lay_fewer_seeds_unless_the_drive_follows():
    """closed form: places on an area go with 1 over the row's speed."""
    for follows, power in (("true", 0), ("false", 1)):
        scenario = machine("curve_radius_m=15", f"follows_curve={follows}")
        middle = scenario.demand.rate
        for number in (1, 4):
            row = row_scenario(scenario, number)
            aside = (number - 2.5) * scenario.demand.row_spacing
            factor = 1 + aside / 15
            assert row.demand.speed == pytest.approx(scenario.demand.speed * factor)
            assert row.demand.rate == pytest.approx(middle / factor**power)


def test_a_fan_that_is_too_weak_is_one_clear_fault():
    """It says what the gauge reads at most, and what to do."""
    with pytest.raises(BadInput, match=r"fan.shut_off_kpa: at full speed.*the gauge reads"):
        simulate_pass(machine("shut_off_kpa=3.5"))


def test_a_meter_alone_is_no_machine():
    """The entry says which other one to use."""
    with pytest.raises(ValueError, match="no fan"):
        simulate_pass("maize_bench")


@pytest.mark.parametrize(
    "change",
    ["vacuum_kpa=2", "speed=9 km/h", "row_spacing_cm=70", "seal_leak_mm2=800", "shut_off_kpa=4"],
)
@pytest.mark.parametrize("already_made", [False, True])
def test_a_row_cannot_change_what_all_rows_share(change, already_made):
    """It is refused, since a pass takes it from the machine; other changes are taken."""
    made = (lambda one: scenario_of(machine(), [one])) if already_made else machine
    with pytest.raises(BadInput, match=r"rows.2: .* is the same for all rows"):
        made(f"rows.2=notch=1; {change}")
    assert made("rows.2=notch=1; off=4 m to 9 m").rows  # negative control


def test_shared_fields_are_fields_of_a_scenario():
    """A misspelt name would refuse nothing."""
    for section, names in SHARED.items():
        known = {spec.name for spec in KEYS[section].values()}
        assert known and set(names or ()) <= known


def test_changes_of_rows_are_checked_where_a_scenario_is_changed():
    """A row that there is not, a value that contradicts others, and fewer rows than before."""
    for change in ("rows.9=notch=1", "rows.2=notch=9", "rows.2=nonsense=1"):
        with pytest.raises(BadInput, match=change[:6]):
            scenario_of(machine(), [change])
    with pytest.raises(BadInput, match="machine has rows 1 to 3"):
        scenario_of(machine("rows.4=notch=1"), ["rows=3"])
    assert scenario_of(machine("rows.3=notch=1"), ["rows=3"]).rows


def test_a_machine_that_is_taken_as_one_row_says_that_changes_of_rows_are_left_out():
    """What they do to the air counts, and nothing else of them."""
    plain, leaking = machine(), machine("rows.2=seal_wear=1")
    assert chamber_vacuum(leaking) < chamber_vacuum(plain)
    assert "without the changes of single rows" in vacuum_text(leaking)
    for one in (plain, row_scenario(leaking, 2)):  # negative control
        assert "without" not in vacuum_text(one)


def test_the_air_goes_on_until_the_last_row_ends():
    """A row that has ended keeps its disc as it was, and the others breathe on."""
    alike = {"edge_spread_mm=0", "loss_spread_percent=0", "seal_spread_percent=0"}
    done = simulate_pass(machine(*alike, "rows.2=cells=10", "turns=12"))
    ends = [row.run.ticks.time[-1] for row in done.rows]
    air = done.air
    assert ends[1] < 0.5 * max(ends) and air.time[-1] > 0.9 * max(ends)
    later = air.vacuum[:, air.time > ends[1]]
    assert (np.ptp(later[:3], axis=1) > 0).all()
    assert later.mean() == pytest.approx(air.vacuum[:, air.time <= ends[1]].mean(), rel=0.01)


def test_a_pass_of_a_day_on_fine_ticks_is_refused():
    """Its memory would be that of the machine."""
    with pytest.raises(BadInput, match=r"travel.air_tick_s: 0.02 s is too short for a pass of"):
        simulate_pass(machine("off=0 s to 86400 s", "air_tick_s=0.02"))
