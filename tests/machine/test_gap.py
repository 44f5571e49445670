"""Running gap: closed forms against numbers, limits, signs, and what the trade says."""

import dataclasses

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.assumed import TurningCoefficients
from metersim.machine.gap import (
    allowed_leak,
    contact_force,
    drawn_gap,
    leak_area,
    mean_excess,
    share_above,
    vacuum_left,
)
from metersim.machine.reading import load_scenario
from metersim.machine.turning import (
    FINE,
    LEAKS,
    gap_leak,
    gap_of,
    gap_range,
    vacuum_past_gap,
)
from tests.strategies import BENCH

TURN = (np.arange(400_000) + 0.5) / 400_000 * 2 * np.pi
LEVELS = (-3e-4, -2e-4, -1.3e-4, -1e-6, 0.0, 5e-5, 1.99e-4, 2e-4, 4e-4)
WOBBLES = (0.0, 1e-5, 2e-4)
VACUUM = 4e3


def gapped(gap, **changes):
    """The bench with a running gap [m]."""
    return BENCH.replace(gap__running_gap=gap, **changes)


# ---------------------------------------------------------------- one turn


@pytest.mark.parametrize("wobble", WOBBLES)
@pytest.mark.parametrize("level", LEVELS)
def test_means_over_a_turn_are_those_of_many_angles(level, wobble):
    """Within the error of the sum of many angles."""
    sine = level + wobble * np.cos(TURN)
    mean = float(mean_excess(level, wobble))
    assert mean == pytest.approx(np.maximum(sine, 0).mean(), rel=1e-8, abs=1e-14)
    if abs(level) != wobble:
        assert share_above(level, wobble) == pytest.approx((sine > 0).mean(), abs=1e-5)


def test_the_share_is_the_slope_of_the_mean():
    level, step = np.linspace(-1.9e-4, 1.9e-4, 201), 1e-9
    slope = (mean_excess(level + step, 2e-4) - mean_excess(level - step, 2e-4)) / (2 * step)
    assert slope == pytest.approx(share_above(level, 2e-4), abs=1e-5)


def test_what_is_below_and_above_add_up_to_the_level():
    """Conservation: the mean of a sine is its level."""
    level = np.linspace(-5e-4, 5e-4, 101)
    assert mean_excess(level, 2e-4) - mean_excess(-level, 2e-4) == pytest.approx(level, abs=1e-18)
    assert share_above(level, 2e-4) + share_above(-level, 2e-4) == pytest.approx(1.0)


def test_a_disc_that_lies_on_all_round_bears_the_pull_less_that_of_its_hub():
    area, stiffness, gap = 0.014, 2e5, 1e-4
    mean = drawn_gap(VACUUM, gap, area, stiffness)
    force = contact_force(mean, 1e-4, stiffness)
    assert force == pytest.approx(VACUUM * area - stiffness * gap, rel=1e-12)
    free = drawn_gap(VACUUM, 5e-4, area, stiffness)
    assert contact_force(free, 1e-4, stiffness) == 0


def test_a_wide_gap_leaks_along_the_whole_seal():
    """Run-out then leaves the mean as it is, and a lip takes its reach off."""
    assert leak_area(1e-3, 1e-4, 4e-4, 2.5) == pytest.approx(2.5 * 6e-4, rel=1e-12)
    assert leak_area(1e-3, 0.0, 1e-3, 2.5) == 0
    assert leak_area(1e-3, 1e-4, 1e-3, 2.5) == pytest.approx(2.5 * 1e-4 / np.pi)


@pytest.mark.parametrize("line_loss", [0.05, 0.25, 1.0])
def test_the_vacuum_left_is_that_of_a_line_and_two_openings(line_loss):
    """Balance of pressures: source = chamber + loss, both losses as the square of flow."""
    own, leak, sound = 1.8e-4, 0.7e-4, 4e3
    through = np.sqrt(sound) * own  # flow, but for a factor that both states share
    line = line_loss * sound / through**2
    source = sound + line * through**2
    chamber = sound * vacuum_left(leak, own, line_loss)
    assert chamber + line * (np.sqrt(chamber) * (own + leak)) ** 2 == pytest.approx(source)
    assert vacuum_left(0.0, own, line_loss) == 1
    least = allowed_leak(own, line_loss, LEAKS)
    assert vacuum_left(least, own, line_loss) == pytest.approx(1 - LEAKS, rel=1e-12)


# ---------------------------------------------------------------- a meter


def test_the_usual_chamber_draws_the_disc_in_by_a_quarter_of_a_millimetre():
    """By hand: 11/6 pi 0.2 (0.11 m)^2 = 139.4 cm2, times 4 kPa, over 200 N/mm."""
    station = gap_of(gapped(5e-4))
    assert station.area == pytest.approx(139.38e-4, rel=1e-4)
    assert station.mean_gap(VACUUM) == pytest.approx(0.5e-3 - 0.27876e-3, rel=1e-4)
    assert station.least(VACUUM) == station.mean_gap(VACUUM) - 1e-4
    assert station.greatest(VACUUM) == station.mean_gap(VACUUM) + 1e-4


