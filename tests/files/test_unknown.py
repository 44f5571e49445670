"""What is not known of a setting: quantiles, tables in files and options, drawn scenarios."""

import json

import numpy as np
import pytest
from scipy import stats

from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.files.unknown import read_unknown
from metersim.machine.changes import KEYS
from metersim.machine.reading import load_scenario
from metersim.machine.sections import SECTIONS

PLACES = np.linspace(0.001, 0.999, 41)
LAYER = 'extends = "maize_bench"\ntitle = "own"\n'
SIZES = "size_cv_percent=5"  # in place of the lot's range


def unknown(key, **table):
    """What a table states of a key."""
    section = next(section for section, keys in KEYS.items() if key in keys)
    return read_unknown(section, KEYS[section][key], key, table)


def complaints(key, **table):
    with pytest.raises(BadInput) as caught:
        unknown(key, **table)
    return [fault.message for fault in caught.value.faults]


# ---------------------------------------------------------------- quantiles


def test_a_uniform_number_has_the_quantiles_of_scipy():
    one = unknown("hole_diameter_mm", low=4.5, high=5.5)
    exact = stats.uniform(4.5e-3, 1e-3).ppf(PLACES)
    assert [one.at(place) for place in PLACES] == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize(("mean", "sd"), [(4, 0.3), (0.2, 1), (15, 4), (0, 15)])
def test_a_normal_number_has_the_quantiles_of_scipy_cut_at_what_is_allowed(mean, sd):
    one = unknown("vacuum_kpa", mean=mean, sd=sd)
    cut = stats.truncnorm(-mean / sd, (15 - mean) / sd, loc=mean, scale=sd)
    assert [one.at(p) / 1e3 for p in PLACES] == pytest.approx(cut.ppf(PLACES), rel=1e-9)


@pytest.mark.parametrize(("mean", "sd"), [(30, 3), (24.5, 0.4), (4, 2)])
def test_a_normal_count_is_the_nearest_whole_number(mean, sd):
    one = unknown("cells", mean=mean, sd=sd)
    cut = stats.truncnorm((3.5 - mean) / sd, (400.5 - mean) / sd, loc=mean, scale=sd)
    drawn = [one.at(place) for place in PLACES]
    assert all(type(value) is int for value in drawn)
    assert drawn == np.floor(cut.ppf(PLACES) + 0.5).tolist()


def test_every_whole_number_of_a_range_and_every_value_of_a_list_is_equally_likely():
    places = (np.arange(1200) + 0.5) / 1200
    cells = unknown("cells", low=24, high=27)
    drawn, times = np.unique([cells.at(place) for place in places], return_counts=True)
    assert drawn.tolist() == [24, 25, 26, 27] and set(times) == {300}
    listed = unknown("cells", among=[30, 24, 26])
    assert [listed.at(place) for place in (0.3, 0.5, 0.7)] == [30, 24, 26]
    _, times = np.unique([listed.at(place) for place in places], return_counts=True)
    assert set(times) == {400}


def test_the_very_ends_stay_inside_what_is_stated():
    ends = (2.0**-60, 1 - 2.0**-53)
    for key, table in (
        ("cells", {"low": 24, "high": 27}),
        ("cells", {"mean": 4, "sd": 300}),
        ("vacuum_inh2o", {"low": 0.1, "high": 0.3}),
        ("vacuum_inh2o", {"mean": 14, "sd": 50}),
        ("surface", {"among": ["bench", "field"]}),
    ):
        one = unknown(key, **table)
        for place in ends:
            assert one.spec.complaint(one.at(place), one.spec.si_unit) is None
    cells = unknown("cells", low=24, high=27)
    assert [cells.at(place) for place in ends] == [24, 27]


@pytest.mark.parametrize("place", [0, 1, -0.1, 1.1, float("nan")])
def test_a_place_outside_is_refused(place):
    with pytest.raises(ValueError, match="allowed: between 0 and 1"):
        unknown("vacuum_kpa", low=3, high=4).at(place)


def test_the_middle_is_the_median_or_the_middle_of_the_list_as_written():
    assert unknown("vacuum_kpa", low=3, high=5).middle == 4e3
    assert unknown("vacuum_kpa", mean=4, sd=0.3).middle == pytest.approx(4e3, rel=1e-12)
    assert unknown("cells", among=[30, 24, 26]).middle == 24
    assert unknown("inner_guide", among=[True]).middle is True


