"""Text of the parts of a lost stand, of uneven plants and of yield losses."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from metersim.measures.intervals import Estimate
from metersim.measures.yields import Harvest
from metersim.questions.shared.answer import capital, is_distinct, plain, with_sign
from metersim.questions.shared.hedges import NONE, concerned, found_nothing
from metersim.questions.shared.plants import Loss, Stand, StandChange
from metersim.questions.shared.words import shown

EVENNESS = 1e-12  # m2, square of an SD below which plants are even
ROUNDING = 1e-6  # percentage points
SQUARED = "squared SD"
EVEN = "Perfectly even seeds that all come up"
OVERLAP = "Overlap: both together, beyond each alone."
NOTHING = "none"

Said = Callable[[Estimate], str]  # text of a part


def parts_lines(stand: Stand) -> list[str]:
    """Parts of the lost stand and of the uneven spacing of plants; empty for even or no plants."""
    if not stand.reach("uneven.whole").value > EVENNESS:
        return []
    said = _level(1.0)
    own = _percent(said(stand.reach("uneven_share.own")))
    return [
        f"{_lost('Missing of 100 plants asked for', stand.reach, said)}.",
        f"Uneven plants ({SQUARED}): {_uneven('uneven_share', stand.reach, said)}.",
        f"{EVEN} leave {own}. {OVERLAP}",
    ]


def part_note(stand: Stand) -> str:
    """Parts of the uneven spacing of plants in one sentence; empty for even or no plants."""
    if not stand.reach("uneven.whole").value > EVENNESS:
        return ""
    said = _level(1.0)
    metering, emergence, together, own = (
        _percent(said(stand.reach(f"uneven_share.{name}")))
        for name in ("metering", "emergence", "together", "own")
    )
    return (
        f"Uneven plants: metering makes {metering} of the {SQUARED}, emergence {emergence}, "
        f"both together {together}, even seeds {own}."
    )


def change_lines(change: StandChange, first: Stand) -> list[str]:
    """Parts of the difference of two stands; empty without plants.

    Parameters
    ----------
    change : StandChange
        Second stand less the first.
    first : Stand
        First stand; changes of the squared SD are given as shares of its squared SD.
    """
    whole = first.reach("uneven.whole").value
    if not whole > EVENNESS or math.isnan(change.measures["uneven.whole"].value):
        return []
    lost, uneven = _moved(1.0), _moved(whole)
    reach = change.measures.__getitem__
    own = _percent(uneven(reach("uneven.own")))
    moved = _percent(uneven(reach("uneven.whole")))
    return [
        f"{_lost('Change of missing, of 100 plants asked for', reach, lost)}.",
        f"Uneven plants ({SQUARED}), {moved}: {_uneven('uneven', reach, uneven)}.",
        f"{EVEN}: {own}. {OVERLAP}",
    ]


def change_note(change: StandChange, first: Stand) -> str:
    """Parts of a change of the uneven spacing in one sentence; empty without plants."""
    whole = first.reach("uneven.whole").value
    if not whole > EVENNESS or math.isnan(change.measures["uneven.whole"].value):
        return ""
    said = _moved(whole)
    moved, metering, emergence, together = (
        _percent(said(change.measures[f"uneven.{name}"]))
        for name in ("whole", "metering", "emergence", "together")
    )
    return (
        f"Change of uneven plants: {moved} of the {SQUARED}; by metering {metering}, by emergence "
        f"{emergence}, by both together {together}."
    )


def parted_words(stand: Stand, units: str = "metric", harvest: Harvest = NONE) -> str:
    """What emergence alone takes off the yield, and what the meter does: ranges over relations.

    Relations that do not concern the stand, such as those of late plants where none is late, are
    left out.
    """
    symbol = shown("yield", 0.0, units)[1]
    said = []
    for name, losses in (
        ("emergence alone", stand.emergence_losses),
        ("uneven spacing by the meter", stand.meter_losses),
    ):
        ends = [
            shown("yield", harvest.in_yield(one.relation, end), units)[0]
            for one in concerned(losses, [stand])
            for end in (one.low, one.high)
        ]
        known = [end for end in ends if not math.isnan(end)]
        if not known:
            return ""
        low, high = min(known), max(known)
        size = (high - low) / 4
        if high <= 0:
            said.append(f"{name}: nothing")
        else:
            said.append(f"{name}: {plain(low, size)} to {plain(high, size)} {symbol}")
    return capital(f"{'; '.join(said)}. {_over(stand.losses, stand)}")


def _over(losses: Sequence[Loss], stand: Stand) -> str:
    """Number of relations that a range spans, and how many of them find nothing."""
    kept = concerned(losses, [stand])
    crops = " and ".join(dict.fromkeys(loss.relation.crop for loss in kept))
    none = f"{found_nothing(kept)} find nothing"
    return f"Ranges over {len(kept)} published relations of {crops}; {none}."


def _lost(name: str, reach: Callable[[str], Estimate], said: Said) -> str:
    """Parts of the missing plants."""
    whole, emergence, skips, doubles, together = (
        said(reach(f"lost.{part}"))
        for part in ("whole", "emergence", "skips", "doubles", "together")
    )
    more = " (more plants)" if doubles.startswith("-") else ""
    return (
        f"{name}: {whole}. Emergence {emergence}, skips {skips}, "
        f"doubles {doubles}{more}, overlap {together}"
    )


def _uneven(group: str, reach: Callable[[str], Estimate], said: Said) -> str:
    """Parts of the uneven spacing."""
    scatter, doubles, skips = (
        said(reach(f"{group}.{name}")) for name in ("scatter", "doubles", "skips")
    )
    metering, emergence, together = (
        _percent(said(reach(f"{group}.{name}"))) for name in ("metering", "emergence", "together")
    )
    return (
        f"metering {metering} (scatter {scatter}, doubles {doubles}, skips {skips}), "
        f"emergence {emergence}, overlap {together}"
    )


def _percent(said: str) -> str:
    return f"{said} %" if said[-1:].isdigit() else said


def _level(whole: float) -> Said:
    """Text of a part as percentage of a whole, with the digits that its interval bears."""

    def said(part: Estimate) -> str:
        value, size = 100 * part.value / whole, 50 * (part.high - part.low) / whole
        if math.isnan(value):
            return NOTHING
        if abs(value) < ROUNDING:
            return NOTHING
        return plain(value, size) if size > ROUNDING else f"{value:,.3g}"

    return said


def _moved(whole: float) -> Said:
    """Text of the change of a part as percentage of a whole."""
    level = _level(whole)

    def said(part: Estimate) -> str:
        text = level(part)
        if text == NOTHING or math.isnan(part.low):
            return text
        return with_sign(text) if is_distinct(part) else "none detected"

    return said
