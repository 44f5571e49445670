"""Runs of the model at many joint points of coefficients and open inputs, kept in files."""

from __future__ import annotations

import ast
import hashlib
from functools import cache, partial
from pathlib import Path

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

import metersim
from metersim.files.faults import BadInput
from metersim.machine.given import scenario_of
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY
from metersim.measures.plants import emerged
from metersim.measures.tally import tally_of
from metersim.questions.evidence.predictions import MOST_VACUUM, critical_vacuum
from metersim.questions.shared.cases import load_case
from metersim.questions.shared.conditions import Condition
from metersim.run.parallel import in_order
from metersim.run.simulation import simulate
from tests.validation.fit.sources import feature_of, open_inputs

WIDER = 1.6  # spread of the points over that expected
STRETCHES = 12
CHUNK = 64  # points of a job
LEAST_CELLS = 120  # of a part of a condition that averages over many
BENCH = ("", "maize_bench")  # the default meter, by which an unknown machine is accepted
RATIOS = [key for key, one in BY_KEY.items() if one.bottom]
KEPT = (*BY_KEY, "vacuum", "most_on_a_hole")
COUNTED = {  # what is counted for measures that are no ratio of sums
    "precision": "class2",
    "drop_time.mean": "seeds",
    "drop_time.sd": "seeds",
}


@cache
def condition_of(case, name):
    """A case and its condition by names; the default bench has neither."""
    if (case, name) == BENCH:
        return None, Condition(name, (scenario_of(name, "size_cv_percent=5"),))
    made = load_case(case)
    return made, made.conditions[name]


def inputs_of(case, name):
    """Open inputs of a condition by name."""
    made, condition = condition_of(case, name)
    return {} if made is None else open_inputs(made, condition)


def run_points(job):
    """Measures, their sampling variances and counts at some points; nan where values contradict.

    Returns
    -------
    ndarray, shape (points, 3, measures)
    """
    table, case, name, numbers, places, first, cells = job
    found = np.full((len(places), 3, len(KEPT)), np.nan)
    for k, (row, place) in enumerate(zip(numbers, places, strict=True)):
        try:
            coefficients = table.coefficients(row)
            found[k] = run_point(case, name, coefficients, place, first + k, cells)
        except BadInput:
            continue
    return found


