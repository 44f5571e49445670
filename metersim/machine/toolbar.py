"""The rows of a machine: which of them work, and what contradicts itself in their plumbing."""

from __future__ import annotations

import re

from metersim.files.fields import shown
from metersim.machine.around import Fan, Hoses, Toolbar
from metersim.machine.sections import Vacuum

LEAST_TURN = 0.5  # m, least radius of a row's own curve


def row_numbers(text: str, rows: int) -> tuple[tuple[int, ...], str]:
    """Numbers of rows as they are typed, such as ``1-4 6`` or ``all``, and what is wrong, if so.

    Examples
    --------
    >>> from metersim.machine.toolbar import row_numbers
    >>> row_numbers("1-3, 6", 8)
    ((1, 2, 3, 6), '')
    """
    if text.strip() == "all":
        return tuple(range(1, rows + 1)), ""
    found: set[int] = set()
    for word in text.replace(",", " ").split():
        parts = re.fullmatch(r"(\d{1,3})(?:-(\d{1,3}))?", word, re.ASCII)
        low, high = (int(parts[1]), int(parts[2] or parts[1])) if parts else (0, 0)
        if not 1 <= low <= high <= rows:
            return (), f'{shown(word)} names no rows of a machine of {rows}; write it like "1-4 6"'
        found |= set(range(low, high + 1))
    return tuple(sorted(found)), "" if found else 'names no row; give numbers or "all"'


def contradictions(
    toolbar: Toolbar, fan: Fan, hoses: Hoses, vacuum: Vacuum, row_spacing: float
) -> list[tuple[str, str]]:
    """What contradicts itself in rows, fan, hoses and curve: keys and messages.

    `row_spacing` is in metres.
    """
    found = []
    _, wrong = row_numbers(toolbar.working, toolbar.rows)
    if wrong:
        found.append(("toolbar.working", wrong))
    if toolbar.rows > 1 and fan.shut_off is None:
        message = (
            f"missing; {toolbar.rows} rows share a fan: give its most pressure, and "
            "fan.free_flow_m3_h"
        )
        found.append(("fan.shut_off_kpa", message))
    if fan.shut_off == 0 and vacuum.vacuum > 0:
        message = (
            "0 kPa is no fan, and vacuum.vacuum_kpa states a vacuum at the hole; give the "
            "fan's most pressure, or leave the fan out"
        )
        found.append(("fan.shut_off_kpa", message))
    half = (toolbar.rows - 1) / 2 * row_spacing
    if toolbar.curve_radius is not None and abs(toolbar.curve_radius) <= half + LEAST_TURN:
        message = (
            f"{toolbar.curve_radius:.4g} m is too tight for rows up to {half:.4g} m aside; give "
            f"more than {half + LEAST_TURN:.4g} m"
        )
        found.append(("toolbar.curve_radius_m", message))
    for key, most in (("gauge_at", hoses.gauge_at), ("fan_at", hoses.fan_at or 1)):
        if most > toolbar.rows + 0.5 * (key == "fan_at"):
            message = f"{most:g} is no row; the machine has {toolbar.rows}"
            found.append((f"hoses.{key}", message))
    return found
