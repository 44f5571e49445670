"""A lesson as an HTML document and as the pages of a PDF, made of the same words and figures."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import replace

import matplotlib
from matplotlib.figure import Figure

from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.figure import HEIGHT, chapter_figure, draw_chapter
from metersim.questions.lesson.study import Lesson
from metersim.questions.lesson.text import CAUTIONS, USE, about, chapters, title
from metersim.questions.shared.flow import Flow
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
from metersim.questions.shared.page import STYLE as DRAWN
from metersim.questions.shared.page import (
    WIDTH,
    encoded,
    encoded_pdf,
    new_page,
    origin_line,
    unbroken,
)
from metersim.questions.shared.style import LARGE, PALE, QUIET, SMALL, WALL, WALL_TITLE, WARM

SHEETS = {"metric": (8.27, 11.69), "us": (8.5, 11.0)}  # of paper, by family of units; in
MARGIN = 0.5  # in
HEAD = 13.0
BEFORE, ANSWERS = "Cautions", "Answers"
FIRST = "What it shows"
OURS = "Our answer:"
RULES = 3  # lines to write on
OWN_STYLE = """
.question { font-weight: bold; font-size: 1.08rem }
.ours { display: none }
@media print { section.chapter { break-before: page } section.answers { break-before: page }
  .ours { display: block; margin-top: 1rem } .ours hr { border: 0;
  border-bottom: 1px solid #8a8a8a; margin: 0 0 1.9rem } }
""".strip()


def lesson_html(lesson: Lesson) -> str:
    """A self-contained document: cautions, seven chapters, and the answers on their own page."""
    parts = _unbroken(lesson)
    rules = "\n".join(["<hr>"] * RULES)
    body = [
        element("h1", title(lesson)),
        group("caution", element("h3", BEFORE), listing(CAUTIONS)),
        paragraphs(USE),
        section("The meter of this lesson", paragraphs(about(lesson))),
        *(
            section(
                f"{number}. {part.title}",
                element("p", part.question, "question"),
                figure(
                    encoded(chapter_figure(lesson, part.name), f"{part.name}.svg"),
                    f"{part.title}: {part.fact}",
                    part.see,
                ),
                element("h3", FIRST),
                listing(part.sentences),
                group("ours", element("p", OURS), rules),
                kind="chapter",
            )
            for number, part in enumerate(parts, 1)
        ),
        section(
            ANSWERS,
            *(
                "\n".join(
                    [
                        element("h3", f"{number}. {part.title}"),
                        element("p", part.question, "quiet"),
                        paragraphs([" ".join(part.answer)]),
                    ]
                )
                for number, part in enumerate(parts, 1)
            ),
            element("p", origin_line([lesson.origin], lesson.units), "quiet"),
            kind="answers",
        ),
    ]
    style = f"{STYLE}\n{OWN_STYLE}"
    return document(title(lesson), body, paper=PAPER[lesson.units], style=style)


def lesson_pdf(lesson: Lesson) -> bytes:
    """Pages of a PDF: cautions and the meter, a page for each chapter, and the answers."""
    return encoded_pdf(list(lesson_pages(lesson)))


def lesson_pages(lesson: Lesson) -> Iterator[Figure]:
    """The pages of `lesson_pdf`."""
    with matplotlib.rc_context(DRAWN):
        yield _cover(lesson)
        parts = _unbroken(lesson)
        for number, part in enumerate(parts, 1):
            yield _chapter(lesson, part, number)
        yield from _answers(lesson, parts)


def _unbroken(lesson: Lesson) -> tuple[Chapter, ...]:
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


def _page(lesson: Lesson) -> Flow:
    across, down = SHEETS[lesson.units]
    page = new_page(down, across)
    foot = Flow(page, MARGIN, down - MARGIN, across - 2 * MARGIN)
    foot.write(origin_line([lesson.origin], lesson.units), SMALL, color=QUIET)
    return Flow(page, MARGIN, MARGIN, across - 2 * MARGIN)


def _cover(lesson: Lesson) -> Figure:
    page = _page(lesson)
    page.write(textwrap.shorten(title(lesson), 120, placeholder=" ..."), WALL_TITLE, weight="bold")
    page.top += 0.25
    top = page.top
    box = Flow(page.figure, page.left + 0.1, page.top, page.width - 0.2)
    box.write(BEFORE, HEAD, weight="bold")
    for line in CAUTIONS:
        box.top += 0.05
        box.write(line, WALL)
    box.box(top, WARM, 2.5)
    page.top = box.top + 0.35
    for line in USE:
        page.write(line, WALL)
        page.top += 0.08
    page.top += 0.15
    page.heading("The meter of this lesson", HEAD)
    page.top += 0.08
    for line in about(lesson):
        page.write(line, WALL)
        page.top += 0.08
    return page.figure


def _chapter(lesson: Lesson, part: Chapter, number: int) -> Figure:
    page = _page(lesson)
    page.write(f"{number}. {part.title}", WALL_TITLE, weight="bold")
    page.top += 0.12
    page.write(part.question, HEAD, weight="bold")
    page.top += 0.1
    across, down = page.figure.get_size_inches()
    bottom = down - page.top - HEIGHT
    draw_chapter(page.figure, lesson, part.name, ((across - WIDTH) / 2, bottom, WIDTH, HEIGHT))
    page.top += HEIGHT + 0.1
    page.write(part.see, LARGE, color=QUIET)
    page.top += 0.2
    page.heading(FIRST, HEAD)
    page.top += 0.08
    for sentence in part.sentences:
        page.write(f"\N{BULLET} {sentence}", WALL, inset=0.13)
        page.top += 0.06
    page.top += 0.25
    page.write(OURS, HEAD, weight="bold")
    for _ in range(RULES):
        page.top += 0.35
        if page.top < down - MARGIN - 0.1:
            page.line(0.6, PALE)
    return page.figure


def _answers(lesson: Lesson, parts: tuple[Chapter, ...]) -> Iterator[Figure]:
    """The answers, on as many pages as they take."""
    page = _page(lesson)
    page.write(ANSWERS, WALL_TITLE, weight="bold")
    for number, part in enumerate(parts, 1):
        if page.top > page.figure.get_figheight() - MARGIN - 1.5:
            yield page.figure
            page = _page(lesson)
        page.top += 0.18
        page.write(f"{number}. {part.title}", HEAD, weight="bold")
        page.write(part.question, LARGE, color=QUIET)
        page.top += 0.04
        for sentence in part.answer:
            page.write(sentence, WALL)
    yield page.figure
