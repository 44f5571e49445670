"""JSON of a comparison: measures, differences and plants, all in SI."""

from __future__ import annotations

import json
from typing import Any

from metersim.measures.indices import BY_KEY, number_or_none, put
from metersim.measures.limits import causes, cautions
from metersim.measures.plants import BY_NAME
from metersim.measures.yields import Harvest
from metersim.questions.compare.study import COMPARED, Comparison
from metersim.questions.shared.hedges import fixed_words, hedge_words, no_relation
from metersim.questions.shared.jsonparts import (
    emptied_json,
    losses_json,
    stand_json,
    uncertainty_json,
)
from metersim.run.records import provenance


def as_json(result: Comparison, harvest: Harvest | None = None) -> str:
    """JSON of all scenarios and their differences from the first, in SI.

    Parameters
    ----------
    result : Comparison
        Comparison of two or more scenarios.
    harvest : Harvest, optional
        Expected yield and price; money is given only with a price.
    """
    harvest = harvest or Harvest()
    made = {
        "interval_level": result.levels[0].level,
        "scenarios": [_scenario(result, k, harvest) for k in range(len(result.labels))],
        "differences": [_difference(result, k, harvest) for k in range(len(result.labels) - 1)],
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _scenario(result: Comparison, k: int, harvest: Harvest) -> dict[str, Any]:
    measured, values = result.measured[k], result.values[k]
    made: dict[str, Any] = {
        "label": result.labels[k],
        "provenance": provenance(measured.origin, len(measured.tallies)),
        "turns_at_least": measured.turns_at_least,
        "hopper_emptied": emptied_json(measured),
        "counts": measured.counts,
    }
    for key in COMPARED:
        put(made, key, values[key].to_dict())
    made["causes"] = [{"cause": one.name, "share": one.share} for one in causes(measured)]
    made["cautions"] = cautions(measured.scenario)
    made["uncertainty"] = uncertainty_json(result.levels[k])
    if result.stands:
        made["stand"] = stand_json(result.stands[k], harvest)
    return made


def _difference(result: Comparison, k: int, harvest: Harvest) -> dict[str, Any]:
    made: dict[str, Any] = {"label": result.labels[k + 1], "less": result.labels[0]}
    for key in COMPARED:
        put(made, key, result.differences[k][key].to_dict())
    saved: dict[str, Any] = {}
    for key, one in result.pairings[k].items():
        found = {"gain": number_or_none(one.gain), "best": number_or_none(one.best)}
        put(saved, key, found, BY_KEY[key].kind)
    made["variance_reduction"] = saved
    made["uncertainty"] = uncertainty_json(result.spreads[k])
    if result.stands:
        change = result.stand_changes[k]
        stand: dict[str, Any] = {}
        for key, estimate in change.measures.items():
            put(stand, key, estimate.to_dict(), BY_NAME[key].kind)
        made["stand"] = stand
        pair = (result.stands[0], result.stands[k + 1])
        stand["hedge"] = (
            hedge_words(change.losses, pair)
            if change.losses
            else no_relation(*(one.crop for one in pair))
        )
        stand["held_fixed"] = fixed_words(*pair)
        stand["yield_as_published"] = losses_json(change.losses, harvest)
    return made
