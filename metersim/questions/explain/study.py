"""What a scenario asks of its meter, before it runs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from metersim.machine.holding import DISCHARGE, capture_distance
from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import AIR_DENSITY
from metersim.machine.stations import Stations, stations_of
from metersim.measures.limits import cautions


@dataclass(frozen=True)
class Explained:
    """Numbers that follow from a scenario without running it, in SI.

    Attributes
    ----------
    scenario : Scenario
        What is set.
    turning : float
        Turns of the disc. [1/s]
    needed : float
        Vacuum that the mean seed needs in the pool. [Pa]
    needed_by_most : float
        Vacuum that 99 of 100 seeds would be content with. [Pa]
    needed_carried : float
        Vacuum that the mean seed needs once it has left the pool. [Pa]
    chances : Chances
        Of a cell at the pool's static level.
    empty : float
        Chance that a cell leaves the pool without a seed. [1]
    level, arc : float
        Static level of the pool, and arc of the hole circle in it. [m]
    pool_seeds : int
        Seeds in the pool at that level.
    flow, use : float
        Seeds a second that the gate can pass, and that the cells take. [1/s]
    arches : float
        Arches at the gate while seed flows. [1/s]
    lasts : float
        Time for which the hopper lasts. [s]
    contacts : float
        Mean wall contacts of a seed in the tube. [1]
    reach : float
        Distance from which a hole lifts a free seed, as a sink; not used by the model. [m]
    cautions : tuple of str
        Where the scenario lies above the range of published studies.
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


MOST = 2.3263478740408408  # normal deviate of 99 %


def explain(scenario: Scenario, stations: Stations | None = None) -> Explained:
    """Work out what a scenario asks of its meter.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    stations : Stations, optional
        In place of the scenario's own.

    Returns
    -------
    Explained
        Its numbers.

    Examples
    --------
    >>> import metersim as m
    >>> told = m.explain(m.load_scenario("maize_bench"))
    >>> given = told.scenario.vacuum.vacuum / 1e3
    >>> f"the mean seed needs {told.needed / 1e3:.1f} kPa of the {given:g}"
    'the mean seed needs 1.0 kPa of the 4'
    """
    stations = stations or stations_of(scenario)
    gate, pickup, speed = stations.gate, stations.pickup, scenario.peripheral_speed
    start = Moment("gate", time=0.0, speed=speed)
    full = int(gate.full(start))
    level = float(gate.level(full))
    vacuum = scenario.vacuum.vacuum
    at = Moment(time=0.0, speed=speed, level=level)
    chances = Chances(*map(float, pickup.chances(vacuum, at)))
    blocked = pickup.coefficients.blocked
    hopper = scenario.pool.hopper / scenario.seeds.seed_mass
    return Explained(
        scenario=scenario,
        turning=scenario.angular_speed / (2 * math.pi),
        needed=chances.needed,
        needed_by_most=chances.needed * math.exp(MOST * pickup.spread),
        needed_carried=float(pickup.needed(speed, 0.0)),
        chances=chances,
        empty=blocked + (1 - blocked) * math.exp(-chances.rate),
        level=level,
        arc=float(pickup.arc(level)),
        pool_seeds=full,
        flow=float(gate.flow(start)),
        use=scenario.cell_rate,
        arches=float(gate.arch_rate(start)),
        lasts=hopper / scenario.cell_rate,
        contacts=float(stations.tube.contacts(speed, at)),
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
