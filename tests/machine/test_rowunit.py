"""Row unit: the size of its shaking at all times, and the band it fills."""

import numpy as np
import pytest
from scipy.stats import kstest

from metersim.machine import rowunit

DRAWS = 100_000


def knot_draws(seed=11):
    """Envelopes at the knots before and after, and phases there."""
    rng = np.random.default_rng(seed)
    return *rowunit.envelope(rng.exponential(size=(2, DRAWS))), *rng.random((2, DRAWS))


def variance_z(values):
    """Distance of the mean square from 1, in its standard error for normal values."""
    return (np.mean(values**2) - 1) / np.sqrt(2 / len(values))


def band_share(low, high, interval):
    """Share of the shaking's mean energy between two frequencies.

    The signal is linear in its independent knots, so the mean spectrum is that of the answers
    to one knot of each part of the envelope, without chance.
    """
    step = interval / 50
    time = 4 * interval + np.arange(-50, 50) * step
    rising = (np.arange(100) < 50).astype(float)
    falling = 1 - rising
    answers = [rowunit.shaking(time, falling, rising, phase, phase) for phase in (0, 0.25)]
    energy = sum(np.abs(np.fft.rfft(answer, 1 << 15)) ** 2 for answer in answers)
    frequency = np.fft.rfftfreq(1 << 15, step)
    return energy[(frequency >= low) & (frequency <= high)].sum() / energy.sum()


def test_the_envelope_has_two_normal_parts():
    """Its cosine part is standard normal; with a phase of half a turn only, it is not."""
    size, _, phase, _ = knot_draws()
    assert kstest(size * np.cos(2 * np.pi * phase), "norm").pvalue > 6e-5
    assert kstest(size * np.cos(np.pi * phase / 2), "norm").pvalue < 6e-5


@pytest.mark.parametrize("part", [0.0, 0.13, 0.5, 0.77, 0.999])
@pytest.mark.parametrize("knot", [0, 3, 1000])
def test_unit_variance_at_all_times(part, knot):
    """At a knot, between knots and long after the start the mean square is 1."""
    time = (knot + part) * rowunit.KNOT_INTERVAL
    assert abs(variance_z(rowunit.shaking(time, *knot_draws()))) < 4


def test_a_plain_linear_envelope_would_be_too_quiet_between_knots():
    """Negative control: the check of the variance sees an envelope that is not rescaled."""
    before, after, phase_before, phase_after = knot_draws()
    here, there = before * np.cos(2 * np.pi * phase_before), after * np.cos(2 * np.pi * phase_after)
    assert variance_z((here + there) / 2) < -100  # variance 0.5 half way


def test_no_jump_at_a_knot():
    """The signal just before a knot and just after it are the same."""
    size, phase = np.random.default_rng(5).random((2, 3))
    time, step = 8 * rowunit.KNOT_INTERVAL, 1e-9
    before = rowunit.shaking(time - step, size[0], size[1], phase[0], phase[1])
    after = rowunit.shaking(time + step, size[1], size[2], phase[1], phase[2])
    assert before == pytest.approx(after, abs=1e-5)


def test_energy_lies_mainly_in_10_to_50_hz():
    """Row-unit energy lies mainly at 10 to 50 Hz (gao2024, read)."""
    share = band_share(10, 50, rowunit.KNOT_INTERVAL)
    assert share > 0.9  # 'mainly' would allow less


def test_a_hasty_envelope_leaves_the_band(monkeypatch):
    """Negative control: knots four times as often spread the energy beyond the band."""
    monkeypatch.setattr(rowunit, "KNOT_INTERVAL", rowunit.KNOT_INTERVAL / 4)
    assert band_share(10, 50, rowunit.KNOT_INTERVAL) < 0.75


def test_shocks_are_linear_in_speed():
    """Twice the speed, twice the shaking, none at rest (field studies find it linear)."""
    assert rowunit.shock_sd(0.0, 1.0) == 0
    assert rowunit.shock_sd(4.0, 0.98) == pytest.approx(2 * rowunit.shock_sd(2.0, 0.98))


def test_speed_of_harmonic_motion():
    """The speed that a steady shaking at the carrier reaches, from its integral."""
    amplitude = 5.0
    quarter = np.linspace(0, np.pi / 2 / rowunit.CARRIER, 20_001)
    reached = np.trapezoid(amplitude * np.cos(rowunit.CARRIER * quarter), quarter)
    assert rowunit.vertical_speed(amplitude) == pytest.approx(reached, rel=1e-6)
