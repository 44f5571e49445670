"""Habits held against one another: sums, the command, the text and the pictures."""

import csv
import dataclasses
import io

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from metersim.cli import main, read
from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.measures.intervals import Estimate
from metersim.questions.gallery.study import draw
from metersim.questions.habits import command
from metersim.questions.habits.figure import (
    draw_bars,
    draw_paths,
    draw_reached,
    example_meters,
    habit_paths_figure,
)
from metersim.questions.habits.study import ROOM, Habits, habits, steps_of, wanted_of
from metersim.questions.habits.text import bad, cost, findings, leads, report, summary, winners
from metersim.questions.habits.trials import LEAST_CHANGE, Meter, Trial, Truth
from metersim.questions.shared.answer import told as told_of
from metersim.questions.shared.looks import Look, rates
from metersim.questions.shared.operators import COUNT, HABITS, Seen, Wanted
from metersim.questions.shared.page import encoded
from metersim.run.pool import processes
from tests.questions.pages import sight

pytestmark = pytest.mark.slow

BENCH = load_scenario("maize_bench")
SOME = {name: HABITS[name] for name in ("leave alone", "one notch", "notch and vacuum")}
SMALL = ("habits", "maize_bench", "--meters", "4", "--habit", "leave alone", "--workers", "1")


@pytest.fixture(scope="module")
def result():
    return habits(BENCH, habits=SOME, meters=8, seed=5, grid=3)


def made(ends, firsts=None, seeds=None, double=()):
    """A result by hand: singulation at the end by habit, on 40 meters that start alike.

    Half of them start two notches off.  Looks grow with seeds: 300 to a look.  Habits of `double`
    move two settings between two looks.
    """
    rng = np.random.Generator(np.random.PCG64(1))
    noise = rng.normal(0, 0.001, 40)
    trials = {}
    for name, end in ends.items():
        first = (firsts or ends)[name]
        looks = (seeds or {}).get(name, 300) // 300
        seen = (Seen({}, Look(cells=300, skips=3, doubles=3)),) * looks
        if name in double:
            seen = (*seen, dataclasses.replace(seen[0], settings={"notch": 1, "vacuum": -1}))
        trials[name] = tuple(
            Trial(
                Meter(k, 2 * (k % 2), {"tube": 0.0}),
                name,
                "notch",
                Truth(0.02, 0.03, 0.9),
                Truth(1 - first, noise[k], 0.9),
                Truth(1 - end, noise[k], 0.9),
                seen,
                300 * looks,
                "notch" if k % 4 else "nothing",
            )
            for k in range(40)
        )
    some = {name: SOME.get(name, SOME["one notch"]) for name in ends}
    return Habits(BENCH, some, Wanted(0.01, 0.02), COUNT, 1, trials)


# ---------------------------------------------------------------- sums


@pytest.mark.study
@pytest.mark.slow
def test_means_are_means_of_trials(result):
    for name in SOME:
        ends = np.array([trial.end.single for trial in result.trials[name]])
        found = result.mean("single", name)
        assert found.value == pytest.approx(ends.mean())
        assert found.low < found.value < found.high
        gains = [trial.end.single - trial.start.single for trial in result.trials[name]]
        worse = np.less(gains, -LEAST_CHANGE)
        assert result.share("worse", name).value == pytest.approx(np.mean(worse))


def test_who_never_moves_cannot_end_worse(result):
    """So there is nothing for chance to do, and no interval."""
    assert [name for name in SOME if not result.moves(name)] == ["leave alone"]
    (line,) = (one for one in report(result).splitlines() if "never moves" in one)
    assert line.startswith("leave alone")


def test_starts_add_up_to_all_meters(result):
    for worth in ("single", "seeds", "first_single"):
        parts = [
            (result.offsets == off).sum() * result.mean(worth, "one notch", off).value
            for off in (0, 1, 2)
        ]
        assert sum(parts) / result.meters == pytest.approx(result.mean(worth, "one notch").value)


