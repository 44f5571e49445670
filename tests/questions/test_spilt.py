"""Seed that leaks out of the pool: counted in sums, and said where it matters."""

import json

import pytest

from metersim.measures.estimates import measure
from metersim.measures.tally import tallied
from metersim.questions.shared.emptying import split
from metersim.questions.shared.rowwords import MUCH_SPILT, spilt_text
from metersim.run.draws import BLOCK
from metersim.run.simulation import simulate
from tests.strategies import BENCH

LEAKING = BENCH.replace(pool__clearance=4.4e-3, run__turns=2 * BLOCK // 30 + 5, pool__hopper=60.0)


@pytest.mark.slow
def test_what_leaks_is_summed_over_pieces_of_a_run():
    """As many as the last tick of the whole run says, whichever engine made it."""
    run = simulate(LEAKING)
    assert tallied(LEAKING).spilt == run.ticks.spilt[-1] > 1000
    short = LEAKING.lasting(600)
    assert tallied(short, engine="events").spilt == tallied(short).spilt > 0
    assert tallied(LEAKING.replace(pool__clearance=0.0)).spilt == 0  # negative control


def test_parts_of_a_row_leak_what_the_whole_does():
    """From a later cell on, what leaked before it does not count."""
    turns = LEAKING.run.turns
    first = (turns // 3) * 30
    whole, rest = tallied(LEAKING).spilt, tallied(LEAKING, first=first).spilt
    before = simulate(LEAKING).ticks
    tick = int(LEAKING.ticks_before(LEAKING.tick_angles(1) + first * 2 * 3.141592653589793 / 30)[0])
    assert whole - rest == before.spilt[tick]
    assert rest / whole == pytest.approx(2 / 3, abs=0.02)


def test_the_seed_that_a_row_needs_holds_what_leaks():
    row = split(measure(tallied(BENCH.replace(pool__clearance=4.4e-3, run__turns=60))))
    used = row.whole.total("seeds") + row.whole.spilt
    seeds = row.needed - row.whole.scenario.pool_fill
    assert seeds == pytest.approx(used * BENCH.seeds.seed_mass)


def test_share_and_mass_are_of_the_seed_used():
    found = measure(tallied(BENCH.replace(pool__clearance=4.4e-3, run__turns=60)))
    share = found.spilt / (found.spilt + found.total("seeds"))
    assert found.spilt_share == pytest.approx(share) and 0.1 < share < 0.3
    kilograms = found.spilt * BENCH.seeds.seed_mass
    assert f"{kilograms:.2g} kg, {100 * share:.2g} % of the seed used" in spilt_text(found)
    pounds = kilograms / 0.45359237
    assert f"{pounds:.2g} lb, " in spilt_text(found, "us")
    assert spilt_text(measure(tallied(BENCH.replace(run__turns=10)))) == ""


LOST = "Thin seed leaks out between disc and housing"


@pytest.mark.slow
def test_a_run_says_what_it_loses_where_that_matters(done):
    """In the answer from a thousandth on; with details, whatever it is."""
    options = ("run", "maize_bench", "--turns", "200", "--draws", "2", "--set")
    much = done(*options, "clearance_mm=4.4")
    assert much.count(LOST) == 1 and len(much.splitlines()) <= 24
    little = json.loads(done(*options, "clearance_mm=3.82", "--json", "-"))["spilt"]
    assert 0 < little["share_of_seed_used"] < MUCH_SPILT
    assert LOST not in done(*options, "clearance_mm=3.82")
    assert LOST in done(*options, "clearance_mm=3.82", "--details")
    none = json.loads(done(*options, "clearance_mm=0", "--json", "-"))["spilt"]
    assert none == {"seeds": 0, "mass_kg": 0.0, "share_of_seed_used": 0.0}
    assert LOST not in done(*options, "clearance_mm=0", "--details")
