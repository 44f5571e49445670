"""Published cases: all shipped ones read, and whatever is wrong with a file is said."""

import copy
import json
import math
import tomllib

import pytest

from metersim.files.faults import BadInput
from metersim.machine.sources import SOURCES
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import draws_of
from metersim.questions.shared.cases import load_case, read_case, shipped_cases
from metersim.questions.shared.statements import KINDS

TEXT = """
source = "banaj2022"
mark = "read"
read = ["something"]
assumed = ["a meter"]

[plants]
emergence_percent = {low = 90, high = 98}
shift_mm = 5

[scenario]
extends = "maize_bench"
run = {turns = 4}
seed = {size_cv_percent = 5}

[conditions.slow]
demand = {speed_kmh = 4}
vacuum = {vacuum_kpa = {low = 3, high = 5}}

[conditions.by_speed]
vary = {key = "speed_kmh", values = [4, 6.5, 8]}

[conditions.mean]
mean = {speed_kmh = [4, 8], vacuum_kpa = [3, 4, 5]}
critical = {miss_percent = 2, times = 1.5}

[[rows]]
name = "quality"
kind = "level"
at = "slow"
measure = "per_spacing.quality"
published = 97.0

[[rows]]
name = "slower is better"
kind = "order"
terms = [[1, "slow", "per_spacing.quality"], [-1, "by_speed 8", "per_spacing.quality"]]
"""


