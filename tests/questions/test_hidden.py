"""What nobody sees of a meter: priors, and meters that can be whatever is drawn."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest, truncnorm

from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.sections import all_fields
from metersim.questions.shared.hidden import HIDDEN, draw_states, meter_of

SHIPPED = {name: load_scenario(path) for name, path in shipped_scenarios().items()}
BENCH = SHIPPED["maize_bench"]
BY_NAME = pytest.mark.parametrize("one", HIDDEN.values(), ids=HIDDEN)


def prior(one):
    """The same prior from a library: a normal law between two bounds."""
    low, high = ((end - one.middle) / one.sd for end in (one.low, one.high))
    return truncnorm(low, high, loc=one.middle, scale=one.sd)


@BY_NAME
def test_places_are_quantiles_of_the_prior(one):
    places = np.linspace(0.001, 0.999, 21)
    found = [one.at(place) for place in places]
    assert found == pytest.approx(prior(one).ppf(places), rel=1e-9, abs=1e-12)


@BY_NAME
@given(place=st.floats(0, 1))
def test_a_value_lies_between_its_bounds(one, place):
    assert one.low <= one.at(place) <= one.high


@BY_NAME
def test_the_ends_of_the_prior_are_its_bounds(one):
    assert [one.at(0), one.at(1)] == pytest.approx([one.low, one.high])


@BY_NAME
def test_what_it_means_is_said_where_it_can_lie(one):
    """Words stand for each side of the middle that the prior reaches, and for no other."""
    assert bool(one.low_words) == (one.low < one.middle)
    assert bool(one.high_words) == (one.high > one.middle)


@pytest.mark.parametrize("scenario", SHIPPED.values(), ids=SHIPPED)
def test_with_nothing_wrong_the_meter_is_as_set(scenario):
    assert meter_of(scenario, {name: one.middle for name, one in HIDDEN.items()}) == scenario
    assert meter_of(scenario, {}) == scenario


@BY_NAME
def test_something_wrong_changes_its_own_field_alone(one):
    """Negative control of the last: a meter with one thing wrong is another one."""
    value = one.low if one.low < one.middle else one.high
    there = meter_of(BENCH, {one.name: value})
    differ = [
        (section, name)
        for section, name in all_fields()
        if getattr(getattr(there, section), name) != getattr(getattr(BENCH, section), name)
    ]
    assert differ == [(one.section, one.field)]


def test_each_way_of_being_off_is_what_it_says():
    """Closed forms: a share of the vacuum, degrees more, notches nearer to the holes."""
    there = meter_of(BENCH, {"vacuum": 0.8, "cut-off": 0.02, "singulator": 1.5})
    assert there.vacuum.vacuum == pytest.approx(0.8 * BENCH.vacuum.vacuum)
    assert there.cutoff.decay_arc == pytest.approx(BENCH.cutoff.decay_arc + 0.02)
    edge = BENCH.singulator
    assert there.singulator.gap == pytest.approx(edge.gap - 1.5 * edge.notch_step)
    assert there.singulator.notch == edge.notch


def test_a_singulator_stops_before_the_path_of_the_holes():
    """Set as far in as the gap allows, and nearer than its scale shows."""
    close = BENCH.replace(
        singulator__notch=BENCH.singulator.gap / BENCH.singulator.notch_step - 0.2
    )
    edge = meter_of(close, {"singulator": 2.5}).singulator
    assert 0 < edge.gap - edge.notch * edge.notch_step < 1e-3


ENDS = {name: st.sampled_from([one.low, one.middle, one.high]) for name, one in HIDDEN.items()}
INSIDE = {name: st.floats(one.low, one.high) for name, one in HIDDEN.items()}


@pytest.mark.slow
@settings(max_examples=150)
@given(
    scenario=st.sampled_from(list(SHIPPED.values())),
    state=st.fixed_dictionaries(ENDS) | st.fixed_dictionaries(INSIDE),
)
def test_a_shipped_scenario_can_be_any_meter(scenario, state):
    """No state contradicts what is set, and every value stays inside what is allowed."""
    there = meter_of(scenario, state)
    for (section, name), spec in all_fields().items():
        if spec.kind in ("number", "count"):
            value = getattr(getattr(there, section), name)
            assert value is None or spec.low <= value <= spec.high


@BY_NAME
def test_states_are_drawn_from_the_prior(one):
    """Each of a hundred equal shares of the prior holds one of a hundred states."""
    found = [state[one.name] for state in draw_states(100, 3)]
    shares = np.floor(prior(one).cdf(found) * 100).astype(int)
    assert sorted(shares.clip(0, 99)) == list(range(100))
    assert kstest(found, prior(one).cdf).pvalue > 0.5  # a Latin hypercube is evener than chance
    moved = [value + one.sd for value in found]  # negative control
    assert kstest(moved, prior(one).cdf).pvalue < 1e-4


def test_a_cause_keeps_its_draws_whatever_else_is_hidden():
    """Common practice of streams: what is not asked for takes no draws from what is."""
    everything = draw_states(20, 5)
    for name in HIDDEN:
        alone = draw_states(20, 5, (name,))
        assert [state[name] for state in everything] == [state[name] for state in alone]
    assert draw_states(20, 5) == everything
    assert draw_states(20, 6) != everything


def test_causes_are_drawn_apart():
    """No two causes go together: rank correlation of 400 states within four standard errors."""
    table = np.array([list(state.values()) for state in draw_states(400, 2)])
    ranks = table.argsort(axis=0).argsort(axis=0)
    apart = np.corrcoef(ranks.T)[np.triu_indices(len(HIDDEN), 1)]
    assert np.abs(apart).max() < 4 / np.sqrt(400)
    doubled = np.corrcoef(ranks[:, 0], ranks[:, 0])[0, 1]  # negative control
    assert doubled > 4 / np.sqrt(400)
