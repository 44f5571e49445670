"""Texts on the demands of a scenario: the answer, and the whole report."""

from __future__ import annotations

import math

from metersim.files.units import hole_text
from metersim.measures.limits import RESERVE, cautions
from metersim.questions.explain.study import Explained
from metersim.questions.shared.answer import Answer, capital
from metersim.questions.shared.notes import asked, beyond
from metersim.questions.shared.words import block, number, quantity, set_quantity


def summary(found: Explained, units: str = "metric", details: bool = False) -> str:
    """The answer on the demands of a scenario; with details also the whole report.

    Parameters
    ----------
    found : Explained
        Demands of the scenario.
    units : str
        ``metric`` or ``us``.
    details : bool
        Whether to add the report.
    """
    scenario = found.scenario
    vacuum = set_quantity("pressure", found.chances.vacuum, units)
    first = [
        f"{vacuum} of vacuum is {_two(found.chances.vacuum / found.needed)} times the need "
        "of the mean seed."
    ]
    if not found.chances.vacuum:
        first = ["There is no vacuum. No hole holds a seed."]
    first.append(f"{_two(100 * found.empty)} of 100 cells leave the pool without a seed.")
    supply = f"The gate passes up to {_two(found.flow)} seeds a second. The cells take "
    first.append(f"{supply}{_two(found.use)}.")
    if found.flow <= 0:
        first[-1] = "The gate is too low for this seed. Nothing flows in."
    _, settings, *_ = asked(scenario, units)
    return Answer(
        first=first,
        notes=[*beyond(scenario, units), *(f"{capital(one)}." for one in scenario.warnings(units))],
        table=_table(found, units),
        assumes="; ".join(
            [settings, "usual coefficients", *(one.text(units) for one in scenario.unknown)]
        )
        + ". No run is made.",
        details=report(found, units).splitlines(),
        more="motion, vacuum, pick-up, pool, singulator, fall and all notes",
    ).text(details)


def _table(found: Explained, units: str) -> list[tuple[str, str, str]]:
    """Demands of the scenario, each beside what it is to be compared with."""
    scenario, pressure = (
        found.scenario,
        f"{quantity('pressure', found.needed, units)} for the mean seed",
    )
    most = quantity("pressure", found.needed_by_most, units)
    width = quantity("small", scenario.seeds.width, units)
    lasts = _span(found.lasts) if found.flow > 0 else "-"
    edge = _edge(found)
    rows = [
        (
            "vacuum",
            set_quantity("pressure", found.chances.vacuum, units),
            f"{pressure}, {most} for 99 of 100",
        ),
        ("cells without a seed", f"{_two(100 * found.empty)} %", "when they leave the pool"),
        ("seeds a second at the gate", number(found.flow), f"{found.use:.1f} taken by the cells"),
        (
            "pool at the disc",
            quantity("small", found.level, units),
            f"{quantity('small', scenario.pool.carry_line, units)} carry line",
        ),
        ("singulator from the holes", quantity("small", edge, units), f"{width} width of a seed"),
        (
            "hole",
            hole_text(scenario.disc.hole_diameter, units),
            f"{width} width of a seed",
        ),
        ("contacts with the tube", f"{found.contacts:.2f}", "for each seed, on average"),
        ("hopper", lasts, f"at {scenario.cell_rate:.1f} cells a second"),
    ]
    return [("", "here", "compare with"), *rows]


def _two(value: float) -> str:
    """A number with two significant digits."""
    return f"{float(f'{value:.2g}'):,.10g}"


def _edge(found: Explained) -> float:
    """Distance of the singulator from the holes' path. [m]"""
    singulator = found.scenario.singulator
    return singulator.gap - singulator.notch_step * singulator.notch


def report(found: Explained, units: str = "metric") -> str:
    """Whole report on the demands of a scenario on its meter.

    Parameters
    ----------
    found, units
        As for `summary`.
    """
    scenario, chances = found.scenario, found.chances
    set_vacuum = scenario.vacuum.vacuum
    carry = scenario.pool.carry_line
    works = chances.vacuum  # less where a seal is worn or a chamber is open
    at_holes = f", at the holes {set_quantity('pressure', works, units)}"
    if works == set_vacuum:
        at_holes = ""
    against = f" ({works / found.needed:.1f} times the need of the mean seed)"
    above = "above" if found.level > carry else "below"
    if not works:
        against = ""
    lines = [f"{scenario.title} ({scenario.name}), before it runs"]
    if scenario.shows:
        lines.append(scenario.shows)
    lines += ["", *block("Asked", asked(scenario, units)), ""]
    lines += block(
        "Motion",
        [
            f"a cell passes every {1000 / scenario.cell_rate:.3g} ms; neighbouring holes are "
            f"{quantity('small', scenario.pitch, units)} apart",
        ],
    )
    lines += block(
        "Vacuum",
        [
            f"set {set_quantity('pressure', set_vacuum, units)}{at_holes}{against}",
            f"needed in the pool: {quantity('pressure', found.needed, units)} by the mean seed "
            f"when it lies flat, {quantity('pressure', found.needed_by_most, units)} by 99 of 100 "
            "seeds",
            "a hole meets several seeds; one that holds is enough",
            f"needed on the way round: {quantity('pressure', found.needed_carried, units)} "
            "by the mean seed",
            f"the air into a hole lifts a free seed over {quantity('small', found.reach, units)}",
            "published measurements of this distance are about twice as large; the model does not "
            "use it",
        ],
    )
    lines += block(
        "Pick-up",
        [
            f"a hole gains {chances.gain:.2g} and loses {chances.loss:.2g} seeds on each seed "
            f"diameter of its way, on the last {chances.zone:.1f} below the surface",
            f"a seed that a hole draws holds with chance {chances.hold:.3f}",
            f"{found.empty * 100:.3g} % of the cells leave the pool without a seed",
            RESERVE,
        ],
    )
    between = _span(1 / found.arches if found.arches else math.inf)
    lasting = [
        f"mean time between arches at the gate: {between}; the hopper lasts {_span(found.lasts)}"
    ]
    supply = f"the gate passes up to {number(found.flow)} seeds/s; the cells take {found.use:.1f}"
    if found.flow <= 0:
        supply = "the gate is too low for this seed: nothing flows in"
        lasting = []
    lines += block(
        "Pool",
        [
            f"stands {quantity('small', found.level, units)} high at the disc, {above} the carry "
            f"line at {quantity('small', carry, units)}; {found.pool_seeds:,} seeds",
            f"covers {quantity('small', found.arc, units)} of the hole circle",
            supply,
            *lasting,
        ],
    )
    edge = _edge(found)
    width = scenario.seeds.width
    lines += block(
        "Edge",
        [
            f"the singulator stands {quantity('small', edge, units)} from the holes' path, "
            f"{edge / width:.2f} of the seed's width; a hole is "
            f"{scenario.disc.hole_diameter / width:.2f} of it",
            "it also removes some single seeds: this leaves further cells empty",
        ],
    )
    lines += block(
        "Fall", [f"a seed touches the tube's wall {found.contacts:.2f} times on average"]
    )
    notes = [*cautions(scenario, units), *scenario.warnings(units)]
    if notes:
        lines += ["", *block("Note", notes)]
    return "\n".join(lines)


def _span(seconds: float) -> str:
    for limit, size, name in ((120, 1, "s"), (7200, 60, "min"), (172800, 3600, "h")):
        if seconds < limit:
            return f"{seconds / size:.3g} {name}"
    return "more than two days"
