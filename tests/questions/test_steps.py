"""The steps: steps are those of plain runs, signs are those of the trade, pairs are worked out."""

import dataclasses
import json
import math
import re
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import numpy as np
import pytest
from scipy.special import stdtr

import metersim as m
from metersim.cli import main
from metersim.files.units import UNITS
from metersim.questions.shared.counts import COUNTED
from metersim.questions.shared.looks import kept_full
from metersim.questions.shared.notes import AT_A_METER, STOPPED
from metersim.questions.shared.page import encoded
from metersim.questions.shared.settings import SETTINGS, can_move, moved, steps_text
from metersim.questions.shared.words import seeds_text
from metersim.questions.steps.study import (
    CHANGES,
    paired_of,
    paired_steps,
    runs_of,
    single_steps,
    steps,
)
from metersim.questions.steps.text import steps_answer, steps_json, steps_report
from metersim.questions.steps.together import pair_of
from tests.questions.pages import check_page

BENCH = m.load_scenario("maize_bench")
SIGNS = (1, -1, -1)  # of the runs of neither step, of one and of the other, beyond their sum


@cache
def asked():
    """The steps of the bench, made when the first test asks for it."""
    return steps(BENCH, seed=1, draws=8)


def index_of(setting, step):
    """The place of a step among the steps."""
    return [(step.setting, step.step) for step in asked().steps].index((setting, step))


def change(setting, step, kind):
    """The paired difference of a step from the meter as it is, with its sampling error."""
    return asked().paired[index_of(setting, step)][kind]


def total(setting, step, kind):
    """The same with its total uncertainty."""
    return asked().differences[index_of(setting, step)][kind]


def visible(setting, step):
    """From how many seeds a step is visible, and by what."""
    return asked().visible[index_of(setting, step)]


# steps


@pytest.mark.slow
def test_every_step_that_is_allowed_is_a_rung():
    assert len(asked().steps) == 5 * 4 + 1  # a switch goes one way
    assert runs_of(BENCH) == 1 + len(asked().steps) + len(asked().pairs)
    for step in asked().steps:
        scenario, setting = step.measured.scenario, SETTINGS[step.setting]
        assert setting.of(scenario) == setting.of(moved(BENCH, step.steps))


def test_steps_that_are_not_allowed_are_left_out():
    """At 0.8 kPa one step down is allowed, two are not; at a gap of 1.1 mm one notch up is."""
    low = m.load_scenario("maize_bench", ["vacuum_kpa=0.8", "gap_mm=1.1"])
    steps = single_steps(low, "metric")
    assert {"vacuum": -1} in steps and {"vacuum": -2} not in steps
    assert {"notch": 1} in steps and {"notch": 2} not in steps
    for first, second in paired_steps(low, "metric"):
        assert can_move(low, {**first, **second})


@pytest.mark.study
@pytest.mark.slow
def test_a_rung_is_a_plain_run_of_that_setting():
    """The same measures, to the last bit, as a run of the scenario with that key set."""
    there = m.load_scenario("maize_bench", ["notch=1", "turns=667"])
    plain = m.measure(m.tallied(there, seed=1))
    step = asked().steps[index_of("notch", 1)]
    for key in ("cells.skip", "per_spacing.quality", "precision"):
        assert step.measured[key] == plain[key]
    assert step.level.at_middle("cells.several").value == pytest.approx(
        plain["cells.double"].value + plain["cells.triple"].value
    )


@pytest.mark.slow
def test_differences_are_those_of_a_comparison():
    """What compare gives for the same two settings on the same luck."""
    found = m.compare("maize_bench", vary="notch=0,1", changes=["turns=667"], seed=1)
    for kind, key in (("skips", "cells.skip"), ("quality", "per_spacing.quality")):
        paired = change("notch", 1, kind)
        assert paired.value == pytest.approx(found.spreads[0].at_middle(key).value, rel=1e-9)
        one, other = total("notch", 1, kind), found.differences[0][key]
        assert max(one.low, other.low) < min(one.high, other.high)  # both hold the machines


