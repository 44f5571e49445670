"""Texts of single steps: the answer, the report, and JSON of steps and pairs."""

from __future__ import annotations

import json
import math

from metersim.files.units import hole_text
from metersim.machine.sources import (
    AGGRESSIVE,
    DOUBLES,
    GATE,
    MOST_NOTCHES,
    NO_SOURCE,
    ONE,
    SKIPS,
    TRAVEL,
    is_small_round,
)
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.questions.shared.answer import Answer, capital, finite, plain, told
from metersim.questions.shared.counts import CERTAINTY, MOST_PRACTICAL, POWER, SAID
from metersim.questions.shared.notes import (
    AT_A_METER,
    PROVE,
    STOPPED,
    asked,
    decisive,
    heading,
    interval_lines,
    level_text,
    notes,
)
from metersim.questions.shared.settings import SETTINGS, Steps, steps_text
from metersim.questions.shared.words import block, notch_text, quantity, seeds_text
from metersim.questions.steps.step import Step
from metersim.questions.steps.study import CELLS, SingleSteps
from metersim.questions.steps.together import Pair
from metersim.run.records import provenance

HEADS = {
    "notch": "Singulator",
    "vacuum": "Vacuum",
    "gate": "Gate",
    "guide": "Inner guide",
    "speed": "Speed",
    "hole": "Another disc: hole",
}
POSITIONS = (
    "counts hold no positions of seeds: the effect of speed on quality and precision needs "
    "measured spacings ('metersim measured')"
)
REFILLED = "The hopper of this scenario runs empty in its own run. Here it is kept full."
EITHER = "'either sign': the interval holds 0; machines differ"
SHOWN = ("skips", "doubles", "quality", "precision")
WIDTHS = (25, 18, 18, 18, 17)


def steps_answer(result: SingleSteps, details: bool = False) -> str:
    """The answer on single steps; with details the whole report."""
    base, scenario = result.base, result.origin.scenario
    by_hand = [
        (result.visible[k], result.steps[k])
        for k in result.singly
        if not SETTINGS[result.steps[k].setting].part
    ]
    first = ["No practical count detects a single step by hand."]
    if by_hand and by_hand[0][0].seeds <= MOST_PRACTICAL:
        visible, step = by_hand[0]
        many = seeds_text(visible.seeds)
        first = [
            f"This step needs the fewest seeds: {words_of(step.steps, result.units)}.",
            f"Count {many} before and {many.removesuffix(' seeds')} after. Then it is detected in "
            "80 of 100 cases, with 5 false alarms in 100.",
        ]
    first.append(f"Move one setting at a time. {capital(_one_at_a_time(result))}.")
    left = (result.steps[k] for k in result.singly if k not in result.listed)
    rest = [words_of(step.steps, result.units) for step in left]
    heads = ("single step", "skips, pp", "doubles, pp", "seeds before and after")
    levels = (told("share", base.estimates[kind]) for kind in ("skips", "doubles"))
    now = [f"now {value} ({interval})" for value, interval in levels]
    rows = [("present settings", *now, "")] + [
        (
            words_of(result.steps[k].steps, result.units),
            *(_change(changes[kind]) for kind in ("skips", "doubles")),
            f"{seeds_text(visible.seeds).removesuffix(' seeds')} "
            f"({SAID.get(visible.kind, visible.kind)})",
        )
        for k in result.listed
        for visible, changes in [(result.visible[k], result.difference(k))]
    ]
    # an answer alone has not all that the report needs, but says that there is one
    report = steps_report(result).splitlines() if details else [heading(base.measured)]
    missed = [f"No practical count detects: {', '.join(rest)}."] if rest else []
    _, settings, *_ = asked(scenario, result.units)
    every = f"one seed every {quantity('length', scenario.spacing, result.units)}"
    machine = scenario.posterior.title if scenario.posterior else "the usual machine"
    return Answer(
        caution=STOPPED,
        first=first,
        notes=[
            *([REFILLED] if result.is_refilled else []),
            *decisive(base.measured, result.units),
            *missed,
        ],
        table=(heads, *rows),
        assumes="; ".join(
            [
                every,
                settings,
                machine,
                *(one.text(result.units) for one in scenario.unknown),
                EITHER,
            ]
        ),
        details=report,
    ).text(details)


def words_of(steps: Steps, units: str) -> str:
    """A single step in words that name its setting."""
    words = steps_text(steps, units)
    return f"disc with {words}" if any(SETTINGS[name].part for name in steps) else words


def _change(found: Estimate) -> str:
    """A change in percentage points with its interval, or that it may have either sign."""
    if math.isnan(found.value):
        return "no seed"
    zero = found.low <= 0 <= found.high
    size = (found.high - found.low) / 2
    if not zero:  # the nearer end is printed as another number than 0
        size = min(size, 2 * min(abs(found.low), abs(found.high)))
    size = 100 * max(size, 1e-4)
    value, low, high = (plain(100 * one, size) for one in (found.value, found.low, found.high))
    if zero:
        return f"either sign ({low} to {high})"
    return f"{'+' if found.value > 0 else ''}{value} ({low} to {high})"


