"""What published cases cover: their tables, and what is told of a scenario outside of them."""

import dataclasses
import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.machine.changes import all_keys
from metersim.machine.reading import load_scenario
from metersim.machine.seedlot import load_lot, shipped_lots
from metersim.measures import limits as coverage
from metersim.measures.limits import (
    MOST,
    PUBLISHED,
    SLACK,
    STATED,
    Conditions,
    Cover,
    cautions,
    outside,
    read_covers,
)

BENCH = load_scenario("maize_bench", ["speed_kmh=5.4"])  # holes at 0.207 m/s
FIELD = load_scenario("maize_field", ["speed_kmh=5.4", "rate_per_ha=63500"])  # 21 cm
AT = Conditions.of(BENCH)
WIDE = {name: (getattr(AT, name) / 2, 2 * getattr(AT, name)) for name in STATED}
CROPS = {load_lot(name).crop for name in shipped_lots()}


def of_crop(scenario, crop):
    """The scenario with a lot of another name of its crop, and nothing else changed."""
    return dataclasses.replace(scenario, lot=dataclasses.replace(scenario.lot, crop=crop))


def starts(lines):
    """The keys that lines name."""
    found = (re.search(r"\(set by (.+)\)$", line) for line in lines)
    return [keys[1] if keys else line for keys, line in zip(found, lines, strict=True)]


@pytest.fixture
def covered(monkeypatch):
    """Makes cases cover what a test says."""

    def cover(*covers):
        monkeypatch.setattr(coverage, "shipped_covers", lambda: covers)

    return cover


# ---------------------------------------------------------------- the tables


@pytest.mark.parametrize("path", sorted(PUBLISHED.glob("*.toml")), ids=lambda path: path.stem)
def test_every_case_says_what_it_covers(path):
    for cover in read_covers(path):
        assert set(cover.crops) <= CROPS
        assert cover.crops or not cover.ranges


def test_ranges_are_read_into_si(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        '[covers]\ncrops = ["Maize"]\nsurface = "field"\nspeed_kmh = [3.6, 7.2]\n'
        "spacing_cm = [10, 20]\ncells = [18, 44]\nvacuum_kpa = [1.5, 4]\n"
    )
    (cover,) = read_covers(path)
    assert (cover.crops, cover.surface) == (("maize",), "field")
    assert list(cover.ranges) == ["speed", "spacing", "cells", "vacuum"]
    ends = [end for ends in cover.ranges.values() for end in ends]
    assert ends == pytest.approx([1, 2, 0.1, 0.2, 18, 44, 1500, 4000])


