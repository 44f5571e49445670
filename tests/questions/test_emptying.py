"""A row whose hopper runs empty: what answers say of it, and the row before by itself."""

import json
import re

import pytest

from metersim.machine.reading import load_scenario
from metersim.measures.estimates import measure
from metersim.measures.limits import HOPPER
from metersim.measures.tally import tallied
from metersim.questions.shared.emptying import split

EMPTYING = ("maize_bench", "--set", "hopper_kg=0.8", "--turns", "150")


@pytest.fixture(scope="module")
def row():
    scenario = load_scenario("maize_bench", ["hopper_kg=0.8", "turns=150"])
    return split(measure([tallied(scenario, replicate=k) for k in range(2)]))


def test_the_row_before_is_that_of_a_full_hopper(row):
    """In whole turns before the first replicate starves, to the last digit."""
    turns = row.whole.emptied.cell // 30
    full = load_scenario("maize_bench", ["hopper_kg=50", f"turns={turns}"])
    alone = measure([tallied(full, replicate=k, stretches=24) for k in range(2)])
    assert row.before.estimates == alone.estimates
    assert row.before.counts["cells"] + row.rest.counts["cells"] == 2 * 150 * 30
    assert row.before["cells.skip"].high < 0.02 < 0.3 < row.rest["cells.skip"].low
    assert row.reported is row.before


def test_the_seed_that_a_row_needs_lasts_for_it(row):
    enough = row.whole.scenario.replace(pool__hopper=1.02 * row.needed)
    assert tallied(enough).emptied is None
    assert tallied(enough.replace(pool__hopper=0.9 * row.needed)).emptied  # control


def test_a_row_with_seed_enough_is_whole():
    whole = measure(tallied(load_scenario("maize_bench", ["turns=20"])))
    made = split(whole)
    assert (made.reported, made.before, made.rest) == (whole, None, None)


@pytest.mark.slow
def test_a_run_says_first_when_the_hopper_runs_empty(done):
    told = done("run", *EMPTYING)
    first, second, *_ = told.splitlines()
    found = re.match(
        r"The hopper runs empty after 40\d m \(4\.\d+ min\), with 59\d seeds \(0\.15 kg\) left",
        first,
    )
    assert found and second == "All numbers are those of the row before."
    assert f"Main cause of uneven spacing in the whole row: {HOPPER}" in told
    assert len(told.splitlines()) <= 24
    us = done("run", *EMPTYING, "--units", "us").splitlines()[0]
    assert re.match(r"The hopper runs empty after 1,3\d\d ft \(4\.\d+ min\), with 59\d seeds", us)
    control = done("run", "maize_bench", "--turns", "50")
    assert "hopper" not in control


@pytest.mark.slow
def test_details_and_json_have_the_rest_by_itself(done):
    details = done("run", *EMPTYING, "--details")
    assert "cells from there on, by themselves" in details
    assert re.search(
        rf"Causes of uneven spacing in the whole row\n\s+\S+ % of spacings: {HOPPER}", details
    )
    made = json.loads(done("run", *EMPTYING, "--json", "-"))
    end = made["hopper_emptied"]
    assert end["distance_m"] == pytest.approx(end["cell"] / 6) and 0 < end["pool_seeds"] < 600
    assert made["counts"]["cells"] == end["cell"] // 30 * 30
    assert made["counts"]["cells"] + made["rest"]["counts"]["cells"] == 4500
    assert made["limits"][0]["cause"] == HOPPER
    assert made["cells"]["skip"]["value"] < 0.05 < 0.3 < made["rest"]["cells"]["skip"]["value"]
    assert made["provenance"]["settings_si"]["run"]["turns"] == 150
    control = json.loads(done("run", "maize_bench", "--turns", "20", "--json", "-"))
    assert control["hopper_emptied"] is None and "rest" not in control


@pytest.mark.slow
def test_a_comparison_and_steps_say_so(done):
    told = " ".join(done("compare", *EMPTYING, "--vary", "notch=0,1").split())
    assert "At notch 0: the hopper runs empty after" in told
    assert f"Main cause: {HOPPER}" in told
    steps = done("steps", *EMPTYING[:3], "--cells", "1000")
    assert "The hopper of this scenario runs empty in its own run. Here it is kept full." in steps
    assert "kept full" not in done("steps", "maize_bench", "--cells", "1000")  # control


def test_a_run_shorter_than_the_memory_of_its_pool_says_so(done):
    told = done("run", "gate_too_low", "--turns", "10")
    assert "Too short for its intervals: the pool is starved. Give 20 turns at least." in told
    assert "Too short" not in done("run", "gate_too_low", "--turns", "20")  # control
    assert (
        json.loads(done("run", "gate_too_low", "--turns", "10", "--json", "-"))["turns_at_least"]
        == 20
    )
