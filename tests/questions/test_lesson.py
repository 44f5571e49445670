"""A lesson: its numbers are those of the model, its words follow them, and its files are whole."""

import math
import re
from dataclasses import replace
from functools import cache
from html import escape
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.text import Text

from metersim.files.faults import bad
from metersim.machine.reading import load_scenario
from metersim.measures.intervals import Estimate
from metersim.questions.lesson import command, counting, moves, pages, row, study, written
from metersim.questions.lesson.counting import Counting, Machine, Machines, Range, TwoCounts
from metersim.questions.lesson.counttext import counting_chapter, machines_chapter
from metersim.questions.lesson.figure import PANELS
from metersim.questions.lesson.meter import PAIR_SIZE, SIZES, Rates, Seen
from metersim.questions.lesson.moves import Curve, Point, SingleSteps, Step, Together, TradeOff
from metersim.questions.lesson.movetext import steps_chapter, together_chapter, trade_chapter
from metersim.questions.lesson.pages import lesson_pages
from metersim.questions.lesson.phrases import found, hundred, share, went
from metersim.questions.lesson.row import AtSpeed, DustyLens, Lens, Spacings, SpeedCost
from metersim.questions.lesson.rowtext import lens_chapter, speed_chapter
from metersim.questions.lesson.study import lesson
from metersim.questions.lesson.text import about, answer_text, chapters, title
from metersim.questions.lesson.written import lesson_html, printed
from metersim.questions.shared.counts import Share
from metersim.questions.shared.looks import kept_full
from metersim.questions.shared.page import encoded_pdf
from metersim.run.simulation import simulate, simulate_cells
from tests.questions.test_units_outputs import mixed

NONE = Estimate(0.0, -0.001, 0.001)
UP, DOWN = Estimate(0.02, 0.01, 0.03), Estimate(-0.02, -0.03, -0.01)
MIDDLE, HIGH, LOW = (Estimate(x, x - 0.004, x + 0.004) for x in (0.03, 0.05, 0.01))
AFTER = {id(NONE): MIDDLE, id(UP): HIGH, id(DOWN): LOW}


def rates(skips, doubles, odd=None):
    """Levels or changes of a meter."""
    return Rates(skips, doubles, odd or skips)


def after(change):
    return rates(*(AFTER[id(one)] for one in (change.skips, change.doubles)))


# ---------------------------------------------------------------- words follow the numbers

ends = st.floats(-0.5, 0.5).map(lambda x: round(x, 5))


@given(st.lists(ends, min_size=3, max_size=3).map(sorted))
def test_a_change_is_told_as_its_interval_says(numbers):
    low, value, high = numbers
    before, change = Estimate(0.5, 0.49, 0.51), Estimate(value, low, high)
    end = Estimate(0.5 + value, 0.49 + value, 0.51 + value)
    said = went({"skips": (before, end, change)})
    assert ("skips rise" in said) == (low > 0)
    assert ("skips fall" in said) == (high < 0)
    assert ("no change of skips is detected" in said) == (low <= 0 <= high)


@given(st.floats(0, 1), st.floats(1e-6, 0.5))
def test_a_share_is_printed_within_its_error(value, size):
    said = share(Estimate(value, value - size, value + size))
    printed = float(said.removesuffix(" %"))
    assert abs(printed - 100 * value) <= max(50 * size, 0.051)


def test_chances_are_whole_numbers_of_a_hundred_and_never_certain():
    assert [hundred(x) for x in (0.001, 0.17, 0.999, 1.0)] == [
        "fewer than 1 of 100", "17 of 100", "more than 99 of 100", "100 of 100"
    ]  # fmt: skip
    assert found(0.01, 0.043, 300) == "1.0 to 4.3 %" and found(0.02, 0.02, 100) == "2 %"


def curve(setting, change, from_best=NONE, best=1):
    points = (
        Point(2e3, rates(MIDDLE, MIDDLE)), Point(3e3, rates(LOW, LOW)), Point(4e3, after(change))
    )  # fmt: skip
    return Curve(setting, points, 2, best, (best,), change, rates(UP, UP, from_best))


@pytest.mark.parametrize(
    ("skips", "doubles", "said"),
    [
        (DOWN, UP, "more vacuum gives fewer skips, and doubles are the price"),
        (UP, DOWN, "more vacuum gives fewer doubles, and skips are the price"),
        (DOWN, DOWN, "more vacuum lowers both: there is no trade"),
        (UP, UP, "more vacuum raises both: there is no trade"),
        (UP, NONE, "changes skips alone"),
        (NONE, DOWN, "changes doubles alone"),
        (NONE, NONE, "no effect that these runs detect"),
    ],
)
def test_a_trade_is_told_only_where_one_falls_and_the_other_rises(skips, doubles, said):
    part = trade_chapter(TradeOff((curve("vacuum", rates(skips, doubles)),)), "metric")
    assert said in part.sentences[2] and "From 2 to 4 kPa" in part.sentences[1]


