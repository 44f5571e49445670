"""Text of published cases beside what the model predicts."""

from __future__ import annotations

import csv
import io
import math
import textwrap
from collections.abc import Sequence

from metersim.questions.evidence.study import Evidence, table_rows
from metersim.questions.evidence.verdicts import LEVEL, Outcome
from metersim.questions.shared.cases import Case
from metersim.questions.shared.words import aligned

WIDE = 96  # letters of a line of prose
RULES = (
    "published: what was printed, ± what the median may miss it by (a rule, not an error of the "
    "source); above 0: of a difference, its sign alone. predicted: median over draws of what the "
    "source does not state, with 90 % of them; of a difference of shares, in points. luck: its "
    "share of their variance. A row whose interval is too wide to tell anything does not agree, "
    "though it holds the published value. Rules: 'metersim evidence --rules'"
)
HEAD = ("row", "published", "predicted (90 %)", "luck", "verdict")


def evidence_text(found: Evidence) -> str:
    """All cases with their rows, as text."""
    lines = [f"Published rows against predictions, {found.draws} draws, random seed {found.seed}"]
    for made in found.predictions:
        lines += ["", *_head(made.case), ""]
        lines += _table(found.of(made.case.name))
        if made.case.discussion:
            lines += ["", *textwrap.wrap(made.case.discussion, WIDE)]
    said = f"{RULES}.{_few(found.draws)}"
    return "\n".join([*lines, "", counts_text(found), "", *textwrap.wrap(said, WIDE)])


def _few(draws: int) -> str:
    """What intervals and verdicts are worth when draws are too few for what they say, or nothing.

    From the least to the greatest of n draws a further one lies with the chance (n - 1)/(n + 1).
    """
    holds = (draws - 1) / (draws + 1)
    if holds >= LEVEL:
        return ""
    held = f"{holds * 100:.0f} %"
    return f" With {draws} draws an interval holds {held} only, and verdicts are loose."


def counts_text(found: Evidence) -> str:
    """How many rows agree, in a line."""
    told = ", ".join(f"{many} {verdict}" for verdict, many in found.counts.items())
    return f"{len(found.outcomes)} rows: {told}"


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
    """What is drawn: for all conditions alike, then for some alone."""
    each: dict[str, dict[str, None]] = {}  # keeps the order, as a set would not
    for condition in case.conditions.values():
        own = each.setdefault(condition.of or condition.name, {})
        own.update((str(one), None) for part in condition.parts for one in part.unknown)
    alike = [one for one in next(iter(each.values())) if all(one in own for own in each.values())]
    texts = ["; ".join([*map(str, case.unknown), *alike])]
    alone: dict[str, list[str]] = {}
    for name, own in each.items():
        alone.setdefault("; ".join(one for one in own if one not in alike), []).append(name)
    texts += [f"{', '.join(names)}: {own}" for own, names in alone.items() if own]
    return [text for text in texts if text]


def _table(outcomes: Sequence[Outcome]) -> list[str]:
    """Rows as columns, what was missed under its row; no column of luck where none is told."""
    rows = [HEAD, *map(_cells, outcomes)]
    luck = HEAD.index("luck")
    if not any(row[luck] for row in rows[1:]):
        rows = [(*row[:luck], *row[luck + 1 :]) for row in rows]
    head, *lines = aligned(rows).splitlines()
    made = [head]
    for line, outcome in zip(lines, outcomes, strict=True):
        made += [line, *([f"  {outcome.why}"] if outcome.why else [])]
    return made


def _cells(outcome: Outcome) -> tuple[str, ...]:
    """By `HEAD`; what was missed stands apart."""
    share = outcome.interval.luck if outcome.interval else math.nan
    luck = "" if math.isnan(share) else f"{share * 100:.0f} %"
    return outcome.row, outcome.published, outcome.predicted, luck, outcome.verdict


def evidence_markdown(found: Evidence) -> str:
    """All rows as one table in Markdown, then the discussion of each case that has one."""
    head = ("case", *HEAD)
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    for o in found.outcomes:
        *cells, verdict = _cells(o)
        told = (o.case, *cells, f"{verdict}: {o.why}" if o.why else verdict)
        lines.append("| " + " | ".join(cell.replace("|", r"\|") for cell in told) + " |")
    said = [
        f"- *{made.case.name}*: {' '.join(made.case.discussion.split())}"
        for made in found.predictions
        if made.case.discussion
    ]
    return "\n".join([*lines, "", *said]).rstrip() + "\n"


def evidence_csv(outcomes: Sequence[Outcome]) -> str:
    """All rows with their numbers."""
    rows = list(table_rows(outcomes))
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
