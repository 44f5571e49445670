"""What one stand differs from another in, on the same luck, and what relations make of that."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from metersim.intervals import Estimate
from metersim.measures import Measured, difference
from metersim.planted import BY_NAME, PLANTED
from metersim.studies.agronomy import Loss, Stand
from metersim.studies.unknowns import Draws, Spread, gather
from metersim.yields import Relation, relations_of

SLOPES = (0, 1)  # the least and the greatest


@dataclass(frozen=True)
class StandChange:
    """What differs between two stands on the same luck.

    Attributes
    ----------
    measures : mapping of str to Estimate
        The second less the first, by key.
    losses : tuple of Loss
        What each relation takes off the second more than off the first; empty where the crops
        differ or no relation was found of them.
    spread : Spread, optional
        What luck does to the measures and what not knowing does.
    """

    measures: Mapping[str, Estimate]
    losses: tuple[Loss, ...]
    spread: Spread | None = None


def stand_change(
    first: Stand, other: Stand, draws: Draws | None = None, about: str = ""
) -> StandChange:
    """Paired differences of two stands with as many replicates and stretches.

    Parameters
    ----------
    first, other : Stand
        On the same luck.
    draws : Draws, optional
        The differences in every draw of what is not known, as `change_draws` gives them.
    about : str
        What it is the difference of, in words.
    """
    a, b = first.measured, other.measured
    apart = {part.key: difference(a, b, part) for part in PLANTED}
    spread = None
    if draws is not None:
        unknown = tuple(dict.fromkeys((*first.scenario.unknown, *other.scenario.unknown)))
        spread = Spread(about, unknown, apart, draws, a.level, BY_NAME)
    losses = []
    for relation in relations_of(first.crop) if first.crop == other.crop else ():
        measure = BY_NAME[relation.of]
        if spread:
            ends = [spread.both(f"{relation.key}.{k}") for k in SLOPES]
        else:
            ends = [difference(a, b, measure, _loss_by(relation, k)) for k in SLOPES]
        outside = any(relation.is_outside(one.reach(relation.of).value) for one in (first, other))
        low, high = min(end.low for end in ends), max(end.high for end in ends)
        losses.append(Loss(relation, low, high, outside))
    return StandChange(apart, tuple(losses), spread)


def change_draws(rows: Iterable[Sequence[Measured]]) -> list[Draws]:
    """Differences from the first stand in every draw, for each stand but the first.

    Parameters
    ----------
    rows : iterable of sequences of Measured
        Stands by draw, as `metersim.studies.unknowns.run_draws` gives them of `planted`.
    """
    made = []
    for first, *others in rows:
        start = _points(first)
        each = [_points(other) for other in others]
        made.append([{key: one[key] - start[key] for key in one if key in start} for one in each])
    return [gather(column) for column in zip(*made, strict=True)]


def _points(stand: Measured) -> dict[str, Any]:
    """Measures, and losses by both slopes, of all stretches and without each of them."""
    points: dict[str, Any] = dict(stand.points)
    for relation in relations_of(stand.scenario.lot.crop):
        for k, loss in enumerate(relation.losses(points[relation.of])):
            points[f"{relation.key}.{k}"] = loss
    return points


def _loss_by(relation: Relation, slope: int) -> Callable[[Any], Any]:
    """What a relation takes off, by its least or its greatest slope."""
    return lambda value: relation.losses(value)[slope]
