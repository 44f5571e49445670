"""JSON and CSV of a machine, in SI."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from metersim.files.tables import csv_text
from metersim.measures.estimates import Measured
from metersim.measures.indices import put
from metersim.measures.limits import cautions
from metersim.measures.rows import ROW_MEASURES, Middle
from metersim.questions.shared.answer import finite
from metersim.questions.shared.jsonparts import emptied_json, uncertainty_json
from metersim.questions.shared.machinerun import MachineRun
from metersim.questions.shared.spread import Spread
from metersim.run.records import Seeds, provenance
from metersim.run.rows import Pass

SEED_COLUMNS = ("replicate", "row", *Seeds.names)


def machine_json(found: MachineRun) -> str:
    """JSON of all rows, of each row, of the air and of the start, in SI."""
    measured = found.measured
    origin = measured.tallies[0].rows[0].tally.origin
    made: dict[str, Any] = {
        "provenance": provenance(origin, len(measured.tallies))
        | {"row_changes": {f"{row}": list(each) for row, each in measured.scenario.rows}},
        "interval_level": measured.level,
        "rows": measured.scenario.toolbar.rows,
        "working_rows": list(found.numbers),
        "machine": _row(measured.whole, found.whole),
        "each_row": {
            f"{row}": _row(one, found.rows[row]) | {"vacuum_pa": _middle(measured.vacuum[row])}
            for row, one in measured.rows.items()
        },
        "rows_alike": {
            one.kind: {
                "verdict": one.verdict,
                "common_chance": one.common_chance,
                "row_chances": dict(zip(map(str, found.numbers), one.row_chances, strict=True)),
                "several_chance": one.several_chance,
            }
            for one in found.kinds.values()
        },
        "air": _air(found),
        "start": _start(found),
        "cautions": cautions(measured.scenario),
        "uncertainty": {"drawn_row": found.drawn_row} | uncertainty_json(found.whole),
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _row(measured: Measured, spread: Spread) -> dict[str, Any]:
    """Counts and measures with total intervals, or sampling alone where no draw has a measure."""
    made: dict[str, Any] = {
        "counts": measured.counts,
        "hopper_emptied": emptied_json(measured),
        "nominal_spacing_m": measured.scenario.spacing,
    }
    for one in ROW_MEASURES:
        known = one.key in spread.estimates
        own = measured[one.key]
        value = (spread.total(one.key) if known else own).to_dict()
        value |= {f"sampling_{end}": own.to_dict()[end] for end in ("low", "high")}
        put(made, one.key, value, one.kind)
    return made


def _middle(one: Middle) -> dict[str, float]:
    return {"least": one.least, "middle": one.middle, "most": one.most}


def _air(found: MachineRun) -> dict[str, Any]:
    measured = found.measured
    return {
        "vacuum_by_row_pa": {f"{row}": _middle(one) for row, one in measured.vacuum.items()},
        "at_fan_pa": _middle(measured.air("at_fan")),
        "gauge_reading_pa": _middle(measured.air("reading")),
        "flow_m3_per_s": _middle(measured.air("flow")),
        "fan_speed": measured.fan_speed,
    }


def _start(found: MachineRun) -> dict[str, Any]:
    start = found.measured.start
    return finite(
        {
            "turns_that_miss_more": start.turns,
            "first_seed_m": start.first,
            "settled_skip": start.settled.to_dict(),
            "ends_s": start.ends.tolist(),
            "missed_cells": start.missed.tolist(),
            "cells_of_several": start.doubled.tolist(),
            "cells": start.cells.tolist(),
            "vacuum_pa": start.vacuum.tolist(),
        }
    )


def machine_csv(passes: Iterable[Pass]) -> str:
    """CSV with one row a seed, in SI, with the row of the machine in which it lies."""
    rows = (
        (one.replicate, row.number, *seed)
        for one in passes
        for row in one.rows
        for seed in zip(*(column.tolist() for _, column in row.run.seeds.columns()), strict=True)
    )
    return csv_text(SEED_COLUMNS, rows)
