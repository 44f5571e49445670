"""What operators do with a meter whose true state they cannot see: habits, a small function each.

A habit is given all that its operator has seen so far, and what is wanted. It says how many steps
of which settings to move next (see `metersim.questions.shared.settings`), ``{}`` to count again
without a change, or None to leave the meter as it is from now on. It remembers nothing and draws
nothing: the same counts give the same answer.

What habits do is common practice, no source: more doubles than wanted and more than skips, the
singulator a notch more aggressive; more skips, a notch less.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from metersim.questions.shared.looks import Look
from metersim.questions.shared.settings import Steps

COUNT = 300  # cells of a look; common practice, no source
FEW = 50  # cells of a look that is too short; common practice, no source
FAR = 3.0  # times what is wanted, from where on somebody in a hurry goes three notches
MOST_VACUUM = 2  # steps up from where it began, for who moves one thing at a time


@dataclass(frozen=True)
class Seen:
    """One look: what was counted, and where settings stood.

    Attributes
    ----------
    settings : mapping of str to int
        Steps that each setting stood away from where it was found; what is not named, none.
    look : Look
        What was counted there.
    """

    settings: Steps
    look: Look


History = Sequence[Seen]
"""All looks at one meter, the latest last; never empty when a habit is asked."""


@dataclass(frozen=True)
class Wanted:
    """What an operator works to.

    Attributes
    ----------
    skips, doubles : float
        Largest share of cells that may be empty, and that may have two seeds or more. [1]
    """

    skips: float
    doubles: float


Rule = Callable[[History, Wanted], Steps | None]
"""What to do next: steps to move, ``{}`` to count again, None to stop."""


@dataclass(frozen=True)
class Habit:
    """A rule, and how many cells its operator counts.

    Attributes
    ----------
    rule : callable
        See `Rule`.
    count : int or None
        Cells of each look, 1 or more; None for as many as the study is told.
    """

    rule: Rule
    count: int | None = None

    @property
    def says(self) -> str:
        """What it does, in words: the first line of the rule's docstring."""
        first = (self.rule.__doc__ or "").strip().partition("\n")[0]
        return first.rstrip(".") or "no words given"


# ---------------------------------------------------------------- what habits are made of


def aim(look: Look, wanted: Wanted) -> int:
    """Notches to go by one count: 1 for too many doubles, -1 for too many skips, else 0.

    When both are too many, the one that is farther beyond what is wanted decides.
    """
    doubles, skips = look.double_share - wanted.doubles, look.skip_share - wanted.skips
    if max(doubles, skips) <= 0:
        return 0
    return 1 if doubles > skips else -1


def after(place: Steps, move: Steps) -> dict[str, int]:
    """Where settings stand when they are moved on; what stands where it was found is not named."""
    names = dict.fromkeys([*place, *move])
    sums = {name: place.get(name, 0) + move.get(name, 0) for name in names}
    return {name: count for name, count in sums.items() if count}


def been(seen: History, move: Steps) -> bool:
    """Whether a move leads to where a look was taken before."""
    there = after(seen[-1].settings, move)
    return any(one.settings == there for one in seen)


def turned(seen: History, way: int) -> bool:
    """Whether a notch this way leads back to where the meter came from."""
    now = seen[-1].settings.get("notch", 0)
    return any((one.settings.get("notch", 0) - now) * way > 0 for one in seen)


def settle(seen: History) -> Steps | None:
    """Go to the best place there was, by all cells counted there; None once it is reached."""
    places: list[Steps] = []
    for one in seen:
        if one.settings not in places:
            places.append(one.settings)
    best = min(places, key=lambda place: _bad(seen, place))
    back = {name: -count for name, count in seen[-1].settings.items()}
    return after(best, back) or None


def _bad(seen: History, place: Steps) -> float:
    """Skips and doubles a cell, of all that was counted at one place."""
    looks = [one.look for one in seen if one.settings == place]
    return sum(look.skips + (look.doubles or 0) for look in looks) / sum(k.cells for k in looks)


# ---------------------------------------------------------------- the habits


def leave_alone(seen: History, wanted: Wanted) -> Steps | None:
    """Look once, and leave it alone."""
    return None


def one_notch(seen: History, wanted: Wanted) -> Steps | None:
    """One notch, and recount; where no notch will do, one step of vacuum, and recount.

    Stops when a count is within what is wanted, or at the best place there was.
    """
    way = aim(seen[-1].look, wanted)
    if not way:
        return None
    if not been(seen, {"notch": way}):
        return {"notch": way}
    if seen[-1].settings.get("vacuum", 0) < MOST_VACUUM and not been(seen, {"vacuum": 1}):
        return {"vacuum": 1}
    return settle(seen)


def several_notches(seen: History, wanted: Wanted) -> Steps | None:
    """Two notches at once, three when far off; back to the best place when that is no use."""
    look = seen[-1].look
    way = aim(look, wanted)
    if not way:
        return None
    share, most = (
        (look.double_share, wanted.doubles) if way > 0 else (look.skip_share, wanted.skips)
    )
    move = {"notch": way * (3 if share > FAR * most else 2)}
    return settle(seen) if turned(seen, way) else move


def notch_and_vacuum(seen: History, wanted: Wanted) -> Steps | None:
    """A notch and a step of vacuum together, both against what is too many."""
    way = aim(seen[-1].look, wanted)
    if not way:
        return None
    move = {"notch": way, "vacuum": -way}
    return settle(seen) if been(seen, move) else move


def chase_every_count(seen: History, wanted: Wanted) -> Steps | None:
    """React to every count: a notch for whichever there was more of, and never done."""
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
"""By name, in the order that they are told."""
