"""The cases and the checklist are those that were written before the diagnosis was first run."""

import pytest

from tests.validation.blind.frozen import CASES, CHECKLIST, FROZEN, digest, stated_digests, table

OUTSIDE, ORDER = "outside", "in order"


@pytest.mark.parametrize("path", FROZEN, ids=lambda path: path.name)
def test_a_file_is_as_it_was_frozen(path):
    assert digest(path.read_bytes()) == stated_digests()[path.name], (
        f"{path.name} changed. It was frozen before the diagnosis was run; a case that is changed "
        "after a look at an answer tests nothing."
    )


def test_a_change_is_noticed():
    """Negative control."""
    data = CASES.read_bytes()
    assert digest(data.replace(b"tube_wear=0.9", b"tube_wear=0.8")) != digest(data)


def test_there_are_thirty_faults_and_four_machines_in_order():
    truths = [case["truth"] for case in table(CASES)["case"]]
    assert len(truths) - truths.count(ORDER) == 30
    assert truths.count(ORDER) == 4
    assert truths.count(OUTSIDE) >= 6


def test_the_checklist_names_no_fault_without_a_need():
    items = table(CHECKLIST)["item"]
    assert all(item["needs"] for item in items)
    assert items[-1]["name"] == ORDER
