"""What the fit leaves: draws of an unknown machine as data, and prior beside posterior."""

from __future__ import annotations

import csv
import io

import numpy as np

from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.tally import tally_of
from metersim.run.simulation import simulate
from tests.validation.fit.predictive import herded, machines
from tests.validation.fit.runs import BENCH, STRETCHES, condition_of

SHIPPED = 256  # draws of an unknown machine
SHOWN = 6000  # cells of a run that shows what a machine does
NOT_LEARNED = 0.8  # posterior SD over that of the prior, from which on nothing was learned
ERRORS = ("share", "spread")  # columns of the discrepancies, as the reader of the draws names them
HEAD = (
    "hyperparameter",
    "scale",
    "prior centre",
    "prior SD",
    "posterior centre",
    "posterior SD",
    "SD over prior",
    "learned",
    "between-machine SD",
)


def machine_draws(predictor, h, seed=1):
    """Inputs of the emulators and hyperparameters of unknown machines, best order first."""
    inputs = machines(predictor, h, seed)
    hyper = predictor.table.read(h)
    both = np.column_stack([inputs, np.log(hyper.discrepancy), np.log(hyper.relative)])
    order = herded(both, outcomes([predictor.table.coefficients(row) for row in inputs]))
    return inputs[order], h[order]


def outcomes(drawn):
    """What machines show on the default bench, in columns.

    Returns
    -------
    ndarray, shape (machines, 3)
        Angles of the shares of skips and doubles, and the logarithm of the precision.
    """
    _, condition = condition_of(*BENCH)
    scenario = condition.parts[0].lasting(SHOWN)
    found = []
    for coefficients in drawn:
        run = simulate(scenario, stations=stations_of(scenario, coefficients))
        shown = measure(tally_of(run, STRETCHES)).points
        angles = [np.arcsin(np.sqrt(shown[key][0])) for key in ("cells.skip", "cells.double")]
        found.append([*angles, np.log(shown["precision"][0])])
    return np.array(found)


def posterior_csv(table, inputs, h, made):
    """Text of the file of draws: a column for each varied coefficient and discrepancy, in SI."""
    text = io.StringIO()
    text.writelines(f"# {line}\n" for line in made)
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*(one.name for one in table.varied), *ERRORS])
    hyper = table.read(h)
    for row, share, spread in zip(inputs, hyper.discrepancy, hyper.relative, strict=True):
        coefficients = table.coefficients(row)
        values = [getattr(coefficients, one.name) for one in table.varied]
        writer.writerow([f"{value:.5g}" for value in (*values, share, spread)])
    return text.getvalue()


def learned(table, h):
    """Rows of prior beside posterior, one for each hyperparameter.

    Centres are in the coefficient's unit.  SDs are on its own scale: of the logarithm or logit for
    all but signed ones.
    """
    means, sds = h.mean(0), h.std(0)
    spreads = table.read(h).spreads
    rows = []
    for k, one in enumerate(table.varied):
        rows.append(
            (
                one.name,
                one.transform,
                one.centre,
                one.sd,
                float(one.back(one.middle + one.sd * means[k])),
                one.sd * sds[k],
                sds[k],
                _word(sds[k]),
                float(np.median(spreads[:, k])),
            )
        )
    k = len(table.varied)
    others = [(table.varied[i].spread, table.varied[i].free) for i in table.free]
    for j, (centre, sd) in enumerate([*others, table.discrepancy, table.relative], k):
        name, middle = table.names[j], centre * np.exp(sd * means[j])
        rows.append((name, "log", centre, sd, middle, sd * sds[j], sds[j], _word(sds[j]), 0.0))
    return rows


def _word(ratio):
    return "yes" if ratio <= NOT_LEARNED else "no"


def learned_csv(rows):
    """CSV of `learned`."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([name.replace(" ", "_").replace("-", "_") for name in HEAD])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def learned_markdown(rows):
    """Markdown of `learned`."""
    lines = ["| " + " | ".join(HEAD) + " |", "|---" * len(HEAD) + "|"]
    for row in rows:
        cells = [_cell(value) for value in row]
        cells[7] = "yes" if row[7] == "yes" else "not learned"
        cells[8] = cells[8] if row[8] else ""
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def _cell(value):
    return value if isinstance(value, str) else f"{value:.3g}"
