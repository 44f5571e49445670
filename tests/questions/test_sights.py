"""What figures say to see follows the numbers, whichever way they fall."""

from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest

from metersim.measures.fold import DOUBLES, MISSES
from metersim.measures.intervals import Estimate
from metersim.questions.compare.figure import comparison_sight
from metersim.questions.evidence import figure as published
from metersim.questions.evidence.verdicts import AGREES, DISAGREES, TREND
from metersim.questions.gallery.study import figures
from metersim.questions.habits import figure as habit
from metersim.questions.list.faults import ALONE
from metersim.questions.list.figure import faults_sight
from metersim.questions.measured.figure import measured_sight
from metersim.questions.next.causefigure import causes_sight
from metersim.questions.next.figure import next_sight
from metersim.questions.next.likely import FINE
from metersim.questions.run.dayfigure import day_sight
from metersim.questions.shared.sights import pass_sight, run_sight
from metersim.questions.sheet.figure import sheet_sight
from metersim.questions.sheet.start import QUALITY
from metersim.questions.steps.figure import steps_sight
from metersim.questions.sweep.figure import sweep_sight
from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.response import respond
from metersim.questions.sweep.study import sweep
from tests.questions.test_figures import comparison_of, run_of
from tests.sweep_points import hill, outcome

HOLES = 30  # of the bench


def share(value, apart=0.001):
    return Estimate(value, value - apart, value + apart)


def test_each_page_of_a_result_has_its_sentence():
    """A page is made by `headline`, which takes the sentence, or writes it by itself."""
    for module in [one for one in figures() if hasattr(one, "PAGES")]:
        source = Path(module.__file__).read_text("utf-8")
        assert "headline(" in source or 'gid="see"' in source, module


def released(**changes):
    made = np.ones(900, dtype=np.int64)
    for where, many in changes.values():
        made[where] = many
    return run_of(made)


@pytest.mark.parametrize(
    ("where", "many", "said"),
    [
        (slice(0, 0), 0, "all 899 spacings are normal."),
        (slice(6, None, HOLES), 0, "3.3 % of cells are empty; 30 of these 30 are turns of hole 7."),
        (slice(400, 412), 0, "1.3 % of cells are empty; 12 of these 12 lie three or more in a row"),
        (slice(5, None, 41), 0, "more are missed (2.5 %) than close (0.0 %)."),
        (slice(5, None, 41), 2, "more are close (2.4 %) than missed (0.0 %)."),
        (slice(0, None), 0, "no cell carries a seed, so there is no spacing."),
        (slice(1, None), 0, "fewer than two seeds fell, so there is no spacing."),
    ],
)
def test_a_run_names_its_hole_its_gap_or_its_spacings(where, many, said):
    assert said in run_sight(released(one=(where, many)))


def test_many_empty_cells_lie_in_a_row_by_chance():
    random = np.random.default_rng(1).random(900) > 0.6
    said = run_sight(run_of(random.astype(np.int64)))
    assert "in a row" not in said and "of spacings are normal" in said


def machine(skips, vacuum=4000.0, missed=(5, 5), turns=0):
    """Measures of a pass of some rows by hand."""
    whole = {"cells.skip": share(np.mean(skips))}
    rows = {row: {"cells.skip": share(one, 0.002)} for row, one in enumerate(skips, 1)}
    middles = {row: Made(middle=vacuum) for row in rows}
    start = Made(turns=turns, missed=missed, cells=(100, 100), settled=share(0.01))
    scenario = Made(vacuum=Made(vacuum=4000.0))
    return Made(whole=whole, rows=rows, vacuum=middles, start=start, scenario=scenario)


def test_a_pass_names_its_start_its_row_or_its_vacuum():
    alike = [0.01, 0.011, 0.01]
    assert pass_sight(machine(alike)).startswith("no row stands out;")
    assert pass_sight(machine([0.01, 0.05, 0.01])).startswith("row 2 misses 5.0 % of its cells")
    low = pass_sight(machine(alike, vacuum=2500.0))
    assert low.startswith("the gauge was set to 4 kPa, the rows get 2.50 kPa")
    assert "inH2O" in pass_sight(machine(alike, vacuum=2500.0), "us")
    started = pass_sight(machine(alike, missed=(40, 5), turns=1))
    assert started == "the first turn misses 40.0 % of its cells, later turns 1.0 %."


