"""The log of counts: what is written is read again, old bytes stay, faults name their line."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.files.tables import MOST_FAULTS
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.questions.shared.countlog import (
    EXAMPLE,
    HEADER,
    entry_of,
    parse_log,
    read_log,
    with_entry,
)

BENCH = load_scenario("maize_bench")
HEAD = ",".join(HEADER)
GOOD = f"{HEAD}\n{EXAMPLE}\n"


def refused(content):
    """The faults of a log's text."""
    with pytest.raises(BadInput) as error:
        parse_log(content, "log.csv")
    return [str(fault) for fault in error.value.faults]


def test_the_columns_are_those_that_are_documented():
    settings = "notch,vacuum_kpa,gate_opening_mm,inner_guide,speed_kmh,hole_diameter_mm,cells"
    assert f"date,row,seeds,skips,doubles,triples,way,{settings},lot,meter,surface,event" == HEAD


@pytest.mark.parametrize("name", shipped_scenarios())
def test_what_is_written_is_read_again(name, tmp_path):
    """Settings to ten digits: on the scenario they were written from they change nothing else."""
    scenario = load_scenario(name)
    path = tmp_path / "log.csv"
    path.write_bytes(with_entry(path, entry_of(scenario, "left 2", 310, 4, 3, 1, "sensor")))
    (entry,) = read_log(path)
    assert (entry.row, entry.seeds, entry.triples) == ("left 2", 310, 1)
    assert entry.look.cells == 310 - 3 - 2 + 4
    assert (entry.look.skips, entry.look.doubles, entry.look.way) == (4, 4, "sensor")
    again = entry.on(scenario)
    assert again == scenario
    for field, value in entry.settings.items():
        section, _, bare = field.partition("__")
        assert getattr(getattr(scenario, section), bare) == pytest.approx(value, rel=1e-9)
    assert again.tube == scenario.tube and again.disc.circle_radius == scenario.disc.circle_radius


def test_settings_of_a_count_are_put_on_a_scenario():
    (entry,) = parse_log(GOOD.replace(",belt,0,4,", ",belt,-1,3.5,"), "log.csv")
    there = entry.on(BENCH)
    assert there.singulator.notch == -1 and there.vacuum.vacuum == pytest.approx(3500)
    assert BENCH.singulator.notch == 0  # negative control: it was elsewhere before


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("last", [True, False])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_old_bytes_stay_and_line_ends_are_kept(tmp_path, end, last, mark):
    path = tmp_path / "log.csv"
    old = mark + (HEAD + end + EXAMPLE + (end if last else "")).encode()
    path.write_bytes(old)
    new = with_entry(path, entry_of(BENCH, "4", 200, 1, 1))
    assert new.startswith(old) and new.endswith(end.encode())
    path.write_bytes(new)
    assert [entry.row for entry in read_log(path)] == ["3", "4"]


@pytest.mark.parametrize("blank", ["\n\n", "\r\n  \r\n", ",,,,\n,,,,\n"])
def test_empty_lines_at_the_end_do_not_end_up_between_counts(tmp_path, blank):
    """As spreadsheets leave them; a log that was added to is read again."""
    path = tmp_path / "log.csv"
    path.write_bytes((HEAD + "\n" + EXAMPLE + "\n" + blank).encode())
    path.write_bytes(with_entry(path, entry_of(BENCH, "4", 200, 1, 1)))
    assert [entry.row for entry in read_log(path)] == ["3", "4"]


def test_settings_typed_in_other_units_are_the_same_settings(tmp_path):
    """15 inH2O, 2.1 in and 4 mph, in a log of kPa, mm and km/h; control: half a notch off."""
    typed = load_scenario("maize_bench", ["vacuum_inh2o=15", "gate_opening_in=2.1", "speed_mph=4"])
    path = tmp_path / "log.csv"
    path.write_bytes(with_entry(path, entry_of(typed, "3", 300, 4, 2)))
    (entry,) = read_log(path)
    assert entry.settings["demand__speed"] != typed.demand.speed  # in the last digit
    assert entry.on(typed) == typed
    assert entry.on(typed.replace(singulator__notch=0.5)) != typed.replace(singulator__notch=0.5)


def test_a_log_in_other_units_and_order_is_added_to_in_its_own(tmp_path):
    """1 inH2O is 249.08891 Pa, so that 16 are 3.985 kPa."""
    path = tmp_path / "log.csv"
    own = "way,vacuum_inh2o,row,seeds,skips,doubles,triples,notch,gate_opening_in,inner_guide,"
    own += "speed_mph,hole_diameter_in,cells"
    path.write_text(f"{own}\nbelt,16,1,100,0,0,0,1,2,TRUE,4,0.177,30\n")
    (entry,) = read_log(path)
    assert entry.settings["vacuum__vacuum"] == pytest.approx(16 * 249.08891)
    assert entry.settings["guide__inner_guide"] is True
    path.write_bytes(with_entry(path, entry_of(entry.on(BENCH), "2", 50, 0, 0)))
    assert path.read_text().splitlines()[-1] == "belt,16,2,50,0,0,0,1,2,true,4,0.177,30"


