"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


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
    if path.exists() and not path.is_file():
        path.write_bytes(content)
        return
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:50]}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(draft, _usual_mode(path))
        os.replace(draft, path)
    except BaseException:
        os.unlink(draft)
        raise


def _usual_mode(path: Path) -> int:
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
