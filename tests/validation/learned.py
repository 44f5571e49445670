"""Whether learning from one published row of a stand helps to predict its other rows.

``python -m tests.validation.learned`` prints, for each stand with rows at several conditions, the
score of its other rows before and after the rows of one condition are learned.  Each condition is
learned in turn, with the likelihood of `metersim.questions.learn.weigh`.  `metersim learn` takes no
counts of another disc or crop: those pairs of conditions have a line of their own.  Nothing is
fitted to anything else.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from metersim.machine.posterior import SHIFTS, Shift
from metersim.machine.scenario import Scenario
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import draws_of, run_draw
from metersim.questions.evidence.score import numbers
from metersim.questions.learn.machines import Machines, machines_of, near, rest_of
from metersim.questions.learn.seen import Seen, is_taken
from metersim.questions.learn.weigh import (
    LEAST_SHARE,
    Expected,
    alike_cells,
    effective,
    log_chance,
    weights_of,
)
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
            if plain and is_level(row.measure):
                place = case.name, row.terms[0].condition
                found.setdefault(place, []).append((row.measure, row.number("published") / 100))
    return found


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of machines at the conditions of a stand.

    Attributes
    ----------
    believed : Machines
        Meaning of the points, with the discrepancy.
    points : ndarray, shape (machines, columns)
        Machines.
    values : mapping of tuple to mapping of str to ndarray, shape (machines,)
        Measures without shifts, by case and condition.
    scenarios : mapping of tuple to Scenario
        Scenario of the first part of each condition.
    """

    believed: Machines
    points: np.ndarray
    values: Mapping[Place, Mapping[str, np.ndarray]]
    scenarios: Mapping[Place, Scenario]

    def shown(self, place: Place, alike: float = 1.0) -> dict[str, np.ndarray]:
        """Measures at a condition with the part of the shifts that holds there."""
        moved = self.believed.shifts(self.points)
        rows = [
            shifted(
                {key: one[k] for key, one in self.values[place].items()},
                Shift(**{name: alike * float(moved[name][k]) for name in SHIFTS}),
            )
            for k in range(len(self.points))
        ]
        return {key: np.array([row[key] for row in rows]) for key in rows[0]}


def runs_of(
    cases: Sequence[Case], levels: Mapping[Place, object], machines: int, seed: int
) -> Runs:
    """Runs of machines at all conditions with levels."""
    values, scenarios = {}, {}
    for case in cases:
        wanted = [condition for name, condition in levels if name == case.name]
        if not wanted:
            continue
        first = next(iter(case.conditions.values())).parts[0]
        believed = machines_of(replace(first, unknown=()), seed)
        rng = Streams(seed).generator("machines")
        normal = rng.standard_normal((machines, believed.points.shape[1]))
        points = believed.density.sample((np.arange(machines) + 0.5) / machines, normal)
        coefficients = believed.coefficients(points)
        found: dict[str, list[dict[str, float]]] = {name: [] for name in wanted}
        kept = replace(case, conditions={name: case.conditions[name] for name in wanted})
        for draw in draws_of(kept, machines, seed, stations_of):
            parts = tuple(
                replace(part, coefficients=coefficients[draw.number]) for part in draw.parts
            )
            ran = run_draw(replace(draw, parts=parts)).items()
            kinds = {key: float(one[0]) for key, one in ran if is_level(key)}
            found[draw.condition.name].append(kinds)
        for name, rows in found.items():
            values[case.name, name] = {k: np.array([row[k] for row in rows]) for k in rows[0]}
            scenarios[case.name, name] = case.conditions[name].parts[0]
    return Runs(believed, points, values, scenarios)


def is_level(measure: str) -> bool:
    """Whether levels of a measure are learned and predicted."""
    return measure.startswith(SHARES) or measure == "precision"


