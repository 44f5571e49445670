"""JSON of a next move, in SI."""

from __future__ import annotations

import json
from typing import Any

from metersim import __version__
from metersim.measures.indices import number_or_none
from metersim.questions.next.decide import checks
from metersim.questions.next.gain import LEVEL, Gain
from metersim.questions.next.likely import alike, words_of
from metersim.questions.next.rows import RowsFound
from metersim.questions.next.rowtext import rows_json
from metersim.questions.next.study import NextMove
from metersim.questions.next.target import Compared
from metersim.run.records import Origin, provenance


def next_json(found: NextMove, seed: int = 1, rows: RowsFound | None = None) -> str:
    """JSON of counts, likely faults, the advice, and the gains of all moves.

    Parameters
    ----------
    found : NextMove
        Result of `metersim.questions.next.study.next_move`.
    seed : int
        Random seed of the result.
    rows : RowsFound, optional
        What the latest counts of several rows have in common.
    """
    diagnosis = found.diagnosis
    scenario, notches = found.scenario, found.notches
    made: dict[str, Any] = {
        "provenance": provenance(Origin(scenario, seed, 0, __version__, {})),
        "interval_level": LEVEL,
        "advice": {
            "kind": found.kind,
            "words": found.words,
            "fault": found.advice.fault or None,
            "move": _gain(found.chosen) if found.chosen else None,
            "stands": found.advice.stands,
            "more_cells": found.more,
            "differs": found.differs,
        },
        "counts": [_count(one) for one in found.targets],
        "counts_at_other_settings": sum(one.meter != scenario for one in diagnosis.seen),
        "counts_left_out": found.left_out,
        "seed_used": diagnosis.used.ratio if diagnosis.used else None,
        "row_alone_chance": diagnosis.alone,
        "rows_alike_chance": diagnosis.common,
        "lens_contradicted": diagnosis.lens_contradicted,
        "moves": [_gain(gain) for gain in found.gains],
        "parts": [_gain(gain) for gain in found.parts],
        "causes": [
            {
                "cause": name,
                "words": words_of(name),
                "chance_before": diagnosis.before(name),
                "chance_after": diagnosis.after(name),
            }
            for name in diagnosis.names
        ],
        "effective_meters": number_or_none(diagnosis.effective),
        "not_distinguished": alike(found),
        "checks": [
            {"words": words, "chance": chance, "bits": bits}
            for words, chance, bits in checks(diagnosis)
        ],
        "rule": {"words": found.rule.words, "steps": dict(found.rule.steps)},
        "notches": None,
        "rows": rows_json(rows),
    }
    if notches:
        made["notches"] = {
            "best": notches.best,
            "second": notches.second,
            "singulation": [
                {"notch": notch, "share": number_or_none(share)}
                for notch, share in notches.singles.items()
            ],
            "seed_width_m": dict(zip(("value", "low", "high"), notches.width, strict=True)),
            "hole_diameter_m": notches.hole,
        }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _count(one: Compared) -> dict[str, Any]:
    shares = {
        f"{kind}s": {
            "counted": many,
            "share": many / one.look.cells,
            "wanted": one.usual(kind),
            "most_in_order": one.most(kind),
            "chance_in_order": one.chance(kind),
            "differs": kind in one.differing,
        }
        for kind, many in one.counted.items()
    }
    return {"way": one.way, "cells": one.look.cells, **shares, "needed_cells": one.needed}


def _gain(gain: Gain) -> dict[str, Any]:
    intervals = {
        name: {"low": number_or_none(low), "high": number_or_none(high)}
        for name, (low, high) in gain.parts.items()
    }
    return {
        "words": gain.move.words,
        "steps": dict(gain.move.steps),
        "mends": gain.move.mends or None,
        "gain": number_or_none(gain.value),
        "noise": number_or_none(gain.noise),
        "chance_worse": gain.worse,
        "intervals": intervals,
    }
