"""Scenario files in: units, layers of files, changes, and nothing but `BadInput` for the rest."""

import dataclasses
import datetime
import math
import re
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.files.fields import keys_of, specs
from metersim.machine.changes import all_keys, section_of
from metersim.machine.coefficients import USUAL
from metersim.machine.given import scenario_toml
from metersim.machine.reading import (
    MAX_EXTENDS,
    load_scenario,
    parse_scenario,
    shipped_scenarios,
)
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS, all_fields
from metersim.machine.seedlot import shipped_lots
from metersim.machine.stations import usual_stations

BENCH = shipped_scenarios()["maize_bench"]
BENCH_TEXT = BENCH.read_text(encoding="utf-8")
LOT_TEXT = shipped_lots()["canola"].read_text(encoding="utf-8")


def written(folder, text, name="own.toml"):
    """A file with this text."""
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def of(scenario, section, name):
    return getattr(getattr(scenario, section), name)


def table():
    """The bench as a parsed file that a test may spoil."""
    return tomllib.loads(BENCH_TEXT)


def parsed(spoilt):
    return parse_scenario(spoilt, BENCH.parent, BENCH)


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("a", "b", "section", "name", "factor"),
    [
        ("speed_kmh", "speed_mph", "demand", "speed", 1.609344),  # a mile, exact
        ("speed_kmh", "speed_m_s", "demand", "speed", 3.6),
        ("vacuum_kpa", "vacuum_inh2o", "vacuum", "vacuum", 0.24908891),  # sp811, from memory
        ("rate_per_ha", "rate_per_acre", "demand", "rate", 2.4710538147),  # derived
        ("row_spacing_cm", "row_spacing_in", "demand", "row_spacing", 2.54),  # an inch, exact
        ("hole_diameter_mm", "hole_diameter_in", "disc", "hole_diameter", 25.4),
        ("hopper_kg", "hopper_lb", "pool", "hopper", 0.45359237),  # a pound, exact
    ],
)
def test_both_families_of_units_state_the_same(a, b, section, name, factor):
    value = {"rate": 80_000.0, "row_spacing": 40.0}.get(name, 4.0)
    one = load_scenario("maize_bench", [f"{a}={value}"])
    two = load_scenario("maize_bench", [f"{b}={value / factor!r}"])
    assert of(one, section, name) == pytest.approx(of(two, section, name), rel=1e-10)
    off = load_scenario("maize_bench", [f"{b}={value / factor * 1.001!r}"])
    assert of(one, section, name) != pytest.approx(of(off, section, name), rel=1e-4)


@pytest.mark.parametrize(
    ("section", "name"), [key for key, spec in all_fields().items() if len(spec.keys) > 1]
)
def test_ends_of_a_range_are_inside_it_in_every_unit(section, name):
    spec = all_fields()[section, name]
    for unit in spec.keys.values():
        assert spec.complaint(unit.from_si(spec.low), unit) is None
        assert spec.complaint(unit.from_si(spec.high), unit) is None
        low, high = unit.from_si(spec.low), unit.from_si(spec.high)
        assert spec.complaint(high + 1e-6 * abs(high), unit)
        assert spec.complaint(low - 1e-6 * abs(low) - 1e-9, unit)
        assert spec.low <= spec.to_si(unit.from_si(spec.low), unit)
        assert spec.to_si(unit.from_si(spec.high), unit) <= spec.high


def test_a_minus_zero_is_a_zero():
    vacuum = load_scenario("maize_bench", ["vacuum_kpa=-0.0"]).vacuum.vacuum
    assert math.copysign(1, vacuum) == 1


# ---------------------------------------------------------------- layers of files


def test_a_file_that_extends_another_changes_what_it_states_and_nothing_else(tmp_path):
    path = written(
        tmp_path,
        'extends = "maize_bench"\ntitle = "own"\n[demand]\nspeed_mph = 5\n[vacuum]\n'
        "vacuum_inh2o = 14\n[disc]\nhole_diameter_in = 0.17\n",
    )
    own, bench = load_scenario(path), load_scenario("maize_bench")
    changed = {
        (section, name): of(own, section, name)
        for section, name in all_fields()
        if of(own, section, name) != of(bench, section, name)
    }
    assert changed == {
        ("demand", "speed"): pytest.approx(5 * 1609.344 / 3600),
        ("vacuum", "vacuum"): pytest.approx(14 * 249.08891),
        ("disc", "hole_diameter"): pytest.approx(0.17 * 0.0254),
    }
    assert (own.title, own.name, own.shows) == ("own", "own", "")


