"""The command line: finds the command that was typed, and is the only module that prints.

A command is loaded when it is asked for, so that the list of all of them is quick.
"""

from __future__ import annotations

import argparse
import errno
import importlib
import os
import signal
import sys
import threading
from unicodedata import category

from metersim import __version__
from metersim.questions import QUESTIONS

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any, NoReturn

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Threads of numpy's linear algebra.  Its matrices here are small, and threads that wait for one
another cost more than they bring; work is spread over processes."""
MOST_FAULTS = 20  # printed
LEAST_MEMORY = 192 * 2**20  # bytes of addresses that numpy and scipy take
NO_MEMORY = (
    "the memory is not enough; nothing was written.  Ask for fewer turns, replicates, draws or "
    "--workers, or end other programs"
)

RETIRED_COMMANDS = {"ladder": "steps"}
"""New name of each retired command."""
RETIRED_OPTIONS = {
    "--seeds": ("--counted", ("howmany", "next", "steps")),
    "--way": ("--counted-by", ("howmany", "next")),
    "--limit": ("--accept", ("howmany", "sweep")),
    "--skips-most": ("--accept 'cells.skip<=2%'", ("habits", "next")),
    "--doubles-most": ("--accept 'cells.double<=2%'", ("habits", "next")),
}
"""New name of each retired option, and the commands that had it."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit status; bad input is reported in one line a fault."""
    for name in THREADS:  # read when numpy is loaded
        os.environ.setdefault(name, "1")
    asked: list[int] = []  # signals that asked this process to end
    before = _handled(asked)
    try:
        return _main(arguments)
    except KeyboardInterrupt as stop:
        print(f"metersim: interrupted; {str(stop) or 'nothing was written'}", file=sys.stderr)
        return 128 + asked[0] if asked else INTERRUPTED
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _handled(asked: list[int]) -> dict[int, Any]:
    """Let signals that end a process do so as Ctrl-C does; gives their handlers of before.

    A signal that somebody ignores, as ``nohup`` does, or handles already stays so.
    """

    def stop(number: int, frame: object) -> NoReturn:
        asked.append(number)
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        return {}
    names = ("SIGTERM", "SIGHUP")  # Windows has but one
    ends = [getattr(signal, name) for name in names if hasattr(signal, name)]
    usual = [number for number in ends if signal.getsignal(number) == signal.SIG_DFL]
    return {number: signal.signal(number, stop) for number in usual}


def _main(arguments: Sequence[str] | None) -> int:
    try:
        _check_memory()
        options = read(arguments)
        if options.command is None:
            parser([]).print_help()
            return OK
        return _answered(options)
    except SystemExit as stop:
        return int(stop.code or 0)
    except (MemoryError, OSError, RuntimeError, ImportError) as error:
        if not _lacks_memory(error):
            raise
    print(f"metersim: {NO_MEMORY}", file=sys.stderr)  # here, what filled the memory is gone
    return BAD_INPUT


def _check_memory() -> None:
    """Raise `MemoryError` where the libraries would not find room: they end or hang then."""
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    most, _ = resource.getrlimit(resource.RLIMIT_AS)
    if most != resource.RLIM_INFINITY and most < LEAST_MEMORY:
        raise MemoryError


def _lacks_memory(error: Exception) -> bool:
    """Whether an error means that the system gives no more memory."""
    if isinstance(error, OSError):
        return error.errno == errno.ENOMEM
    signs = ("can't start new thread", "failed to map segment", "Cannot allocate memory")
    return isinstance(error, MemoryError) or any(sign in str(error) for sign in signs)