@pytest.mark.parametrize(
    ("from_best", "best", "said"),
    [(UP, 1, "more by"), (NONE, 1, "no difference is detected"), (NONE, 2, "That is the present")],
)
def test_the_best_vacuum_is_better_only_where_runs_say_so(from_best, best, said):
    made = curve("vacuum", rates(DOWN, UP), from_best, best)
    assert said in " ".join(trade_chapter(TradeOff((made,)), "us").answer)


def step(name, count, skips, doubles, kind="doubles"):
    change = rates(skips, doubles)
    seen = Seen(kind, Share(0.03), Share(0.05)) if kind else Seen()
    return Step({name: count}, after(change), change, seen)


def single(*steps, doubles=HIGH):
    return SingleSteps(rates(MIDDLE, doubles), 9000, steps)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (step("notch", 1, UP, DOWN), "The price is more skips"),
        (step("notch", 1, DOWN, DOWN), "It lowers skips, too"),
        (step("notch", 1, NONE, DOWN), "No price in skips is detected"),
        (step("hole", -1, NONE, DOWN), "It needs another disc"),
        (step("notch", 1, UP, UP), "No single step here lowers doubles detectably"),
        (step("notch", 1, NONE, NONE, ""), "No single step here lowers doubles detectably"),
    ],
)
def test_a_step_helps_only_where_it_lowers_what_is_too_much(made, said):
    assert said in " ".join(steps_chapter(single(made), "metric").answer)


def test_nothing_is_counted_in_vain_without_saying_so():
    part = steps_chapter(single(step("notch", 1, NONE, NONE, "")), "metric")
    assert part.fact.startswith("No single step changes") and "in vain" in part.sentences[1]
    part = steps_chapter(single(step("notch", 1, UP, DOWN), doubles=LOW), "metric")
    assert "fewer skips" in part.question and "lowers skips detectably" in part.answer[0]


def pair(alone, both):
    def chances(*shares):
        return Seen("skips", Share(shares[0]), Share(shares[1]))

    first = replace(step("notch", 1, UP, DOWN), seen=chances(*alone))
    second = replace(step("vacuum", 1, DOWN, UP), seen=chances(*alone))
    joint = replace(step("notch", 1, NONE, NONE), seen=chances(*both))
    return Together(rates(MIDDLE, MIDDLE), (0.005, 0.005), (first, second), joint)


@pytest.mark.parametrize(
    ("both", "said", "answer"),
    [
        ((0.03, 0.031), "each move hides the other", "they cancel in the count"),
        ((0.03, 0.2), "the two add up", "would miss both at once"),
        ((0.03, 0.056), "neither cancel nor add up", "miss both at once"),
    ],
)
def test_two_steps_hide_each_other_only_where_counts_miss_both(both, said, answer):
    part = together_chapter(pair((0.03, 0.06), both), "metric")
    assert said in part.sentences[-1] and answer in part.answer[0]
    assert ("hides" in part.fact) == (both[1] < 0.05)
    nothing = together_chapter(Together(rates(MIDDLE, MIDDLE), (0.01, 0.01)), "metric")
    assert "none hides another" in nothing.fact


def cost(normal, odd):
    level = Spacings(HIGH, MIDDLE, MIDDLE, MIDDLE)
    ends = (AtSpeed(1.0, level, (1,)), AtSpeed(2.0, level, (1,)))
    return SpeedCost(ends, 0, Spacings(normal, NONE, NONE, odd))


SHORT = Estimate(*[math.nan] * 3)


@pytest.mark.parametrize(
    ("normal", "odd", "said", "answer"),
    [
        (DOWN, NONE, "speed costs even spacing", "After the disc: normal spacings fall"),
        (UP, NONE, "more even with speed", "After the disc: normal spacings rise"),
        (NONE, UP, "no cost of speed is detected", "At the disc: cells without exactly one seed"),
        (NONE, NONE, "no cost of speed is detected", "No effect of speed is detected"),
        (DOWN, UP, "speed costs even spacing", "Mostly at the disc"),
        (SHORT, NONE, "no change of cells", "No effect of speed is detected"),
    ],
)
def test_speed_costs_where_runs_say_so_and_may_be_of_use(normal, odd, said, answer):
    part = speed_chapter(cost(normal, odd), "metric")
    assert said in part.sentences[-1] and answer in part.answer[0]


