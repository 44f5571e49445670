"""A file of rows that survives: each finished row is in it, whatever ends the program.

The file is CSV after lines of comment with the origin of its rows.  Only a whole row counts.  A
torn last row is dropped when a later run continues the file.  So an interrupted and continued file
holds the same bytes as an uninterrupted one.

The last column holds the CRC-32 of all before it in its row, as a whole number.  So a later run
finds a row that was changed or damaged meanwhile.
"""

from __future__ import annotations

import csv
import io
import os
import sys
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from metersim.files.faults import BadInput, bad

if sys.platform != "win32":
    import fcntl

CHECKSUM = "crc32"  # name of the last column
SYNC_SECONDS = 0.5  # a power cut loses no more than this; a sync takes 1 to 30 ms


class RowFile:
    """A CSV file to which rows are added one by one.

    Parameters
    ----------
    path : Path
        The file.
    origin : sequence of str
        Lines with the origin of the rows.  A file with another origin is refused.
    columns : sequence of str
        Names of the columns, without that of the checksum.
    resume : bool
        Whether to continue an existing file.  Otherwise, the file must not exist.

    Raises
    ------
    BadInput
        If the file cannot be used; nothing in it has changed.
    """

    def __init__(
        self, path: Path, origin: Sequence[str], columns: Sequence[str], *, resume: bool = False
    ) -> None:
        self.path = path
        self.rows = 0
        self._columns = len(columns)
        head = "".join(f"# {line}\n" for line in origin).encode() + _line([*columns, CHECKSUM])
        self._head_lines = head.count(b"\n")
        self._end = self._start = len(head)
        self._synced = -float("inf")
        try:
            is_there = path.exists()
            if is_there and not resume:
                message = "is there already; go on with it by `resume`, or give another file"
                raise bad(str(path), "", message)
            if is_there and not path.is_file():
                raise bad(str(path), "", "is no file that rows can be added to")
            self._file = open(path, "r+b" if is_there else "x+b", buffering=0)  # noqa: SIM115
        except BadInput:
            raise
        except OSError as error:
            raise self._failed(error) from None
        except ValueError as error:  # a name that no file can have
            raise bad(str(path), "", f"cannot be written: {error}") from None
        ours = False
        try:
            self._lock()
            ours = not is_there
            self._check_head(head)
            if self._file.seek(0, os.SEEK_END) < len(head):
                self._file.truncate(0)
                self._file.seek(0)
                self._end = 0
                self._write(head)
                self._sync()
                _sync_folder(path.parent)
        except BaseException:
            if ours:  # another run has not locked it, and cannot lock it now
                with suppress(OSError):
                    path.unlink()
            self._file.close()
            raise

    def _lock(self) -> None:
        if sys.platform == "win32":  # Windows has no such locks
            return
        busy = bad(str(self.path), "", "another run is writing to it; let it end")
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise busy from None
        except OSError:  # a file system without locks
            return
        try:
            there = os.path.samefile(self.path, self._file.fileno())
        except FileNotFoundError:
            there = False
        if not there:  # another run has removed the file that this one opened
            raise busy

    def _check_head(self, head: bytes) -> None:
        """Refuse a file with another origin or other columns; the fault says what differs."""
        self._file.seek(0)
        found = self._file.read(2 * len(head))
        if found.startswith(head) or head.startswith(found):  # whole, or torn in writing
            return
        old, new = (text.decode(errors="replace").splitlines() for text in (found, head))
        if old[:1] != new[:1]:
            raise bad(str(self.path), "", "holds no rows of such a study; give another `out`")
        pairs = enumerate(zip(old, new, strict=False), start=1)
        differ = [(number, *pair) for number, pair in pairs if pair[0] != pair[1]]
        if not differ:
            message = "has other ends of lines than were written; the file was changed: "
            raise bad(str(self.path), "", message + "give another `out`")
        number, was, now = differ[0]
        message = (
            f"holds other rows than are asked for: line {number} reads '{_short(was)}', not "
            f"'{_short(now)}'; ask for the same, or give another `out`"
        )
        raise bad(str(self.path), "", message)

    def finished(self) -> Iterator[list[str]]:
        """The whole rows of the file, in order; of them, those taken so far are kept.

        Raises
        ------
        BadInput
            At a line that is no such row; nothing in the file has changed.
        """
        self._file.seek(self._start)
        with io.BufferedReader(_Kept(self._file.fileno())) as reader:
            for line in reader:
                if not line.endswith(b"\n"):
                    return
                try:
                    (row,) = csv.reader([line.decode()])
                except (ValueError, csv.Error):
                    row = []
                if len(row) != self._columns + 1 or _checked(row[:-1]) != line:
                    raise self.spoilt()
                yield row[:-1]
                self.rows += 1
                self._end += len(line)

    def spoilt(self) -> BadInput:
        """The fault of the row after those counted so far: this study does not write such a row."""
        message = (
            f"row {self.rows + 1} is not what this study writes there; the file was changed: "
            "give another `out`, or `mend` to compute this row and those after it again"
        )
        return bad(str(self.path), f"line {self._head_lines + self.rows + 1}", message)

    def drop_rest(self) -> None:
        """Drop what `finished` did not give: a torn last row, or all from a spoilt row on."""
        try:
            self._file.truncate(self._end)
            self._file.seek(self._end)
        except OSError as error:
            raise self._failed(error) from None

    def append(self, row: Sequence[str]) -> None:
        """Add a row to the file.

        Raises
        ------
        BadInput
            If it cannot be written.  All rows before it are kept, and no part of it.
        """
        self._write(_checked(row))
        self.rows += 1
        if time.monotonic() - self._synced > SYNC_SECONDS:
            self._sync()

    def _write(self, line: bytes) -> None:
        rest = memoryview(line)
        try:
            while rest:
                rest = rest[self._file.write(rest) or 0 :]
        except BaseException as error:  # an interrupt must leave no torn row either
            with suppress(OSError):
                self._file.truncate(self._end)
                self._file.seek(self._end)
            if isinstance(error, OSError):
                raise self._failed(error) from None
            raise
        self._end += len(line)

    def _sync(self) -> None:
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            raise self._failed(error) from None
        self._synced = time.monotonic()

    def _failed(self, error: OSError) -> BadInput:
        message = f"cannot be written: {error.strerror or error}"
        if self.rows:
            message += f"; {self.rows:,} finished rows are kept; mend that and go on with `resume`"
        return bad(str(self.path), "", message)

    def close(self) -> None:
        """Write everything to the disk and close the file."""
        if self._file.closed:
            return
        try:
            self._sync()
        finally:
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self.close()
        except BadInput:
            if error is None:  # otherwise the first error is the one to report
                raise


class _Kept(io.FileIO):
    """A reader of a file that stays open when the reader closes."""

    def __init__(self, handle: int) -> None:
        super().__init__(handle, "rb", closefd=False)


def _line(row: Sequence[str]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(row)
    return text.getvalue().encode()


def _checked(row: Sequence[str]) -> bytes:
    """The line of a row, with the checksum of all before it as last column."""
    return _line([*row, str(zlib.crc32(_line(row).rstrip(b"\n")))])


def _short(text: str, length: int = 100) -> str:
    return text if len(text) <= length else text[: length - 4] + " ..."


def _sync_folder(folder: Path) -> None:
    """Write the name of a new file to the disk, where folders can be synced."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
