"""The blind test: each case on several machines, told by an observer, and diagnosed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from typing import Protocol

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.questions.next.causes import find_causes
from metersim.questions.next.signs import Signs
from metersim.questions.next.simulated import Simulated, simulated
from metersim.run.parallel import in_order
from tests.validation.blind.checklist import first_item
from tests.validation.blind.machines import Build, Case, builds, cases
from tests.validation.blind.observer import Observer
from tests.validation.blind.scoring import ELSE, OUTSIDE, Answer

SEED = 31
DRAWN, FORMED = 3, 2
"""Machines of each case drawn from the spread of the model, and built otherwise than the model."""


class Found(Protocol):
    """What the test reads of a diagnosis."""

    @property
    def chances(self) -> Mapping[str, float]: ...

    @property
    def prior(self) -> Mapping[str, float]: ...

    @property
    def lines(self) -> tuple[tuple[str, ...], ...]: ...

    def chance_of(self, names: tuple[str, ...]) -> float: ...


Diagnose = Callable[[Scenario, Signs], Found]


def answer(case: Case, build: Build, seed: int, diagnose: Diagnose) -> Answer | None:
    """What is said of a case on one machine; None where that machine cannot run."""
    observer = Observer(case=case, build=build, seed=seed)
    try:
        signs, look = observer.signs(), observer.look
    except BadInput:
        return None
    truth = ELSE if case.truth == OUTSIDE else case.truth
    told = [f"{look.cells} counted, {look.skips} skips, {look.doubles} doubles"]
    told += [f"{sign} {word}" for sign, word in observer.said.items()]
    plain = Answer(
        case=case.name,
        kind=build.kind,
        build=build.words,
        truth=case.truth,
        near=tuple(case.near),
        listed=first_item(look, case.counted_by, observer.said),
        told=", ".join(told),
    )
    try:
        found = diagnose(case.stated(), signs)
    except BadInput:
        return plain
    first = found.lines[0]
    return replace(
        plain,
        name=(name := max(found.chances, key=lambda one: found.chances[one])),
        first=first,
        chance=found.chance_of(first),
        of_name=found.chances[name],
        of_truth=found.chances.get(truth, 0.0),
        before=found.prior.get(truth, 0.0),
    )


def diagnosis(scenario: Scenario) -> Diagnose:
    """The diagnosis of one stated machine, which is simulated once for all that is said of it."""
    try:
        known = simulated(scenario, seed=1)
    except BadInput as refused:
        why = refused

        def refuse(scenario: Scenario, signs: Signs) -> Found:
            raise why

        return refuse
    return partial(_with, known)


def _with(known: Simulated, scenario: Scenario, signs: Signs) -> Found:
    return find_causes(scenario, signs, seed=1, known=known)


def _answers_of(
    stated: Sequence[tuple[int, Case]], *, seed: int, drawn: int, formed: int
) -> list[Answer]:
    """Answers on all cases of one stated machine, which share what is simulated."""
    diagnose = diagnosis(stated[0][1].stated())
    made = (
        answer(case, build, seed + 100 * number + k, diagnose)
        for number, case in stated
        for k, build in enumerate(builds(case, number, drawn=drawn, formed=formed))
    )
    return [one for one in made if one is not None]


def study(
    chosen: Sequence[str] = (),
    *,
    seed: int = SEED,
    drawn: int = DRAWN,
    formed: int = FORMED,
    executor: Executor | None = None,
) -> Iterator[Answer]:
    """Answers on the cases of some names, or on all, as they come.

    Parameters
    ----------
    chosen : sequence of str
        Names of cases; all without one.
    seed : int
        Random seed of machines and persons.
    drawn, formed : int
        Machines of each case beside the usual one.
    executor : Executor, optional
        Executor of the machines.
    """
    by_key: dict[tuple[str, tuple[str, ...]], list[tuple[int, Case]]] = {}
    for number, case in enumerate(cases()):
        if not chosen or case.name in chosen:
            by_key.setdefault(case.key, []).append((number, case))
    job = partial(_answers_of, seed=seed, drawn=drawn, formed=formed)
    for some in in_order(job, list(by_key.values()), executor):
        yield from some