def write(folder, table):
    """A case file of a table."""

    def text(value):
        if isinstance(value, dict):
            return "{" + ", ".join(f"{json.dumps(k)} = {text(v)}" for k, v in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(map(text, value)) + "]"
        if isinstance(value, bool):
            return str(value).lower()
        return json.dumps(value) if isinstance(value, str) else repr(value)

    path = folder / "own.toml"
    path.write_text("".join(f'"{key}" = {text(value)}\n' for key, value in table.items()))
    return path


@pytest.fixture
def table():
    return tomllib.loads(TEXT)


@pytest.mark.parametrize("name", shipped_cases())
def test_every_shipped_case_reads_and_names_its_source(name):
    case = load_case(name)
    assert case.source in SOURCES and case.read and case.rows
    assert {row.kind for row in case.rows} <= set(KINDS)
    names = [row.name for row in case.rows]
    assert len(set(names)) == len(names)
    for condition in case.conditions.values():
        assert condition.parts


def test_conditions_are_changes_of_the_scenario(tmp_path, table):
    case = read_case(write(tmp_path, table))
    assert case.name == "own"
    assert list(case.conditions) == ["slow", "by_speed 4", "by_speed 6.5", "by_speed 8", "mean"]
    (slow,) = case.conditions["slow"].parts
    assert slow.demand.speed == pytest.approx(4 / 3.6) and slow.run.turns == 4
    assert [one.key for one in slow.unknown] == ["vacuum_kpa"]
    assert [value for value, _ in case.along("by_speed")] == [4.0, 6.5, 8.0]
    mean = case.conditions["mean"]
    assert mean.critical == (0.02, 1.5)
    found = [(part.demand.speed * 3.6, part.vacuum.vacuum) for part in mean.parts]
    expected = [(v, p) for v in (4, 8) for p in (3e3, 4e3, 5e3)]
    assert found == [pytest.approx(pair) for pair in expected]
    assert [one.key for one in case.unknown] == ["emergence_percent"]


def test_a_table_of_ones_own_says_in_words_where_it_is_from(tmp_path, table):
    case = read_case(write(tmp_path, table | {"source": "our bench, June"}))
    assert case.reference == "our bench, June"
    assert read_case(write(tmp_path, table)).reference == SOURCES["banaj2022"]


def test_conditions_share_draws_and_each_has_its_own_number(tmp_path, table):
    table["conditions"]["fast"] = copy.deepcopy(table["conditions"]["slow"])
    table["conditions"]["fast"]["demand"]["speed_kmh"] = 9
    case = read_case(write(tmp_path, table))
    jobs = [job for job in draws_of(case, 6, 3, stations_of) if len(job.parts) == 1]
    by_name = {}
    for job in jobs:
        by_name.setdefault(job.condition.name, []).append(job)
    for slow, fast in zip(by_name["slow"], by_name["fast"], strict=True):
        assert slow.parts[0].vacuum == fast.parts[0].vacuum
        assert slow.plants == fast.plants and slow.number == fast.number
    vacuums = {job.parts[0].vacuum.vacuum for job in by_name["slow"]}
    assert len(vacuums) == 6 and all(3e3 < vacuum < 5e3 for vacuum in vacuums)
    assert all(0.90 < job.plants[0] < 0.98 and job.plants[1] == 5e-3 for job in jobs)


def change(table, path, value):
    """The table with something set, or taken away when the value is None."""
    *way, last = path
    inner = table
    for step in way:
        inner = inner[step]
    if value is None:
        del inner[last]
    else:
        inner[last] = value
    return table


LINE = {"name": "l", "kind": "straight", "of": "by_speed", "measure": "precision", "sign": 1}
BEST = {"name": "p", "kind": "plateau", "of": "by_speed", "published": 4}
REACH = {"name": "r", "kind": "reach", "of": "slow"} | {"hole_mm": 4, "vacuum_kpa": 4}
HIGHER = {**REACH, "kind": "reach order", "hole_mm": [4, 8], "vacuum_kpa": [4, 8]}
ROWS_THAT_ARE_NONE = [
    (LINE | {"of": "slow"}, "of: no such condition that varies a key"),
    (LINE | {"of": ["by_speed"]}, "of: no such condition that varies a key"),
    (LINE | {"measure": ["precision"]}, "['precision'] is no measure"),
    (LINE | {"sign": 0}, "sign: 0 is not allowed; give 1 or -1"),
    (BEST, "'by_speed' must vary vacuum_kpa"),
    (BEST | {"published": 0}, "published: 0 is not allowed; give a number above 0"),
    (REACH | {"published": 0}, "published: 0 is not allowed; give a number above 0"),
    (REACH | {"published": 1, "of": "by_speed"}, "of: no such condition"),
    (REACH | {"published": 1, "hole_mm": 99}, "hole_mm: 99 is not allowed"),
    (HIGHER | {"hole_mm": [4, 6, 8]}, "hole_mm: must be a list of two numbers"),
    (HIGHER | {"vacuum_kpa": 4}, "vacuum_kpa: must be a list of two numbers"),
    (HIGHER | {"vacuum_kpa": [8, 4]}, "vacuum_kpa: [8, 4] does not rise"),
]


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("sorce",), 1, "sorce: unknown key"),
        (("source",), "nobody1999", "source: missing or unknown"),
        (("source",), None, "source: missing or unknown"),
        (("source",), "our\x1b bench", "source: missing or unknown"),
        (("source",), ["banaj2022"], "source: missing or unknown"),
        (("source",), {"a": 1}, "source: missing or unknown"),
        (("covers",), 3, "covers: missing or no table"),
        (("covers",), {"crops": "maize"}, "covers.crops: must be a list"),
        (("covers",), {"vacuum_kpa": [9, 1]}, "covers.vacuum_kpa: [9, 1] falls"),
        (("conditions", "a\x1b"), {}, "the name must be a text"),
        (("conditions", "a" * 101), {}, "the name must be a text"),
        (("conditions", "by_speed 4"), {}, "'by_speed 4' is there twice"),
        (("conditions", "by_speed", "vary", "values"), [4, 4.0], "'by_speed 4' is there twice"),
        (("conditions", "by_speed", "vary", "key"), ["speed_kmh"], "vary: must read"),
        (("conditions", "by_speed", "vary", "values"), [10**400], "vary: 1000"),
        (("conditions", "by_speed", "vary", "values"), [math.nan], "vary: nan is not allowed"),
        (("conditions", "mean", "mean", "speed_kmh"), [4] * 400, "more than 1,000 combinations"),
        (("conditions", "mean", "critical", "times"), math.inf, "inf is not allowed"),
        (("conditions", "mean", "critical", "miss_percent"), 5e-324, "5e-324 is not allowed"),
        (("conditions", "slow", "run"), {"turns": 10**7}, "conditions.slow: its runs have"),
        (("rows", 1, "name"), "quality", "rows[2].name: 'quality' is the name of rows[1] too"),
        (("rows", 0, "name"), "a\nb", "rows[1].name: missing or not a text"),
        (("rows", 0, "kind"), ["level"], "rows[1].kind: missing or unknown"),
        (("rows", 0, "at"), ["slow"], "['slow'] is no condition"),
        (("rows", 0, "at"), "x" * 9999, "... is no condition"),
        (("rows", 0, "measure"), {"a": 1}, "{'a': 1} is no measure"),
        (("rows", 0, "published"), math.nan, "rows[1].published: nan is not allowed"),
        (("rows", 0, "published"), 1e308, "rows[1].published: 1e+308 is not allowed"),
        (("rows", 0, "within"), -1, "rows[1].within: -1 is not allowed"),
        (("rows", 0, "group"), 3, "rows[1].group: must be a text"),
        (("rows", 0, "terms"), [[1, "slow", "precision"]], "give either terms, or at and measure"),
        *((("rows", 1), row, said) for row, said in ROWS_THAT_ARE_NONE),
        (("laboratory",), 3, "laboratory: must be a text"),
        (("held_back",), 1, "held_back: 1 is not allowed; give true or false"),
        (("machines",), 0, "machines: 0 is not allowed; give a whole number from 1 to 100"),
        (("machines",), 2.0, "machines: 2.0 is not allowed"),
        (("metering",), "belt", "metering: unknown"),
        (("metering",), "drum", "metering: a drum is not in the model; say disc"),
        (("metering",), "hills", "metering: seeds dropped in hills are not in the model"),
        (("rows", 0, "spacings"), 0, "rows[1].spacings: 0 is not allowed"),
        (("rows", 1, "spacings"), 250, "rows[2].spacings: unknown"),
        (("scenario", "rev_min"), 0, "scenario.rev_min: 0 is not allowed"),
        (("conditions", "slow", "rev_min"), 0.1, "conditions.slow: Demand: rate"),
        (("conditions", "slow", "hole_over_width"), 1, "hole_over_width: 1 is not allowed"),
        (("conditions", "slow", "hole_over_width"), {"low": 0.5}, "slow.hole_over_width"),
        (("mark",), "guess", "mark: missing or unknown"),
        (("read",), "text", "read: missing or no list"),
        (("assumed",), [1], "assumed: missing or no list"),
        (("discussion",), 3, "discussion: must be a text"),
        (("scenario",), None, "scenario: missing"),
        (("conditions",), {}, "conditions: missing"),
        (("rows",), [], "rows: missing"),
        (("rows",), [3], "rows: missing"),
        (("rows",), [{}] * 1001, "rows: has more than 1,000"),
        (("plants",), 3, "plants: must be a table"),
        (("plants", "emergence_percent"), 120, "plants.emergence_percent: 120 is not allowed"),
        (("plants", "emergence_percent"), {"low": 9}, "plants.emergence_percent"),
        (("scenario", "extends"), "nowhere", "extends: "),
        (("scenario", "run"), {"turns": 0}, "run.turns: 0 is not allowed"),
        (("conditions", "slow"), 3, "conditions.slow: must be a table"),
        (("conditions", "slow", "demand"), {"sped_kmh": 4}, "demand.sped_kmh: unknown key"),
        (("conditions", "by_speed", "vary"), [4], "conditions.by_speed.vary: must read"),
        (("conditions", "by_speed", "vary", "key"), "sped", "'sped' is no key"),
        (("conditions", "by_speed", "vary", "values"), [], "must be a list of numbers"),
        (("conditions", "by_speed", "vary", "values"), ["a"], "'a' is not allowed"),
        (("conditions", "mean", "mean"), 3, "conditions.mean.mean: must be a table"),
        (("conditions", "mean", "critical"), {"times": 1}, "critical: must read"),
        (("conditions", "mean", "critical", "miss_percent"), 100, "give below 100 %"),
        (("conditions", "mean", "critical", "times"), 0, "give a number above 0"),
        (("rows", 0, "name"), 3, "rows[1].name: missing or not a text"),
        (("rows", 0, "kind"), "levl", "rows[1].kind: missing or unknown; did you mean 'level'?"),
        (("rows", 0, "publisht"), 3, "rows[1].publisht: unknown"),
        (("rows", 0, "published"), None, "rows[1].published: missing"),
        (("rows", 0, "published"), "97", "rows[1].published: '97' is not allowed"),
        (("rows", 0, "at"), "slwo", "rows[1]: 'slwo' is no condition; did you mean 'slow'?"),
        (("rows", 0, "measure"), "cells.skips", "no measure; did you mean 'cells.skip'?"),
        (("rows", 1, "terms"), [[1, "slow"]], "rows[2].terms: must read"),
        (("rows", 1, "terms"), [["1", "slow", "precision"]], "rows[2].terms: '1' is not allowed"),
        (
            ("rows", 1),
            {"name": "b", "kind": "bound", "at": "slow", "measure": "precision"},
            "above",
        ),
        (
            ("rows", 1),
            {"name": "p", "kind": "plateau", "of": "nothing", "published": 4},
            "rows[2].of: no such condition",
        ),
        (
            ("rows", 1),
            {
                "name": "r",
                "kind": "reach",
                "of": "slow",
                "hole_mm": 0,
                "vacuum_kpa": 4,
                "published": 4,
            },
            "rows[2].hole_mm: 0 is not allowed",
        ),
    ],
)
def test_what_is_wrong_with_a_file_is_said(tmp_path, table, path, value, said):
    file = write(tmp_path, change(table, path, value))
    with pytest.raises(BadInput) as caught:
        read_case(file)
    lines = [str(fault) for fault in caught.value.faults]
    assert any(said in line for line in lines), lines
    assert all("own.toml" in line and "\n" not in line and len(line) < 600 for line in lines)


