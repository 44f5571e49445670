"""States weighed by counts: against closed forms, by coverage, and by faults that are known."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp, ndtri

import metersim as m
from metersim.files.faults import BadInput
from metersim.questions.next import diagnosis
from metersim.questions.next.clues import NEVER, clues, strange
from metersim.questions.next.diagnosis import (
    Diagnosis,
    Seen,
    Side,
    _mixture,
    _Normal,
    diagnose,
)
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import Look, Rates, log_chances, look_of_seeds
from tests.recovery import COUNTED, count_on, draw_states, known

pytestmark = pytest.mark.slow


def chance_of(rates, look):
    """Logarithm of the chance of one look under one meter's rates."""
    return float(log_chances([rates], [look])[0, 0])


BENCH = m.load_scenario("maize_bench")
KNOWN = known(BENCH)
DOUBLES = look_of_seeds(500, skips=2, doubles=26)
SMALL, LARGE = Side("seed size", -1), Side("seed size", 1)
LOOSE, TIGHT = Side("singulator", -1), Side("singulator", 1)


@pytest.fixture(scope="module")
def many_doubles():
    """On a machine that is known; an unknown one may show as many by itself."""
    return diagnose([Seen(KNOWN, DOUBLES)], states=80, seed=5)


# the weights themselves


def exact(seen, names, places, machines, seed, first, executor, on_run):
    """In place of runs: rates that are known functions of the places."""
    deviates = ndtri(places)
    for row in deviates:
        skip, double = 0.01 * math.exp(0.7 * row[0]), 0.012 * math.exp(0.8 * row[1])
        yield tuple(Rates(skip, double, 1.0, 1.0, 10**9) for _ in seen)


def on_a_grid(look):
    """Means of the first two deviates after a look, by plain integration."""
    z = np.linspace(-6, 6, 601)
    first, second = np.meshgrid(z, z, indexing="ij")
    skip, double = 0.01 * np.exp(0.7 * first), 0.012 * np.exp(0.8 * second)
    rest = look.cells - look.skips - look.doubles
    left = np.maximum(1 - skip - double, 1e-12)
    chance = look.skips * np.log(skip) + look.doubles * np.log(double) + rest * np.log(left)
    chance -= first**2 / 2 + second**2 / 2
    weights = np.exp(chance - chance.max())
    return [float(np.sum(weights * part) / weights.sum()) for part in (first, second)]


def standard_errors(found, weights, wanted):
    """How many standard errors weighted means of the deviates lie from what is wanted."""
    deviates = ndtri(found.places)[:, :2]
    off = deviates - weights @ deviates
    errors = np.sqrt(np.sum((weights[:, None] * off) ** 2, axis=0))
    return (weights @ deviates - wanted) / errors


@pytest.mark.parametrize(
    "look", [Look(cells=2000, skips=60, doubles=80), Look(cells=900, skips=2, doubles=45)]
)
def test_refined_weights_give_the_posterior_of_a_closed_form(look, monkeypatch):
    """Counts far out in the priors; the states drawn later are weighed by prior over mixture."""
    monkeypatch.setattr(diagnosis, "_run", exact)
    found = diagnose([Seen(BENCH, look)], states=2000, seed=3)
    assert len(found.weights) > found.drawn == 2000  # they were refined
    wanted = on_a_grid(look)
    assert np.all(np.abs(standard_errors(found, found.weights, wanted)) < 4)
    chances = log_chances([rates[0] for rates in zip(*found.rates, strict=True)], [look])[0]
    alone = np.exp(chances - logsumexp(chances))  # control: as if all came from the priors
    assert np.any(np.abs(standard_errors(found, alone, wanted)) > 4)


def test_draws_of_several_rounds_weigh_as_many_as_they_are():
    """300 draws about 0 and 100 about 3 have a density of 400 in all, of 100 beyond 2."""
    around = [_Normal(np.array([at]), np.array([[root]])) for at, root in ((0.0, 0.2), (3.0, 0.1))]
    step = 1e-3
    at = np.arange(-2, 5, step)
    density = np.exp(_mixture([*zip((300, 100), around, strict=True)], at[:, None]))
    density /= math.sqrt(2 * math.pi)  # which a normal density leaves out here
    assert density.sum() * step == pytest.approx(400, rel=1e-6)
    assert density[at > 2].sum() * step == pytest.approx(100, rel=1e-6)


def test_states_are_drawn_as_often_as_their_weight_says(many_doubles):
    """Evenly spread: every state as often as its share of the whole, rounded up or down."""
    picked = many_doubles.resampled(50, seed=1)
    assert len(picked) == 50
    for weight, state in zip(many_doubles.weights, many_doubles.states, strict=True):
        times = sum(one.state is state for one in picked)
        assert math.floor(50 * weight) <= times <= math.ceil(50 * weight)


def test_weights_are_chances(many_doubles):
    assert many_doubles.weights.sum() == pytest.approx(1)
    assert 1 < many_doubles.effective < len(many_doubles.weights)
    low, high = many_doubles.interval("seed size")
    assert low < many_doubles.mean("seed size") < high


