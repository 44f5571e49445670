"""Whether learning from one published row of a stand helps to predict its other rows.

``python -m tests.validation.learned`` prints, for each stand with rows at several conditions, the
score of its other rows before and after the rows of one condition are learned.  Each condition is
learned in turn.  Nothing is fitted to anything else.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from metersim.machine.posterior import SHIFTS, Shift
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import draws_of, run_draw
from metersim.questions.evidence.score import numbers
from metersim.questions.learn.machines import machines_of
from metersim.questions.learn.weigh import effective, weights_of
from metersim.questions.shared.cases import Case, load_case, shipped_cases
from metersim.questions.shared.discrepancy import shifted
from metersim.run.streams import Streams

MACHINES, SPACINGS, PRINTED = 256, 250, 200
SHARES = ("per_spacing.", "per_place.", "cells.")

Place = tuple[str, str]  # case and condition


def levels_of(cases: Sequence[Case]) -> dict[Place, list[tuple[str, float]]]:
    """Measure and published value of plain levels, by case and condition."""
    found: dict[Place, list[tuple[str, float]]] = {}
    for case in cases:
        for row in case.rows:
            plain = row.kind == "level" and len(row.terms) == 1 and row.terms[0].weight == 1
            if plain and (row.measure.startswith(SHARES) or row.measure == "precision"):
                place = case.name, row.terms[0].condition
                found.setdefault(place, []).append((row.measure, row.number("published") / 100))
    return found


def shown_by(
    case: Case, wanted: Sequence[str], machines: int, seed: int
) -> tuple[Mapping[str, list[dict[str, float]]], float, float]:
    """Measures of each machine at some conditions of a case, with the rest of the discrepancy."""
    first = next(iter(case.conditions.values())).parts[0]
    believed = machines_of(replace(first, unknown=()), seed)
    rng = Streams(seed).generator("machines")
    normal = rng.standard_normal((machines, believed.points.shape[1]))
    points = believed.density.sample((np.arange(machines) + 0.5) / machines, normal)
    coefficients = believed.coefficients(points)
    moved = believed.shifts(points)
    found: dict[str, list[dict[str, float]]] = {name: [] for name in wanted}
    kept = replace(case, conditions={name: case.conditions[name] for name in wanted})
    for draw in draws_of(kept, machines, seed, stations_of):
        parts = tuple(replace(part, coefficients=coefficients[draw.number]) for part in draw.parts)
        shift = Shift(**{name: float(moved[name][draw.number]) for name in SHIFTS})
        values = shifted(run_draw(replace(draw, parts=parts)), shift)
        found[draw.condition.name].append({key: float(one[0]) for key, one in values.items()})
    return found, believed.own_share, believed.own_spread


def errors(measure: str, own_share: float, own_spread: float) -> float:
    """SD of a published value on its scale: rest of the discrepancy, and a count of spacings."""
    if measure == "precision":
        return float(np.hypot(own_spread, (1 / (2 * SPACINGS)) ** 0.5))
    return float(np.hypot(own_share, (1 / (4 * SPACINGS)) ** 0.5))


def independent(rows: Sequence[tuple[str, float]]) -> list[tuple[str, float]]:
    """Rows without the share that follows from two others, as all three have the sum 1."""
    names = {measure for measure, _ in rows}
    return [
        (measure, value)
        for measure, value in rows
        if not (
            measure == "per_spacing.quality"
            and {"per_spacing.multiple", "per_spacing.miss"} <= names
        )
    ]


def on_scale(measure: str, values: np.ndarray) -> np.ndarray:
    """Values on the scale on which their errors are alike."""
    return np.log(values) if measure == "precision" else np.arcsin(np.sqrt(values.clip(0, 1)))


def back(measure: str, values: np.ndarray) -> np.ndarray:
    """Values from their scale."""
    return np.exp(values) if measure == "precision" else np.sin(values.clip(0, np.pi / 2)) ** 2


def judged(cases: Sequence[Case], machines: int, seed: int) -> list[tuple[float, ...]]:
    """Scores before and after, and whether the interval holds the value, of every other row."""
    levels = levels_of(cases)
    shown, own = {}, (0.0, 0.0)
    for case in cases:
        wanted = [condition for name, condition in levels if name == case.name]
        if wanted:
            found, *rest = shown_by(case, wanted, machines, seed)
            own = (rest[0], rest[1])
            shown |= {(case.name, condition): rows for condition, rows in found.items()}
    rng = Streams(seed).generator("printed")
    scores = []
    for learned, rows in levels.items():
        logs = np.zeros(machines)
        for measure, value in independent(rows):
            at = on_scale(measure, np.array([one[measure] for one in shown[learned]]))
            apart = (at - on_scale(measure, np.array([value]))) / errors(measure, *own)
            logs -= apart**2 / 2
        weights = weights_of(logs)
        for other, further in levels.items():
            if other == learned:
                continue
            for measure, value in further:
                at = on_scale(measure, np.array([one[measure] for one in shown[other]]))
                judged_by = []
                for each in (np.full(machines, 1 / machines), weights):
                    edges = np.cumsum(each)
                    places = (np.arange(PRINTED) + 0.5) / PRINTED * edges[-1]
                    taken = at[np.searchsorted(edges, places).clip(max=machines - 1)]
                    noise = errors(measure, *own) * rng.standard_normal(PRINTED)
                    drawn = 100 * back(measure, taken + noise)
                    judged_by.append(numbers(drawn[None], 100 * value, fair=False))
                old, new = judged_by
                scores.append(
                    (old.crps, new.crps, old.most, new.most, old.width, new.width)
                    + (effective(weights),)
                )
    return scores


def main() -> None:
    """Print the table."""
    stands: dict[str, list[Case]] = {}
    for name in shipped_cases():
        case = load_case(name)
        stands.setdefault(case.laboratory, []).append(case)
    print("stand, rows predicted; before and after: CRPS, inside 90 %, width in points; effective")
    every = []
    for name, cases in stands.items():
        if len(levels_of(cases)) < 2:
            continue
        mean = np.mean([judged(cases, MACHINES, seed) for seed in (1, 2)], axis=0)
        every.append(mean.mean(axis=0))
        row = " ".join(f"{one:7.2f}" for one in every[-1])
        print(f"{name:16} {len(mean):3} {row}", flush=True)
    print(f"{'all stands':20} {' '.join(f'{one:7.2f}' for one in np.mean(every, axis=0))}")


if __name__ == "__main__":
    sys.exit(main())
