"""Each command answers, on its main path and in a second; what it says is tested elsewhere."""

import re

import pytest

from metersim.questions import QUESTIONS
from metersim.questions.habits import command as habits_command
from metersim.questions.habits import naming
from metersim.questions.habits.study import habits
from metersim.questions.next import command as next_command
from metersim.questions.next.study import next_move
from metersim.questions.shared.countlog import EXAMPLE, HEADER
from tests.questions.test_sheet import OPTIONS, short  # noqa: F401  a sheet of few cells

DISC = """[[disc]]
cells = 30
hole_diameter_mm = 4.5
agitation = 0.3
seed_width_mm = 7.3
meant_for = "large maize"
"""
LOG = ",".join(HEADER) + f"\n{EXAMPLE}\n"
TAPE = "spacing_cm\n" + "".join(f"{16 + 0.3 * (k * k % 7)}\n" for k in range(140))
COUNT = ("--counted", "500", "--skips", "2", "--doubles", "22")
# what is typed, and what stands in the answer and in nobody else's
TYPED = {
    "run": (("maize_field", "--turns", "5"), "normal spacings"),
    "explain": (("maize_field",), "mean seed"),
    "compare": (("maize_bench", "--vary", "notch=0,1", "--turns", "5"), "Notch 0 to 1"),
    "measured": (("maize_field", "tape.csv"), "spacings"),
    "sweep": (("maize_bench", "--vary", "notch=0,1", "--turns", "4", "--out", "r.csv"), "Best"),
    "steps": (("maize_bench", "--cells", "1000"), "notch"),
    "howmany": (("maize_bench", "--cells", "1000"), "seeds"),
    "habits": (("maize_bench", "--meters", "2", "--habit", "leave alone"), "Best habit"),
    "learn": (("maize_bench", "--from", "log.csv", "--machines", "30"), "Learned from 1 count"),
    "next": (("maize_bench", *COUNT), "4.6 % doubles"),
    "sheet": (("--lot", "maize_large_flat", *OPTIONS, "--discs", "disc.toml"), "kPa"),
    "animate": (("maize_bench", "--turns", "60", "--out", "f.html"), "a double"),
    "report": (("maize_field", "--turns", "5", "--out", "r.html"), "Written to r.html"),
    "evidence": (("ankara_pickup", "--draws", "2"), "published levels"),
    "list": (("lots",), "maize_large_flat"),
    "guide": (("meter",), "Set a meter"),
    "lot": (("--like", "soybean", "--seeds-per-kg", "6000", "--out", "own.toml"), "own.toml"),
}
# all scenarios, in test_outputs.py with few cells; a page, in test_explore_server.py; a lesson of
# few cells, in test_lesson.py
ELSEWHERE = {"gallery", "explore", "lesson"}
ALONE = ("learn", "habits", "next", "evidence", "sheet", "sweep")  # that may start processes


@pytest.fixture
def quick(monkeypatch):
    """Few possible meters, and short runs, where the number is no option."""
    few = {"runs": 60, "each": 60}
    monkeypatch.setattr(naming, "CELLS", 150)
    monkeypatch.setattr(next_command, "next_move", lambda *a, **k: next_move(*a, **{**k, **few}))
    monkeypatch.setattr(habits_command, "habits", lambda *a, **k: habits(*a, **{**k, "grid": 3}))


METRIC = re.compile(r"\d (mm(?!\))|cm|m/s|km/h|kPa|kg/m3|per ha)\b|seeds a kg")  # but of holes
LONG = {"list", "guide", "sheet"}  # answers of more than a terminal, in units of their own
ITS_OWN_UNITS = {"evidence", "lot"}  # a published case and a label


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", TYPED)
def test_a_command_answers_in_a_terminal_in_the_units_of_its_reader(
    name, folder, done, monkeypatch
):
    """24 lines of 118 letters; METERSIM_UNITS alone is enough for US units."""
    for file, text in (("disc.toml", DISC), ("log.csv", LOG), ("tape.csv", TAPE)):
        (folder / file).write_text(text)
    if name not in LONG:
        monkeypatch.setenv("METERSIM_UNITS", "us")
    words, said = TYPED[name]
    told = done(name, *words, *(("--workers", "1") if name in ALONE else ()))
    assert said in told and re.search(r"\d", told)
    assert "nan" not in told.split()
    if name not in LONG:
        lines = told.rstrip("\n").splitlines()
        assert len(lines) <= 24 and max(map(len, lines)) <= 118
    if name not in LONG | ITS_OWN_UNITS:
        assert not METRIC.search(told)


def test_every_command_is_typed():
    assert set(TYPED) | ELSEWHERE == set(QUESTIONS)


def test_units_are_those_typed_else_of_the_scenario_else_of_the_reader(folder, done, monkeypatch):
    (folder / "us.toml").write_text('title = "own"\nextends = "maize_field"\nunits = "us"\n')
    turns = ("--turns", "5")
    assert METRIC.search(done("run", "maize_field", *turns))
    assert not METRIC.search(done("run", "us.toml", *turns))
    monkeypatch.setenv("METERSIM_UNITS", "metric")
    assert not METRIC.search(done("run", "us.toml", *turns))
    assert METRIC.search(done("run", "us.toml", *turns, "--units", "metric"))
