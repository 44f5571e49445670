"""The answer on a machine: what it says is what its rows did, in few lines and in one system."""

import csv
import dataclasses
import json
import re

import numpy as np
import pytest
from matplotlib.text import Text

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.measures.rows import measure_pass
from metersim.questions.gallery.study import draw
from metersim.questions.run.machineanswer import answer_text
from metersim.questions.run.machinejson import machine_json
from metersim.questions.shared.alike import COMMON, DIFFER, ONE
from metersim.questions.shared.machinepicture import (
    cell_places,
    draw_field,
    draw_rows,
    piece_of_field,
    sown,
)
from metersim.questions.shared.machinerun import drawn_row, run_machine
from metersim.questions.shared.machinewords import table
from metersim.questions.shared.page import new_page
from metersim.run.toolbar import simulate_pass
from tests.questions.pages import check_page

FAN = ["shut_off_kpa=6", "free_flow_m3_h=700"]
MACHINE = ["rows=6", "working=1-5", "rows.3=notch=2", "turns=30", *FAN]
SET = [word for change in MACHINE for word in ("--set", change)]
METRIC = re.compile(r"\d (?:mm(?!\))|cm|m|m/s|km/h|kPa|per ha)\b|\[(?:kPa|m3/h)\]|seeds per ha")
US = re.compile(r"\d (?:in(?!\))|ft|ft/s|mph|inH2O|per acre)\b|\[(?:inH2O|cfm)\]|seeds per acre")


@pytest.fixture(scope="module")
def found():
    """A machine of which row 3 has another notch."""
    return run_machine(load_scenario("maize_field", MACHINE), seed=2, draws=3)


# ---------------------------------------------------------------- what is said


@pytest.mark.slow
def test_the_row_that_differs_is_named(found):
    assert found.kinds["cells.skip"].verdict == ONE
    text = answer_text(found)
    share = 100 * found.measured.rows[3]["cells.skip"].value
    said = re.search(r"; row 3 has ([\d.]+) % skips", text.splitlines()[0])
    assert float(said[1]) == pytest.approx(share, rel=0.1)
    alike = run_machine(load_scenario("maize_field", ["rows=4", "turns=30", *FAN]), draws=3)
    assert alike.kinds["cells.skip"].verdict not in (ONE, DIFFER)
    assert "no difference between rows is detected" in answer_text(alike)  # negative control
    assert COMMON in {one.verdict for one in alike.kinds.values()}


def test_the_vacuum_is_that_of_the_rows_with_least_and_most(found):
    vacuum = {row: found.measured.vacuum[row].middle for row in found.numbers}
    said = re.search(
        r"is ([\d.]+) kPa at row (\d) and ([\d.]+) kPa at row (\d)", answer_text(found)
    )
    assert int(said[2]) == min(vacuum, key=vacuum.get)
    assert int(said[4]) == max(vacuum, key=vacuum.get)
    assert float(said[1]) == pytest.approx(min(vacuum.values()) / 1e3, rel=5e-3)
    assert float(said[3]) == pytest.approx(max(vacuum.values()) / 1e3, rel=5e-3)


@pytest.mark.slow
def test_a_start_is_said_only_where_turns_miss_more():
    empty = ["rows=12", "shut_off_kpa=6", "free_flow_m3_h=450", "vacuum_kpa=3", "turns=12"]
    texts = [
        answer_text(run_machine(load_scenario("maize_field", [*empty, f"start={start}"]), draws=2))
        for start in ("empty", "filled")
    ]
    assert re.search(r"The first (?:\d+ turns|turn) after the start miss(?:es)? [\d.]+ %", texts[0])
    assert "after the start stay bare" in texts[0]
    assert "after the start" not in texts[1] and "the first seed" not in texts[1]


@pytest.mark.slow
def test_a_gauge_that_reads_another_vacuum_is_said():
    changes = ["rows=6", "working=1-3", "turns=10", "fan.set_when=sound", *FAN]
    opened, sealed = (
        answer_text(
            run_machine(load_scenario("maize_field", [*changes, f"parked={parked}"]), draws=2)
        )
        for parked in ("open", "sealed")
    )
    assert "The gauge reads" in opened and "3 parked rows is not sealed off" in opened
    assert "The gauge reads" not in sealed and "sealed off" not in sealed


def test_sentences_are_short(found):
    for sentence in answer_text(found).split("\n\n")[0].split("\n"):
        words = sentence.removeprefix("Note: ").replace(" %", "").replace(" kPa", "").split()
        assert len(words) <= 20, sentence


@pytest.mark.slow
@pytest.mark.parametrize("rows", [1, 6, 30])
def test_the_table_has_the_worst_rows_and_at_most_eight_lines(rows):
    changes = [
        f"rows={rows}",
        "turns=8",
        "shut_off_kpa=8",
        "free_flow_m3_h=4000",
        f"rows.{rows}=notch=2",
    ]
    made = run_machine(load_scenario("maize_field", changes), draws=2)
    lines = table(made, "metric")
    assert len(lines) <= 9 and lines[1][0].startswith("all")
    assert f"{rows}" in [line[0] for line in lines]
    text = answer_text(made)
    assert len(text.split("\n")) <= 24 and max(map(len, text.split("\n"))) <= 118


# ---------------------------------------------------------------- intervals


def test_a_total_holds_the_counts_of_all_rows_and_the_model_of_one(found):
    for key, one in found.whole.estimates.items():
        total, sampling = found.whole.total(key), found.whole.sampling(key)
        assert total.value == pytest.approx(one.value)
        assert total.low <= sampling.low <= sampling.high <= total.high
        assert found.rows[1].model(key).low <= found.rows[1].total(key).value
    whole, row = (one.sampling("cells.double") for one in (found.whole, found.rows[1]))
    assert whole.high - whole.low < row.high - row.low  # more cells


