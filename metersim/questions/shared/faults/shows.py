"""What each fault shows: how far it moves the answers from those of a machine in order."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.faults.signatures import Signatures

Floats = NDArray[np.float64]

CLEAR = 0.25  # chance that an answer must gain to be named
MOST = 4  # answers that are named of one fault

SAID: Mapping[tuple[str, str], str] = {
    ("skips", "high"): "more skips",
    ("skips", "low"): "fewer skips",
    ("doubles", "high"): "more doubles",
    ("doubles", "low"): "fewer doubles",
    ("pattern", "every N"): "the same hole fails",
    ("speed", "worse"): "worse when faster",
    ("speed", "better"): "better when faster",
    ("slope", "worse"): "worse on a slope",
    ("hour", "worse"): "worse later",
    ("turn", "worse"): "worse after a turn",
    ("bench", "same"): "also bad on a bench",
    ("current", "high"): "high current",
    ("used", "more"): "more seed used",
    ("used", "less"): "less seed used",
    ("gauge", "high"): "gauge high",
    ("gauge", "low"): "gauge low",
    ("stand", "wrong"): "seeds where it shows skips",
    ("scatter", "worse"): "uneven spacing",
}
"""Answers in words, where they differ from those of a machine in order."""


def gained(found: Signatures) -> Mapping[tuple[str, str], Floats]:
    """Chance that each answer gains over a machine in order, by sign and answer.

    Returns
    -------
    mapping of (str, str) to ndarray, shape (faults,)
        Mean over samples of the chance, less that of the same machines in order; 0 where a machine
        cannot show the sign. [1]
    """
    fine = found.in_order()
    made = {}
    for name, sign in SIGNS.items():
        moved = found.chances(name).mean(axis=2) - fine.chances(name).mean(axis=2)
        shown = np.isfinite(found.values[name]).all(axis=1)
        for answer, change in zip(sign.answers, moved, strict=True):
            made[name, answer] = np.where(shown, change, 0.0)
    return made


def shown_most(found: Signatures) -> tuple[tuple[str, ...], ...]:
    """Answers that each fault makes clearly likelier, in words; first those that gain most."""
    changes = gained(found)
    most = []
    for k in range(len(found.faults)):
        clear = [
            (-changes[key][k], words) for key, words in SAID.items() if changes[key][k] > CLEAR
        ]
        most.append(tuple(words for _, words in sorted(clear)[:MOST]))
    return tuple(most)
