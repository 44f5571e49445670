"""Regression: what is computed is what it was when the golden results were stored.

They are the program's own, stored by ``python -m tests.golden``; the calls are in `calls.py`.
"""

import copy
import json
import math

import pytest

from tests.golden.calls import CALLS, SCENARIOS, result_of
from tests.golden.compare import MISSING, Moved, moved, same_printed
from tests.golden.plain import column, plain, printed
from tests.golden.store import STORED, stored, written

SAMPLE = {
    "summary": {"skip": {"value": 0.0123456789, "low": math.nan}, "seeds": 305, "seen": True},
    "columns": {"position_m": [0.1, 0.25, 1e-15], "released": [1, 0, 2], "key": ["a", "b", "a"]},
    "printed": ["80,000", "97.37", "-0.2", "1e-05"],
    "nothing": None,
}


LONG = ("habits", "sheet", "steps", "learn", "next_earlier", "next_sensor", "plants")
LONG += ("summary_gate_too_low", *(f"run_{name}" for name in SCENARIOS))
LONG += ("summary_headland", "summary_half", "run_machine", "next_signs", "list_faults")
LONG += tuple(f"compare_{kind}" for kind in ("plants", "table", "two", "vary"))


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[pytest.mark.slow] * name.startswith(LONG)) for name in CALLS],
)
def test_a_call_gives_what_it_gave(name):
    found = moved(stored(name), result_of(name))
    assert not found, "\n".join([f"{name}: {len(found)} values moved", *map(str, found[:20])])


def test_each_call_is_stored_and_nothing_else_is():
    assert {path.stem for path in STORED.glob("*.json")} == set(CALLS)


def test_every_shipped_scenario_has_golden_results():
    assert {f"summary_{name}" for name in SCENARIOS} <= set(CALLS)
    assert len(SCENARIOS) >= 8


# the comparison


def changed(*path, to):
    """The sample with another value at a place; without it, if `to` is MISSING."""
    sample = copy.deepcopy(SAMPLE)
    part = sample
    for key in path[:-1]:
        part = part[key]
    if to is MISSING:
        del part[path[-1]]
    else:
        part[path[-1]] = to
    return sample


def test_the_same_and_what_was_written_and_read_again_is_the_same():
    assert moved(SAMPLE, copy.deepcopy(SAMPLE)) == []
    assert moved(json.loads(written(SAMPLE)), SAMPLE) == []


@pytest.mark.parametrize(
    ("path", "to"),
    [
        (("summary", "skip", "value"), 0.0123456789 * (1 + 1e-6)),
        (("summary", "skip", "value"), 0.0123456789 * (1 + 2e-9)),
        (("summary", "skip", "value"), None),
        (("summary", "skip", "value"), math.nan),
        (("summary", "skip", "low"), 0.01),
        (("summary", "seeds"), 306),
        (("summary", "seeds"), MISSING),
        (("summary", "seen"), False),
        (("summary", "seen"), 1),
        (("columns", "released"), [1, 1, 2]),
        (("columns", "released"), [1, 0]),
        (("columns", "released"), [1, 0, 2, 0]),
        (("columns", "released"), MISSING),
        (("columns", "position_m"), [0.1, 0.25, 1e-11]),
        (("columns", "key"), ["a", "b", "b"]),
        (("printed",), ["80,002", "97.37", "-0.2", "1e-05"]),
        (("printed",), ["80,000", "97.39", "-0.2", "1e-05"]),
        (("printed",), ["80,000", "97.37", "0.2", "1e-05"]),
        (("printed",), ["80,000", "97.37", "-0.2"]),
        (("nothing",), 0.0),
    ],
)
def test_what_moves_is_noticed_once(path, to):
    found = moved(SAMPLE, changed(*path, to=to))
    assert len(found) == 1
    assert found[0].path.startswith(".".join(path))


@pytest.mark.parametrize(
    ("path", "to"),
    [
        (("summary", "skip", "value"), 0.0123456789 * (1 + 1e-11)),
        (("columns", "position_m"), [0.1, 0.25, 0.0]),
        (("summary", "new"), 3),
        (("columns", "new"), [1, 2]),
        (("printed",), ["80,001", "97.38", "-0.3", "2e-05"]),
    ],
)
def test_rounding_and_what_is_added_are_not(path, to):
    assert moved(SAMPLE, changed(*path, to=to)) == []


def test_a_message_says_where_and_what():
    assert moved(SAMPLE, changed("columns", "released", to=[1, 0, 1])) == [
        Moved("columns.released[2]", 2, 1)
    ]
    assert str(Moved("columns.released[2]", 2, 1)) == "columns.released[2]: was 2, is 1"


def test_a_new_name_is_found_under_it_and_only_with_it():
    """Names of keys and columns, and words that stand for them."""
    now = changed("summary", "seeds", to=MISSING)
    now["summary"]["seed_count"] = 305
    now["columns"]["key"] = ["aa", "b", "aa"]
    renamed = {"seeds": "seed_count", "a": "aa"}
    assert moved(SAMPLE, now, renamed) == []
    assert {one.path for one in moved(SAMPLE, now, {})} == {
        *("summary.seeds", "columns.key[0]", "columns.key[2]")
    }
    now["summary"]["seed_count"] = 306
    assert moved(SAMPLE, now, renamed) == [Moved("summary.seeds", 305, 306)]


def test_printed_numbers_are_the_same_to_one_unit_of_the_last_place():
    assert same_printed("9.99", "10.0") and same_printed("1,000", "999")
    assert not same_printed("9.99", "10.2") and not same_printed("0.010", "0.012")


# plain data


def test_numbers_of_a_text_are_told_from_names_versions_and_paths():
    text = "80,000 per ha, -0.2 to +1.5 %, 3-4 mm (metersim 1.2.3), /etc/x9/y 7, banaj2022, 2e-05."
    assert printed(text) == ["80,000", "-0.2", "+1.5", "3", "4", "7", "2e-05"]


def test_sentences_may_be_said_otherwise_and_their_numbers_not():
    assert plain({"why": "needs 1200 Pa"}) == plain({"why": "1200 Pa is needed"})
    assert column(["a cell 1", "none of it", "a cell 2"]) == {
        "alike": [0, 1, 0],
        "printed": ["1", "2"],
    }


def test_a_long_column_of_floats_notices_each_of_its_values():
    values = [1.5 + 0.01 * k for k in range(400)]
    for place in (0, 35, 200, 399):
        other = [*values]
        other[place] *= 1 + 1e-4
        assert moved(column(values), column(other))
    assert moved(column(values), column([*values[:200], values[201], values[200], *values[202:]]))
    assert column([*range(400)]) == [*range(400)]
