"""Fit the few free coefficients to the published cases.

``python -m tests.validation.calibrate`` prints the fit with its uncertainty, and then,
for every table, what the rest of them predicts for it.  Nothing is written: values that are taken
over are typed into `metersim.machine.coefficients` by hand.

Criterion: least squares with a soft loss over all rows.  A level counts by its distance from the
mean over draws, in units of a tolerance and the SD over draws; an order, a bound or a plateau
counts only by how far it is missed.  Luck and draws are common to all evaluations.  A weak prior
holds what no row determines near a first rough fit.
"""

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.optimize import least_squares

from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import predict
from metersim.questions.shared.cases import load_case, shipped_cases

DRAWS = 16
NOT_FITTED = ("liu2017", "ankara_pickup")  # orders that always hold, and what no run enters
TOLERANCE = {  # of levels, in SI: what a good prediction may miss
    "per_spacing.quality": 0.01,
    "per_spacing.multiple": 0.01,
    "per_spacing.miss": 0.01,
    "precision": 0.01,
    "spacing.mean": 0.003,
    "cells.skip": 0.001,
}
UNIT = 0.01  # of published values: percent, and centimetres
STEP = 0.06  # of ln(coefficient), for slopes


@dataclass(frozen=True)
class Free:
    """A coefficient that is fitted: centre and SD of the prior of its logarithm, and bounds.

    The fit begins at the model's own value, or at `begin`.
    """

    name: str
    centre: float
    low: float
    high: float
    prior: float = 1.0
    begin: float = 0.0

    @property
    def start(self):
        return self.begin or getattr(USUAL, self.name)


SHARED = (
    Free("eccentricity", 0.50, 0.2, 0.8),
    Free("push_spread", 0.25, 0.1, 0.6, 0.5),
    Free("contacts", 0.7, 0.1, 3.0, 0.7),
    Free("landing_scatter", 0.008, 0.003, 0.02, 0.4),
    Free("wear_contacts", 2.5, 0.8, 5.0, 0.7),
    Free("hop", 0.012, 0.003, 0.06, 0.4),
)
FORMS = {
    "exit": (Free("draw_slowness", 2.7, 0.3, 15.0), *SHARED),
}


def stations_maker(free, logs):
    """What makes the stations of a scenario at some values of the free coefficients."""
    values = {one.name: float(math.exp(x)) for one, x in zip(free, logs, strict=True)}
    return partial(stations_of, coefficients=Coefficients(**values))


def statements(predicted):
    """What each row of a case says of a prediction: (row, kind, miss, SD over draws)."""
    found = []
    for row in predicted.case.rows:
        if row.kind in ("level", "same") and row.measure in TOLERANCE:
            values = predicted.total(row.terms)[:, 0]
            aim = row.number("published") * UNIT if row.kind == "level" else 0.0
            miss = (values.mean() - aim) / TOLERANCE[row.measure]
            found.append((row.name, "level", miss, values.std() / TOLERANCE[row.measure]))
        elif row.kind in ("order", "bound") and row.measure != "most_on_a_hole":
            values = predicted.total(row.terms)[:, 0]
            if "above" in row.stated:
                values = values - row.number("above") * UNIT
            if "below" in row.stated:
                values = row.number("below") * UNIT - values
            found.append((row.name, "order", values.mean(), values.std() + 5e-4))
        elif row.kind == "plateau":
            found += plateau(row, predicted)
    return found


def plateau(row, predicted):
    """How far the mean qualities over vacuums miss a plateau about the published one."""
    points = predicted.case.along(row.stated["of"])
    means = np.array(
        [predicted.values[c.name]["per_spacing.quality"][:, 0].mean() for _, c in points]
    )
    weights = np.exp((means - means.max()) / 1e-3)
    lost = (means @ weights / weights.sum() - means) * 100
    at = [vacuum for vacuum, _ in points].index(row.number("published"))
    yield f"{row.name}: lost", "miss", max(lost[at] - 0.3, 0) / 0.3, 0.0
    yield f"{row.name}: at a third", "miss", max(1.5 - lost[0], 0) / 0.3, 0.0
    yield f"{row.name}: at three times", "miss", max(1.3 - lost[-1], 0) / 0.3, 0.0