@pytest.mark.parametrize(
    ("monitor", "skips", "said"),
    [(0.12, 0.01, "dust on the lens"), (0.01, 0.12, "misses"), (0.01, 0.012, "what the row has")],
)
def test_a_day_says_whether_the_monitor_is_right(monitor, skips, said):
    assert said in day_sight(Made(worst=Made(time=4.0, monitor=monitor, skips=skips)))


def test_a_comparison_names_the_difference_or_none():
    usual, skips = released(), released(one=(slice(5, None, 9), 0))
    assert "can be distinguished from 0" in comparison_sight(comparison_of("ab", [usual, usual]))
    ahead, back = (
        comparison_sight(comparison_of("ab", runs)) for runs in ([usual, skips], [skips, usual])
    )
    name, values = ahead.split(";")[0].split(": ")
    assert back.startswith(name)
    first, second = (one.split(" at ")[0] for one in values.split(", "))
    assert first in back and second in back and back.index(second) < back.index(first)


def test_a_sweep_counts_what_is_acceptable():
    def seen(vary, run=hill, key="per_spacing.quality", **options):
        return sweep_sight(respond(sweep(plan_sweep("maize_bench", vary, **options), run=run), key))

    one = seen(["vacuum_kpa=2:6:9"])
    assert "of 9 points are acceptable, between " in one and "kPa" in one
    panels = ["vacuum_kpa=2:6:3", "notch=-1:1:3", "inner_guide=true,false"]
    assert "most with " in seen(panels)
    poor = seen(["vacuum_kpa=2:6:9"], lambda job: outcome(per_spacing__quality=0.5))
    assert poor.startswith("none of 9 points are acceptable; 8 others lie within")
    nothing = seen(["notch=0,1"], lambda job: outcome(per_spacing__quality=float("nan")))
    assert nothing == "normal spacings: no value at any point."


def test_steps_name_the_settings_that_leave_their_bands():
    def stepped(**shares):
        steps = [
            Made(setting=name, step=step, estimates=kinds(skips))
            for name, moves in shares.items()
            for step, skips in moves.items()
        ]
        base = Made(estimates=kinds(0.02))
        return steps_sight(Made(steps=steps, base=base, seeds=300, band=lambda kind: 0.01))

    def kinds(skips):
        return {"skips": share(skips), "doubles": share(0.02)}

    still = stepped(notch={-1: 0.02, 1: 0.025}, gate={1: 0.02})
    assert still == "no step leaves its band: a count of 300 seeds detects none of them."
    moved = stepped(notch={1: 0.05, 2: 0.09}, gate={1: 0.02}, vacuum={1: 0.02, -2: 0.005})
    assert moved.endswith("only after one step of singulator or two steps of vacuum.")


class Tape(dict):
    """Measured spacings by hand."""

    folds = ()


def test_measured_spacings_name_a_hole_a_value_or_nothing():
    def found(value):
        measure = Made(kind="share")
        own, other = Estimate(value, 0, 1), Estimate(0.8, 0.75, 0.85)
        pair = Made(measure=measure, measured=own, predicted=other, differs=value < 0.75)
        return Tape({"per_spacing.quality": pair})

    assert measured_sight(found(0.8)).startswith("every measured value lies in the range")
    assert measured_sight(found(0.6)) == "normal spacings are 60.00 %, outside the predicted " + (
        "75.00 to 85.00."
    )
    assert measured_sight(Tape()).startswith("too few spacings")
    tape = found(0.6)
    for kind, said in ((MISSES, "drops no seed"), (DOUBLES, "drops two seeds")):
        hole = Made(kind=kind, hole=7, count=20, turns=25)
        tape.folds = (Made(found=(hole, hole)),)
        assert measured_sight(tape) == f"hole 7 {said} in 20 of its 25 turns; 1 more such."


