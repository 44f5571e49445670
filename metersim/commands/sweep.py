"""Sweeps: where in a space of settings the result is best, and what is acceptable.

Nothing is begun before all options are found right, and what is finished is kept whatever
happens.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

from metersim import outputs
from metersim.commands.shared import (
    bar,
    changes_of,
    replicates_of,
    seed_of,
    workers_of,
)
from metersim.faults import all_of, bad, whole
from metersim.parallel import processes
from metersim.reports.sweep import report
from metersim.studies.plan import Plan, plan_sweep
from metersim.studies.points import read_axes
from metersim.studies.response import (
    PLATEAU,
    check_measure,
    importance,
    read_limit,
    respond,
)
from metersim.studies.sweep import run_point, sweep

MOST_ROWS = 1_000_000
POINTS = 64  # of a sample, when nothing is said
AHEAD = 4  # runs in flight for each worker, so that none waits for a slow one


def answer(options: argparse.Namespace) -> str:
    """Sweep as the options of the command say, and tell the result.

    Raises
    ------
    BadInput
        When anything is wrong with them, or rows cannot be written.
    KeyboardInterrupt
        When interrupted, with what is kept and how to go on.
    """
    seed, replicates, points, workers, limits, plateau, *_ = all_of(
        lambda: seed_of(options),
        lambda: replicates_of(options),
        lambda: POINTS if options.points is None else whole("--points", options.points, 2),
        lambda: workers_of(options),
        lambda: all_of(*(lambda text=text: read_limit(text) for text in options.limit)),
        lambda: _plateau(options.plateau),
        lambda: read_axes(options.vary),
        lambda: check_measure("--response", options.response),
        lambda: outputs.check_writable(
            [("--out", options.out), ("--figure", options.figure)], [options.scenario]
        ),
    )
    plan = plan_sweep(
        options.scenario,
        options.vary,
        design=_design(options),
        points=points,
        seed=seed,
        replicates=replicates,
        changes=changes_of(options),
    )
    if plan.rows > MOST_ROWS and not options.yes:
        message = f"asks for {plan.rows:,} runs; if that is meant, add --yes"
        raise bad("--vary", "", message)
    with _watched(plan, options.out) as on_row:
        with processes(workers) as executor:
            result = sweep(
                plan,
                executor=executor,
                ahead=AHEAD * workers,
                out=options.out,
                resume=options.resume,
                on_row=on_row,
                run=partial(run_point, engine=options.engine),
            )
        response = respond(result, options.response, limits, plateau)
        shares = importance(result, options.response) if options.importance else None
        if options.figure:
            from metersim.figures import encoded, sweep_figure

            drawn = sweep_figure(response, options.units)
            outputs.write_all([(options.figure, encoded(drawn, options.figure))])
        return report(response, shares, options.units)


def _design(options: argparse.Namespace) -> str:
    """The design that is asked for; raises `BadInput` for one that does not go with the rest."""
    if options.importance and options.design in ("grid", "latin"):
        raise bad("--design", options.design, "does not go with --importance; leave it out")
    design = "importance" if options.importance else options.design or "grid"
    if design == "grid" and options.points is not None:
        message = "a grid has the points of --vary; add --design latin or sobol, or leave it out"
        raise bad("--points", options.points, message)
    return design


def _plateau(word: str | None) -> float:
    if word is None:
        return PLATEAU
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not 0 <= value <= 100:
        raise bad("--plateau", word, "must be a number from 0 to 100")
    return value


@contextmanager
def _watched(plan: Plan, out: str) -> Iterator[Callable[[int], None]]:
    """Shows progress on a terminal, and says what is kept when it is interrupted."""
    done = 0
    with bar(plan.rows, "run") as show:

        def on_row(rows: int) -> None:
            nonlocal done
            done = rows
            show(rows)

        try:
            yield on_row
        except KeyboardInterrupt:
            if not done:
                raise
            message = f"{done:,} of {plan.rows:,} rows are kept in {out}; go on with --resume"
            raise KeyboardInterrupt(message) from None
