"""A lesson as pages of a PDF: a cover with its cautions, a page for each chapter, the answers."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import matplotlib
from matplotlib.figure import Figure

from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.figure import HEIGHT, draw_chapter
from metersim.questions.lesson.study import Lesson
from metersim.questions.lesson.text import CAUTIONS, USE, about, title
from metersim.questions.lesson.written import ANSWERS, BEFORE, METER, OURS, RULES, printed
from metersim.questions.shared.flow import Flow
from metersim.questions.shared.page import STYLE, WIDTH, encoded_pdf, new_page, origin_line
from metersim.questions.shared.style import (
    HAIR,
    HEAVY,
    LARGE,
    PALE,
    QUIET,
    SMALL,
    WALL,
    WALL_HEAD,
    WALL_TITLE,
    WARM,
)

SHEETS = {"metric": (8.27, 11.69), "us": (8.5, 11.0)}  # of paper, by family of units; in
MARGIN = 0.5  # in
ANSWER = 3.3  # in, of the longest answer


def lesson_pdf(lesson: Lesson) -> bytes:
    """Pages of a PDF: cautions and the meter, a page for each chapter, and the answers."""
    return encoded_pdf(list(lesson_pages(lesson)))


def lesson_pages(lesson: Lesson) -> Iterator[Figure]:
    """The pages of `lesson_pdf`."""
    with matplotlib.rc_context(STYLE):
        yield _cover(lesson)
        parts = printed(lesson)
        for number, part in enumerate(parts, 1):
            yield _chapter(lesson, part, number)
        yield from _answers(lesson, parts)


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
    box.write(BEFORE, WALL_HEAD, weight="bold")
    for line in CAUTIONS:
        box.top += 0.05
        box.write(line, WALL)
    box.box(top, WARM, HEAVY)
    page.top = box.top + 0.35
    for line in USE:
        page.write(line, WALL)
        page.top += 0.08
    page.top += 0.15
    page.heading(METER, WALL_HEAD)
    page.top += 0.08
    for line in about(lesson):
        page.write(line, WALL)
        page.top += 0.08
    return page.figure


def _chapter(lesson: Lesson, part: Chapter, number: int) -> Figure:
    page = _page(lesson)
    page.write(f"{number}. {part.title}", WALL_TITLE, weight="bold")
    page.top += 0.12
    page.write(part.question, WALL_HEAD, weight="bold")
    page.top += 0.1
    across, down = page.figure.get_size_inches()
    bottom = down - page.top - HEIGHT
    draw_chapter(page.figure, lesson, part.name, ((across - WIDTH) / 2, bottom, WIDTH, HEIGHT))
    page.top += HEIGHT + 0.1
    page.write(part.see, LARGE, color=QUIET)
    page.top += 0.25
    page.write(OURS, WALL_HEAD, weight="bold")
    for _ in range(RULES):
        page.top += 0.35
        if page.top < down - MARGIN - 0.1:
            page.line(HAIR, PALE)
    return page.figure


def _answers(lesson: Lesson, parts: tuple[Chapter, ...]) -> Iterator[Figure]:
    """The answers, on as many pages as they take."""
    page = _page(lesson)
    page.write(ANSWERS, WALL_TITLE, weight="bold")
    for number, part in enumerate(parts, 1):
        if page.top > page.figure.get_figheight() - MARGIN - ANSWER:
            yield page.figure
            page = _page(lesson)
        page.top += 0.18
        page.write(f"{number}. {part.title}", WALL_HEAD, weight="bold")
        page.write(part.question, LARGE, color=QUIET)
        page.top += 0.04
        for sentence in part.answer:
            page.write(sentence, WALL)
        for sentence in part.sentences:
            page.top += 0.04
            page.write(f"\N{BULLET} {sentence}", LARGE, inset=0.13)
    yield page.figure
