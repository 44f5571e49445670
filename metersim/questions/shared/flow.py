"""Columns of a printed page that fill from the top, and the width of words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import TextPath

from metersim.questions.shared.style import INK, PALE

SPACES = re.compile(r"[ \t\n]+")  # at which lines break
LEADING = 1.28  # height of a line over its letters
POINT = 1 / 72  # in
SPARE = 0.97  # part of a line that is filled; letters that are fitted to dots are wider


@dataclass
class Flow:
    """A column of a page that is filled from its top.

    Attributes
    ----------
    figure : Figure
        The page.
    left, top, width : float
        Left end, present top and width of the column; `top` moves down as it is filled. [in]
    scale : float
        Factor on sizes of letters.
    too_wide : bool
        Whether a part did not fit into the width.
    """

    figure: Figure
    left: float
    top: float
    width: float
    scale: float = 1.0
    too_wide: bool = False

    def write(self, words: str, size: float, *, inset: float = 0.0, **style: Any) -> None:
        """Write a paragraph; lines after the first are indented by `inset` [in]."""
        size *= self.scale
        bold = style.get("weight") == "bold"
        for k, line in enumerate(folded(words, size, self.width - inset, bold)):
            self.too_wide |= measured(line, size, bold) > self.width
            self._put(line, self.left + (inset if k else 0.0), size, **style)
            self.top += size * POINT * LEADING

    def heading(self, words: str, size: float) -> None:
        """Write a heading with a line below it."""
        self.write(words, size, weight="bold")
        self.line(0.8)
        self.top += 0.03

    def line(self, width: float, color: str = INK) -> None:
        """Draw a rule across the column."""
        ends = (self.left, self.left + self.width)
        across, down = self.figure.get_size_inches()
        y = 1 - self.top / down
        line = Rectangle(
            (ends[0] / across, y), (ends[1] - ends[0]) / across, 0, ec=color, fc="none", lw=width
        )
        self.figure.add_artist(line)

    def box(self, top: float, color: str, width: float, pad: float = 0.07) -> None:
        """Draw a frame from `top` down to the present place of the column."""
        across, down = self.figure.get_size_inches()
        corner = ((self.left - pad) / across, 1 - (self.top + pad) / down)
        size = (self.width + 2 * pad) / across, (self.top - top + 2 * pad) / down
        self.figure.add_artist(Rectangle(corner, *size, ec=color, fc="none", lw=width))

    def table(
        self, rows: Sequence[Sequence[str]], size: float, *, strong: int | None = None
    ) -> float:
        """Write rows below a pale head; the last column takes the remaining width and is wrapped.

        `strong` is the number of the bold row below the head.  The result is the lower end of the
        head. [in]
        """
        size *= self.scale
        gap = size * POINT * 1.1
        wide = [
            max(measured(row[k], size, k_row - 1 == strong) for k_row, row in enumerate(rows)) + gap
            for k in range(len(rows[0]) - 1)
        ]
        last = self.width - sum(wide)
        longest = max((word for row in rows for word in row[-1].split()), key=len, default="")
        self.too_wide |= measured(longest, size, strong is not None) > last
        head = self.top + size * POINT * LEADING
        for k, row in enumerate(rows):
            bold = strong is not None and k - 1 == strong
            style = {"color": PALE if k == 0 else INK, "weight": "bold" if bold else "normal"}
            left = self.left
            for cell, width in zip(row, wide, strict=False):
                self._put(cell, left, size, **style)
                left += width
            for line in folded(row[-1], size, last, bold):
                self._put(line, left, size, **style)
                self.top += size * POINT * LEADING
        self.top += 0.02
        return head

    def _put(self, words: str, left: float, size: float, **style: Any) -> None:
        across, down = self.figure.get_size_inches()
        self.figure.text(
            left / across, 1 - self.top / down, words, fontsize=size, va="top", **style
        )


def folded(words: str, size: float, width: float, bold: bool = False) -> list[str]:
    """Lines of words within a width [in] at a size of letters [pt]; a hard space breaks no line."""
    lines: list[str] = []
    width *= SPARE
    for word in SPACES.split(words.strip()):
        if lines and measured(f"{lines[-1]} {word}", size, bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines or [""]


def measured(words: str, size: float, bold: bool = False) -> float:
    """Width of words. [in]"""
    return size * POINT * sum(_wide(letter, bold) for letter in words)


@cache
def _wide(letter: str, bold: bool) -> float:
    """Width of a letter with its trailing space, over its size."""
    font = FontProperties(weight="bold" if bold else "normal")
    pair, one = (
        TextPath((0, 0), words, size=100, prop=font).get_extents().x1
        for words in (f"{letter}|", "|")
    )
    return max(float(pair - one), 0.0) / 100
