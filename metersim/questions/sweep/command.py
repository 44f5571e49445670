"""The command `sweep`: finds the best settings and the acceptable ones.

No run starts before all options are checked.  Finished rows are kept whatever happens.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from itertools import chain

from metersim.files.faults import all_of, bad, whole
from metersim.files.whole import check_writable, write_all
from metersim.measures.indices import check_measure, read_limits
from metersim.questions.shared.effort import (
    MOST_POINTS,
    announce,
    check_memory,
    seconds_for,
)
from metersim.questions.shared.options import (
    changes_of,
    details_option,
    engine_option,
    replicates_of,
    scenario_options,
    seed_of,
    seed_options,
    workers_of,
    workers_option,
)
from metersim.questions.shared.progress import bar
from metersim.questions.sweep.plan import Plan, plan_sweep
from metersim.questions.sweep.points import read_axes
from metersim.questions.sweep.response import PLATEAU, importance, respond
from metersim.questions.sweep.study import run_point, sweep
from metersim.questions.sweep.text import summary
from metersim.run.pool import processes

MOST_ROWS = 1_000_000
POINTS = 64  # of a sample, by default
AHEAD = 4  # submitted runs for each worker, so that none waits for a slow run


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim sweep``."""
    scenario_options(command)
    seed_options(command)
    engine_option(command)
    add = command.add_argument
    add(
        "--vary",
        action="append",
        default=[],
        metavar="KEY=LOW:HIGH:COUNT",
        help="vary a key over a range, or over a list, KEY=A,B,C; may be repeated",
    )
    add(
        "--design",
        choices=("grid", "latin", "sobol"),
        help="every combination (grid, usual), a Latin hypercube, or Sobol' points; the last two "
        "fill the ranges with --points points and need no COUNT",
    )
    add("--points", metavar="N", help="points of --design latin or sobol, or of --importance (64)")
    add(
        "--out",
        required=True,
        metavar="FILE",
        help="write one row a point and replicate, as CSV; its intervals hold sampling error alone",
    )
    add("--resume", action="store_true", help="go on with the rows that FILE holds already")
    add(
        "--mend",
        action="store_true",
        help="with --resume: compute the first changed or damaged row again, and all rows after it",
    )
    workers_option(command)
    add(
        "--response",
        default="per_spacing.quality",
        metavar="MEASURE",
        help="measure to judge by (per_spacing.quality)",
    )
    add(
        "--accept",
        action="append",
        default=[],
        metavar="'MEASURE<=VALUE'",
        help="acceptance limit, in SI or percent, such as 'per_spacing.miss<=3%%', or a standard: "
        "db32t1023, nyt1628, onal1995; may be repeated (onal1995, class 'good')",
    )
    add(
        "--plateau",
        metavar="X",
        help="largest distance from the best that is as good: percentage points of a share, "
        "percent of any other measure (0.5)",
    )
    add(
        "--importance",
        action="store_true",
        help="say how much of the variance each key explains; takes N*(keys + 2) points",
    )
    add("--figure", metavar="FILE", help="draw the response: .png, .svg or .pdf")
    add("--yes", action="store_true", help="allow more than a million runs")
    details_option(command, "print all ranges, limits and notes below the answer")


def answer(options: argparse.Namespace) -> str:
    """Report of a sweep with these options.

    Raises
    ------
    BadInput
        When an option is wrong, or rows cannot be written.
    KeyboardInterrupt
        When interrupted; its message says which rows are kept and how to resume.
    """
    seed, replicates, points, workers, limits, plateau, *_ = all_of(
        lambda: seed_of(options),
        lambda: replicates_of(options),
        lambda: (
            POINTS if options.points is None else whole("--points", options.points, 2, MOST_POINTS)
        ),
        lambda: workers_of(options),
        lambda: all_of(*(lambda text=text: read_limits(text) for text in options.accept)),
        lambda: _plateau(options.plateau),
        lambda: read_axes(options.vary),
        lambda: check_measure("--response", options.response),
        lambda: check_writable(
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
    if options.mend and not options.resume:
        raise bad("--mend", "", "goes with --resume")
    if plan.rows > MOST_ROWS and not options.yes:
        message = f"asks for {plan.rows:,} runs; if that is meant, add --yes"
        raise bad("--vary", "", message)
    check_memory("--vary", plan.rows * 8.0 * len(plan.columns))
    seconds = seconds_for(plan.rows * plan.base.passages, plan.rows, options.engine)
    announce(seconds, workers, "finished rows are kept")
    with _watched(plan, options.out) as on_row:
        with processes(workers, at_once=options.workers is not None) as executor:
            result = sweep(
                plan,
                executor=executor,
                ahead=AHEAD * workers,
                out=options.out,
                resume=options.resume,
                mend=options.mend,
                on_row=on_row,
                run=partial(run_point, engine=options.engine),
            )
        response = respond(result, options.response, [*chain(*limits)], plateau)
        shares = importance(result, options.response) if options.importance else None
        if options.figure:
            from metersim.questions.shared.page import encoded
            from metersim.questions.sweep.figure import sweep_figure

            drawn = sweep_figure(response, options.units)
            write_all([(options.figure, encoded(drawn, options.figure))])
        return summary(response, shares, options.units, options.details)


def _design(options: argparse.Namespace) -> str:
    """The requested design; raises `BadInput` when it contradicts other options."""
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
    """Show progress on a terminal; an interrupt reports the rows that are kept."""
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
