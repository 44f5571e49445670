"""How many to count: the number is enough, and a quarter is not; the log is kept whole."""

import json
import math
import re
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

import metersim as m
from metersim.questions.howmany import command
from metersim.questions.howmany.standards import limits_of
from metersim.questions.howmany.study import State, howmany
from metersim.questions.howmany.text import (
    STOPPED_ROW,
    howmany_answer,
    howmany_json,
    howmany_text,
    seen_lines,
)
from metersim.questions.shared.countlog import read_log
from metersim.questions.shared.counts import Share, cells_to_detect, share_of
from metersim.questions.shared.looks import kept_full, loads, look_of_seeds
from metersim.questions.shared.notes import IN_THE_ROW
from metersim.questions.shared.settings import moved
from metersim.questions.shared.words import seeds_text
from tests.paired_counts import differ

BENCH = m.load_scenario("maize_bench")
FIELD = m.load_scenario("maize_field")
HEAD = "date,row,seeds,skips,doubles,triples,way,notch,vacuum_kpa,gate_opening_mm,inner_guide,"
HEAD += "speed_kmh,hole_diameter_mm,cells,lot,meter,surface,event"
COUNT = ("--add", "log.csv", "--row", "3", "--counted", "300", "--skips", "2", "--doubles", "4")
DAY = ("--date", "2027-05-01")
LOT = "maize_large_flat"


@cache
def one_notch():
    """How many to count in the field for one notch, worked out when the first test asks."""
    return howmany(FIELD, seed=1)


def in_counts(events, cells):
    """Events in each of many counts of so many cells, end to end."""
    many = events.size // cells
    return events[: many * cells].reshape(many, cells).sum(axis=1)


def found_in(a, b, cells, effects):
    """Share of pairs of counts in which a difference is found, and how many pairs there are."""
    counts = [in_counts(events, cells) for events in (a, b)]
    many = min(map(len, counts))
    pairs = [count[:many] for count in counts]
    return float(np.mean(differ(pairs, (cells, cells), effects))), many


# the number is right