def test_a_single_cell_says_next_to_nothing():
    """On a machine that is known, where nearly all meters show one seed in nearly all cells."""
    found = diagnose([Seen(KNOWN, Look(cells=1, skips=0, doubles=0))], states=60)
    assert found.effective > 0.9 * 60
    for side in found.sides:
        assert found.after(side) == pytest.approx(found.before(side), abs=0.02)


@pytest.mark.slow
def test_the_result_is_the_same_wherever_it_is_worked_out():
    seen = [Seen(BENCH, DOUBLES)]
    with ThreadPoolExecutor(2) as executor:
        other = diagnose(seen, states=45, seed=2, executor=executor)
    here = diagnose(seen, states=45, seed=2)
    assert here.weights.tolist() == other.weights.tolist()
    assert here.weights.tolist() != diagnose(seen, states=45, seed=0).weights.tolist()


@pytest.mark.slow
def test_the_farthest_counts_have_weights_too():
    """All cells empty: states are drawn far out, where a place of 1 would have no deviate."""
    found = diagnose([Seen(BENCH, look_of_seeds(0, skips=500, doubles=0))], states=100)
    assert np.isfinite(found.weights).all() and np.isfinite(ndtri(found.places)).all()


def test_a_meter_that_cannot_be_is_told():
    """Holes as wide as the smallest seeds of all states: none of them can be run."""
    wide = BENCH.replace(disc__hole_diameter=7.2e-3)
    few = diagnose([Seen(wide, DOUBLES)], states=30)
    assert 0 < few.drawn < 30  # those with larger seed
    small = next(k for k in range(99) if draw_states(1, k, COUNTED)[0]["seed size"] < 0.98)
    with pytest.raises(BadInput, match="no meter near these settings"):
        diagnose([Seen(wide, DOUBLES)], states=1, seed=small)


# what is found


def test_an_unknown_machine_may_be_what_makes_doubles(many_doubles):
    """So the same count says less of faults.  Control: the same machine, known."""
    unknown = diagnose([Seen(BENCH, DOUBLES)], states=80, seed=5)
    for side in (SMALL, LOOSE):
        assert unknown.after(side) < many_doubles.after(side)
    assert clues(unknown, LARGE)[0].factor > clues(many_doubles, LARGE)[0].factor


def test_many_doubles_speak_for_small_seed_or_a_loose_singulator(many_doubles):
    """Signs; both explain the count, so that the two go against one another after it."""
    found = many_doubles
    for side in (SMALL, LOOSE):
        assert found.after(side) > 1.5 * found.before(side)
    for side in (LARGE, TIGHT):
        assert found.after(side) < 0.7 * found.before(side)
    names = list(found.names)
    assert found.correlations[names.index("seed size"), names.index("singulator")] < -0.3
    strongest = clues(found, SMALL)[0]
    assert strongest.kinds == ("double",) and strongest.factor > 3
    against = clues(found, LARGE)[0]
    assert against.kinds == ("double",) and against.factor < 0.1


def test_a_count_that_no_likely_meter_shows_is_strange(many_doubles):
    """No vacuum, and yet seeds; two counts at odds.  Control: what meters of the priors show."""
    assert strange(many_doubles) == []
    still = BENCH.replace(vacuum__vacuum=0.0)
    first = strange(diagnose([Seen(still, DOUBLES)], states=40))[0]
    assert (first.kind, first.share < 0.01 < 0.9 < first.expected) == ("skip", True)
    assert first.chance < NEVER
    many, none = look_of_seeds(500, 2, 100), look_of_seeds(500, 2, 0)
    assert strange(diagnose([Seen(BENCH, many), Seen(BENCH, none)], states=60))


def test_two_kinds_together_tell_what_neither_tells_alone():
    """Closed form: a fault makes both kinds many, or both few; without it, one of them is many.

    So each kind is as likely many with the fault as without it.  Of both together, the factor is
    that of the four chances.  Control: where the fault moves doubles alone, doubles tell as much.
    """
    many, few = 0.05, 0.01
    look = Look(cells=200, skips=10, doubles=10)
    together = [(many, many), (few, few)], [(many, few), (few, many)]
    *alone, both = clues(weighed(look, *together), Side("pool", 1))
    assert both.kinds == ("skip", "double")
    assert [clue.factor for clue in alone] == pytest.approx([1, 1], rel=1e-6)
    off, fine = (sum(chance_of_count(look, *pair) for pair in pairs) for pairs in together)
    assert both.factor == pytest.approx(off / fine, rel=1e-4) and both.factor > 10
    apart = [(many, many), (few, many)], [(many, few), (few, few)]
    strongest, other, both = clues(weighed(look, *apart), Side("pool", 1))
    assert (strongest.kinds, other.factor) == (("double",), pytest.approx(1, rel=1e-6))
    assert both.factor == pytest.approx(strongest.factor, rel=0.1)


