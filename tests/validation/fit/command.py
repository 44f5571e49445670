"""Fit machines to the published cases, and write what comes out.

``python -m tests.validation.fit`` runs the model at many points (kept in a folder, so that a second
fit does not run them again), emulates its measures, fits the hyperparameters, and fits them again
without each source.  It writes `posterior.csv`, `learned.csv`, `learned.md`, `unseen.csv` and
`sources.md` into a folder, and prints how long each step took.
"""

from __future__ import annotations

import argparse
import time
from functools import partial
from pathlib import Path

import numpy as np

from metersim.questions.shared.unseen import BLOCKS, DRAWS, write_unseen
from metersim.run.parallel import in_order
from metersim.run.pool import processes
from tests.validation.fit.emulator import emulate
from tests.validation.fit.likelihood import Predictor, needed
from tests.validation.fit.posterior import Posterior
from tests.validation.fit.predictive import bench_predictor, levels_of, mixed
from tests.validation.fit.recovery import coverage, recover
from tests.validation.fit.report import (
    SHIPPED,
    learned,
    learned_csv,
    learned_markdown,
    machine_draws,
    posterior_csv,
)
from tests.validation.fit.runs import BENCH, KEPT, RATIOS, long_runs, runs_of
from tests.validation.fit.sources import sources_of
from tests.validation.fit.table import FORMS, TABLE

LONG, FEW = 20_000, 3  # cells of a long run, and points of each condition
LEAST_DRAWN = BLOCKS * DRAWS


def emulators_of(sources, table, options, executor, say=print):
    """Emulators of all measures that the sources and the default bench need."""
    wanted = {p: keys for source in sources for p, keys in needed(source).items()}
    wanted[BENCH] = ("cells.single",)
    runs = runs_of(
        table,
        list(wanted),
        points=options.points,
        cells=options.cells,
        cache_dir=options.cache,
        executor=executor,
        say=say,
    )
    many = len(table.varied)
    jobs = [(*runs[p], key, many) for p, keys in wanted.items() for key in keys]
    made = in_order(_emulate, jobs, executor, ahead=4)
    keys = [(*p, key) for p, keys in wanted.items() for key in keys]
    return dict(zip(keys, made, strict=True))


def _emulate(job):
    return emulate(*job)


def errors_markdown(emulators):
    """Table of the emulators' errors."""
    lines = ["| case | condition | measure | error of ln or logit |", "|---|---|---|---|"]
    for (case, condition, key), one in emulators.items():
        lines.append(f"| {case} | {condition} | {key} | {one.error:.2f} |")
    return "\n".join(lines) + "\n"


def checked(emulators, table, executor, say=print):
    """Hold emulators against long runs at a few points that they have not seen."""
    found = {}
    for place in dict.fromkeys(key[:2] for key in emulators):
        inputs, results = long_runs(table, *place, FEW, LONG, executor)
        for (*where, key), one in emulators.items():
            if tuple(where) == place:
                long, short = results[:, 0, KEPT.index(key)], one(inputs)
                if key in RATIOS:  # in points of the share
                    found.setdefault(key, []).extend(100 * (short - long))
                else:
                    found.setdefault(key, []).extend(100 * np.log(short / long))
    for key, misses in found.items():
        ends = np.nanquantile(np.abs(misses), [0.5, 0.9])
        unit = "points" if key in RATIOS else "%"
        say(f"  {key}: median {ends[0]:.2f}, 90 % below {ends[1]:.2f} {unit}, n = {len(misses)}")


def unseen_by(posterior, predictor):
    """Levels of a source from a fit without it, the effective number of draws, and the mode."""
    name = predictor.source.name
    mode = posterior.without(name)
    drawn = posterior.draws(LEAST_DRAWN, mode=mode, without=name, proposed=LEAST_DRAWN)
    return levels_of(predictor, drawn.h), drawn.effective, mode