def test_more_conditions_than_anyone_waits_for_are_refused(tmp_path, table, monkeypatch):
    monkeypatch.setattr("metersim.questions.shared.conditions.MOST_CONDITIONS", 4)
    with pytest.raises(BadInput, match="conditions: has more than 4; give several case files"):
        read_case(write(tmp_path, table))


def test_the_file_as_it_is_reads(tmp_path, table):
    """Negative control of the above."""
    assert len(read_case(write(tmp_path, table)).rows) == 2


@pytest.mark.parametrize(
    ("best", "said"), [(3.0, ""), (2.0, "not run at 0.6667 kPa"), (2.9, "not run at 0.9667 kPa")]
)
def test_a_plateau_is_run_where_it_is_judged(tmp_path, table, best, said):
    table["conditions"]["by_speed"]["vary"] = {"key": "vacuum_kpa", "values": [1, 2, 3, 6, 9]}
    table["rows"] = [{"name": "p", "kind": "plateau", "of": "by_speed", "published": best}]
    try:
        read_case(write(tmp_path, table))
    except BadInput as error:
        assert said and said in str(error)
    else:
        assert not said


def test_a_level_needs_no_tolerance(tmp_path, table):
    """Its interval alone decides; a file of before may still state one."""
    for own in ({}, {"within": 3}):
        row = table["rows"][0] | {"measure": "drop_time.sd", "at": "slow"} | own
        assert read_case(write(tmp_path, table | {"rows": [row]})).rows