def test_units_may_change_at_every_layer(tmp_path):
    for k, line in enumerate(["speed_kmh = 5", "speed_mph = 4", "speed_m_s = 2", "speed_kmh = 8"]):
        parent = f"own{k - 1}.toml" if k else "maize_bench"
        path = written(tmp_path, f'extends = "{parent}"\n[demand]\n{line}\n', f"own{k}.toml")
    assert load_scenario(path).demand.speed == pytest.approx(8 / 3.6)
    assert load_scenario(path, ["speed_mph=1"]).demand.speed == pytest.approx(0.44704)  # exact


def test_ten_files_may_extend_one_another_and_eleven_not(tmp_path):
    written(tmp_path, BENCH_TEXT, "own0.toml")
    for k in range(1, MAX_EXTENDS + 2):
        path = written(tmp_path, f'extends = "own{k - 1}.toml"\n', f"own{k}.toml")
        if k <= MAX_EXTENDS:
            assert load_scenario(path).disc.cells == 30
    with pytest.raises(BadInput, match="more than ten deep"):
        load_scenario(path)


@pytest.mark.parametrize("absolute", [False, True])
def test_a_path_starts_from_the_file_that_states_it(tmp_path, monkeypatch, absolute):
    written(tmp_path, LOT_TEXT, "shed/seed.toml")
    base = BENCH_TEXT.replace('"maize_large_flat"', '"seed.toml"').replace("= 4.5", "= 1.1")
    there = written(tmp_path, base, "shed/base.toml")
    parent = there if absolute else "../shed/base.toml"
    path = written(tmp_path, f'extends = "{parent}"\n[seed]\nsize_factor = 1.1\n', "field/own.toml")
    monkeypatch.chdir("/")
    assert load_scenario(path).lot.crop == "canola"
    written(tmp_path, LOT_TEXT.replace('"canola"', '"rape"'), "field/seed.toml")
    assert load_scenario(path).lot.crop == "canola"
    path = written(tmp_path, path.read_text() + 'lot = "seed.toml"\n', "field/own.toml")
    assert load_scenario(path).lot.crop == "rape"


def test_a_lot_named_in_a_change_lies_in_the_working_folder(tmp_path, monkeypatch):
    written(tmp_path, LOT_TEXT, "seed.toml")
    monkeypatch.chdir(tmp_path)
    own = load_scenario("maize_bench", ["lot=seed.toml", "hole_diameter_mm=1.1"])
    assert own.lot.crop == "canola"


def test_a_fault_names_the_file_that_it_is_in(tmp_path):
    base = written(tmp_path, BENCH_TEXT.replace("cells = 30", "cells = 3"), "base.toml")
    path = written(tmp_path, 'extends = "base.toml"\n[vacuum]\nvacuum_kpa = 99\n')
    with pytest.raises(BadInput) as caught:
        load_scenario(path)
    assert {fault.key: fault.where for fault in caught.value.faults} == {
        "disc.cells": str(base),
        "vacuum.vacuum_kpa": str(path),
    }


@pytest.mark.parametrize(
    "content",
    [
        BENCH_TEXT.encode("utf-8-sig"),
        BENCH_TEXT.replace("\n", "\r\n").encode(),
        b"# \xc3\xa9\n" + BENCH_TEXT.encode(),
        BENCH_TEXT.replace(" = ", "=").encode(),
    ],
    ids=["byte order mark", "CRLF", "comment", "no blanks"],
)
def test_how_an_editor_saves_a_file_makes_no_difference(content, tmp_path):
    path = tmp_path / "maize_bench.toml"
    path.write_bytes(content)
    assert load_scenario(path) == load_scenario("maize_bench")


# ---------------------------------------------------------------- changes


@pytest.mark.parametrize("change", ["cells=24", "disc.cells=24", " cells = 24 ", "cells= 24"])
def test_a_change_is_made_with_and_without_its_section(change):
    assert load_scenario("maize_bench", [change]).disc.cells == 24


def test_a_change_takes_every_kind_of_value():
    changes = ["inner_guide=true", 'surface="field"', "notch=-1.5", "lot=maize_small_round"]
    own = load_scenario("maize_bench", changes)
    assert own.guide.inner_guide is True and own.furrow.surface == "field"
    assert own.singulator.notch == -1.5 and own.lot.name == "maize_small_round"


def test_of_two_changes_of_one_key_the_later_counts():
    assert load_scenario("maize_bench", ["cells=20", "cells=24"]).disc.cells == 24


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ("hole_diameter_mm=8", "disc.hole_diameter_mm"),
        ("hole_diameter_in=0.3", "disc.hole_diameter_in"),
        ("hopper_lb=0.01", "pool.hopper_lb"),
        ("cells=400", "disc.cells"),
        ("notch=9", "singulator.notch"),
    ],
)
def test_a_contradiction_that_a_change_makes_names_the_change_as_it_was_given(change, key):
    with pytest.raises(BadInput) as caught:
        load_scenario("maize_bench", [change])
    assert [(fault.where, fault.key) for fault in caught.value.faults] == [("changes", key)]


