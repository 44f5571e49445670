"""Assumed coefficients: their draws are spread evenly, stay in range and widen a prediction."""

import dataclasses
import itertools

import numpy as np
import pytest

import metersim as m
from metersim.files.faults import BadInput
from metersim.files.fields import Checked, number, specs
from metersim.machine.assumed import BLOCK, PLACES, assumed_of, drawn_values, places, value_at
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.load import STALLS, speed_kept
from metersim.machine.posterior import Posterior, read_meter, shipped_posterior
from metersim.run.simulation import simulate
from metersim.run.toolbar import simulate_pass
from tests.strategies import BENCH, bytes_of

ASSUMED = assumed_of(Coefficients)
SHIPPED = shipped_posterior()


@pytest.mark.parametrize("name", ASSUMED)
def test_a_range_holds_the_usual_value_and_lies_in_what_is_allowed(name):
    spec, low, usual, high = ASSUMED[name]
    assert spec.low <= low < usual < high <= spec.high
    assert usual == getattr(USUAL, name)
    assert "; assumption" in spec.meaning
    factor = spec.units[0].factor if spec.units else 1.0
    least, most = spec.meaning.rpartition(", ")[2].split(" to ")
    assert float(least) * factor == pytest.approx(low, rel=1e-3, abs=1e-12)
    assert float(most) * factor == pytest.approx(high, rel=1e-3)


@pytest.mark.parametrize(("low", "usual", "high"), [(0.5, 1.0, 8.0), (0.0, 1.0, 5.0)])
def test_the_ends_the_middle_and_the_quarters(low, usual, high):
    """Even on the scale of logarithms above 0, else on the plain one."""
    assert value_at(0, low, usual, high) == low
    assert value_at(0.5, low, usual, high) == usual
    assert value_at(1, low, usual, high) == pytest.approx(high, rel=1e-15)
    quarters = [value_at(place, low, usual, high) for place in (0.25, 0.75)]
    wanted = [(low * usual) ** 0.5, (usual * high) ** 0.5] if low else [0.5, 3.0]
    assert quarters == pytest.approx(wanted)


@pytest.mark.parametrize("name", ["talc_friction", "any name"])
def test_the_first_draws_represent_all(name):
    """So many places of the first 2, 4, 8 lie one in each stratum; those of others do not."""
    found = np.array(places(name))
    assert found.min() > 0 and found.max() < 1 and len(found) == PLACES
    for count in (2, 4, 8, 16, 32, 64, 128, 256):
        assert sorted((count * found[:count]).astype(int)) == list(range(count))
    assert sorted((32 * found[5:37]).astype(int)) != list(range(32))  # negative control


def test_coefficients_are_nearly_uncorrelated():
    """No pair beyond 4 standard errors of independent ranks; a name with itself is."""
    rows = np.array([places(name) for name in ASSUMED])
    for count in (32, PLACES):
        found = np.corrcoef(rows[:, :count])
        pairs = [found[pair] for pair in itertools.combinations(range(len(rows)), 2)]
        assert np.max(np.abs(pairs)) < 4 / (count - 1) ** 0.5 < found[0, 0]


@pytest.mark.parametrize("many", [1, BLOCK, 100, PLACES])
def test_first_places_do_not_depend_on_how_many_are_asked_for(many):
    assert places("talc_friction", many)[:many] == places("talc_friction")[:many]


def test_draws_are_the_same_in_every_process():
    """A regression: places depend on the name alone."""
    assert [int(PLACES * place) for place in places("talc_friction")[:4]] == FIRST


FIRST = [236, 49, 115, 180]