@pytest.mark.slow
def test_with_the_number_it_gives_the_simulated_meter_is_told_apart():
    """Pairs of counts of other luck, as it is and two notches less aggressive: found in 80 of 100,
    |z| < 4 of the binomial law and three hundredths for few doubles; a quarter is not enough."""
    milder = moved(FIELD, {"notch": -2})
    asked = howmany(FIELD, milder, seed=1)
    here, there = asked.states
    effects = tuple(state.shares["doubles"].effect for state in (here, there))
    runs = [
        loads(m.simulate(kept_full(scenario, 200_000), seed=seed)) > 1
        for scenario, seed in ((FIELD, 11), (milder, 12))
    ]
    cells = round(asked.needed("doubles").seeds / here.seeds_per_cell)
    assert asked.soonest == "doubles"
    met, many = found_in(*runs, cells, effects)
    assert many > 200
    assert abs(met - 0.8) < 4 * math.sqrt(0.16 / many) + 0.03
    few, many = found_in(*runs, cells // 4, effects)
    assert few < 0.5  # negative control
    # two counts of one meter are not found to differ more often than it says
    again = loads(m.simulate(kept_full(FIELD, 200_000), seed=13)) > 1
    false, many = found_in(runs[0], again, cells, (effects[0], effects[0]))
    assert abs(false - 0.05) < 4 * math.sqrt(0.05 * 0.95 / many)


def in_runs(share, stay, cells, seed):
    """Skips of a chain that stays in a run of them with some chance: a share of all cells."""
    rng = np.random.Generator(np.random.PCG64(seed))
    begin = share * (1 - stay) / (1 - share)
    luck, state = rng.random(cells).tolist(), False
    made = []
    for one in luck:
        state = one < (stay if state else begin)
        made.append(state)
    return np.array(made)


def test_cells_that_go_together_take_more_and_the_plain_binomial_is_not_enough():
    """Derived: a chain of correlation r has an effect of (1 + r) / (1 - r)."""
    shares, stay, cells = (0.04, 0.07), 0.6, 400_000
    chains = [in_runs(share, stay, cells, seed) for share, seed in zip(shares, (1, 2), strict=True)]
    known = [share_of(chain) for chain in chains]
    for share, chain, p in zip(known, chains, shares, strict=True):
        r = (stay - p) / (1 - p)
        wanted = (1 + r) / (1 - r)
        assert abs(share.value - p) < 4 * math.sqrt(p * (1 - p) * wanted / chain.size)
        assert share.effect == pytest.approx(wanted, rel=0.12)
    needed = round(cells_to_detect(*known))
    plain = round(cells_to_detect(*(Share(share.value) for share in known)))
    effects = tuple(share.effect for share in known)
    others = [in_runs(share, stay, cells, seed) for share, seed in zip(shares, (3, 4), strict=True)]
    met, many = found_in(*others, needed, effects)
    assert abs(met - 0.8) < 4 * math.sqrt(0.16 / many) + 0.03
    met, _ = found_in(*others, plain, effects)
    assert plain < needed / 2.5 and met < 0.5  # negative control


def test_more_certainty_takes_more_seeds():
    sure = howmany(FIELD, seed=1, certainty=0.99, cells=20_000)
    usual = howmany(FIELD, seed=1, cells=20_000)
    strong = howmany(FIELD, seed=1, power=0.95, cells=20_000)
    for more in (sure, strong):
        assert more.needed("skips").seeds > 1.3 * usual.needed("skips").seeds
    assert usual.needed("skips").independent == pytest.approx(usual.needed("skips").seeds, rel=0.15)


@pytest.mark.slow
def test_a_starved_meter_takes_more_than_the_plain_binomial_says():
    """Seed arches at the gate, and skips come together."""
    starved = m.load_scenario("gate_too_low")
    found = howmany(starved, moved(starved, {"vacuum": -2}), seed=1, cells=20_000)
    needed = found.needed("skips")
    assert needed.seeds > 2 * needed.independent
    assert "times what independent cells would take" not in howmany_text(one_notch())


# what a count can say


def test_counts_of_other_luck_lie_in_the_range():
    """95 of 100 counts, or more as counts are whole; |z| < 4 on the side of fewer."""
    run = loads(m.simulate(kept_full(FIELD, 150_000), seed=21))
    for kind, events in (("skips", run == 0), ("doubles", run > 1)):
        found = one_notch().range_of(kind)
        counts = in_counts(events, round(one_notch().cells))
        inside = float(np.mean((counts >= found.low) & (counts <= found.high)))
        assert inside > 0.95 - 4 * math.sqrt(0.95 * 0.05 / counts.size)
        narrower = (counts > found.low) & (counts < found.high)  # negative control
        assert float(np.mean(narrower)) < inside - 0.02
        share = one_notch().states[0].shares[kind].value
        assert found.share_low < share < found.share_high
        assert found.expected == pytest.approx(share * one_notch().cells)


def test_long_counts_have_the_range_of_the_normal_law():
    few, many = (howmany(BENCH, seed=1, seeds=seeds, cells=9000) for seeds in (3000, 300_000))
    for found in (few, many):
        span = found.range_of("doubles")
        share = found.states[0].shares["doubles"]
        assert span.low < span.expected < span.high
        wanted = 2 * 1.96 * share.error(found.cells) * found.cells
        assert span.high - span.low == pytest.approx(wanted, rel=0.02, abs=2)


def test_the_chance_to_be_mistaken_falls_with_the_count():
    """With the number of seeds that it gives, one in five; the power is four in five."""
    needed = one_notch().needed("skips").seeds
    chances = [
        howmany(FIELD, seed=1, seeds=round(part * needed), cells=20_000).undetected("skips")
        for part in (0.05, 1, 4)
    ]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 0.7 and chances[2] < 0.01
    assert chances[1] == pytest.approx(0.2, abs=0.1)
    same = howmany(FIELD, FIELD, seed=1, cells=6000)
    assert same.undetected("skips") == pytest.approx(0.95)
    assert same.needed("skips").seeds == math.inf
    assert "no practical count distinguishes them" in howmany_text(same)


def test_a_dusty_sensor_counts_what_it_sees():
    dusty = m.load_scenario("maize_field", ["detection_percent=95"])
    belt, sensor = (howmany(dusty, seed=1, way=way, cells=20_000) for way in ("belt", "sensor"))
    seen, lies = (one.states[0].shares["skips"].value for one in (sensor, belt))
    hidden = lies + 0.05 * (1 - lies)  # a sensor that misses one lone seed in twenty
    assert abs(seen - hidden) < 4 * math.sqrt(hidden * (1 - hidden) / 20_000)
    assert sensor.stretches == belt.stretches  # what lies in the row is as it is


def test_a_limit_takes_the_place_of_a_notch():
    found = howmany(FIELD, limits=limits_of("db32t1023"), seed=1, cells=20_000)
    assert len(found.states) == 1 and len(found.sides) == 3
    quality = found.sides[0]
    assert quality.kept and found.to_show(quality).seeds < 300  # 93 % are well above 80 %
    strict = howmany(FIELD, limits=limits_of("nyt1628"), seed=1, cells=20_000)
    assert not strict.sides[0].kept
    cells = howmany(FIELD, limits=limits_of("cells.skip<=0.02"), seed=1, cells=20_000)
    per_cell = cells.states[0].seeds_per_cell
    assert cells.to_show(cells.sides[0]).seeds == pytest.approx(cells.sides[0].to_show() * per_cell)


def test_what_is_out_of_bounds_is_refused():
    for wrong in ({"seeds": 0}, {"certainty": 0.3}, {"power": 1.0}, {"way": "scale"}):
        with pytest.raises(ValueError, match="allowed: "):
            howmany(BENCH, cells=600, **wrong)


def test_a_table_holds_both_kinds():
    table = one_notch().to_dataframe().set_index("kind")
    assert list(table.index) == ["skips", "doubles"]
    assert table.needed["skips"] == one_notch().needed("skips").seeds
    alone = howmany(BENCH, limits=limits_of("cells.skip<=0.02"), cells=600).to_dataframe()
    assert "needed" not in alone and len(alone) == 2


def test_a_state_without_seed_counts_cells():
    state = State("none", one_notch().origin, np.zeros(500, dtype=np.int64))
    assert state.seeds_per_cell == 1 and state.shares["skips"].value == 1


# texts


@pytest.mark.parametrize(
    ("seeds", "words"),
    [(3, "10 seeds"), (10.2, "11 seeds"), (776, "780 seeds"), (2401, "2,500 seeds"),
     (100_000, "100,000 seeds"), (100_001, "never in 100,000"), (math.inf, "never in 100,000")],
)  # fmt: skip
def test_numbers_of_seeds_are_said_to_two_digits_and_upwards(seeds, words):
    assert seeds_text(seeds) == words


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("name", ["maize_field", "gate_too_low"])
def test_the_text_fits_and_says_all(name, units):
    scenario = m.load_scenario(name)
    found = howmany(scenario, seed=1, cells=6000, limits=limits_of("onal1995"), units=units)
    lines = howmany_text(found, units).splitlines()
    assert max(map(len, lines)) <= 118 and all(line == line.rstrip() for line in lines)
    said = "\n".join(lines)
    lengths = {"metric": "13.33 m", "us": "17 ft 8 in"}
    assert f"is {lengths[units]} of one row" in said and said.count("of one row") == 1
    assert ("none on a bench" in said) == (name == "gate_too_low")
    assert "plain binomial" in said


def test_who_counts_seeds_sees_as_many_cells_as_seeds_leave_them():
    """With doubles there are more seeds than cells: 1.3 a cell take 1.3 times the number."""
    luck = np.random.default_rng(12)
    here, there = (
        State(name, one_notch().origin, luck.choice(3, 40_000, p=[0.1, 1 - 0.1 - double, double]))
        for name, double in (("here", 0.4), ("there", 0.44))
    )
    found = replace(one_notch(), states=(here, there))
    mean = here.seeds.mean()
    assert mean == pytest.approx(1.3, abs=4 * math.sqrt(0.41 / 40_000))
    assert found.cells * mean == pytest.approx(found.seeds)
    cells = cells_to_detect(here.shares["doubles"], there.shares["doubles"])
    assert found.needed("doubles").seeds == pytest.approx(mean * cells)
    assert found.needed("doubles").independent / mean == pytest.approx(
        cells_to_detect(*(Share(one.shares["doubles"].value) for one in (here, there)))
    )


def test_who_is_sent_to_the_row_is_told_to_stop_the_machine_first():
    """Wherever the caution stands: it is there, whole, once."""
    for units in ("metric", "us"):
        assert " ".join(howmany_text(one_notch(), units).split()).count(IN_THE_ROW) == 1


def test_a_count_is_set_beside_what_luck_gives():
    usual, off = (seen_lines(one_notch(), look_of_seeds(300, skips, 4)) for skips in (1, 40))
    assert usual[0].startswith("1 skip: within sampling error")
    assert off[0].startswith("40 skips: more than sampling error explains")
    harsh = howmany(FIELD.replace(singulator__notch=2.0), seed=1, cells=6000)
    few = seen_lines(harsh, look_of_seeds(300, 1, 0))
    assert few[0].startswith("1 skip: fewer than sampling error explains")


# the command and its log


@pytest.mark.slow
def test_counts_are_added_one_by_one(folder, done):
    said = done("howmany", "maize_bench", *COUNT, *DAY)
    assert said.startswith("Added to log.csv: row 3, 300 seeds.\n")
    line = f"2027-05-01,3,300,2,4,0,belt,0,4,52,false,6,4.5,30,{LOT},,bench,"
    assert (folder / "log.csv").read_text() == f"{HEAD}\n{line}\n"
    done("howmany", "maize_bench", "--set", "notch=1", "--set", "vacuum_inh2o=14", *COUNT[:3],
         "left 2", *COUNT[4:], "--triples", "1", "--counted-by", "sensor")  # fmt: skip
    entries = read_log(folder / "log.csv")
    assert [(entry.row, entry.look.way) for entry in entries] == [
        ("3", "belt"),
        ("left 2", "sensor"),
    ]
    there = entries[1].on(BENCH)
    assert there.singulator.notch == 1
    assert there.vacuum.vacuum == pytest.approx(14 * 249.08891)
    assert (entries[1].look.cells, entries[1].look.doubles) == (300 - 4 - 2 + 2, 5)


@pytest.mark.parametrize(
    ("options", "lines"),
    [
        (("--step", "noch=1"), ["--step: noch=1: unknown setting; did you mean 'notch'?"]),
        (("--step", "notch"), ["--step: notch: must read SETTING=STEPS with a whole number"]),
        (("--step", "notch=0"), ["--step: notch=0: must read SETTING=STEPS"]),
        (("--step", "notch=6"), ["--step: notch=6: 6 notches would take the edge over"]),
        (("--step", "guide=-1"), ["--step: guide=-1: changes nothing: it is so already"]),
        (("--vary", "notch=0,1,2"), ["--vary: notch=0,1,2: takes two values to distinguish"]),
        (("--vary", "notch=0,1", "--step", "notch=1"), ["howmany: --step and --vary: ask for one"]),
        (("--accept", "good"), ["--accept: good: give db32t1023, nyt1628, onal1995, or MEASURE"]),
        (("--certainty", "100"), ["--certainty: 100: must be a number of percent, from 50"]),
        (("--certainty", "nan"), ["--certainty: nan: must be a number of percent, from 50"]),
        (("--power", "80,5"), ["--power: 80,5: must be a number of percent, from 50"]),
        (("--counted", "0"), ["--counted: 0: must be a whole number from 1 to 10,000,000"]),
        (("--cells", "x"), ["--cells: x: must be a whole number from 1000 to 1,000,000"]),
        (("--skips", "3"), ["--skips: 3: goes into a log; give --add FILE, too"]),
        (("--add", "log.csv"), [f"--add: log.csv: give {key}, too" for key in COUNT[2::2]]),
        ((*COUNT, "--vary", "notch=0,1"), ["--vary: notch=0,1: a count is made at one setting"]),
        ((*COUNT[:-1], "151"), ["count: doubles: 151 doubles alone have 302 seeds, more than the"]),
        ((*COUNT[:-3], "-2", *COUNT[-2:]), ["--skips: -2: must be a whole number from 0 to"]),
        ((*COUNT, "--set", "notch={low=0, high=1}"), ["--add: "]),
        ((*COUNT, "--date", "1.5.2027"), ["--date: 1.5.2027: must be a day such as 2027-05-01"]),
        (("--date", "2027-05-01"), ["--date: 2027-05-01: goes into a log; give --add FILE, too"]),
        ((*COUNT, "--meter", "=B"), ["meter: =B: must be 1 to 80 letters in one line"]),
        (("--add", "nowhere/log.csv", *COUNT[2:]), ["--add: nowhere/log.csv: there is no folder"]),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_in_a_line_and_nothing_is_written(told, options, lines):
    said = told("howmany", "maize_bench", *options)
    assert len(said) == len(lines)
    for line, begin in zip(said, lines, strict=True):
        assert line.startswith(begin)


def test_a_file_that_is_no_log_is_left_as_it_is(folder, told):
    (folder / "log.csv").write_text("length_mm,width_mm,thickness_mm\n10,7,4\n")
    assert told("howmany", "maize_bench", *COUNT)[0].startswith(
        "log.csv: row 1, length_mm: unknown column of a log"
    )


def test_all_that_is_wrong_is_told_at_once(told):
    wrong = ("--seed", "x", "--counted", "x", "--power", "x", "--accept", "x")
    assert len(told("howmany", "maize_bnch", *wrong)) == 5


@pytest.mark.slow
def test_the_command_distinguishes_two_values_of_a_key(done):
    said = done(
        *("howmany", "maize_field", "--vary", "vacuum_kpa=2,4", "--set", "emergence_percent=90"),
        "--details",
    )
    assert "vacuum_kpa=2, and vacuum_kpa=4:" in said and "when 90 % come up" in said
    assert re.search(r"Count [\d,]+ seeds at vacuum_kpa=2 and [\d,]+ at vacuum_kpa=4\.", said)
    said = done("howmany", "maize_bench", "--step", "notch=-1", "--units", "us", "--details")
    words = " ".join(said.split())
    assert "a difference is detected in 80 of 100 cases, with 5 false alarms in 100" in words
    assert "counts hold no positions of seeds" in words
    assert "as it is, and one notch less aggressive:" in said
    (alone,) = [done("howmany", "maize_bench", "--accept", "per_spacing.miss<=5%", "--details")]
    assert "no positions of seeds" not in alone  # negative control: no difference is asked for


ANSWERS = {
    "notch": {},
    "limits": {"limits": limits_of("nyt1628")},
    "one limit": {"limits": limits_of("cells.skip<=2%")},
    "both": {"other": FIELD.replace(singulator__notch=-2.0), "limits": limits_of("onal1995")},
    "same": {"other": FIELD, "labels": ("one", "other")},
}


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("name", ANSWERS)
def test_the_answer_fits_a_terminal_and_comes_first(name, units):
    found = howmany(FIELD, seed=1, cells=6000, units=units, **ANSWERS[name])
    text = howmany_answer(found, units)
    lines = text.splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert lines[0] == f"Caution: {STOPPED_ROW}"
    assert re.search(r"Count [\d,]+ seeds|No practical count", " ".join(lines[1:4]))
    assert lines[-1].startswith("More: --details") and lines[-2].strip()
    assert howmany_text(found, units) in howmany_answer(found, units, details=True)
    old = re.compile(r"\b(luck|tells?|told|milder|settled?|keeps? to|told apart)\b")
    for part in (text, howmany_text(found, units)):
        assert not old.search(part), old.search(part)
    assert old.search("by luck alone")  # negative control


def test_the_answer_gives_the_count_and_its_chances():
    found = one_notch()
    lines = howmany_answer(found).splitlines()
    many = seeds_text(found.needed(found.soonest).seeds)
    number = many.removesuffix(" seeds")
    assert lines[1] == f"Count {many} before and {number} after. Compare the {found.soonest}."
    assert lines[2].endswith("is detected in 80 of 100 cases, with 5 false alarms in 100.")
    surer = howmany_answer(replace(found, certainty=0.9, power=0.95))
    assert "95 of 100 cases, with 10 false alarms in 100" in surer


def test_json_holds_all_of_it_in_si(done):
    limits = ("--accept", "nyt1628", "--cells", 3000, "--json", "-")
    made = json.loads(done("howmany", "maize_field", *limits))
    assert [one["limit"] for one in made["limits"]] == [str(x) for x in limits_of("nyt1628")]
    assert made["stretches"]["thousandth_of_hectare"]["area"] == pytest.approx(10.0)  # m2
    made = json.loads(howmany_json(one_notch()))
    assert [row["kind"] for row in made["kinds"]] == ["skips", "doubles"]
    assert made["kinds"][0]["needed"] == pytest.approx(one_notch().needed("skips").seeds)
    assert made["counted_seeds"] == 300 and made["counted_by"] == "belt"


def test_a_disc_at_rest_holds_what_later_falls_off():
    """It shows no more skips than the belt, as seeds are lost behind it and none is added."""
    belt, disc = (howmany(BENCH, seed=1, way=way, cells=6000) for way in ("belt", "disc"))
    assert (disc.states[0].seeds >= belt.states[0].seeds).all()
    assert disc.states[0].shares["skips"].value <= belt.states[0].shares["skips"].value


@pytest.mark.parametrize("way", ["belt", "sensor", "row", "disc"])
def test_how_it_was_counted_is_kept_as_it_was_typed(done, folder, way):
    add = (*COUNT, "--counted-by", way, "--meter", "B", "--surface", "Road", "--cells", 3000)
    done("howmany", "maize_bench", *add)
    (entry,) = read_log(folder / "log.csv")
    assert (entry.way, entry.meter, entry.surface) == (way, "B", "road")
    assert entry.look.way == {"row": "belt"}.get(way, way)
    assert entry.date == date.today().isoformat()


def test_a_log_of_a_us_reader_is_in_us_units_and_gives_the_same_numbers(done, folder):
    """15 inH2O, 2.1 in, 4 mph: the header says so; SI values are equal to ten digits."""
    us = ("--units", "us", "--set", "vacuum_inh2o=15", "--set", "gate_opening_in=2.1")
    done("howmany", "maize_bench", *us, "--set", "speed_mph=4", *COUNT, *DAY, "--cells", 3000)
    head, line = (folder / "log.csv").read_text().splitlines()
    assert "vacuum_inh2o,gate_opening_in,inner_guide,speed_mph,hole_diameter_in" in head
    assert "0,15,2.1,false,4," in line
    (entry,) = read_log(folder / "log.csv")
    typed = m.load_scenario(
        "maize_bench", ["vacuum_inh2o=15", "gate_opening_in=2.1", "speed_mph=4"]
    )
    assert entry.on(typed) == typed
    done("howmany", "maize_bench", *COUNT, *DAY, "--cells", 3000)  # metric, into the same file
    again = read_log(folder / "log.csv")[1]
    assert again.on(BENCH) == BENCH and again.settings["vacuum__vacuum"] == pytest.approx(4000)


def test_a_count_that_another_adds_meanwhile_is_kept(done, folder, monkeypatch):
    add = ["--add", "log.csv", "--counted", 300, "--skips", 1, "--doubles", 1, "--cells", 3000]
    honest = command.howmany

    def while_another_adds(*given, **more):
        monkeypatch.setattr(command, "howmany", honest)
        done("howmany", "maize_bench", *add, "--row", "other")
        return honest(*given, **more)

    monkeypatch.setattr(command, "howmany", while_another_adds)
    done("howmany", "maize_bench", *add, "--row", "mine")
    assert [entry.row for entry in read_log(folder / "log.csv")] == ["other", "mine"]
