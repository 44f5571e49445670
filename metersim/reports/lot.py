"""Text of a lot that was made of a user's own seed."""

from __future__ import annotations

import math

from metersim.makelot import MadeLot
from metersim.reports.words import block, number, quantity, set_quantity, shown


def made_text(made: MadeLot, path: str, units: str = "metric") -> str:
    """What a made lot holds, and where each part of it comes from."""
    lot = made.lot
    sides = [shown("small", side, units) for side in (lot.length, lot.width, lot.thickness)]
    size = f"{' x '.join(number(side) for side, _ in sides)} {sides[0][1]}"
    weight, unit = shown("mass", lot.seed_mass, units)
    lines = [f"{lot.title}, written to {path}", ""]
    spread = f"{lot.size_cv * 100:.2f} %"
    if made.spread_low is not None and made.spread_high is not None:
        spread += f" (95 % interval {made.spread_low * 100:.2f} to {made.spread_high * 100:.2f} %)"
    elif not math.isnan(lot.size_cv):
        spread += " (not measured)"
    lines += block(
        "Seed",
        [
            f"{size}, {lot.seed_mass * 1e6:.4g} mg, or {1 / weight:,.0f} seeds a {unit}",
            f"spread of linear size {spread}",
            f"heap of {set_quantity('heap', lot.bulk_density, units)}, "
            f"{quantity('', math.degrees(lot.repose_angle))} degrees of repose",
        ],
    )
    lines += ["", *block("From", made.notes)]
    if lot.illustrative:
        lines.append("This lot is illustrative: over half of its values are assumed.")
    return "\n".join(lines)
