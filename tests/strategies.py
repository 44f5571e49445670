"""What the tests of the whole meter share: a bench, drawn scenarios, runs, z scores."""

import math
import signal
from functools import lru_cache

import numpy as np
from hypothesis import reject
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.files.fields import specs
from metersim.machine.scenario import Scenario
from metersim.machine.sections import (
    SECTIONS,
    Cutoff,
    Demand,
    Disc,
    Drive,
    Furrow,
    Length,
    Pool,
    Seed,
    Sensor,
    Singulator,
    Tube,
    Vacuum,
)
from metersim.machine.seedlot import load_lot, shipped_lots
from metersim.measures.estimates import Measured, difference, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.tally import stretches_for
from metersim.run.records import Run
from metersim.run.simulation import simulate

LOTS = {name: load_lot(name) for name in sorted(shipped_lots())}

# A bench of its own, so that no shipped scenario can move a test: large flat maize, 7 km/h.
BENCH = Scenario(
    title="bench of the tests",
    lot=LOTS["maize_large_flat"],
    seed=Seed(lot="maize_large_flat"),
    disc=Disc(cells=30, circle_radius=0.11, hole_diameter=4.5e-3, agitation=0.3),
    pool=Pool(gate_opening=0.052, gate_width=0.18, pool_depth=0.025, carry_line=0.05, hopper=20.0),
    vacuum=Vacuum(vacuum=4e3),
    singulator=Singulator(gap=4.9e-3, notch_step=0.9e-3, notch=0.0),
    cutoff=Cutoff(decay_arc=0.0),
    tube=Tube(tube_length=0.45, tube_curvature=math.radians(5), tube_wear=0.1),
    furrow=Furrow(surface="bench"),
    sensor=Sensor(beam_height=3e-3, sensor_height=0.15, detection=1.0),
    drive=Drive(start_ramp=0.0, ripple=0.0),
    demand=Demand(rate=8.0, row_spacing=0.75, speed=7 / 3.6),
    run=Length(turns=100, tick=0.25),
)


def pool_of(seeds):
    """Changes of the bench so that a full pool stands that many seeds high at the disc.

    A low pool presses fewer seeds to the disc.  One below a fifth of a seed is shorter along the
    circle than the exit zone.  The pool is as deep and wide as may be, so that seed runs far down
    to the disc from a gate that does not arch, and even a low level is many seeds.
    """
    lot, depth = BENCH.lot, 0.1
    opening = lot.gmd * seeds + depth * math.tan(lot.repose_angle)
    return {"pool__gate_opening": opening, "pool__pool_depth": depth, "pool__gate_width": 0.3}


@lru_cache(maxsize=64)
def ran(seed=1, replicate=0, **changes) -> Run:
    """A run of the bench with some changes; made once for each set of changes."""
    return simulate(BENCH.replace(**changes), seed=seed, replicate=replicate)


@lru_cache(maxsize=64)
def measured(seed=1, replicate=0, **changes) -> Measured:
    """The same, measured."""
    run = ran(seed, replicate, **changes)
    return measure(run, stretches=stretches_for(len(run.cells)))


def z_between(a: Measured, b: Measured, key: str) -> float:
    """How many standard errors a measure of `b` lies above that of `a`.

    Paired when both ran as many cells on the same luck, otherwise as independent runs.
    """
    if a.total("cells") == b.total("cells") and a.origin.seed == b.origin.seed:
        apart = difference(a, b, BY_KEY[key])
        value, error = apart.value, standard_error(apart)
    else:
        value = b[key].value - a[key].value
        error = math.hypot(standard_error(a[key]), standard_error(b[key]))
    return value / error if error > 0 else math.copysign(math.inf, value) if value else 0.0


def standard_error(estimate) -> float:
    """The standard error behind a 95 % interval of 48 stretches."""
    return (estimate.high - estimate.low) / (2 * 2.012)  # t table, 47 degrees of freedom


def bytes_of(run):
    """Every record of a run as bytes, by table and column."""
    return {
        (table, name): column.tobytes()
        for table in ("seeds", "cells", "ticks")
        for name, column in getattr(run, table).columns()
    }


def near(column, other):
    """Whether numbers are the same to a billionth, or to 1e-12 near 0."""
    column, other = np.asarray(column), np.asarray(other)
    return column.shape == other.shape and np.allclose(
        column, other, rtol=1e-9, atol=1e-12, equal_nan=True
    )


def unlike(run, other):
    """Columns in which two runs differ: whole numbers at all, others by more than rounding."""
    found = []
    for table in ("seeds", "cells", "ticks"):
        for name, column in getattr(run, table).columns():
            theirs = getattr(getattr(other, table), name)
            alike = near if column.dtype.kind == "f" else np.array_equal
            if column.dtype != theirs.dtype or not alike(column, theirs):
                found.append((table, name))
    return found


# ---------------------------------------------------------------- drawn scenarios

