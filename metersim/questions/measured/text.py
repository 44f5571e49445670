"""Report of measured spacings with their prediction, and its JSON."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from metersim.measures.cellfit import MOST_FITTED, CellFit
from metersim.measures.indices import number_or_none, put
from metersim.measures.intervals import Estimate
from metersim.measures.limits import cautions
from metersim.measures.spacing import class_counts
from metersim.questions.measured.cells import ENOUGH, FITTED, GIVEN, SEEDS, ValuePair
from metersim.questions.measured.pattern import pattern_json, pattern_text
from metersim.questions.measured.rows import row_differences
from metersim.questions.measured.study import Counted
from metersim.questions.measured.verdict import (
    PARTS,
    findings,
    is_misfit,
    longest_gaps,
    population,
    visible,
)
from metersim.questions.shared.notes import PROVE, asked
from metersim.questions.shared.words import LABELS, block, interval_text, quantity, wrapped
from metersim.run.records import provenance

GROUPS = (
    (
        "Spacings",
        (
            "per_spacing.multiple",
            "per_spacing.quality",
            "per_spacing.miss",
            "precision",
            "spacing.mean",
            "spacing.sd",
            "spacing.cv",
            "spacing.cp3",
        ),
    ),
    ("Places", ("per_place.multiple", "per_place.single", "per_place.miss")),
)
FIT_LABELS = {
    "fit.skip": "skips",
    "fit.double": "doubles",
    "fit.scatter": "scatter of a seed",
    "fit.distance": "cells over nominal",
    "fit.emergence": "emergence",
}
NAMES = {**LABELS, **FIT_LABELS, "spacing.cv": "SD over mean (CV)"}
KINDS = {"spacing": "spacings", "position": "places along the row", "time": "times of pulses"}
LONG = 12.0  # nominal spacings; a longer gap is hardly a run of skips
ALIKE, OFF = 0.98, 1.02  # range of fitted over nominal spacing that needs no caution


def measured_text(found: Counted, units: str = "metric") -> str:
    """Report of measured spacings: prediction, fit, and cautions."""
    origin, scenario = found.origin, found.scenario
    origin_text = f"random seed {origin.seed}, metersim {origin.version}"
    changes = ", ".join([scenario.name, *_asked_changes(found), origin_text])
    lines = [f"{found.source.where} beside {scenario.title} ({changes})", ""]
    lines += [*block("Predicted", asked(scenario, units)), ""]
    lines += [*block("Measured", _counted(found)), ""]
    lines += _table(found, units)
    if found.fit is not None:
        lines += ["", *_fitted(found, units)]
    lines.append("")
    lines += [*block("Gaps", _gaps(found, units)), ""]
    if found.folds:
        lines += [*block("By hole", pattern_text(found.folds)), ""]
    lines += block("Reading", _reading(found))
    if cautions := _notes(found, units):
        lines += ["", *block("Note", cautions)]
    lines += ["", PROVE]
    return "\n".join(part for line in lines for part in (wrapped(line) if line else [line]))


def _gaps(found: Counted, units: str) -> list[str]:
    """The longest gaps with their places."""
    along = "from the seed at" if found.source.starts else "from the first seed on, after"
    lines = []
    for gap in longest_gaps(found):
        length, begin = (quantity("length", one, units) for one in (gap.length, gap.begin))
        lines.append(f"{length} {along} {begin}" + (f", {gap.label}" if gap.label else ""))
    return lines


def _asked_changes(found: Counted) -> list[str]:
    """Changes of the user, without the length of the run."""
    return [change for change in found.scenario.changes if "turns" not in change.partition("=")[0]]


def _counted(found: Counted) -> list[str]:
    source, many = found.source, len(found.rows)
    rows = f" in {many} rows" if many > 1 else ""
    said = f"{found.size:,} spacings{rows}, from the {KINDS[source.kind]} in {source.column}"
    if source.kind == "time":
        said += ", times the speed of the scenario"
    lines = [said]
    if not math.isnan(found.lag_correlation):
        lines.append(
            f"correlation of neighbouring spacings {found.lag_correlation:+.2f}. Scatter alone "
            "gives -0.5; skips and doubles bring it nearer to 0"
        )
    return lines


def _table(found: Counted, units: str) -> list[str]:
    level = f"{found.level:.0%}".replace("%", " %")
    count = f"range of {found.size:,} ({level})"
    lines = [f"{'':31}{'measured':>11}   {level + ' interval':19}{'predicted':>11}   {count}"]
    for group, keys in GROUPS:
        for row, key in enumerate(keys):
            lines.append(_line(found[key], group if row == 0 else "", units, found.size < ENOUGH))
    return lines


def _line(one: ValuePair, group: str, units: str, short: bool = False) -> str:
    kind = one.measure.kind
    value = quantity(kind, one.measured.value, units)
    held = "-" if short else interval_text(kind, one.measured, units)
    has_prediction = not math.isnan(one.predicted.value)
    predicted = quantity(kind, one.predicted.value, units) if has_prediction else ""
    reach = "" if math.isnan(one.predicted.low) else interval_text(kind, one.predicted, units)
    name = NAMES[one.measure.key]
    return f"{group:11}{name:20}{value:>11}   {held:19}{predicted:>11}   {reach:19}{_verdict(one)}"


def _verdict(one: ValuePair) -> str:
    if one.differs is None:
        return ""
    if not one.differs:
        return "as predicted"
    return "higher" if one.measured.value > one.predicted.value else "lower"


def _fitted(found: Counted, units: str) -> list[str]:
    keys = [key for key in FIT_LABELS if key in found]
    lines = [_line(found[key], "Fitted" if k == 0 else "", units) for k, key in enumerate(keys)]
    return [line.rstrip() for line in lines]


def _reading(found: Counted) -> list[str]:
    lines = [
        f"range: if the prediction is right, it holds the value of {found.size:,} spacings in 95 "
        "of 100 cases. A value outside is called higher or lower. Sampling error alone gives one "
        "such value in twenty. Measures of the same spread rise and fall together."
    ]
    if found.fit is None and not found.slip:
        lines.append(
            f"{found.size} spacings are too few for intervals and a fit: {ENOUGH} are needed"
        )
        if found.emergence == FITTED:
            lines.append("without a fit or --emergence the prediction is of seeds, not of plants")
    if found.fit is None:
        return lines
    lines.append(
        "fitted: skips and doubles are shares of the cells. A short spacing behind a long one "
        "distinguishes a late seed from a skip. A fitted value is higher or lower when its "
        "interval does not hold the prediction."
    )
    lines.append(
        {
            SEEDS: "all seeds count here, so every empty cell is a skip, or a seed that no sensor "
            "saw",
            GIVEN: "an empty place is a skip or a seed that did not come up. Spacings alone do not "
            f"distinguish them: skips are fitted with the emergence of {100 * found.left:.4g} % "
            "that was given",
            FITTED: "an empty place is a skip or a seed that did not come up. Spacings alone do "
            "not distinguish them: skips are taken from the prediction, and emergence is fitted. "
            "The prediction above has this emergence. Give --emergence from a germination test or "
            "a count to fit skips instead; 100 where seeds were dug up",
        }[found.emergence]
    )
    return lines


def long_gaps(found: Counted) -> int:
    """Number of spacings that are hardly runs of skips."""
    return sum(int((row > LONG).sum()) for row in found.rows)


def is_off(fit: CellFit) -> bool:
    """Whether the cells lie clearly farther apart or closer than the nominal spacing."""
    return not (fit.distance.low < OFF and fit.distance.high > ALIKE)


def _notes(found: Counted, units: str) -> list[str]:
    notes = [found.slip.question()] if found.slip else []
    fit = found.fit
    if long := long_gaps(found):
        notes.append(
            f"{long} of the spacings are over {LONG:g} nominal ones, as at a stop or a headland: "
            "where the meter did not sow, begin a row of its own in the column 'row'"
        )
    if fit is not None:
        if is_misfit(found):
            notes.append(
                "the fitted cells do not describe these spacings: trust none of the fitted values. "
                "Look at the picture (--figure): several rows in one, a speed that changed, or "
                "seeds that bounced and rolled?"
            )
        if fit.is_wide:
            notes.append(
                "seeds scatter by over a quarter of their distance, so that neighbours change "
                "places. The fitted scatter is then too small by up to a quarter. Skips and "
                "doubles are less certain"
            )
        distance = fit.distance
        if is_off(fit):
            notes.append(
                f"the distance between cells is {100 * distance.value:.4g} % of the nominal "
                "spacing. Rate, row spacing or speed may differ from the scenario's, the wheel may "
                "slip, or the header may state a wrong unit. Classes use the nominal spacing"
            )
        if fit.spacings < found.size:
            notes.append(
                f"fitted to {fit.spacings:,} of the spacings, in stretches all along the rows "
                f"({MOST_FITTED:,} at most)"
            )
        skip = found.get("fit.skip")
        if skip is not None and skip.measured.value == 0 and found.emergence == GIVEN:
            notes.append(
                "this emergence alone leaves more empty places than were measured, so skips are "
                "fitted as 0. The emergence may be higher"
            )
        emerged = found.get("fit.emergence")
        if emerged is not None and emerged.measured.value == 1:
            notes.append(
                "the predicted skips explain all empty places, so emergence is fitted as 100 %"
            )
    return [*notes, *cautions(found.scenario, units), *found.scenario.warnings(units)]


def measured_json(found: Counted) -> str:
    """JSON of measured spacings with their prediction, in SI."""
    source, fit = found.source, found.fit
    made: dict[str, Any] = {
        "provenance": provenance(found.origin),
        "interval_level": found.level,
        "measured": {
            "file": source.where,
            "column": source.column,
            "spacings": found.size,
            "rows": len(found.rows),
            "classes": class_counts(np.concatenate(found.rows), 1.0).tolist(),
            "lag_correlation": number_or_none(found.lag_correlation),
        },
        "predicted_spacings": len(found.predicted),
        "emergence": {"taken": found.emergence, "share": found.left},
        "fitted_spacings": fit.spacings if fit else 0,
    }
    for key, one in found.items():
        measured, predicted = one.measured.to_dict(), one.predicted.to_dict()
        values = {"measured": measured, "predicted": predicted, "differs": one.differs}
        put(made, key, values, one.measure.kind)
    made["spacing"]["nominal_m"] = found.scenario.spacing
    made["spacing"]["cp3_centre_m"] = found.scenario.spacing
    made["cautions"] = cautions(found.scenario)
    made |= _said(found)
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _said(found: Counted) -> dict[str, Any]:
    """The verdict, rows beside one another, the stand and the longest gaps, in SI."""
    edges = visible(found)
    scatter = {"scatter": "scatter_m"}
    return {
        "population_per_m2": _estimate(population(found)),
        "population_of": "seeds" if found.emergence == SEEDS else "plants",
        "detected": [
            {
                "measure": one.name,
                "higher": one.is_higher,
                "likely_part": one.part if one.is_higher else None,
            }
            for one in findings(found)
        ],
        "misfit": is_misfit(found),
        "cannot_distinguish_normal": list(edges) if edges else None,
        "by_hole": pattern_json(found.folds),
        "suspected_unit": vars(found.slip) if found.slip else None,
        "longest_gaps": [
            {"length_m": one.length, "begin_m": one.begin, "row": one.label}
            for one in longest_gaps(found)
        ],
        "each": [
            {"row": one.label, "spacings": one.size}
            | {
                scatter.get(name, name.replace(" ", "_")): _estimate(value)
                for name, value in one.values.items()
            }
            for one in found.each
        ],
        "rows_that_differ": [
            {"row": one.label, "measure": one.name, "own": one.own, "others": one.others}
            | {"likely_part": PARTS[one.name]}
            for one in row_differences(found.each, found.level)
        ],
    }


def _estimate(one: Estimate) -> dict[str, float | None]:
    return {name: number_or_none(value) for name, value in vars(one).items()}
