"""The command that holds the model against published cases: options in, text and files out."""

from __future__ import annotations

import argparse
import inspect
import sys
from concurrent.futures import BrokenExecutor
from pathlib import Path

from tqdm import tqdm

from metersim import outputs
from metersim.faults import all_of, bad, whole
from metersim.parallel import MOST_WORKERS, processes
from metersim.reading import is_text
from metersim.reports.evidence import evidence_csv, evidence_markdown, evidence_text
from metersim.studies import verdicts
from metersim.studies.evidence import Evidence, evidence, load_cases

FILES = ("evidence.md", "evidence.csv", "evidence_levels.png", "evidence_plateaus.png")


def run_evidence(options: argparse.Namespace, draws: int) -> str:
    """Hold the model against cases as the options of the command say, and tell the result.

    Raises
    ------
    BadInput
        When anything is wrong with them, or files cannot be written.
    """
    if options.rules:
        return inspect.getdoc(verdicts) or ""
    seed, workers, cases, _ = all_of(
        lambda: whole("--seed", options.seed, 0),
        lambda: whole("--workers", options.workers, 1, MOST_WORKERS),
        lambda: load_cases(options.cases),
        lambda: _check_folder(options.out),
    )
    watcher = sys.stderr is not None and sys.stderr.isatty()
    total = draws * sum(len(case.conditions) for case in cases)
    bar = tqdm(total=total, unit="draw", leave=False, disable=not watcher)
    try:
        with bar, processes(workers) as executor:
            found = evidence(
                cases,
                draws=draws,
                seed=seed,
                executor=executor,
                on_run=lambda done: bar.update(done - bar.n),
            )
    except BrokenExecutor:
        message = "a worker was ended from outside, perhaps for want of memory; nothing was written"
        raise bad("--workers", options.workers, message) from None
    if options.out:
        _write(found, Path(options.out))
    return evidence_text(found)


def _check_folder(out: str | None) -> None:
    """Refuse a folder that is not there, or cannot take the files."""
    if out is None:
        return
    if not is_text(out) or not Path(out).is_dir():
        raise bad("--out", out, "there is no such folder; make it first")
    outputs.check_writable(("--out", str(Path(out) / name)) for name in FILES)


def _write(found: Evidence, folder: Path) -> None:
    """Table, numbers and pictures, all or none."""
    from metersim.figures import encoded, levels_figure, plateaus_figure

    made: list[tuple[str, str | bytes]] = [
        (str(folder / FILES[0]), evidence_markdown(found)),
        (str(folder / FILES[1]), evidence_csv(found.outcomes)),
    ]
    for name, draw in zip(FILES[2:], (levels_figure, plateaus_figure), strict=True):
        figure = draw(found)
        if figure is not None:
            path = str(folder / name)
            made.append((path, encoded(figure, path)))
    outputs.write_all(made)
