"""One next move for a meter from counts: likely faults, and a move or none."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from scipy.special import ndtri

from metersim.files.faults import BadInput, Fault, Keyed, Parameter, hint
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.questions.next.clues import Strange, strange
from metersim.questions.next.diagnosis import (
    MOST_METERS,
    STATES,
    Diagnosis,
    Seen,
    diagnose,
    meters_of,
)
from metersim.questions.next.gain import Gain, gains, value_of_knowing
from metersim.questions.next.moves import PARTS, Move, moves_of
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
from metersim.run.parallel import check_sent

if TYPE_CHECKING:
    import pandas as pd

LEAST = 0.002  # least expected gain that justifies a move, as a share of cells
PLAIN = 0.01  # least gain that justifies a move although the count is as wanted
MOST_RUNS = 600  # runs of states from the priors, each at all counted settings
RESAMPLED = 0.2  # states on which moves are tried, over states from the priors
ALWAYS_SHOWN = ("guide",)  # parts with a reported gain, requested or not
LIKELY = 0.5  # part of excess skips from the sensor above which its lens is brushed first
SURE_ENOUGH = 0.1  # accepted chance of a worse result where the count is as wanted
LENS = Move("brush the sensor's lens, and count again", mends="sensor")

MOVE, MEND, BRUSH, SAME, NO_GAIN, STRANGE = "move", "mend", "brush", "same", "no gain", "strange"


@dataclass(frozen=True, eq=False)
class NextMove:
    """Diagnosis of a meter from counts, and one next move.

    Attributes
    ----------
    scenario : Scenario
        Present settings.
    targets : tuple of Compared
        Counts at these settings with the wanted rates; empty without such counts.
    diagnosis : Diagnosis
        Weighed hidden states.
    gains : tuple of Gain
        Gains of all moves, best first.
    parts : tuple of Gain
        Gains of parts that were not requested, for information.
    kind : str
        Kind of advice: ``move`` a setting, ``mend`` a cause, or ``brush`` the sensor's lens.  No
        move is advised where the count is the ``same`` as wanted, or where ``no gain`` is large
        enough.  ``strange`` means that no likely meter has such counts.
    chosen : Gain or None
        Gain of the advised move; None without a move, and for the lens, which moves no seed.
    more : int or None
        Further cells to count until the advice is clear, if this can be predicted.
    values_of_knowing : mapping of str to float
        Expected further gain of the best move once a cause is known, by cause. [1]
    notches : Notches or None
        Answer of the meter to all its notches; None where the advice does not move the notch.
    rule : Rule
        Rule of the trade.
    left_out : int
        Number of older counts that were not used.
    strange : tuple of Strange
        Counted shares that no likely state explains.
    """

    scenario: Scenario
    targets: tuple[Compared, ...]
    diagnosis: Diagnosis
    gains: tuple[Gain, ...]
    parts: tuple[Gain, ...]
    kind: str
    chosen: Gain | None
    more: int | None
    values_of_knowing: dict[str, float]
    notches: Notches | None
    rule: Rule
    left_out: int
    strange: tuple[Strange, ...] = ()

    def __repr__(self) -> str:
        return f"<NextMove: {self.words}; to_dataframe() lists the moves>"

    @property
    def words(self) -> str:
        """Advice in words."""
        if self.kind == BRUSH:
            return LENS.words
        if self.kind == STRANGE:
            return "check the counts and what is set before anything is moved"
        return self.chosen.move.words if self.chosen else "leave it, count more"

    @property
    def differs(self) -> bool:
        """Whether a difference of any count from the wanted rates is detected."""
        return any(one.differing for one in self.targets)

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a move, best first (extra ``notebook``)."""
        return dataframe([_row(gain, self.chosen) for gain in (*self.gains, *self.parts)])


def _row(gain: Gain, chosen: Gain | None) -> dict[str, Any]:
    return {
        "move": gain.move.words,
        "gain": gain.value,
        "noise": gain.noise,
        **{
            end if name == "total" else f"{name}_{end}": value
            for name, ends in gain.parts.items()
            for end, value in zip(("low", "high"), ends, strict=True)
        },
        "worse": gain.worse,
        "chosen": gain is chosen,
    }


