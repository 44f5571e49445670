"""Chances and scatter of cells, fitted: recovery, coverage, and what cannot be told apart."""

import math

import numpy as np
import pytest
from scipy.stats import chi2

from metersim.measures.cellfit import MISFIT, MOST_FITTED, fit_cells, fitted_density, misfit
from metersim.measures.cellmodel import SCALE, Stretches, Trials, before_losses, share_left
from metersim.measures.intervals import share_interval
from tests.rows import cell_spacings

TRUTH = {"empty": 0.05, "double": 0.04, "scatter": 0.12, "distance": 1.0}


def standardised(fit, truth):
    """How many standard errors each fitted number lies off, its interval taken for 1.96."""
    found = {}
    for name, value in truth.items():
        one = getattr(fit, name)
        edge = one.high if value > one.value else one.low
        found[name] = (value - one.value) / (abs(edge - one.value) / 1.96)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("delays", [0.0, 0.5])
def test_chances_and_scatter_are_recovered(delays):
    rng = np.random.default_rng(21)
    fit = fit_cells([cell_spacings(rng, 1000, **TRUTH, delays=delays)])
    assert all(abs(z) < 4 for z in standardised(fit, TRUTH).values())
    wrong = TRUTH | {"empty": 0.11, "double": 0.08, "scatter": 0.15, "distance": 1.01}
    assert all(abs(z) > 4 for z in standardised(fit, wrong).values())  # control


WIDE = TRUTH | {"scatter": 0.18}


@pytest.fixture(scope="module")
def fits():
    """What is fitted to each of forty samples of 120 spacings with wide scatter."""
    rng = np.random.default_rng(22)
    return [fit_cells([cell_spacings(rng, 160, **WIDE)[:120]]) for _ in range(40)]


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", ["empty", "double", "scatter", "distance"])
def test_intervals_cover_at_their_rate(name, fits):
    """Of 40 short samples; what many longer ones gave stands in `metersim.measures.cellfit`."""
    held = sum(getattr(fit, name).low <= WIDE[name] <= getattr(fit, name).high for fit in fits)
    error = np.sqrt(0.95 * 0.05 / len(fits))
    assert (0.95 - held / len(fits)) / error < 4


def test_intervals_widen_with_their_level_as_those_of_student():
    """120 spacings are 12 blocks: t(11) is 2.2010 at 95 % and 0.6974 at 50 %, of a t table."""
    row = cell_spacings(np.random.default_rng(32), 150, **TRUTH)[:120]
    wide, narrow = (fit_cells([row], level=level) for level in (0.95, 0.5))
    for name in ("scatter", "distance"):
        reach = [
            math.log(getattr(fit, name).high / getattr(fit, name).value) for fit in (wide, narrow)
        ]
        assert reach[0] / reach[1] == pytest.approx(2.2010 / 0.6974, rel=2e-3)


def test_shares_of_classes_are_no_chances():
    """Negative control: who takes misses for skips and multiples for doubles covers too rarely.

    Of spacings that scatter with an SD of 0.18 sqrt(2), 1 in 20 is out of the normal class on
    its own.
    """
    rng, samples = np.random.default_rng(31), 100
    rows = [cell_spacings(rng, 600, **WIDE) for _ in range(samples)]
    error = np.sqrt(0.95 * 0.05 / samples)
    for name, bound in (("empty", lambda row: row > 1.5), ("double", lambda row: row <= 0.5)):
        held = 0
        for row in rows:
            one = share_interval(bound(row).sum(), row.size)
            held += one.low <= WIDE[name] <= one.high
        assert (0.95 - held / len(rows)) / error > 4


def test_neighbours_that_are_taken_for_independent_cover_too_rarely():
    """Negative control: spacings share their seeds, so an SD of them is less sure than it looks.

    The variance of a sample variance is 1 + 2 (-0.5)^2 times that of independent spacings
    (Bartlett's formula, from memory), and a 95 % interval of these holds the truth 89 % of times.
    """
    rng, samples, size = np.random.default_rng(23), 2000, 250
    held = 0
    for _ in range(samples):
        row = np.diff(np.arange(size + 1) + 0.1 * rng.standard_normal(size + 1))
        sums = row.var(ddof=1) * (size - 1) / 2
        low, high = sums / chi2.ppf([0.975, 0.025], size - 1)
        held += low <= 0.01 <= high
    error = np.sqrt(0.95 * 0.05 / samples)
    assert (0.95 - held / samples) / error > 4
    assert held / samples == pytest.approx(0.89, abs=4 * error)