def test_differences_are_paired_and_turn_with_their_order(result):
    there = result.lead("single", "one notch", "leave alone")
    back = result.lead("single", "leave alone", "one notch")
    assert there.value == pytest.approx(-back.value)
    means = [result.mean("single", name) for name in ("one notch", "leave alone")]
    assert there.value == pytest.approx(means[0].value - means[1].value)
    itself = result.lead("single", "one notch", "one notch")
    assert (itself.low, itself.value, itself.high) == (0, 0, 0)


def test_pairing_narrows_what_meters_share():
    """A shift of a tenth of the spread between meters is detected; unpaired it would not be."""
    held = made({"leave alone": 0.9800, "one notch": 0.9801})
    assert held.lead("single", "one notch", "leave alone").low > 0
    one, other = (held.mean("single", name) for name in held.habits)
    assert one.high > other.low and other.high > one.low


def test_the_usual_wish_is_what_the_scenario_gives_and_some_more():
    wanted = wanted_of(BENCH, 3)
    fresh = rates(BENCH, 20_000, seed=9)
    for asked, share in ((wanted.skips, fresh.skip), (wanted.doubles, fresh.double)):
        assert abs(asked - ROOM - share) < 4 * np.sqrt(2 * share / 20_000)
    starved = wanted_of(load_scenario("gate_too_low"), 3)
    assert starved.skips > 5 * wanted.skips  # negative control


@pytest.mark.study
@pytest.mark.slow
def test_same_seed_same_rows_wherever_it_is_worked_out():
    told = []
    few = {"habits": {"one notch": SOME["one notch"]}, "meters": 3, "seed": 5, "grid": 3}
    with processes(2) as executor:
        there = habits(BENCH, executor=executor, on_step=told.append, **few)
    assert there.rows() == habits(BENCH, **few).rows()
    assert told == list(range(1, steps_of(3, 3) + 1))
    other = habits(BENCH, **{**few, "seed": 6})
    assert other.rows() != there.rows()


def test_a_table_has_a_row_a_habit_and_meter(result):
    table = result.to_dataframe()
    assert len(table) == 3 * 8
    left = table[table.habit == "leave alone"]
    assert (left.end_skip == left.start_skip).all() and (left.looks == 1).all()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"habits": {}}, "habits: none is given; give one or more"),
        ({"meters": 0}, "habits: meters: 0; give 1 or more"),
        ({"grid": 2}, "habits: grid: 2; give 3 or more"),
        (
            {"habits": {"x": dataclasses.replace(SOME["one notch"], count=0)}},
            "habits: x: counts 0 cells; give 1 or more",
        ),
    ],
)
def test_what_cannot_be_tried_is_told(wrong, said):
    with pytest.raises(BadInput) as error:
        habits(BENCH, **wrong)
    assert str(error.value) == said


# ---------------------------------------------------------------- text


def test_who_is_faster_and_where_they_win_is_told():
    ends = {"leave alone": 0.95, "one notch": 0.985, "leap": 0.980}
    firsts = {"leave alone": 0.95, "one notch": 0.970, "leap": 0.975}
    seeds = {"leave alone": 300, "one notch": 900, "leap": 600}
    told = findings(made(ends, firsts, seeds))
    assert told[0].startswith("Best singulation: one notch, 98.50")
    assert "distinguished" not in told[0]
    assert "Most seeds were counted by one notch, 900 a meter." in told
    assert any(
        line.startswith("Faster than one notch: leap, with 1.0 looks fewer") for line in told
    )
    (after,) = (line for line in told if line.startswith("After the first move"))
    assert "leap from 0 off by +0.50" in after and "leap from 2 off by +0.50" in after
    assert "At the end, ahead of one notch: no habit, from any start." in told


def test_where_all_do_the_same_nobody_is_ahead():
    """Negative control of the last."""
    told = findings(made({"leave alone": 0.98, "one notch": 0.98, "leap": 0.98}))
    assert "Cannot be distinguished from it: one notch, leap." in told[0]
    assert sum("no habit" in line for line in told) == 3
    assert not any(line.startswith("Faster") for line in told)
    assert any("No difference is detected" in line for line in told)


