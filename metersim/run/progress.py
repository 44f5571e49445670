"""What a computation has done so far, reported to its watcher."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Watcher = Callable[[int, str], object]
"""Takes a further number of finished units, and the name of the unit."""

_WATCHER: ContextVar[Watcher | None] = ContextVar("watcher", default=None)


@contextmanager
def watched_by(watcher: Watcher) -> Iterator[None]:
    """Report all work that this thread does meanwhile to a watcher.

    Parameters
    ----------
    watcher : callable
        Takes a further number of finished units, and the name of the unit, such as ``cell``.
    """
    token = _WATCHER.set(watcher)
    try:
        yield
    finally:
        _WATCHER.reset(token)


def worked(many: int, unit: str) -> None:
    """Report finished work to the watcher, if there is one.

    Parameters
    ----------
    many : int
        Further finished units.
    unit : str
        Name of one unit.
    """
    watcher = _WATCHER.get()
    if watcher is not None:
        watcher(many, unit)