def next_move(
    scenario: AnyScenario,
    looks: Look | Sequence[Look] = (),
    *,
    earlier: Sequence[tuple[AnyScenario, Look]] = (),
    wanted: AnyScenario | None = None,
    skips_most: float | None = None,
    doubles_most: float | None = None,
    also: Sequence[str] = (),
    units: str = "metric",
    seed: int = 1,
    states: int = STATES,
    stations: OwnGiven | None = None,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> NextMove:
    """Infer the likely faults of a meter and advise one next move, or none.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Present settings: scenario, name or file.
    looks : Look or sequence of Look
        Counts at these settings, such as `look_of_seeds` gives.
    earlier : sequence of (Scenario, Look)
        Counts of the same meter at the same or other settings, oldest first.
    wanted : Scenario, str or Path, optional
        Meter in order that has the wanted shares, such as the same meter at its usual settings.
        By default it is the scenario itself.
    skips_most, doubles_most : float, optional
        Largest wanted shares, in place of those of `wanted`. [1]
    also : sequence of str
        Parts that may be moved too: ``guide``, ``hole``.
    units : {'metric', 'us'}
        Family of units of the steps of settings.
    seed : int
        Random seed of states and runs.
    states : int
        Number of states from the priors; it is reduced for counts at many settings.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.  The result is the same.
    on_run : callable, optional
        Function that takes the number of finished states.

    Returns
    -------
    NextMove
        Diagnosis, gains of moves, and the advice.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> count = m.look_of_seeds(500, skips=1, doubles=75)
    >>> found = m.next_move("maize_bench", count, states=40)
    >>> found.differs, found.words
    (True, 'one notch more aggressive')
    >>> count = m.look_of_seeds(500, skips=2, doubles=5)
    >>> m.next_move("maize_bench", count, states=40).words
    'leave it, count more'
    """
    settings = [setting for setting, _ in earlier]
    scenario, order, *meters = fitted_alike([scenario, wanted or scenario, *settings], stations)
    check_sent(scenario, executor)
    before = [Seen(meter, look) for meter, (_, look) in zip(meters, earlier, strict=True)]
    given = (looks,) if isinstance(looks, Look) else tuple(looks)
    _check(given, earlier, also)
    recent, left_out = _recent([*before, *_seen(scenario, given)])
    found = diagnose(
        recent,
        states=min(states, MOST_RUNS // len(meters_of(recent))),
        seed=seed,
        executor=executor,
        on_run=on_run,
    )
    here = [one.look for one in recent if one.meter == scenario]
    targets = compared(order, here, skips_most=skips_most, doubles_most=doubles_most, seed=seed)
    likely = found.resampled(max(round(RESAMPLED * states), 2), seed)
    moves = moves_of(scenario, found.names, also, units)
    shown = [part for part in ALWAYS_SHOWN if part not in also]
    extra = [move for move in moves_of(scenario, (), shown, units) if {*move.steps} & {*shown}]
    every = gains(scenario, likely, [*moves, *extra], units=units, seed=seed, executor=executor)
    every = [replace(gain, effective=found.effective) for gain in every]
    mine = tuple(gain for gain in every if gain.move in moves)
    unexplained = strange(found)
    kind, chosen = (STRANGE, None) if unexplained else _decide(targets, found, mine)
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
        values_of_knowing=Keyed(
            {
                name: value_of_knowing(mine, [one.state for one in likely], name)
                for name in found.names
            },
            "cause",
        ),
        notches=answer,
        rule=trade_rule(scenario, targets),
        left_out=left_out,
        strange=tuple(unexplained),
    )


def _check(looks: Sequence[Look], earlier: Sequence[object], also: Sequence[str]) -> None:
    faults = [
        Fault(Parameter("also"), part, f"no part that can be moved; {hint(part, PARTS)}")
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
    """Latest counts, at few enough settings for a short run, and the number of dropped counts."""
    kept: list[Seen] = []
    for one in reversed(seen):
        if len(meters_of([one, *kept])) > MOST_METERS:
            break
        kept.insert(0, one)
    return kept, len(seen) - len(kept)


def _decide(
    targets: Sequence[Compared], found: Diagnosis, known: Sequence[Gain]
) -> tuple[str, Gain | None]:
    """Kind of advice with its gain; the surest gain is taken, so that noise does not decide."""
    best = max(known, key=lambda gain: gain.sure, default=None)
    least_gain = best.sure if best else 0.0
    if not any(one.differing for one in targets):
        if best is None or least_gain <= PLAIN or best.worse > SURE_ENOUGH:
            return SAME, None
    elif missed_share(targets, found) >= LIKELY:
        return BRUSH, None
    elif best is None or least_gain <= LEAST:
        return NO_GAIN, None
    return (MEND if best.move.mends else MOVE), best


def missed_share(targets: Sequence[Compared], found: Diagnosis) -> float:
    """Part of the excess skips that are likely seeds missed by the sensor.

    Parameters
    ----------
    targets : sequence of Compared
        Counts with the wanted rates.
    found : Diagnosis
        Likely states.

    Returns
    -------
    float
        Part from 0 to 1; 0 where no count of the sensor has detected excess skips. [1]
    """
    sensed = [one for one in targets if one.look.way == SENSOR and "skip" in one.differing]
    if not sensed:
        return 0.0
    missed = HIDDEN["sensor"].middle - found.mean("sensor")
    return min(missed / max(one.excess("skip") for one in sensed), 1.0)


def _more(kind: str, targets: Sequence[Compared], known: Sequence[Gain]) -> int | None:
    """Cells to count until the decision is clear, or None.

    What counts leave open shrinks as one over the root of their cells.  The discrepancy stays.
    """
    if kind == SAME:
        return min((one.needed for one in targets if one.needed is not None), default=None)
    if kind != NO_GAIN or not known or known[0].value <= 0 or known[0].worse <= SURE_ENOUGH:
        return None
    best, cells = known[0], sum(one.look.cells for one in targets)
    allowed = (best.value / float(ndtri(SURE_ENOUGH))) ** 2 - best.error_variance
    left = float(best.without_sampling.var(ddof=1))
    more = cells * (left / allowed - 1) if allowed > 0 else math.inf
    return math.ceil(more / 100) * 100 if 0 < more <= MOST_CELLS else None