def test_a_declaration_is_all_that_a_new_one_needs():
    @dataclasses.dataclass(frozen=True, kw_only=True)
    class Own(Checked):
        leak: float = number("mm", 0, 9, "a leak; assumption", default=2.0, drawn=(1.0, 4.0))
        fixed: float = number("", 0, 9, "a number; assumption", default=2.0)

    assert specs(Own)["leak"].meaning == "a leak; assumption, 1 to 4"
    known = np.zeros((PLACES + 1, 0))
    blocks = [drawn_values(Own, known, block=block) for block in range(PLACES // BLOCK + 1)]
    assert all(set(one) == {"leak"} for one in blocks)
    drawn = [value for one in blocks for value in one["leak"]]
    assert len(drawn) == PLACES + 1 and all(1e-3 <= one <= 4e-3 for one in drawn)
    assert np.median(drawn[:PLACES]) == pytest.approx(2e-3, rel=0.02)
    assert drawn[PLACES] == drawn[0]
    assert drawn_values(Own, np.zeros((PLACES, 0)), held=["leak"]) == {}


@pytest.mark.parametrize("name", ASSUMED)
def test_draws_go_neither_with_nor_against_what_is_known_of_a_machine(name):
    """In no block of draws; in the order of the name they do (negative control)."""
    known = np.array([[getattr(one, key) for key in SHIPPED.varied] for one in SHIPPED.draws])
    drawn = np.array([getattr(SHIPPED.draw(k), name) for k in range(PLACES)])
    ranks = np.argsort(np.argsort(drawn)).astype(float)

    def most(values, start):
        some = slice(start, start + BLOCK)
        return np.max(np.abs(np.corrcoef(values[some], known[some].T)[0, 1:]))

    starts = range(0, PLACES, BLOCK)
    assert max(most(ranks, start) for start in starts) < 0.2
    plain = np.array(places(name))
    assert np.mean([most(plain, start) for start in starts]) > 0.2
    assert sorted(ranks) == list(range(PLACES))
    assert sorted(ranks[:BLOCK] // (PLACES / BLOCK)) == list(range(BLOCK))


def test_the_draws_of_a_machine_differ_in_assumed_coefficients_alone():
    for k in (0, 1, 31, 255, 256):
        stored, drawn = SHIPPED.draws[k % 256], SHIPPED.draw(k)
        assert dataclasses.replace(drawn, **{name: getattr(USUAL, name) for name in ASSUMED}) == (
            stored
        )
        assert all(getattr(drawn, name) != getattr(USUAL, name) for name in ASSUMED)
    assert not set(SHIPPED.varied) & set(ASSUMED)  # what is learned of a machine stays as it was


def test_a_meter_file_is_drawn_about_unless_it_holds_the_coefficient(tmp_path):
    meter = Posterior(
        draws=(
            dataclasses.replace(USUAL, hop=0.01, talc_friction=0.9),
            dataclasses.replace(USUAL, hop=0.02, talc_friction=0.9),
        ),
        share=(0.003, 0.003),
        spread=(0.1, 0.1),
        made="by hand",
        title="mine",
    )
    few = drawn_values(Coefficients, np.zeros((2, 0)))  # two draws are too few for another order
    assert meter.draw(0).talc_friction == few["talc_friction"][0] != 0.9
    held = dataclasses.replace(meter, held=("talc_friction",))
    path = tmp_path / "mine.toml"
    path.write_text(held.to_toml())
    again = read_meter(str(path))
    assert "talc_friction" in again.held and again.draws == held.draws
    for one in (held, again):
        assert [one.draw(k).talc_friction for k in range(3)] == [0.9] * 3
        assert one.draw(1).hop == 0.02
        assert one.draw(1).damp_span == few["damp_span"][1] != USUAL.damp_span
    path.write_text(meter.to_toml())
    assert "talc_friction" not in path.read_text()
    scenario = m.load_scenario("maize_bench")
    named = dataclasses.replace(scenario, meter=read_meter(str(path)))
    assert named.posterior.draw(1).talc_friction == few["talc_friction"][1]


# ---------------------------------------------------------------- where they act

FAN = {"fan__shut_off": 9e3, "toolbar__rows": 2}
GAPPED = {"gap__running_gap": 7e-4}
OIL = {"drive__kind": "oil", "drive__oil_droop": 0.3}
DAMP = {"conditions__dampness": 1.0}
GRAPHITE, TALC = ({"conditions__flow_agent": one} for one in ("graphite", "talc"))
BELT = {"tube__delivery": "conveyor"}
WORN_EDGE = {"singulator__edge_wear": 1.0, "disc__hole_diameter": 5.2e-3}
USES = {  # a scenario that uses the effect of each
    "graphite_friction": GRAPHITE,
    "talc_friction": TALC,
    "graphite_drying": GRAPHITE | DAMP,
    "talc_drying": TALC | DAMP,
    "damp_friction": DAMP,
    "damp_avalanche": DAMP,
    "damp_span": DAMP | {"pool__gate_opening": 0.03, "run__turns": 60},
    "damp_slowness": DAMP,
    "seconds_friction": GRAPHITE,
    "fill_friction": GRAPHITE,
    "tilt_follow": {"conditions__slope_along": 0.2},
    "chamber_width": GAPPED,
    "line_loss": GAPPED,
    "seal_friction": OIL,
    "lip_width": OIL,
    "pool_torque": OIL,
    "singulator_torque": OIL,
    "bearing_torque": OIL,
    "trickle": {"pool__clearance": 0.008},
    "worn_rim": {"disc__worn_holes": "every 6"},
    "chipped_rim": {"disc__chipped_holes": "every 6"},
    "wrong_side_seal": {"disc__wrong_way_round": True},
    "worn_seal": {"vacuum__seal_wear": 1.0},
    "open_chamber": {"vacuum__chamber_open": True},
    "edge_recession": WORN_EDGE,
    "uneven_teeth": WORN_EDGE,
    "worn_arc": {"cutoff__cutoff_wear": 1.0},
    "wrong_arc": {"cutoff__made_for": "small"},
    "belt_ratio": BELT,
    "compartment_scatter": BELT,
    "conveyor_hop": BELT | {"furrow__surface": "field"},
    "leak_in_pool": FAN,
    "leak_of_seated": FAN,
}


def records(name, value, **changes):
    """The bytes of a short run with one coefficient at a value, of all rows on a fan."""
    scenario = dataclasses.replace(
        BENCH.replace(**{"run__turns": 12, "vacuum__vacuum": 2.5e3, **changes}),
        coefficients=dataclasses.replace(USUAL, **{name: value}),
    )
    if "toolbar__rows" in changes:
        return [bytes_of(one.run) for one in simulate_pass(scenario).rows]
    return bytes_of(simulate(scenario))


@pytest.mark.parametrize("name", ASSUMED)
def test_a_coefficient_acts_where_its_effect_is_used_and_nowhere_else(name):
    _, low, usual, high = ASSUMED[name]
    assert records(name, low) == records(name, usual) == records(name, high)
    used = [records(name, value, **USES[name]) for value in (low, high)]
    assert used[0] != used[1]


def test_a_draw_in_which_the_motor_would_stall_turns_slowly():
    """A motor that just turns with the usual values; one that stalls with them is refused."""
    machines = [SHIPPED.draw(k) for k in range(32)]
    bench = BENCH.replace(**OIL)
    kept = [speed_kept(dataclasses.replace(bench, coefficients=one)) for one in machines]
    assert len(set(kept)) == 32 and min(kept) < speed_kept(bench) < max(kept)
    electric = [speed_kept(dataclasses.replace(BENCH, coefficients=one)) for one in machines]
    assert set(electric) == {1.0}
    weak = bench.replace(drive__oil_droop=0.6, gap__rated_torque=0.3)
    kept = [speed_kept(dataclasses.replace(weak, coefficients=one)) for one in machines]
    assert min(kept) == STALLS < speed_kept(weak)
    with pytest.raises(BadInput, match="stalls"):
        weak.replace(gap__rated_torque=0.1)
