"""A lesson: seven things that a class should see of a meter, worked out for a scenario."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from metersim.machine.scenario import Scenario
from metersim.questions.lesson.counting import (
    MACHINES,
    Counting,
    Machines,
    counting,
    machines,
)
from metersim.questions.lesson.moves import (
    SingleSteps,
    Together,
    TradeOff,
    remembered,
    single_steps,
    trade_off,
    two_at_once,
)
from metersim.questions.lesson.row import (
    HIDDEN,
    SPEEDS,
    DustyLens,
    SpeedCost,
    dusty_lens,
    speed_cost,
)
from metersim.run.records import Origin
from metersim.run.simulation import origin_of

SETTINGS_RUN = 32  # meters of the first, second and fourth chapter, about


@dataclass(frozen=True)
class Lesson:
    """The numbers of a lesson, a part for each chapter.

    Attributes
    ----------
    origin : Origin
        Scenario, random seed and version.
    units : str
        Family of units of the steps: ``metric`` or ``us``.
    trade : TradeOff
        How skips and doubles trade off.
    steps : SingleSteps
        What one step of each setting does.
    counting : Counting
        What a count can and cannot show.
    together : Together
        Two settings moved at once.
    speed : SpeedCost
        What speed costs.
    lens : DustyLens
        What a dusty lens shows.
    machines : Machines
        How one machine differs from the next.
    """

    origin: Origin
    units: str
    trade: TradeOff
    steps: SingleSteps
    counting: Counting
    together: Together
    speed: SpeedCost
    lens: DustyLens
    machines: Machines


def lesson(
    scenario: Scenario,
    *,
    units: str = "metric",
    seed: int = 1,
    on_run: Callable[[int], object] | None = None,
) -> Lesson:
    """Work out all chapters of a lesson, with common random numbers in each.

    Parameters
    ----------
    scenario : Scenario
        The meter that the class has, or a machine, of which the middle row is followed.
    units : {'metric', 'us'}
        Family of units of the steps.
    seed : int
        Random seed.
    on_run : callable, optional
        Takes the number of finished runs.
    """
    done = 0

    def one_more() -> None:
        nonlocal done
        done += 1
        if on_run:
            on_run(done)

    run = remembered(seed, one_more)
    steps = single_steps(scenario, run, units)
    return Lesson(
        origin=origin_of(scenario, seed),
        units=units,
        trade=trade_off(scenario, run, units),
        steps=steps,
        counting=counting(scenario, steps, seed),
        together=two_at_once(scenario, run, units),
        speed=speed_cost(scenario, seed, units, one_more),
        lens=dusty_lens(scenario, seed, one_more),
        machines=machines(scenario, steps, seed, units, one_more),
    )


def runs_of(units: str) -> int:
    """Number of runs of a lesson, about; each has as many cells as that of a meter, about."""
    return SETTINGS_RUN + len(SPEEDS[units]) + 1 + len(HIDDEN) + MACHINES
