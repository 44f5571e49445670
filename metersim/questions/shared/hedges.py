"""Hedges of published yield relations, and what is held fixed, beside every yield and cost."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.measures.plants import BY_NAME
from metersim.measures.yields import RELATIONS, Harvest, Relation
from metersim.questions.shared.plants import Loss, Stand

NONE = Harvest()
ABSENT = 1e-4  # share of plants below which a relation of them concerns nothing


def is_concerned(relation: Relation, stands: Sequence[Stand]) -> bool:
    """Whether some stand has what a relation is about, such as late plants."""
    at = [stand.reach(relation.of).value for stand in stands]
    return BY_NAME[relation.of].kind != "share" or any(one > ABSENT for one in at)


def concerned(losses: Sequence[Loss], stands: Sequence[Stand]) -> list[Loss]:
    """Losses by relations that concern the stands."""
    return [loss for loss in losses if is_concerned(loss.relation, stands)]


def found_nothing(losses: Sequence[Loss]) -> int:
    """Number of relations that find no loss here, or that found no effect at all."""
    return sum(loss.relation.none_found or loss.low == loss.high == 0 for loss in losses)


def hedge_words(losses: Sequence[Loss], stands: Sequence[Stand]) -> str:
    """What a reader of a yield or a cost has to know of the relations, in two or three sentences.

    Parameters
    ----------
    losses : sequence of Loss
        Losses of the stands, or of their difference, by all relations.
    stands : sequence of Stand
        The stand, or both stands.
    """
    kept = concerned(losses, stands)
    crops = " and ".join(dict.fromkeys(loss.relation.crop for loss in kept))
    outside = sum(loss.outside for loss in kept)
    said = f"{found_nothing(kept)} of {len(kept)} published relations find nothing."
    said += f" All are of {crops}, in other fields and years."
    if outside:
        one = "This stand" if len(stands) == 1 else "A stand"
        said += f" {one} is outside the range of {outside} of them."
    if len({stand.scenario.demand.rate for stand in stands}) > 1:
        said += " None predicts the yield of another seeding rate."
    return said


def no_relation(*crops: str) -> str:
    """Statement that no relation of a crop is known, or that no relation compares the crops."""
    sown = tuple(dict.fromkeys(crops))
    if len(sown) > 1:
        return f"No relation compares {' with '.join(sown)}: plants alone are compared."
    studied = ", ".join(dict.fromkeys(one.crop for one in RELATIONS))
    return f"No published yield relation here covers {sown[0]}. All are of {studied}."


def fixed_words(*stands: Stand | None) -> list[str]:
    """What is held fixed beside the stands; nothing without a stand."""
    given = [one for one in stands if one]
    if not given:
        return []
    shares = dict.fromkeys(f"{100 * one.scenario.stand.emergence:.4g} %" for one in given)
    fixed = ["drive"] if len({repr(one.scenario.drive) for one in given}) == 1 else []
    if len({one.scenario.demand.rate for one in given}) == 1:
        fixed.append("seeding rate")
    said = [f"{' and '.join(shares)} emergence", "equal depth"]
    return [*said, f"{' and '.join(fixed)} held fixed"] if fixed else said
