"""Stored results: a JSON file a call, sorted, a column a line, so that differences can be read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

STORED = Path(__file__).parent / "stored"
DIGITS = 13  # significant ones


def path_of(name: str) -> Path:
    """The file of a call."""
    return STORED / f"{name}.json"


def stored(name: str) -> Any:
    """What a call gave when its result was stored."""
    return json.loads(path_of(name).read_text())


def store(name: str, result: Any) -> None:
    """Keep what a call gives."""
    STORED.mkdir(exist_ok=True)
    path_of(name).write_text(written(result))


def written(result: Any) -> str:
    """Plain data as text."""
    return "\n".join(_lines(result)) + "\n"


def _lines(value: Any, indent: str = "") -> Iterator[str]:
    if isinstance(value, dict) and value:
        parts = [(f"{json.dumps(key)}: ", value[key]) for key in sorted(value)]
        yield from _block("{}", parts, indent)
    elif isinstance(value, list) and any(isinstance(part, list | dict) for part in value):
        yield from _block("[]", [("", part) for part in value], indent)
    elif isinstance(value, list):
        yield f"[{', '.join(map(_one, value))}]"
    else:
        yield _one(value)


def _block(brackets: str, parts: list[tuple[str, Any]], indent: str) -> Iterator[str]:
    inner = indent + " "
    yield brackets[0]
    for k, (head, part) in enumerate(parts):
        first, *rest = _lines(part, inner)
        comma = "," if k + 1 < len(parts) else ""
        lines = [f"{inner}{head}{first}", *rest]
        yield from lines[:-1]
        yield lines[-1] + comma
    yield indent + brackets[1]


def _one(value: Any) -> str:
    if isinstance(value, float):
        value = float(f"{value:.{DIGITS - 1}e}")
    return json.dumps(value, ensure_ascii=False)
