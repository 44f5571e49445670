"""What may be behind a count: a meter in order, one fault, or something that is not listed.

A meter in order is off a little everywhere, as every meter is.  A fault moves one cause far out.
Two faults at once are not listed: they are part of `ELSE`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.questions.shared.hidden import HIDDEN
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

FINE, ELSE = "in order", "something else"
LENS, HOLES, DRIVE = "lens", "holes", "drive"


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong with a meter.

    Attributes
    ----------
    name : str
        Name of the fault.
    short : str
        What is wrong, in a few words.
    words : str
        What is wrong.
    off : str
        From where on it is called a fault.
    check : str
        Inspection that finds it.
    """

    name: str
    short: str
    words: str
    off: str
    check: str


_SEED = "measure the width of twenty seeds, and compare it with the lot's"
_EDGE = "stop the meter, and measure from the holes to the edge at notch 0"
_POOL = "stop the meter, and measure the level of its pool"
FAULTS = {
    one.name: one
    for one in (
        Fault("small seed", "smaller seed", HIDDEN["seed size"].low_words, "by 4 % or more", _SEED),
        Fault("large seed", "larger seed", HIDDEN["seed size"].high_words, "by 4 % or more", _SEED),
        Fault(
            "vacuum",
            "less vacuum at the hole",
            HIDDEN["vacuum"].low_words,
            "by 15 % or more",
            "measure the vacuum at a port, guards on, and compare it with the usual gauge",
        ),
        Fault(
            "edge far",
            "singulator too far",
            HIDDEN["singulator"].low_words,
            "by 0.8 notch or more",
            _EDGE,
        ),
        Fault(
            "edge near",
            "singulator too near",
            HIDDEN["singulator"].high_words,
            "by 0.8 notch or more",
            _EDGE,
        ),
        Fault("low pool", "low pool", HIDDEN["pool"].low_words, "by 15 % or more", _POOL),
        Fault("high pool", "high pool", HIDDEN["pool"].high_words, "by 15 % or more", _POOL),
        Fault(
            LENS,
            "dirty lens",
            HIDDEN["sensor"].low_words,
            "1 % of the seeds or more",
            "brush the lens once, and count again",
        ),
        Fault(
            HOLES,
            "failing holes",
            "one or more holes plugged or damaged",
            "those holes fail in 3 of 10 turns or more",
            "stop the meter, and look through every hole of the disc against the light",
        ),
        Fault(
            DRIVE,
            "slipping drive",
            "drive slips, so that the disc stands at times",
            "1 % of the seeds or more",
            "lock the machine out, and look at the drive: tension, coupling, marks of slip",
        ),
    )
}
"""Faults by name."""

OF_THE_LOT = ("small seed", "large seed")
"""Faults that all rows of a machine share, as they have the same seed."""
OF_A_ROW = (HOLES, LENS, "low pool", "high pool")
"""Faults that hardly happen on all rows at once."""
FINE_PRIOR, ELSE_PRIOR = 0.45, 0.1
"""assumption: of ten meters that somebody counts on, one has a fault that is not listed, and
between four and five are in order.  All listed faults are equally likely."""
UNLISTED = ELSE_PRIOR / (1 - FINE_PRIOR)
"""Chance that a fault is not listed.  A flat likelihood hardly ever speaks for such a fault, but it
may look like a listed one.  So counts never make this chance smaller where something is wrong."""

TOLERANCE = {"size": 0.02, "vacuum": 0.04, "edge": 0.35, "gate": 0.05}
"""SDs of what is a little off on every meter: relative, and in notches for the edge (assumption).
Vacuum at the hole is only below that of the gauge."""
FINE_LENS = 0.003  # mean share of seeds that a clean lens misses beyond those of its kind
DIRTY, SLIPPING, LEAST_LOST = 0.05, 0.04, 0.01  # mean shares lost, beyond the least of a fault
MOST_LOST = 0.4
MORE_HOLES = 0.3  # chance of one more hole that fails
MOST_HOLES = 6
PLUGGED, LEAST_FAILING = 0.5, 0.3  # part of holes that always fail; least failing of a damaged one
EACH = 700  # points of each fault; twice as many in order

_OFF = {  # fault: cause, and ends of its values
    "small seed": ("size", 0.85, 0.96),
    "large seed": ("size", 1.04, 1.15),
    "vacuum": ("vacuum", 0.25, 0.85),
    "edge far": ("edge", -2.5, -0.8),
    "edge near": ("edge", 0.8, 2.5),
    "low pool": ("gate", 0.5, 0.85),
    "high pool": ("gate", 1.15, 1.35),
}


