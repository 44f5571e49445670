"""The command `lesson`: writes a lesson for a class, or plays a meter with a hidden fault."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from metersim.files.faults import BadInput, Fault, all_of, bad, whole
from metersim.files.whole import FIGURES, check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.shared.options import changes_of, seed_of, units_option

USUAL = "maize_field"  # scenario where none is given
FILES = ("lesson.html", "lesson.pdf")
MOST_LEVEL = 4


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim lesson``."""
    add = command.add_argument
    add(
        "scenario",
        nargs="?",
        metavar="SCENARIO",
        help=f"a scenario file, or the name of a shipped one ({USUAL})",
    )
    add(
        "--out",
        metavar="FOLDER",
        help=f"folder to write {' and '.join(FILES)} into; made if it is missing; with --hidden, a "
        "picture of all counts: .png, .svg or .pdf",
    )
    add(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="change one key of the scenario; may be repeated; 'metersim list keys' lists all",
    )
    add("--seed", metavar="N", help="random seed (1)")
    units_option(command)
    add(
        "--hidden",
        action="store_true",
        help="play: a meter with a hidden fault, to be found by counts and moves",
    )
    add("--number", metavar="N", help="number of the hidden fault, to play it again (any)")
    add("--level", metavar="N", help=f"how hard it is, 1 to {MOST_LEVEL} (1)")
    command.set_defaults(turns=None)


def answer(options: argparse.Namespace) -> str | Iterator[str]:
    """What was written, or a game line by line."""
    return _game(options) if options.hidden else _written(options)


def _game(options: argparse.Namespace) -> Iterator[str]:
    changes = " ".join(options.set) if options.set else None
    given = {"SCENARIO": options.scenario, "--seed": options.seed, "--set": changes}
    if faults := [Fault(name, word, "does not go with --hidden; leave it out")
                  for name, word in given.items() if word is not None]:  # fmt: skip
        raise BadInput(faults)
    from metersim.questions.lesson.hidden import lines_of, play  # a lesson does without
    from metersim.questions.shared.game.causes import MOST_NUMBER as MOST

    number, level, _ = all_of(
        lambda: None if options.number is None else whole("--number", options.number, 0, MOST),
        lambda: 1 if options.level is None else whole("--level", options.level, 1, MOST_LEVEL),
        lambda: _check_picture(options.out),
    )
    shown = sys.stdin is not None and sys.stdin.isatty()
    lines = () if sys.stdin is None else lines_of(sys.stdin)
    return play(number, level, options.units, lines, options.out, echo=not shown)


def _check_picture(name: str | None) -> None:
    """Refuse a file that no picture can be written to."""
    check_writable([("--out", name)])
    if name is not None and Path(name).suffix.lower() not in FIGURES:
        raise bad("--out", name, f"must end in {' or '.join(FIGURES)}")


def _written(options: argparse.Namespace) -> str:
    if faults := [Fault(name, word, "goes with --hidden; add it, or leave this out")
                  for name, word in (("--number", options.number), ("--level", options.level))
                  if word is not None]:  # fmt: skip
        raise BadInput(faults)
    options.seed = "1" if options.seed is None else options.seed
    scenario, seed, files = all_of(
        lambda: load_scenario(options.scenario or USUAL, changes_of(options)),
        lambda: seed_of(options),
        lambda: _files(options),
    )
    from metersim.questions.lesson.meter import CELLS
    from metersim.questions.lesson.study import lesson, runs_of
    from metersim.questions.lesson.text import answer_text
    from metersim.questions.shared.effort import announce, seconds_for
    from metersim.questions.shared.progress import bar

    runs = runs_of(options.units)
    announce(seconds_for(runs * CELLS, runs))
    with bar(runs, "run") as show:
        made = lesson(scenario, units=options.units, seed=seed, on_run=show)
    from metersim.questions.lesson.pages import lesson_pdf
    from metersim.questions.lesson.written import lesson_html

    contents: list[str | bytes] = [lesson_html(made), lesson_pdf(made)]
    _write(Path(options.out), list(zip(files, contents, strict=True)))
    return answer_text(made, files)


def _files(options: argparse.Namespace) -> list[str]:
    """Files of a lesson; raises `BadInput` where they cannot be written."""
    if not options.out:
        raise bad("--out", "", f"missing; name a folder for {' and '.join(FILES)}")
    try:
        folder = Path(options.out)
        there = folder.exists()
    except (OSError, ValueError) as error:  # a name that no folder can have
        reason = getattr(error, "strerror", None) or error
        raise bad("--out", options.out, f"cannot be made: {reason}") from None
    if there and not folder.is_dir():
        raise bad("--out", options.out, "is a file; name a folder")
    if not there and not folder.parent.is_dir():
        raise bad("--out", options.out, f"there is no folder {folder.parent}; make it first")
    if not os.access(folder if there else folder.parent, os.W_OK | os.X_OK):
        raise bad("--out", options.out, "cannot be written")
    files = [str(folder / name) for name in FILES]
    if there:
        check_writable([("--out", name) for name in files], [options.scenario])
    return files


def _write(folder: Path, files: list[tuple[str, str | bytes]]) -> None:
    """Write all files or none; a folder that was made for them goes again if they fail."""
    is_new = not folder.exists()
    try:
        if is_new:
            folder.mkdir()
        write_all(files)
    except BaseException as error:
        if is_new and folder.is_dir():
            folder.rmdir()
        if isinstance(error, OSError):
            raise bad("--out", str(folder), f"cannot be made: {error.strerror}") from None
        raise
