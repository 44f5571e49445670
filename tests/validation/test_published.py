"""Published behaviour against predictions: what agrees, and what is known not to.

A verdict in a table says whether the whole interval of the prediction lies inside the stated
tolerance, outside of it, or across its edge.  A test fails when that changes in any direction,
so that a known disagreement can neither appear silently nor be mended unnoticed.
"""

from functools import cache

import pytest

from metersim.intervals import Estimate
from metersim.sources import SOURCES
from tests.validation.predictions import HERE, PREDICTORS, RELATIONS, VERDICTS, Row, published


@cache
def predicted(source):
    """All predictions for a source, made once."""
    return PREDICTORS[source]()


@pytest.mark.parametrize("source", PREDICTORS)
def test_agreement_is_as_recorded(source):
    rows = published(source)
    found = predicted(source)
    assert sorted(found) == sorted(row.row for row in rows)
    changed = {
        row.row: (row.verdict, row.judge(found[row.row]), found[row.row])
        for row in rows
        if row.verdict not in nearly(row, found[row.row])
    }
    assert not changed


def nearly(row, estimate):
    """Verdicts on an interval a hair narrower, as it is, and a hair wider.

    Another processor rounds another last bit, which may tip a seed or two.
    """
    hair = 0.05 * (estimate.high - estimate.low)
    return {
        row.judge(Estimate(estimate.value, min(low, estimate.value), max(high, estimate.value)))
        for low, high in (
            (estimate.low + hair, estimate.high - hair),
            (estimate.low, estimate.high),
            (estimate.low - hair, estimate.high + hair),
        )
    }


def test_every_table_names_its_source_and_has_a_predictor():
    assert {path.stem for path in HERE.glob("*.csv")} == set(PREDICTORS) <= set(SOURCES)
    for source in PREDICTORS:
        head = (HERE / f"{source}.csv").read_text(encoding="utf-8").splitlines()
        assert head[0] == f"# source: {source}"
        assert head[1].startswith("# mark: ")
        for row in published(source):
            assert row.relation in RELATIONS and row.verdict in VERDICTS
            assert (row.tolerance > 0) == (row.relation == "near")


@pytest.mark.parametrize(
    ("relation", "low", "high", "verdict"),
    [
        ("near", 0.0105, 0.0295, "agrees"),
        ("near", 0.0305, 0.0405, "disagrees"),
        ("near", 0.0005, 0.0095, "disagrees"),
        ("near", 0.0205, 0.0305, "open"),
        ("near", 0.0005, 0.0405, "open"),
        ("above", 0.0205, 0.0305, "agrees"),
        ("above", 0.0105, 0.0195, "disagrees"),
        ("above", 0.0105, 0.0305, "open"),
        ("below", 0.0105, 0.0195, "agrees"),
        ("below", 0.0205, 0.0305, "disagrees"),
        ("below", 0.0105, 0.0305, "open"),
    ],
)
def test_a_verdict_can_go_every_way(relation, low, high, verdict):
    """Negative control: intervals inside, outside and across a published value of 2 +- 1 %."""
    row = Row("own", "own", "%", relation, 2.0, 1.0, "agrees")
    assert row.judge(Estimate(low, low, high)) == verdict
