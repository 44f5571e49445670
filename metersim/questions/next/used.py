"""Options of the seed that was used on a known area, and their reading."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping

from metersim.files.faults import BadInput, Fault, amount, bad
from metersim.files.units import UNITS
from metersim.machine.scenario import Scenario
from metersim.questions.next.diagnosis import MOST_USED, Used

MASSES = {"kg": UNITS["kg"].factor, "g": UNITS["g"].factor, "lb": UNITS["lb"].factor}
AREAS = {"ha": 1e4, "acre": 1 / UNITS["per_acre"].factor, "m2": 1.0}
MASSES["lbs"] = MASSES["lb"]
AREAS["acres"] = AREAS["ac"] = AREAS["acre"]
LEAST_USED = 0.5  # ratio to what the rate asks for, below which a unit is wrong
MOST = 1e9
QUANTITY = re.compile(r"(\d{1,3}(?:,\d{3})+|[\d.]+)\s*([a-z]+2?)?", re.IGNORECASE)


def used_options(command: argparse.ArgumentParser) -> None:
    """Add the options of seed used and of the area."""
    add = command.add_argument
    add(
        "--seeds-used",
        metavar="N|MASS",
        help="seed used on --area: a number of seeds, or a mass such as 62kg or 140lb; it "
        "distinguishes a dirty lens from seeds that are not there",
    )
    add("--area", metavar="AREA", help="area on which it was used, such as 2.5ha or 6acre")


def used_of(options: argparse.Namespace, scenario: Scenario) -> Used | None:
    """Seed used over what the rate of a scenario asks for; None where it is not given.

    Raises
    ------
    BadInput
        When one of the two options is missing, or the ratio is not that of any meter.
    """
    words = {"--seeds-used": options.seeds_used, "--area": options.area}
    given = [option for option, word in words.items() if word is not None]
    if not given:
        return None
    if len(given) == 1:
        (missing,) = set(words) - set(given)
        raise bad(missing, "", f"is needed with {given[0]}")
    seeds, weighed = _quantity("--seeds-used", options.seeds_used, MASSES, bare="seeds")
    area, measured = _quantity("--area", options.area, AREAS)
    if weighed:
        seeds /= scenario.seeds.seed_mass
    asked = scenario.demand.rate * area
    ratio = seeds / asked
    if not LEAST_USED <= ratio <= MOST_USED or not measured:
        message = (
            f"is {100 * ratio:.0f} % of the {asked:,.0f} seeds that the rate asks for on that "
            f"area; allowed: {100 * LEAST_USED:.0f} to {100 * MOST_USED:.0f} %; check the units"
        )
        raise BadInput([Fault("--seeds-used", options.seeds_used, message)])
    return Used(ratio, weighed)


def _quantity(
    option: str, word: str, units: Mapping[str, float], bare: str = ""
) -> tuple[float, bool]:
    """A number in SI, and whether it had a unit."""
    found = QUANTITY.fullmatch(word.strip())
    number, unit = found.groups(default="") if found else (word, "")
    known = ", ".join(units)
    if not found or (unit and unit.lower() not in units) or (not unit and not bare):
        also = f", or a bare number of {bare}" if bare else ""
        comma = "; the decimal mark is a point" if "," in word else ""
        raise bad(option, word, f"must be a number with one of the units {known}{also}{comma}")
    value = amount(option, number.strip().replace(",", ""), MOST)
    return value * units[unit.lower()] if unit else value, bool(unit)
