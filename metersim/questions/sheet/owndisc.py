"""The grower's own disc beside generic ones, and whether it suits the seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from metersim.machine.discs import GenericDisc
from metersim.machine.scenario import Scenario
from metersim.measures.indices import FLAT
from metersim.questions.sheet.choice import Fit, Unfit
from metersim.questions.sheet.discfit import (
    IMPOSSIBLE,
    LARGE_HOLE,
    NO_HOLE,
    PITCH,
    SMALL_HOLE,
    SPEED,
    TOUCHING,
    Objection,
)

AGITATION = 0.3  # as of the shipped discs; no source distinguishes discs by it
OWN = "your disc"
SUITS, SMALL, LARGE, FEW, CLOSE, OTHER = (
    "suits",
    "hole too small",
    "hole too large",
    "too few cells",
    "too many cells",
    "impossible",
)


def own_disc(cells: int, hole: float, width: float) -> GenericDisc:
    """The grower's disc, with a singulator that goes with the seed.

    Parameters
    ----------
    cells : int
        Holes on the circle.
    hole : float
        Their diameter. [m]
    width : float
        Width of the seed; assumption: the singulator that is fitted is made for it. [m]
    """
    return GenericDisc(
        cells=cells, hole_diameter=hole, agitation=AGITATION, seed_width=width, meant_for=OWN
    )


@dataclass(frozen=True, eq=False)
class Own:
    """The grower's own disc beside generic ones.

    Attributes
    ----------
    disc : GenericDisc
        The disc.
    scenario : Scenario
        Seed and request, with the disc of the sheet.
    objections : tuple of Objection
        Objections against the disc.
    fit : Fit, optional
        The disc at its start point; None where an objection excludes it from runs.
    best : Fit, optional
        The best generic disc without an objection, if it is better beyond doubt; the disc of the
        sheet where the own disc cannot carry the lot.
    """

    disc: GenericDisc
    scenario: Scenario
    objections: tuple[Objection, ...]
    fit: Fit | None
    best: Fit | None

    @property
    def verdicts(self) -> tuple[str, ...]:
        """What is wrong with the disc, or that it suits."""
        kinds = {
            SMALL_HOLE: SMALL,
            LARGE_HOLE: LARGE,
            SPEED: FEW,
            PITCH: CLOSE,
            TOUCHING: CLOSE,
            IMPOSSIBLE: OTHER,
        }
        found = []
        for one in self.objections:
            if one.kind == NO_HOLE:
                found.append(SMALL if one.value < one.bound else LARGE)
            else:
                found.append(kinds[one.kind])
        if not found and self.best is not None and self._turns_faster:
            found.append(FEW)
        return tuple(dict.fromkeys(found)) or (SUITS,)

    @property
    def suits(self) -> bool:
        """Whether no fault of the disc is detected."""
        return self.verdicts == (SUITS,)

    @property
    def _turns_faster(self) -> bool:
        """Whether the better disc has more cells, so that its holes are slower."""
        return self.best is not None and self.best.disc.cells > 1.05 * self.disc.cells


def own_of(
    disc: GenericDisc, scenario: Scenario, fits: Sequence[Fit], unfit: Sequence[Unfit]
) -> Own:
    """The grower's disc with its verdict, from fits whose leads are those over this disc."""
    mine = next((one for one in fits if one.disc == disc), None)
    against = mine.objections if mine else ()
    if mine is None:
        against = next(one.objections for one in unfit if one.disc == disc)
    free = [one for one in fits if one.disc != disc and not one.objections]
    best = max(free, key=lambda one: one.lead[one.leading].value, default=None)
    if mine is None:
        best = fits[0]
    elif best is not None and not best.lead[best.leading].low > FLAT:
        best = None
    return Own(disc, scenario, against, mine, best)