def _answered(options: argparse.Namespace) -> int:
    """Exit status of a command, whose answer is printed."""
    from metersim.files.faults import BadInput

    if hasattr(sys.stdout, "reconfigure"):  # letters that a terminal lacks are no error
        sys.stdout.reconfigure(errors="replace")
    try:
        from metersim.questions.shared.progress import shown

        if options.command != "lot" and "units" in options:  # a lot has the units of its label
            from metersim.questions.shared.options import units_of

            options.units = units_of(options)
        with shown(options.command, sys.stderr):
            said = command_of(options.command).answer(options)
        for text in (said,) if isinstance(said, str) else said:  # a page goes on after its address
            _say(text)
            if sys.stdout is not None:
                sys.stdout.flush()
    except BadInput as error:
        from metersim.questions.shared.options import typed

        for fault in error.faults[:MOST_FAULTS]:
            print(f"metersim: {typed(fault)}", file=sys.stderr)
        if (more := len(error.faults) - MOST_FAULTS) > 0:
            print(f"metersim: and {more:,} faults more", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except OSError as error:
        if _lacks_memory(error):
            raise
        if error.filename is None:  # what is left to print would fail again
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        place = error.filename or "standard output"
        print(f"metersim: {place}: cannot be written: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return OK


def command_of(name: str) -> Any:
    """The module of a command, with ``add_options`` and ``answer``."""
    return importlib.import_module(f"metersim.questions.{name}.command")


class Parser(argparse.ArgumentParser):
    """A parser without abbreviations that says in one line what it does not understand."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**{"allow_abbrev": False, **given})

    def error(self, message: str) -> NoReturn:
        """End with what is wrong with what was typed."""
        from metersim.files.faults import Fault

        said = message.removeprefix("argument ").replace("invalid float value", "no number")
        command = self.prog.removeprefix("metersim").strip()
        fault = Fault(command, "", f"{said}; see '{self.prog} --help'")
        self.exit(2, f"metersim: {fault}\n")


def read(words: Sequence[str] | None = None) -> argparse.Namespace:
    """Options as typed, of this process when no words are given.

    Raises
    ------
    SystemExit
        When they cannot be understood, or ask for help or the version.
    """
    words = sys.argv[1:] if words is None else words
    for word in words:  # of which argparse makes an empty list
        if word.startswith("--") and word.endswith("=--"):
            Parser(prog="metersim").error(f"argument {word[:-3]}: '--' is no value")
    _refuse_retired(words)
    options, unknown = parser(words).parse_known_args(words)
    if unknown:  # told of the command, not of all commands as by parse_args
        asked = f"metersim {options.command}" if options.command else "metersim"
        Parser(prog=asked).error(f"unknown: {' '.join(unknown)}")
    return options


def _refuse_retired(words: Sequence[str]) -> None:
    """End with the new name of a retired command or option."""
    command = words[0] if words else ""
    if command in RETIRED_COMMANDS:
        Parser(prog="metersim").error(f"{command} is now '{RETIRED_COMMANDS[command]}'")
    for word in words[1:]:
        if word == "--":
            return
        option = word.partition("=")[0]
        now, commands = RETIRED_OPTIONS.get(option, ("", ()))
        if command in commands:
            Parser(prog=f"metersim {command}").error(f"{option} is now {now}")


def parser(words: Sequence[str] = tuple(QUESTIONS)) -> argparse.ArgumentParser:
    """The parser of all commands; only those among the words have their options."""
    top = Parser(
        prog="metersim",
        description="Predict how a vacuum seed meter lays seeds in the row.",
        epilog="Predictions are for learning and planning: prove them on a bench.",
    )
    top.add_argument("--version", action="version", version=f"metersim {__version__}")
    commands = top.add_subparsers(
        title="commands", metavar="COMMAND", dest="command", prog="metersim"
    )
    for name, does in QUESTIONS.items():
        command = commands.add_parser(name, help=does)
        if name in words:
            command_of(name).add_options(command)
    return top


def _say(text: str) -> None:
    """Print a result; what would move or colour a terminal is shown, not obeyed."""
    print("".join(c if c == "\n" or not _steers(c) else ascii(c)[1:-1] for c in text))


def _steers(letter: str) -> bool:
    return not letter.isprintable() and category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")
