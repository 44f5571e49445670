"""The scenario of one row of a machine."""

from __future__ import annotations

from dataclasses import replace

from metersim.machine.given import scenario_of
from metersim.machine.scenario import Scenario


def row_scenario(scenario: Scenario, number: int) -> Scenario:
    """The scenario of one row: with the changes of that row, and its own speed in a curve.

    Parameters
    ----------
    scenario : Scenario
        The whole machine.
    number : int
        Number of the row, from 1.

    Raises
    ------
    ValueError
        If there is no such row.
    BadInput
        If changes of that row contradict other settings.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.machine.rows import row_scenario
    >>> around = ["shut_off_kpa=8", "curve_radius_m=30", "row_spacing_cm=75", "rows.4=notch=2"]
    >>> machine = m.load_scenario("maize_field", ["rows=4", *around])
    >>> round(row_scenario(machine, 4).demand.speed / machine.demand.speed, 4)
    1.0375
    >>> row_scenario(machine, 4).singulator.notch
    2.0
    """
    if not 1 <= number <= scenario.toolbar.rows:
        raise ValueError(f"row is {number}; the machine has rows 1 to {scenario.toolbar.rows}")
    changes = dict(scenario.rows).get(number, ())
    own = scenario_of(replace(scenario, rows=()), changes, changed_by=f"row {number}")
    own = replace(own, row=number, changes=scenario.changes, machine=scenario)
    if own.toolbar.curve_radius is None:
        return own
    factor = own.speed_factor
    sown = 1.0 if own.toolbar.follows_curve else factor
    return own.replace(demand__speed=own.demand.speed * factor, demand__rate=own.demand.rate / sown)
