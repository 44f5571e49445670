"""JSON of a start sheet, in SI."""

from __future__ import annotations

import json
from typing import Any

from metersim.machine.discs import GenericDisc
from metersim.measures.indices import number_or_none, put
from metersim.measures.yields import Harvest
from metersim.questions.shared.hedges import NONE
from metersim.questions.shared.jsonparts import plants_json, yield_json
from metersim.questions.shared.spread import Spread
from metersim.questions.sheet.discfit import Objection
from metersim.questions.sheet.owndisc import Own
from metersim.questions.sheet.start import Plateau
from metersim.questions.sheet.study import Sheet
from metersim.run.records import provenance


def sheet_json(sheet: Sheet, harvest: Harvest = NONE) -> str:
    """JSON of settings, discs, expectations, single changes, rules and the count.

    Parameters
    ----------
    sheet : Sheet
        Result of `metersim.questions.sheet.study.sheet`.
    harvest : Harvest
        Expected yield and price; yield losses are given only with an expected yield.
    """
    scenario = sheet.scenario
    made: dict[str, Any] = {
        "provenance": provenance(sheet.field.origin),
        "start": {
            "disc": _disc(sheet.chosen.disc),
            "vacuum_pa": scenario.vacuum.vacuum,
            "vacuum_range_pa": _plateau(sheet.plateau),
            "notch": scenario.singulator.notch,
            "gate_opening_m": scenario.pool.gate_opening,
            "gate_range_m": _plateau(sheet.gate.plateau),
            "inner_guide": bool(scenario.guide.inner_guide),
            "inner_guide_gain": sheet.guide.to_dict() if sheet.guide else None,
            "cutoff": "clean, sharp edge",
        },
        "own_disc": _own(sheet.own) if sheet.own else None,
        "usual": list(sheet.usual),
        "leading": sheet.leading,
        "vacuum_most_pa": sheet.vacuum_most,
        "given": list(sheet.given),
        "count": vars(sheet.count),
        "expected": {"bench": _spread(sheet.bench_spread), "field": _spread(sheet.field_spread)},
        "scatter_m": {name: one.to_dict() for name, one in sheet.scatter.items()},
        "stand": _stand(sheet, harvest),
        "single_changes": [
            {"change": one.key, **{key: part.to_dict() for key, part in one.changes.items()}}
            for one in sheet.nearby
        ],
        "discs": [
            {
                "disc": _disc(one.disc),
                "vacuum_pa": one.start.scenario.vacuum.vacuum,
                "notch": one.start.scenario.singulator.notch,
                "measures": {key: part.to_dict() for key, part in one.reach.items()},
                "difference": {key: part.to_dict() for key, part in one.lead.items()},
                "objections": [_objection(against) for against in one.objections],
            }
            for one in sheet.fits
        ],
        "discs_not_run": [
            {"disc": _disc(one.disc), "objections": list(map(_objection, one.objections))}
            for one in sheet.unfit
        ],
        "rules": [
            {
                "rule": one.key,
                "agrees": bool(one.agrees),
                "changes": {key: part.to_dict() for key, part in one.changes.items()},
                "values_si": {key: number_or_none(value) for key, value in one.values.items()},
            }
            for one in sheet.rules
        ],
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _disc(disc: GenericDisc) -> dict[str, Any]:
    return {
        "cells": disc.cells,
        "hole_diameter_m": disc.hole_diameter,
        "seed_width_m": disc.seed_width,
        "meant_for": disc.meant_for,
    }


def _own(own: Own) -> dict[str, Any]:
    return {
        "disc": _disc(own.disc),
        "suits": own.suits,
        "verdicts": list(own.verdicts),
        "objections": list(map(_objection, own.objections)),
        "better": _disc(own.best.disc) if own.best else None,
    }


def _plateau(span: Plateau) -> dict[str, Any]:
    return {
        "low": float(span.low),
        "high": float(span.high),
        "low_open": bool(span.low_open),
        "high_open": bool(span.high_open),
    }


def _objection(one: Objection) -> dict[str, Any]:
    value, bound = (number_or_none(float(number)) for number in (one.value, one.bound))
    return {"kind": one.kind, "value": value, "bound": bound, "why": one.why}


def _spread(spread: Spread) -> dict[str, Any]:
    """Total interval of each measure, and its parts."""
    made: dict[str, Any] = {}
    for key in spread.estimates:
        parts = {name: part.to_dict() for name, part in spread.parts(key).items()}
        put(made, key, parts, spread.measures[key].kind)
    return made


def _stand(sheet: Sheet, harvest: Harvest) -> dict[str, Any]:
    made = plants_json(sheet.stand)
    if harvest.expected is not None:
        made |= yield_json(sheet.stand, harvest)
    return made
