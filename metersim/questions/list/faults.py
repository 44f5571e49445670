"""The list of faults: what each is, what it shows, and which look alike on a machine."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass

from metersim.machine.scenario import Scenario
from metersim.questions.shared.answer import Answer, capital
from metersim.questions.shared.faults.fault import CAUTIONS, LOCKED, MeterFault
from metersim.questions.shared.faults.groups import ALIKE, DAYS, Groups, groups_of
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.shows import shown_most
from metersim.questions.shared.faults.signatures import SAMPLES, Signatures, signatures
from metersim.questions.shared.words import plural, wrapped

MACHINE = "maize_field"  # scenario of the list, where none is named
ALONE = "-"
ROOM = 40  # letters of what a fault shows in the table
UNCLEAR = "nothing clear"
ENDS = ("just noticeable", "bad")


@dataclass(frozen=True, eq=False, kw_only=True)
class FaultList:
    """Faults of a machine, with their signatures and groups.

    Attributes
    ----------
    scenario : Scenario
        The machine in order.
    signatures : Signatures
        What each fault shows.
    groups : Groups
        Faults that look alike.
    seed : int
        Random seed.
    """

    scenario: Scenario
    signatures: Signatures
    groups: Groups
    seed: int

    @property
    def ordered(self) -> list[tuple[str, MeterFault, tuple[str, ...]]]:
        """Letter of the group, fault, and what it shows most, group by group.

        Groups of several faults come first; a fault that looks like no other has no letter.
        """
        most = dict(zip(self.signatures.faults, shown_most(self.signatures), strict=True))
        several = sorted((one for one in self.groups.groups if len(one) > 1), key=len, reverse=True)
        rows = [
            (chr(ord("A") + k), LIBRARY[name], most[name])
            for k, group in enumerate(several)
            for name in group
        ]
        single = [group[0] for group in self.groups.groups if len(group) == 1]
        return [*rows, *((ALONE, LIBRARY[name], most[name]) for name in single)]


def list_faults(
    scenario: Scenario, *, seed: int = 1, samples: int = SAMPLES, executor: Executor | None = None
) -> FaultList:
    """Faults of a machine, with what they show and which of them look alike.

    Parameters
    ----------
    scenario : Scenario
        The machine in order.
    seed : int
        Random seed of machines, severities, runs and days.
    samples : int
        Machines of each fault, 1 or more.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.  The result is the same.
    """
    found = signatures(scenario, seed=seed, samples=samples, executor=executor)
    return FaultList(
        scenario=scenario, signatures=found, groups=groups_of(found, seed=seed), seed=seed
    )


def faults_answer(found: FaultList, details: bool = False) -> str:
    """The list as text: the answer, a table of all faults, and with details each inspection."""
    groups = found.groups.groups
    several = [one for one in groups if len(one) > 1]
    alone = len(groups) - len(several)
    title, many = found.scenario.title, len(found.signatures.faults)
    first = [
        f"{title}: of {many} faults, {alone} look like no other after a day of observations.",
        f"The others fall into {len(several)} {plural(len(several), 'group')}. Only an inspection "
        "distinguishes the faults of a group."
        if several
        else "A day of observations distinguishes all of them.",
    ]
    if many < len(LIBRARY):
        first.append(_left_out(found))
    heads = ("group", "fault", "what is wrong", "min", "shows most")
    rows = [
        (
            letter,
            fault.name,
            fault.words,
            f"{fault.minutes:>3}",
            _fitting(most),
        )
        for letter, fault, most in found.ordered
    ]
    assumes = (
        f"{found.signatures.samples} machines of each fault, from just noticeable to bad; people "
        "count 500 seeds; min: minutes of its inspection. Weights, times and degrees of faults are "
        "assumptions"
    )
    return Answer(
        caution=CAUTIONS[LOCKED],
        first=first,
        table=[heads, *rows],
        assumes=f"{assumes}.",
        details=_report(found),
        more="each inspection with its caution, and what each fault changes",
    ).text(details)


def _fitting(most: tuple[str, ...]) -> str:
    """As many signs as the table has room for, the clearest first."""
    parts = [one for k, one in enumerate(most) if len(", ".join(most[: k + 1])) <= ROOM]
    return ", ".join(parts) or UNCLEAR


def _left_out(found: FaultList) -> str:
    out = [name for name in LIBRARY if name not in found.signatures.faults]
    return f"This machine cannot have: {', '.join(out)}."


def _report(found: FaultList) -> list[str]:
    """Lines of the whole report."""
    lines = [
        *wrapped(
            "Faults of one group look alike: after a day of observations, the right one of two has "
            f"a mean chance below {100 * ALIKE:.0f} % ({DAYS} days of each fault)."
        ),
        "",
    ]
    priors = dict(zip(found.signatures.faults, found.signatures.prior, strict=True))
    for letter, fault, most in found.ordered:
        group = f"group {letter}" if letter != ALONE else "looks like no other"
        lines += [
            f"{fault.name} ({group})",
            *_folded(f"{capital(fault.words)}."),
            *_folded(
                f"Rows: {fault.scope}. Onset: {fault.onset}. Seen best: {fault.when}. Of 100 "
                f"faults: {100 * priors[fault.name]:.0f}."
            ),
            *_folded(f"Shows: {', '.join(most) or UNCLEAR}."),
            *_folded(f"Caution: {fault.caution}"),
            *_folded(f"Check ({fault.state}, {fault.minutes} min): {fault.check}."),
            *(
                line
                for severity, said in enumerate(ENDS)
                for line in _folded(
                    f"{capital(said)}: {', '.join(fault.change(found.scenario, float(severity)))}"
                )
            ),
            "",
        ]
    return lines[:-1]


def _folded(text: str) -> list[str]:
    return [f"  {line}" for line in wrapped(text)]
