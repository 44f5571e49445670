"""Tables: reading CSV of people and spreadsheets, writing CSV, and data frames of pandas."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Fault, bad
from metersim.files.whole import read_whole

if TYPE_CHECKING:
    import pandas as pd

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
OF_NUMBERS = b"0123456789.+-eE"  # of such letters, `float` takes what fits `NUMBER`, no more
COMMAS = re.compile(r"[+-]?\d+,\d+", re.ASCII)

NO_TEXT = "is not UTF-8 text; save it as CSV in UTF-8"
MOST_FAULTS = 20  # most faults that are shown one by one

Rows = list[tuple[int, list[str]]]


def read_text(path: Path) -> str:
    """Text of a file in UTF-8; raises `BadInput` if the file is unreadable or not UTF-8."""
    try:
        text = read_whole(path).decode("utf-8-sig")
    except OSError as error:
        raise bad(str(path), "", f"cannot be read: {error.strerror or error}") from None
    except ValueError as error:
        if not isinstance(error, UnicodeDecodeError):  # a file name with NUL
            raise bad(str(path), "", f"cannot be read: {error}") from None
        raise bad(str(path), "", NO_TEXT) from None
    if "\0" in text:  # for example UTF-16 without a byte order mark
        raise bad(str(path), "", NO_TEXT)
    return text


def csv_rows(content: str, where: str, *, columns: str, example: str) -> Rows:
    """Rows of a CSV file with their line numbers, empty rows at the end left out.

    Parameters
    ----------
    content : str
        Text of the file.
    where : str
        Name of the file, for the faults.
    columns : str
        The columns that the first row must name, in words.
    example : str
        A correct row.

    Returns
    -------
    list of (int, list of str)
        Line number, from 1, and cells without blanks around them; the header first.

    Raises
    ------
    BadInput
        For an empty file, for other marks than commas and points, and for invalid CSV.
    """
    first = next(filter(str.strip, content.splitlines()), "")
    if not first.strip(" ,"):
        raise bad(where, "", f"is empty; the first row must name columns: {columns}")
    form = f"use a comma between columns and a point as decimal mark, as in {example}"
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if mark in first:
            raise bad(where, "", f"has {word} between columns; {form}")
    reader = csv.reader(io.StringIO(content, newline=""), strict=True)
    try:
        rows = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader]
    except csv.Error as error:
        raise bad(where, f"row {reader.line_num}", f"is not valid CSV: {error}") from None
    while rows and not any(rows[-1][1]):
        rows.pop()
    if not rows:
        raise bad(where, "", f"is empty; the first row must name columns: {columns}")
    if _has_decimal_commas([cells for _, cells in rows]):
        raise bad(where, "", f"has commas as decimal marks; {form}")
    return rows


def plain_columns(content: str) -> dict[str, list[str]] | None:
    """Columns of a CSV file without quotes, empty rows, or rows of other widths.

    Parameters
    ----------
    content : str
        Text of the file.

    Returns
    -------
    dict of str to list of str, or None
        Cells below the header by column, blanks included.  None for any other file: `csv_rows`
        reads it, or says what is wrong.
    """
    text = content.replace("\r\n", "\n").rstrip("\n")
    header, _, rest = text.partition("\n")
    names = header.split(",")
    if '"' in text or "\r" in text or not rest or len({*names}) < len(names):
        return None
    marks = np.frombuffer(f"{rest}\n".encode(), np.uint8)
    marks = marks[(marks == ord(",")) | (marks == ord("\n"))]
    many = len(names)
    form = np.frombuffer(b"," * (many - 1) + b"\n", np.uint8)
    if len(marks) % many or (marks.reshape(-1, many) != form).any():
        return None
    cells = rest.replace("\n", ",").split(",")
    return {name: cells[k::many] for k, name in enumerate(names)}


def plain_numbers(cells: Sequence[str]) -> NDArray[np.float64] | None:
    """Values of cells that all fit `NUMBER`; None when one of them does not."""
    if "".join(cells).encode().translate(None, OF_NUMBERS):
        return None
    try:
        return np.fromiter(map(float, cells), np.float64, len(cells))
    except ValueError:
        return None


def _has_decimal_commas(rows: Sequence[Sequence[str]]) -> bool:
    """Whether cells look like "10,54", or all rows have twice the cells of the header."""
    header, rest = rows[0], rows[1:]
    quoted = any(COMMAS.fullmatch(cell) for cells in rest for cell in cells)
    return quoted or (bool(rest) and all(len(cells) == 2 * len(header) for cells in rest))


def each_row(
    rows: Rows, width: int, read: Callable[[list[str]], list[tuple[str, str]]]
) -> list[tuple[str, str]]:
    """Read the rows below the header; return the faults as line and message.

    Parameters
    ----------
    rows : list of (int, list of str)
        All rows, the header first.
    width : int
        Number of cells of a row.
    read : callable
        Takes the cells of a row and returns column and message of each fault.
    """
    faults = []
    for line, cells in rows[1:]:
        if not any(cells):
            complaints = [("", "is empty; remove it")]
        elif len(cells) != width:
            many = f"{len(cells)} cell{'s' * (len(cells) != 1)}"
            complaints = [("", f"has {many}; the header has {width}")]
        else:
            complaints = read(cells)
        faults += [
            (f"row {line}, {column}" if column else f"row {line}", message)
            for column, message in complaints
        ]
    return faults


def first_of(faults: list[Fault], where: str) -> list[Fault]:
    """The first faults of a file, and one that counts the rest."""
    more = len(faults) - MOST_FAULTS
    if more <= 0:
        return faults
    said = f"has {more:,} more fault{'s' * (more != 1)} like these"
    return [*faults[:MOST_FAULTS], Fault(where, "", said)]


def dataframe(data: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """A data frame of pandas that shares no memory with its data.

    Parameters
    ----------
    data : mapping, or sequence of mappings
        Columns by name, or rows with the same names.

    Raises
    ------
    ImportError
        If pandas is not installed.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise ImportError(
            "a table needs pandas, which cannot be imported; "
            "install the extra 'notebook': pip install '.[notebook]'"
        ) from error
    return pd.DataFrame(data)


def as_table(rows: Sequence[Mapping[str, Any]]) -> str:
    """CSV of one or more rows with the same names."""
    return csv_text(tuple(rows[0]), (tuple(row.values()) for row in rows))


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """CSV of rows, with a header."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()
