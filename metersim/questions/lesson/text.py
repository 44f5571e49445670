"""A lesson in words: what stands before its chapters, and its printed answer."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.machine.airline import middle_row
from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.counttext import counting_chapter, machines_chapter
from metersim.questions.lesson.movetext import steps_chapter, together_chapter, trade_chapter
from metersim.questions.lesson.phrases import hundred
from metersim.questions.lesson.rowtext import lens_chapter, speed_chapter
from metersim.questions.lesson.study import Lesson
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.counts import CERTAINTY
from metersim.questions.shared.notes import BEFORE, PROVE, RUNNING, WITH_THE_FAN, asked

CAUTIONS = (*BEFORE, WITH_THE_FAN)
USE = (
    "Read the question, look at the figure, and let the class answer. The answers are at the end.",
    "A cell is a hole of the disc that passes. A single is a cell with one seed, a skip one "
    "without a seed, a double one with two or more.",
    "A spacing is normal from a half to one and a half of the planned one. Below that it is close, "
    "above it is missed.",
)


def chapters(lesson: Lesson) -> tuple[Chapter, ...]:
    """The seven chapters in words."""
    units = lesson.units
    return (
        trade_chapter(lesson.trade, units),
        steps_chapter(lesson.steps, units),
        counting_chapter(lesson.counting, units),
        together_chapter(lesson.together, units),
        speed_chapter(lesson.speed, units),
        lens_chapter(lesson.lens, units),
        machines_chapter(lesson.machines, units),
    )


def title(lesson: Lesson) -> str:
    """Title of a lesson."""
    return f"A meter in seven questions: {lesson.origin.scenario.title}"


def about(lesson: Lesson) -> list[str]:
    """What the meter of a lesson is, and what its numbers are."""
    scenario = lesson.origin.scenario
    own = any(one != scenario.lot.size_cvs for one in scenario.unknown)
    said = asked(scenario, lesson.units, at_middle=own)
    if scenario.is_toolbar:
        said.append(
            f"The machine has {scenario.toolbar.rows} rows on one fan. The lesson follows row "
            f"{middle_row(scenario)}; vacuum is that at the gauge."
        )
    if scenario.way:
        said.append("Speeds along the pass are those of the scenario, whatever speed is set.")
    return [
        *said,
        f"All numbers were computed for this meter, with random seed {lesson.origin.seed} and the "
        "same seeds in all runs that are compared.",
        "A change is called detected where sampling error alone would show it in at most "
        f"{hundred(1 - CERTAINTY)} such runs. The last chapter shows how machines differ. {PROVE}",
    ]


def answer_text(lesson: Lesson, written: Sequence[str]) -> str:
    """The printed answer: what was written, and the fact of each chapter in one line."""
    parts = chapters(lesson)
    return Answer(
        caution=RUNNING,
        first=[f"Written: {' and '.join(written)}, with a figure, a question and its answer each."],
        table=[("chapter", "what the class will see"), *((part.name, part.fact) for part in parts)],
        assumes="the usual machine, with common random numbers in each chapter.",
    ).text()
