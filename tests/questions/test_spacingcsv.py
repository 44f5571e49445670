"""Files of measured spacings: units, rows, and every fault in a line."""

import numpy as np
import pytest

import metersim as m
from metersim.files.faults import BadInput
from metersim.files.tables import MOST_FAULTS
from metersim.files.units import UNITS
from metersim.questions.shared.rowcsv import as_csv
from metersim.questions.shared.spacings import COLUMNS, FEWEST, parse_spacings, read_spacings

LENGTHS = ("mm", "cm", "m", "in", "ft")


def file_of(header, values):
    return "\n".join([header, *map(str, values)]) + "\n"


def faults_of(content):
    with pytest.raises(BadInput) as caught:
        parse_spacings(content, "tape.csv")
    assert all(fault.where == "tape.csv" for fault in caught.value.faults)
    assert all("\n" not in str(fault) for fault in caught.value.faults)
    return [(fault.key, fault.message) for fault in caught.value.faults]


def one_fault(content):
    (fault,) = faults_of(content)
    return fault


# ---------------------------------------------------------------- what is read


@pytest.mark.parametrize("unit", LENGTHS)
def test_spacings_in_either_family_of_units(unit):
    content = file_of(f"spacing_{unit}", [2.5] * 30)
    (row,) = parse_spacings(content, "belt.csv").rows
    assert row == pytest.approx(2.5 * UNITS[unit].factor) and row.size == 30


@pytest.mark.parametrize("unit", LENGTHS)
def test_places_become_distances(unit):
    content = file_of(f"position_{unit}", [7 + 1.5 * k for k in range(31)])
    (row,) = parse_spacings(content, "tape.csv").rows
    assert row == pytest.approx(1.5 * UNITS[unit].factor) and row.size == 30


@pytest.mark.parametrize(("unit", "factor"), [("s", 1.0), ("ms", 1e-3)])
def test_times_of_a_sensor(unit, factor):
    found = parse_spacings(file_of(f"time_{unit}", range(0, 3100, 100)), "pulses.csv")
    assert found.kind == "time" and found.rows[0] == pytest.approx(100 * factor)


def test_no_spacing_runs_from_row_to_row():
    lines = [f"{k * 10},{name}" for name in ("left", "right") for k in range(15)]
    found = parse_spacings(file_of("position_cm,row", lines), "tape.csv")
    assert [row.size for row in found.rows] == [14, 14]
    assert np.concatenate(found.rows) == pytest.approx(0.1)
    alone = file_of("position_cm", [k * 10 for _ in range(2) for k in range(15)])
    assert "comes before" in one_fault(alone)[1]  # control: without names it is one row


def test_two_seeds_may_lie_on_one_spot_of_a_tape():
    found = parse_spacings(file_of("position_cm", [0, 0, *range(10, 400, 10)]), "tape.csv")
    assert found.rows[0][0] == 0


def test_what_a_run_leaves_is_read_as_it_lies_in_the_row():
    scenario = m.load_scenario("maize_field_faster", ["turns=10"])
    runs = [m.simulate(scenario, seed=3, replicate=k) for k in range(2)]
    assert any(np.any(np.diff(run.seeds.position) < 0) for run in runs)  # late seeds
    found = parse_spacings(as_csv(runs), "row.csv")
    for row, run in zip(found.rows, runs, strict=True):
        assert row == pytest.approx(np.diff(np.sort(run.seeds.position)), abs=1e-12)


def test_a_damaged_file_of_a_run_is_told_by_its_line():
    """An empty line and one that is cut short; both are no places."""
    scenario = m.load_scenario("maize_bench", ["turns=2"])
    lines = as_csv([m.simulate(scenario, seed=3)]).splitlines()
    for line, message in (("", "is empty"), ("0,5,2.75", "has 3 cells")):
        (key, said) = one_fault("\n".join([*lines[:30], line, *lines[30:]]))
        assert key == "row 31" and said.startswith(message)


def test_marks_of_spreadsheets_and_empty_lines_at_the_end(tmp_path):
    path = tmp_path / "belt.csv"
    path.write_bytes(b"\xef\xbb\xbfspacing_cm\r\n" + b"16.5\r\n" * 25 + b"\r\n,\r\n")
    assert read_spacings(path).size == 25


def test_a_hundred_thousand_lines_are_no_matter():
    assert parse_spacings(file_of("spacing_mm", ["167.2"] * 100_000), "x").size == 100_000


# ---------------------------------------------------------------- what is refused

GOOD = ["16.5"] * 30


def test_too_few_say_how_many_are_needed():
    for many, words in ((0, "0 spacings"), (1, "1 spacing;"), (FEWEST - 1, "19 spacings")):
        key, message = one_fault(file_of("spacing_cm", GOOD[:many]))
        assert key == "" and words in message and f"at least {FEWEST} are needed" in message
    assert parse_spacings(file_of("spacing_cm", GOOD[:FEWEST]), "x").size == FEWEST
    assert "19 spacings" in one_fault(file_of("position_cm", range(20)))[1]