def test_a_winner_that_moves_two_settings_is_marked_with_its_cost():
    """Among equals, habits that move one setting come first; the cost of each stands beside it."""
    ends = {"notch and vacuum": 0.98, "one notch": 0.98}
    held = made(ends, double=("notch and vacuum",))
    assert winners(held) == ["one notch", "notch and vacuum"]
    assert winners(made(ends)) == ["notch and vacuum", "one notch"]  # negative control
    text = " ".join(summary(held).split())
    assert cost(held, "one notch") == "300 seeds counted, the cause named on 75 of 100 meters"
    end, _ = told_of("share", bad(held, "one notch"))
    assert f"Best habit: one notch. Skips and doubles at the end: {end} of the cells." in text
    assert "notch and vacuum moves two settings at once in 100 of 100 meters. Its cost: " in text
    ahead = made({"notch and vacuum": 0.99, "one notch": 0.98}, double=("notch and vacuum",))
    first, price, *_ = summary(ahead).splitlines()[1:]
    assert first.startswith("Best habit: notch and vacuum.")
    assert price == f"Its cost: {cost(ahead, 'notch and vacuum')}."
    assert "moves two settings at once" in summary(ahead)


def test_an_answer_fits_a_terminal_and_comes_first(result):
    for held in (result, made({"one notch": 0.98}), made({f"habit {k}": 0.98 for k in range(12)})):
        lines = summary(held).splitlines()
        assert len(lines) <= 24 and max(map(len, lines)) <= 118
        assert lines[0].startswith("Caution: Stop fan and disc")
        assert lines[1].startswith("Best habit: ") and lines[2].startswith("Its cost: ")
        assert "--details" in lines[-1] and lines[-1] not in report(held)
        whole = summary(held, details=True)
        assert whole.splitlines()[:3] == lines[:3] and report(held) in whole


def test_retired_words_are_gone(result):
    for text in (summary(result), report(result)):
        for word in ("luck", "told", "tell", "milder", "points of it"):
            assert word not in text.replace("percentage points", "")


def test_a_lead_is_more_than_chance_and_worth_telling():
    assert leads(Estimate(0.002, 0.001, 0.003))
    assert not leads(Estimate(0.002, -0.001, 0.005))
    assert not leads(Estimate(0.0002, 0.0001, 0.0003))


def test_the_text_fits_and_has_every_habit(result):
    for held in (result, made({"one notch": 0.98}), made({"mine": 0.98, "a longer name": 0.97})):
        lines = report(held).splitlines()
        assert max(map(len, lines)) <= 118
        for name in held.habits:
            assert sum(line.startswith(f"{name} ") for line in lines) == 3
    assert "A step of vacuum is 0.5 kPa." in report(result)
    assert "A step of vacuum is 2 inH2O." in report(result, "us")


# ---------------------------------------------------------------- pictures


def axes():
    return Figure(figsize=(6, 4)).add_axes((0.1, 0.1, 0.8, 0.8))


def test_dots_and_bars_are_the_numbers():
    held = made({"leave alone": 0.95, "one notch": 0.985, "leap": 0.985})
    dots = draw_reached(axes(), held)
    shares = [100 * (1 - held.mean("single", name).value) for name in held.habits]
    drawn = [dot.get_xdata()[0] for dot in dots]
    assert drawn == pytest.approx(shares, abs=1e-4)  # rounded to a millionth of the cells
    assert drawn[0] == pytest.approx(100 * bad(held, "leave alone").value)
    assert dots[0].axes.get_xlim()[0] == 0  # the place of a dot is an amount
    # leaders differ by shape, not by colour alone
    assert [dot.get_marker() for dot in dots] == ["o", "D", "D"]
    bars = draw_bars(axes(), [3.0, 9.0], "{:.0f}")
    assert [bar.get_width() for bar in bars] == [3, 9]