def test_a_size_factor_that_no_seed_can_have_is_told_as_one(tmp_path):
    # a lot of 2.9 g seeds 25 mm long; twice the size would be 50 mm
    values = {"length_mm": 25, "width_mm": 20, "thickness_mm": 10, "seed_mass_mg": 2900}
    lines = shipped_lots()["maize_large_flat"].read_text(encoding="utf-8").splitlines()
    for k, line in enumerate(lines):
        key = line.partition(" = ")[0]
        lines[k] = f"{key} = {values[key]}" if key in values else line
    lot = f"lot={written(tmp_path, chr(10).join(lines))}"
    assert load_scenario("maize_bench", [lot, "size_factor=1"]).lot.length == 0.025
    with pytest.raises(BadInput) as caught:
        load_scenario("maize_bench", [lot, "size_factor=2"])
    assert {(fault.where, fault.key) for fault in caught.value.faults} == {
        ("changes", "seed.size_factor")
    }


def test_every_key_is_found_by_its_name():
    assert len(all_keys()) == len(set(all_keys()))
    for section, kind in SECTIONS.items():
        for key in keys_of(specs(kind)):
            assert section_of(key) == section_of(f"{section}.{key}") == (section, key)
            assert section_of(f"other.{key}") is section_of(f"{key}s.") is None


@pytest.mark.parametrize("key", sorted(all_keys()))
def test_a_key_with_one_letter_doubled_is_hinted_at(key):
    section, _ = section_of(key)
    spoilt = table()
    spoilt.setdefault(section, {})[key[:2] + key[1:]] = 1
    with pytest.raises(BadInput) as caught:
        parsed(spoilt)
    (message,) = {
        f.message for f in caught.value.faults if f.key == f"{section}.{key[:2] + key[1:]}"
    }
    assert message.startswith("unknown key; did you mean '")
    meant = message.split("'")[1]
    declared = keys_of(specs(SECTIONS[section]))
    assert declared[meant].name == declared[key].name


# ---------------------------------------------------------------- anything at all

