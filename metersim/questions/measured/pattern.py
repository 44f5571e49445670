"""What a fold by holes says: which hole fails, or how large a failure would be detected."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from metersim.measures.fold import (
    DOUBLES,
    FAILS,
    FEWEST_TURNS,
    LONGEST,
    MISSES,
    FailingHole,
    Fold,
)
from metersim.measures.indices import number_or_none
from metersim.questions.shared.answer import capital
from metersim.questions.shared.words import aligned, plural

BLURRED = 0.18
"""Scatter over the distance of cells, beyond which a count can lose a cell unnoticed where cells
also slip: then a neighbour of the failing hole is named. [1]"""
RAREST = 0.001  # chance below which no number is given
FIRST_HOLE = "hole 1 dropped the first seed"


def has_pattern(folds: Sequence[Fold]) -> bool:
    """Whether some hole fails."""
    return any(one.found for one in folds)


def pattern_sentences(folds: Sequence[Fold]) -> list[str]:
    """A sentence for each row with a hole that fails, and one for all rows without."""
    found = [pattern_words(one) for one in folds if one.found]
    rest = [pattern_words(one) for one in folds if one.lost or one.too_short]
    quiet = [one for one in folds if not (one.found or one.lost or one.too_short)]
    if quiet:
        where = ""
        if len(folds) > 1:
            where = f" in {len(quiet)} {'other ' if found else ''}{plural(len(quiet), 'row')}"
        found.append(f"{capital(no_pattern(min(quiet, key=lambda one: one.power), where))}.")
    return found + rest


def pattern_words(one: Fold) -> str:
    """What the fold of one row says, in one sentence."""
    said = _words(one)
    return f"{one.label}: {said}" if one.label else capital(said)


def _words(one: Fold) -> str:
    if one.too_short:
        return (
            f"too short for a pattern by hole: {FEWEST_TURNS} turns of {one.holes} holes are "
            f"needed, these are {one.turns:.2g}."
        )
    if one.lost:
        return (
            f"no verdict by hole: seeds scatter, or cells slip, so much that the count of the "
            f"{one.holes} holes is lost."
        )
    if not one.found:
        return f"{no_pattern(one)}."
    many = len(one.found)
    found = "; ".join(_named(part, many > 1) for part in one.found[:3])
    more = f"; {many - 3} more: see --details" if many > 3 else ""
    if many > 1:
        said = f"{many} holes in {one.holes} fail ({found}{more}): look at these holes"
    else:
        beside = " and its neighbours" if one.scatter > BLURRED else ""
        hole = f"look at that hole{beside}, number {one.found[0].hole}"
        said = f"one hole in {one.holes} fails ({found}): {hole}"
    return f"{said} ({FIRST_HOLE})."


def _named(one: FailingHole, numbered: bool) -> str:
    verb = "misses" if one.kind == MISSES else "has two seeds in"
    hole = f"number {one.hole} " if numbered else ""
    return f"{hole}{verb} {one.count} of {one.turns} turns"


def no_pattern(one: Fold, where: str = "") -> str:
    """That no hole fails, and in how many of 100 counts one that fails would be detected."""
    return (
        f"no pattern by hole is detected{where}; a hole that fails {_share(FAILS)} of its turns "
        f"would be detected in {min(int(100 * one.power), 99)} of 100 such counts"
    )


def _share(share: float) -> str:
    return "half" if share == 0.5 else f"{100 * share:.0f} %"


def pattern_text(folds: Sequence[Fold]) -> list[str]:
    """Lines of the report: every hole that fails with its interval, and what the fold rests on."""
    return [line for one in folds for line in _lines(one)] + (
        [
            "The cells are followed by their neighbours, so slip does not add up. Where no hole "
            "fails, a pattern is found in 5 of 100 such answers at most, over all holes, misses, "
            "doubles and rows.",
            f"Numbers of holes follow the order in which they drop seeds; {FIRST_HOLE}.",
        ]
        if folds
        else []
    )


def _lines(one: Fold) -> Iterator[str]:
    yield pattern_words(one)
    for part in one.found:
        ends = " to ".join(f"{100 * end:.0f}" for end in (part.share.low, part.share.high))
        what = "empty" if part.kind == MISSES else "two seeds"
        chance = (
            f"fewer than 1 in {1 / RAREST:,.0f}"
            if part.chance < RAREST
            else f"at most {100 * part.chance:.2g} in 100"
        )
        yield (
            f"hole {part.hole}: {what} in {part.count} of {part.turns} turns ({ends} %, 95 % "
            f"interval); chance alone explains that in {chance} such answers"
        )
    if not (one.lost or one.too_short):
        counts = {MISSES: one.misses, DOUBLES: one.doubles}
        heads = ("turns", *(f"holes with {kind} so often" for kind in counts))
        most = max(int(part.max()) for part in counts.values())
        rows = [
            (str(times), *(str(int((part == times).sum())) for part in counts.values()))
            for times in range(most + 1)
            if any((part == times).any() for part in counts.values())
        ]
        yield from aligned([heads, *rows]).splitlines()
    if one.left_out:
        yield (
            f"{one.left_out} spacings before or after a gap of over {LONGEST:g} cells are not "
            "folded: after a stop the disc may have turned"
        )


def pattern_json(folds: Sequence[Fold]) -> list[dict[str, Any]]:
    """All folds for JSON."""
    return [
        {
            "row": one.label,
            "holes": one.holes,
            "turns": one.turns,
            "too_short": one.too_short,
            "count_lost": one.lost,
            "scatter_over_cells": number_or_none(one.scatter),
            "passages": one.passed.tolist(),
            "misses": one.misses.tolist(),
            "doubles": one.doubles.tolist(),
            "failing": [
                {
                    "hole": part.hole,
                    "kind": part.kind,
                    "count": part.count,
                    "turns": part.turns,
                    "share": part.share.to_dict(),
                    "chance_at_most": part.chance,
                }
                for part in one.found
            ],
            "detects_a_hole_that_fails_half": number_or_none(one.power),
            "spacings_left_out": one.left_out,
        }
        for one in folds
    ]
