"""The command line: thin, and the only module that prints.

A command is loaded when it is asked for, so that help is quick.
"""

from __future__ import annotations

import importlib
import os
import sys
from unicodedata import category

from metersim.options import parser, read

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from collections.abc import Sequence

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit status; bad input is told in one line a fault."""
    try:
        return _main(arguments)
    except KeyboardInterrupt as stop:
        print(f"metersim: interrupted; {str(stop) or 'nothing was written'}", file=sys.stderr)
        return INTERRUPTED


def _main(arguments: Sequence[str] | None) -> int:
    try:
        options = read(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)
    if options.command is None:
        parser().print_help()
        return OK
    from metersim.faults import BadInput

    if hasattr(sys.stdout, "reconfigure"):  # letters that a terminal lacks are no error
        sys.stdout.reconfigure(errors="replace")
    try:
        _say(importlib.import_module(f"metersim.commands.{options.command}").answer(options))
        if sys.stdout is not None:
            sys.stdout.flush()
    except BadInput as error:
        for fault in error.faults:
            print(f"metersim: {fault}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except OSError as error:
        if error.filename is None:  # what is left to print would fail again
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        place = error.filename or "standard output"
        print(f"metersim: {place}: cannot be written: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return OK


def _say(text: str) -> None:
    """Print a result; what would move or colour a terminal is shown, not obeyed."""
    print("".join(c if c == "\n" or not _steers(c) else ascii(c)[1:-1] for c in text))


def _steers(letter: str) -> bool:
    return not letter.isprintable() and category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")
