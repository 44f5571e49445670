"""Demand: rate, row spacing and speed against published tables."""

import math

import pytest

from metersim.files.units import ACRE, INCH, MILE
from metersim.machine import drive as demand

FOOT = 12 * INCH


@pytest.mark.parametrize(
    ("row_inches", "feet", "inches"),
    # extension tables of Tennessee and Manitoba, read; they print whole inches
    [(15, 34, 10), (20, 26, 2), (22, 23, 9), (30, 17, 5), (36, 14, 6), (38, 13, 9)],
)
def test_row_of_a_thousandth_acre(row_inches, feet, inches):
    """As many seeds as a thousandth of the rate lie in the published length of row."""
    rate = 32_000 / ACRE
    row = 32 * demand.nominal_spacing(rate, row_inches * INCH)
    assert row == pytest.approx(522.72 / row_inches * FOOT)  # derived, exact
    assert row / INCH == pytest.approx(12 * feet + inches, abs=0.5)


def test_a_misprinted_row_length_is_told_apart():
    """One published table prints 13.2 ft for 40 in rows; exact is 13.068 ft (derived)."""
    row = 32 * demand.nominal_spacing(32_000 / ACRE, 40 * INCH)
    assert row / FOOT == pytest.approx(13.068)
    assert row / FOOT != pytest.approx(13.2, abs=0.1)


@pytest.mark.parametrize(
    ("per_acre", "row_inches", "spacing_inches"),
    # purdue_corn, read; printed to a tenth of an inch
    [
        (30_000, 30, 7.0),
        (32_000, 30, 6.5),
        (34_000, 30, 6.1),
        (32_000, 20, 9.8),
        (32_000, 15, 13.1),
    ],
)
def test_spacing_in_the_row(per_acre, row_inches, spacing_inches):
    """Nominal spacing rounds to what the guide prints."""
    spacing = demand.nominal_spacing(per_acre / ACRE, row_inches * INCH)
    assert spacing / INCH == pytest.approx(spacing_inches, abs=0.05)


def test_textbook_disc():
    """24 cells at 18 rev/min and 1.5 m/s: 7.2 seeds/s, 208.3 mm apart (textbook item, read)."""
    spacing = 0.2083
    rate = demand.cell_rate(1.5, spacing)
    assert rate == pytest.approx(7.2, rel=1e-3)
    assert demand.disc_speed(rate, 24) / (2 * math.pi) * 60 == pytest.approx(18, rel=1e-3)


def test_seeds_a_second_at_5_mph():
    """32,000 per acre in 30 in rows at 5 mph ask for 13.468 seeds/s (derived)."""
    spacing = demand.nominal_spacing(32_000 / ACRE, 30 * INCH)
    assert demand.cell_rate(5 * MILE / 3600, spacing) == pytest.approx(13.468, abs=5e-4)


@pytest.mark.parametrize(("cells", "peripheral"), [(18, 0.223), (44, 0.091)])
def test_peripheral_speed_of_a_published_stand(cells, peripheral):
    """Both discs of banaj2022 (read) at 6 km/h and 20.993 cm fit one circle, 0.161 m wide.

    The width of the circle is derived from the first disc; the second is then a check.
    """
    turning = demand.disc_speed(demand.cell_rate(6 / 3.6, 0.20993), cells)
    assert demand.peripheral_speed(turning, 0.161 / 2) == pytest.approx(peripheral, abs=5e-4)


def test_rate_is_met():
    """Seeds per row length over row spacing give back the rate."""
    rate, row_spacing, speed = 7.9, 0.75, 1.9
    spacing = demand.nominal_spacing(rate, row_spacing)
    sown_each_second = demand.cell_rate(speed, spacing)
    assert sown_each_second / (speed * row_spacing) == pytest.approx(rate)