@pytest.mark.study
@pytest.mark.slow
def test_the_same_luck_gives_the_same_steps_wherever_it_is_worked_out():
    one = steps(BENCH, seed=1, cells=600, draws=2)
    with ThreadPoolExecutor(2) as executor:
        other = steps(BENCH, seed=1, cells=600, draws=2, executor=executor)
    assert one.to_dataframe().equals(other.to_dataframe())
    assert one.to_dataframe("pairs").equals(other.to_dataframe("pairs"))
    third = steps(BENCH, seed=2, cells=600, draws=2)
    assert not one.to_dataframe().equals(third.to_dataframe())


@pytest.mark.slow
def test_steps_of_the_other_units_are_other_steps():
    made = {(r.setting, r.step): r for r in steps(BENCH, units="us", cells=600).steps}
    vacuum = made["vacuum", 2].measured.scenario.vacuum.vacuum
    assert vacuum == pytest.approx(4000 + 2 * UNITS["inh2o"].to_si(2))
    with pytest.raises(ValueError, match="allowed: 'metric', 'us'"):
        steps(BENCH, units="imperial")
    with pytest.raises(ValueError, match="1 or more"):
        steps(BENCH, seeds=0)


# what the trade says: common practice, no source


def test_a_notch_trades_doubles_for_skips():
    """Common practice, no source: one notch more aggressive takes doubles and makes skips."""
    assert change("notch", 1, "doubles").high < 0 < change("notch", 1, "skips").low
    assert change("notch", -1, "skips").value <= 0 < change("notch", -1, "doubles").low


def test_less_vacuum_makes_skips_and_takes_doubles():
    """Common practice, no source: with more skips, check the vacuum."""
    assert change("vacuum", -2, "skips").low > 0 > change("vacuum", -2, "doubles").high
    assert change("vacuum", 2, "doubles").low > 0


@pytest.mark.slow
def test_a_gate_too_high_dislodges_and_one_too_low_starves():
    """Common practice, no source; within 5 mm of the middle next to nothing changes."""
    assert change("gate", 2, "skips").low > 0
    for way in (-1, 1):
        moved_by = [abs(change("gate", way, kind).value) for kind in ("skips", "doubles")]
        assert max(moved_by) < abs(change("notch", -1, "doubles").value) / 5
    starved = m.load_scenario("gate_too_low", "turns=100")
    raised = m.compare(starved, moved(starved, {"gate": 1}), labels=["starved", "raised"])
    assert raised.differences[0]["cells.skip"].high < 0  # one step up ends it


def test_maize_is_best_within_a_notch_of_the_centre():
    """Common practice, no source."""
    quality = {step.step: step.estimates["quality"].value for step in asked().steps[:4]}
    quality[0] = asked().base.estimates["quality"].value
    assert [step.setting for step in asked().steps[:4]] == ["notch"] * 4
    assert abs(max(quality, key=quality.get)) <= 1


# what a count shows


def test_noise_falls_with_the_root_of_the_count_and_is_that_of_two_counts():
    """With an effect e: sqrt(2 e p (1 - p) / cells)."""
    base = asked().base
    share = base.shares["doubles"]
    plain = math.sqrt(2 * share.effect * share.value * (1 - share.value) / 400)
    assert base.noise(base, "doubles", 400) == pytest.approx(plain)
    assert base.noise(base, "doubles", 100) == pytest.approx(2 * plain)
    assert asked().cells == pytest.approx(300 / base.seeds_per_cell)


def test_a_larger_change_is_visible_sooner():
    assert visible("notch", 2).seeds < visible("notch", 1).seeds / 4
    assert visible("vacuum", 2).seeds < visible("vacuum", 1).seeds
    assert visible("hole", 2).seeds < visible("hole", 1).seeds


def test_what_changes_nothing_is_never_visible():
    """The meter as it is stands in for a step that does nothing."""
    base = asked().base
    still = dataclasses.replace(asked(), steps=(base,), paired=(paired_of(base, base),), pairs=())
    assert still.visible == ((math.inf, ""),)
    assert visible("gate", 1).seeds > 50 * visible("notch", 1).seeds
    assert visible("notch", 2).kind == "skips" and visible("notch", -1).kind == "doubles"


