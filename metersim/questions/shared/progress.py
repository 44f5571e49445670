"""The line on a terminal that says how far a command is."""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from metersim.questions.shared.words import plural
from metersim.run.progress import watched_by

PATIENCE = 1.0  # s; a command that ends sooner shows no line
PERIOD = 0.25  # s between two looks at the work
LOOKS = 120  # the pace is that of the last half a minute
UNSURE = 2.0  # s of a pace before it predicts what is left


class Line:
    """What is done so far, as a line on a terminal that is rewritten and gone at the end.

    Parameters
    ----------
    name : str
        Name of the command.
    stream : file
        The terminal.
    """

    def __init__(self, name: str, stream: TextIO) -> None:
        self._name, self._stream = name, stream
        self._start = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._show, daemon=True)
        self._shown = 0  # letters
        self.begin(0, "")

    def begin(self, total: int, unit: str) -> None:
        """Begin work of a known number of units."""
        self._total, self._unit, self._done = total, unit, 0
        self._looks: deque[tuple[float, int]] = deque([(time.monotonic(), 0)], maxlen=LOOKS)

    def to(self, done: int) -> None:
        """Take the number of units that are finished; what comes after the last is only counted."""
        if self._total:
            self._done = done
            if done >= self._total:
                self.end()

    def add(self, many: int) -> None:
        """Take a further number of finished units."""
        self.to(self._done + many)

    def end(self) -> None:
        """End the work of a known number of units; other work is only counted."""
        self.begin(0, "")

    def count(self, many: int, unit: str) -> None:
        """Count finished units while nobody knows how many there will be."""
        if self._total:
            return
        if unit != self._unit:
            self.begin(0, unit)
        self._done += many

    def text(self) -> str:
        """The line as it reads now."""
        now = time.monotonic()
        self._looks.append((now, self._done))
        spent = f"{span(now - self._start)} so far"
        many = f"{self._done:,}"
        if self._total:
            unit = plural(self._total, self._unit)
            many = f"{many} of {self._total:,} {unit}"
            first, begun = self._looks[0]
            gone, gained = now - first, self._done - begun
            if gained > 0 and gone > UNSURE:
                left = gone / gained * max(self._total - self._done, 0)
                spent += f", about {span(left)} left"
        elif self._done:
            many = f"{many} {plural(self._done, self._unit)}"
        else:
            return f"metersim {self._name}: {spent}"
        return f"metersim {self._name}: {many}, {spent}"

    def say(self, text: str) -> None:
        """Write a text that stays, above the line."""
        self._write("")
        with suppress(OSError, ValueError):
            self._stream.write(f"{text}\n")
            self._stream.flush()

    def __enter__(self) -> Line:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._ended.set()
        self._thread.join()
        self._write("")

    def _show(self) -> None:
        wait = PATIENCE
        while not self._ended.wait(wait):
            self._write(self.text())
            wait = PERIOD

    def _write(self, text: str) -> None:
        """Write a text over the last one."""
        room = max(_width(self._stream) - 1, 1)
        text = text[:room]
        with suppress(OSError, ValueError):  # a terminal that is gone
            if text or self._shown:
                rest = " " * (min(self._shown, room) - len(text))
                self._stream.write(f"\r{text}{rest}" + ("" if text else "\r"))
                self._stream.flush()
        self._shown = len(text)


def span(seconds: float) -> str:
    """A time in words, with as many digits as are of use."""
    if seconds < 90:
        return f"{max(round(seconds), 1)} s"
    if seconds < 90 * 60:
        return f"{round(seconds / 60)} min"
    if seconds < 48 * 3600:
        return f"{round(seconds / 3600)} h"
    return f"{round(seconds / 86400):,} days"


def _width(stream: TextIO) -> int:
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):
        import shutil  # a terminal has a width of its own

        return shutil.get_terminal_size().columns


_lines: list[Line] = []  # the line of the running command, if it has one


@contextmanager
def shown(name: str, stream: TextIO | None) -> Iterator[None]:
    """Show how far a command is, if a stream is a terminal; a stream takes what `say` says."""
    if stream is None:
        yield
        return
    line = Line(name, stream)
    _lines.append(line)
    try:
        if stream.isatty():
            with line, watched_by(line.count):
                yield
        else:
            yield
    finally:
        _lines.remove(line)


def say(text: str) -> None:
    """Write a line about a command that has not ended, where faults are written."""
    if _lines:
        _lines[-1].say(f"metersim: {text}")


@contextmanager
def bar(total: int, unit: str) -> Iterator[Callable[[int], None]]:
    """Show how much of some work is done; gives a function that takes the work done so far."""
    with _begun(total, unit) as line:
        yield (lambda done: None) if line is None else line.to


@contextmanager
def adding_bar(total: int, unit: str) -> Iterator[Callable[[int], None]]:
    """Show how much of some work is done; gives a function that takes further finished work."""
    with _begun(total, unit) as line:
        yield (lambda many: None) if line is None else line.add


@contextmanager
def _begun(total: int, unit: str) -> Iterator[Line | None]:
    line = _lines[-1] if _lines else None
    if line is None:
        yield None
        return
    line.begin(total, unit)
    try:
        yield line
    finally:
        line.end()
