"""The plane of skips against doubles of a game, in letters for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence

from metersim.questions.shared.game.counts import Count
from metersim.questions.shared.words import WIDE

ACROSS, DOWN = 72, 16  # letters and lines of the plane
LEFT = 8  # letters of the scale of skips
TICKS = (0.0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0)
LEAST_TOP = 0.02  # share at which a scale ends at least
OUTLINED = 3  # counts whose region is drawn: the one in order, and the last ones
MARKS = ".:*"  # of these regions, the last one's last
BETWEEN = 24  # points between two corners of an outline


def scale_top(shares: Sequence[float]) -> float:
    """End of a scale that holds these shares, with some room. [1]"""
    return min(1.0, 1.08 * max(LEAST_TOP, *shares))


def ticks_to(top: float) -> list[float]:
    """Shares at which a scale up to `top` has a tick. [1]"""
    return [one for one in TICKS if one <= top]


def place(share: float, top: float, length: int) -> int:
    """Step of a share on a scale of so many steps, which is wider near 0."""
    return min(round(math.sqrt(max(share, 0.0) / top) * (length - 1)), length - 1)


def plane_lines(counts: Sequence[Count], texts: Sequence[str]) -> list[str]:
    """The plane with every count as its number, and the regions of some.

    Parameters
    ----------
    counts : sequence of Count
        Counts, the one of the meter in order first.
    texts : sequence of str
        What was set in each count, in words.

    Returns
    -------
    list of str
        Lines of a plane whose scales are wider near 0, so that regions of equally long counts are
        about equally large.
    """
    outlined = [*counts[:1], *counts[1:][-(OUTLINED - 1) :]]
    regions = [one.region for one in outlined]
    shown = [corner for region in regions for corner in region] + [one.shares for one in counts]
    tops = [scale_top([corner[k] for corner in shown]) for k in range(2)]
    rows = [[" "] * ACROSS for _ in range(DOWN)]

    def put(skip: float, double: float, mark: str) -> None:
        down = DOWN - 1 - place(skip, tops[0], DOWN)
        across = min(place(double, tops[1], ACROSS), ACROSS - len(mark))
        rows[down][across : across + len(mark)] = mark

    for mark, region in zip(MARKS[-len(regions) :], regions, strict=True):
        for one, two in zip(region, [*region[1:], region[0]], strict=True):
            for k in range(BETWEEN):
                part = k / BETWEEN
                put(one[0] + (two[0] - one[0]) * part, one[1] + (two[1] - one[1]) * part, mark)
    for count in counts:
        put(*count.shares, str(count.number))
    scale = {DOWN - 1 - place(tick, tops[0], DOWN): tick for tick in reversed(ticks_to(tops[0]))}
    lines = [
        f"{f'{100 * scale[k]:g} %' if k in scale else '':>{LEFT - 2}} |{''.join(row)}".rstrip()
        for k, row in enumerate(rows)
    ]
    foot = [" "] * (ACROSS + 8)
    for tick in ticks_to(tops[1]):
        at, word = place(tick, tops[1], ACROSS), f"{100 * tick:g} %"
        if not "".join(foot[max(at - 1, 0) : at + len(word) + 1]).strip():
            foot[at : at + len(word)] = word
    lines.append(f"{' ' * (LEFT - 1)}+{'-' * ACROSS}")
    lines.append(f"{' ' * LEFT}{''.join(foot)}".rstrip())
    names = [f"{one.number} {text}" for one, text in zip(counts, texts, strict=True)]
    drawn = ", ".join(
        f"{mark} of {one.number}"
        for mark, one in zip(MARKS[-len(regions) :], outlined, strict=True)
    )
    return [
        "Skips (upwards) against doubles (to the right); scales are wider near 0.",
        *lines,
        f"Regions that sampling error alone covers (joint 90 %): {drawn}.",
        *_legend(names),
    ]


def _legend(names: Sequence[str]) -> list[str]:
    """What was set in each count, in two lines at most; the oldest are left out."""
    lines: list[str] = []
    for name in reversed(names):
        if lines and len(lines[0]) + len(name) + 2 <= WIDE:
            lines[0] = f"{name}; {lines[0]}"
        elif len(lines) < 2:
            lines.insert(0, name[:WIDE])
    return lines
