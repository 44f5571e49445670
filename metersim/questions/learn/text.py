"""Text of what was learned of a meter."""

from __future__ import annotations

import json
from typing import Any

from metersim import __version__
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.questions.learn.ahead import Ahead
from metersim.questions.learn.emulate import SPACINGS
from metersim.questions.learn.seen import Seen
from metersim.questions.learn.study import Learned, Taught
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.looks import BELT, DISC
from metersim.questions.shared.notes import MANUAL, PROVE, WITH_THE_FAN
from metersim.questions.shared.settings import SETTINGS
from metersim.questions.shared.words import aligned, block, notch_text, plural, quantity

MOST_SEEN, MOST_NEXT = 5, 3  # lines of what was seen, and of what to count next
AMOUNTS = ((0.1, "next to nothing"), (0.5, "little"), (1.5, "some"), (float("inf"), "much"))
LEAST = 0.02  # narrowing that is mentioned
SHORT = {"precision": "spread"}
NAMES = {
    "skips": "skips, of all cells",
    "doubles": "doubles, of all cells",
    "precision": "spread of normal spacings",
}
FROM_A_SAFE_PLACE = (
    "count with the fan running only from a safe place, guards on, no open cover. The manual comes "
    "first."
)
HOW = {BELT: "seeds counted", DISC: "looks at the disc", SPACINGS: "spacings"}


def learned_answer(
    found: Learned, out: str | None = None, units: str = "metric", details: bool = False
) -> str:
    """The printed answer; with details the whole report below it.

    Parameters
    ----------
    found : Learned
        What was learned.
    out : str, optional
        Meter file that was written.
    units : str
        ``metric`` or ``us``.
    details : bool
        Whether to print the report.
    """
    ranges = [f"{_range(one)} {name}" for name, one in found.after.items() if name != "precision"]
    first = []
    if ranges:
        first.append(f"Expect {' and '.join(ranges)} of this meter at these settings.")
    first.append(_head(found))
    if found.ahead:
        best = found.ahead[0]
        words = best.trial.words(units)
        first.append(
            f"Next: {words}. This is expected to narrow {_narrows(best.narrows)}."
            if best.gain >= LEAST
            else "Next: nothing. No count that was tried is expected to narrow the predictions."
        )
    level = f"{LEVEL_TOTAL:.0%} interval".replace("%", " %")
    notes = []
    if all(amount(one.bits) == AMOUNTS[0][1] for one in found.taught):
        notes.append("These counts narrow next to nothing. Count more.")
    if out is not None:
        notes.append(f'{out} is written. Name it in the scenario: meter = "{out}"')
    heads = ("", f"{level} before", "after")
    rows = [
        (NAMES.get(name, name), _range(found.before[name]), _range(one))
        for name, one in found.after.items()
    ]
    return Answer(
        caution=FROM_A_SAFE_PLACE if found.ahead else "",
        first=first,
        notes=notes,
        table=(heads, *rows) if rows else (),
        assumes="; ".join(_assumes(found)),
        details=learned_text(found, out, units).splitlines(),
    ).text(details)


def learned_text(found: Learned, out: str | None = None, units: str = "metric") -> str:
    """Report of what was learned: predictions, what each count taught, what to count next."""
    lines = [_head(found)]
    lines += [
        f"{name.capitalize()} at these settings: {_range(found.before[name])} before, "
        f"{_range(found.after[name])} after."
        for name in found.after
    ]
    lines += ["", _table(found)]
    if found.ahead:
        lines += ["", *block("Caution", [WITH_THE_FAN]), *block("Next", _next(found, units))]
    lines.append("")
    if out is not None:
        lines += block("Written", [f'{out}; name it in the scenario: meter = "{out}"'])
    lines += block("Assumes", _assumes(found))
    lines.append(PROVE)
    return "\n".join(lines)


def _head(found: Learned) -> str:
    """What was seen in all, in one sentence."""
    parts = []
    for names, word in (((BELT, "sensor"), "count"), ((DISC,), "look"), ((SPACINGS,), "file")):
        mine = [one.seen for one in found.taught if one.seen.way in names]
        if not mine:
            continue
        many, cells = sum(one.parts for one in mine), sum(one.cells for one in mine)
        seeds = sum(one.seeds for one in mine)
        what = {
            "count": f"{seeds:,} seeds",
            "look": f"the disc ({cells:,} cells)",
            "file": f"{cells:,} spacings",
        }[word]
        link = "at" if word == "look" else "of"
        parts.append(f"{many} {plural(many, word)} {link} {what}")
    said = " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))
    return f"Learned from {said or 'nothing'}."


