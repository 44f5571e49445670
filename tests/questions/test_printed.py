"""Printed text: in the units that were asked for, throughout."""

import re

import pytest

pytestmark = pytest.mark.usefixtures("folder")

METRIC = re.compile(r"\d (mm(?!\))|cm|m/s|km/h|kPa|kg/m3|per ha)\b|seeds a kg")  # but of holes
FAST = ("maize_field", "--turns", "5", "--set", "speed_kmh=11")  # with notes that hold speeds
SHORT = ("maize_field", "--cells", "1000", "--set", "speed_kmh=11")
LOT = ("lot", "--like", "maize_large_flat", "--out", "own.toml")
COMMANDS = {
    "run": ("run", *FAST),
    "explain": ("explain", *FAST),
    "compare": ("compare", *FAST, "--vary", "notch=0,1"),
    "sweep": ("sweep", *FAST, "--vary", "notch=0,1", "--out", "rows.csv", "--resume"),
    "steps": ("steps", *SHORT),
    "howmany": ("howmany", *SHORT, "--step", "vacuum=-1"),
    "lot": (*LOT, "--seeds-per-kg", "3600"),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_us_units_leave_no_metric_one(command, done):
    assert not METRIC.search(done(*COMMANDS[command], "--units", "us"))
    assert METRIC.search(done(*COMMANDS[command]))  # negative control


@pytest.mark.parametrize("command", ["run", "explain", "compare", "lot"])
def test_a_report_below_an_answer_has_one_family_of_units_too(command, done):
    assert not METRIC.search(done(*COMMANDS[command], "--units", "us", "--details"))
    assert METRIC.search(done(*COMMANDS[command], "--details"))  # negative control


ANSWERS = {  # what the first three lines of a command say
    "run": r"of 100 spacings are normal",
    "explain": r"times the need of the mean seed",
    "compare": r"^Notch 0 to 1: normal spacings",
    "lot": r"^The lot is written to own.toml\. It has 3,600 seeds a kg",
}


@pytest.mark.parametrize("command", ANSWERS)
def test_an_answer_stands_first_and_fits_a_terminal(command, done):
    text = done(*COMMANDS[command])
    lines = text.rstrip("\n").split("\n")
    assert re.search(ANSWERS[command], "\n".join(lines[:3]), re.MULTILINE)
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert lines[-1].startswith("More: --details shows ")
    assert not re.search(r"\b(luck|tells?|told|singles|not known|limits?)\b", text)
    details = done(*COMMANDS[command], "--details")
    assert details.startswith("\n".join(lines[:3])) and len(details) > len(text)


def test_a_lot_is_printed_in_the_units_of_its_label(done):
    """1600 seeds a pound are 3527 a kilogram; the label decides, unless units are asked for."""
    label = (*LOT, "--seeds-per-lb", "1600")
    told = done(*label)
    assert "1,600 seeds a lb" in told and not METRIC.search(told)
    assert "3,527 seeds a kg" in done(*label, "--units", "metric")


def test_the_speed_of_the_holes_is_printed_in_feet(done):
    """0.3048 m/s are a foot a second, exactly."""
    speeds = []
    for units, symbol in (("metric", "m/s"), ("us", "ft/s")):
        told = done("explain", "maize_field", "--units", units, "--details")
        (speed,) = set(re.findall(rf"holes at ([\d.]+) {symbol}", told))
        speeds.append(float(speed))
    assert speeds[0] / speeds[1] == pytest.approx(0.3048, rel=5e-3)