def logs_of(
    runs: Runs, place: Place, rows: Sequence[tuple[str, float]], alike: float
) -> np.ndarray:
    """Logarithm of the chance of the rows of a condition, for each machine."""
    shown, published = runs.shown(place, alike), dict(rows)
    names = {measure.split(".")[-1]: measure for measure in published}
    none = np.full(len(runs.points), np.nan)
    few, several, seen = none, none, {"few": 0, "several": None, "cells": 0}

    def part(measure: str, sign: float = 1.0) -> tuple[np.ndarray, int]:
        share = 0.5 - sign * (0.5 - shown[measure])
        count = 0.5 - sign * (0.5 - published[measure])
        return share.clip(LEAST_SHARE, 1 - 2 * LEAST_SHARE), round(SPACINGS * count)

    for one, other, normal in (("miss", "multiple", "quality"), ("skip", "double", "single")):
        if one in names and other in names:
            (few, seen["few"]), (several, seen["several"]) = part(names[one]), part(names[other])
            several = np.minimum(several, 1 - LEAST_SHARE - few)
        elif normal in names:  # all that is not normal
            few, seen["few"] = part(names[normal], -1.0)
        else:
            continue
        seen["cells"] = SPACINGS
    spread = {}
    if "precision" in published:
        spread = {"spread": math.log(published["precision"]), "variance": 1 / (2 * SPACINGS)}
    expected = Expected(
        few=few if seen["cells"] else none + LEAST_SHARE,
        several=several,
        cells=alike_cells(rest_of(runs.believed.own_share, alike), 0.0),
        effect=1.0,
        spread=np.log(shown["precision"].clip(1e-9)),
        variance=rest_of(runs.believed.own_spread, alike) ** 2 if spread else np.inf,
    )
    what = Seen(scenario=runs.scenarios[place], way="belt", **seen, **spread)  # type: ignore[arg-type]
    return np.where(np.isfinite(found := log_chance(expected, what)), found, -1e9)


def errors(measure: str, own_share: float, own_spread: float) -> float:
    """SD of a published value on its scale: rest of the discrepancy, and a count of spacings."""
    if measure == "precision":
        return float(np.hypot(own_spread, (1 / (2 * SPACINGS)) ** 0.5))
    return float(np.hypot(own_share, (1 / (4 * SPACINGS)) ** 0.5))


def on_scale(measure: str, values: np.ndarray) -> np.ndarray:
    """Values on the scale on which their errors are alike."""
    return np.log(values) if measure == "precision" else np.arcsin(np.sqrt(values.clip(0, 1)))


def back(measure: str, values: np.ndarray) -> np.ndarray:
    """Values from their scale."""
    return np.exp(values) if measure == "precision" else np.sin(values.clip(0, np.pi / 2)) ** 2


def judged(
    runs: Runs, levels: Mapping[Place, Sequence[tuple[str, float]]], seed: int
) -> dict[bool, list[tuple[float, ...]]]:
    """Scores before and after of every other row, by whether `learn` takes the pair."""
    machines = len(runs.points)
    own = runs.believed.own_share, runs.believed.own_spread
    rng = Streams(seed).generator("printed")
    scores: dict[bool, list[tuple[float, ...]]] = {True: [], False: []}
    for other, further in levels.items():
        shown = runs.shown(other)
        for learned, rows in levels.items():
            if other == learned:
                continue
            pair = runs.scenarios[learned], runs.scenarios[other]
            weights = weights_of(logs_of(runs, learned, rows, near(*pair)))
            for measure, value in further:
                at = on_scale(measure, shown[measure])
                judged_by = []
                for each in (np.full(machines, 1 / machines), weights):
                    order = np.argsort(at)
                    edges = np.cumsum(each[order])
                    places = (np.arange(PRINTED) + 0.5) / PRINTED * edges[-1]
                    taken = at[order][np.searchsorted(edges, places).clip(max=machines - 1)]
                    noise = errors(measure, *own) * rng.standard_normal(PRINTED)
                    drawn = 100 * back(measure, taken + noise)
                    judged_by.append(numbers(drawn[None], 100 * value, fair=False))
                old, new = judged_by
                scores[is_taken(*pair)].append(
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
    every: dict[bool, list[np.ndarray]] = {True: [], False: []}
    for name, cases in stands.items():
        levels = levels_of(cases)
        if len(levels) < 2:
            continue
        found = [judged(runs_of(cases, levels, MACHINES, seed), levels, seed) for seed in (1, 2)]
        for same, means in every.items():
            if not found[0][same]:
                continue
            scores = np.mean([one[same] for one in found], axis=0)
            means.append(scores.mean(axis=0))
            words = name if same else f"{name}, another disc or crop"
            print(f"{words:36} {len(scores):3} {_row(means[-1])}", flush=True)
    for same, means in every.items():
        words = "all stands" if same else "another disc or crop"
        print(f"{words:40} {_row(np.mean(means, axis=0))}")


def _row(means: np.ndarray) -> str:
    return " ".join(f"{one:7.2f}" for one in means)


if __name__ == "__main__":
    sys.exit(main())