def weighed(look, off, fine):
    """States with a pool far too high and with one in order, and their rates of both kinds."""
    names = ("seed size", "pool")
    places = np.array([[0.5, 0.99]] * len(off) + [[0.5, 0.5]] * len(fine))
    rates = tuple(Rates(*pair, 1.0, 1.0, 10**9) for pair in (*off, *fine))
    row, many = log_chances(rates, [look])[0], len(rates)
    weights, prior = np.exp(row - logsumexp(row)), np.full(many, 1 / many)
    return Diagnosis((Seen(BENCH, look),), names, places, many, weights, (rates,), prior)


def chance_of_count(look, skip, double):
    """Chance of a count, up to a factor that all rates share."""
    rest = look.cells - look.skips - look.doubles
    return skip**look.skips * double**look.doubles * (1 - skip - double) ** rest


def test_doubles_that_were_not_counted_say_nothing():
    found = diagnose([Seen(BENCH, Look(cells=30, skips=4, doubles=None, way="disc"))], states=60)
    assert {clue.kinds for side in found.sides for clue in clues(found, side)} == {("skip",)}


@pytest.mark.slow
def test_a_sensor_that_misses_seeds_is_named_when_a_belt_shows_them():
    """The same meter in order: some pulses are missing, and nothing on the belt is.

    The sensor sees two SDs of the prior too little.  Control: a belt with as many skips as the
    sensor shows speaks for the meter, and against dust.
    """
    dusty = {"sensor": 0.93}
    sensor = count_on(BENCH, dusty, 500, "sensor")
    belt = count_on(BENCH, dusty, 500)
    assert sensor.skip_share > 0.05 > 0.02 > belt.skip_share
    dust = Side("sensor", -1)
    both = diagnose([Seen(BENCH, sensor), Seen(BENCH, belt)], states=240)
    assert both.after(dust) > 0.9 > 0.5 > both.before(dust)
    for side in both.sides:  # and nothing else is
        assert side == dust or both.after(side) < both.before(side) + 0.15
    empty = replace(sensor, way="belt")
    real = diagnose([Seen(BENCH, sensor), Seen(BENCH, empty)], states=100)
    assert real.after(dust) < real.before(dust)
    fine = count_on(BENCH, {}, 500, "sensor")  # control
    assert diagnose([Seen(BENCH, fine)], states=60).after(dust) < 0.1


@pytest.mark.slow
def test_a_look_at_another_notch_tells_seed_from_singulator():
    """What one count leaves open: intervals get narrower by a second one, two notches on."""
    state = {"seed size": 0.93}
    there = BENCH.replace(singulator__notch=2.0)
    first = Seen(BENCH, count_on(BENCH, state, 500))
    second = Seen(there, count_on(there, state, 2000))
    widths = []
    for seen in ([first], [first, second]):
        low, high = diagnose(seen, states=80).interval("singulator")
        widths.append(high - low)
    assert widths[1] < 0.85 * widths[0]


# coverage


def covered(intervals, truths, shift=0.0):
    return sum(
        low + shift <= truth <= high + shift
        for (low, high), truth in zip(intervals, truths, strict=True)
    )


@pytest.mark.slow
def test_intervals_cover_what_is_hidden():
    """Meters of the priors and the posterior: 80 % intervals cover 80 %, within binomial error.

    One bank of states serves all counts.  Control: intervals moved by two SDs of the prior do not.
    Where counts tell nothing of a cause, moved by one they cover 60 %, which chance may make 64 %.
    """
    many = 100
    bank = diagnose([Seen(BENCH, Look(cells=1, skips=0, doubles=0))], states=300, seed=8)
    truths = draw_states(many, 9, COUNTED)
    machines = [replace(BENCH, coefficients=BENCH.posterior.draw(100 + k)) for k in range(many)]
    looks = [
        count_on(machine, state, 500, replicate=k)
        for k, (machine, state) in enumerate(zip(machines, truths, strict=True))
    ]
    chances = log_chances(bank.rates[0], looks)
    posteriors = [
        Diagnosis(
            (Seen(BENCH, look),),
            bank.names,
            bank.places,
            bank.drawn,
            np.exp(row - logsumexp(row)),
            bank.rates,
            bank.prior,
        )
        for look, row in zip(looks, chances, strict=True)
    ]
    assert sum(bool(strange(one)) for one in posteriors) <= 1
    error = math.sqrt(many * 0.8 * 0.2)
    for name in COUNTED:
        intervals = [one.interval(name) for one in posteriors]
        hidden = [state[name] for state in truths]
        assert abs(covered(intervals, hidden) - 0.8 * many) < 4 * error, name
        assert covered(intervals, hidden, 2 * HIDDEN[name].sd) < 0.8 * many - 4 * error, name


def test_the_chance_of_a_count_prefers_no_dependence():
    """A larger effect widens what a count allows, and moves no weight by itself."""
    look = Look(cells=400, skips=8, doubles=8)
    near = Rates(0.02, 0.02, 1.0, 1.0, 10**8)
    loose = replace(near, skip_effect=2.0)
    far = replace(near, skip=0.06)
    assert chance_of(near, look) > chance_of(loose, look) > chance_of(far, look)
    assert chance_of(near, look) - chance_of(loose, look) == pytest.approx(math.log(2), abs=0.1)