@pytest.mark.slow
def test_other_seeds_change_the_noise_and_nothing_else():
    few = steps(BENCH, seed=1, cells=600, seeds=75)
    many = steps(BENCH, seed=1, cells=600, seeds=300)
    assert few.band("skips") == pytest.approx(2 * many.band("skips"))
    assert few.visible == many.visible


@pytest.mark.slow
def test_an_answer_alone_is_that_of_the_whole():
    """Without double steps, pairs together and falls of seeds; what it holds is the same."""
    many = {"seed": 1, "cells": 2_000, "draws": 3}
    whole, alone = steps(BENCH, **many), steps(BENCH, **many, whole=False)
    assert steps_answer(alone) == steps_answer(whole)
    assert len(alone.steps) == 11 and not any(pair.interaction for pair in alone.pairs)
    assert runs_of(BENCH, whole=False) == 1 + 11 + 8  # the present and seven listed have draws
    drawn = [k for k, step in enumerate(alone.steps) if step.points]
    assert drawn == sorted(alone.listed) and len(drawn) <= 7
    found = {(step.setting, step.step): step for step in whole.steps}
    for k in drawn:
        mine = alone.steps[k]
        other = found[mine.setting, mine.step]
        assert mine.estimates == {kind: other.estimates[kind] for kind in COUNTED}
        assert mine.shares == other.shares


# two at once


def test_a_pair_is_worked_out_from_runs_of_both():
    """The change of both, less those of either alone: as of plain runs on the same luck."""
    runs = {}
    for name, keys in {"none": {}, "a": {"notch": 1}, "b": {"vacuum": -1}}.items():
        runs[name] = m.tallied(kept_full(moved(BENCH, keys), 20_000), seed=1)
    both = m.tallied(kept_full(moved(BENCH, {"notch": 1, "vacuum": -1}), 20_000), seed=1)
    skips = {name: float(run.sums["none"].sum()) / run.cells for name, run in runs.items()}
    beyond = float(both.sums["none"].sum()) / both.cells - skips["a"] - skips["b"] + skips["none"]
    (pair,) = [
        pair
        for pair in asked().pairs
        if pair.first == {"notch": 1} and pair.second == {"vacuum": -1}
    ]
    # all kinds of all pairs together keep to one false alarm in twenty, by Bonferroni's inequality
    parts = [
        (run.sums["none"], sign)
        for run, sign in ((both, 1), *zip(runs.values(), SIGNS, strict=True))
    ]
    each = sum(sign * part for part, sign in parts) / runs["none"].sums["cells"].mean()
    error = np.std(each, ddof=1) / math.sqrt(len(each))
    reach = (pair.interaction["skips"].high - pair.interaction["skips"].low) / 2
    alarms = 2 * len(asked().pairs) * 2 * stdtr(len(each) - 1, -reach / error)
    assert alarms == pytest.approx(0.05)
    assert pair.interaction["skips"].value == pytest.approx(beyond, abs=1e-9)
    assert not pair.adds_up  # the singulator takes more of what is held less
    assert asked().seeds_to_distinguish(pair) > 20 * visible("notch", 1).seeds


def test_pairs_with_what_does_nothing_are_told_to_be_so():
    """Changes by stretch that are given: none, and those of a step and of another."""
    none, one, other = np.random.Generator(np.random.PCG64(3)).normal(
        [[[0.0, 0.0]], [[0.01, 0.0]], [[0.0, 0.01]]], [[[0.0]], [[1e-3]], [[1e-3]]], (3, 50, 2)
    )
    shares = asked().base.shares, asked().base.shares
    steps = {"gate": 1}, {"speed": 1}
    for first, second, way in (
        (none, one, "nothing"),
        (one, none, "nothing"),
        (one, other, "unlike"),
    ):
        pair = pair_of(steps, (first, second, first + second), shares, 0.95)
        assert pair.way == way
        assert math.isinf(asked().seeds_to_distinguish(pair)) == (way == "nothing")


# tables, texts and pictures