def run_point(case, name, coefficients, place, number, cells):
    """Means over the parts of a condition at one point."""
    made, condition = condition_of(case, name)
    unknowns = inputs_of(case, name)
    by_name = dict(zip(unknowns, place, strict=True))
    plants = made.plants if made else None
    each = max(cells // len(condition.parts), LEAST_CELLS)
    parts = []
    for nth, part in enumerate(condition.parts):
        own = [float(by_name[f"{u.section}.{u.name}"]) for u in condition.unknown(part)]
        scenario = condition.drawn(part, own)
        if condition.critical:
            empty, times = condition.critical
            vacuum = times * critical_vacuum(scenario, empty, stations_of(scenario, coefficients))
            scenario = scenario.replace(vacuum__vacuum=min(vacuum, MOST_VACUUM))
        scenario = scenario.lasting(each)
        replicate = number * len(condition.parts) + nth
        run = simulate(scenario, replicate=replicate, stations=stations_of(scenario, coefficients))
        most = float(run.cells.joined.max())
        if plants:
            values = {u.name: u.at(float(by_name[f"{u.section}.{u.name}"])) for u in made.unknown}
            chance = values.get("emergence", plants.emergence)
            run = emerged(run, chance, values.get("shift", plants.shift))
        parts.append(_summed(measure(tally_of(run, STRETCHES)), scenario.vacuum.vacuum, most))
    values, variances, counts = np.transpose(parts, (1, 0, 2))
    return np.array([values.mean(0), variances.sum(0) / len(parts) ** 2, counts.sum(0)])


def _summed(measured, vacuum, most):
    points = measured.points
    found = np.full((3, len(KEPT)), np.nan)
    for k, key in enumerate(KEPT[:-2]):
        column = BY_KEY[key].bottom or COUNTED.get(key, "spacings")
        without = points[key][1:]
        many = len(without)
        variance = (many - 1) / many * np.sum((without - without.mean()) ** 2)
        found[:, k] = points[key][0], variance, measured.sums[column].sum()
    found[:, -2], found[:, -1] = (vacuum, 0.0, 1.0), (most, 0.0, 1.0)
    return found


def design(table, case, name, points, seed=1):
    """Joint points: inputs of the coefficients, and places of the open inputs.

    Returns
    -------
    ndarray, shape (points, coefficients), and ndarray, shape (points, inputs)
    """
    unknowns, k = inputs_of(case, name), len(table.varied)
    sobol = qmc.Sobol(k + len(unknowns), seed=seed)
    places = sobol.random_base2(int(np.ceil(np.log2(points))))[:points].clip(1e-6, 1 - 1e-6)
    middle = np.array([one.middle for one in table.varied])
    total = np.array([one.total for one in table.varied])
    return table.inputs(middle + total * WIDER * ndtri(places[:, :k])), places[:, k:]


def features(case, name, numbers, places):
    """Inputs of the emulators: coefficients, then open inputs."""
    columns = [
        feature_of(u, p) for u, p in zip(inputs_of(case, name).values(), places.T, strict=True)
    ]
    return np.column_stack([numbers, *columns])


@cache
def program():
    """Digest of the parts of the program that a run uses, apart from comments and layout."""
    digest, root = hashlib.sha256(), Path(metersim.__file__).parent
    for folder in ("files", "machine", "run", "measures"):
        for path in sorted((root / folder).rglob("*.py")):
            digest.update(ast.dump(ast.parse(path.read_text("utf-8"))).encode())
    for path in sorted((root / "data" / "seedlots").glob("*.toml")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def key_of(table, case, name, points, cells):
    """Digest of all that the runs of a condition depend on."""
    made, condition = condition_of(case, name)
    scales = [(v.name, v.transform, v.centre, v.total) for v in table.varied]
    about = (
        program(),
        scales,
        table.fixed,
        repr(condition),
        repr(made and (made.plants, made.unknown)),
    )
    return hashlib.sha256(repr((about, WIDER, points, cells)).encode()).hexdigest()[:20]


def runs_of(table, wanted, *, points, cells, cache_dir, executor=None, say=print):
    """Runs of conditions, from the files of earlier calls where they are there.

    Parameters
    ----------
    table : Table
        Varied coefficients.
    wanted : sequence of (str, str)
        Cases and conditions.
    points, cells : int
        Points of each condition, and cells of each run.
    cache_dir : Path
        Folder of the files.

    Returns
    -------
    dict of (str, str) to (ndarray, ndarray)
        Inputs of the emulators, shape (points, inputs); and results, shape (points, 3, measures).
    """
    cache_dir.mkdir(parents=True, exist_ok=True)
    files = {c: cache_dir / f"{key_of(table, *c, points, cells)}.npz" for c in wanted}
    missing = [c for c in wanted if not files[c].exists()]
    plans = {c: design(table, *c, points) for c in wanted}
    starts = range(0, points, CHUNK)
    jobs = (
        (table, *c, *(part[s : s + CHUNK] for part in plans[c]), s, cells)
        for c in missing
        for s in starts
    )
    results = in_order(run_points, jobs, executor, ahead=8)
    for k, c in enumerate(missing):
        found = np.concatenate([next(results) for _ in starts])
        np.savez_compressed(files[c], found=found)
        say(f"  {k + 1} of {len(missing)}: {c[0]} {c[1]}")
    return {c: (features(*c, *plans[c]), np.load(files[c])["found"]) for c in wanted}


def long_runs(table, case, name, points, cells, executor=None):
    """Long runs at a few points of another design, to hold the emulators against."""
    numbers, places = design(table, case, name, points, seed=2)
    jobs = [(table, case, name, numbers[[k]], places[[k]], 10**6 + k, cells) for k in range(points)]
    found = np.concatenate(list(in_order(partial(run_points), jobs, executor, ahead=8)))
    return features(case, name, numbers, places), found
