"""Holds the model against published cases."""

from __future__ import annotations

import argparse
import inspect
from pathlib import Path

from metersim import outputs
from metersim.commands.shared import bar, crew, draws_of, seed_of, workers_of
from metersim.faults import all_of, bad
from metersim.reading import is_text
from metersim.reports.evidence import evidence_csv, evidence_markdown, evidence_text
from metersim.studies.published import verdicts
from metersim.studies.published.evidence import Evidence, evidence, load_cases

FILES = ("evidence.md", "evidence.csv", "evidence_levels.png", "evidence_plateaus.png")


def answer(options: argparse.Namespace) -> str:
    """Hold the model against cases as the options of the command say, and tell the result.

    Raises
    ------
    BadInput
        When anything is wrong with them, or files cannot be written.
    """
    if options.rules:
        return inspect.getdoc(verdicts) or ""
    draws, seed, workers, cases, _ = all_of(
        lambda: draws_of(options),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: load_cases(options.cases),
        lambda: _check_folder(options.out),
    )
    total = draws * sum(len(case.conditions) for case in cases)
    with bar(total, "draw") as show, crew(workers) as executor:
        found = evidence(cases, draws=draws, seed=seed, executor=executor, on_run=show)
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