def test_tables_hold_all_of_it():
    table, pairs = asked().to_dataframe(), asked().to_dataframe("pairs")
    assert len(table) == 1 + len(asked().steps) and len(pairs) == len(asked().pairs)
    for kind in CHANGES:
        assert (table[f"{kind}_low"] <= table[kind]).all()
        assert np.allclose(
            table[f"{kind}_change"], table[kind] - table[kind].iloc[0], equal_nan=True
        )
    row = table[(table.setting == "vacuum") & (table.step == -1)].iloc[0]
    assert row.value == pytest.approx(3500)
    with pytest.raises(ValueError, match="allowed: steps, pairs"):
        asked().to_dataframe("rows")


def test_the_text_marks_the_present_and_says_from_when_a_notch_is_visible():
    lines = steps_report(asked()).splitlines()
    marked = [line for line in lines if line.startswith("  now  ")]
    assert len(marked) == len(SETTINGS) and all(
        re.search(r" 0\.\d\d \(0\.0\d-\d", line) for line in marked
    )
    (notch,) = [line for line in lines if line.startswith("   +1  notch +1")]
    assert notch.endswith(f"seeds ({visible('notch', 1).kind})")
    assert max(map(len, lines)) <= 118 and all(line == line.rstrip() for line in lines)


def test_the_answer_fits_a_terminal_and_comes_first():
    """After a caution: the step, its count, and what to move; then a table of eight rows."""
    lines = steps_answer(asked()).splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert lines[0] == f"Caution: {STOPPED}"
    assert lines[1].startswith("This step needs the fewest seeds: ")
    hand = [
        (seen.seeds, step)
        for step, seen in zip(asked().steps, asked().visible, strict=True)
        if abs(step.step) == 1 and not SETTINGS[step.setting].part
    ]
    least, step = min(hand, key=lambda row: row[0])
    assert steps_text(step.steps) in lines[1]
    many = seeds_text(least).removesuffix(" seeds")
    assert lines[2].startswith(f"Count {many} seeds before and {many} after. ")
    assert lines[2].endswith("80 of 100 cases, with 5 false alarms in 100.")
    assert lines[3].startswith("Move one setting at a time. ")
    assert lines[-1].startswith("More: --details")
    rows = [line for line in lines if line.endswith((" (skips)", " (doubles)", " (singulation)"))]
    assert 1 <= len(rows) <= 7
    for line in rows:  # a change is distinguished from 0 or is called that
        low, high = re.findall(r"\((-?[\d.]+) to (-?[\d.]+)\)", line)[0]
        assert (float(low) < 0 < float(high)) <= ("either sign" in line)


def test_the_whole_report_stands_below_the_answer_with_details():
    short, whole = steps_answer(asked()), steps_answer(asked(), details=True)
    assert steps_report(asked()) in whole and steps_report(asked()) not in short
    assert whole.startswith(short.rpartition("\n")[0])


def test_retired_words_are_gone():
    old = re.compile(r"\b(luck|tells?|told|ladder|rungs?|milder|settled?|keeps? to|shows?)\b")
    report, _, practice = steps_report(asked()).partition("Practice")
    assert practice  # its rules are those of the trade
    for text in (report, steps_answer(asked()).partition("More: ")[0]):
        assert not old.search(text), old.search(text)
    assert old.search("on the same luck")  # negative control


def test_json_holds_all_steps_and_pairs_in_si():
    made = json.loads(steps_json(asked()))
    assert len(made["steps"]) == 1 + len(asked().steps) and len(made["pairs"]) == len(asked().pairs)
    table = asked().to_dataframe()
    for row, skips in zip(made["steps"], table.skips, strict=True):
        assert row["skips"] == pytest.approx(skips)
    (lower,) = [r for r in made["steps"] if (r["setting"], r["step"]) == ("vacuum", -1)]
    assert lower["value"] == pytest.approx(3500)  # Pa
    assert made["steps"][0]["visible_seeds"] is None and made["provenance"]["seed"] == 1


