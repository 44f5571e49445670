"""Holes of a disc that are plugged, worn or chipped, as people list them.

A list has numbers of holes, such as ``3 17``.  ``every 6`` is hole 6, hole 12 and so on.  ``none``
is an empty list.  People count holes from 1.  Hole 1 is the first cell of a run, which is cell 0.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from metersim.files.fields import shown

NONE = "none"
EVERY = re.compile(r"every\s+(\d{1,9})", re.ASCII)
NUMBERS = re.compile(r"\d{1,9}(?:[\s,]+\d{1,9})*", re.ASCII)
FORMS = 'give numbers of holes such as "3 17", "every 6" or "none"'
CONDITIONS = {"plugged_holes": "plugged", "worn_holes": "worn", "chipped_holes": "chipped"}


@dataclass(frozen=True, kw_only=True)
class Holes:
    """The holes of a disc that are not as new, counted from 0.

    Attributes
    ----------
    cells : int
        Number of holes.
    plugged, worn, chipped : tuple of int
        Holes that let no air through, that have a worn rim, and that have a chip out of it.
    """

    cells: int
    plugged: tuple[int, ...] = ()
    worn: tuple[int, ...] = ()
    chipped: tuple[int, ...] = ()

    @property
    def lets_air(self) -> tuple[float, ...]:
        """Whether each hole lets air through: 1, or 0 where it is plugged."""
        return tuple(float(hole not in self.plugged) for hole in range(self.cells))


def listed(text: str, cells: int) -> tuple[int, ...]:
    """Holes of a list, counted from 0.

    Parameters
    ----------
    text : str
        The list.
    cells : int
        Number of holes of the disc.

    Raises
    ------
    ValueError
        With what is wrong, in words.

    Examples
    --------
    >>> from metersim.machine.holes import listed
    >>> listed("3 17", 24), listed("every 6", 24), listed("none", 24)
    ((2, 16), (5, 11, 17, 23), ())
    """
    said = text.strip().casefold()
    if said == NONE:
        return ()
    if step := EVERY.fullmatch(said):
        apart = int(step[1])
        if not 1 <= apart <= cells:
            raise ValueError(f"{shown(text)} names no hole; the disc has holes 1 to {cells}")
        return tuple(range(apart - 1, cells, apart))
    if not NUMBERS.fullmatch(said):
        raise ValueError(f"{shown(text)} cannot be read; {FORMS}")
    numbers = [int(number) for number in re.findall(r"\d+", said)]
    for number in numbers:
        if not 1 <= number <= cells:
            raise ValueError(f"there is no hole {number}; the disc has holes 1 to {cells}")
        if numbers.count(number) > 1:
            raise ValueError(f"names hole {number} twice; name it once")
    return tuple(sorted(number - 1 for number in numbers))


def holes_of(lists: Mapping[str, str], cells: int) -> Holes:
    """The holes of lists by `CONDITIONS`; raises `ValueError` as `listed` does."""
    return Holes(
        cells=cells, **{name: listed(lists[key], cells) for key, name in CONDITIONS.items()}
    )


def hole_faults(lists: Mapping[str, str], cells: int) -> list[tuple[str, str]]:
    """Key and words of each fault of lists by `CONDITIONS`; empty if they are right."""
    found: list[tuple[str, str]] = []
    known: dict[int, str] = {}
    for key, name in CONDITIONS.items():
        try:
            holes = listed(lists[key], cells)
        except ValueError as error:
            found.append((key, str(error)))
            continue
        if name == "plugged" and len(holes) == cells:
            found.append((key, f"all {cells} holes are plugged; leave one open or more"))
        if twice := [hole for hole in holes if hole in known]:
            first = twice[0]
            message = f"hole {first + 1} is {known[first]} too; name it in one list"
            found.append((key, message))
        known.update(dict.fromkeys(holes, name))
    return found
