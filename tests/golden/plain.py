"""Results as plain data: nested dicts and lists of numbers, single words, truth values and None.

Words may be said otherwise later, and numbers may not: of a sentence its numbers are kept, as they
are printed, under the key ``printed``; of a column of sentences also which of them are alike.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

import metersim as m

PRINTED = "printed"
LONG = 60  # rows, above which columns of floats are kept in part, with their sums
HEAD, TAIL = 30, 10
LEFT_OUT = {"file", "libraries", "program", "shows", "title", "version"}
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:,\d{3})*(?:\.\d+)?(?:e[-+]?\d+)?")
NO_NUMBER = re.compile(r"metersim \d+\.\d+\.\d+|(?<!\S)/\S+")  # a version, a path


def printed(text: str) -> list[str]:
    """The numbers that a text prints, in order."""
    return NUMBER.findall(NO_NUMBER.sub("", text))


def is_text(value: Any) -> bool:
    """Whether something is said in words, and not a name."""
    return isinstance(value, str) and any(letter.isspace() for letter in value)


def plain(value: Any) -> Any:
    """Anything that a question gives, as plain data; what was set is left out of objects."""
    if isinstance(value, np.generic):
        return plain(value.item())
    if is_text(value):
        return {PRINTED: printed(value)}
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.ndarray):
        return column(value.tolist()) if value.ndim == 1 else plain(value.tolist())
    if hasattr(value, "_asdict"):
        return plain(value._asdict())
    if dataclasses.is_dataclass(value):
        parts = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
        return plain({k: part for k, part in parts.items() if not isinstance(part, m.Scenario)})
    if isinstance(value, Mapping):
        return _mapping({str(key): part for key, part in value.items()})
    if isinstance(value, Iterable):
        return [plain(part) for part in value]
    raise TypeError(f"no plain data: {value!r}")


def _mapping(value: Mapping[str, Any]) -> Any:
    """By key, or in order where keys are said in words."""
    if any(is_text(key) for key in value):
        return [plain(part) for part in value.values()]
    return {key: plain(part) for key, part in value.items() if key not in LEFT_OUT}


def column(values: Sequence[Any]) -> Any:
    """A column: whole, or in part with its sums when it is a long one of floats."""
    values = [value.item() if isinstance(value, np.generic) else value for value in values]
    if any(is_text(value) for value in values):
        texts = [NUMBER.sub("", str(value)) for value in values]
        first = list(dict.fromkeys(texts))
        numbers = [number for value in values for number in printed(str(value))]
        return {"alike": [first.index(text) for text in texts], PRINTED: numbers}
    whole = len(values) <= LONG or not all(isinstance(value, float) for value in values)
    if whole or not all(map(math.isfinite, values)):
        return [plain(value) for value in values]
    return {
        "head": values[:HEAD],
        "tail": values[-TAIL:],
        "sum": math.fsum(values),
        "sum_by_row": math.fsum((row + 1) * value for row, value in enumerate(values)),
    }


def table(frame: Any) -> dict[str, Any]:
    """A table of pandas."""
    columns = {str(name): column(frame[name].tolist()) for name in frame.columns}
    return {"rows": len(frame), "columns": columns}


def csv_table(text: str) -> dict[str, Any]:
    """A CSV file with a header, without its comments."""
    lines = [line for line in text.splitlines(keepends=True) if not line.startswith("#")]
    header, *rows = csv.reader(io.StringIO("".join(lines)))
    columns = zip(*rows, strict=True) if rows else [()] * len(header)
    read = {
        name: column([_read(word) for word in words])
        for name, words in zip(header, columns, strict=True)
        if name != "crc32"  # of digits beyond those that all libraries share
    }
    return {"rows": len(rows), "columns": read}


def _read(word: str) -> Any:
    if word in ("", "True", "False"):
        return {"": None, "True": True, "False": False}[word]
    for kind in (int, float):
        try:
            return kind(word)
        except ValueError:
            continue
    return word


def file_content(path: Path) -> Any:
    """What a file of numbers holds."""
    text = path.read_text()
    if path.suffix == ".json":
        return plain(json.loads(text))
    if path.suffix == ".toml":
        return plain(tomllib.loads(text))
    return csv_table(text)