class Fit:
    """Misses of all rows as a function of the logarithms of the free coefficients."""

    def __init__(self, form, executor):
        self.free, self.executor = FORMS[form], executor
        every = [load_case(name) for name in shipped_cases() if name not in NOT_FITTED]
        self.cases = [case for case in every if not case.held_back]
        self.start = np.log([one.start for one in self.free])
        self.bounds = np.log([[one.low for one in self.free], [one.high for one in self.free]])
        self.sd = {}
        self.last = None, None  # where all was worked out last, and what came out

    def rows(self, logs, cases=None):
        """Statements by case and row."""
        made = stations_maker(self.free, logs)
        found = predict(cases or self.cases, draws=DRAWS, stations=made, executor=self.executor)
        return {(p.case.name, name): rest for p in found for name, *rest in statements(p)}

    def residuals(self, rows):
        """One number a row; SDs over draws are those of the start."""
        self.sd = self.sd or {key: sd for key, (_, _, sd) in rows.items()}
        return np.array([self._residual(key, *row) for key, row in rows.items()])

    def _residual(self, key, kind, miss, _):
        sd = self.sd[key]
        if kind == "level":
            return miss / math.hypot(1.0, sd)
        return max(1.64 - miss / sd, 0.0) if kind == "order" else miss

    def prior(self, logs):
        centres = np.log([one.centre for one in self.free])
        return (logs - centres) / [one.prior for one in self.free]

    def __call__(self, logs):
        soft = self.residuals(self.rows(logs))
        soft = np.sign(soft) * np.sqrt(2 * (np.sqrt(1 + soft * soft) - 1))
        found = np.concatenate([soft, self.prior(logs)])
        print(f"  {found @ found:8.3f} ", *(f"{x:.4g}" for x in np.exp(logs)), flush=True)
        self.last = logs.copy(), found
        return found

    def slopes(self, logs):
        """Derivatives of all numbers, from steps that luck does not drown."""
        where, here = self.last
        if where is None or not np.array_equal(where, logs):
            here = self(logs)
        rows = []
        for k in range(len(logs)):
            there = logs.copy()
            there[k] += STEP if logs[k] + STEP < self.bounds[1][k] else -STEP
            rows.append((self(there) - here) / (there[k] - logs[k]))
        return np.array(rows).T


def main(form):
    with ProcessPoolExecutor(2) as executor:
        fit = Fit(form, executor)
        print(*(one.name for one in fit.free))
        found = least_squares(
            fit, fit.start, jac=fit.slopes, bounds=fit.bounds, max_nfev=8, ftol=0.01, xtol=0.01
        )
        information = found.jac.T @ found.jac
        sds = np.sqrt(np.diag(np.linalg.inv(information)))
        print(f"\ncriterion {2 * found.cost:.2f} over {len(found.fun)} numbers, form '{form}'")
        for one, x, sd in zip(fit.free, found.x, sds, strict=True):
            low, high = np.exp([x - 1.64 * sd, x + 1.64 * sd])
            print(f"{one.name:18} {math.exp(x):8.4g}  90 %: {low:.3g} to {high:.3g}")
        rows = fit.rows(found.x)
        keys = list(rows)
        for case in fit.cases:
            leave_out(fit, found, keys, case, rows)


def leave_out(fit, found, keys, case, rows):
    """What the other tables predict for one: a Gauss-Newton step without it, and a run there."""
    kept = np.array([name != case.name for name, _ in keys] + [True] * len(fit.free))
    slopes = found.jac[kept]
    step = -np.linalg.solve(slopes.T @ slopes, slopes.T @ found.fun[kept])
    logs = np.clip(found.x + step, *fit.bounds)
    moved = ", ".join(
        f"{one.name} x{math.exp(s):.2f}"
        for one, s in zip(fit.free, logs - found.x, strict=True)
        if abs(s) > 0.05
    )
    print(f"\nwithout {case.name}: {moved or 'nothing moves by more than 5 %'}")
    without = fit.rows(logs, [case])
    for key, row in without.items():
        print(f"  {key[1]:60} {show(rows[key]):>22} {show(row):>22}")


def show(row):
    kind, miss, sd = row
    if kind == "level":
        return f"off by {miss:+.2f} tolerances"
    return f"{miss / sd:.1f} SD on its side" if kind == "order" else f"missed by {miss:.2f}"


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "exit")