def main():
    options = _options()
    options.out.mkdir(parents=True, exist_ok=True)
    begun = time.time()

    def say(text):
        print(f"[{(time.time() - begun) / 60:5.1f} min] {text}", flush=True)

    table = TABLE.form(options.form)
    sources = sources_of(open_all=options.open or options.fit_all, fit_all=options.fit_all)
    with processes(options.processes) as executor:
        say(f"{len(sources)} sources, {sum(len(one.conditions) for one in sources)} conditions")
        emulators = emulators_of(sources, table, options, executor, say)
        (options.out / "emulators.md").write_text(errors_markdown(emulators), "utf-8")
        if not options.unchecked:
            say("emulators against long runs")
            checked(emulators, table, executor, say)
        if options.recovery:
            recovered(sources, table, emulators, options.recovery, executor, say)
            return
        predictors = [Predictor(one, table, emulators) for one in sources]
        posterior = Posterior(predictors, table, points=options.importance)
        effective = posterior.fit()
        say(f"mode found, log posterior {-posterior.value(posterior.mode):.2f}")
        (options.out / "sources.md").write_text(_by_source(posterior, effective), "utf-8")
        drawn = posterior.draws(SHIPPED, proposed=1024)
        say(f"{drawn.effective:.0f} effective draws of {1024}")
        inputs, h = machine_draws(bench_predictor(table, emulators), drawn.h)
        made = _made(options, posterior, drawn)
        _write(options, "posterior.csv", posterior_csv(table, inputs, h, made))
        rows = learned(table, drawn.h)
        _write(options, "learned.csv", learned_csv(rows))
        _write(options, "learned.md", learned_markdown(rows))
        print(learned_markdown(rows), flush=True)
        levels = []
        for one, (own, many, mode) in zip(
            predictors, in_order(partial(unseen_by, posterior), predictors, executor), strict=True
        ):
            levels += own
            moved = np.abs(mode - posterior.mode)
            k = int(np.argmax(moved))
            most = f"{table.names[k]} by {(mode - posterior.mode)[k]:+.2f} prior SDs"
            say(f"without {one.source.name}: {many:.0f} effective draws; moves most: {most}")
        levels = with_mixture(predictors, levels)
        _write(options, "unseen.csv", write_unseen(levels))
    say("done")


def with_mixture(predictors, levels):
    """Levels, those of crops without another source mixed with the plain distribution."""
    crops = {one.source.name: one.source.crops for one in predictors}
    found = []
    for one in levels:
        others = set().union(*(own for name, own in crops.items() if name != one.laboratory))
        own = next(p.source for p in predictors if p.source.name == one.laboratory)
        parts = {c.parts[0].lot.crop for (case, _), c in own.conditions.items() if case == one.case}
        found.append(one if parts <= others else mixed(one, levels))
    return found


def recovered(sources, table, emulators, many, executor, say=print):
    """Print the coverage of simulated data sets, and of fits that deny machines a spread."""
    sources = [one for one in sources if one.fitted]
    for label, own in (("the model", None), ("no spread", table.without_spread())):
        call = partial(recover, sources, table, emulators, fit_table=own)
        found = coverage(in_order(call, range(many), executor, ahead=4))
        said = ", ".join(f"{kind} {share:.0%} of {n}" for kind, (share, n) in found.items())
        say(f"recovery, {label}, {many} data sets, 90 % intervals hold: {said}")


def _by_source(posterior, effective):
    head = (
        "| source | log likelihood | chance of an outlier | effective points |\n|---|---|---|---|\n"
    )
    rows = [
        f"| {one.source.name} | {one(posterior.mode):.1f} | {one.outlying(posterior.mode):.0%} "
        f"| {effective[one.source.name]:.0f} |\n"
        for one in posterior.sources
    ]
    return head + "".join(rows)


def _made(options, posterior, drawn):
    return (
        f"{SHIPPED} draws of an unknown machine, by python -m tests.validation.fit.",
        "Each is a draw of the hyperparameters, then of a machine with its deviations, taken by "
        "its acceptance on the default maize bench.",
        f"Fitted to {len(posterior.sources)} sources: {', '.join(posterior.names)}.",
        f"{options.points} points of each condition; {drawn.effective:.0f} effective draws of the "
        "hyperparameters.  The first 8, 16 or 32 represent all.",
        "share: SD of the error of a share of 3 %; spread: relative SD of the error of a spread.",
    )


def _write(options, name, text):
    (options.out / name).write_text(text, "utf-8")
    if options.ship and name in ("posterior.csv", "unseen.csv"):
        (Path("metersim/data") / name).write_text(text, "utf-8")


def _options():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=2048, help="points of each condition")
    parser.add_argument("--cells", type=int, default=800, help="cells of each run")
    parser.add_argument("--importance", type=int, default=2000, help="latent points of a source")
    parser.add_argument("--cache", type=Path, default=Path("build/fit/runs"))
    parser.add_argument("--out", type=Path, default=Path("build/fit"))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--open", action="store_true", help="predict cases held back")
    parser.add_argument("--fit-all", action="store_true", help="fit cases held back as well")
    parser.add_argument("--ship", action="store_true", help="write into metersim/data as well")
    parser.add_argument("--form", choices=sorted(FORMS), default="", help="another form")
    parser.add_argument("--unchecked", action="store_true", help="leave out the long runs")
    parser.add_argument("--recovery", type=int, default=0, help="simulated data sets; fits no real")
    return parser.parse_args()