def test_slip_stretches_cells_and_leaves_chances():
    rng = np.random.default_rng(24)
    row = cell_spacings(rng, 400, **TRUTH)
    plain, slipped = fit_cells([row]), fit_cells([1.07 * row])
    assert slipped.distance.value / plain.distance.value == pytest.approx(1.07, rel=2e-3)
    assert slipped.empty.value == pytest.approx(plain.empty.value, abs=2e-3)
    assert slipped.scatter.value / plain.scatter.value == pytest.approx(1.07, rel=0.01)


@pytest.mark.slow
def test_a_row_read_from_its_other_end_tells_the_same():
    rng = np.random.default_rng(25)
    row = cell_spacings(rng, 500, **TRUTH, delays=0.6)
    there, back = fit_cells([row]), fit_cells([row[::-1]])
    assert np.sign(there.error.lean) == 1 and np.sign(back.error.lean) == -1
    for name in TRUTH:
        one = getattr(there, name)
        assert abs(getattr(back, name).value - one.value) < (one.high - one.low) / 8


def test_cells_that_all_hold_one_seed():
    """No empty cell in n is nothing of 0 and at most some 2.5/n (Jeffreys's bound, no event)."""
    rng = np.random.default_rng(26)
    n = 300
    fit = fit_cells([cell_spacings(rng, n + 1, empty=0, double=0, scatter=0.08)])
    assert fit.empty.low == fit.double.low == 0
    assert fit.empty.value < 1e-4 and fit.double.value < 1e-4
    assert 0.5 * 2.5 / n < fit.empty.high < 2 * 2.5 / n


@pytest.mark.slow
def test_no_more_is_fitted_than_changes_the_result():
    rng = np.random.default_rng(27)
    row = cell_spacings(rng, 3 * MOST_FITTED, **TRUTH)
    fit = fit_cells([row])
    assert MOST_FITTED - 20 <= fit.spacings <= MOST_FITTED + 20
    assert all(abs(z) < 4 for z in standardised(fit, TRUTH).values())


@pytest.mark.slow
def test_wide_scatter_is_said_to_be_wide():
    rng = np.random.default_rng(28)
    truth = {"empty": 0.03, "double": 0.03}
    assert fit_cells([cell_spacings(rng, 300, **truth, scatter=0.33)]).is_wide
    assert not fit_cells([cell_spacings(rng, 300, **truth, scatter=0.15)]).is_wide


def test_places_without_scatter_tell_their_empty_cells():
    """Finer than a hundredth of the distance nothing is told; chances are counts over cells."""
    cell = np.array([k for k in range(130) if k % 25])
    fit = fit_cells([1.02 * np.diff(cell)])
    assert fit.empty.value == pytest.approx(5 / 129, rel=0.05)
    assert fit.scatter.low == 0 and fit.scatter.high < 0.0105
    assert fit.distance.low < 1.02 < fit.distance.high
    assert fit.distance.value == pytest.approx(1.02, rel=2e-4)


def test_a_single_stretch_is_refused():
    with pytest.raises(ValueError, match="1 stretches of spacings; allowed: 2 or more"):
        fit_cells([np.ones(15)])


# ---------------------------------------------------------------- losses


@pytest.mark.parametrize("left", [0.6, 0.93, 1.0])
@pytest.mark.parametrize(("empty", "double"), [(0.0, 0.0), (0.04, 0.03), (0.2, 0.1)])
def test_losses_can_be_taken_off_when_one_of_two_is_known(empty, double, left):
    """Chances of what is left, worked out by hand, lead back to those before (derived)."""
    seen_double = double * left**2
    one = 1 - empty - double
    seen_empty = empty + one * (1 - left) + double * (1 - left) ** 2
    assert before_losses(seen_empty, seen_double, left) == pytest.approx((empty, double))
    assert share_left(seen_empty, seen_double, empty) == pytest.approx(left)