@pytest.mark.parametrize("placed", [8.0, 6.0])
@pytest.mark.parametrize(("change", "said"), [(UP, "shows"), (NONE, "no change of the skips")])
def test_a_lens_is_brushed_where_the_seed_used_is_as_planned(placed, change, said):
    lenses = (Lens(0.0, LOW, LOW), Lens(0.2, HIGH, LOW))
    area = Estimate(placed, placed - 0.1, placed + 0.1)
    part = lens_chapter(DustyLens(LOW, LOW, lenses, change, area, 8.0, math.inf), "metric")
    assert said in part.sentences[2]
    assert ("move no setting" in part.answer[1]) == (placed == 8.0)
    assert ("look at the meter" in part.answer[1]) == (placed != 8.0)


def drawn(apart, change, spread=0.05):
    each = tuple(Machine(0.01 + k * spread / 9, 0.02, change) for k in range(10))
    return Machines("an unknown machine", 3000, each, {"notch": 1}, rates(apart, NONE),
                    {"skips": 0.006, "doubles": 0.006})  # fmt: skip


@pytest.mark.parametrize(
    ("apart", "change", "said", "ways"),
    [
        (UP, rates(UP, DOWN), "90 of 100 machines have", "raises skips on 10 of 10"),
        (NONE, rates(DOWN, UP), "No difference between 10 machines", "lowers skips on 10 of 10"),
        (UP, rates(NONE, NONE), "90 of 100", "changes skips detectably on none of 10"),
    ],
)
def test_machines_differ_and_a_step_has_its_way_as_runs_say(apart, change, said, ways):
    part = machines_chapter(drawn(apart, change), "metric")
    assert said in part.fact and ways in part.sentences[-1]
    assert ("wrong" in part.question) == (apart is UP)


def counted(first, second, low=0.01):
    ranges = tuple(Range(size, 50, low, 0.02, 0.05) for size in SIZES)
    return Counting(45_000, rates(MIDDLE, MIDDLE), {"skips": ranges, "doubles": ranges},
                    TwoCounts("skips", first, second, 0.12), ())  # fmt: skip


def test_two_counts_that_agree_prove_little_and_two_that_differ_nothing():
    apart, alike = (counting_chapter(counted(2, other), "metric") for other in (9, 2))
    assert "2 skips, the second 9" in apart.question and "12 of 100 differ" in apart.answer[1]
    assert "Both find 2 skips" in alike.question and "prove little" in alike.answer[0]


# ---------------------------------------------------------------- numbers are those of the model

SCENES = {
    "machine": ("half_parked_open", (), "us"),
    "belt": ("canola_small_seed", ("delivery=conveyor",), "metric"),
    "nothing falls": ("maize_field", ("vacuum_kpa=0.1",), "metric"),
}


FEW = {
    moves: {"CELLS": 900},
    row: {"ROW_CELLS": 900},
    counting: {"COUNTED_CELLS": 3000, "MACHINES": 3, "MACHINE_CELLS": 600},
}


@cache
def short(name, *changes, units="metric", seed=2):
    """A lesson of few cells and machines, so that it takes a moment."""
    with pytest.MonkeyPatch.context() as patch:
        for module, names in FEW.items():
            for one, many in names.items():
                patch.setattr(module, one, many)
        return lesson(load_scenario(name, changes), units=units, seed=seed)


@pytest.mark.slow
def test_numbers_of_a_lesson_are_those_of_plain_runs():
    bench, made = load_scenario("maize_bench"), short("maize_bench", seed=3)
    for point in made.trade.curves[0].points[::4]:
        cells = simulate_cells(kept_full(bench.replace(vacuum__vacuum=point.value), 900), seed=3)
        assert point.rates.skips.value == pytest.approx(np.mean(cells.released == 0))
        assert point.rates.doubles.value == pytest.approx(np.mean(cells.released > 1))
    doubles = simulate_cells(kept_full(bench, 3000), seed=3).released > 1
    counts = [int(doubles[k : k + 300].sum()) for k in range(0, 3000, 300)]
    two = made.counting.pair
    assert two.kind == "doubles" and (two.first, two.second) in pairwise(counts)
    apart = np.abs(np.diff(counts))
    assert two.as_far == np.mean(apart >= abs(two.first - two.second))
    run = simulate(kept_full(bench.replace(sensor__detection=0.8), 900), seed=3)
    seen = np.bincount(run.seeds.cell[run.seeds.seen], minlength=len(run.cells))
    assert made.lens.lenses[-1].skips.value == pytest.approx(np.mean(seen == 0))
    assert made.lens.skips.value == pytest.approx(np.mean(run.cells.released == 0))
    joint = made.together
    tried = [one.seen.chance(PAIR_SIZE) for one in (*joint.alone, joint.both)]
    assert joint.hidden == min(tried[:2]) - tried[2]


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENES)
def test_a_lesson_is_plain_for_unlike_meters(name):
    scenario, changes, units = SCENES[name]
    made = short(scenario, *changes, units=units)
    parts = chapters(made)
    assert [part.name for part in parts] == [*PANELS]
    for part in parts:
        assert 2 <= len(part.sentences) <= 5 and part.question.endswith("?") and part.answer
        text = " ".join((part.fact, *part.sentences, part.see, part.question, *part.answer))
        assert not re.search(r"\bnan\b|\binf\b|\{|  ", text)
        assert mixed(text, units) == []
    lines = answer_text(made, ["class/lesson.html", "class/lesson.pdf"]).splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert mixed("\n".join([title(made), *about(made)]), units) == []