def test_it_is_worded_as_the_user_wrote_it():
    said = {
        "hole_diameter_mm from 4.5 to 5.5": unknown("hole_diameter_mm", low=4.5, high=5.5),
        "vacuum_inh2o about 14, SD 0.5": unknown("vacuum_inh2o", mean=14, sd=0.5),
        "cells one of 24, 26": unknown("cells", among=[24, 26]),
        "inner_guide one of true, false": unknown("inner_guide", among=[True, False]),
    }
    assert {str(one): one for one in said.values()} == said
    assert unknown("rate_per_ha", low=70_000, high=90_000).said(8.0) == "rate_per_ha=80000"


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("key", "table", "words"),
    [
        ("cells", {"low": 30, "high": 24}, "low = 30 is not below high = 24"),
        ("cells", {"low": 30, "high": 30}, "give low below high, or one value"),
        ("cells", {"low": 24.5, "high": 30}, "low: 24.5 is not allowed; give a whole number"),
        ("cells", {"low": 3, "high": 30}, "low: 3 is not allowed; give a whole number from 4"),
        ("cells", {"mean": 500, "sd": 3}, "mean: 500 is not allowed; give a number from 4 to 400"),
        ("vacuum_kpa", {"mean": 4, "sd": 0}, "sd: 0 is not allowed; give a number above 0 and up"),
        ("vacuum_kpa", {"mean": 4, "sd": -1}, "sd: -1 is not allowed"),
        ("vacuum_kpa", {"mean": 4, "sd": 16}, "give a number above 0 and up to 15 kPa"),
        ("vacuum_kpa", {"mean": 4, "sd": 10**400}, "sd: 1000"),
        ("hole_diameter_mm", {"mean": 4, "sd": 5e-324}, "sd: 5e-324 is not allowed"),
        ("vacuum_kpa", {"mean": 4, "sd": True}, "sd: true is not allowed"),
        ("vacuum_inh2o", {"low": 14, "high": 61}, "high: 61 is not allowed; give a number from 0"),
        ("vacuum_kpa", {"low": float("nan"), "high": 4}, "low: nan is not allowed"),
        ("vacuum_kpa", {"low": "3,5", "high": 4}, "the decimal mark is a point"),
        ("vacuum_kpa", {"lo": 3, "high": 4}, "{'lo': 3, 'high': 4} is not allowed; give a number"),
        ("vacuum_kpa", {"low": 3}, "or {low = ..., high = ...}, {mean = ..., sd = ...} or {among"),
        ("vacuum_kpa", {"low": 3, "high": 4, "sd": 1}, "is not allowed"),
        ("vacuum_kpa", {}, "{} is not allowed"),
        ("vacuum_kpa", {"among": []}, "lists nothing; list a number from 0 to 15 kPa"),
        ("vacuum_kpa", {"among": 4}, "{'among': 4} is not allowed"),
        ("vacuum_kpa", {"among": [3, 4, 3.0]}, "lists 3.0 twice"),
        ("vacuum_kpa", {"among": [3, [4]]}, "[4] is not allowed"),
        ("inner_guide", {"low": 0, "high": 1}, "give true or false, or {among = [..., ...]}"),
        ("inner_guide", {"among": [0, 1]}, "among: 0 is not allowed; give true or false"),
        ("surface", {"among": ["road"]}, "'road' is not allowed"),
        ("lot", {"among": ["canola"]}, "this key takes no range"),
        ("turns", {"low": 1, "high": 9}, "this key takes no range"),
        ("tick", {"mean": 0.1, "sd": 0.1}, "this key takes no range"),
    ],
)
def test_a_malformed_table_is_refused_with_what_is_allowed(key, table, words):
    assert words in complaints(key, **table)[0]


def test_all_that_is_wrong_is_said_at_once():
    assert len(complaints("vacuum_kpa", low=-1, high=16)) == 2
    assert len(complaints("vacuum_kpa", mean=-1, sd=0)) == 2
    assert len(complaints("vacuum_kpa", among=[-1, "a", 4])) == 2


@pytest.mark.slow
def test_a_long_list_is_read_at_once():
    assert unknown("vacuum_kpa", among=[k / 1e4 for k in range(100_000)]).middle == 5e3


@pytest.mark.parametrize(
    "change",
    ["{low=3", "{low=3, high}", "{" * 2000, "{low=.5, high=1}", "{low=3, high=4}\nnotch={}"],
)
def test_a_table_that_is_no_toml_is_refused_in_an_option(change):
    with pytest.raises(BadInput, match="cannot be read") as caught:
        load_scenario("maize_bench", [f"vacuum_kpa={change}"])
    (fault,) = caught.value.faults
    assert (fault.where, fault.key) == ("changes", "vacuum.vacuum_kpa")
    assert "\n" not in str(fault) and len(str(fault)) < 300


# ---------------------------------------------------------------- scenarios


