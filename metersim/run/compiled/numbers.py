"""What stands for functions of arrays where there are only numbers."""

from __future__ import annotations

from typing import Any


def where(condition: Any, one: Any, other: Any) -> Any:
    """`numpy.where` of numbers."""
    return one if condition else other


def same(value: Any) -> Any:
    """`numpy.asarray` of a number."""
    return value


def between(place: Any, places: Any, values: Any) -> Any:
    """`numpy.interp` at one place."""
    if place <= places[0]:
        return values[0]
    for k in range(1, len(places)):
        if place < places[k]:
            rise = (values[k] - values[k - 1]) / (places[k] - places[k - 1])
            return rise * (place - places[k - 1]) + values[k - 1]
    return values[len(places) - 1]