@given(
    skips=st.integers(0, 400),
    doubles=st.integers(0, 400),
    triples=st.integers(0, 200),
    singles=st.integers(1, 1000),
)
def test_seeds_are_conserved(skips, doubles, triples, singles):
    """Cells are those with 0, 1, 2 and 3 seeds."""
    seeds = singles + 2 * doubles + 3 * triples
    line = f",3,{seeds},{skips},{doubles},{triples},belt,0,4,52,false,6,4.5,30,,,,"
    (entry,) = parse_log(f"{HEAD}\n{line}\n", "log.csv")
    assert entry.look.cells == skips + singles + doubles + triples
    assert entry.look.doubles == doubles + triples


FAULTS = {
    "": "log.csv: is empty; the first row must name columns: date, row",
    "seed\n": "log.csv: row 1, seed: unknown column of a log; did you mean 'seeds'?",
    "row,seeds\n3,10\n": "log.csv: row 1: is no log of counts: it has no column skips, doubles, ",
    GOOD.replace(",", ";"): "log.csv: has semicolons between columns; use a comma",
    GOOD.replace("3,300", "3,-300"): "log.csv: row 2, seeds: '-300' is not allowed; give a whole",
    GOOD.replace("3,300", "3,3e2"): "log.csv: row 2, seeds: '3e2' is not allowed; give a whole",
    GOOD.replace("300,4,2", "300,4,151"): "log.csv: row 2, count: doubles: 151 doubles alone have",
    GOOD.replace(
        "belt", "tape"
    ): "log.csv: row 2, way: tape: unknown; known: belt, sensor, row, disc",
    GOOD.replace(",4.5,", ",99,"): "log.csv: row 2, hole_diameter_mm: 99.0 is not allowed; give",
    GOOD.replace(",4,52", ",4,5,52"): "log.csv: row 2: has 19 cells; the header has 18",
    GOOD.replace(",4,52", ',"4,5",52'): "log.csv: has commas as decimal marks; use a comma",
    GOOD.replace("false", "no"): "log.csv: row 2, inner_guide: 'no' is not allowed; give true or f",
    GOOD.replace("4.5,30", "4.5,30.5"): "log.csv: row 2, cells: '30.5' is not allowed; give a whol",
    GOOD.replace(",3,300", ",=3,300"): "log.csv: row 2, row: =3: must be 1 to 40 letters, digits",
    GOOD.replace("3,300", "3," + "9" * 999): "log.csv: row 2, seeds: '" + "9" * 36 + "... is not",
    GOOD.replace("2027-05-01", "1/5/2027"): "log.csv: row 2, date: 1/5/2027: must be a day such as",
    GOOD.replace(",30,,,,", ",30,=1,,,"): "log.csv: row 2, lot: =1: must be 1 to 80 letters in one",
    GOOD.replace(
        ",30,,,,", ",30,,,,brushed"
    ): "log.csv: row 2, event: has a line of its own; leave",
    f"{HEAD}\n,3,{',' * 15}mended\n": "log.csv: row 2, event: mended: must begin with repaired, ",
    GOOD.replace("vacuum_kpa", "notch"): "log.csv: row 1, notch: states the same as notch; keep on",
}


@pytest.mark.parametrize("content", FAULTS)
def test_a_fault_is_said_in_a_line(content):
    said = refused(content)
    assert said[0].startswith(FAULTS[content])
    assert all("\n" not in line for line in said)


def test_every_fault_is_said_at_once():
    bad = f"{HEAD}\n{EXAMPLE.replace('300', 'x')}\n{EXAMPLE.replace('belt', 'eye')}\n"
    assert [fault.split(":")[1] for fault in refused(bad)] == [" row 2, seeds", " row 3, way"]


def test_many_faults_are_told_in_few_lines():
    said = refused(f"{HEAD}\n" + "nothing\n" * 5000)
    assert len(said) == MOST_FAULTS + 1 and said[-1].endswith("has 4,980 more faults like these")


@pytest.mark.parametrize("end", ["", "\n", "\n\n", "\r\n\r\n", "\n,,,,,,,,,,,,\n", "\n \n"])
def test_a_log_that_ends_in_empty_lines_keeps_its_bytes_and_stays_a_log(end, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes((GOOD + end).encode())
    for lines in (2, 3):
        before = path.read_bytes()
        path.write_bytes(with_entry(path, entry_of(BENCH, "4", 200, 1, 0)))
        assert path.read_bytes().startswith(before)
        assert [entry.row for entry in read_log(path)] == ["3", "4", "4"][:lines]


def test_a_range_cannot_be_what_was_set():
    vague = load_scenario("maize_bench", ["vacuum_kpa={low = 3, high = 5}"])
    with pytest.raises(BadInput, match="is a range; give the value that was set"):
        entry_of(vague, "3", 300, 1, 1)
    elsewhere = load_scenario("maize_bench", ["tube_wear={low = 0, high = 1}"])
    assert entry_of(elsewhere, "3", 300, 1, 1).seeds == 300  # negative control: not in the log


def test_no_log_is_no_log(tmp_path):
    path = tmp_path / "seeds.csv"
    path.write_text("length_mm,width_mm\n1,2\n")
    with pytest.raises(BadInput, match="unknown column of a log"):
        with_entry(path, entry_of(BENCH, "3", 300, 1, 1))
    with pytest.raises(BadInput, match="cannot be read"):
        read_log(Path(tmp_path / "nowhere.csv"))
