"""The history of counts: what may be summed, what is of the present meter, and what is kept."""

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.questions.shared.countlog import (
    LATER,
    entry_of,
    parse_history,
    read_history,
    read_log,
    with_entry,
)
from metersim.questions.shared.history import (
    EVENTS,
    Entry,
    Event,
    current,
    event_of,
    in_time,
    same_settings,
    stretches,
)
from tests.strategies import BENCH

MOVED = BENCH.replace(singulator__notch=1.0)
OLD = (  # a log of 0.7.0
    "row,seeds,skips,doubles,triples,way,notch,vacuum_kpa,gate_opening_mm,inner_guide,"
    "speed_kmh,hole_diameter_mm,cells\n"
    "3,300,4,2,0,belt,0,4,52,false,6,4.5,30\nleft 2,310,4,3,1,sensor,1,4,52,false,6,4.5,30\n"
)


def count(row="3", scenario=BENCH, **more):
    return entry_of(scenario, row, more.pop("seeds", 300), more.pop("skips", 3), 2, **more)


def lengths(*history):
    return [len(one.entries) for one in stretches(history)]


# what may be summed


@pytest.mark.parametrize(
    ("between", "apart"),
    [
        (Event(kind="repaired"), True),
        (Event(kind="new lot"), True),
        (Event(kind="repaired", row="3", note="edge"), True),
        (Event(kind="repaired", row="4"), False),
        (Event(kind="brushed"), False),
        (count("4", MOVED, lot="B", surface="road", meter="M"), False),
        (count(scenario=MOVED), True),
        (count(way="sensor"), False),
        (count(lot="B"), False),  # as it is not stated before
    ],
)
def test_what_separates_two_counts_of_a_belt(between, apart):
    found = stretches([count(), between, count()])
    whole = [one for one in found if one.row == "3" and one.way == "belt"]
    assert (len(whole) > 1) == apart
    assert sum(one.look.cells for one in whole) >= 2 * count().look.cells


def test_brushing_separates_counts_by_a_sensor():
    assert lengths(count(way="sensor"), Event(kind="brushed"), count(way="sensor")) == [1, 1]
    assert lengths(count(way="sensor"), count(way="sensor")) == [2]  # control


@pytest.mark.parametrize("place", ["lot", "meter", "surface"])
def test_another_lot_meter_or_surface_separates(place):
    a, b, unstated = ({place: word} for word in ("a", "b", ""))
    assert lengths(count(**a), count(**unstated), count(**a)) == [3]
    assert lengths(count(**a), count(**unstated), count(**b)) == [2, 1]
    assert lengths(count(**a), count(**b), count(**a)) == [1, 1, 1]


def test_lines_count_by_their_day():
    """A repair that is written down a day late lies where it happened."""
    late = [count(date="2027-05-01"), count(date="2027-05-03"), Event(kind="repaired",
            date="2027-05-02")]  # fmt: skip
    assert [line.date[-2:] for line in in_time(late)] == ["01", "02", "03"]
    assert lengths(*late) == [1, 1]
    assert lengths(count(), count(), Event(kind="repaired")) == [2]  # no days: as written


LINES = st.lists(
    st.one_of(
        st.builds(
            count,
            row=st.sampled_from(["1", "2"]),
            scenario=st.sampled_from([BENCH, MOVED]),
            seeds=st.integers(10, 400),
            skips=st.integers(0, 20),
            way=st.sampled_from(["belt", "sensor", "row", "disc"]),
            lot=st.sampled_from(["", "A", "B"]),
            surface=st.sampled_from(["", "bench", "field"]),
            meter=st.sampled_from(["", "M"]),
        ),
        st.builds(Event, kind=st.sampled_from(EVENTS), row=st.sampled_from(["", "1", "2"])),
    ),
    max_size=14,
)


@pytest.mark.slow
@given(history=LINES)
def test_every_count_is_in_one_stretch_and_no_stretch_crosses_a_change(history):
    found = stretches(history)
    entries = [line for line in history if isinstance(line, Entry)]
    assert Counter(id(e) for one in found for e in one.entries) == Counter(map(id, entries))
    for name in ("cells", "skips", "doubles"):
        assert sum(getattr(one.look, name) for one in found) == sum(
            getattr(entry.look, name) for entry in entries
        )
    at = {id(line): k for k, line in enumerate(history)}
    for one in found:
        first, last = one.entries[0], one.entries[-1]
        between = history[at[id(first)] : at[id(last)] + 1]
        mine = [line for line in between if line.row in ("", one.row)]
        for line in mine:
            if isinstance(line, Event):
                assert line.kind == "brushed" and one.look.way != "sensor"
            else:
                assert same_settings(line.settings, first.settings)
        for place in ("lot", "meter", "surface"):
            said = {getattr(e, place) for e in mine if isinstance(e, Entry)} - {""}
            assert len(said) <= 1 and said <= {getattr(one, place)}
        assert {(entry.row, entry.way) for entry in one.entries} == {(one.row, one.way)}


