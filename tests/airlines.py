"""A machine of 16 rows on one fan, for tests of its air."""

import dataclasses

import numpy as np

from metersim.machine.airline import air_line, full_holes
from tests.strategies import BENCH

MACHINE = BENCH.replace(toolbar__rows=16, fan__shut_off=6e3)
NARROW = {"hoses__pipe_diameter": 0.05, "hoses__hose_diameter": 0.025}


def line_of(**changes):
    """Air line of the machine with some changes."""
    return air_line(MACHINE.replace(**changes))


def at_full_speed(**changes):
    """The same, with the fan at full speed whatever the gauge reads."""
    return dataclasses.replace(line_of(vacuum__vacuum=0.0, **changes), fan_speed=1.0)


def all_full(line, scenario=MACHINE):
    """Air of a line with a seed on every hole of the rows that work."""
    holes = np.full((len(line.pieces), 1), full_holes(scenario))
    return line.solve(line.open_area(holes))


def drawn_areas(rows, ticks=1, seed=3):
    """Open areas of rows at ticks, from sealed to a chamber left open. [m2]"""
    rng = np.random.default_rng(seed)
    return rng.choice([0.0, 5e-5, 1e-4, 5e-4, 1e-2], (rows, ticks)) * rng.uniform(1, 2, ticks)
