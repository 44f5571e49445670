"""A file that one program at a time reads and replaces, so that no addition is lost."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from metersim.files.faults import bad

locks: Any
try:
    import fcntl as locks
except ImportError:  # Windows
    locks = None

PATIENCE = 20.0  # s; adding a line takes some milliseconds
PAUSE = 0.005  # s between two attempts


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Keep all others that ask for it out of a file, until it is read and replaced.

    Parameters
    ----------
    path : Path
        File, which need not exist.  A path that is no regular file is not locked.

    Raises
    ------
    BadInput
        When the file cannot be opened, or others hold it for longer than `PATIENCE`.

    Notes
    -----
    The lock is on the file itself.  Where there are no such locks, it is a file beside it.
    """
    path = Path(os.path.realpath(path))
    if path.exists() and not path.is_file():
        yield
        return
    ends = time.monotonic() + PATIENCE
    while (held := _try(path)) is None:
        if time.monotonic() > ends:
            message = f"another program is writing to it; if none is, remove {_beside(path).name}"
            raise bad(str(path), "", message)
        time.sleep(PAUSE)
    handle, made = held
    try:
        yield
    finally:
        if made:  # by this program, and still empty when nothing was written
            with suppress(OSError):
                if not path.stat().st_size:
                    path.unlink()
        if handle is None:
            _beside(path).unlink(missing_ok=True)
        else:
            os.close(handle)


def _beside(path: Path) -> Path:
    return path.with_name(f".{path.name[:50]}.lock")


def _try(path: Path) -> tuple[int | None, bool] | None:
    """Lock a file: its handle, and whether it was made here; None while others hold it."""
    try:
        if locks is None:
            return _try_beside(path)
        made = not path.exists()
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
        try:
            locks.flock(handle, locks.LOCK_EX | locks.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            return None
        except OSError:  # a file system without locks
            os.close(handle)
            return _try_beside(path, made)
        try:
            there = os.path.samefile(path, handle)
        except FileNotFoundError:
            there = False
        if not there:  # it was replaced between opening and locking
            os.close(handle)
            return None
    except OSError as error:
        raise bad(str(path), "", f"cannot be written: {error.strerror or error}") from None
    return handle, made


def _try_beside(path: Path, made: bool = False) -> tuple[None, bool] | None:
    """Lock a file by another one beside it; as `_try`."""
    try:
        os.close(os.open(_beside(path), os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
    except FileExistsError:
        return None
    except PermissionError:
        if sys.platform == "win32" and _beside(path).exists():  # just being removed
            return None
        raise
    return None, made
