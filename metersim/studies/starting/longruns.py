"""Runs that are long enough to be told with an interval, and their differences."""

from __future__ import annotations

from metersim.indices import BY_KEY
from metersim.intervals import Estimate
from metersim.measures import Measured, difference, measure
from metersim.scenario import Scenario
from metersim.studies.starting.startpoint import QUALITY
from metersim.tally import tallied

CELLS = 24_000  # of a run
TOLD = ("cells.skip", "cells.double", QUALITY, "precision")  # what differences are told of


def long(scenario: Scenario) -> Scenario:
    """The scenario, watched for `CELLS`."""
    return scenario.lasting(CELLS)


def measured(scenario: Scenario, *, seed: int) -> Measured:
    """A run of `CELLS`, on luck that all such runs of a seed share."""
    return measure(tallied(long(scenario), seed=seed))


def differences(a: Measured, b: Measured) -> dict[str, Estimate]:
    """Measures `TOLD` of b less those of a, paired."""
    return {key: difference(a, b, BY_KEY[key]) for key in TOLD}
