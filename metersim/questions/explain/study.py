"""Demands of a scenario on its meter, found without a run."""

from __future__ import annotations

import math
from dataclasses import dataclass

from metersim.machine.airline import chamber_vacuum
from metersim.machine.given import AnyScenario
from metersim.machine.holding import DISCHARGE, capture_distance
from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import AIR_DENSITY
from metersim.machine.stations import OwnGiven, departures_of, fitted, stations_of
from metersim.measures.limits import cautions


@dataclass(frozen=True)
class Explained:
    """Numbers that follow from a scenario without a run, in SI.

    Attributes
    ----------
    scenario : Scenario
        Scenario to explain.
    turning : float
        Turning frequency of the disc. [1/s]
    needed : float
        Vacuum that the mean seed needs in the pool. [Pa]
    needed_by_most : float
        Vacuum that suffices for 99 of 100 seeds in the pool. [Pa]
    needed_carried : float
        Vacuum that the mean seed needs once it has left the pool. [Pa]
    chances : Chances
        Chances of a cell at the static level of the pool.
    empty : float
        Chance that a cell leaves the pool without a seed. [1]
    level, arc : float
        Static level of the pool, and arc of the hole circle in it. [m]
    pool_seeds : int
        Seeds in the pool at that level.
    flow, use : float
        Flow that the gate can pass, and flow that the cells take. [1/s]
    arches : float
        Frequency of arches at the gate while seed flows. [1/s]
    lasts : float
        Time for which the hopper lasts. [s]
    contacts : float
        Mean wall contacts of a seed in the tube. [1]
    reach : float
        Distance from which a hole lifts a free seed, as a sink; not used by the model. [m]
    cautions : tuple of str
        Statements on ranges of published studies that the scenario exceeds.
    """

    scenario: Scenario
    turning: float
    needed: float
    needed_by_most: float
    needed_carried: float
    chances: Chances
    empty: float
    level: float
    arc: float
    pool_seeds: int
    flow: float
    use: float
    arches: float
    lasts: float
    contacts: float
    reach: float
    cautions: tuple[str, ...]

    @property
    def replaced(self) -> dict[str, str]:
        """Replaced stations, and the kinds of their replacements."""
        return departures_of(self.scenario)


MOST = 2.3263478740408408  # normal deviate that 99 % lie below


def explain(scenario: AnyScenario, stations: OwnGiven | None = None) -> Explained:
    """Calculate the demands of a scenario on its meter.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Scenario to explain, its name, or its file.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Returns
    -------
    Explained
        Calculated numbers.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.explain("maize_bench")
    >>> given = found.scenario.vacuum.vacuum  # in Pa
    >>> given, 0 < found.needed < given  # the need of the mean seed
    (4000.0, True)
    """
    scenario = fitted(scenario, stations)
    made = stations_of(scenario)
    gate, pickup, speed = made.gate, made.pickup, scenario.peripheral_speed
    start = Moment("gate", time=0.0, speed=speed)
    full = int(gate.full(start))
    level = float(gate.level(full))
    vacuum = pickup.vacuum_share * chamber_vacuum(scenario)
    at = Moment(time=0.0, speed=speed, level=level)
    chances = Chances(*map(float, pickup.chances(vacuum, at)))
    blocked = pickup.coefficients.blocked
    plugged = len(pickup.holes.plugged) / pickup.holes.cells
    hopper = scenario.pool.hopper / scenario.seeds.seed_mass
    return Explained(
        scenario=scenario,
        turning=scenario.angular_speed / (2 * math.pi),
        needed=chances.needed,
        needed_by_most=chances.needed * math.exp(MOST * pickup.spread),
        needed_carried=float(pickup.needed(speed, 0.0)),
        chances=chances,
        empty=plugged + (1 - plugged) * (blocked + (1 - blocked) * math.exp(-chances.rate)),
        level=level,
        arc=float(pickup.arc(level)),
        pool_seeds=full,
        flow=float(gate.flow(start)),
        use=scenario.cell_rate,
        arches=float(gate.arch_rate(start)),
        lasts=hopper / (scenario.cell_rate + float(gate.leak(start))),
        contacts=float(made.tube.contacts(speed, at)),
        reach=float(
            capture_distance(
                vacuum,
                scenario.disc.hole_diameter,
                scenario.seeds.terminal_velocity,
                AIR_DENSITY,
                DISCHARGE,
            )
        ),
        cautions=tuple(cautions(scenario)),
    )
