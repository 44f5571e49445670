"""Text of published cases: the answer on trust, and all rows with their predictions."""

from __future__ import annotations

import csv
import io
import json
import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from metersim.measures.indices import number_or_none
from metersim.questions.evidence.scoretext import (
    score_lines,
    score_markdown,
    score_rows,
    score_table,
    trust,
)
from metersim.questions.evidence.study import Evidence, table_rows
from metersim.questions.evidence.verdicts import LEVEL, Outcome
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.cases import Case
from metersim.questions.shared.words import aligned

WIDE = 96  # letters in a line of prose
RULES = (
    "published: what was printed, in the units of its source; above 0: of a difference, its sign "
    "alone. predicted: median over "
    "draws of what the source does not state, with 90 % of them; of a difference of shares, in "
    "percentage points. sampling: its share of their variance. Rules: 'metersim evidence --rules'"
)
ASSUMES = (
    "each source left out of the fit in turn, so that its levels are unseen; each source counts "
    "once; a width is that of the 90 % interval; skill 0 is a constant, 1 is exact."
)
HEAD = ("row", "published", "predicted (90 %)", "sampling", "verdict")


def summary(found: Evidence, details: bool = False) -> str:
    """How far to trust the model; with details the whole report of all cases.

    Parameters
    ----------
    found : Evidence
        Cases with their predictions and verdicts.
    details : bool
        Whether to add the table of all rows.
    """
    notes = [f"{counts_text(found)}. Most levels entered the fit, so they are no independent test."]
    notes += [_few(found.draws).strip()] if _few(found.draws) else []
    return Answer(
        first=trust(found.score),
        notes=notes,
        table=score_table(found.score),
        assumes=ASSUMES if found.score else "",
        details=evidence_text(found).splitlines(),
    ).text(details)


def evidence_text(found: Evidence) -> str:
    """Report of all cases with their rows."""
    title = f"Published rows against predictions, {found.draws} draws, random seed {found.seed}"
    lines = [*score_lines(found.score), "", title]
    for made in found.predictions:
        lines += ["", *_head(made.case), ""]
        lines += _table(found.of(made.case.name))
        if made.case.discussion:
            lines += ["", *textwrap.wrap(made.case.discussion, WIDE)]
    said = f"{RULES}.{_few(found.draws)}"
    counts = [counts_text(found), *levels_text(found)]
    return "\n".join([*lines, "", *counts, "", *textwrap.wrap(said, WIDE)])


def _few(draws: int) -> str:
    """Caution on intervals and verdicts when draws are too few; empty otherwise.

    A further draw lies between the least and the greatest of n with the chance (n - 1)/(n + 1).
    """
    holds = (draws - 1) / (draws + 1)
    if holds >= LEVEL:
        return ""
    held = f"{holds * 100:.0f} %"
    return f" With {draws} draws an interval holds {held} only, and verdicts are loose."


def counts_text(found: Evidence) -> str:
    """Number of rows by verdict in one line."""
    counts = ", ".join(f"{many} {verdict}" for verdict, many in found.counts.items())
    return f"{len(found.outcomes)} rows: {counts}"


def levels_text(found: Evidence) -> list[str]:
    """How many levels lie inside their intervals, and how wide those are; empty without levels."""
    many, inside, width = found.levels
    if not many:
        return []
    wide = f"; intervals of shares are {width:.2g} percentage points wide"
    wide = "" if math.isnan(width) else wide
    return [f"{inside} of {many} levels lie inside their 90 % interval{wide}"]


def _head(case: Case) -> list[str]:
    lines = textwrap.wrap(f"{case.name}: {case.reference}", WIDE)
    for word, texts in ((case.mark, case.read), ("assumed", case.assumed)):
        for text in texts:
            lines += textwrap.wrap(
                text, WIDE, initial_indent=f"  {word + ':':9}", subsequent_indent=" " * 11
            )
    for text in _drawn(case):
        lines += textwrap.wrap(text, WIDE, initial_indent="  drawn:   ", subsequent_indent=" " * 11)
    return lines


def _drawn(case: Case) -> list[str]:
    """Lines with drawn inputs: those of all conditions, then those of single ones."""
    each: dict[str, dict[str, None]] = {}  # a dict keeps the order
    for condition in case.conditions.values():
        own = each.setdefault(condition.of or condition.name, {})
        own.update((str(one), None) for part in condition.parts for one in condition.unknown(part))
    alike = [one for one in next(iter(each.values())) if all(one in own for own in each.values())]
    texts = ["; ".join([*map(str, case.unknown), *alike])]
    alone: dict[str, list[str]] = {}
    for name, own in each.items():
        alone.setdefault("; ".join(one for one in own if one not in alike), []).append(name)
    texts += [f"{', '.join(names)}: {own}" for own, names in alone.items() if own]
    return [text for text in texts if text]


def _table(outcomes: Sequence[Outcome]) -> list[str]:
    """Table of outcomes, with reasons below; the column of sampling error is left out if empty."""
    rows = [HEAD, *map(_cells, outcomes)]
    place = HEAD.index("sampling")
    if not any(row[place] for row in rows[1:]):
        rows = [(*row[:place], *row[place + 1 :]) for row in rows]
    head, *lines = aligned(rows).splitlines()
    made = [head]
    for line, outcome in zip(lines, outcomes, strict=True):
        made += [line, *([f"  {outcome.why}"] if outcome.why else [])]
    return made


def _cells(outcome: Outcome) -> tuple[str, ...]:
    """Cells of an outcome in the order of `HEAD`, without its reason."""
    share = outcome.interval.sampling if outcome.interval else math.nan
    sampling = "" if math.isnan(share) else f"{share * 100:.0f} %"
    return outcome.row, outcome.published, outcome.predicted, sampling, outcome.verdict


def evidence_markdown(found: Evidence) -> str:
    """Markdown table of all rows, followed by the discussions of cases."""
    head = ("case", *HEAD)
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    for o in found.outcomes:
        *cells, verdict = _cells(o)
        row = (o.case, *cells, f"{verdict}: {o.why}" if o.why else verdict)
        lines.append("| " + " | ".join(cell.replace("|", r"\|") for cell in row) + " |")
    said = [
        f"- *{made.case.name}*: {' '.join(made.case.discussion.split())}"
        for made in found.predictions
        if made.case.discussion
    ]
    return "\n".join([*lines, "", *said]).rstrip() + "\n"


def score_head(found: Evidence) -> str:
    """The score of unseen levels as Markdown: its lines, and a table of all its parts."""
    first, *lines = (line.strip() for line in score_lines(found.score))
    if found.score is None:
        return f"{first}\n"
    return "\n".join([f"**{first}**", "", *lines[:3], "", score_markdown(found.score)])


def evidence_csv(outcomes: Sequence[Outcome]) -> str:
    """CSV of all rows with their numbers."""
    return _csv(table_rows(outcomes))


def score_csv(found: Evidence) -> str:
    """CSV of all parts of the score; empty where none is shipped."""
    return _csv(score_rows(found.score))


def evidence_json(found: Evidence) -> str:
    """JSON of the score, parts in a list, and of all rows; what is not known is null."""
    made = {
        "draws": found.draws,
        "seed": found.seed,
        "score": list(map(_known, score_rows(found.score))),
        "counts": found.counts,
        "rows": list(map(_known, table_rows(found.outcomes))),
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _known(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row with None in place of nan."""
    return {k: number_or_none(v) if isinstance(v, float) else v for k, v in row.items()}


def _csv(found: Iterable[Mapping[str, Any]]) -> str:
    rows = list(found)
    if not rows:
        return ""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