def test_skips_and_losses_cannot_be_told_apart():
    """Two causes, one row: 5 % skips that all come up, and 1/0.95 seeds of which 95 % do."""
    skips = before_losses(0.05, 0.0, 1.0)
    losses = before_losses(0.05, 0.0, 0.95)
    assert skips == pytest.approx((0.05, 0.0)) and losses == pytest.approx((0.0, 0.0), abs=1e-12)


def test_more_losses_than_empty_cells_give_less_than_none():
    assert before_losses(0.05, 0.0, 0.9)[0] < 0
    assert share_left(0.01, 0.0, 0.03) > 1


@pytest.mark.slow
def test_thinned_rows_are_rows_of_thinned_chances():
    rng = np.random.default_rng(29)
    left = 0.9
    fit = fit_cells([cell_spacings(rng, 1200, **TRUTH, left=left)])
    one = 1 - TRUTH["empty"] - TRUTH["double"]
    seen = {
        "empty": TRUTH["empty"] + one * (1 - left) + TRUTH["double"] * (1 - left) ** 2,
        "double": TRUTH["double"] * left**2,
    }
    assert all(abs(z) < 4 for z in standardised(fit, seen).values())
    assert abs(standardised(fit, TRUTH)["empty"]) > 4  # control


# ---------------------------------------------------------------- the fitted distribution


@pytest.mark.parametrize("lean", [-0.5, 0.05, 0.5])
def test_the_likelihood_of_a_spacing_is_a_density(lean):
    """Over all spacings it is 1; short ones have the share of seeds that follow in their cell.

    Of cells with chances e of none and d of two, that is d of 1 - e + d seeds.
    """
    empty, given, step = 0.05, 0.04, 0.01
    theta = np.array([empty * SCALE, given * SCALE, math.log(0.08), lean, 0.0])
    at = (np.arange(1200) + 0.5) * step
    each = Stretches([np.array([spacing]) for spacing in at])
    phases = 64
    where = (part.ravel() for part in np.indices((len(at), phases)))
    density = np.exp(each.log_likelihood(theta, Trials(phases, *where)))
    assert density.sum() * step == pytest.approx(1, abs=1e-3)
    double = given * (1 - empty)
    share = density[at < 0.5].sum() * step
    assert share == pytest.approx(double / (1 - empty + double), rel=5e-3)


def test_the_fitted_density_is_one_and_has_the_mean_of_its_cells():
    """Cells lie `distance` apart, each with 1 - empty + double seeds: so do spacings on average."""
    rng = np.random.default_rng(30)
    fit = fit_cells([cell_spacings(rng, 400, **TRUTH, delays=0.5)])
    at = (np.arange(40_000) + 0.5) * 4e-4
    density = fitted_density(fit, at)
    assert density.sum() * 4e-4 == pytest.approx(1, abs=2e-3)
    seeds = 1 - fit.empty.value + fit.double.value
    assert (at * density).sum() * 4e-4 == pytest.approx(fit.distance.value / seeds, rel=0.02)


EXTREMES = {
    "two in three on one spot": [0.0, 0.0, 1.0] * 50,
    "in pairs": [0.0, 1.0] * 60,
    "in pairs, far apart": [0.0, 1e3] * 60,
    "from nearly nothing to very far": 10.0 ** np.linspace(-300, 8, 110),
    "the same all along": [1e-5] * 110,
    "next to nothing, but for one": [*[1e-320] * 109, 1.0],
}


@pytest.mark.slow
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("kind", EXTREMES)
def test_spacings_of_no_meter_are_fitted_without_a_fall(kind):
    fit = fit_cells([np.array(EXTREMES[kind])])
    for one in (fit.empty, fit.double, fit.scatter, fit.distance):
        assert 0 <= one.low <= one.value <= one.high < np.inf


@pytest.mark.study
@pytest.mark.slow
def test_spacings_that_no_cells_make_are_told_from_those_that_some_do():
    """Kolmogorov's law: above 1.95 in one of a thousand samples; two distances in turn are none."""
    rng = np.random.Generator(np.random.PCG64(3))
    for _ in range(3):
        ours = cell_spacings(rng, 260, empty=0.05, double=0.03, scatter=0.12)
        assert misfit(fit_cells([ours]), ours) < MISFIT
    others = rng.choice([0.6, 1.4], size=250) + rng.normal(0, 0.03, 250)
    assert misfit(fit_cells([others]), others) > MISFIT  # negative control
