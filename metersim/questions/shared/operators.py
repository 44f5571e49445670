"""Habits of operators, who cannot see the true state of a meter: one small function each.

A habit takes all earlier looks and the targets.  It gives the next steps of settings (see
`metersim.questions.shared.settings`), ``{}`` to count again without a change, or None to stop.
It has no memory and no random draws: the same counts give the same answer.

Habits follow common practice, no source.  Too many doubles call for a notch more aggressive, too
many skips for a notch less aggressive.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from metersim.questions.shared.looks import Look
from metersim.questions.shared.settings import Steps

COUNT = 300  # cells of a look; common practice, no source
FEW = 50  # cells of a look that is too short; common practice, no source
FAR = 3.0  # share over the target above which a hasty operator moves three notches
MOST_VACUUM = 2  # most steps of vacuum up, for an operator who moves one setting at a time


@dataclass(frozen=True)
class Seen:
    """One look with the settings at which it was taken.

    Attributes
    ----------
    settings : mapping of str to int
        Steps of each setting from its initial value; settings without a step are left out.
    look : Look
        Count at these settings.
    """

    settings: Steps
    look: Look


History = Sequence[Seen]
"""All looks at one meter, the latest last; it is never empty for a habit."""


@dataclass(frozen=True)
class Wanted:
    """Targets of an operator.

    Attributes
    ----------
    skips, doubles : float
        Largest share of cells that may be empty, and that may have two seeds or more. [1]
    """

    skips: float
    doubles: float


Rule = Callable[[History, Wanted], Steps | None]
"""Function that gives the next steps, ``{}`` to count again, or None to stop."""


@dataclass(frozen=True)
class Habit:
    """A rule with the number of cells that its operator counts.

    Attributes
    ----------
    rule : callable
        Function as `Rule` describes it.
    count : int or None
        Cells of each look, 1 or more; None for the number of the study.
    """

    rule: Rule
    count: int | None = None

    @property
    def says(self) -> str:
        """Description of the rule: the first line of its docstring."""
        first = (self.rule.__doc__ or "").strip().partition("\n")[0]
        return first.rstrip(".") or "no words given"


# ---------------------------------------------------------------- parts of habits


def aim(look: Look, wanted: Wanted) -> int:
    """Notches to move after one count: 1 for too many doubles, -1 for too many skips, else 0.

    When both exceed their targets, the larger excess decides.
    """
    doubles, skips = look.double_share - wanted.doubles, look.skip_share - wanted.skips
    if max(doubles, skips) <= 0:
        return 0
    return 1 if doubles > skips else -1


def place_after(place: Steps, move: Steps) -> dict[str, int]:
    """Settings after a move, in steps from their initial values; unmoved ones are left out."""
    names = dict.fromkeys([*place, *move])
    sums = {name: place.get(name, 0) + move.get(name, 0) for name in names}
    return {name: count for name, count in sums.items() if count}


def was_tried(seen: History, move: Steps) -> bool:
    """Whether a move leads to settings of an earlier look."""
    there = place_after(seen[-1].settings, move)
    return any(one.settings == there for one in seen)


def turns_back(seen: History, way: int) -> bool:
    """Whether an earlier look had a notch in this direction from the present one."""
    now = seen[-1].settings.get("notch", 0)
    return any((one.settings.get("notch", 0) - now) * way > 0 for one in seen)


def return_to_best(seen: History) -> Steps | None:
    """Steps to the best settings so far, by all cells counted there; None at these settings."""
    places: list[Steps] = []
    for one in seen:
        if one.settings not in places:
            places.append(one.settings)
    best = min(places, key=lambda place: _bad(seen, place))
    back = {name: -count for name, count in seen[-1].settings.items()}
    return place_after(best, back) or None


def _bad(seen: History, place: Steps) -> float:
    """Skips and doubles a cell, over all counts at the same settings."""
    looks = [one.look for one in seen if one.settings == place]
    return sum(look.skips + (look.doubles or 0) for look in looks) / sum(k.cells for k in looks)


# ---------------------------------------------------------------- the habits


def leave_alone(seen: History, wanted: Wanted) -> Steps | None:
    """Look once, and leave it alone."""
    return None


def one_notch(seen: History, wanted: Wanted) -> Steps | None:
    """Move one notch, and recount; if no notch helps, one step of vacuum, and recount.

    Stops when a count is within what is wanted, or at the best place there was.
    """
    way = aim(seen[-1].look, wanted)
    if not way:
        return None
    if not was_tried(seen, {"notch": way}):
        return {"notch": way}
    if seen[-1].settings.get("vacuum", 0) < MOST_VACUUM and not was_tried(seen, {"vacuum": 1}):
        return {"vacuum": 1}
    return return_to_best(seen)


def several_notches(seen: History, wanted: Wanted) -> Steps | None:
    """Move two notches at once, three when far off; if that does not help, back to the best."""
    look = seen[-1].look
    way = aim(look, wanted)
    if not way:
        return None
    share, most = (
        (look.double_share, wanted.doubles) if way > 0 else (look.skip_share, wanted.skips)
    )
    move = {"notch": way * (3 if share > FAR * most else 2)}
    return return_to_best(seen) if turns_back(seen, way) else move


def notch_and_vacuum(seen: History, wanted: Wanted) -> Steps | None:
    """A notch and a step of vacuum together, both against what is too many."""
    way = aim(seen[-1].look, wanted)
    if not way:
        return None
    move = {"notch": way, "vacuum": -way}
    return return_to_best(seen) if was_tried(seen, move) else move


def chase_every_count(seen: History, wanted: Wanted) -> Steps | None:
    """React to every count, and never stop: a notch against the larger of skips and doubles."""
    doubles, skips = seen[-1].look.doubles or 0, seen[-1].look.skips
    return {"notch": (doubles > skips) - (doubles < skips)}


HABITS: Mapping[str, Habit] = {
    "leave alone": Habit(leave_alone),
    "one notch": Habit(one_notch),
    "several notches": Habit(several_notches),
    "notch and vacuum": Habit(notch_and_vacuum),
    "count too few": Habit(one_notch, FEW),
    "chase every count": Habit(chase_every_count),
}
"""Habits by name, in the order of reports."""
