"""How spacings are observed: the same seeds on a belt, from pulses, dug up and as plants."""

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.measures.limits import causes
from metersim.measures.observed import observed_spacings
from metersim.measures.plants import emerged, plants_tally
from metersim.measures.spacing import spacings_of
from metersim.measures.tally import tallied, tally_of
from metersim.run.simulation import simulate
from tests.strategies import BENCH, bytes_of, measured, ran, unlike, z_between

FIELD = {"furrow__surface": "field"}
PULSES = {"furrow__observed": "pulses"}
PLANTS = {**FIELD, "furrow__observed": "plants", "stand__plant_shift": 0.01}
OF_SPACINGS = ("per_place.", "per_spacing.", "precision", "spacing.")


def values(found, spacings):
    """Measures of spacings, or all others."""
    return {
        part.key: found[part.key].value
        for part in MEASURES
        if part.key.startswith(OF_SPACINGS) == spacings
    }


def test_spacings_from_pulses_are_those_that_the_sensor_shows():
    """Classes of a run observed by its pulses are the classes of its pulses, with dust or without.

    A miss is what the sensor shows: dust makes misses that no cell made.
    """
    clean, dusty = (measured(**PULSES, sensor__detection=seen) for seen in (1.0, 0.9))
    for found in (clean, dusty):
        for key in ("multiple", "miss"):
            assert found[f"per_spacing.{key}"].value == found[f"sensor.{key}"].value
        assert found.counts["spacings"] == found.counts["pulses"] - 1
    assert z_between(clean, dusty, "per_spacing.miss") > 4
    assert clean["cells.skip"].value == dusty["cells.skip"].value
    belt = measured()
    assert belt["per_spacing.miss"].value != belt["sensor.miss"].value  # control


@pytest.mark.parametrize("changes", [PULSES, {**FIELD, **PULSES}, PLANTS])
def test_the_meters_own_measures_do_not_follow_how_spacings_are_observed(changes):
    usual = {key: value for key, value in changes.items() if key != "furrow__observed"}
    as_usual, other = measured(**usual), measured(**changes)
    assert values(as_usual, False) == values(other, False)
    differ = {k for k, v in values(as_usual, True).items() if v != values(other, True)[k]}
    assert {"precision", "spacing.sd", "per_spacing.quality", "spacing.cp3"} <= differ


def test_spacings_of_plants_are_those_of_seeds_that_come_up():
    """By the stand's own emergence and shift, and not a second time in what `--plants` says."""
    run, dug = ran(**PLANTS), ran(**{**PLANTS, "furrow__observed": "dug"})
    assert bytes_of(run) == bytes_of(dug)
    up = emerged(dug, dug.scenario.stand.emergence, 0.01)
    assert values(measure(run), True) == values(measure(up), True)
    assert np.array_equal(observed_spacings(run), spacings_of(up.seeds.position))
    again = emerged(run, dug.scenario.stand.emergence, 0.01)
    assert values(measure(again), True) == values(measure(up), True)
    one, other = (plants_tally(r.origin, len(r.cells), r.pieces(), 4).sums for r in (run, dug))
    assert all(np.array_equal(one[name], other[name], equal_nan=True) for name in one)


def test_where_no_seed_fails_plants_at_their_seeds_are_dug_seeds():
    sure = {**PLANTS, "stand__emergence": 1.0, "stand__plant_shift": 0.0}
    dug = {**sure, "furrow__observed": "dug"}
    assert values(measured(**sure), True) == values(measured(**dug), True)


def test_pulses_know_no_scatter_and_no_hop():
    """Soil and belt move no pulse: the same spacings whatever they scatter."""
    soft, rough = (
        measured(**FIELD, **PULSES, furrow__soil_scatter=soil, furrow__firmer=firm)
        for soil, firm in ((0.0, True), (0.05, False))
    )
    assert values(soft, True) == values(rough, True)
    assert z_between(measured(**PULSES), measured(), "precision") > 4


@pytest.mark.parametrize("speed", [1.2, 2.8])
def test_a_field_observed_as_the_bench_is_is_never_better(speed):
    bench, field = (measured(**PULSES, **more, demand__speed=speed) for more in ({}, FIELD))
    for key, worse in (("spacing.sd", 1), ("precision", 1), ("per_spacing.quality", -1)):
        assert z_between(bench, field, key) * worse > -3, key
    assert z_between(bench, field, "drop_time.sd") > 4  # hops, and the row unit's shaking


@pytest.mark.parametrize(
    ("surface", "observed"),
    [("bench", "dug"), ("bench", "plants"), ("field", "belt")],
)
def test_what_cannot_be_observed_there_is_refused(surface, observed):
    with pytest.raises(BadInput, match=r"furrow\.observed: .*(nothing|no belt)"):
        BENCH.replace(furrow__surface=surface, furrow__observed=observed)
    with pytest.raises(BadInput, match="give"):
        load_scenario("maize_bench", [f"surface={surface}", f"observed={observed}"])


def test_a_surface_says_how_spacings_are_observed_unless_the_file_does():
    for surface, usual in (("bench", "belt"), ("field", "dug")):
        plain = BENCH.replace(furrow__surface=surface)
        said = BENCH.replace(furrow__surface=surface, furrow__observed=usual)
        assert plain.observed == said.observed == usual
        assert bytes_of(simulate(plain)) == bytes_of(simulate(said))
    assert BENCH.replace(**PULSES).observed == "pulses"


@pytest.mark.slow
@pytest.mark.parametrize("changes", [PULSES, {**FIELD, **PULSES}, PLANTS])
def test_engines_agree_and_pieces_add_up(changes):
    scenario = BENCH.replace(**changes, run__turns=15, sensor__detection=0.9)
    events, arrays = (simulate(scenario, engine=name) for name in ("events", "arrays"))
    assert unlike(events, arrays) == []
    whole = measure(tally_of(arrays, 4))
    assert values(measure(tallied(scenario, stretches=4)), True) == values(whole, True)
    near = values(measure(tally_of(events, 4)), True)
    assert near == pytest.approx(values(whole, True), rel=1e-9)


def test_seeds_that_the_observer_does_not_find_are_a_cause_of_their_own():
    """A tenth of the seeds gives no pulse: as many misses, beside those of the meter."""
    clear, dusty = (
        {one.name: one.share for one in causes(measured(**PULSES, sensor__detection=seen))}
        for seen in (1.0, 0.9)
    )
    found = measured(**PULSES, sensor__detection=0.9)
    unseen = found.counts["seeds"] - found.counts["pulses"]
    assert dusty["seeds without a pulse"] == unseen / found.counts["spacings"] > 0.09
    assert clear.get("seeds without a pulse", 0.0) < 0.05
