"""How far each coefficient moves the result: ``python -m tests.validation.sensitivity``.

Writes ``metersim/data/sensitivity.csv``, which ``metersim list coefficients`` shows, and prints
it.  Run it whenever a coefficient or the model changes.  All runs share their draws, which mostly
cancel in a difference.
"""

import dataclasses
from functools import cache

import numpy as np

from metersim import __version__
from metersim.files.fields import specs
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.intervals import jackknife
from metersim.measures.tally import tallied
from metersim.questions.list.command import MOVED, SENSITIVITY
from metersim.questions.shared.words import aligned

CELLS = 60_000
STEP = 0.2  # of a coefficient's value, to either side
SEED = 1
STRETCHES = 48
POINTS = 100  # in a share
DIGITS = 3


@cache
def scenario_of(name, cells):
    """A shipped scenario over so many cells; its hopper holds a quarter more seeds than `CELLS`."""
    return load_scenario(name).lasting(cells)


def moved(name, share):
    """The usual coefficients with one moved by a share of its value, kept inside its range."""
    spec = specs(Coefficients)[name]
    value = min(max((1 + share) * getattr(USUAL, name), spec.low), spec.high)
    return dataclasses.replace(USUAL, **{name: value})


def points(name, coefficients, cells, seed):
    """Measures of a shipped scenario: of the whole run, then without each stretch in turn."""
    scenario = scenario_of(name, cells)
    stations = stations_of(scenario, coefficients)
    return measure(tallied(scenario, seed=seed, stretches=STRETCHES, stations=stations)).points


def moves(name, cells=CELLS, seed=SEED):
    """How far a coefficient moves each of `MOVED`, and the standard error of that, in points."""
    found = {
        where: [points(where, moved(name, share), cells, seed) for share in (-STEP, STEP)]
        for where in {where for where, _ in MOVED.values()}
    }
    halves = [
        POINTS * (found[where][1][key] - found[where][0][key]) / 2 for where, key in MOVED.values()
    ]
    errors = [np.sqrt(jackknife(half[1:])) for half in halves]
    return np.array([half[0] for half in halves]), np.array(errors)


def main():
    """Work out all rows, write and print them."""
    found = {name: moves(name) for name in specs(Coefficients)}
    error = max(errors.max() for _, errors in found.values())
    head = (
        f"# Change, in points, when a coefficient rises by {STEP:.0%} of its value: half of that "
        f"from {STEP:.0%} below to {STEP:.0%} above it, kept inside what is allowed; "
        f"{' and '.join(sorted({where for where, _ in MOVED.values()}))}, {CELLS:,} cells each on "
        f"common random numbers, standard error up to {error:.2f}; metersim {__version__}"
    ).replace("%", " %")
    rows = [("coefficient", *MOVED)]
    rows += [
        (name, *(f"{value:z.{DIGITS}f}" for value in values)) for name, (values, _) in found.items()
    ]
    lines = [head, *(",".join(row) for row in rows)]
    SENSITIVITY.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(aligned(rows))


if __name__ == "__main__":
    main()