def test_an_unknown_case_is_said():
    with pytest.raises(BadInput, match="no such case; did you mean 'banaj2022'"):
        load_case("banaj2021")


def test_draws_that_contradict_name_the_condition(tmp_path, table):
    table["conditions"]["slow"]["disc"] = {"hole_diameter_mm": {"low": 4, "high": 9}}
    case = read_case(write(tmp_path, table))
    with pytest.raises(BadInput, match=r"conditions\.slow: .*narrow"):
        list(draws_of(case, 16, 1, stations_of))


def test_what_a_case_is_of_has_defaults(tmp_path, table):
    case = read_case(write(tmp_path, table))
    assert (case.laboratory, case.held_back, case.machines) == ("banaj2022", False, 1)
    assert case.rows[0].spacings is None
    table["rows"][0]["spacings"] = 500
    own = {"laboratory": "ours", "held_back": True, "machines": 3, "metering": "disc"}
    case = read_case(write(tmp_path, table | own))
    assert (case.laboratory, case.held_back, case.machines) == ("ours", True, 3)
    assert case.rows[0].spacings == 500


def test_one_laboratory_is_one_source():
    stands = {"banaj2022", "banaj_fast", "banaj_sunflower"}
    assert {load_case(name).laboratory for name in stands} == {"banaj2022"}
    soybean, maize = load_case("huazhong_soybean"), load_case("huazhong2023")
    assert soybean.laboratory == maize.laboratory
    held = {name for name in shipped_cases() if load_case(name).held_back}
    assert held == {"mattana_bench", "mattana_field", "plantsci2025", "wheat_stand", "panning2000"}


