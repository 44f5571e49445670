"""A game with a hidden fault as JSON for its page."""

from __future__ import annotations

import json
from typing import Any

from metersim.questions.shared.game.causes import LEVELS
from metersim.questions.shared.game.counts import BY, FEWEST, MOST, place_of
from metersim.questions.shared.game.meter import MOST_ACTS, State
from metersim.questions.shared.game.moves import (
    LABELS,
    MOVABLE,
    key_of,
    limits_of,
    settings_text,
)
from metersim.questions.shared.game.region import LEVEL
from metersim.questions.shared.game.words import CELLS, at_text
from metersim.questions.shared.notes import RUNNING


def state_json(state: State) -> dict[str, Any]:
    """All that whoever plays may see, for JSON; shares in SI, settings in the chosen units."""
    meter, shown = state.meter, state.meter.shown
    return {
        "number": meter.number,
        "level": meter.level,
        "levels": [{"level": key, "words": words} for key, words in LEVELS.items()],
        "units": state.units,
        "scenario": shown.name,
        "title": shown.title,
        "shows": shown.shows,
        "caution": RUNNING,
        "acts": [json.loads(one) for one in state.acts],
        "acts_left": 0 if state.ended else MOST_ACTS - len(state.acts),
        "said": [list(lines) for lines in state.said],
        "lines": list(state.lines),
        "ended": state.ended,
        "settings": _settings(state),
        "now": settings_text(place_of(meter, state.changes), state.units),
        "causes": [{"name": one.name, "words": one.words} for one in meter.causes],
        "ways": [{"by": by, "counts": CELLS[by]} for by in BY],
        "cells": {"low": FEWEST, "high": MOST},
        "guesses": [list(one) for one in state.guesses],
        "plane": _plane(state),
        "end": {name: part.to_dict() for name, part in state.parts.items()},
        "truth": _truth(state),
    }


def _settings(state: State) -> list[dict[str, Any]]:
    place, found = place_of(state.meter, state.changes), []
    for name, one in MOVABLE.items():
        ends = limits_of(one, state.meter.shown, state.units)
        unit = one.spec.unit_for(state.units)
        switch = one.spec.kind == "switch"

        def read(value: Any, unit: Any = unit) -> Any:
            return float(f"{unit.from_si(value) if unit else value:.6g}")

        now, start = one.of(place), one.of(state.meter.shown)
        found.append(
            {
                "name": name,
                "key": key_of(one, state.units),
                "label": LABELS[name],
                "kind": "flag" if switch else "number",
                "unit": unit.symbol if unit else "",
                "value": now if switch else read(now),
                "start": start if switch else read(start),
                "low": read(ends.low),
                "high": read(ends.high),
                "step": read(ends.step),
            }
        )
    return found


def _plane(state: State) -> dict[str, Any]:
    """Numbers of the plane of skips against doubles."""
    return {
        "x": "doubles",
        "y": "skips",
        "coverage": LEVEL,
        "points": [
            {
                "number": one.number,
                "by": one.by,
                "cells": one.cells,
                "skips": one.skips,
                "doubles": one.doubles,
                "skip": one.shares[0],
                "double": one.shares[1],
                "region": [list(corner) for corner in one.region],
                "at": at_text(state.meter, one, state.units),
            }
            for one in (state.before, *state.counts)
        ],
        "true": [
            {
                "who": one.who,
                "skip": round(one.truth.skip, 6),
                "double": round(one.truth.double, 6),
            }
            for one in (state.ending.reached if state.ending else ())
        ],
    }


def _truth(state: State) -> dict[str, Any] | None:
    """Numbers of the end; None before it."""
    if state.ending is None:
        return None
    return {
        "causes": [
            {"name": one.cause.name, "words": one.cause.words, "severity": one.severity}
            for one in state.ending.wrong
        ],
        "alike": state.ending.alike.cause.name if state.ending.alike else None,
        "counts": [
            {
                "number": one.count.number,
                "skip": one.truth.skip,
                "double": one.truth.double,
                "shows_fault": one.from_order,
                "not_alike": one.from_alike,
            }
            for one in state.ending.shown
        ],
        "together": [
            {
                "names": list(one.names),
                "counts": list(one.numbers),
                "before": list(one.before.shares),
                "alone": [list(there.shares) for there in one.alone],
                "both": list(one.after.shares),
                "chances": list(one.chances),
                "chance": one.chance,
                "hidden": one.hidden,
            }
            for one in state.ending.together
        ],
        "reached": [
            {
                "who": one.who,
                "cells": one.cells,
                "counts": one.counts,
                "skip": one.truth.skip,
                "double": one.truth.double,
                "changes": list(one.changes),
            }
            for one in state.ending.reached
        ],
    }
