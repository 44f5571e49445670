"""Generic discs, the singulators that go with them, and the shipped list of discs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, all_of, bad
from metersim.files.fields import Checked, count, number, read_section, specs, text
from metersim.machine.seedlot import read_toml, usual_crop

SHIPPED = Path(__file__).parents[1] / "data" / "discs.toml"
GAP_OVER_WIDTH = 0.67  # of a singulator at the centre, over the width of the seed it is made for
NOTCH_OVER_WIDTH = 0.12  # assumption: both as in the shipped scenarios; measure your own


@dataclass(frozen=True, kw_only=True)
class GenericDisc(Checked):
    """A generic disc, given by its holes and by the class of seed that it is made for."""

    cells: int = count(4, 400, "holes on the circle")
    hole_diameter: float = number("mm in", 0.3, 15, "diameter of a hole")
    agitation: float = number(
        "", 0, 1, "how much the disc stirs the pool, 0 smooth to 1 pegged", default=0.3
    )
    seed_width: float = number("mm in", 0.5, 30, "width of the seed that it is made for")
    meant_for: str = text("class of seed that it is made for")

    def suits(self, crop: str) -> bool:
        """Whether the disc's class of seed names a crop, such as 'soybean, high rate'.

        A disc for beet suits sugar beet.
        """
        words = self.meant_for.casefold().replace(",", " ").replace(";", " ").replace(":", " ")
        named = {part for word in words.split() for part in usual_crop(word).split()}
        return bool(named & set(usual_crop(crop.casefold()).split()))

    @property
    def gap(self) -> float:
        """Gap of the singulator that goes with it, at the centre of its travel. [m]

        assumption: `GAP_OVER_WIDTH` of the width of the seed that the disc is made for.
        """
        return GAP_OVER_WIDTH * self.seed_width

    @property
    def notch_step(self) -> float:
        """Travel of that singulator in one notch. [m]

        assumption: `NOTCH_OVER_WIDTH` of the width of the seed that the disc is made for.
        """
        return NOTCH_OVER_WIDTH * self.seed_width


def load_discs(path: str | Path | None = None) -> tuple[GenericDisc, ...]:
    """Read a list of discs.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file in the form of the shipped one.  Without it, the shipped one is read.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> m.load_discs()[0].cells
    18
    """
    path = Path(path) if path is not None else SHIPPED
    table = read_toml(path)
    rows = table.pop("disc", None)
    faults = [bad(str(path), key, "unknown key; give [[disc]] tables alone") for key in table]
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        faults.append(bad(str(path), "disc", "missing or no list; give a [[disc]] table for each"))
        rows = []
    if faults:
        raise BadInput(fault for error in faults for fault in error.faults)
    found = all_of(*(partial(_disc, row, str(path), k + 1) for k, row in enumerate(rows)))
    seen: dict[GenericDisc, int] = {}
    for k, disc in enumerate(found, start=1):
        first = seen.setdefault(disc, k)
        if first != k:
            raise bad(str(path), f"disc {k}", f"is the same as disc {first}; give it once")
    return tuple(found)


def _disc(row: Mapping[str, Any], where: str, number: int) -> GenericDisc:
    values, faults = read_section(specs(GenericDisc), row, where, f"disc {number}")
    if faults:
        raise BadInput(faults)
    disc = GenericDisc(**values)
    if disc.hole_diameter >= disc.seed_width:
        message = "the hole is not smaller than the seed's width; seeds would be drawn through"
        raise bad(where, f"disc {number}.hole_diameter_mm", message)
    return disc