@pytest.mark.slow
def test_a_page_stands_alone_with_cautions_first_and_answers_last():
    made = short("maize_field", "vacuum_kpa=0.1")
    page = lesson_html(made)
    assert page.count("data:image/svg+xml") == 7 and not re.search(r'(src|href)="(?!data:)', page)
    assert page.index("guards") < page.index("1. Skips") < page.index(">Answers<")
    for part in printed(made):
        assert page.index(part.title) < page.index(">Answers<")
        assert all(page.index(escape(said)) > page.index(">Answers<") for said in part.sentences)


@pytest.mark.slow
def test_no_word_of_a_printed_page_leaves_its_paper():
    made = list(lesson_pages(short("half_parked_open", units="us")))
    assert len(made) >= 9
    for one in made:
        one.draw_without_rendering()
        for text in one.findobj(Text):
            if text.get_visible() and text.get_text():
                box = text.get_window_extent()
                assert box.x0 >= 0 and box.y0 >= 0
                assert box.x1 <= one.bbox.x1 and box.y1 <= one.bbox.y1
    assert encoded_pdf(made[-1:]) == encoded_pdf(made[-1:])


@pytest.mark.slow
def test_a_folder_keeps_its_files_and_takes_a_lesson_whole(folder, done, told, monkeypatch):
    made = short("half_parked_open", units="us")
    monkeypatch.setattr(study, "lesson", lambda *given, **more: made)
    monkeypatch.setattr(written, "lesson_html", lambda made: "page")
    monkeypatch.setattr(pages, "lesson_pdf", lambda made: b"pages")
    (folder / "class").mkdir()
    (folder / "class/list.txt").write_text("names")
    for name in ("class", "new", "new"):
        answer = done("lesson", "half_parked_open", "--out", name, "--units", "us")
        assert answer.startswith("Caution: ") and f"{name}/lesson.pdf" in answer
        assert (folder / name / "lesson.html").read_text() == "page"
    assert sorted(one.name for one in (folder / "class").iterdir()) == [
        "lesson.html", "lesson.pdf", "list.txt"
    ]  # fmt: skip

    def full(files):
        raise bad("class/lesson.pdf", "", "cannot be written: no space")

    monkeypatch.setattr(command, "write_all", full)
    for name in ("class", "third"):
        assert "no space" in told("lesson", "maize_bench", "--out", name)[0]
    assert not (folder / "third").exists()
    assert (folder / "class/lesson.html").read_text() == "page"


# ---------------------------------------------------------------- what is typed


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--out: missing; name a folder"),
        (("--out", "none/here"), "there is no folder none; make it first"),
        (("--out", "file"), "is a file; name a folder"),
        (("--out", "new", "--number", "3"), "goes with --hidden"),
        (("--out", "new", "--seed", "x"), "--seed: x"),
        (("nowhere", "--out", "new"), "nowhere"),
        (("maize_bench", "--hidden"), "does not go with --hidden"),
        (("--hidden", "--level", "5"), "--level: 5"),
        (("--hidden", "--level", ""), "--level: must be a whole number from 1 to 4"),
        (
            ("--hidden", "--number", "1000000"),
            "--number: 1000000: must be a whole",
        ),
        (("--hidden", "--seed", ""), "--seed: does not go with --hidden"),
        (("--hidden", "--out", "new.txt"), "--out: new.txt: must end in .png"),
        (("--out", "new", "--seed", ""), "--seed: must be"),
    ],
)
def test_what_cannot_be_written_is_said_before_anything_runs(words, said, folder, told):
    (folder / "file").write_text("")
    assert any(said in line for line in told("lesson", *words))
    assert not (folder / "new").exists()
