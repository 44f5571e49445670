"""What people see of a machine, and the chance of each answer given what a simulation shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from metersim.distributions.normal import ndtr

Floats = NDArray[np.float64]
Columns = Mapping[str, Floats]
"""Simulated numbers by name, shape (faults, samples)."""

COUNTED = 500  # seeds of a count on the monitor (assumption)
LEAST_POINTS, MORE_BY = 0.01, 0.3
"""A second share is called worse from one percentage point and 30 % of the first on (assumption).
"""
TURNS, TIMES = 10, 5
"""Somebody sees a pattern if the same hole fails in five of ten turns (assumption)."""
DUG = 60  # spacings that are dug up (assumption)
SCATTER_BY = 0.3  # part by which a scatter must grow to be called worse (assumption)
PLACES = 10  # skips of the monitor that are dug for (assumption)
USED_SD, USED_BY = 0.02, 0.04  # seed used on an area: SD, and least departure (assumption)
GAUGE_SD, GAUGE_BY = 0.03, 0.06  # gauge: SD of a reading, and least departure (assumption)
CURRENT_SD, CURRENT_BY = 0.05, 0.12  # current: likewise (assumption)
SLIP = 0.03  # chance of an answer by mistake, for each other answer (assumption)
ONSET_SLIP, ROWS_SLIP = 0.15, 0.08  # likewise for what people remember or compare by eye
ALL_ROWS = 0.9  # share of rows from which all are meant
WORSE, SAME, BETTER = "worse", "same", "better"
HIGH, NORMAL, LOW = "high", "normal", "low"

Chances = Callable[[Columns, Columns], Floats]
"""Chances of all answers, shape (answers, faults, samples), from numbers of faulty machines and of
the same machines in order."""


@dataclass(frozen=True, kw_only=True)
class Sign:
    """Something that people can see or count.

    Attributes
    ----------
    name : str
        Name of the sign, and of the simulated number behind it.
    asks : str
        Question to whoever stands at the machine.
    answers : tuple of str
        Possible answers.
    chances : callable
        Chance of each answer.
    """

    name: str
    asks: str
    answers: tuple[str, ...]
    chances: Chances


def called(first: Floats, second: Floats, counted: int = COUNTED) -> tuple[Floats, Floats]:
    """Chances that a second count is called worse and better than the first.

    Parameters
    ----------
    first, second : ndarray
        True shares of what is counted. [1]
    counted : int
        Seeds of each count.

    Notes
    -----
    Normal approximation of two binomial counts.  assumption: a difference is named from one
    percentage point and a part of the first share on.
    """
    spread = first * (1 - first) + second * (1 - second)
    sd = np.sqrt((spread.clip(min=0.0) + 1 / counted) / counted)
    least = LEAST_POINTS + MORE_BY * np.minimum(first, second)
    return np.asarray(ndtr((second - first - least) / sd)), np.asarray(
        ndtr((first - second - least) / sd)
    )


def read(ratio: Floats, sd: float, by: float) -> tuple[Floats, Floats]:
    """Chances that a reading is called high and low against the usual one.

    Parameters
    ----------
    ratio : ndarray
        True value over the usual one. [1]
    sd : float
        Relative SD of a reading. [1]
    by : float
        Relative departure from which a reading is called high or low. [1]
    """
    return np.asarray(ndtr((ratio - 1 - by) / sd)), np.asarray(ndtr((1 - ratio - by) / sd))


def _slips(chances: Floats, slip: float = SLIP) -> Floats:
    """Chances with answers by mistake, which are equally likely."""
    return np.asarray((1 - len(chances) * slip) * chances + slip)


def _three(more: Floats, less: Floats) -> Floats:
    """Chances of more, neither, and less."""
    return _slips(np.stack([more, (1 - more - less).clip(min=0.0), less]))


def _two(first: Floats, slip: float = SLIP) -> Floats:
    """Chances of an answer and of the other one."""
    return _slips(np.stack([first, 1 - first]), slip)


def _share(name: str) -> Chances:
    def chances(seen: Columns, usual: Columns) -> Floats:
        return _three(*called(usual[name], seen[name]))

    return chances


def _change(name: str, several: bool = False) -> Chances:
    """Chances that trouble is called worse, or not; or worse, same and better."""

    def chances(seen: Columns, usual: Columns) -> Floats:
        now = (seen["skips"] + seen["doubles"]).clip(0.0, 1.0)
        worse, better = called(now, (now + seen[name]).clip(0.0, 1.0))
        return _three(worse, better) if several else _two(worse)

    return chances


def _bench(seen: Columns, usual: Columns) -> Floats:
    """Chance that the meter is as good on a bench as it should be there."""
    return _two(1 - called(usual["bench"], seen["bench"])[0])


def _pattern(seen: Columns, usual: Columns) -> Floats:
    share = seen["pattern"].clip(0.0, 1.0)
    return _two(1 - np.asarray(bdtrc(TIMES - 1, TURNS, share)))


def _stand(seen: Columns, usual: Columns) -> Floats:
    """Chance that plants stand where the monitor shows skips, in more than half of the places.

    Nobody digs where the monitor shows no more skips than usual.
    """
    many = called(usual["skips"], seen["skips"])[0]
    return _two(np.asarray(bdtrc(PLACES // 2, PLACES, seen["stand"].clip(0.0, 1.0))) * many)


def _scatter(seen: Columns, usual: Columns) -> Floats:
    ratio = seen["scatter"] / usual["scatter"]
    return _two(read(ratio, 1 / np.sqrt(2 * DUG), SCATTER_BY)[0])


def _rows(seen: Columns, usual: Columns) -> Floats:
    """Chances of one, several and all rows; the number is the share of rows beyond one."""
    share = seen["rows"]
    one, every = share <= 0, share >= ALL_ROWS
    return _slips(np.stack([one, ~one & ~every, every]).astype(float), ROWS_SLIP)


def _onset(seen: Columns, usual: Columns) -> Floats:
    return _two(seen["onset"], ONSET_SLIP)


def _reading(name: str, sd: float, by: float) -> Chances:
    def chances(seen: Columns, usual: Columns) -> Floats:
        return _three(*read(seen[name] / usual[name], sd, by))

    return chances


def _current(seen: Columns, usual: Columns) -> Floats:
    return _two(read(seen["current"] / usual["current"], CURRENT_SD, CURRENT_BY)[0])


SIGNS: Mapping[str, Sign] = {
    name: Sign(name=name, asks=asks, answers=answers, chances=chances)
    for name, asks, answers, chances in (
        ("skips", "skips on the monitor, against the usual", (HIGH, NORMAL, LOW), _share("skips")),
        ("doubles", "doubles, likewise", (HIGH, NORMAL, LOW), _share("doubles")),
        ("pattern", "does the same hole fail again and again?", ("random", "every N"), _pattern),
        ("rows", "how many rows show it?", ("one", "several", "all"), _rows),
        ("onset", "did it come slowly?", ("slow", "sudden"), _onset),
        ("speed", "30 % faster", (WORSE, SAME, BETTER), _change("speed", several=True)),
        ("slope", "on a slope", (WORSE, SAME), _change("slope")),
        ("hour", "some hours later", (WORSE, SAME), _change("hour")),
        ("turn", "just after a turn", (WORSE, SAME), _change("turn")),
        ("bench", "the same meter on a bench", ("fine", SAME), _bench),
        ("current", "current or torque of the drive", (HIGH, NORMAL), _current),
        (
            "used",
            "seed used on an area",
            ("more", "as planned", "less"),
            _reading("used", USED_SD, USED_BY),
        ),
        (
            "gauge",
            "gauge, against the set vacuum",
            (HIGH, NORMAL, LOW),
            _reading("gauge", GAUGE_SD, GAUGE_BY),
        ),
        ("stand", "do seeds lie where the monitor shows skips?", ("wrong", "right"), _stand),
        ("scatter", "spacings of dug seeds, without skips", (WORSE, SAME), _scatter),
    )
}
