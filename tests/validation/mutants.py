"""Mutants: the program with one thing wrong, and the fast tests that must notice.

``python -m tests.validation.mutants`` tries all of them, some minutes; with names it tries these
alone.  It prints which test caught each mutant, by a fact or by the equality of the engines, and
ends with status 1 when a mutant survived or no longer finds what it changes.  ``pytest -m mutants``
does the same, one test a mutant.

A mutant changes one short fragment of code.  Docstrings and comments are passed over, so that
other words there make no difference.  Mutants of what both engines share name no test of their
equality: both are wrong alike.  Pictures of outputs, `tests/golden`, state no fact and do not
count either.
"""

from __future__ import annotations

import ast
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.validation.mutations.answers import ANSWERS
from tests.validation.mutations.chance import CHANCE
from tests.validation.mutations.measures import MEASURES
from tests.validation.mutations.mutant import Mutant
from tests.validation.mutations.physics import PHYSICS

MUTANTS = (*PHYSICS, *CHANCE, *MEASURES, *ANSWERS)
ROOT = Path(__file__).parents[2]
COPIED = ("metersim", "scenarios", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
LEFT_OUT = shutil.ignore_patterns(".hypothesis", ".pytest_cache")
EQUALITY = "tests/run/test_engines.py"  # of the engines; of mutants of one of them
SECONDS = 300  # that the tests of a mutant may take; they take some ten


@dataclass(frozen=True)
class Caught:
    """How the tests of a mutant ended: the first that failed, or none, or what went wrong."""

    test: str = ""
    trouble: str = ""


@cache
def spoken(source: str) -> list[tuple[int, int]]:
    """Where docstrings and comments stand in a source, from and to which letter."""
    lines = [0]
    for line in source.splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    ends = []
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            ends.append((token.start, token.end))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            start, end = (node.lineno, node.col_offset), (node.end_lineno, node.end_col_offset)
            ends.append((start, end))
    return [(lines[a - 1] + b, lines[c - 1] + d) for (a, b), (c, d) in ends]


def changed(source: str, old: str, new: str) -> str:
    """A source with another fragment, which stands in its code exactly once.

    Raises
    ------
    LookupError
        When it stands there never, or more than once.
    """
    words = spoken(source)
    found = [
        at.start()
        for at in re.finditer(re.escape(old), source)
        if not any(start <= at.start() < end for start, end in words)
    ]
    if len(found) != 1:
        raise LookupError(
            f"{old!r} stands there {len(found)} times; give a fragment that is unique"
        )
    return source[: found[0]] + new + source[found[0] + len(old) :]


class Workshop:
    """A copy of the repository in a folder of its own, in which mutants are tried.

    Parameters
    ----------
    folder : Path
        Where the copy is made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, folder / name, ignore=LEFT_OUT)
            else:
                shutil.copy2(ROOT / name, folder / name)

    def caught(self, mutant: Mutant) -> Caught:
        """Run the tests of a mutant until the first of them fails."""
        there = self.folder / mutant.path
        before, times = there.read_text(encoding="utf-8"), there.stat()
        try:
            text = changed(before, mutant.old, mutant.new)
        except LookupError as error:
            return Caught(trouble=f"{mutant.path}: {error}")
        there.write_text(text, encoding="utf-8")
        try:
            return self.tried(mutant.tests.split())
        finally:
            there.write_text(before, encoding="utf-8")
            os.utime(there, ns=(times.st_atime_ns, times.st_mtime_ns))

    def tried(self, tests: list[str]) -> Caught:
        """Run tests as the copy is now."""
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-x",
            "-q",
            "-n0",
            "-rfE",
            "-p",
            "no:cacheprovider",
        ]
        command += ["-m", "not benchmark and not evidence and not mutants"]
        place = {"PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            ran = subprocess.run(
                [*command, *tests],
                cwd=self.folder,
                env={**os.environ, **place},
                capture_output=True,
                text=True,
                timeout=SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return Caught(trouble="its tests do not end")
        failed = re.search(r"^FAILED (\S+)", ran.stdout, re.MULTILINE)
        if ran.returncode == 1 and failed:
            return Caught(test=failed[1])
        if ran.returncode == 0:
            return Caught()
        lines = (ran.stdout + ran.stderr).strip().splitlines()
        return Caught(trouble=f"its tests cannot be run: {' / '.join(lines[-3:])}")


def table(names: list[str]) -> Iterator[tuple[str, bool]]:
    """A line for each mutant, and whether it is as it should be."""
    wanted = [one for one in MUTANTS if not names or one.name in names]
    unknown = set(names) - {one.name for one in MUTANTS}
    yield from ((f"{name}: there is no such mutant", False) for name in sorted(unknown))
    with tempfile.TemporaryDirectory() as folder:
        workshop = Workshop(Path(folder))
        for one in wanted:
            found = workshop.caught(one)
            said = found.trouble or "SURVIVED"
            if found.test:
                kind = "equality" if found.test.startswith(EQUALITY) else "a fact"
                said = f"{kind:8}  {found.test}"
            yield f"{one.name:48} {said}", bool(found.test)


def main(names: list[str]) -> int:
    """Print what catches each mutant; 1 if anything does not."""
    right = []
    for line, good in table(names):
        print(line, flush=True)
        right.append(good)
    print(f"{sum(right)} of {len(right)} mutants are caught")
    return 0 if all(right) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
