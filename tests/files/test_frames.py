"""Tables for pandas: what the records, measures and comparisons hold, and nothing else."""

import io
import math
import sys

import numpy as np
import pandas as pd
import pytest

from metersim.machine.losses import REASONS
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY, MEASURES
from metersim.measures.tally import tally_of
from metersim.questions.compare.study import COMPARED, compare
from metersim.questions.shared.rowcsv import as_csv
from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.response import respond
from metersim.questions.sweep.study import sweep
from tests.strategies import BENCH, ran
from tests.sweep_points import hill

SHORT = {"run__turns": 20}


@pytest.fixture(scope="module")
def run():
    return ran(replicate=2, **SHORT)


@pytest.fixture(scope="module")
def comparison():
    short = BENCH.replace(**SHORT)
    notches = [short.replace(singulator__notch=notch) for notch in (0.0, 1.0, -1.0)]
    return compare(*notches, labels=["0", "1", "-1"], replicates=2)


def test_seeds_are_those_of_the_file(run):
    """The table is the CSV file, to the last bit, with the columns' own kinds of number."""
    table = run.to_dataframe()
    pd.testing.assert_frame_equal(
        table, pd.read_csv(io.StringIO(as_csv([run]))), check_dtype=False, rtol=1e-14, atol=0
    )
    for name, (_, column) in zip(run.seeds.names, run.seeds.columns(), strict=True):
        assert table[name].dtype == column.dtype, name
        assert np.array_equal(table[name], column), name
    assert set(table["replicate"]) == {2}


def test_cells_are_numbered_and_say_why(run):
    table = run.to_dataframe("cells")
    assert list(table) == ["replicate", "cell", *run.cells.names]
    assert table["cell"].tolist() == list(range(len(run.cells)))
    assert table["reason"].tolist() == [REASONS[k] for k in run.cells.reason]
    for name in ("joined", "knocked", "swept", "shaken", "released"):
        assert np.array_equal(table[name], getattr(run.cells, name)), name
    joined = table.merge(run.to_dataframe(), on=["replicate", "cell"])
    assert len(joined) == len(run.seeds) and (joined["place"] < joined["joined"]).all()


def test_ticks_conserve_seeds(run):
    table = run.to_dataframe("ticks")
    assert list(table) == [
        "replicate",
        "time_s",
        "pool_seeds",
        "hopper_seeds",
        "arched",
        "spilt_seeds",
    ]
    assert table["arched"].dtype == bool
    columns = ("time", "pool", "hopper", "arched", "spilt")
    for name, column in zip(table.columns[1:], columns, strict=True):
        assert np.array_equal(table[name], getattr(run.ticks, column)), name


def test_a_table_is_a_copy(run):
    """What is done to a table leaves the records as they are, which cannot be written to."""
    table = run.to_dataframe()
    before = run.seeds.position.copy()
    table["position_m"] += 1
    table.loc[0, "size_ratio"] = 9
    assert np.array_equal(run.seeds.position, before) and run.seeds.size[0] != 9


def test_an_unknown_table_is_refused(run):
    with pytest.raises(ValueError, match="table is 'trace'; allowed: seeds, cells, ticks"):
        run.to_dataframe("trace")


def test_measures_are_one_row_each(run):
    measured = measure(run)
    table = measured.to_dataframe()
    assert list(table) == ["key", "kind", "value", "low", "high", "meaning"]
    assert table["key"].tolist() == [part.key for part in MEASURES]
    for row in table.itertuples():
        estimate = measured[row.key]
        assert np.array_equal(
            (row.value, row.low, row.high),
            (estimate.value, estimate.low, estimate.high),
            equal_nan=True,
        )
        assert (row.kind, row.meaning) == (BY_KEY[row.key].kind, BY_KEY[row.key].meaning)


@pytest.mark.slow
def test_a_comparison_is_one_row_a_scenario_and_measure(comparison):
    table = comparison.to_dataframe()
    assert table["label"].tolist() == [label for label in comparison.labels for _ in COMPARED]
    assert table["key"].tolist() == list(COMPARED) * 3
    numbers = table.drop(columns=["label", "key", "kind"])
    assert {str(kind) for kind in numbers.dtypes} == {"float64"}
    for k, (label, rows) in enumerate(table.groupby("label", sort=False)):
        assert label == comparison.labels[k]
        for row in rows.itertuples():
            estimate = comparison.values[k][row.key]  # with its total interval
            assert (row.value, row.low, row.high) == (estimate.value, estimate.low, estimate.high)
            told = (row.difference, row.difference_low, row.difference_high)
            if k == 0:
                assert all(map(math.isnan, (*told, row.gain, row.best)))
                continue
            apart = comparison.differences[k - 1][row.key]
            assert told == (apart.value, apart.low, apart.high)
            paired = comparison.pairings[k - 1].get(row.key)
            found = (paired.gain, paired.best) if paired else (math.nan, math.nan)
            assert np.array_equal((row.gain, row.best), found, equal_nan=True)


def test_differences_are_those_of_the_values(comparison):
    """A paired difference has the value of the difference of both, if not its interval."""
    wide = comparison.to_dataframe().pivot(index="key", columns="label")
    for label in ("1", "-1"):
        apart = wide["value"][label] - wide["value"]["0"]
        assert np.allclose(wide["difference"][label], apart, rtol=0, atol=1e-12)
    assert (wide["difference"]["1"] != 0).any()  # control


@pytest.mark.slow
def test_a_response_is_one_row_a_point():
    made = respond(sweep(plan_sweep("maize_bench", ["vacuum_kpa=2:6:9", "notch=0,1"]), run=hill))
    table = made.to_dataframe()
    assert table["vacuum_kpa"].tolist() == [float(word) for word, _ in made.sweep.plan.points]
    assert np.array_equal(table[["value", "low", "high"]], made.totals(made.key))
    assert np.array_equal(table[["sampling_low", "sampling_high"]], made.values[:, 1:])
    assert table.index[table["best"]].tolist() == [made.best]
    for name in ("acceptable", "surely", "plateau"):
        assert np.array_equal(table[name], getattr(made, name)), name


def test_what_a_notebook_echoes_is_a_line(run, comparison):
    """A result at the end of a cell is named, not spilt with all its numbers and settings."""
    plan = plan_sweep("maize_bench", ["vacuum_kpa=2:6:9", "notch=0,1"])
    made = sweep(plan, run=hill)
    parts = [run, tally_of(run, 2), measure(run), comparison, plan, made, respond(made)]
    for result in parts:
        assert repr(result).startswith(f"<{type(result).__name__} ")
        assert len(repr(result)) < 200


def test_without_pandas_the_extra_is_named(run, comparison, monkeypatch):
    monkeypatch.setitem(sys.modules, "pandas", None)
    for result in (run, measure(run), comparison):
        with pytest.raises(ImportError, match=r"pip install '\.\[notebook\]'"):
            result.to_dataframe()
