"""The answer of ``metersim next`` where signs were seen, or where the machine has a fan."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence

from metersim.files.whole import write_all
from metersim.machine.scenario import Scenario
from metersim.questions.next.causeanswer import SETTINGS, causes_answer
from metersim.questions.next.causes import Causes, find_causes
from metersim.questions.next.causewritten import causes_json
from metersim.questions.next.signs import Signs
from metersim.questions.next.study import NextMove
from metersim.questions.shared.options import crew


def answer_causes(
    options: argparse.Namespace,
    scenario: Scenario,
    signs: Signs,
    moved: Callable[[], NextMove],
    seed: int,
    workers: int,
    notes: Sequence[str],
) -> str:
    """Answer of likely causes, with files that are asked for.

    Parameters
    ----------
    options : argparse.Namespace
        Options as typed.
    scenario : Scenario
        The machine at its present settings.
    signs : Signs
        What was seen and counted.
    moved : callable
        Function that gives the next move of a setting by the counts alone.
    seed : int
        Random seed.
    workers : int
        Processes.
    notes : sequence of str
        Notes on the counts.

    Raises
    ------
    BadInput
        When signs contradict one another.
    """
    with crew(workers, options.workers) as executor:
        causes = find_causes(scenario, signs, seed=seed, executor=executor)
    move = moved() if asks_for_move(causes) else None
    written: list[tuple[str, str | bytes]] = []
    content = causes_json(causes, move) if options.json else ""
    if options.json and options.json != "-":
        written.append((options.json, content))
    if options.figure:
        from metersim.questions.next.causefigure import causes_figure
        from metersim.questions.shared.page import encoded

        drawn = causes_figure(causes, options.units)
        written.append((options.figure, encoded(drawn, options.figure)))
    write_all(written)
    if options.json == "-":
        return content.removesuffix("\n")
    return causes_answer(causes, options.units, notes, options.details, move)


def asks_for_move(causes: Causes) -> bool:
    """Whether the likeliest cause is a setting, or one that a setting makes up for, and counts say
    which way to move it."""
    return bool(causes.signs.counts) and causes.ranked[0] in SETTINGS