def test_the_row_that_is_drawn_has_no_changes_of_its_own():
    machine = load_scenario("maize_field", MACHINE)
    assert drawn_row(machine) in (2, 4)
    assert drawn_row(dataclasses.replace(machine, rows=())) == 3


# ---------------------------------------------------------------- units, files, options


def test_an_answer_has_one_system_of_units(found):
    for details in (False, True):
        metric, us = (answer_text(found, units, details) for units in ("metric", "us"))
        assert METRIC.search(metric) and not US.search(metric)
        assert US.search(us) and not METRIC.search(us)


def test_json_holds_the_rows_and_their_sum(found):
    made = json.loads(machine_json(found), parse_constant=pytest.fail)
    rows = made["each_row"]
    assert set(rows) == {"1", "2", "3", "4", "5"} and made["working_rows"] == [1, 2, 3, 4, 5]
    for name in ("cells", "seeds", "skips", "singles", "doubles"):
        assert made["machine"]["counts"][name] == sum(one["counts"][name] for one in rows.values())
    skips = made["machine"]["cells"]["skip"]
    assert skips["low"] <= skips["sampling_low"] <= skips["value"] <= skips["sampling_high"]
    assert len(made["air"]["vacuum_by_row_pa"]) == 6
    assert 3e3 < made["air"]["gauge_reading_pa"]["middle"] < 5e3
    assert sum(made["start"]["missed_cells"]) == made["machine"]["counts"]["skips"]
    assert made["provenance"]["row_changes"] == {"3": ["notch=2"]}


@pytest.mark.slow
def test_the_command_writes_what_it_says(done, folder):
    words = ("run", "maize_field", *SET, "--seed", "2", "--draws", "2")
    text = done(*words, "--csv", "seeds.csv", "--json", "all.json", "--replicates", "2")
    assert text.startswith("Skips ")
    rows = list(csv.DictReader((folder / "seeds.csv").read_text().splitlines()))
    made = json.loads((folder / "all.json").read_text())
    assert len(rows) == made["machine"]["counts"]["seeds"]
    assert {(one["replicate"], one["row"]) for one in rows} == {
        (f"{k}", f"{row}") for k in (0, 1) for row in range(1, 6)
    }
    assert done(*words) == done(*words)
    assert done(*words, "--engine", "events", "--turns", "3") == done(*words, "--turns", "3")


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (["--trace", "x.csv"], "--trace: x.csv: goes with one meter"),
        (["--plants"], "--plants: goes with one meter"),
        (["--set", "day=10"], "sensor.day: a day is followed behind the lens of one meter"),
        (["--set", "shut_off_kpa=1"], "fan.shut_off_kpa: at full speed"),
    ],
)
def test_what_does_not_go_with_a_machine_is_refused_in_one_line(told, words, where):
    (line,) = told("run", "maize_field", *SET, *words)
    assert where in line and len(line) < 300


# ---------------------------------------------------------------- figures


@pytest.fixture(scope="module")
def one_pass():
    changes = [*MACHINE, "off=20 m to 24 m"]
    return simulate_pass(load_scenario("maize_field", changes), seed=2)


def test_the_marks_are_the_skips_and_doubles_of_the_piece(one_pass):
    rings, squares = draw_field(new_page(4).add_subplot(), one_pass)
    begin, end = piece_of_field(one_pass)
    for marks, is_odd in ((rings, lambda n: n == 0), (squares, lambda n: n > 1)):
        wanted = []
        for row in one_pass.rows:
            places = cell_places(row.run)
            inside = is_odd(row.run.cells.released) & (places >= begin) & (places <= end)
            wanted += [(x, row.number) for x in places[inside].tolist()]
        assert sorted(zip(*marks.get_data(), strict=True)) == sorted(wanted) and wanted


def test_a_row_that_is_off_is_left_blank(one_pass):
    run = one_pass.rows[0].run
    before, after = sown(run, 0.0, 40.0)
    assert 20 < before[1] < 21 and 24 < after[0] < 25  # seeds fall while the machine moves on
    places = cell_places(run)
    inside = (places > before[1] + 1e-9) & (places < after[0] - 1e-9)
    assert not inside.any()
    assert np.all(np.abs(cell_places(run)[run.seeds.cell] - run.seeds.position) < 0.3)


def test_dots_are_the_shares_of_the_rows(one_pass):
    measured = measure_pass(one_pass)
    dots = draw_rows(new_page(4).add_subplot(), measured, "cells.skip", "skips")
    for dot, (row, one) in zip(dots, measured.rows.items(), strict=True):
        assert dot.get_ydata() == [row]
        assert dot.get_xdata()[0] == pytest.approx(100 * one["cells.skip"].value)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_pass_is_drawn_on_a_page(one_pass, units):
    page = draw(one_pass, units)
    check_page(page)
    text = " ".join(one.get_text() for one in page.findobj(Text))
    text = re.sub(r"metersim [\d.]+ \|.*", "", text)  # changes stand as they were typed
    assert (METRIC if units == "metric" else US).search(text)
    assert not (US if units == "metric" else METRIC).search(text)


@pytest.mark.slow
def test_shipped_machines_answer():
    for name in ("half_parked_open", "headland_start"):
        scenario = load_scenario(name, ["turns=12"])
        assert scenario.is_toolbar and scenario.shows
        assert len(answer_text(run_machine(scenario, draws=2)).split("\n")) <= 24
    with pytest.raises(BadInput):
        load_scenario("half_parked_open", ["working=9"])
