"""Which seeds give the sensor a pulse of their own, piece by piece of a run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import chain
from typing import NamedTuple

import numpy as np

from metersim.luck import Array
from metersim.records import Piece

NO_TIMES = np.empty(0), np.empty(0)


class Unwatched(NamedTuple):
    """A piece of a run of whose seeds it is not known yet which ones are seen."""

    piece: Piece
    dark_until: Array  # when the beam is free again behind each seed; -inf if it is not seen, s


def watch(pieces: Iterable[Unwatched]) -> Iterator[Piece]:
    """Pieces with the seeds marked that give a pulse of their own.

    A seed that crosses a dark beam gives none.  Seeds of neighbouring pieces may cross in any
    order, so that a piece is held back until the next is known; that a seed falls behind a
    whole piece is out of reach of any tube.
    """
    waiting: Unwatched | None = None
    earlier = NO_TIMES  # seeds that may cross among later ones: when, and until when it is dark
    dark = -np.inf  # until when all other earlier seeds darken the beam
    for following in chain(pieces, [None]):
        new = NO_TIMES if following is None else _times(following)
        if waiting is not None:
            own = _times(waiting)
            known = [np.concatenate(pair) for pair in zip(earlier, own, strict=True)]
            soon = new[0] < known[0].max(initial=-np.inf)
            pairs = zip(known, new, strict=True)
            crossed, ends = (np.concatenate((these, those[soon])) for these, those in pairs)
            order = np.argsort(crossed, kind="stable")
            before = np.concatenate(([dark], ends[order[:-1]]))
            alone = np.empty(len(order), dtype=bool)
            alone[order] = crossed[order] >= np.maximum.accumulate(before)[: len(order)]
            mine = slice(len(earlier[0]), len(known[0]))
            seen = alone[mine] & (own[1] > -np.inf)
            yield replace(waiting.piece, seeds=replace(waiting.piece.seeds, seen=seen))
            late = known[0] >= new[0].min(initial=np.inf)
            if late[: mine.start].any():
                raise RuntimeError("a seed crosses the beam more than a piece of cells too late")
            dark = max(dark, float(known[1][~late].max(initial=-np.inf)))
            earlier = known[0][late], known[1][late]
        waiting = following


def _times(part: Unwatched) -> tuple[Array, Array]:
    return part.piece.seeds.sensor_time, part.dark_until