def steps_json(result: SingleSteps) -> str:
    """JSON of all steps and pairs, in SI."""
    made = {
        "provenance": provenance(result.origin),
        "interval_level": LEVEL_TOTAL,
        "counted_seeds": result.seeds,
        "counted_cells": result.cells,
        "certainty": CERTAINTY,
        "power": POWER,
        "units_of_steps": result.units,
        "sampling_error_of_two_counts": {kind: result.band(kind) for kind in ("skips", "doubles")},
        **{name: [*map(finite, result.rows(name))] for name in ("steps", "pairs")},
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def steps_report(result: SingleSteps) -> str:
    """Whole report of steps, the counts that detect them, and pairs of steps."""
    units, measured = result.units, result.base.measured
    lines = [
        heading(measured),
        "",
        *block("Asked", asked(measured.scenario, units, at_middle=False)),
        "",
    ]
    lines += [*block("Shown", _how(result)), ""]
    heads = ("", *(f"{name} %" for name in SHOWN))
    lines.append("".join(f"{head:{wide}}" for head, wide in zip(heads, WIDTHS, strict=True)) + SEEN)
    visible = dict(zip(map(id, result.steps), map(seen_text, result.visible), strict=True))
    for name in SETTINGS:
        steps = [step for step in result.steps if step.setting == name]
        lines.append(HEADS[name] + ("" if steps else ": cannot be moved from where it is"))
        below, above = ([r for r in steps if (r.step > 0) == up] for up in (False, True))
        for step in (*below, result.base, *above) if steps else ():
            mark = f"{step.step:+d}" if step.step else "now"
            label = f"  {mark:>3}  {setting_text(step, name, units)}"
            lines.append((_row(label, step) + visible.get(id(step), "")).rstrip())
    lines += ["", *_headed("Together", _together(result)), ""]
    lines += [*block("Practice", _practice(result)), ""]
    if found := notes(measured, units):
        lines += [*block("Note", found), ""]
    lines += block("Caution", [AT_A_METER])
    lines.append(PROVE)
    return "\n".join(lines)


SEEN = "detected from"
SEEDS_SD = 0.15
"""Relative SD of the number of seeds from which a notch is detected.

It was measured in runs of `CELLS` cells with a dozen random seeds on the maize bench.
"""


def _headed(head: str, lines: list[str]) -> list[str]:
    """Lines with a heading before the first; rows stay unchanged and sentences are folded."""
    return [
        part
        for k, line in enumerate(lines)
        for part in (
            [f"{'':11}{line}"] if k and "   " in line else block("" if k else head, [line])
        )
    ]


def _how(result: SingleSteps) -> list[str]:
    """Lines on the runs of the steps, and on the sampling error of a count."""
    skips, doubles = (100 * result.band(kind) for kind in ("skips", "doubles"))
    intervals = interval_lines(result.base.level, units=result.units)[0]
    cells = result.base.measured.total("cells")
    known = 100 * SEEDS_SD * math.sqrt(CELLS / cells)
    return [
        "single steps of each setting, the rest as it is, with common random numbers; "
        f"{level_text(LEVEL_TOTAL)}s in brackets: {intervals}",
        "all steps share the machine: differences have narrower intervals than levels",
        f"sampling error of two counts of {result.seeds:,} seeds at the present settings: they "
        f"differ by up to {skips:.1f} pp of skips and {doubles:.1f} pp of doubles in 95 of 100 "
        "pairs",
        POSITIONS,
        "detected from so many seeds, counted before and again after: in 80 of 100 such pairs of "
        f"counts, with 5 false alarms in 100; these numbers have an SD of {known:.0f} %, which "
        "more --cells reduce",
    ]


def setting_text(step: Step, name: str, units: str) -> str:
    """Value of a setting of a step, in words."""
    setting = SETTINGS[name]
    value = setting.of(step.measured.scenario)
    if setting.spec.kind == "switch":
        return "fitted" if value else "none"
    if not setting.spec.units:
        return notch_text(value)
    if name == "hole":
        return hole_text(value, units)
    unit = next(unit for unit in setting.spec.units if unit.family == units)
    return f"{unit.from_si(value):.3g} {unit.symbol}"


def _row(label: str, step: Step) -> str:
    cells = [label, *(_estimate(step.estimates[key]) for key in SHOWN)]
    return "".join(f"{cell:{wide}}" for cell, wide in zip(cells, WIDTHS, strict=True))


def _estimate(found: Estimate) -> str:
    """A share in percent with its interval."""
    if math.isnan(found.value):
        return "no seed"
    digits = 2 if found.value < 0.0995 else 1 if found.value < 0.9995 else 0
    value, low, high = (f"{100 * part:.{digits}f}" for part in (found.value, found.low, found.high))
    return f"{value} ({low}-{high})"


def seen_text(visible: tuple[float, str]) -> str:
    """Seeds from which a step is detected, and by which kind of cell, in words."""
    seeds, kind = visible
    if not kind:
        return "no change detected"
    by = f" ({SAID.get(kind, kind)})" if seeds <= MOST_PRACTICAL else ""
    return f"{seeds_text(seeds)}{by}"


def _together(result: SingleSteps) -> list[str]:
    """One row for each pair of steps, and one line on pairs with a step without effect."""
    lines = [
        "two single steps at once: seeds, counted before and again after, that distinguish them by "
        "the kind of change, for any size of their effects",
        f"{'':51} {'distinguished':>16}   {'effects':8}  beyond their sum, pp",
    ]
    lines += [pair_text(result, pair) for pair in result.pairs if pair.way != "nothing"]
    seen = zip(result.steps, result.visible, strict=True)
    silent = [
        steps_text(step.steps, result.units)
        for step, visible in seen
        if not (visible.kind or abs(step.step) > 1 or SETTINGS[step.setting].part)
    ]
    if silent:
        lines.append(f"steps without a detected effect are in no pair: {', '.join(silent)}")
    return lines


def pair_text(result: SingleSteps, pair: Pair) -> str:
    """Row of a pair of steps."""
    seeds = result.seeds_to_distinguish(pair)
    words = steps_text({**pair.first, **pair.second}, result.units)
    line = f"{words:51} {seeds_text(seeds):>16}   {pair.way:8}"
    more = [
        f"{100 * found.value:+.2f} {kind}"
        for kind, found in pair.interaction.items()
        if not found.low <= 0 <= found.high
    ]
    return f"{line}  {' '.join(more)}".rstrip()


def _practice(result: SingleSteps) -> list[str]:
    """Rules of the trade, each with the simulated result."""
    lines = [f"{NO_SOURCE}; each rule, then the simulation of this scenario"]
    changes = {
        (step.setting, step.step): found
        for step, found in zip(result.steps, result.differences, strict=True)
    }

    def verdict(steps: tuple[str, int], kind: str, sign: int) -> str:
        found = changes.get(steps)
        if found is None:
            return "this step is not possible"
        one = found[kind]
        if one.low <= 0 <= one.high:
            return f"no change of {kind} is detected"
        verdict = "as simulated" if one.value * sign > 0 else "not as simulated"
        return f"{verdict}: {100 * one.value:+.2f} pp of {kind}"

    lines += [
        f"{DOUBLES} - {verdict(('notch', 1), 'doubles', -1)}, "
        f"{verdict(('notch', 1), 'skips', -1).split(': ')[-1]}",
        f"{SKIPS} - {verdict(('notch', -1), 'skips', -1)}; with a step less of "
        f"vacuum, {verdict(('vacuum', -1), 'skips', 1)}",
        f"{GATE} - two steps down, {verdict(('gate', -2), 'skips', 1)}; two steps up, "
        f"{verdict(('gate', 2), 'skips', 1)}",
        *_best_notch(result),
        f"{ONE} - {_one_at_a_time(result)}",
    ]
    return lines


def _best_notch(result: SingleSteps) -> list[str]:
    """Published notch of the crop, and the notch with the best quality of feed."""
    scenario = result.base.measured.scenario
    maize = scenario.lot.crop == "maize"
    seeds = scenario.seeds
    if not maize and not is_small_round(seeds.length, seeds.sphericity):
        return []
    steps = [result.base, *(step for step in result.steps if step.setting == "notch")]
    key = "per_spacing.quality"
    shown = [step for step in steps if not math.isnan(step.measured[key].value)]
    rule = TRAVEL if maize else AGGRESSIVE
    if not shown:
        return [f"{rule} - no seed came out"]
    best = max(shown, key=lambda step: step.measured[key].value)
    notch = best.measured.scenario.singulator.notch
    kept = abs(notch) <= MOST_NOTCHES if maize else best is max(shown, key=lambda step: step.step)
    share = 100 * best.measured[key].value
    verdict = "as simulated" if kept else "not as simulated"
    return [f"{rule} - {verdict}, quality of feed is best at {notch_text(notch)}, {share:.1f} %"]


def _one_at_a_time(result: SingleSteps) -> str:
    """Number of pairs whose steps a count of the requested size distinguishes, in words."""
    distinguished = [
        pair for pair in result.pairs if result.seeds_to_distinguish(pair) <= result.seeds
    ]
    return (
        f"when two move, a count of {result.seeds:,} seeds distinguishes their effects in "
        f"{len(distinguished)} of {len(result.pairs)} pairs"
    )
