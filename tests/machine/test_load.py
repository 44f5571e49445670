"""Load of the drive: torque to current and speed, what slows, what stalls, what is said of it."""

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.drive import electric_speed, oil_speed
from metersim.machine.gap import motor_current
from metersim.machine.load import speed_kept, turning_of
from metersim.machine.stations import stations_of
from tests.strategies import BENCH

TIGHT = {"gap__running_gap": 1e-4}  # rubs all round
USUAL = {"gap__running_gap": 5e-4}
WIDE = {"gap__running_gap": 9e-4}  # leaks
OIL = {"drive__kind": "oil"}


def slowed(**changes):
    """Speed of the drive of the bench with changes, over that of the bench."""
    scenario = BENCH.replace(**changes)
    return stations_of(scenario).drive.angular_speed / stations_of(BENCH).drive.angular_speed


def test_the_current_lies_on_the_line_through_idle_and_rating():
    assert motor_current(0.0, 4.0, 0.6) == 0.6 and motor_current(1.0, 4.0, 0.6) == 4.0
    assert motor_current(0.5, 4.0, 0.6) == pytest.approx(2.3)


def test_torque_is_the_sum_of_its_causes_and_lies_in_its_range():
    for changes in (TIGHT, USUAL, WIDE):
        turning = turning_of(BENCH.replace(**changes))
        assert turning.torque == pytest.approx(sum(turning.torques.values()), rel=1e-12)
        assert turning.torque_at("low") < turning.torque < turning.torque_at("high")
        assert turning.load == pytest.approx(turning.torque / 2.0, rel=1e-12)
        assert turning.current == pytest.approx(0.6 + turning.load * 3.4, rel=1e-12)


def test_only_an_electric_motor_has_a_current():
    assert turning_of(BENCH.replace(**USUAL, **OIL)).current is None
    assert turning_of(BENCH.replace(**USUAL, drive__kind="ground")).current is None


def test_more_vacuum_takes_more_current():
    """Until the disc stands free of its lip, it is drawn in and pressed on harder."""
    currents = [
        turning_of(BENCH.replace(**USUAL, vacuum__vacuum=one)).current
        for one in np.linspace(1e3, 10e3, 10)
    ]
    assert np.all(np.diff(currents) > 0)


# ---------------------------------------------------------------- speed


def test_an_oil_motor_loses_its_droop_at_its_rated_torque():
    assert oil_speed(1.0, 0.08) == 0.92 and oil_speed(0.0, 0.5) == 1
    assert np.diff(oil_speed(np.linspace(0, 2, 5), 0.1)) == pytest.approx(-0.05)


@pytest.mark.parametrize("changes", [{}, USUAL, TIGHT])
@pytest.mark.parametrize("droop", [0.0, 0.08, 0.5])
def test_an_oil_motor_slows_the_disc_in_proportion_to_torque(changes, droop):
    """With a running gap or without one; the spacing that is aimed at stays."""
    scenario = BENCH.replace(**changes, **OIL, drive__oil_droop=droop)
    load = turning_of(scenario).load
    assert slowed(**changes, **OIL, drive__oil_droop=droop) == pytest.approx(
        1 - droop * load, rel=1e-12
    )
    assert 0.2 < load < 0.9
    assert scenario.spacing == BENCH.spacing
    assert scenario.angular_speed == BENCH.angular_speed


def test_an_electric_motor_holds_its_speed_up_to_its_rating():
    """Beyond it the power stays: torque times speed is that of the rating."""
    load = np.array([0.0, 0.3, 1.0, 1.5, 4.0])
    assert electric_speed(load).tolist() == [1, 1, 1, 1 / 1.5, 0.25]
    assert slowed(**TIGHT) == slowed(**USUAL) == 1
    weak = {**TIGHT, "gap__rated_torque": 1.0}
    assert slowed(**weak) * turning_of(BENCH.replace(**weak)).torque == pytest.approx(1.0)
    assert slowed(**weak, drive__kind="ground") == 1


def test_without_a_running_gap_no_electric_motor_is_slowed():
    assert slowed(gap__rated_torque=0.05) == 1 == speed_kept(BENCH)
    assert slowed(**USUAL, gap__rated_torque=0.3) < 1  # control


def test_a_motor_that_would_stall_is_refused():
    with pytest.raises(BadInput, match=r"rated_torque_n_m: turning the disc takes 1\.6\d N m"):
        BENCH.replace(**TIGHT, gap__rated_torque=0.1)
    with pytest.raises(BadInput, match="stalls"):
        BENCH.replace(**TIGHT, **OIL, drive__oil_droop=0.6, gap__rated_torque=1.0)
    BENCH.replace(**TIGHT, gap__rated_torque=0.2)


def test_a_motor_without_load_takes_less_than_at_its_rating():
    with pytest.raises(BadInput, match="idle_current_a"):
        BENCH.replace(**USUAL, gap__idle_current=4.0)
    BENCH.replace(gap__idle_current=4.0)  # of no account without a running gap


# ---------------------------------------------------------------- warnings


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (TIGHT, ["rubs on its seal all round"]),
        ({"gap__running_gap": 3e-4}, ["rubs on its seal once a turn"]),
        (USUAL, []),
        ({"gap__running_gap": 7.5e-4}, ["leaks once a turn", "of the vacuum is lost"]),
        ({"gap__running_gap": 2e-3}, ["leaks all round"]),
        ({**USUAL, "gap__rated_torque": 0.3}, ["143 % of what its motor is rated", "slower"]),
        ({**USUAL, "gap__rated_torque": 0.3, "drive__kind": "ground"}, []),
        ({**USUAL, **OIL}, ["1.7 % slower than meant"]),
        (OIL, ["1.7 % slower than meant"]),
        ({"gap__rated_torque": 0.05}, []),
    ],
)
def test_what_is_wrong_is_said(changes, words):
    usual = set(BENCH.warnings())
    said = [line for line in BENCH.replace(**changes).warnings() if line not in usual]
    assert bool(said) == bool(words)
    assert all(any(word in line for line in said) for word in words), said


def test_warnings_speak_the_units_of_the_reader():
    (line,) = set(BENCH.replace(**TIGHT).warnings("us")) - set(BENCH.warnings("us"))
    assert "0.0039 in at rest" in line and "in by 0.011 in" in line


def test_with_a_fan_no_loss_of_vacuum_is_claimed():
    lines = " ".join(BENCH.replace(**WIDE, fan__shut_off=8e3).warnings())
    assert "leaks" in lines and "is lost" not in lines