@pytest.mark.slow
@given(history=LINES)
def test_the_counts_of_the_present_meter_are_the_last_ones(history):
    for row in ("1", "2"):
        mine = [line for line in history if isinstance(line, Entry) and line.row == row]
        kept, dropped, since = current(history, row)
        assert len(kept) + dropped == len(mine) and bool(since) == bool(dropped)
        belts = [entry for entry in mine if entry.look.way != "sensor"]
        seen = [entry for entry in kept if entry.look.way != "sensor"]
        assert [*map(id, seen)] == [*map(id, belts[len(belts) - len(seen) :])]


def test_what_is_left_out_is_said_with_its_reason():
    repaired = Event(kind="repaired", date="2027-05-02")
    assert current([count(), repaired, count(skips=9)], "3")[1:] == (1, "repaired, 2027-05-02")
    assert current([count(lot="A")], "3", lot="B") == ([], 1, "lot B in place of A")
    assert len(current([count(lot="A")], "3", lot="A")[0]) == 1
    assert len(current([count()], "3", lot="B")[0]) == 1  # a log that states no lot
    sensed = [count(way="sensor"), Event(kind="brushed"), count()]
    assert current(sensed, "3")[1:] == (1, "brushed")


# the file


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_an_old_log_is_read_as_before_and_gets_the_columns_that_a_line_needs(tmp_path, end, mark):
    path = tmp_path / "log.csv"
    path.write_bytes((mark + OLD.replace("\n", end)).encode())
    before = read_log(path)
    assert [(one.row, one.seeds, one.way, one.date, one.lot) for one in before] == [
        ("3", 300, "belt", "", ""),
        ("left 2", 310, "sensor", "", ""),
    ]
    assert before[1].settings["singulator__notch"] == 1
    bare = with_entry(path, count())
    assert bare.startswith(path.read_bytes())  # nothing that old columns cannot hold
    event = event_of("Repaired - new edge, seal", "3", "2027-05-02")
    path.write_bytes(with_entry(path, event))
    text = path.read_bytes().decode()
    assert text.startswith(mark) and text.count(end) == text.count("\n") == 4
    assert text.splitlines()[0].endswith(",cells,date,event")
    assert read_history(path) == [*before, event]
    path.write_bytes(with_entry(path, count(date="2027-05-03", lot="own, 2026")))
    *_, last = read_history(path)
    assert (last.date, last.lot) == ("2027-05-03", "own, 2026")
    assert read_history(path)[:3] == [*before, event]


@pytest.mark.slow
@given(
    kind=st.sampled_from(EVENTS),
    note=st.from_regex(r"[a-z0-9][a-z0-9 ,;:.()-]{0,30}[a-z0-9)]", fullmatch=True),
    row=st.sampled_from(["", "3", "left 2"]),
    day=st.dates(min_value=date(2000, 1, 1), max_value=date(2000, 1, 1) + timedelta(days=20000)),
)
def test_an_event_is_read_as_it_was_written(kind, note, row, day):
    event = Event(kind=kind, note=note, row=row, date=day.isoformat())
    assert event_of(event.text, row, event.date) == event
    text = OLD.splitlines()[0] + "," + ",".join(LATER)
    columns = text.split(",")
    cells = {"row": row, "date": event.date, "event": f'"{event.text}"'}
    line = ",".join(cells.get(column, "") for column in columns)
    assert parse_history(f"{text}\n{line}\n", "log.csv") == [event]


@pytest.mark.parametrize("text", ["", "repairedly", "mended", "newlot", 'brushed "well"'])
def test_other_events_are_refused(text):
    with pytest.raises(BadInput):
        event_of(text)


@pytest.mark.parametrize("day", ["2027-5-1", "20270501", "2027-02-30", "2027-W01-1", "x"])
def test_a_day_that_is_none_is_refused(day):
    with pytest.raises(BadInput, match="must be a day such as 2027-05-01"):
        count(date=day)
