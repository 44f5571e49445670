"""Files that are read or written whole, and a check of outputs before any work is done."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterable
from pathlib import Path

from metersim.files.faults import BadInput, Fault, bad

MOST_BYTES = 2**28  # most bytes of an input; a million rows of a run have some 2**27


def read_whole(path: Path, most: int = MOST_BYTES) -> bytes:
    """Content of a file, or of a pipe until nobody writes to it.

    Parameters
    ----------
    path : Path
        File or pipe to read.
    most : int
        Most bytes that are taken.

    Raises
    ------
    OSError
        If it cannot be read, is a device, or holds more.
    """
    with open(path, "rb", opener=_without_waiting) as file:
        mode = os.fstat(file.fileno()).st_mode
        if stat.S_ISCHR(mode) or stat.S_ISBLK(mode):
            raise OSError(errno.EINVAL, "is a device; give a file")
        os.set_blocking(file.fileno(), True)
        content = file.read(most + 1)
    if len(content) > most:
        raise OSError(errno.EFBIG, f"holds more than {most >> 20} MiB; give less at a time")
    return content


def _without_waiting(name: str, flags: int) -> int:
    """Open a file; a pipe opens even if nobody writes to it yet."""
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def replace_whole(path: Path, content: bytes) -> None:
    """Write a file whole; an old file stays until the new one is complete.

    Parameters
    ----------
    path : Path
        File to write.  A path that is no regular file, such as ``/dev/null``, is written directly.
    content : bytes
        Content to write.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left behind.
    """
    replace_all([(path, content)])


def replace_all(contents: Iterable[tuple[Path, bytes]]) -> None:
    """Write several files, each whole, or none of them.

    Parameters
    ----------
    contents : iterable of (Path, bytes)
        Files to write and their contents; see `replace_whole`.

    Raises
    ------
    OSError
        If one cannot be written, with its name; all old files are still there.
    """
    through, drafts = [], []
    path = Path()
    try:
        for path, content in contents:
            if path.exists() and not path.is_file():
                through.append((path, content))
                continue
            import tempfile  # most answers write nothing

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


FIGURES = (".png", ".svg", ".pdf")
PICTURES = ("--figure", "--paths")
DATA = ("--json", "--csv", "--trace")  # outputs that replace an old file


def check_writable(
    paths: Iterable[tuple[str, str | None]], inputs: Iterable[str | None] = ()
) -> None:
    """Refuse outputs that cannot be written, before any work is done.

    Parameters
    ----------
    paths : iterable of (str, str or None)
        Option and path of each output.  None needs no check, and neither does ``-`` of ``--json``.
    inputs : iterable of str or None
        Files that no output may replace.

    Raises
    ------
    BadInput
        With every output that has no folder, is a folder, is given twice, or would replace an
        input.
    """
    faults, taken = [], set()
    read = {os.path.realpath(name) for name in inputs if name and "\0" not in name}
    for option, name in paths:
        if name is None or (name == "-" and option == "--json"):
            continue
        path = Path(name)
        try:
            real = os.path.realpath(path)
            if real in taken:
                faults.append(Fault(option, name, "another output goes to the same file"))
            elif real in read:
                faults.append(Fault(option, name, "would take the place of an input"))
            elif name == "-":
                faults.append(Fault(option, name, "only --json prints; give a file"))
            elif option in DATA and path.suffix.lower() == ".toml":
                message = "is a name of scenarios and lots; give another ending"
                faults.append(Fault(option, name, message))
            elif option in PICTURES and path.suffix.lower() not in FIGURES:
                faults.append(Fault(option, name, f"must end in {' or '.join(FIGURES)}"))
            elif path.is_dir():
                faults.append(Fault(option, name, "is a folder; give a file"))
            elif not path.parent.is_dir():
                faults.append(Fault(option, name, f"there is no folder {path.parent}"))
            elif not os.access(path if path.exists() else path.parent, os.W_OK):
                faults.append(Fault(option, name, "cannot be written"))
            taken.add(real)
        except (OSError, ValueError) as error:  # a name that no file can have
            reason = getattr(error, "strerror", None) or error
            faults.append(Fault(option, name, f"cannot be written: {reason}"))
    if faults:
        raise BadInput(faults)


def write_all(files: Iterable[tuple[str, str | bytes]]) -> None:
    """Write files by name: all of them whole, or none.

    Raises
    ------
    BadInput
        If one cannot be written; all old files are still there.
    """
    try:
        replace_all(
            (Path(name), content.encode() if isinstance(content, str) else content)
            for name, content in files
        )
    except OSError as error:
        where = str(error.filename or "")
        raise bad(where, "", f"cannot be written: {error.strerror or error}") from None
