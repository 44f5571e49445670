"""One table of losses: records, engines, causes and answers follow it."""

import dataclasses
from functools import cache

import numpy as np
import pytest

from metersim.machine import losses
from metersim.machine.coefficients import USUAL
from metersim.machine.losses import CODES, LOSSES, REASONS, TAKING, Cause, Loss, check
from metersim.machine.stations import RETURNS, stations_of
from metersim.measures.estimates import measure
from metersim.measures.limits import CAUSES, DOUBLES, SCATTER, causes
from metersim.questions.shared.looks import DISC, loads
from metersim.run import records
from metersim.run.simulation import ARRAYS, EVENTS, simulate
from tests.strategies import BENCH, pool_of

FIELD = {"furrow__surface": "field"}
# a small scenario that shows each loss, and departures of its coefficients
SHOWN = {
    "blocked": ({}, {"blocked": 0.02}),
    "not joined": ({"demand__speed": 4.0, "disc__agitation": 0.0}, {}),
    "dropped": ({"vacuum__vacuum": 9e3}, {"loosening": 2.0}),
    "low pool": (pool_of(0.12), {}),
    "not held": ({"vacuum__vacuum": 1e3}, {}),
    "pool empty": ({"pool__gate_opening": 0.0115, "pool__gate_width": 0.05}, {}),
    "knocked": ({"pool__gate_opening": 0.085, "vacuum__vacuum": 1.6e3}, {}),
    "swept": ({"singulator__notch": 4.0}, {}),
    "shaken": ({"vacuum__vacuum": 2e3, "row_unit__shock_per_speed": 9.8, **FIELD}, {}),
    "plugged": ({"disc__plugged_holes": "3 17"}, {}),
}


@cache
def run_of(name, engine):
    """A short run in which a loss happens; nobody changes it."""
    changes, coefficients = SHOWN[name]
    scenario = BENCH.replace(run__turns=20, **changes)
    stations = stations_of(scenario, dataclasses.replace(USUAL, **coefficients))
    return simulate(scenario, stations=stations, engine=engine)


def test_there_is_a_scenario_for_each_loss():
    assert list(SHOWN) == [loss.name for loss in LOSSES]


@pytest.mark.parametrize("engine", (EVENTS, ARRAYS))
@pytest.mark.parametrize("name", SHOWN)
def test_each_loss_happens_and_reaches_its_cause(name, engine):
    """A loss stands in the records, in the sums and among the causes, in both engines."""
    run = run_of(name, engine)
    code, loss = CODES[name], losses.BY_NAME[name]
    empty = run.cells.reason == code
    assert empty.sum() > 0
    assert not run.cells.released[empty].any()
    assert run.cells.joined[empty].all() == loss.takes_a_seed
    if loss.takes_a_seed:
        assert getattr(run.cells, loss.column)[empty].all()
    result = measure(run)
    assert result.reasons[code] == empty.sum()
    shares = {cause.name: cause.share for cause in causes(result)}
    assert shares[losses.WORDS_OF_CAUSES[loss.cause]] > 0


@pytest.mark.parametrize("engine", (EVENTS, ARRAYS))
@pytest.mark.parametrize("name", SHOWN)
def test_what_joins_is_lost_or_released(name, engine):
    cells = run_of(name, engine).cells
    lost = sum(getattr(cells, loss.column).astype(int) for loss in TAKING)
    assert np.array_equal(cells.joined, lost + cells.released)
    assert np.array_equal(cells.reason == losses.SEEDED, cells.released > 0)


def test_codes_are_dense():
    assert [losses.SEEDED, *CODES.values()] == list(range(len(REASONS)))
    assert [REASONS[CODES[loss.name]] for loss in LOSSES] == [loss.words for loss in LOSSES]
    named = {name.replace(" ", "_").upper(): code for name, code in CODES.items()}
    assert named == {name: getattr(losses, name) for name in named}


def test_records_have_a_column_for_each_loss_of_a_seed():
    columns = [field.name for field in dataclasses.fields(records.Cells)]
    assert columns == list(records.Cells.names)
    assert columns == ["joined", *(loss.column for loss in TAKING), "released", "reason"]
    assert {loss.station for loss in TAKING} == set(RETURNS)


def test_every_loss_has_words_for_its_cause():
    assert list(CAUSES) == list(CODES.values())
    assert not {DOUBLES, SCATTER} & set(CAUSES.values())


def test_a_disc_at_rest_shows_what_the_table_says(monkeypatch):
    """Also when the table says that it shows all: the look has no list of its own."""
    run = run_of("knocked", "arrays")
    assert np.array_equal(loads(run, DISC), run.cells.released + run.cells.shaken.astype(int))
    every = tuple(dataclasses.replace(loss, at_rest=True) for loss in TAKING)
    monkeypatch.setattr("metersim.machine.losses.TAKING", every)
    assert np.array_equal(loads(run, DISC), run.cells.joined)
    assert run.cells.knocked.sum() > 0  # the two differ


def own(**values):
    """A loss beside those of the table."""
    usual = {"name": "lost", "station": "pool", "words": "lost somewhere", "cause": "blocked"}
    return Loss(**usual | values)


@pytest.mark.parametrize(
    ("loss", "told"),
    [
        (own(cause=""), "'lost' counts to the cause ''; allowed: blocked, "),
        (own(cause="rust"), "'lost' counts to the cause 'rust'"),
        (own(cause="scatter"), "'lost' counts to the cause 'scatter'"),
        (own(cause="doubles"), "'lost' counts to the cause 'doubles'"),
        (own(name="swept"), "names of losses are .*each must be there once"),
        (own(words="seed released"), "words of losses are .*each must be there once"),
        (own(column="swept"), "columns of losses are .*each must be there once"),
    ],
)
def test_a_loss_that_answers_would_leave_out_is_refused(loss, told):
    with pytest.raises(ValueError, match=told):
        check((*LOSSES, loss), losses.CAUSES)


def test_a_cause_without_a_loss_is_refused():
    with pytest.raises(ValueError, match=r"no loss counts to the causes \['rust'\]"):
        check(LOSSES, (*losses.CAUSES, Cause(name="rust", words="rust on the disc")))
    check((*LOSSES, own()), losses.CAUSES)  # control: one more loss of a known cause is taken