CALM = settings(
    max_examples=150,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
SCALARS = (
    st.none().map(lambda _: "")
    | st.booleans()
    | st.integers()
    | st.integers(13_000, 20_000).map(lambda bits: 1 << bits)  # more digits than Python prints
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from([*shipped_lots(), *shipped_scenarios(), "no.toml", "a\0.toml", "a" * 300])
    | st.dates()
    | st.times()
    | st.just(datetime.datetime(2020, 1, 2))
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=5,
)


def check(make):
    """A scenario, or `BadInput` whose faults are one line each and say something."""
    try:
        made = make()
    except BadInput as error:
        lines = [str(fault) for fault in error.faults]
        assert lines and all(fault.message for fault in error.faults)
        assert not any("\n" in line or "\r" in line for line in lines)
        return False
    assert isinstance(made, Scenario)
    return True


@st.composite
def spoilt_tables(draw):
    """The bench with values, keys and sections added, changed and left out."""
    spoilt = table()
    for _ in range(draw(st.integers(1, 4))):
        section = draw(st.sampled_from(sorted(SECTIONS)) | st.text(max_size=5))
        part = spoilt.get(section)
        if not isinstance(part, dict) or draw(st.integers(0, 9)) == 0:
            spoilt[section] = draw(VALUES)
        else:
            key = draw(st.sampled_from(all_keys()) | st.sampled_from(sorted(part) or ["x"]))
            part[draw(st.just(key) | st.text(max_size=5))] = draw(VALUES)
    return spoilt


@pytest.mark.slow
@CALM
@given(spoilt_tables())
def test_a_table_of_anything_is_a_scenario_or_bad_input(spoilt):
    check(lambda: parsed(spoilt))


@st.composite
def spoilt_texts(draw):
    """The text of a shipped scenario with pieces cut, doubled and put in."""
    text = draw(st.sampled_from(sorted(shipped_scenarios().items())))[1].read_text("utf-8")
    pieces = st.text(max_size=4) | st.sampled_from(
        [
            "nan",
            "inf",
            "true",
            "-0.0",
            "1e400",
            "\0",
            "\ufeff",
            "\r",
            '"',
            "'''",
            "[[",
            "]",
            "=",
            "\n",
        ]
        + ["0x" + "f" * 5000, "a." * 2000 + "b=1", "[" * 2000, "extends=3\n", 'lot="canola"\n']
    )
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        stop = draw(st.integers(start, min(start + 12, len(text))))
        text = text[:start] + draw(pieces | st.just(text[start:stop] * 2)) + text[stop:]
    return text


@pytest.mark.slow
@CALM
@given(spoilt_texts())
def test_a_file_of_anything_is_a_scenario_or_bad_input(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    check(lambda: load_scenario(path))


@pytest.mark.slow
@CALM
@given(
    st.lists(
        st.tuples(
            st.sampled_from(all_keys()) | st.text(max_size=6),
            st.text(max_size=6) | st.integers().map(str) | st.floats().map(str),
        ).map("=".join)
        | st.text(max_size=8),
        min_size=1,
        max_size=3,
    )
)
def test_a_change_of_anything_is_a_scenario_or_bad_input(changes):
    check(lambda: load_scenario(BENCH, changes))


def test_the_check_tells_good_from_bad():
    """Negative control: the bench passes, and other errors than `BadInput` are not swallowed."""
    assert check(lambda: parsed(table()))
    assert not check(lambda: parsed({}))
    with pytest.raises(TypeError):
        check(lambda: parsed(None))


def test_a_scenario_may_name_a_crop_as_people_do(tmp_path):
    scenario = load_scenario("maize_bench", "lot=corn")
    assert scenario.lot == load_scenario("maize_bench").lot and scenario.seed.lot == "corn"
    path = tmp_path / "own.toml"
    path.write_text('extends = "maize_bench"\ntitle = "own"\n[seed]\nlot = "corn"\n')
    assert load_scenario(path).lot == scenario.lot


def test_an_inner_gap_is_an_inner_guide():
    """Its own gap is that of the edge inside; without one it is a share of the seed's width."""
    plain = load_scenario("maize_bench")
    assert plain.guide.inner_gap is None and not plain.guide.inner
    assert usual_stations(plain).singulator.inner_gap == math.inf
    gap, guide = (
        load_scenario("maize_bench", change) for change in ("inner_gap_mm=1.6", "inner_guide=true")
    )
    assert gap.guide.inner_gap == pytest.approx(1.6e-3) and gap.guide.inner and guide.guide.inner
    own, usual = usual_stations(gap), usual_stations(guide)
    assert own.singulator.inner_gap == gap.guide.inner_gap
    assert usual.singulator.inner_gap == pytest.approx(USUAL.inner_gap * guide.seeds.width)
    # all else is that of any inner guide
    edge = dataclasses.replace(own.singulator, inner_gap=usual.singulator.inner_gap)
    assert dataclasses.replace(own, singulator=edge) == usual


def test_a_scenario_names_its_units_and_is_written_in_them(tmp_path):
    """A field without a US unit keeps its own; the same settings come back."""
    path = tmp_path / "own.toml"
    path.write_text('title = "own"\nextends = "maize_field"\nunits = "us"\n')
    found = load_scenario(path)
    assert found.units == "us" and load_scenario("maize_field").units == ""
    text = scenario_toml(found)
    assert 'units = "us"' in text and "speed_mph = " in text and "hole_diameter_in = " in text
    assert not re.search(r"_(mm|cm|kmh|kpa|kg|per_ha) = ", text)
    path.write_text(text)
    again = load_scenario(path)
    assert again.demand.speed == pytest.approx(found.demand.speed, rel=1e-11)
    path.write_text('title = "own"\nextends = "maize_field"\nunits = "imperial"\n')
    with pytest.raises(BadInput, match='units: is not allowed; give "metric" or "us"'):
        load_scenario(path)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("gauge_error_percent=10", "hoses.gauge_error has no effect"),
        ("curve_radius_m=30", "toolbar.curve_radius has no effect"),
        ("start=empty", "travel.start has no effect"),
    ],
)
def test_settings_that_take_a_fan_are_named_without_one(change, said):
    """They would be taken for effective; with a fan they are."""
    (line,) = set(load_scenario("maize_field", [change]).warnings()) - USUAL_WARNINGS
    assert line == f"without fan.shut_off_kpa, {said}"
    made = load_scenario("maize_field", [change, "shut_off_kpa=8"])
    assert not set(made.warnings()) - USUAL_WARNINGS  # negative control


def test_a_belt_that_does_not_follow_the_speed_is_named():
    """The belt of a conveyor turns at the usual speed of travel."""
    changes = ["delivery=conveyor", "speeds=0 s 4 km/h, 9 s 8 km/h"]
    (line,) = set(load_scenario("maize_field", changes).warnings()) - USUAL_WARNINGS
    assert "belt keeps one speed" in line
    for one in changes:  # negative control: each alone is taken as it is
        assert not set(load_scenario("maize_field", [one]).warnings()) - USUAL_WARNINGS


USUAL_WARNINGS = set(load_scenario("maize_field").warnings())