def _range(one: Estimate) -> str:
    return f"{_percent(one.low)} to {_percent(one.high)} %"


def _percent(share: float) -> str:
    digits = 1 if share < 0.0995 else 0
    return f"{100 * share:.{digits}f}"


def _table(found: Learned) -> str:
    """What each part of what was seen taught by itself."""
    rows = [("By itself", "taught", "and narrows")]
    order = sorted(found.taught, key=lambda one: -one.bits)
    for one in order[:MOST_SEEN]:
        rows.append((_seen_words(one.seen, found), amount(one.bits), _narrows(one.narrows)))
    if len(order) > MOST_SEEN:
        rest = order[MOST_SEEN:]
        most = max(one.bits for one in rest)
        rows.append((f"{len(rest)} others", f"{amount(most)} each, at most", ""))
    return aligned(rows)


def amount(bits: float) -> str:
    """Information about a machine in words."""
    return next(words for most, words in AMOUNTS if bits < most)


def _narrows(narrows: Any) -> str:
    parts = [
        f"{SHORT.get(name, name)} by {100 * part:.0f} %"
        for name, part in narrows.items()
        if part >= LEAST
    ]
    return ", ".join(parts) or "nothing"


def _seen_words(seen: Seen, found: Learned, units: str = "metric") -> str:
    what = f"{seen.cells:,} {HOW.get(seen.way, 'pulses counted')}"
    if seen.way in (BELT, "sensor"):
        what = f"{seen.seeds:,} {HOW.get(seen.way, 'pulses counted')}"
    elif seen.way == DISC:
        what = f"{seen.cells:,} cells of the disc at rest"
    return f"{what}, {_where(seen, found, units)}"


def _where(seen: Seen, found: Learned, units: str) -> str:
    """Settings that differ from those of the scenario."""
    others = []
    for setting in SETTINGS.values():
        value = setting.of(seen.scenario)
        if value == setting.of(found.scenario):
            continue
        if setting.name == "notch":
            others.append(notch_text(value))
        elif setting.name == "vacuum":
            others.append(quantity("pressure", value, units))
        elif setting.name == "speed":
            others.append(quantity("speed", value, units))
        else:
            others.append(f"another {setting.name}")
    return ", ".join(others) or "at these settings"


def _next(found: Learned, units: str) -> list[str]:
    """Counts that are expected to teach most."""
    return [
        f"{one.trial.words(units)}: is expected to narrow {_narrows(one.narrows)}"
        for one in found.ahead[:MOST_NEXT]
    ]


def _assumes(found: Learned) -> list[str]:
    old = "the coefficients of an unknown machine"
    return [
        f"one meter, set as stated, with this lot; {old} before the first count; intervals hold "
        "the true value of the meter in 90 of 100 cases",
    ]


def learned_json(found: Learned) -> str:
    """JSON of what was learned, in SI; information is in bits."""
    made = {
        "metersim": __version__,
        "scenario": found.scenario.name,
        "changes": list(found.scenario.changes),
        "random_seed": found.seed,
        "bits": found.bits,
        "effective_machines": found.effective,
        "rounds": found.rounds,
        "predictions": {
            name: {"before": vars(found.before[name]), "after": vars(found.after[name])}
            for name in found.after
        },
        "seen": [_seen_json(one) for one in found.taught],
        "next": [_next_json(one) for one in found.ahead],
        "draws": len(found.posterior.draws),
        "varied": list(found.posterior.varied),
        "made": found.posterior.made,
        "cautions": [WITH_THE_FAN, MANUAL],
    }
    return json.dumps(made, indent=2) + "\n"


def _seen_json(one: Taught) -> dict[str, Any]:
    seen = one.seen
    settings = {name: setting.of(seen.scenario) for name, setting in SETTINGS.items()}
    return {
        "way": seen.way,
        "cells": seen.cells,
        "few": seen.few,
        "several": seen.several,
        "parts": seen.parts,
        "settings": settings,
        "bits": one.bits,
        "narrows": dict(one.narrows),
    }


def _next_json(one: Ahead) -> dict[str, Any]:
    return {
        "steps": dict(one.trial.steps),
        "way": one.trial.would.way,
        "cells": one.trial.would.cells,
        "narrows": dict(one.narrows),
        "gain": one.gain,
    }