def test_the_next_move_names_the_likeliest_and_what_it_brings():
    def found(chosen, after):
        names = {FINE: after, "vacuum": 1 - after}
        known = Made(names=list(names), after=names.get, before=lambda name: 0.5)
        return next_sight(Made(diagnosis=known, chosen=chosen))

    assert found(None, 0.7) == (
        "most likely: in order, 70 of 100 such meters (50 before counting); no move is advised."
    )
    assert found(Made(value=0.02), 0.3).endswith("the move brings +2.0 percentage points.")
    assert "in order" not in found(None, 0.3)


def test_causes_name_the_sign_that_counts_most_or_none():
    def found(factor):
        return causes_sight(
            Made(
                lines=[("lens",)],
                chance_of=lambda names: 0.6,
                prior={"lens": 0.1},
                factors={"lens": {"a": 1.0, "rows": factor}},
                evidence=[Made(name="a", said="all"), Made(name="rows", said="one")],
            )
        )

    assert "60 of 100 such machines (10 before)" in found(9.0)
    assert found(9.0).endswith("'rows one' speaks for it most.")
    assert found(1.1).endswith("no sign makes that much likelier.")


def test_published_values_are_counted(monkeypatch):
    verdicts = [AGREES, AGREES, DISAGREES, TREND]
    shown = [Made(verdict=one) for one in verdicts]
    said = published.levels_sight(shown)
    assert said.startswith("2 of 4 published") and "1 agree in trend alone, 1 disagree" in said
    assert published.levels_sight(shown[:2]).startswith("all 2 of 2 published values")
    lost = {"flat": [[0.0], [0.001]], "steep": [[0.0], [0.2]]}
    vacuums = np.array([2.0, 4.0])
    monkeypatch.setattr(published, "lost_quality", lambda made, n: (vacuums, np.array(lost[n])))
    panels = [(None, name, 4.0) for name in lost]
    assert published.plateaus_sight(panels).startswith("1 of 2 published best vacuums")
    assert published.plateaus_sight([(None, "steep", 2.0)]).startswith("1 of 1")


def test_faults_that_look_alike_are_counted():
    rows = [("A", None, None), ("A", None, None), (ALONE, None, None)]
    assert faults_sight(rows) == (
        "2 of 3 faults look like others, in 1 group of one letter, and 1 like no other."
    )
    assert faults_sight(rows[2:]) == "no fault looks like another: each has dots of its own."


def test_a_sheet_names_what_costs_most():
    def one(key, cost):
        return Made(key=key, cost=share(cost), close=cost < -0.01)

    dear = Made(leading=QUALITY, nearby=[one("faster", -0.06), one("more vacuum", 0.0)])
    assert "faster would cost most, 6 percentage points of normal spacings" in sheet_sight(dear)
    assert sheet_sight(dear, reasons=True).startswith("1 of 2 single changes")
    cheap = Made(leading=QUALITY, nearby=[one("more vacuum", 0.001)])
    assert "no single change would cost normal spacings" in sheet_sight(cheap)


def test_habits_name_the_best_and_those_like_it(monkeypatch):
    left = {"a": 0.03, "b": 0.05, "start_single": 0.1}
    monkeypatch.setattr(
        habit, "bad", lambda result, name, key="single": share(left.get(key, left[name]), 0.01)
    )
    result = Made(mean=lambda key, name: share(500.0))
    for best in (["a"], ["b", "a"]):
        monkeypatch.setattr(habit, "winners", lambda result, best=best: best)
        said = habit.habits_sight(result)
        assert said.startswith(f"'{best[0]}' leaves fewest") and "500 seeds counted" in said
        assert said.endswith("not distinguished from it: 'a'." if best[1:] else "leaves more.")


def test_paths_name_the_habit_that_ends_right_most_often():
    def trial(*notches):
        seen = [Made(settings={"notch": one}) for one in notches]
        return Made(meter=Made(offset=1), seen=seen)

    trials = {"good": [trial(0, -1)], "bad": [trial(0, 1, 2)]}
    said = habit.paths_sight(Made(habits=list(trials), trials=trials), [0])
    assert said == (
        "'good' ends on the grey line on 1 of 1 meters, in 2 looks on average; "
        "'bad' ends on the grey line on 0 of 1 meters, in 3 looks on average."
    )
