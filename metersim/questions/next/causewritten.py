"""JSON of likely causes and the next checks, in SI."""

from __future__ import annotations

import json
from typing import Any

from metersim import __version__
from metersim.measures.indices import number_or_none
from metersim.questions.next.causeanswer import words_of_cause
from metersim.questions.next.causes import Causes
from metersim.questions.next.checks import Check, next_checks
from metersim.questions.next.decide import MOVE
from metersim.questions.next.study import NextMove
from metersim.run.records import Origin, provenance


def causes_json(causes: Causes, move: NextMove | None = None) -> str:
    """JSON of what was seen, all causes with their chances, and all checks.

    Parameters
    ----------
    causes : Causes
        Result of `metersim.questions.next.causes.find_causes`.
    move : NextMove, optional
        Move of a setting that the counts alone ask for.
    """
    signs = causes.signs
    made: dict[str, Any] = {
        "provenance": provenance(Origin(causes.scenario, causes.seed, 0, __version__, {})),
        "signs": dict(signs.words),
        "gauge_reading_pa": signs.reading,
        "seed_used": signs.seed_used.ratio if signs.seed_used else None,
        "counts": [
            {"way": one.way, "cells": one.cells, "skips": one.skips, "doubles": one.doubles}
            for one in signs.counts
        ],
        "lens_clean": signs.lens_clean,
        "simulated_machines": causes.found.samples,
        "fit": causes.fit,
        "causes": [_cause(causes, name) for name in causes.ranked],
        "alike": [
            {"causes": list(names), "chance": causes.chance_of(names)} for names in causes.lines
        ],
        "checks": [_check(one) for one in next_checks(causes)],
        "move": _move(move),
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _cause(causes: Causes, name: str) -> dict[str, Any]:
    severity = causes.severity(name) if name in causes.found.faults else None
    return {
        "cause": name,
        "words": words_of_cause(name),
        "chance_before": causes.prior[name],
        "chance_after": causes.chances[name],
        "severity": None if severity is None else number_or_none(severity),
        "signs": {sign: number_or_none(one) for sign, one in causes.factors[name].items()},
    }


def _check(one: Check) -> dict[str, Any]:
    return {
        "check": one.name,
        "words": one.words,
        "minutes": one.minutes,
        "bits": one.bits,
        "bits_per_minute": one.rate,
        "machine": one.state,
        "opens": one.opens,
        "caution": one.caution,
        "finds": list(one.finds),
        "outcomes": [
            {"answer": answer, "chance": chance, "likeliest": name, "likeliest_chance": after}
            for answer, chance, name, after in one.outcomes
        ],
    }


def _move(move: NextMove | None) -> dict[str, Any] | None:
    """Move of a setting that the counts alone ask for."""
    if move is None:
        return None
    chosen = move.chosen if move.kind == MOVE else None
    return {
        "kind": move.kind,
        "words": move.words,
        "steps": dict(chosen.move.steps) if chosen else None,
        "gain": number_or_none(chosen.value) if chosen else None,
    }
