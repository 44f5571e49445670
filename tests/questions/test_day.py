"""A day behind one lens: dust moves what the monitor shows, and nothing in the row."""

import json

import pytest

from metersim.files.units import HECTARE
from metersim.machine.reading import load_scenario
from metersim.questions.gallery.study import draw
from metersim.questions.run.day import brushings, day_of, hours_since, watched_runs
from metersim.questions.run.dayfigure import sawtooth
from metersim.questions.run.daytext import CAUTION, day_json, day_lines, sentences
from tests.questions.pages import check_page

DAY = ["day=6", "brushed_every=4", "dust_per_hour_percent=3", "turns=60"]


@pytest.fixture(scope="module")
def day():
    return day_of(load_scenario("maize_field", DAY), seed=1)


@pytest.mark.parametrize(
    ("time", "at_start", "every", "since"),
    [
        (0, 0, 4, 0),
        (3, 0, 4, 3),
        (4, 0, 4, 4),  # just before it is brushed
        (5, 0, 4, 1),
        (8, 0, 4, 4),
        (3, 2, 4, 5),
        (5, 2, 4, 1),
        (1, 0, 0.25, 0.25),
        (0.6, 0, 0.2, 0.2),
    ],
)
def test_hours_since_brushing_start_anew_at_each_brushing(time, at_start, every, since):
    assert hours_since(time, at_start, every) == pytest.approx(since)


def test_brushings_lie_inside_the_day():
    scenario = load_scenario("maize_field", ["day=8", "brushed_every=4"])
    assert brushings(scenario) == [4.0]
    assert brushings(scenario.replace(sensor__brushed_every=2.5)) == [2.5, 5.0, 7.5]


def test_every_hour_and_brushing_is_watched(day):
    assert [one.time for one in day.hours] == [0, 1, 2, 3, 4, 5, 6]
    assert [one.since for one in day.hours] == [0, 1, 2, 3, 4, 1, 2]
    assert watched_runs(day.scenario) >= len(day.hours) + 1


def test_dust_moves_the_monitor_and_not_the_row(day):
    """With the same seeds, more hours since brushing hide more of them."""
    first = day.hours[0]
    by_dust = sorted(day.hours, key=lambda one: one.since)
    assert [one.monitor for one in by_dust] == sorted(one.monitor for one in day.hours)
    for one in day.hours:
        assert one.skips == first.skips and one.placed == first.placed
        seen = one.measured["sensor.seen"].value / first.measured["sensor.seen"].value
        cells = one.measured.total("cells")
        error = (seen * (1 - seen) / cells) ** 0.5
        assert abs(seen - 0.97**one.since) <= 4 * error + 1e-12
    at_four = day.hours[4]
    assert at_four.monitor - at_four.skips == pytest.approx(1 - 0.97**4, abs=0.03)


def test_seed_used_betrays_the_false_alarm(day):
    assert day.is_false_alarm and day.is_as_planned
    shown, used = sentences(day)
    assert shown.startswith("After 4 hours the monitor shows ")
    assert "brush the lens" in used
    assert day.used == pytest.approx(day.hours[0].placed * day.scenario.seeds.seed_mass)
    clean = day_of(load_scenario("maize_field", [*DAY, "dust_per_hour_percent=0"]), seed=1)
    assert not clean.is_false_alarm and "the monitor agrees" in sentences(clean)[1]
    poor = day_of(load_scenario("maize_field", [*DAY, "vacuum_kpa=1.3"]), seed=1)
    assert not poor.is_as_planned and "not as planned" in sentences(poor)[1]  # a true alarm


def test_the_saw_falls_to_a_clean_lens(day):
    times, values = sawtooth(day, "monitor")
    assert times.count(4.0) == 2
    k = times.index(4.0)
    assert values[k] == day.hours[4].monitor and values[k + 1] == day.clean.monitor
    assert values[k] > 2 * values[k + 1]


@pytest.mark.parametrize(
    ("units", "own", "other"), [("metric", "ha", "acre"), ("us", "acre", "ha")]
)
def test_a_day_has_one_system_of_units(day, units, own, other):
    text = " ".join([*sentences(day, units), *day_lines(day, units)])
    page = draw(day, units)
    check_page(page)
    labels = " ".join(
        one.get_text() for one in page.findobj(lambda item: hasattr(item, "get_text"))
    )
    for said in (text, labels):
        assert f"per {own}" in said and f"per {other}" not in said


def test_json_of_a_day_is_in_si(day):
    made = day_json(day)
    assert made["planned_per_m2"] * HECTARE == pytest.approx(80_000)
    assert made["hours"][4]["monitor_skip"] == day.hours[4].monitor


@pytest.mark.slow
def test_the_command_warns_before_it_says_brush(done):
    words = ("run", "dusty_day", "--turns", "40", "--draws", "2")
    text = done(*words)
    lines = text.split("\n")
    assert lines[0] == f"Caution: {CAUTION}" and len(text.rstrip("\n").split("\n")) <= 24
    assert "brush the lens" in text
    assert "The day behind the lens" in done(*words, "--details")
    assert json.loads(done(*words, "--json", "-"))["day"]["false_alarm"]
    usual = done("run", "maize_field", "--turns", "40", "--draws", "2")
    assert "Caution" not in usual and "lens" not in usual  # negative control


@pytest.mark.slow
@pytest.mark.parametrize("name", ["day.pdf", "day.png"])
def test_a_day_is_drawn(done, folder, name):
    done("run", "dusty_day", "--turns", "20", "--draws", "2", "--figure", name)
    assert (folder / name).stat().st_size > 5_000
