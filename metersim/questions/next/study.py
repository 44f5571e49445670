"""One next move for a meter from counts: likely faults, and a move or none."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from metersim.files.faults import BadInput, Fault, Parameter, hint
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.questions.next.bank import bank, comparable
from metersim.questions.next.decide import (
    BRUSH,
    CHECK,
    KEEP,
    MOVE,
    PLAIN,
    SAME,
    STRANGE,
    Advice,
    advise,
    standing,
)
from metersim.questions.next.diagnosis import (
    Diagnosis,
    Seen,
    Used,
    by_cells_or_spacing,
    with_others,
)
from metersim.questions.next.gain import LEAST, Gain, better, checked, gains, of_guide
from metersim.questions.next.hypotheses import EACH, FAULTS
from metersim.questions.next.moves import MENDED, PARTS, Move, mends, moves_of
from metersim.questions.next.surface import RUNS
from metersim.questions.next.target import (
    Compared,
    Notches,
    Rule,
    check_limits,
    compared,
    notches,
    trade_rule,
)
from metersim.questions.shared.looks import Look
from metersim.run.parallel import check_sent

if TYPE_CHECKING:
    import pandas as pd

MOST_SEEN = 40  # latest counts that are weighed
MOST_CHECKED = 3  # moves that are run on likely meters, best first
COUNTS = ("cells", "spacing")
"""What a monitor may count as skips: empty cells, or spacings of 1.5 times the theoretical one."""


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
        Weighed hypotheses.
    gains : tuple of Gain
        Gains of all steps of settings, best first.
    advice : Advice
        The one thing to do next.
    notches : Notches or None
        Answer of the meter to all its notches; None where the advice does not move the notch.
    rule : Rule
        Rule of the trade.
    left_out : int
        Number of older counts that were not used.
    also, units, seed
        As for `next_move`.
    """

    scenario: Scenario
    targets: tuple[Compared, ...]
    diagnosis: Diagnosis
    gains: tuple[Gain, ...]
    advice: Advice
    notches: Notches | None
    rule: Rule
    left_out: int
    also: tuple[str, ...] = ()
    units: str = "metric"
    seed: int = 1

    @cached_property
    def parts(self) -> tuple[Gain, ...]:
        """Gains of parts that were not requested, and of repairs: for information, when asked."""
        found = self.diagnosis
        part = () if "guide" in self.also else of_guide(found, self.units, self.seed, None)
        repairs = [move for move in mends() if MENDED[move.mends] in found.points.names]
        return (*part, *gains(found, repairs, units=self.units, seed=self.seed))

    def __repr__(self) -> str:
        return f"<NextMove: {self.words}; to_dataframe() lists the moves>"

    @property
    def kind(self) -> str:
        """Kind of the advice."""
        return self.advice.kind

    @property
    def chosen(self) -> Gain | None:
        """Gain of the advised move; None without a move."""
        return self.advice.gain

    @property
    def words(self) -> str:
        """Advice in words."""
        if self.kind == MOVE and self.chosen:
            return self.chosen.move.words
        if self.kind in (CHECK, BRUSH):
            return FAULTS[self.advice.fault].check
        if self.kind == STRANGE:
            return "check the counts and what is set before anything is moved"
        return "leave it, count more"

    @property
    def more(self) -> int | None:
        """Further cells until an excess over the wanted shares is detected, if they are few."""
        if self.kind not in (SAME, KEEP):
            return None
        return min((one.needed for one in self.targets if one.needed), default=None)

    @property
    def differs(self) -> bool:
        """Whether a count, or the seed used, differs from what is wanted."""
        return self.diagnosis.used_differs or any(one.differing for one in self.targets)

    @property
    def asks_how_it_counts(self) -> bool:
        """Whether nobody said what the monitor counts."""
        return any(len(one.ways) > 1 for one in self.diagnosis.seen)

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
    monitor: str | None = None,
    lens_clean: bool = False,
    used: Used | None = None,
    others: Sequence[Look] = (),
    also: Sequence[str] = (),
    units: str = "metric",
    seed: int = 1,
    runs: int = RUNS,
    each: int = EACH,
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
        Meter in order that has the wanted shares, such as the same meter at its usual vacuum,
        notch and gate.  By default it is the scenario itself.
    skips_most, doubles_most : float, optional
        Largest wanted shares, in place of those of `wanted`. [1]
    monitor : {'cells', 'spacing'}, optional
        What a monitor counts.  By default nobody knows, and both are equally likely.
    lens_clean : bool
        Whether the lens of the sensor is known to be clean.
    used : Used, optional
        Seed that was used on a known area.
    others : sequence of Look
        Counts of the other rows of the machine, at the same settings and with the same seed, one
        a row.
    also : sequence of str
        Parts that may be moved too: ``guide``, ``hole``.
    units : {'metric', 'us'}
        Family of units of the steps of settings.
    seed : int
        Random seed of possible meters and runs.
    runs : int
        Runs of possible meters.
    each : int
        Possible meters of each fault.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.  The result is the same.
    on_run : callable, optional
        Function that takes the number of finished runs.

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
    >>> found = m.next_move("maize_bench", count)
    >>> found.differs, found.words
    (True, 'one notch more aggressive')
    >>> count = m.look_of_seeds(500, skips=2, doubles=5)
    >>> m.next_move("maize_bench", count, runs=60, each=100).words
    'leave it, count more'
    """
    settings = [setting for setting, _ in earlier]
    base, order, *meters = fitted_alike([scenario, wanted or scenario, *settings], stations)
    check_sent(base, executor)
    given = (looks,) if isinstance(looks, Look) else tuple(looks)
    _check(base, order, given, earlier, also, monitor)
    check_limits(skips_most, doubles_most)
    pairs = [*zip(meters, (look for _, look in earlier), strict=True), *((base, x) for x in given)]
    recent: list[Seen] = []
    since = 0
    for meter, look in pairs[-MOST_SEEN:]:
        if comparable(base, meter):
            recent.append(Seen(meter, look, by_cells_or_spacing(look, monitor)))
        else:
            since = len(recent)  # counts before and after it are not summed
    moves = moves_of(base, ["hole"] if "hole" in also else [], units)
    made = bank(
        base,
        [order, *(one.meter for one in recent), *(move.made(base, units) for move in moves)],
        [way for one in recent for way in one.ways],
        spent=used is not None,
        lens_clean=lens_clean,
        seed=seed,
        runs=runs,
        each=each,
        executor=executor,
        on_run=on_run,
    )
    return answered(
        with_others(Diagnosis(made, recent, used, since=since), others),
        order,
        moves,
        skips_most=skips_most,
        doubles_most=doubles_most,
        also=also,
        units=units,
        seed=seed,
        left_out=len(pairs) - len(recent),
        executor=executor,
    )


def answered(
    found: Diagnosis,
    wanted: Scenario,
    moves: Sequence[Move],
    *,
    skips_most: float | None = None,
    doubles_most: float | None = None,
    also: Sequence[str] = (),
    units: str = "metric",
    seed: int = 1,
    left_out: int = 0,
    executor: Executor | None = None,
) -> NextMove:
    """The next move after a diagnosis.

    The best moves are run on likely meters only while one that is `better` would be advised.

    Parameters
    ----------
    found : Diagnosis
        Weighed hypotheses.
    wanted : Scenario
        Meter in order that has the wanted shares.
    moves : sequence of Move
        Steps of settings that the diagnosis covers.
    skips_most, doubles_most, also, units, seed, executor
        As for `next_move`.
    left_out : int
        Number of counts that were not used.
    """
    base = found.base

    def compare(some: Sequence[Seen]) -> list[Compared]:
        return compared(found, some, wanted, skips_most=skips_most, doubles_most=doubles_most)

    def excess(some: Sequence[int]) -> float:
        above = [
            one.excess(kind)
            for one in compare([found.seen[k] for k in some])
            for kind in one.differing
        ]
        return max([LEAST if found.used_differs else 0.0, *above])

    targets = compare([found.seen[k] for k in found.here])
    mine = gains(found, moves, units=units, seed=seed)
    part = of_guide(found, units, seed, executor) if "guide" in also else []
    tried = [gain.move for gain in (*mine, *part)]
    stands = standing(found, tried, excess, units=units, seed=seed)
    over = excess(found.here)

    def advised(known: Sequence[Gain]) -> Advice:
        return advise(found, over, known, stands, units=units, seed=seed)

    advice = advised([*(better(gain) for gain in mine), *part])
    if advice.kind in (MOVE, KEEP):
        best, rest = mine[:MOST_CHECKED], mine[MOST_CHECKED:]

        def still_open(some: Sequence[Gain]) -> list[Gain]:
            hoped = [better(gain) for gain in (*some, *rest)]
            if advised([*hoped, *part]).kind not in (MOVE, KEEP):
                return []
            least = LEAST if over else PLAIN
            return [one for one in some if better(one).sure > least or one.move == stands]

        some = checked(found, best, go_on=still_open, units=units, seed=seed, executor=executor)
        mine = [*some, *rest]
        advice = advised([*mine, *part])
    mine = sorted([*mine, *part], key=lambda gain: -gain.value)
    answer = None
    if advice.gain is not None and "notch" in advice.gain.move.steps:
        towards = advice.gain.move.steps["notch"]
        answer = notches(base, found, towards=towards, least=LEAST, seed=seed)
    return NextMove(
        scenario=base,
        targets=tuple(targets),
        diagnosis=found,
        gains=tuple(mine),
        advice=advice,
        notches=answer,
        rule=trade_rule(base, targets),
        left_out=left_out,
        also=tuple(also),
        units=units,
        seed=seed,
    )


def _check(
    base: Scenario,
    order: Scenario,
    looks: Sequence[Look],
    earlier: Sequence[object],
    also: Sequence[str],
    monitor: str | None,
) -> None:
    faults = [
        Fault(Parameter("also"), part, f"no part that can be moved; {hint(part, PARTS)}")
        for part in also
        if part not in PARTS
    ]
    if monitor not in (None, *COUNTS):
        faults.append(Fault(Parameter("monitor"), str(monitor), hint(str(monitor), COUNTS)))
    if not looks and not earlier:
        faults.append(Fault("next", "", "nothing was counted; give a count, a look or a log"))
    if not comparable(base, order):
        message = "differs from the meter in more than vacuum, notch, gate, speed and hole"
        faults.append(Fault(Parameter("wanted"), order.name, message))
    if faults:
        raise BadInput(faults)
