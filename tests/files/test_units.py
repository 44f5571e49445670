"""Units: exact factors, round trips, and keys that name one field with one unit."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files import units
from metersim.files.fields import keys_of, specs
from metersim.files.units import UNITS, sentence_number
from metersim.machine.sections import SECTIONS


@pytest.mark.parametrize(
    ("suffix", "number", "si"),
    # exact by the definitions of 1959 unless marked
    [
        ("in", 1, 0.0254),
        ("ft", 1, 0.3048),
        ("mm", 25.4, 0.0254),
        ("mph", 1, 0.44704),
        ("mph", 5, 2.2352),
        ("kmh", 3.6, 1.0),
        ("lb", 1, 0.45359237),
        ("inh2o", 1, 249.08891),  # NIST SP 811, from memory
        ("inh2o", 16, 3985.4226),  # derived from it
        ("per_acre", 43_560, 1 / 0.3048**2),  # a seed on each square foot
        ("per_acre", 32_000, 7.907372),  # derived
        ("per_ha", 80_000, 8.0),
        ("deg", 180, math.pi),
        ("percent", 12.5, 0.125),
        ("g_per_m_s", 1, 9.80665),  # CGPM 1901
        ("mg", 1e6, 1.0),
        ("g", 1e3, 1.0),
        ("bu_acre", 1, 56 * 0.45359237 / 4046.8564224),  # a bushel of maize is 56 lb
        ("bu_acre", 159.3177, 1.0),  # 10 t/ha
        ("lb_bu", 1, 0.45359237 / (2150.42 * 0.0254**3)),  # a bushel in cubic inches
        ("t_ha", 10, 1.0),
    ],
)
def test_factors(suffix, number, si):
    """A number of that unit has the SI value that its definition gives."""
    assert UNITS[suffix].to_si(number) == pytest.approx(si, rel=1e-7)


@given(unit=st.sampled_from(list(UNITS.values())), number=st.floats(-1e9, 1e9))
def test_there_and_back(unit, number):
    """To SI and back is the same number but for rounding."""
    assert unit.from_si(unit.to_si(number)) == pytest.approx(
        number, rel=1e-15, abs=1e-300 + 1e-15 * abs(unit.zero / unit.factor)
    )


@pytest.mark.parametrize("suffix", UNITS)
def test_a_unit_is_filed_under_its_suffix(suffix):
    """Suffix, factor and family are those of a usable unit."""
    unit = UNITS[suffix]
    assert unit.suffix == suffix
    assert suffix == suffix.lower()
    assert math.isfinite(unit.factor)
    assert unit.factor > 0
    assert unit.symbol and unit.si
    assert unit.family in ("metric", "us", "both")


def test_no_two_units_look_alike():
    """Symbols tell units apart, and units of one SI unit differ in their factor."""
    assert len({unit.symbol for unit in UNITS.values()}) == len(UNITS)
    assert len({(unit.si, unit.factor) for unit in UNITS.values()}) == len(UNITS)


def test_quantities_of_us_users_have_a_metric_twin():
    """Each unit of US customary use converts to a metric one of the same kind."""
    for unit in UNITS.values():
        if unit.family == "us":
            assert any(u.si == unit.si and u.family != "us" for u in UNITS.values()), unit


@pytest.mark.parametrize("section", SECTIONS)
def test_a_key_names_one_field_with_one_unit(section):
    """No two fields of a section can be meant by one key."""
    declared = specs(SECTIONS[section])
    keys = [key for spec in declared.values() for key in spec.keys]
    assert len(set(keys)) == len(keys)
    for key, spec in keys_of(declared).items():
        unit = spec.keys[key]
        assert key == (spec.name if unit is None else f"{spec.name}_{unit.suffix}")


@pytest.mark.parametrize("section", SECTIONS)
def test_units_of_a_field_measure_one_thing(section):
    """All units that a field accepts have the same SI unit."""
    for spec in specs(SECTIONS[section]).values():
        assert len({unit.si for unit in spec.units}) <= 1, spec.name


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.1, "0.1"), (12.0, "12"), (1 / 3, "0.3333"), (123456.0, "123,456"), (2.50, "2.5")],
)
def test_numbers_in_sentences(value, text):
    """At most four digits, no trailing zeros."""
    assert sentence_number(value) == text


def test_digits_of_a_sentence_can_be_chosen():
    """Six digits when six are asked for."""
    assert sentence_number(1 / 3, 6) == "0.333333"


def test_constants_are_the_defined_ones():
    """Mile, acre, hectare and standard gravity by their definitions."""
    assert pytest.approx(5280 * 12 * units.INCH) == units.MILE
    assert pytest.approx(units.MILE**2 / 640) == units.ACRE
    assert units.HECTARE == 100**2
    assert units.STANDARD_GRAVITY == 9.80665
