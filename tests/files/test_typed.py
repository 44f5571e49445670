"""Quantities as people type them."""

import pytest

from metersim.files.fields import specs
from metersim.files.typed import spelled, typed_for, typed_quantity
from metersim.files.units import UNITS, hole_text
from metersim.machine.changes import plain_change
from metersim.machine.sections import Demand


@pytest.mark.parametrize(
    ("word", "value", "unit"),
    [
        ("5", 5, None),
        ("5mph", 5, "mph"),
        ("3/16in", 0.1875, "in"),
        ("6 1/2", 6.5, None),
        ('6-1/2"', 6.5, "in"),
        ("34000/acre", 34_000, "per_acre"),
        ("80000 per ha", 80_000, "per_ha"),
        ("16 inH2O", 16, "inh2o"),
        ("-1/2", -0.5, None),
        ("1e3 mm", 1000, "mm"),
    ],
)
def test_a_number_a_fraction_or_both_with_or_without_a_unit(word, value, unit):
    assert typed_quantity(word) == (value, UNITS[unit] if unit else None)


@pytest.mark.parametrize("word", ["", "mph", "5 furlongs", "1/0", "34,000", "nan", "6 1", "1//2"])
def test_what_is_no_quantity_is_refused(word):
    assert typed_quantity(word) is None


@pytest.mark.parametrize("unit", UNITS.values(), ids=list(UNITS))
def test_every_unit_is_read_by_its_symbol_and_its_suffix(unit):
    assert spelled(unit.symbol) == spelled(unit.suffix) == unit


def test_a_typed_unit_comes_before_that_of_the_reader():
    speed = specs(Demand)["speed"]
    assert typed_for("5", speed, "us") == (5, UNITS["mph"])
    assert typed_for("5", speed, "metric") == (5, UNITS["kmh"])
    assert typed_for("8 km/h", speed, "us") == (8, UNITS["kmh"])
    assert typed_for("5 in", speed, "us") is None


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("speed=5mph", "speed_mph=5"),
        ("demand.speed_kmh=10 m/s", "demand.speed_kmh=36"),
        ("hole_diameter=3/16in", "hole_diameter_in=0.1875"),
        ("circle_radius=10cm", "circle_radius_mm=100"),
        ("speed=4mph:8mph:5", "speed_mph=4:8:5"),
        ("vacuum=3:4kPa", "vacuum_kpa=3:4"),
        ("notch=1/2", "notch=0.5"),
        ("vacuum_kpa=3:4:5", "vacuum_kpa=3:4:5"),
        ("speed=5", "speed=5"),
        ("speed=5in", "speed=5in"),
        ("notch=1mm", "notch=1mm"),
        ("vacuum_kpa={low=3,high=4}", "vacuum_kpa={low=3,high=4}"),
        ("lot=corn", "lot=corn"),
    ],
)
def test_a_change_is_what_a_file_would_state(typed, plain):
    assert plain_change(typed) == plain


def test_a_hole_is_said_in_both_units_the_readers_first():
    assert hole_text(4.5e-3) == "4.5 mm (0.177 in)"
    assert hole_text(4.7625e-3, "us") == "0.1875 in (4.76 mm)"
