"""Files read whole, and written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Iterable
from pathlib import Path

MOST_BYTES = 2**28  # of an input; a million rows of a run have some 2**27


def read_whole(path: Path) -> bytes:
    """What a file holds, or what comes through a pipe, which ends when nobody writes to it.

    Parameters
    ----------
    path : Path
        What to read.

    Raises
    ------
    OSError
        When it cannot be read, never ends, as a device, or holds more than `MOST_BYTES`.
    """
    with open(path, "rb", opener=_without_waiting) as file:
        mode = os.fstat(file.fileno()).st_mode
        if stat.S_ISCHR(mode) or stat.S_ISBLK(mode):
            raise OSError(errno.EINVAL, "is a device; give a file")
        os.set_blocking(file.fileno(), True)
        content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise OSError(errno.EFBIG, f"holds more than {MOST_BYTES >> 20} MiB; give less at a time")
    return content


def _without_waiting(name: str, flags: int) -> int:
    """Open a pipe also when nobody writes to it yet."""
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def replace_whole(path: Path, content: bytes) -> None:
    """Write a file whole; what was there before stays until the new one is complete.

    Parameters
    ----------
    path : Path
        Where to; something that is no regular file, such as ``/dev/null``, is written through.
    content : bytes
        What to write.

    Raises
    ------
    OSError
        When it cannot be written; nothing is left behind.
    """
    replace_all([(path, content)])


def replace_all(contents: Iterable[tuple[Path, bytes]]) -> None:
    """Write several files, each whole, or none of them.

    Parameters
    ----------
    contents : iterable of (Path, bytes)
        Where to, and what; see `replace_whole`.

    Raises
    ------
    OSError
        When one cannot be written, with its name; all that was there before is still there.
    """
    through, drafts = [], []
    path = Path()
    try:
        for path, content in contents:
            if path.exists() and not path.is_file():
                through.append((path, content))
                continue
            real = Path(os.path.realpath(path))  # a link stays a link
            handle, draft = tempfile.mkstemp(dir=real.parent, prefix=f".{real.name[:50]}.")
            drafts.append((draft, real, path))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.chmod(draft, _usual_mode(real))
        for path, content in through:
            path.write_bytes(content)
        while drafts:
            draft, real, path = drafts[0]
            os.replace(draft, real)
            drafts.pop(0)
    except OSError as error:
        raise OSError(error.errno, error.strerror or str(error), str(path)) from error
    finally:
        for draft, _, _ in drafts:
            os.unlink(draft)


def _usual_mode(path: Path) -> int:
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