@pytest.mark.parametrize("content", ["", "\n\n", ",,\n"])
def test_an_empty_file_is_told_what_it_must_name(content):
    key, message = one_fault(content)
    assert key == "" and "is empty" in message and "spacing_" in message and "time_" in message


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("0", "0.0 is not allowed; give a number from 0.001 to"),
        ("-3", "-3.0 is not allowed"),
        ("abc", "'abc' is not allowed"),
        ("16.5 cm", "'16.5 cm' is not allowed"),
        ("nan", "'nan' is not allowed"),
        ("inf", "'inf' is not allowed"),
        ("1e9", "1000000000.0 is not allowed"),
        ("1e999", "inf is not allowed"),
        ("0x10", "'0x10' is not allowed"),
    ],
)
def test_a_value_that_is_no_spacing_is_told_with_its_row(value, words):
    key, message = one_fault(file_of("spacing_cm", [*GOOD[:3], value, *GOOD]))
    assert key == "row 5, spacing_cm"
    assert words in message and "cm" in message


def test_nothing_of_a_spacing_says_what_to_do():
    assert "two seeds on one spot" in one_fault(file_of("spacing_cm", [*GOOD, 0]))[1]


@pytest.mark.parametrize(
    ("header", "key", "words"),
    [
        (
            "spacing_mm,spacing_in",
            "row 1, spacing_in",
            "mixed units: states the same as spacing_mm",
        ),
        ("spacing_mm,position_mm", "row 1, position_mm", "is measured beside spacing_mm"),
        ("spacing", "row 1, spacing", "unknown column"),
        ("spacing_yd", "row 1, spacing_yd", "unknown column; did you mean"),
        ("row", "row 1", "names no measured column; give spacing_ with mm, cm, m, in, ft"),
        ("16.5", "row 1, 16.5", "is a number; the first row must name"),
        ("spacing_cm,", "row 1, (no name)", "unknown column"),
    ],
)
def test_a_header_that_cannot_be_used(header, key, words):
    found = faults_of(file_of(header, GOOD))
    assert (key, True) in [(at, words in message) for at, message in found]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (file_of("spacing_cm", ["16,5", "17,1"] * 15), "commas as decimal marks"),
        (file_of("spacing_cm", ["16", "17,1"] * 15), "commas as decimal marks"),
        (file_of("spacing_cm", ['"16,5"'] * 30), "commas as decimal marks"),
        (file_of("spacing_cm;row", ["16,5;1"] * 30), "semicolons between columns"),
        (file_of("spacing_cm\trow", ["16.5\t1"] * 30), "tabs between columns"),
        (file_of("spacing_cm", [*GOOD, '"16.5']), "is not valid CSV"),
    ],
)
def test_other_marks_are_named(content, words):
    assert words in one_fault(content)[1]


def test_rows_that_do_not_fit_their_header():
    content = file_of("spacing_cm,row", ["16.5,1", "16.5", "", ",2", "16.5,", *["17,2"] * 30])
    assert faults_of(content) == [
        ("row 3", "has 1 cell; the header has 2"),
        ("row 4", "is empty; remove it"),
        ("row 5, spacing_cm", faults_of(content)[2][1]),
        ("row 6, row", "is empty; name the row, such as 1"),
    ]


def test_places_that_fall_are_told_with_both_rows():
    key, message = one_fault(file_of("position_cm", [10, 30, 20, *range(40, 400, 10)]))
    assert key == "row 4, position_cm"
    assert message.startswith("20 comes before the 30 of row 3; give them in order")


def test_many_faults_are_summed_up():
    found = faults_of(file_of("spacing_cm", ["x"] * 1000))
    assert len(found) == MOST_FAULTS + 1 and found[-1][1] == "has 980 more faults like these"


def test_all_on_one_spot_is_no_row():
    assert "one spot" in one_fault(file_of("position_cm", [5] * 40))[1]


@pytest.mark.parametrize("name", ["none.csv", "a\0b.csv", "."])
def test_a_file_that_cannot_be_read(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadInput, match="cannot be read"):
        read_spacings(tmp_path / name)


def test_bytes_that_are_no_text(tmp_path):
    path = tmp_path / "belt.csv"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_spacings(path)


def test_every_column_is_of_a_known_unit():
    assert set(COLUMNS) == {
        *(f"{kind}_{unit}" for kind in ("spacing", "position") for unit in LENGTHS),
        "time_s",
        "time_ms",
    }


# ---------------------------------------------------------------- feet and inches


@pytest.mark.parametrize(
    ("cell", "in_inches"),
    [
        ("6 1/2", 6.5),
        ("6-1/2", 6.5),
        ("6½", 6.5),
        ("1/2", 0.5),
        ('7"', 7.0),
        ("7''", 7.0),
        ('6 3/8"', 6.375),
        ("1' 3\"", 15.0),
        ("1'3 1/2\"", 15.5),
        ("1'-3\"", 15.0),
        ("1\u2032 3\u2033", 15.0),
        ("1 ft 3 in", 15.0),
        ("2'", 24.0),
        ("1' 3", 15.0),
    ],
)
def test_feet_and_inches_as_people_write_them(cell, in_inches):
    """With a mark, the header's unit has no effect; without one, it is the unit."""
    bare = not any(mark in cell for mark in "'\"\u2032f")
    for unit, factor in (("in", 0.0254), ("ft", 0.3048 if bare else 0.0254)):
        (row,) = parse_spacings(file_of(f"spacing_{unit}", [cell] * 25), "tape.csv").rows
        assert row == pytest.approx(in_inches * factor, rel=1e-12)