@pytest.mark.parametrize(
    ("table", "key", "words"),
    [
        ("", "covers", "missing or no table; give [covers]"),
        ("covers = 5", "covers", "missing or no table"),
        ("[covers]\ncrop = 5", "covers.crop", "unknown key; did you mean 'crops'?"),
        ("[covers]\nspeed_mph = [2, 4]", "covers.speed_mph", "did you mean 'speed_kmh'?"),
        ('[covers]\ncrops = "maize"', "covers.crops", "must be a list of texts"),
        ("[covers]\ncrops = []", "covers.crops", "must be a list of texts"),
        ('[covers]\ncrops = ["maize", 5]', "covers.crops", "must be a list of texts"),
        ('[covers]\nsurface = "lab"', "covers.surface", 'give "bench" or "field"'),
        ("[covers]\nsurface = []", "covers.surface", 'give "bench" or "field"'),
        ("[covers]\nspeed_kmh = 6", "covers.speed_kmh", "give a range, [low, high]"),
        ("[covers]\nspeed_kmh = [4, 6, 8]", "covers.speed_kmh", "give a range, [low, high]"),
        ("[covers]\nspeed_kmh = [8, 4]", "covers.speed_kmh", "[8, 4] falls; give [low, high]"),
        ("[covers]\nspeed_kmh = [4, nan]", "covers.speed_kmh", "a number from 0.5 to 30 km/h"),
        ('[covers]\nvacuum_kpa = ["1", 4]', "covers.vacuum_kpa", "a number from 0 to 15 kPa"),
        ("[covers]\nvacuum_kpa = [-1, 40]", "covers.vacuum_kpa", "-1 is not allowed"),
        ("[covers]\ncells = [18.5, 44]", "covers.cells", "a whole number from 4 to 400"),
    ],
)
def test_what_is_wrong_with_a_table_is_told_in_one_fault(table, key, words, tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(table)
    with pytest.raises(BadInput) as caught:
        read_covers(path)
    (fault,) = caught.value.faults
    assert (fault.where, fault.key) == (str(path), key)
    assert words in fault.message


def test_all_faults_of_a_table_are_told_at_once(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("[covers]\ncrops = 1\ncells = 2\nvacuum = 3\n")
    with pytest.raises(BadInput) as caught:
        read_covers(path)
    assert [fault.key for fault in caught.value.faults] == [
        "covers.crops",
        "covers.cells",
        "covers.vacuum",
    ]


# ---------------------------------------------------------------- what is told


def test_inside_there_is_nothing_to_tell():
    assert outside(BENCH) == outside(FIELD) == cautions(BENCH) == []


def test_of_a_crop_without_a_case_nothing_else_is_told():
    far = load_scenario("sunflower", ["lot=sorghum", "hole_diameter_mm=2", "speed_kmh=20"])
    assert outside(far) == ["no published case has sorghum: the prediction rests on other crops"]


@pytest.mark.parametrize(
    ("name", "ends", "line"),
    [
        (
            "speed",
            (1.0, 1.25),
            "travel speed 5.4 km/h is outside published cases of maize on a bench: 3.6 to 4.5 km/h "
            "(set by speed_kmh)",
        ),
        (
            "spacing",
            (0.2, 0.25),
            "spacing 16.7 cm is outside published cases of maize: 20 to 25 cm (set by rate_per_ha, "
            "row_spacing_cm)",
        ),
        (
            "peripheral_speed",
            (0.05, 0.15),
            "speed of the holes 0.207 m/s is outside published cases of maize: 0.05 to 0.15 m/s "
            "(set by cells, circle_radius_mm, speed_kmh)",
        ),
        (
            "frequency",
            (1, 8),
            "cells a second 9 per s is outside published cases of maize: 1 to 8 per s (set by "
            "rate_per_ha, row_spacing_cm, speed_kmh)",
        ),
        (
            "cells",
            (36, 72),
            "number of cells 30 is outside published cases of maize: 36 to 72 (set by cells)",
        ),
        (
            "vacuum",
            (5e3, 5e3),
            "vacuum 4 kPa is outside published cases of maize: 5 kPa (set by vacuum_kpa)",
        ),
    ],
)
def test_each_condition_can_be_outside(name, ends, line, covered):
    """The value, the range, and the settings that move it; nothing of what is inside."""
    covered(Cover(("maize",), "", WIDE | {name: ends}))
    assert outside(BENCH) == [line]
    covered(Cover(("maize",), "", WIDE))  # negative control
    assert outside(BENCH) == []


@pytest.mark.parametrize(("end", "told"), [(1 - 0.9 * SLACK, 0), (1 - 1.1 * SLACK, 1)])
def test_an_end_has_some_slack(end, told, covered):
    """4 kPa is inside of what begins 4.5 % above it, and outside of what begins 5.5 % above."""
    for ends in ((4e3 / end, 8e3), (1e3, 4e3 * end)):
        covered(Cover(("maize",), "", WIDE | {"vacuum": ends}))
        assert len(outside(BENCH)) == told


@given(high=st.floats(0.2, 12), share=st.floats(1 + 1.001 * SLACK, 1.2))
def test_a_value_never_reads_like_the_end_that_it_lies_beyond(high, share):
    with pytest.MonkeyPatch.context() as patch:
        cover = Cover(("maize",), "", WIDE | {"vacuum": (0.0, high * 1e3)})
        patch.setattr(coverage, "shipped_covers", lambda: (cover,))
        (line,) = outside(BENCH.replace(vacuum__vacuum=high * share * 1e3))
    at, end = re.search(r"vacuum (\S+) kPa is outside .*: 0 to (\S+) kPa", line).groups()
    assert float(at) > float(end)


def test_cases_are_taken_together(covered):
    """From the least to the greatest; row quantities of the same surface alone, of any case."""
    slow = Cover(("maize",), "field", WIDE | {"speed": (0.5, 1.0), "vacuum": (1e3, 2e3)})
    fast = Cover(("maize",), "bench", WIDE | {"speed": (2.0, 3.0), "vacuum": (6e3, 8e3)})
    covered(slow, fast)
    assert starts(outside(BENCH)) == starts(outside(FIELD)) == ["speed_kmh"]
    covered(slow, dataclasses.replace(fast, surface=""))
    assert (starts(outside(BENCH)), outside(FIELD)) == (["speed_kmh"], [])
    covered(slow, dataclasses.replace(fast, crops=("cotton", "soybean")))
    assert starts(outside(FIELD)) == ["speed_kmh", "vacuum_kpa"]


def test_what_no_case_states_is_one_line(covered):
    known = {name: WIDE[name] for name in ("frequency", "vacuum")}
    of_a_row = {"speed": WIDE["speed"]}
    covered(Cover(("maize",), "", WIDE | of_a_row))
    assert outside(FIELD) == []
    covered(Cover(("maize",), "", known), Cover(("maize",), "field", of_a_row))
    assert outside(BENCH) == [
        "no published case of maize states spacing, speed of the holes, number of cells, "
        "travel speed on a bench"
    ]
    covered(Cover(("maize",), "", known))
    assert outside(FIELD.replace(vacuum__vacuum=14e3)) == [
        "vacuum 14 kPa is outside published cases of maize: 2 to 8 kPa (set by vacuum_kpa)",
        "no published case of maize states spacing, speed of the holes, number of cells, "
        "travel speed in a field",
    ]


@pytest.mark.parametrize("most", [2, 3, MOST, 5])
def test_what_is_too_much_is_told_together(most, covered):
    """The first lines as they are, then the names of all that is left; what is unstated is last."""
    nowhere = {name: (8 * low, 8 * low) for name, (low, _) in WIDE.items()}
    covered(Cover(("maize",), "", nowhere))
    *kept, rest = outside(BENCH, most=most)
    names = ", ".join(spec.meaning for spec in list(STATED.values())[most - 1 :])
    assert kept == outside(BENCH, most=6)[: most - 1]
    assert rest == f"outside what published cases of maize cover: {names}"
    del nowhere["vacuum"]
    covered(Cover(("maize",), "", nowhere))
    lines = outside(BENCH, most=most)
    assert len(lines) == most
    assert lines[-1] == "no published case of maize states vacuum"


def test_a_crop_is_one_however_it_is_written():
    assert outside(of_crop(BENCH, "Maize")) == []


def test_the_middle_of_what_is_not_known_is_judged():
    wide = load_scenario("maize_bench", ["speed_kmh=5.4", "vacuum_kpa={low = 1, high = 6}"])
    assert outside(wide) == []  # at 3.5 kPa
    high = load_scenario("maize_bench", ["speed_kmh=5.4", "vacuum_kpa={low = 13, high = 15}"])
    assert starts(outside(high)) == ["vacuum_kpa"]


# ---------------------------------------------------------------- where it is told


@pytest.mark.parametrize("crop", sorted(CROPS))
def test_a_caution_is_short_and_names_keys_that_there_are(crop):
    """Whatever is wrong, a result is not lost among cautions; in either system of units."""
    for scenario in (BENCH, FIELD.replace(demand__speed=6.0, disc__cells=60, vacuum__vacuum=14e3)):
        for units in ("metric", "us"):
            told = cautions(of_crop(scenario, crop), units)
            assert len(told) <= MOST
            heads = [head for head in starts(told) if " " not in head.replace(", ", "")]
            assert {key for head in heads for key in head.split(", ")} <= set(all_keys())


def test_the_ceilings_of_a_study_are_told_before(covered):
    """16 seeds/s and 0.34 m/s (onal2012), word for word, whatever the cases cover."""
    fast = BENCH.replace(demand__speed=3.5)
    lines = [
        "21.0 seeds a second is over 16: above the range of onal2012 (maize and cotton)",
        "0.484 m/s at the holes is over 0.34 (from memory): above the range of onal2012 (maize and "
        "cotton)",
    ]
    assert cautions(fast)[:2] == lines
    everything = {name: (0.0, 1e6) for name in WIDE}
    covered(Cover(("maize",), "", everything))
    assert cautions(fast) == lines
    assert cautions(of_crop(fast, "cotton"))[:2] == lines
    assert not any("onal2012" in line for line in cautions(of_crop(fast, "soybean")))


@pytest.mark.study
@pytest.mark.slow
def test_commands_tell_it(done, folder):
    """In run, explain, compare and sweep, in the units asked for, and in SI's words in JSON."""
    asked = ("maize_field", "--turns", "5", "--set", "cells=60", "--set", "rate_per_ha=40000")
    scenario = load_scenario("maize_field", ["cells=60", "rate_per_ha=40000"])
    us = ("--units", "us")
    metric_line, us_line = (
        next(line for line in outside(scenario, units) if "(set by rate" in line)
        for units in ("metric", "us")
    )
    for words in (
        ("run", *asked, "--json", "run.json"),
        ("explain", *asked),
        ("compare", *asked, "--vary", "notch=0,1"),
        ("sweep", *asked, "--vary", "notch=0,1", "--out", "rows.csv", "--resume"),
    ):
        for line, units in ((metric_line, ()), (us_line, us)):
            assert " ".join(done(*words, *units).split()).count(line) == 1
            if words[0] != "sweep":  # the report says it too
                report = done(*words, *units, "--details")
                assert " ".join(report.split()).count(line) == 2
    told = json.loads((folder / "run.json").read_text())["cautions"]
    assert metric_line in told


def test_shipped_covers_are_those_of_whole_files():
    """Only their tables are read; a second table of one case is not lost."""
    whole = [read_covers(path) for path in sorted(PUBLISHED.glob("*.toml"))]
    assert list(coverage.shipped_covers()) == [cover for covers in whole for cover in covers]
    assert max(map(len, whole)) > 1
