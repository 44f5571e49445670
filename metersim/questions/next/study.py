"""One next move for a meter, from what was counted: what is off, what to do, or to leave it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scipy.special import ndtri

from metersim.files.faults import BadInput, Fault, hint
from metersim.files.tables import dataframe
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.next.clues import Strange, strange
from metersim.questions.next.diagnosis import (
    MOST_METERS,
    STATES,
    Diagnosis,
    Seen,
    diagnose,
    meters_of,
)
from metersim.questions.next.moves import PARTS, Gain, Move, gains, moves_of, worth_of_knowing
from metersim.questions.next.target import (
    MOST_CELLS,
    Compared,
    Notches,
    Rule,
    compared,
    notches,
    trade_rule,
)
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import SENSOR, Look

if TYPE_CHECKING:
    import pandas as pd

LEAST = 0.002  # expected gain that is worth a move, as a share of cells
PLAIN = 0.01  # that is worth one though the count is as wanted: the settings themselves fall short
MOST_RUNS = 600  # of states drawn from the priors, each at all settings that were counted at
RESAMPLED = 0.2  # of the states drawn from the priors: those that moves are tried on
TOLD = ("guide",)  # what it would bring is told, asked for or not
LIKELY = 0.5  # part of the skips too many that the sensor makes, from which it is brushed first
SURE_ENOUGH = 0.1  # chance of making things worse that is put up with where nothing differs
LENS = Move("brush the sensor's lens, and count again", mends="sensor")

MOVE, MEND, BRUSH, SAME, NO_GAIN, STRANGE = "move", "mend", "brush", "same", "no gain", "strange"


@dataclass(frozen=True, eq=False)
class NextMove:
    """What counts say of a meter, and what to do next.

    Attributes
    ----------
    scenario : Scenario
        What is set now.
    targets : tuple of Compared
        Counts at these settings beside what is wanted; empty when there are none.
    diagnosis : Diagnosis
        What may be off, weighed.
    gains : tuple of Gain
        What every move is expected to bring, best first.
    parts : tuple of Gain
        The same of parts that were not asked for: for information.
    kind : str
        ``move`` a setting, ``mend`` a cause, ``brush`` the sensor's lens, or leave it, as the
        count is the ``same`` as wanted, or as ``no gain`` is worth it; ``strange`` where no such
        meter shows what was counted.
    chosen : Gain or None
        The one move; None to leave it, and for the lens, which moves no seed.
    more : int or None
        Cells still to count until it is clear, when that can be said.
    worths : mapping of str to float
        By cause, how much more the best move is expected to bring once it is known. [1]
    notches : Notches or None
        Whether a second notch is called for; None where the notch is not what is to be moved.
    rule : Rule
        What the trade would do.
    left_out : int
        Older counts that were not used.
    strange : tuple of Strange
        What no likely state explains in the counts.
    """

    scenario: Scenario
    targets: tuple[Compared, ...]
    diagnosis: Diagnosis
    gains: tuple[Gain, ...]
    parts: tuple[Gain, ...]
    kind: str
    chosen: Gain | None
    more: int | None
    worths: dict[str, float]
    notches: Notches | None
    rule: Rule
    left_out: int
    strange: tuple[Strange, ...] = ()

    def __repr__(self) -> str:
        return f"<NextMove: {self.words}; to_dataframe() lists the moves>"

    @property
    def words(self) -> str:
        """What to do, in words."""
        if self.kind == BRUSH:
            return LENS.words
        if self.kind == STRANGE:
            return "check the counts and what is set before anything is moved"
        return self.chosen.move.words if self.chosen else "leave it, count more"

    @property
    def differs(self) -> bool:
        """Whether any count differs from what is wanted by more than luck."""
        return any(one.differing for one in self.targets)

    def to_dataframe(self) -> pd.DataFrame:
        """One row a move, best first, for pandas (extra ``notebook``); shares from 0 to 1."""
        return dataframe([_row(gain, self.chosen) for gain in (*self.gains, *self.parts)])


def _row(gain: Gain, chosen: Gain | None) -> dict[str, Any]:
    low, high = gain.interval
    return {
        "move": gain.move.words,
        "gain": gain.value,
        "noise": gain.noise,
        "low": low,
        "high": high,
        "worse": gain.worse,
        "chosen": gain is chosen,
    }


def next_move(
    scenario: str | Path | Scenario,
    looks: Look | Sequence[Look] = (),
    *,
    earlier: Sequence[tuple[Scenario, Look]] = (),
    wanted: Scenario | None = None,
    skips_most: float | None = None,
    doubles_most: float | None = None,
    also: Sequence[str] = (),
    units: str = "metric",
    seed: int = 1,
    states: int = STATES,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> NextMove:
    """Infer what is off in a meter, and give one next move, or none.

    Parameters
    ----------
    scenario : str, Path or Scenario
        What is set now.
    looks : Look or sequence of Look
        What was counted at these settings, such as of `look_of_seeds`.
    earlier : sequence of (Scenario, Look)
        Counts of the same meter at the same or other settings, oldest first.
    wanted : Scenario, optional
        A meter in order that shows the shares that are wanted, such as the same at its usual
        settings; else the scenario itself.
    skips_most, doubles_most : float, optional
        Most shares that are wanted, in place of those of `wanted`. [1]
    also : sequence of str
        Parts that may be moved too: ``guide``, ``hole``.
    units : {'metric', 'us'}
        Whose steps of settings.
    seed : int
        Chooses states and luck.
    states : int
        How many states to draw from the priors; fewer for counts at many settings.
    executor : Executor, optional
        Where to run; here, when not given.  The result is the same.
    on_run : callable, optional
        Told how many states are done.

    Returns
    -------
    NextMove
        What is off, what moves bring, and which one to make.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> count = m.look_of_seeds(500, skips=1, doubles=31)
    >>> found = m.next_move("maize_bench", count, states=40)
    >>> found.differs, found.words
    (True, 'one notch more aggressive')
    >>> count = m.look_of_seeds(500, skips=2, doubles=5)
    >>> m.next_move("maize_bench", count, states=40).words
    'leave it, count more'
    """
    if not isinstance(scenario, Scenario):
        scenario = load_scenario(scenario)
    given = (looks,) if isinstance(looks, Look) else tuple(looks)
    _check(given, earlier, also)
    recent, left_out = _recent([*(Seen(*one) for one in earlier), *_seen(scenario, given)])
    found = diagnose(
        recent,
        states=min(states, MOST_RUNS // len(meters_of(recent))),
        seed=seed,
        executor=executor,
        on_run=on_run,
    )
    here = [one.look for one in recent if one.meter == scenario]
    targets = compared(
        wanted or scenario, here, skips_most=skips_most, doubles_most=doubles_most, seed=seed
    )
    likely = found.resampled(max(round(RESAMPLED * states), 2), seed)
    moves = moves_of(scenario, found.names, also, units)
    told = [part for part in TOLD if part not in also]
    extra = [move for move in moves_of(scenario, (), told, units) if {*move.steps} & {*told}]
    every = gains(scenario, likely, [*moves, *extra], units=units, seed=seed, executor=executor)
    every = [replace(gain, effective=found.effective) for gain in every]
    mine = tuple(gain for gain in every if gain.move in moves)
    odd = strange(found)
    kind, chosen = (STRANGE, None) if odd else _decide(targets, found, mine)
    answer = None
    if chosen is not None and "notch" in chosen.move.steps:
        answer = notches(
            scenario,
            found,
            towards=chosen.move.steps["notch"],
            states=max(len(likely) // 2, 2),
            least=LEAST,
            seed=seed,
            executor=executor,
        )
    return NextMove(
        scenario=scenario,
        targets=tuple(targets),
        diagnosis=found,
        gains=mine,
        parts=tuple(gain for gain in every if gain.move not in moves),
        kind=kind,
        chosen=chosen,
        more=_more(kind, targets, mine),
        worths={name: worth_of_knowing(mine, likely, name) for name in found.names},
        notches=answer,
        rule=trade_rule(scenario, targets),
        left_out=left_out,
        strange=tuple(odd),
    )


def _check(looks: Sequence[Look], earlier: Sequence[object], also: Sequence[str]) -> None:
    faults = [
        Fault("--also", part, f"no part that can be moved; {hint(part, PARTS)}")
        for part in also
        if part not in PARTS
    ]
    if not looks and not earlier:
        faults.append(Fault("next", "", "nothing was counted; give a count, a look or a log"))
    if faults:
        raise BadInput(faults)


def _seen(scenario: Scenario, looks: Sequence[Look]) -> list[Seen]:
    return [Seen(scenario, look) for look in looks]


def _recent(seen: Sequence[Seen]) -> tuple[list[Seen], int]:
    """The latest counts, at no more settings than can be run in some seconds; and how many not."""
    kept: list[Seen] = []
    for one in reversed(seen):
        if len(meters_of([one, *kept])) > MOST_METERS:
            break
        kept.insert(0, one)
    return kept, len(seen) - len(kept)


def _decide(
    targets: Sequence[Compared], found: Diagnosis, known: Sequence[Gain]
) -> tuple[str, Gain | None]:
    """What to do, and with which gain: the surest, so that noise does not choose between equals."""
    best = max(known, key=lambda gain: gain.sure, default=None)
    worth = best.sure if best else 0.0
    if not any(one.differing for one in targets):
        if best is None or worth <= PLAIN or best.worse > SURE_ENOUGH:
            return SAME, None
    elif missed_share(targets, found) >= LIKELY:
        return BRUSH, None
    elif best is None or worth <= LEAST:
        return NO_GAIN, None
    return (MEND if best.move.mends else MOVE), best


def missed_share(targets: Sequence[Compared], found: Diagnosis) -> float:
    """Part of the skips above what is wanted that are likely seeds which the sensor missed.

    Parameters
    ----------
    targets : sequence of Compared
        Counts beside what is wanted.
    found : Diagnosis
        Likely states.

    Returns
    -------
    float
        From 0 to 1; 0 where nothing that the sensor counted differs in skips. [1]
    """
    sensed = [one for one in targets if one.look.way == SENSOR and "skip" in one.differing]
    if not sensed:
        return 0.0
    missed = HIDDEN["sensor"].middle - found.mean("sensor")
    return min(missed / max(one.excess("skip") for one in sensed), 1.0)


def _more(kind: str, targets: Sequence[Compared], known: Sequence[Gain]) -> int | None:
    """Cells to count until the decision is clear, or None.

    What a count leaves open shrinks as one over the root of its cells.
    """
    if kind == SAME:
        return min((one.needed for one in targets if one.needed is not None), default=None)
    if kind != NO_GAIN or not known or known[0].value <= 0 or known[0].worse <= SURE_ENOUGH:
        return None
    best, cells = known[0], sum(one.look.cells for one in targets)
    open_ = best.changes.std(ddof=1) * -float(ndtri(SURE_ENOUGH)) / best.value
    more = cells * (open_**2 - 1)
    return math.ceil(more / 100) * 100 if 0 < more <= MOST_CELLS else None