def test_a_tape_in_feet_and_inches_gives_its_spacings():
    places = [f"{k // 2}' {6 * (k % 2)}\"" for k in range(30)]  # 0' 0", 0' 6", 1' 0", ...
    found = parse_spacings(file_of("position_ft", places), "tape.csv")
    assert found.rows[0] == pytest.approx(0.1524) and found.starts == (0.0,)
    quoted = file_of("position_ft", ['"' + one.replace('"', '""') + '"' for one in places])
    assert parse_spacings(quoted, "tape.csv").rows[0] == pytest.approx(0.1524)


@pytest.mark.parametrize(
    "cell", ["6 1/0", "1 2", "6.5 1/2", "' 3", '"', "1' 3' 4", "seven", "6 cm"]
)
def test_what_is_no_length_is_refused(cell):
    if cell == '"':
        cell = '""""'
    key, message = one_fault(file_of("spacing_in", [*GOOD[:3], cell, *GOOD]))
    assert key == "row 5, spacing_in" and "is not allowed" in message


def test_marks_of_inches_are_no_centimetres():
    """Control: a column in cm takes numbers alone."""
    key, _ = one_fault(file_of("spacing_cm", [*GOOD[:3], "6 1/2", *GOOD]))
    assert key == "row 5, spacing_cm"


def test_rows_keep_their_names_and_first_places():
    lines = [*(f"{10 * k + 5},a" for k in range(15)), *(f"{10 * k + 200},b" for k in range(15))]
    found = parse_spacings(file_of("position_cm,row", lines), "tape.csv")
    assert found.labels == ("a", "b") and found.starts == pytest.approx((0.05, 2.0))
    bare = parse_spacings(file_of("spacing_cm", GOOD), "tape.csv")
    assert bare.labels == () and bare.starts == ()


@pytest.mark.parametrize("replicates", [1, 2])
def test_the_file_of_a_machine_has_the_spacings_of_each_of_its_rows(replicates, tmp_path, done):
    """A machine's file names the row of each seed; no spacing runs from one row to another."""
    file = tmp_path / "machine.csv"
    words = ["--set", "rows=3", "--set", "shut_off_kpa=8", "--turns", "4"]
    done("run", "maize_field", *words, "--replicates", replicates, "--csv", file)
    made = parse_spacings(file.read_text(encoding="utf-8"), "machine.csv")
    scenario = m.load_scenario("maize_field", ["rows=3", "shut_off_kpa=8", "turns=4"])
    passes = [m.simulate_pass(scenario, replicate=k) for k in range(replicates)]
    places = [np.sort(row.run.seeds.position) for one in passes for row in one.rows]
    assert len(made.labels) == len(made.rows) == 3 * replicates
    for read, meant in zip(made.rows, places, strict=True):
        assert read == pytest.approx(np.diff(meant), abs=1e-9)


# ---------------------------------------------------------------- plain files, read at once

PLAIN = {
    "spacings": file_of("spacing_in", ["6.5", "7.", ".5", "+6", "1e1", "0.65E+1"] * 5),
    "places": file_of("position_mm", [-200.5 + 169 * k for k in range(30)]),
    "windows": file_of("time_ms", range(0, 3000, 100)).replace("\n", "\r\n") + "\r\n\r\n",
    "rows": file_of("row,position_cm", [f"{k % 2} b,{k * 8.3:.1f}" for k in range(60)]),
    "rows last": file_of("spacing_ft,row", [f"0.{k},left" for k in range(1, 40)]),
}


def of_a_run(scenario, **changes):
    return as_csv([m.simulate(m.load_scenario(scenario, "turns=2"), **changes)])


@pytest.mark.parametrize(
    "content", [*PLAIN.values(), of_a_run("maize_bench")], ids=[*PLAIN, "a run"]
)
def test_a_plain_file_is_read_as_one_with_quotes(content):
    header, rest = content.split("\n", 1)
    quoted = "\n".join([",".join(f'"{name}"' for name in header.strip().split(",")), rest])
    one, other = (parse_spacings(text, "tape.csv") for text in (content, quoted))
    for a, b in zip(one.rows, other.rows, strict=True):
        np.testing.assert_array_equal(a, b)
    assert (one.labels, one.starts, one.column) == (other.labels, other.starts, other.column)


@pytest.mark.parametrize(
    "cell",
    ["1_0", "\N{ARABIC-INDIC DIGIT ONE}", "nan", "inf", "1e999", " ", "+-1", "1.2.3", "", "e"],
)
def test_what_is_no_number_is_one_fault_of_a_plain_file(cell):
    key, _ = one_fault(file_of("spacing_cm", [*["16.9"] * 30, cell, "17"]))
    assert key.startswith("row 32")
