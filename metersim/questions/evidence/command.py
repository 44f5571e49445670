"""The command `evidence`: compares the model with published cases."""

from __future__ import annotations

import argparse
import inspect
from pathlib import Path

from metersim.files.faults import all_of, bad
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import is_text
from metersim.questions.evidence import verdicts
from metersim.questions.evidence.predictions import DRAWS
from metersim.questions.evidence.scoretext import score_lines
from metersim.questions.evidence.study import Evidence, evidence, load_cases, shipped_score
from metersim.questions.evidence.text import (
    evidence_csv,
    evidence_json,
    evidence_markdown,
    score_csv,
    score_head,
    summary,
)
from metersim.questions.shared.options import (
    crew,
    details_option,
    draws_of,
    draws_option,
    seed_of,
    workers_of,
    workers_option,
)
from metersim.questions.shared.progress import bar

FILES = (
    "evidence.md",
    "evidence.csv",
    "evidence.json",
    "score.csv",
    "evidence_levels.png",
    "evidence_plateaus.png",
)


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim evidence``."""
    command.add_argument(
        "cases",
        nargs="*",
        metavar="CASE",
        help="case files, or names of 'list cases' (all)",
    )
    command.add_argument(
        "--out",
        metavar="FOLDER",
        help="write table, numbers and pictures into it; must be there",
    )
    command.add_argument(
        "--seed", default="1", metavar="N", help="random seed of draws and runs (1)"
    )
    workers_option(command)
    command.add_argument(
        "--rules", action="store_true", help="say what counts as agreement, and stop"
    )
    details_option(command, "print every published row with its prediction and verdict")
    draws_option(command, "what a source does not state, each with a run", DRAWS)


def answer(options: argparse.Namespace) -> str:
    """Report of a comparison with published cases with these options.

    Raises
    ------
    BadInput
        When an option is wrong, or a file cannot be written.
    """
    if options.rules:
        return "\n".join([*score_lines(shipped_score()), "", inspect.getdoc(verdicts) or ""])
    draws, seed, workers, cases, _ = all_of(
        lambda: draws_of(options, DRAWS),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: load_cases(options.cases),
        lambda: _check_folder(options.out),
    )
    total = draws * sum(len(case.conditions) for case in cases)
    with bar(total, "draw") as show, crew(workers, options.workers) as executor:
        found = evidence(cases, draws=draws, seed=seed, executor=executor, on_run=show)
    if options.out:
        _write(found, Path(options.out))
    return summary(found, options.details)


def _check_folder(out: str | None) -> None:
    """Refuse a missing folder, or one that cannot take the files."""
    if out is None:
        return
    if not is_text(out) or not Path(out).is_dir():
        raise bad("--out", out, "there is no such folder; make it first")
    check_writable(("--out", str(Path(out) / name)) for name in FILES)


def _write(found: Evidence, folder: Path) -> None:
    """Write the table, the numbers and the figures, all or none."""
    from metersim.questions.evidence.figure import levels_figure, plateaus_figure
    from metersim.questions.shared.page import encoded

    made: list[tuple[str, str | bytes]] = [
        (str(folder / FILES[0]), f"{score_head(found)}\n{evidence_markdown(found)}"),
        (str(folder / FILES[1]), evidence_csv(found.outcomes)),
        (str(folder / FILES[2]), evidence_json(found)),
    ]
    if found.score:
        made.append((str(folder / FILES[3]), score_csv(found)))
    for name, draw in zip(FILES[4:], (levels_figure, plateaus_figure), strict=True):
        figure = draw(found)
        if figure is not None:
            path = str(folder / name)
            made.append((path, encoded(figure, path)))
    write_all(made)
