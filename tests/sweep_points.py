"""Points of sweeps that need no simulation, in a module that other processes can load."""

import math
import time

from metersim.measures.indices import MEASURES
from metersim.questions.sweep.study import Outcome


def outcome(**measures):
    """An outcome with some measures, named with two underscores for the dot, and others 0.5."""
    named = {key.replace("__", "."): value for key, value in measures.items()}
    values = []
    for measure in MEASURES:
        value = named.get(measure.key, 0.5)
        values += [value, value - 0.01, value + 0.01]
    return Outcome((*values, 100.0, 99.0))


def flat(job):
    """The same whatever is set."""
    return outcome()


def hill(job):
    """Best at 4 kPa, 1 % less for each kPa squared away from it; misses below 3 kPa."""
    away = job.settings["vacuum__vacuum"] / 1e3 - 4
    miss = 0.1 if away < -1 else 0.01
    return outcome(
        per_spacing__quality=0.97 - 0.01 * away**2,
        per_spacing__miss=miss,
        per_spacing__multiple=0.01,
    )


def slow_hill(job):
    """`hill`, the later the sooner it is done."""
    time.sleep(0.02 * (job.settings["vacuum__vacuum"] < 3e3))
    return hill(job)


def ishigami(job):
    """The function of Ishigami & Homma 1990 over three settings from 0 to 1."""
    names = ("disc__agitation", "tube__tube_wear", "row_unit__shock_per_speed")
    factors = (1, 1, 1 / 9.80665)
    x, y, z = (
        (2 * job.settings[name] * factor - 1) * math.pi
        for name, factor in zip(names, factors, strict=True)
    )
    return outcome(spacing__sd=math.sin(x) + 7 * math.sin(y) ** 2 + 0.1 * z**4 * math.sin(x))


def noisy(job):
    """`hill`, but replicates differ by 0.5 % up or down for each kPa away from the best."""
    away = job.settings["vacuum__vacuum"] / 1e3 - 4
    luck = 0.005 * away * (-1) ** job.replicate
    return outcome(
        per_spacing__quality=0.97 - 0.01 * away**2 + luck,
        per_spacing__miss=0.01,
        per_spacing__multiple=0.01,
    )