TURNS = {"rev_min": {"low": 20, "high": 30}, "disc": {"cells": {"low": 20, "high": 40}}}


def drawn(folder, table, name="slow", draws=8):
    """Scenarios of a condition in some draws."""
    case = read_case(write(folder, table))
    every = [job for job in draws_of(case, draws, 3, stations_of) if job.condition.name == name]
    return case.conditions[name], [job.parts[0] for job in every]


def test_turns_of_the_disc_give_the_rate_of_each_draw(tmp_path, table):
    """The rate is turns times cells at the speed of the belt; draws of both are stratified."""
    table["conditions"]["slow"] |= TURNS
    condition, found = drawn(tmp_path, table)
    (part,) = condition.parts
    assert [one.key for one in condition.unknown(part)] == ["cells", "vacuum_kpa", "rev_min"]
    assert part.angular_speed == pytest.approx(25 / 60 * 2 * math.pi)
    turns = sorted(one.angular_speed * 60 / (2 * math.pi) for one in found)
    assert all(20 + 1.25 * k < turn < 21.25 + 1.25 * k for k, turn in enumerate(turns))
    assert len({one.disc.cells for one in found}) > 4
    for one in found:
        assert one.demand.speed == pytest.approx(4 / 3.6)
        assert one.cell_rate * one.spacing == pytest.approx(one.demand.speed)


def test_turns_that_are_known_leave_the_rate_to_the_cells(tmp_path, table):
    table["conditions"]["slow"] |= TURNS | {"rev_min": 30}
    _, found = drawn(tmp_path, table)
    for one in found:
        assert one.cell_rate == pytest.approx(one.disc.cells / 2)


def test_a_hole_is_a_share_of_the_width_of_its_lot(tmp_path, table):
    """Maize 7.26 mm wide; draws are those of the same range in mm."""
    share = {"low": 0.5, "high": 0.6}
    table["conditions"]["slow"]["hole_over_width"] = share
    condition, found = drawn(tmp_path, table)
    unknown = {one.key: one for one in condition.unknown(condition.parts[0])}
    assert unknown["hole_diameter_mm"].stated == (3.63, 4.356)
    del table["conditions"]["slow"]["hole_over_width"]
    table["conditions"]["slow"]["disc"] = {"hole_diameter_mm": {"low": 3.63, "high": 4.356}}
    _, same = drawn(tmp_path, table)
    assert [one.disc for one in found] == [one.disc for one in same]
    table["conditions"]["slow"].pop("disc")
    table["conditions"]["slow"] |= {"hole_over_width": 0.5, "seed": {"lot": "canola"}}
    _, (first, *_) = drawn(tmp_path, table)
    assert first.disc.hole_diameter == pytest.approx(0.9e-3)


@pytest.mark.parametrize(
    ("place", "value", "same"),
    [
        ("rev_min", 25, {"demand": {"rate_per_ha": 60000}}),
        ("rev_min", 25, {"demand": {"rate_per_acre": 30000}}),
        ("rev_min", 25, {"mean": {"rate_per_ha": [60000, 70000]}}),
        ("hole_over_width", 0.6, {"disc": {"hole_diameter_mm": 4}}),
        ("hole_over_width", 0.6, {"vary": {"key": "hole_diameter_mm", "values": [4, 5]}}),
    ],
)
def test_one_place_says_it_once_and_a_condition_goes_before(tmp_path, table, place, value, same):
    table["conditions"] = {"slow": {place: value, **same}}
    table["rows"] = [ALONE]
    with pytest.raises(BadInput, match=rf"conditions\.slow\.{place}: states the same as"):
        read_case(write(tmp_path, table))
    table["scenario"][place] = value  # the condition's own goes before it
    table["conditions"] = {"slow": {}, "other": same}
    case = read_case(write(tmp_path, table))
    slow, *others = (c.parts[0] for c in case.conditions.values())
    for other in others:
        assert (slow.demand, slow.disc) != (other.demand, other.disc)
        left = case.conditions["slow"].rev_min, case.conditions[other.name].rev_min
        assert left == ((25, None) if place == "rev_min" else (None, None))


ALONE = {"name": "q", "kind": "level", "at": "slow", "published": 97} | {
    "measure": "per_spacing.quality"
}