def test_more_vacuum_narrows_the_gap_and_takes_more_torque():
    station = gap_of(gapped(4.5e-4))
    vacuum = np.linspace(0, 12e3, 49)
    torque = np.array([station.torque(one) for one in vacuum])
    assert np.all(np.diff(station.mean_gap(vacuum)) < 0)
    assert np.all(np.diff(torque) > 0)
    assert np.all(np.diff(station.leak(vacuum)) <= 0) and np.all(
        np.diff(station.force(vacuum)) >= 0
    )
    assert station.force(vacuum[0]) == 0 < station.force(vacuum[-1])


def test_a_stiffer_hub_rubs_less():
    """Where the gap at rest is more than the run-out; otherwise it rubs harder (control)."""

    def rubs(gap, stiff):
        return np.array(
            [gap_of(gapped(gap, gap__stiffness=one)).torques(VACUUM)["rub"] for one in stiff]
        )

    assert np.all(np.diff(rubs(1.5e-4, np.linspace(5e4, 5e5, 10))) < 0)
    assert np.all(np.diff(rubs(1e-5, np.linspace(1e6, 1e7, 10))) > 0)


def test_more_run_out_rubs_and_leaks_no_less():
    wobbles = np.linspace(0, 6e-4, 13)
    some = [gap_of(gapped(7e-4, gap__disc_run_out=one)) for one in wobbles]
    assert np.all(np.diff([one.force(VACUUM) for one in some]) >= 0)
    assert np.all(np.diff([one.leak(VACUUM) for one in some]) >= 0)
    assert some[0].force(VACUUM) == some[0].leak(VACUUM) == 0
    assert some[-1].force(VACUUM) > 0 and some[-1].leak(VACUUM) > 0


def test_the_lip_turns_heavy_only_where_it_touches():
    """By hand, pressed on all of it: 4 kPa on 2 mm along 1.267 m, at 0.11 m, friction 0.3."""
    touching, apart = gap_of(gapped(5e-4)), gap_of(gapped(2e-3))
    assert touching.torques(VACUUM)["seal"] == pytest.approx(0.33452, rel=1e-4)
    assert apart.torques(VACUUM)["seal"] == 0
    assert gap_of(BENCH).torques(VACUUM) == touching.torques(VACUUM)  # free, and the lip touches


@pytest.mark.parametrize("name", sorted(dataclasses.asdict(TurningCoefficients())))
def test_torque_grows_with_each_coefficient_that_its_range_moves(name):
    """So the ends of all ranges are the ends of the torque."""
    station = gap_of(gapped(4.5e-4))
    usual, low, high = (
        TurningCoefficients(),
        station.coefficients.at_end("low"),
        station.coefficients.at_end("high"),
    )
    if name == "line_loss":
        assert low.line_loss == high.line_loss == usual.line_loss
        return
    at = [
        dataclasses.replace(
            station, coefficients=dataclasses.replace(usual, **{name: getattr(one, name)})
        ).torque(VACUUM)
        for one in (low, usual, high)
    ]
    assert at[0] <= at[1] <= at[2] and at[0] < at[2]


# ---------------------------------------------------------------- leaks and vacuum


@pytest.mark.parametrize("gap", [6e-4, 7e-4, 7.5e-4, 8e-4, 1.2e-3])
def test_the_vacuum_fits_the_leak_that_it_leaves_and_is_the_first_from_rest(gap):
    station = gap_of(gapped(gap))
    found = station.from_rest(VACUUM)

    def surplus(vacuum):
        left = vacuum_left(station.leak(vacuum), station.own, station.coefficients.line_loss)
        return VACUUM * left - vacuum

    assert surplus(found) == pytest.approx(0, abs=1e-6)
    below = np.linspace(0, found - 1e-3, 4001)
    assert np.all(surplus(below) > 0)


def test_a_gap_that_does_not_leak_leaves_the_vacuum_to_the_last_bit():
    assert vacuum_past_gap(gapped(5e-4)) == BENCH.vacuum.vacuum == vacuum_past_gap(BENCH)
    assert gap_leak(gapped(5e-4), VACUUM) == 0 == gap_leak(BENCH, VACUUM)


def test_a_wider_gap_never_has_more_vacuum():
    left = [vacuum_past_gap(gapped(gap)) for gap in np.linspace(2e-4, 3e-3, 57)]
    assert np.all(np.diff(left) <= 0) and left[0] == VACUUM > 20 * left[-1] > 0


def test_with_a_fan_the_leak_goes_into_the_lines():
    scenario = gapped(1e-3, fan__shut_off=8e3)
    assert vacuum_past_gap(scenario) == VACUUM > vacuum_past_gap(gapped(1e-3))
    assert gap_leak(scenario, np.array([2e3, 4e3])) == pytest.approx(
        [gap_of(scenario).leak(2e3), gap_of(scenario).leak(4e3)]
    )
    assert gap_leak(scenario, 2e3) > gap_leak(scenario, 4e3) > 0