def test_who_is_sent_to_the_meter_is_told_to_stop_the_machine_first():
    """Wherever the caution stands: it is there, whole, once."""
    assert " ".join(steps_report(asked()).split()).count(AT_A_METER) == 1


@pytest.mark.slow
def test_what_speed_does_is_said_not_to_show_in_counts():
    """Two steps faster take points of quality, and no count of thousands shows it."""
    seen = zip(asked().steps, asked().visible, strict=True)
    ((faster, visible),) = [
        pair for pair in seen if (pair[0].setting, pair[0].step) == ("speed", 2)
    ]
    lost = total("speed", 2, "quality")
    assert faster.step == 2 and lost.high < 0 and lost.value < -0.03 and visible.seeds > 5_000
    assert "the effect of speed on quality and precision needs measured spacings" in " ".join(
        steps_report(asked()).split()
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "said", "unsaid"),
    [
        ("maize_bench", "maize ends at most one notch", "small round"),
        ("canola_small_seed", "small round seed starts at the most aggressive end", "maize ends"),
        ("soybean_narrow_rows", "one setting at a time", "notch from the centre"),
    ],
)
def test_a_rule_of_a_crop_is_held_against_that_crop_alone(name, said, unsaid):
    text = " ".join(steps_report(steps(m.load_scenario(name), cells=900)).split())
    assert said in text and unsaid not in text


@pytest.mark.slow
@pytest.mark.parametrize("changes", [["vacuum_kpa=0"], ["gate_opening_mm=3"]])
def test_a_meter_that_gives_no_seed_has_steps_too(changes):
    found = steps(m.load_scenario("maize_bench", changes), cells=900)
    text = steps_report(found)
    assert "100 (" in text and "no seed" in text
    assert m.draw(found).axes


@pytest.mark.slow
def test_the_picture_has_a_panel_for_each_setting():
    page = m.draw(asked())
    check_page(page)
    titles = [ax.get_title(loc="left") for ax in page.axes]
    assert len(titles) == len(SETTINGS) and titles[0] == "Singulator, notch"
    for ax in page.axes:
        lines = {line.get_gid(): line for line in ax.lines if line.get_gid()}
        assert set(lines) == {"skips", "doubles"}
        assert lines["skips"].get_linestyle() != lines["doubles"].get_linestyle()  # in grey, too
        assert lines["skips"].get_marker() != lines["doubles"].get_marker()
    shown = lines["doubles"].get_ydata() / 100
    own = [step.estimates["doubles"].value for step in asked().steps if step.setting == "hole"]
    assert shown[[0, 1, 3, 4]] == pytest.approx(own)
    assert encoded(page, "a.png") == encoded(m.draw(asked()), "a.png")


@pytest.mark.slow
def test_the_command_says_it_and_draws_it(folder, done):
    said = done(
        *("steps", "maize_bench", "--counted", 500, "--cells", 1000, "--details"),
        *("--figure", "steps.svg"),
    )
    assert "two counts of 500 seeds" in said and "common practice, no source" in said
    assert (folder / "steps.svg").read_bytes().startswith(b"<?xml")


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (("--counted", 0), "--counted: 0: must be a whole number from 1 to 10,000,000"),
        (("--counted", "1e3"), "--counted: 1e3: must be a whole number from 1 to 10,000,000"),
        (("--cells", 5), "--cells: 5: must be a whole number from 1000 to 1,000,000"),
        (("--seed", "x"), "--seed: x: must be a whole number, 0 or more"),
        (("--figure", "a.txt"), "--figure: a.txt: must end in .png or .svg or .pdf"),
        (("--set", "notch=99"), "--set: singulator.notch: 99 is not allowed; give a number"),
    ],
)
def test_what_is_wrong_is_told_in_a_line(told, options, line):
    (said,) = told("steps", "maize_bench", *options)
    assert said.startswith(line)


def test_all_that_is_wrong_is_told_at_once(told):
    assert len(told("steps", "maize_bnch", "--counted", 0, "--seed", "x", "--figure", "a.b")) == 4


def test_an_unknown_option_is_refused():
    assert main(["steps", "maize_bench", "--steps", "3"]) == 2
