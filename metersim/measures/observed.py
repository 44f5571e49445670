"""What an observer of spacings finds: seeds on a belt or in a furrow, pulses, or plants."""

from __future__ import annotations

import dataclasses
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.measures.spacing import spacings_of
from metersim.run.draws import MOST_SEEDS
from metersim.run.records import Origin, Run, Seeds
from metersim.run.streams import Streams

Floats = NDArray[np.float64]
Records = TypeVar("Records", bound=Origin)


def observed_seeds(origin: Origin, seeds: Seeds) -> Seeds:
    """The seeds that an observer finds, at the positions where the observer finds them.

    Parameters
    ----------
    origin : Origin
        Origin of the records; its scenario says how spacings were observed.
    seeds : Seeds
        All or some seeds of its run.

    Returns
    -------
    Seeds
        Seeds in the same order.  On a belt and dug up, they are all seeds where they lie.  From
        pulses, they are those with a pulse of their own, where the machine is at the time of the
        pulse.  As plants, they are those that come up.
    """
    scenario = origin.scenario
    if scenario.observed == "pulses":
        shown = seeds.part(np.flatnonzero(seeds.seen))
        way, times = scenario.way, shown.sensor_time
        place = way.distance_at(times) if way else scenario.demand.speed * times
        return dataclasses.replace(shown, position=place)
    if scenario.observed == "plants":
        streams, stand = Streams(origin.seed, origin.replicate), scenario.stand
        return come_up(seeds, streams, stand.emergence, stand.plant_shift)
    return seeds


def observed_spacings(run: Run) -> Floats:
    """The spacings of a run that an observer finds. [m]"""
    return spacings_of(observed_seeds(run, run.seeds).position)


def as_it_lies(origin: Records) -> Records:
    """An origin whose seeds are observed where they lie, for records that hold plants already."""
    if origin.scenario.furrow.observed is None:
        return origin
    scenario = origin.scenario.replace(furrow__observed=None)
    return dataclasses.replace(origin, scenario=scenario)


def come_up(seeds: Seeds, streams: Streams, chance: float, shift: float) -> Seeds:
    """The seeds that come up, at the positions of their plants.

    Parameters
    ----------
    seeds : Seeds
        All or some seeds of a run.
    streams : Streams
        The random draws of the run.
    chance : float
        Chance that a seed comes up, from 0 to 1. [1]
    shift : float
        SD of the distance along the row from a seed to its plant. [m]

    Returns
    -------
    Seeds
        Seeds in the same order.

    Notes
    -----
    assumption: seeds come up independently of one another and of their spacing; shifts are normal.
    There is one draw for each seed that a cell may carry, whether it carries it or not.  So if one
    of two meters skips, the seeds behind keep their draws.  The draws do not depend on chance and
    shift.
    """
    index = index_of(seeds)
    up = np.flatnonzero(ups(index, streams, chance))
    plants = seeds.part(up)
    return dataclasses.replace(plants, position=plants.position + shifts(index[up], streams, shift))


def ups(index: NDArray[np.uint64], streams: Streams, chance: float) -> NDArray[np.bool_]:
    """Whether each seed comes up, by the index of its draw; arguments as for `come_up`."""
    found: NDArray[np.bool_] = streams.uniform("emergence", index) < chance
    return found


def shifts(index: NDArray[np.uint64], streams: Streams, shift: float) -> Floats:
    """Distance along the row from each seed to its plant; arguments as for `ups`. [m]"""
    if shift == 0:
        return np.zeros(len(index))
    moved: Floats = shift * ndtri(streams.uniform("plant shift", index))
    return moved


def index_of(seeds: Seeds) -> NDArray[np.uint64]:
    """Index of each seed's draw for a cause."""
    return (seeds.cell * MOST_SEEDS + seeds.nth).astype(np.uint64)