def test_a_disc_that_runs_out_leaks_once_a_turn():
    """Least vacuum half a turn from where the disc comes nearest; the same all round without."""
    turn = np.arange(40) / 40
    around = gap_of(gapped(7.5e-4)).around(VACUUM, turn)
    assert np.argmin(around) == 20 and np.argmax(around) in (0, 1, 39)
    assert around == pytest.approx(around[-np.arange(40)], rel=1e-12)
    assert around.min() < 0.95 and around.max() > 1
    assert gap_of(gapped(7.5e-4, gap__disc_run_out=0.0)).around(VACUUM, turn) == pytest.approx(1)
    assert np.all(gap_of(gapped(5e-4)).around(VACUUM, turn) == 1)
    assert gap_of(BENCH).around(VACUUM, turn) == 1


# ---------------------------------------------------------------- the range of gaps


def test_the_range_ends_where_the_disc_rubs_and_where_it_leaks():
    low, high = gap_range(gapped(5e-4))
    for gap, rubs, leaks in (
        (low - 2 * FINE, True, False),
        (low + 2 * FINE, False, False),
        (high - 2 * FINE, False, False),
        (high + 2 * FINE, False, True),
    ):
        station = gap_of(gapped(gap))
        vacuum = station.from_rest(VACUUM)
        assert (station.least(vacuum) < 0) == rubs, gap
        assert (vacuum < (1 - LEAKS) * VACUUM) == leaks, gap
    assert gap_range(gapped(1e-3)) == (low, high), "it does not depend on the gap that is set"


def test_the_range_by_hand():
    """A stiff hub and no run-out: from what the vacuum draws in, to the lip and a leak more."""
    scenario = gapped(5e-4, gap__stiffness=2e6, gap__disc_run_out=0.0)
    station, (low, high) = gap_of(scenario), gap_range(scenario)
    assert low == pytest.approx(VACUUM * station.area / 2e6, abs=2 * FINE)
    drawn = (1 - LEAKS) * VACUUM * station.area / 2e6
    assert high == pytest.approx(5e-4 + drawn + station.allowed / station.seal, abs=2 * FINE)


def test_more_vacuum_moves_the_range_up_and_run_out_narrows_it():
    ranges = [gap_range(gapped(5e-4, vacuum__vacuum=one)) for one in (0.0, 1e3, 2e3, 4e3, 8e3)]
    assert np.all(np.diff(ranges, axis=0) > 0)
    widths = [
        np.ptp(gap_range(gapped(5e-4, gap__disc_run_out=one))) for one in (0.0, 5e-5, 1e-4, 2e-4)
    ]
    assert np.all(np.diff(widths) < 0)


def test_there_may_be_no_such_gap():
    """A disc that runs out by more than its lip bridges rubs or leaks at every gap."""
    assert gap_range(gapped(5e-4, gap__disc_run_out=6e-4)) is None
    assert gap_range(gapped(5e-4, gap__seal_lip=0.0)) is None
    assert gap_range(gapped(5e-4, gap__seal_lip=0.0, gap__disc_run_out=0.0)) is not None


def test_units_are_those_of_the_reader():
    metric = load_scenario("maize_bench", ["running_gap_mm=0.508", "stiffness_n_mm=200"])
    us = load_scenario("maize_bench", ["running_gap_in=0.02"])
    assert gap_of(metric).running_gap == pytest.approx(gap_of(us).running_gap, rel=1e-12)
    assert gap_of(us).stiffness == gap_of(metric).stiffness == 2e5
    with pytest.raises(BadInput):
        load_scenario("maize_bench", ["running_gap_mm=0"])


# ---------------------------------------------------------------- what the trade says


def test_thin_spacers_of_known_thickness_set_the_gap():
    """Common practice, no source: each widens the gap by its thickness, whatever the vacuum."""
    for vacuum in (0.0, 2e3, 6e3):
        with_one = gap_of(gapped(4e-4 + 1e-4)).mean_gap(vacuum)
        assert with_one - gap_of(gapped(4e-4)).mean_gap(vacuum) == pytest.approx(1e-4, rel=1e-9)


def test_a_high_load_calls_for_a_wider_gap_within_limits():
    """Common practice, no source; the model agrees.

    A wider gap takes no more torque.  It takes less as long as the disc rubs.  Beyond the range the
    meter loses vacuum.
    """
    low, high = gap_range(gapped(5e-4))
    narrow, wide = np.linspace(1e-4, low, 9), np.linspace(low, high, 9)

    def torques(gaps):
        return np.array([gap_of(one).torque(vacuum_past_gap(one)) for one in map(gapped, gaps)])

    assert np.all(np.diff(torques(narrow)) < 0)
    assert np.all(np.diff(torques(wide)) <= 1e-12)
    assert vacuum_past_gap(gapped(high + 1e-4)) < 0.9 * vacuum_past_gap(gapped(high - 1e-4))