# Ends in place of the declared ones, in SI, so that a run is short and a workshop could set it up.
NARROWED = {
    "run.turns": (1, 5),
    "run.tick": (0.05, 1),
    "pool.gate_opening": (1e-3, 0.12),
    "pool.hopper": (2, 50),
    "demand.speed": (0.5, 4),
    "drive.start_ramp": (0, 5),
    "tube.tube_length": (0.1, 1.5),
    "gap.stiffness": (5e4, 1e7),  # a motor that a soft hub stalls is refused
    "gap.rated_torque": (5, 100),
    "gap.rated_current": (5, 100),
    "gap.idle_current": (0, 4),
    "toolbar.rows": (1, 1),
    "hoses.gauge_at": (0, 1),
    "hoses.fan_at": (0.5, 1.5),
}


TEXTS = {
    "seed.lot": sorted(LOTS),
    "disc.plugged_holes": ("none", "1", "2 4", "every 3"),
    "disc.worn_holes": ("none", "3"),
    "disc.chipped_holes": ("none",),
    "toolbar.working": ("all",),
    "travel.speeds": ("steady", "0 s 3 km/h, 2 s 9 km/h"),
    "travel.rates": ("steady", "1 s 60000/ha, 5 m 90000/ha"),
    "travel.off": ("none", "1 s to 1.5 s"),
}

# Texts in place of names of lots, and other values where most would stop or contradict a run.
SAMPLED = {
    "disc.plugged_holes": ("none", "3", "every 7"),
    "disc.worn_holes": ("none", "2", "every 2"),
    "disc.chipped_holes": ("none", "1"),
    "tube.delivery": ("tube", "tube", "conveyor"),
    "vacuum.chamber_open": (False, False, False, True),
}


def fields_of(section, narrowed):
    """Values for every declared field of a section, each from its own range."""
    drawn = {}
    for name, spec in specs(SECTIONS[section]).items():
        if f"{section}.{name}" in SAMPLED:
            drawn[name] = st.sampled_from(SAMPLED[f"{section}.{name}"])
            continue
        low, high = narrowed.get(f"{section}.{name}", (spec.low, spec.high))
        values = {
            "count": lambda low=low, high=high: st.integers(int(low), int(high)),
            "number": lambda low=low, high=high: st.floats(low, high),
            "switch": st.booleans,
            "choice": lambda spec=spec: st.sampled_from(spec.choices),
            "text": lambda name=name: st.sampled_from(TEXTS[f"{section}.{name}"]),
        }[spec.kind]()
        drawn[name] = st.none() | values if spec.optional else values
    return st.fixed_dictionaries(drawn)


def made(values):
    """The scenario of values by section and field, or the `BadInput` that they raise."""
    try:
        sections = {name: kind(**values[name]) for name, kind in SECTIONS.items()}
        return Scenario(title="drawn", lot=LOTS[sections["seed"].lot], **sections)
    except BadInput as error:
        return error


def anything():
    """Every field anywhere in its declared range: a scenario, or the `BadInput` it raises."""
    return st.fixed_dictionaries({name: fields_of(name, {}) for name in SECTIONS}).map(made)


@st.composite
def scenarios(draw):
    """A scenario that a workshop could set up: sizes go with the seed, spacings with the row."""
    values = {name: draw(fields_of(name, NARROWED)) for name in SECTIONS}
    seed = values["seed"]
    width = LOTS[seed["lot"]].width * seed["size_factor"]
    hole = max(draw(st.floats(0.3, 0.9)) * width, 3e-4)
    circle = draw(st.floats(0.05, 0.2))
    fitting = int(2 * math.pi * circle / hole)
    values["disc"] |= {
        "hole_diameter": hole,
        "circle_radius": circle,
        "cells": draw(st.integers(4, min(fitting, 120))),
    }
    gap = max(draw(st.floats(0.3, 2)) * width, 3e-4)
    values["singulator"] |= {
        "gap": gap,
        "notch_step": max(draw(st.floats(0.05, 0.18)) * gap, 1e-5),
        "notch": draw(st.floats(-5, 5)),
    }
    length = values["tube"]["tube_length"]
    values["sensor"]["sensor_height"] = draw(st.floats(0, 0.9)) * length
    spacing = draw(st.floats(0.02, 0.5))
    rate = specs(SECTIONS["demand"])["rate"]
    per_area = 1 / (values["demand"]["row_spacing"] * spacing)
    values["demand"]["rate"] = min(max(per_area, rate.low), rate.high)
    values["fan"]["shut_off"] = None  # machines with a fan have tests of their own
    if values["toolbar"]["curve_radius"] is not None:
        values["toolbar"]["curve_radius"] = abs(values["toolbar"]["curve_radius"]) + 1
    scenario = made(values)
    if isinstance(scenario, BadInput):
        reject()
    return scenario


def with_usual_signals():
    """In a new process: signals end it, although whoever started the tests may ignore them."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        signal.signal(getattr(signal, name), signal.SIG_DFL)
