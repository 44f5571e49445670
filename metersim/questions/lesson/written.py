"""A lesson as an HTML document that stands alone and prints with its answers on their own page."""

from __future__ import annotations

from dataclasses import replace

from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.figure import chapter_figure
from metersim.questions.lesson.study import Lesson
from metersim.questions.lesson.text import CAUTIONS, USE, about, chapters, title
from metersim.questions.shared.html import (
    PAPER,
    STYLE,
    document,
    element,
    figure,
    group,
    listing,
    paragraphs,
    section,
)
from metersim.questions.shared.page import encoded, origin_line, unbroken

BEFORE, ANSWERS = "Cautions", "Answers"
METER = "The meter of this lesson"
OURS = "Our answer:"
RULES = 3  # lines to write on
OWN_STYLE = """
.question { font-weight: bold; font-size: 1.08rem }
.ours { display: none } .answer { break-inside: avoid }
@media print { section.chapter { break-before: page } .chapter figure { max-width: none }
  section.answers { break-before: page }
  .ours { display: block; margin-top: 1rem } .ours hr { border: 0;
  border-bottom: 1px solid #8a8a8a; margin: 0 0 1.9rem } }
""".strip()


def lesson_html(lesson: Lesson) -> str:
    """A self-contained document: cautions, seven chapters, and the answers on their own page."""
    parts = printed(lesson)
    rules = "\n".join(["<hr>"] * RULES)
    body = [
        element("h1", title(lesson)),
        group("caution", element("h3", BEFORE), listing(CAUTIONS)),
        paragraphs(USE),
        section(METER, paragraphs(about(lesson))),
        *(
            section(
                f"{number}. {part.title}",
                element("p", part.question, "question"),
                figure(
                    encoded(chapter_figure(lesson, part.name), f"{part.name}.svg"),
                    f"{part.title}: a figure whose answer stands at the end",
                    part.see,
                ),
                group("ours", element("p", OURS), rules),
                kind="chapter",
            )
            for number, part in enumerate(parts, 1)
        ),
        section(
            ANSWERS,
            *(
                group(
                    "answer",
                    element("h3", f"{number}. {part.title}"),
                    element("p", part.question, "quiet"),
                    paragraphs([" ".join(part.answer)]),
                    listing(part.sentences),
                )
                for number, part in enumerate(parts, 1)
            ),
            element("p", origin_line([lesson.origin], lesson.units), "quiet"),
            kind="answers",
        ),
    ]
    style = f"{STYLE}\n{OWN_STYLE}"
    return document(title(lesson), body, paper=PAPER[lesson.units], style=style)


def printed(lesson: Lesson) -> tuple[Chapter, ...]:
    """Chapters whose lines do not break between a number and its unit."""
    return tuple(
        replace(
            part,
            question=unbroken(part.question),
            sentences=tuple(map(unbroken, part.sentences)),
            answer=tuple(map(unbroken, part.answer)),
        )
        for part in chapters(lesson)
    )