def test_meters_that_drop_no_seed_can_be_told_and_drawn():
    """No vacuum: every cell is empty, whatever anybody does with the notch."""
    dead = load_scenario("maize_bench", ["vacuum_kpa=0"])
    found = habits(dead, habits={"one notch": SOME["one notch"]}, meters=2, grid=3)
    assert found.mean("single", "one notch").value == found.mean("seeds", "one notch").value == 0
    assert "Best singulation: one notch, 0.00" in report(found)
    assert "Skips and doubles at the end: 100 % of the cells." in summary(found)
    assert encoded(draw(found), "a.png") and encoded(habit_paths_figure(found), "a.png")


def test_paths_are_the_notches_of_the_looks(result):
    numbers = example_meters(result)
    offsets = [result.trials["one notch"][k].meter.offset for k in numbers]
    assert offsets == [2, 0, -2]
    for line, number in zip(draw_paths(axes(), result, "one notch", numbers), numbers, strict=True):
        trial = result.trials["one notch"][number]
        notch = [trial.meter.offset + one.settings.get("notch", 0) for one in trial.seen]
        assert np.round(line.get_ydata()).tolist() == notch


def test_pages_are_for_a_projector_and_alike_every_time(result):
    for figure in (draw, habit_paths_figure):
        page = figure(result)
        width, height = page.get_size_inches()
        assert width / height == pytest.approx(16 / 9, rel=1e-3)
        assert min(text.get_fontsize() for text in page.findobj(Text) if text.get_text()) >= 12
        assert encoded(figure(result), "a.png") == encoded(page, "a.png")
        assert sight(page).startswith("See: '")
        canvas = page.canvas.get_renderer()
        parts = [page, *page.axes]
        for text in [text for part in parts for text in part.texts]:
            box = text.get_window_extent(canvas)
            assert box.x0 >= 0 and box.x1 <= page.bbox.width, text.get_text()


# ---------------------------------------------------------------- the command


@pytest.mark.slow
def test_the_command_tells_and_writes(folder, done):
    accept = ("--accept", "cells.skip<=2%", "--accept", "cells.double<=3%")
    files = ("--csv", "rows.csv", "--figure", "a.png", "--paths", "b.svg")
    text = done(*SMALL, "--habit", "one notch", *accept, *files, "--details")
    assert "skips of at most 2.00 %, doubles of at most 3.00 %" in text
    rows = list(csv.DictReader(io.StringIO((folder / "rows.csv").read_text())))
    assert [row["habit"] for row in rows] == ["leave alone"] * 4 + ["one notch"] * 4
    assert (folder / "a.png").read_bytes().startswith(b"\x89PNG")
    assert b"<svg" in (folder / "b.svg").read_bytes()


def test_all_that_is_wrong_with_options_is_told_at_once(told):
    lines = told(
        *("habits", "maize_bench", "--habit", "one noth", "--meters", "1", "--count", "0"),
        *(
            "--accept",
            "cells.skip<=60%",
            "--accept",
            "cells.double<=few",
            "--paths",
            "a.gif",
            "--workers",
            "0",
        ),
    )
    assert lines == [
        "--habit: one noth: unknown; did you mean 'one notch'?",
        "--meters: 1: must be a whole number from 2 to 10,000",
        "--count: 0: must be a whole number from 1 to 100,000",
        "--accept: cells.skip<=60%: must be from 0 to 50 %",
        "--accept: cells.double<=few: 'few' is no number",
        "--workers: 0: must be a whole number from 1 to 1,000",
        "--paths: a.gif: must end in .png or .svg or .pdf",
    ]


def test_an_interrupt_leaves_nothing(folder, monkeypatch, capsys):
    def stopped(*arguments, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "habits", stopped)
    assert main([*SMALL, "--csv", "rows.csv"]) == 130
    assert capsys.readouterr().err == "metersim: interrupted; nothing was written\n"
    assert list(folder.iterdir()) == []


def test_help_names_the_habits_that_there_are(capsys):
    with pytest.raises(SystemExit):
        read(["habits", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert ", ".join(HABITS) in said
    assert f"({COUNT})" in said