def test_files_and_options_state_the_same_and_the_sections_hold_the_middle(tmp_path):
    table = "{ low = 0.16, high = 0.2 }"
    path = tmp_path / "own.toml"
    path.write_text(f"{LAYER}[disc]\nhole_diameter_in = {table}\n[vacuum.vacuum_kpa]\namong=[3]\n")
    file = load_scenario(path)
    option = load_scenario("maize_bench", [f"hole_diameter_in={table}", "vacuum_kpa={among=[3]}"])
    assert file.unknown == option.unknown
    assert file.disc == option.disc == load_scenario("maize_bench", ["hole_diameter_in=0.18"]).disc
    assert file.vacuum.vacuum == 3e3


def test_a_value_takes_the_place_of_a_range_and_the_other_way_round_in_any_unit(tmp_path):
    below, above = tmp_path / "below.toml", tmp_path / "above.toml"
    below.write_text(f"{LAYER}[vacuum]\nvacuum_kpa = {{ low = 3, high = 5 }}\n")
    above.write_text('extends = "below.toml"\ntitle = "own"\n[vacuum]\nvacuum_inh2o = 14\n')
    sizes = load_scenario("maize_bench").lot.size_cvs  # the lot states them as a range
    assert load_scenario(above).unknown == (sizes,)
    again = load_scenario(above, ["vacuum_kpa={mean=4, sd=1}"])
    assert [str(one) for one in again.unknown] == [str(sizes), "vacuum_kpa about 4, SD 1"]
    known = load_scenario(below, ["vacuum_inh2o=14"])
    assert (known.unknown, known.vacuum) == ((sizes,), load_scenario(above).vacuum)
    assert load_scenario(above, [SIZES]).unknown == ()


TWO = ["vacuum_kpa={low=3,high=5}", "cells={among=[24,30]}", SIZES]


def test_what_is_replaced_is_known():
    scenario = load_scenario("maize_bench", TWO)
    left = scenario.replace(vacuum__vacuum=3e3)
    assert [one.name for one in left.unknown] == ["cells"] and left.vacuum.vacuum == 3e3
    assert scenario.replace(singulator__notch=1.0).unknown == scenario.unknown


def test_a_draw_sets_every_value_and_leaves_nothing_unknown():
    scenario = load_scenario("maize_bench", TWO)
    drawn = scenario.drawn([{"vacuum": 0.25, "cells": 0.1}[one.name] for one in scenario.unknown])
    assert (drawn.vacuum.vacuum, drawn.disc.cells, drawn.unknown) == (3500.0, 24, ())
    for section in set(SECTIONS) - {"vacuum", "disc"}:
        assert getattr(drawn, section) == getattr(scenario, section)
    with pytest.raises(ValueError, match="shorter"):
        scenario.drawn([0.5])


def test_a_draw_that_contradicts_names_what_was_drawn_and_the_ranges():
    scenario = load_scenario("maize_bench", ["hole_diameter_mm={low=3,high=9}", SIZES])
    with pytest.raises(BadInput) as caught:
        scenario.drawn([0.99])
    (fault,) = caught.value.faults
    assert "drawn were hole_diameter_mm=8.94: narrow hole_diameter_mm from 3 to 9" in fault.message
    with pytest.raises(BadInput, match="at the middle: hole_diameter_mm from 9 to 15"):
        load_scenario("maize_bench", ["hole_diameter_mm={low=9,high=15}", SIZES])


@pytest.mark.slow
def test_settings_that_are_written_hold_the_range(capsys):
    change = ["--set", "hole_diameter_mm={low=4,high=5}", "--set", SIZES, "--turns", "10"]
    assert main(["explain", "maize_bench", *change[:4], "--details"]) == 0
    said = "uncertain, and here at its middle: hole_diameter_mm from 4 to 5"
    assert said in capsys.readouterr().out
    assert main(["run", "maize_bench", *change, "--json", "-"]) == 0
    settings = json.loads(capsys.readouterr().out)["provenance"]["settings_si"]
    assert settings["disc"]["hole_diameter"] == pytest.approx({"low": 4e-3, "high": 5e-3})
    assert settings["disc"]["cells"] == 30


@pytest.mark.parametrize(
    ("section", "key", "spec"),
    [(section, key, spec) for section, keys in KEYS.items() for key, spec in keys.items()],
)
def test_every_field_but_texts_and_the_length_takes_a_list(section, key, spec):
    unit = spec.keys[key]
    value = {"switch": True, "choice": "".join(spec.choices[:1]), "text": "canola"}.get(spec.kind)
    if value is None:
        value = spec.high if unit is None else unit.from_si(spec.high)
    if section == "run" or spec.kind == "text":
        assert complaints(key, among=[value])
    else:
        assert unknown(key, among=[value]).middle == spec.to_si(value, unit)
