"""Entry to a pass of a machine: `simulate_pass` runs all its rows by one of the engines."""

from __future__ import annotations

from metersim import __version__
from metersim.machine.given import AnyScenario, scenario_of
from metersim.run.arrays.rows import pass_by_arrays
from metersim.run.rows import AirHistory, Machine, Pass, RowRun
from metersim.run.simulation import EVENTS, check_engine, steps_of


def simulate_pass(
    scenario: AnyScenario, *, seed: int = 1, replicate: int = 0, engine: str | None = None
) -> Pass:
    """Run all working rows of a machine that share a fan.

    Parameters
    ----------
    scenario : Scenario, str or Path
        The machine: a scenario with a fan, or the name or file of one.
    seed, replicate : int
        Random seed, and number of the replicate, 0 or more.  Each row has draws of its own.
    engine : str, optional
        ``arrays``, the usual one, ``events`` or ``compiled``; all leave the same records.

    Raises
    ------
    ValueError
        For an unknown engine, or a scenario without a fan.
    BadInput
        When the fan cannot give the vacuum.

    Examples
    --------
    >>> import metersim as m
    >>> around = ["rows=4", "working=1-3", "shut_off_kpa=8", "free_flow_m3_h=900", "turns=20"]
    >>> done = m.simulate_pass(m.load_scenario("maize_field", around), seed=1)
    >>> [one.number for one in done.rows], done.air.vacuum.shape[0]
    ([1, 2, 3], 4)
    """
    made = scenario_of(scenario)
    check_engine(engine)
    if not made.is_toolbar:
        raise ValueError("the scenario has no fan; give fan.shut_off_kpa, or use simulate")
    machine = Machine(made, seed, replicate)
    if engine == EVENTS:
        from metersim.run.breath import pass_by_events

        air, runs = pass_by_events(machine)
    else:
        air, runs = pass_by_arrays(machine, lambda stations: steps_of(stations, engine))
    history = AirHistory(time=machine.ticks, fan_speed=machine.line.fan_speed, **vars(air))
    rows = tuple(RowRun(number=number, run=run) for number, run in runs.items())
    return Pass(
        scenario=made, seed=seed, replicate=replicate, version=__version__, rows=rows, air=history
    )