@dataclass(frozen=True, eq=False)
class Points:
    """Possible meters, each with one hypothesis.

    Attributes
    ----------
    names : tuple of str
        Hypotheses: `FINE` and faults.
    which : ndarray of int, shape (points,)
        Number of the hypothesis of each point.
    prior : ndarray, shape (points,)
        Chance before any count; sums to 1 less the chance of `ELSE`. [1]
    size, vacuum, gate : ndarray, shape (points,)
        Factors on seed size, on vacuum at the hole, and on the level of the pool. [1]
    edge : ndarray, shape (points,)
        Notches by which the singulator is nearer than its scale says.
    lost : ndarray, shape (points,)
        Share of the seeds that the sensor misses beyond those of its kind. [1]
    failing : ndarray, shape (points,)
        Number of failing holes, times the part of turns in which they fail.
    slip : ndarray, shape (points,)
        Share of the travel in which the disc stands. [1]
    gaps : ndarray, shape (points,)
        Part of that travel which spacings show as places without a seed. [1]
    """

    names: tuple[str, ...]
    which: NDArray[np.int64]
    prior: Floats
    size: Floats
    vacuum: Floats
    gate: Floats
    edge: Floats
    lost: Floats
    failing: Floats
    slip: Floats
    gaps: Floats

    def __len__(self) -> int:
        return len(self.which)

    def of(self, at: NDArray[np.int64]) -> Points:
        """Some of the points, by their numbers; one may come several times."""
        parts = {
            name: value[at] for name, value in vars(self).items() if isinstance(value, np.ndarray)
        }
        return Points(self.names, **parts)

    def mended(self, cause: str) -> Points:
        """The same meters after a repair of a cause: it is then as it is set."""
        sound = {"vacuum": 1.0, "gate": 1.0}
        parts = {name: value for name, value in vars(self).items()}
        parts[cause] = np.full(len(self), sound[cause])
        return Points(**parts)


def named(*, sensed: bool, lens_clean: bool, drive_shows: bool) -> tuple[str, ...]:
    """Hypotheses that counts can say something about.

    Parameters
    ----------
    sensed : bool
        Whether a sensor counted.
    lens_clean : bool
        Whether its lens is known to be clean.
    drive_shows : bool
        Whether spacings or the seed used were measured; a count of cells does not show a slip.
    """
    out = {LENS: not sensed or lens_clean, DRIVE: not drive_shows}
    return (FINE, *(name for name in FAULTS if not out.get(name)))


def priors(names: Sequence[str]) -> Mapping[str, float]:
    """Chance of each hypothesis before any count; the rest of 1 is that of `ELSE`. [1]"""
    faults = 1 - FINE_PRIOR - ELSE_PRIOR
    return {name: FINE_PRIOR if name == FINE else faults / (len(names) - 1) for name in names}


def draw_points(names: Sequence[str], seed: int, each: int = EACH) -> Points:
    """Possible meters of each hypothesis, evenly spread over what it allows.

    Parameters
    ----------
    names : sequence of str
        Hypotheses, as `named` gives them.
    seed : int
        Random seed of the points; each cause has its own stream.
    each : int
        Points of each fault; a meter in order has twice as many.
    """
    streams = Streams(seed)
    many = [2 * each if name == FINE else each for name in names]
    which = np.repeat(np.arange(len(names)), many)
    share = np.array(list(priors(names).values())) / many
    total = len(which)

    def even(cause: str) -> Floats:
        return streams.stratified(cause, total).clip(1e-9, 1 - 1e-9)

    def normal(cause: str) -> Floats:
        return np.asarray(ndtri(even(cause)))

    parts = {
        "size": 1 + TOLERANCE["size"] * normal("size"),
        "vacuum": 1 - TOLERANCE["vacuum"] * np.abs(normal("vacuum")),
        "edge": TOLERANCE["edge"] * normal("edge"),
        "gate": 1 + TOLERANCE["gate"] * normal("gate"),
        "lost": -FINE_LENS * np.log(even("lens")),
        "failing": np.zeros(total),
        "slip": np.zeros(total),
        "gaps": even("gaps"),
    }
    far = even("fault")
    for k, name in enumerate(names):
        here = which == k
        if name in _OFF:
            cause, low, high = _OFF[name]
            parts[cause][here] = low + (high - low) * far[here]
        elif name == LENS:
            parts["lost"][here] = np.minimum(LEAST_LOST - DIRTY * np.log(far[here]), MOST_LOST)
        elif name == DRIVE:
            parts["slip"][here] = np.minimum(LEAST_LOST - SLIPPING * np.log(far[here]), MOST_LOST)
        elif name == HOLES:
            parts["failing"][here] = _failing(even("holes")[here], even("failing")[here])
    return Points(tuple(names), which, share[which], **parts)


def _failing(number: Floats, part: Floats) -> Floats:
    """Number of failing holes times the part of turns in which they fail."""
    holes = np.minimum(1 + np.floor(np.log(number) / np.log(MORE_HOLES)), MOST_HOLES)
    damaged = LEAST_FAILING + (1 - LEAST_FAILING) * (part - PLUGGED) / (1 - PLUGGED)
    return np.asarray(holes * np.where(part < PLUGGED, 1.0, damaged))
