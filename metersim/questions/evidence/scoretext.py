"""Text of the score of unseen levels: an answer, a few lines, a Markdown table, and flat rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from metersim.measures.indices import BY_KEY
from metersim.questions.evidence.score import (
    DIFFERENCE,
    PERCENT,
    SURE,
    TARGETED,
    Score,
    Scores,
)
from metersim.questions.shared.answer import MOST_ROWS
from metersim.questions.shared.statements import EXTRAS
from metersim.questions.shared.unseen import OUTLIERS
from metersim.questions.shared.words import aligned, measure_name, plain_name

NONE = "No score of unseen published levels is shipped with this version."
TITLE = "Score of published levels that the model had not seen (each source left out in turn)"
MOST_LINES = 4  # of measures in the short text
HEADS = (
    "",
    "levels",
    "sources",
    "inside 50 %",
    "inside 90 %",
    "median miss, pp",
    "width, pp",
    "skill",
)
SHORT = ("measure", "levels", "sources", "in 50 %", "in 90 %", "miss", "width", "skill")
COLUMNS = (*SHORT[:3], "inside 50 %", "inside 90 %", "median miss", "bias", "width")
FULL = (*COLUMNS, "interval score", "CRPS", "constant: 90 %, miss, width, CRPS", "skill")


def trust(found: Scores | None) -> list[str]:
    """How far to trust the model, in three sentences."""
    if found is None:
        return [NONE]
    whole = found.whole
    held = f"{whole.model.most * 100:.0f} %"
    ends = whole.inside_interval("most")
    between = "" if math.isnan(ends[0]) else f", {ends[0] * 100:.0f} to {ends[1] * 100:.0f} %"
    return [
        f"A 90 % interval of the model holds {held} of published levels that it had not seen "
        f"({whole.levels} levels{between}).",
        f"Half of its predictions are off by more than {whole.model.miss:.2g} percentage points.",
        _skill(whole),
    ]


def score_table(found: Scores | None) -> list[tuple[str, ...]]:
    """Heads and at most eight parts of the score: all, measures of many sources, and those apart.

    Parameters
    ----------
    found : Scores or None
        Score of unseen levels; None where none is shipped.
    """
    if found is None:
        return []
    room = MOST_ROWS - 1 - len(found.apart)  # other rows hold percentages alone
    in_percent = [one for one in found.measures if one.scored[0].level.unit == PERCENT]
    most = sorted(in_percent, key=lambda one: -len(one.laboratories))[:room]
    rows = [_short(one, plain) for one in (found.whole, *most, *found.apart)]
    return [HEADS, *rows]


def score_lines(found: Scores | None) -> list[str]:
    """Ten lines or fewer: what the score is, and what it is by measure."""
    if found is None:
        return [NONE]
    whole = found.whole
    lines = [TITLE, f"  {_coverage(whole)}", f"  {_size(whole)}", f"  {_skill(whole)}"]
    table = [_short(one) for one in found.measures if one.targeted][:MOST_LINES]
    if table:
        lines += [f"  {line}" for line in aligned([SHORT, *table]).splitlines()]
    apart = [f"{one.name}: {_inside(one, 'most')} of {one.levels}" for one in found.apart]
    if apart:
        lines.append(f"  Reported apart, inside 90 %: {'; '.join(apart)}.")
    return lines


def _coverage(one: Score) -> str:
    return (
        f"Of {one.levels} levels of {len(one.laboratories)} sources, {_inside(one, 'half')} lie "
        f"inside their 50 % interval and {_inside(one, 'most')} inside their 90 % interval."
    )


def _inside(one: Score, name: str) -> str:
    """Number of levels inside an interval: a mean over random seeds."""
    return f"{sum(getattr(each.model, name) for each in one.scored):.0f}"


def _size(one: Score) -> str:
    return (
        f"Median miss: {one.model.miss:.2g} percentage points. "
        f"Median width of the 90 % intervals: {one.model.width:.2g} percentage points."
    )


def _skill(one: Score) -> str:
    """Skill in words: what is less than a tenth, or may be 0, is no difference."""
    if math.isnan(one.skill):
        return "Too few sources share a measure to compare the model with a constant."
    many, (low, high) = one.compared.levels, one.skill_interval
    ends = f"{SURE * 100:.0f} %: {_ends((low, high), '+.2f')}"
    value = f"Skill against a constant ({many} levels): {one.skill:+.2f} ({ends})"
    if abs(one.skill) < DIFFERENCE or low <= 0 <= high:
        return f"{value}. No difference is detected."
    return f"{value}. The {'model' if one.skill > 0 else 'constant'} predicts better."


def _ends(ends: tuple[float, float], form: str) -> str:
    """Ends of an interval over sources, which one source does not have."""
    if math.isnan(ends[0]):
        return "one source"
    return f"{ends[0]:{form}} to {ends[1]:{form}}"


def called(name: str) -> str:
    """Name of a measure or a part in words."""
    if name in EXTRAS:
        return EXTRAS[name]
    return measure_name(name) if name in BY_KEY else name


def plain(name: str) -> str:
    """Name of a measure or a part in a default answer."""
    return plain_name(name) if name in BY_KEY else called(name)


def _counts(one: Score, name: Callable[[str], str] = called) -> tuple[str, ...]:
    return name(one.name), str(one.levels), str(len(one.laboratories))


def _short(one: Score, name: Callable[[str], str] = called) -> tuple[str, ...]:
    own = one.model
    shares = (f"{own.half * 100:.0f} %", f"{own.most * 100:.0f} %")
    skill = "-" if math.isnan(one.skill) else f"{one.skill:+.2f}"
    return *_counts(one, name), *shares, f"{own.miss:.2g}", f"{own.width:.2g}", skill


def _full(one: Score) -> tuple[str, ...]:
    own, other = one.model, one.constant
    shares = []
    for name in ("half", "most"):
        low, high = (end * 100 for end in one.inside_interval(name))
        shares.append(f"{getattr(own, name) * 100:.0f} % ({_ends((low, high), '.0f')})")
    sizes = (f"{x:.3g}" for x in (own.miss, own.bias, own.width, own.interval, own.crps))
    if other is None:
        return *_counts(one), *shares, *sizes, "", ""
    rest = f"{other.most * 100:.0f} %, {other.miss:.3g}, {other.width:.3g}, {other.crps:.3g}"
    return (
        *_counts(one),
        *shares,
        *sizes,
        rest,
        f"{one.skill:+.2f} ({_ends(one.skill_interval, '+.2f')})",
    )


def score_markdown(found: Scores) -> str:
    """Markdown table of all parts of a score, with what it means."""
    lines = ["| " + " | ".join(FULL) + " |", "|" + "---|" * len(FULL)]
    for one in (found.whole, *found.measures, *found.apart):
        name, *cells = _full(one)
        target = "" if one.targeted else " (no target)"
        lines.append(f"| {name}{target} | " + " | ".join(cells) + " |")
    said = (
        f"Intervals in brackets hold {SURE * 100:.0f} % and come from resampling sources. "
        f"A measure of fewer than {TARGETED} sources has no target. "
        f"Skills that differ by less than {DIFFERENCE:g} cannot be distinguished. "
        "The constant is Student's t of the same measure in the other sources. "
        "Its score covers the levels that have one."
    )
    why = [f"Outlier {name}: {reason}." for name, reason in OUTLIERS.items()]
    return "\n".join([*lines, "", said, *why]) + "\n"


def score_rows(found: Scores | None) -> Iterator[dict[str, Any]]:
    """Parts of a score as flat rows, shares from 0 to 1, all else in the unit of the levels."""
    for one in (found.whole, *found.measures, *found.apart) if found else ():
        own, other = one.model, one.constant
        half, most, skill = (*map(one.inside_interval, ("half", "most")), one.skill_interval)
        nothing = math.nan
        yield {
            "part": one.name,
            "unit": "/".join(sorted({each.level.unit for each in one.scored})),
            "levels": one.levels,
            "sources": len(one.laboratories),
            "has_target": one.targeted,
            "inside_50": own.half,
            "inside_50_low": half[0],
            "inside_50_high": half[1],
            "inside_90": own.most,
            "inside_90_low": most[0],
            "inside_90_high": most[1],
            "median_miss": own.miss,
            "bias": own.bias,
            "width_90": own.width,
            "interval_score_90": own.interval,
            "crps": own.crps,
            "constant_inside_90": other.most if other else nothing,
            "constant_median_miss": other.miss if other else nothing,
            "constant_width_90": other.width if other else nothing,
            "constant_crps": other.crps if other else nothing,
            "skill": one.skill,
            "skill_low": skill[0],
            "skill_high": skill[1],
        }
