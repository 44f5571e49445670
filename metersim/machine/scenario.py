"""A scenario: all settings of a run, in SI, checked when it is made."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.fields import specs
from metersim.files.units import UNITS
from metersim.files.unknown import Unknown
from metersim.machine.around import Conditions, Fan, Gap, Hoses, Toolbar, Travel
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.conditions import InEffect
from metersim.machine.contradictions import OBSERVED, contradictions, without_effect
from metersim.machine.drive import cell_rate, disc_speed, nominal_spacing, peripheral_speed
from metersim.machine.heap import heap_volume, static_level, tilted_angle
from metersim.machine.holes import CONDITIONS, Holes, holes_of
from metersim.machine.load import gap_warnings
from metersim.machine.own import OwnStations
from metersim.machine.posterior import Posterior, shipped_posterior
from metersim.machine.sections import (
    SECTIONS,
    Cutoff,
    Demand,
    Disc,
    Drive,
    Emergence,
    Furrow,
    Guide,
    Length,
    Pool,
    RowUnit,
    Seed,
    Sensor,
    Singulator,
    Tube,
    Vacuum,
    all_fields,
)
from metersim.machine.seedlot import SeedLot
from metersim.machine.sources import HOLES
from metersim.machine.toolbar import row_numbers
from metersim.machine.travel import Profile, Way, read_profile, speed_in_curve, way_of

MIN_PITCH_OVER_LENGTH = 1.0
CLOSE_PITCH = 1.5  # seed lengths; below it neighbours interfere
HOLE_OVER_WIDTH = (0.45, 0.7)
GOLDEN_PART = (3 - math.sqrt(5)) / 2  # the smaller part of the golden section


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A meter, its seed and the demand on it.

    Each attribute but those named here is the section of the file with the same name.  `title` and
    `shows` are texts, and `name` is that of the file.  `units` is ``metric``, ``us``, or empty
    where the file leaves the choice to its reader.  `lot` is the lot that the seed section
    changes.  `meter` holds the draws of the meter file, if one is named.  `changes` are the keys
    that were changed after the file was read, as the user wrote them.  `unknown` are the fields
    with input uncertainty; the sections hold their middle values.  `rows` are changes of single
    rows of a toolbar, by number, as the user wrote them.  `row` is the number of the row that this
    scenario is of, or 0 for the whole machine, and `machine` is the whole machine of a row.  No
    file holds `own`, stations in place of the usual ones, nor `coefficients`, those of the model
    for this machine.
    """

    title: str
    lot: SeedLot
    seed: Seed
    disc: Disc
    pool: Pool
    vacuum: Vacuum
    singulator: Singulator
    tube: Tube
    furrow: Furrow
    demand: Demand
    guide: Guide = field(default_factory=Guide)
    cutoff: Cutoff = field(default_factory=Cutoff)
    row_unit: RowUnit = field(default_factory=RowUnit)
    sensor: Sensor = field(default_factory=Sensor)
    drive: Drive = field(default_factory=Drive)
    gap: Gap = field(default_factory=Gap)
    conditions: Conditions = field(default_factory=Conditions)
    toolbar: Toolbar = field(default_factory=Toolbar)
    fan: Fan = field(default_factory=Fan)
    hoses: Hoses = field(default_factory=Hoses)
    travel: Travel = field(default_factory=Travel)
    stand: Emergence = field(default_factory=Emergence)
    run: Length = field(default_factory=Length)
    shows: str = ""
    units: str = ""
    name: str = "unnamed"
    changes: tuple[str, ...] = ()
    unknown: tuple[Unknown, ...] = ()
    rows: tuple[tuple[int, tuple[str, ...]], ...] = ()
    row: int = 0
    machine: Scenario | None = dataclasses.field(
        default=None, repr=False, hash=False, compare=False
    )
    own: OwnStations | None = dataclasses.field(default=None, repr=False, hash=False)
    meter: Posterior | None = dataclasses.field(default=None, repr=False, hash=False)
    coefficients: Coefficients = dataclasses.field(default=USUAL, repr=False, hash=False)

    def __post_init__(self) -> None:
        ranges = "; ".join(one.text("") for one in self.unknown if one != self.lot.size_cvs)
        middle = f"; here at the middle: {ranges}" if ranges else ""  # the lot's own moves none
        faults = [Fault(self.name, key, message + middle) for key, message in contradictions(self)]
        if faults:
            raise BadInput(faults)

    @cached_property
    def typed_profile(self) -> tuple[Profile, list[tuple[str, str]]]:
        """The pass as it is typed, and what is wrong with it, by key."""
        return read_profile(self.travel.speeds, self.travel.rates, self.travel.off)

    @property
    def profile(self) -> Profile:
        """How speed and rate change along the pass."""
        return self.typed_profile[0]

    @cached_property
    def way(self) -> Way | None:
        """The pass of this row; None if nothing changes along it."""
        if self.profile.steady:
            return None
        factor = self.speed_factor
        speeds = tuple((time, speed * factor) for time, speed in self.profile.speeds)
        sown = 1.0 if self.toolbar.follows_curve else factor
        rates = tuple((number, unit, rate / sown) for number, unit, rate in self.profile.rates)
        profile = dataclasses.replace(self.profile, speeds=speeds, rates=rates)
        return way_of(profile, self.demand.speed, self.demand.rate, self.spacing)

    @property
    def speed_factor(self) -> float:
        """Speed of this row over that of the middle of the machine. [1]"""
        radius, rows = self.toolbar.curve_radius, self.toolbar.rows
        if radius is None or not self.row:
            return 1.0
        aside = (self.row - (rows + 1) / 2) * self.demand.row_spacing
        return float(speed_in_curve(1.0, aside, radius))

    @cached_property
    def working_rows(self) -> tuple[int, ...]:
        """Numbers of the rows that work."""
        return row_numbers(self.toolbar.working, self.toolbar.rows)[0]

    @property
    def is_toolbar(self) -> bool:
        """Whether it has several rows, or a fan that feeds one."""
        return self.fan.shut_off is not None

    @cached_property
    def seeds(self) -> SeedLot:
        """The seed in the hopper: the lot with the changes of the seed section.

        It is dry and without a flow agent.  `metersim.machine.conditions.InEffect` has the
        seed with what is on it.
        """
        if self.seed.size_factor == 1 and self.seed.size_cv is None:
            return self.lot
        return self.lot.scaled(self.seed.size_factor, self.seed.size_cv)

    @cached_property
    def holes(self) -> Holes:
        """Holes of the disc that are not as new."""
        return holes_of({key: getattr(self.disc, key) for key in CONDITIONS}, self.disc.cells)

    @property
    def posterior(self) -> Posterior:
        """Draws of the coefficients: those of the meter file, or of an unknown machine."""
        return self.meter or shipped_posterior()

    @property
    def spacing(self) -> float:
        """Nominal spacing in the row. [m]"""
        return float(nominal_spacing(self.demand.rate, self.demand.row_spacing))

    @property
    def cell_rate(self) -> float:
        """Cells that pass per second. [1/s]"""
        return float(cell_rate(self.demand.speed, self.spacing))

    @property
    def angular_speed(self) -> float:
        """Speed of the disc. [rad/s]"""
        return float(disc_speed(self.cell_rate, self.disc.cells))

    @property
    def peripheral_speed(self) -> float:
        """Speed of the holes. [m/s]"""
        return float(peripheral_speed(self.angular_speed, self.disc.circle_radius))

    @property
    def pitch(self) -> float:
        """Distance between cells along the circle. [m]"""
        return 2 * math.pi * self.disc.circle_radius / self.disc.cells

    @property
    def passages(self) -> int:
        """Number of passages of a cell in a run."""
        return self.disc.cells * self.run.turns

    def tick_angles(self, last: int, first: int = 0) -> NDArray[np.float64]:
        """Angles of the disc at which pool, arches and hopper are brought up to date. [rad]

        The ticks are those from `first` to before `last`.  All but the very first lie a golden part
        of a pitch before a whole number of ticks (of a tick, when that is shorter).  So no tick
        coincides with the passage of a cell, and rounding does not decide which comes first.
        """
        angles = np.arange(first, last) * (2 * math.pi * self.run.tick) - self.tick_shift
        return angles.clip(min=0.0)

    def ticks_before(self, angles: NDArray[np.float64]) -> NDArray[np.int64]:
        """Number of the last tick before the disc has turned through each angle [rad]."""
        return np.floor((angles + self.tick_shift) / (2 * math.pi * self.run.tick)).astype(np.int64)

    @property
    def tick_shift(self) -> float:
        """Angle by which ticks come before a whole number of them. [rad]"""
        return GOLDEN_PART * 2 * math.pi * min(1 / self.disc.cells, self.run.tick)

    @property
    def heap_slope(self) -> float:
        """Rise of the pool's heap over its run at rest, as the seed and the ground are. [1]"""
        lot, _ = InEffect.of(self.seeds, self.coefficients, self.conditions)
        return math.tan(tilted_angle(lot.repose_angle, self.conditions.slope_across))

    @property
    def pool_fill(self) -> float:
        """Seed that the pool holds when it is full, at rest. [kg]"""
        pool, slope = self.pool, self.heap_slope
        volume = heap_volume(pool.gate_opening, pool.pool_depth, slope, pool.gate_width)
        return float(volume * self.seeds.bulk_density)

    @property
    def pool_within_reach(self) -> float:
        """Seed of the full pool that the disc can reach, at rest. [kg]"""
        pool = self.pool
        level = static_level(pool.gate_opening, pool.pool_depth, self.heap_slope)
        return float(level * pool.gate_width * pool.pool_depth * self.seeds.bulk_density)

    @property
    def in_field(self) -> bool:
        """Whether the meter runs in a field, not on a bench."""
        return self.furrow.surface == "field"

    @property
    def observed(self) -> str:
        """How spacings were observed: as the section `furrow` says, or as the surface implies."""
        return self.furrow.observed or OBSERVED[self.furrow.surface][0]

    def warnings(self, units: str = "metric") -> tuple[str, ...]:
        """Warnings of settings that are allowed but probably not meant."""
        found = []

        def said(length: float) -> str:
            unit = UNITS["in" if units == "us" else "mm"]
            return f"{unit.from_si(length):.3g} {unit.symbol}"

        apart = self.pitch / self.seeds.length
        if MIN_PITCH_OVER_LENGTH <= apart < CLOSE_PITCH:
            found.append(
                f"the cells' pitch is {apart:.2f} seed lengths; below {CLOSE_PITCH:g} neighbours "
                "get in each other's way"
            )
        if apart < MIN_PITCH_OVER_LENGTH:
            found.append(
                f"the cells' pitch, {said(self.pitch)}, is below the seed's length, "
                f"{said(self.seeds.length)}: neighbours touch"
            )
        seeds = self.seeds
        share = self.disc.hole_diameter / seeds.width
        if not HOLE_OVER_WIDTH[0] <= share <= HOLE_OVER_WIDTH[1]:
            found.append(
                f"the holes are {share:.2f} of the seed's width; handbooks give about {HOLES} "
                "(from memory)"
            )
        if self.pool.pool_depth < seeds.length:
            found.append(
                f"the pool is {said(self.pool.pool_depth)} deep, less than the seed's length, "
                f"{said(seeds.length)}: seeds would wedge in it"
            )
        if self.lot.illustrative:
            found.append(
                f"seed lot '{self.lot.name}' is illustrative: {self.lot.assumed_share:.0%} of its "
                "values are assumed"
            )
        return (*found, *gap_warnings(self, units), *without_effect(self))

    def ranges(self, units: str = "") -> str:
        """Ranges of the fields with input uncertainty, in words; without units as stated."""
        return "; ".join(one.text(units) for one in self.unknown)

    def drawn(self, places: Sequence[float]) -> Scenario:
        """The scenario with one value for each field with input uncertainty.

        Parameters
        ----------
        places : sequence of float
            One number for each of `unknown`, as for `metersim.files.unknown.Unknown.at`.

        Raises
        ------
        BadInput
            If the values contradict one another or other settings.

        Examples
        --------
        >>> import metersim as m
        >>> scenario = m.load_scenario(
        ...     "maize_bench", ["vacuum_kpa={low = 3, high = 5}", "size_cv_percent=5"]
        ... )
        >>> scenario.vacuum.vacuum, scenario.drawn([0.25]).vacuum.vacuum
        (4000.0, 3500.0)
        """
        values = [one.at(place) for one, place in zip(self.unknown, places, strict=True)]
        pairs = list(zip(self.unknown, values, strict=True))
        try:
            return self.replace(**{one.field: value for one, value in pairs})
        except BadInput as error:
            said = ", ".join(one.said(value) for one, value in pairs)
            raise BadInput(
                Fault(f.where, f.key, f"{f.message}; drawn were {said}: narrow {self.ranges()}")
                for f in error.faults
            ) from None

    def lasting(self, cells: int) -> Scenario:
        """The same scenario with a run of about as many cells."""
        turns = max(round(cells / self.disc.cells), 1)
        return self if turns == self.run.turns else self.replace(run__turns=turns)

    def replace(self, **changes: object) -> Scenario:
        """The same scenario with sections' fields changed, named ``section.field``, in SI.

        A changed field has no input uncertainty any more.

        Parameters
        ----------
        **changes
            New values by ``section__field`` (two underscores), such as ``vacuum__vacuum=4e3``.

        Raises
        ------
        BadInput
            If a name is unknown or a value is not allowed.
        """
        sections: dict[str, dict[str, object]] = {}
        for name, value in changes.items():
            section, _, field = name.partition("__")
            if section not in SECTIONS or field not in specs(SECTIONS[section]):
                known = [f"{part}__{spec}" for part, spec in all_fields()]
                raise bad("replace", name, f"unknown field; {hint(name, known)}")
            sections.setdefault(section, {})[field] = value
        made: dict[str, Any] = {
            section: dataclasses.replace(getattr(self, section), **fields)
            for section, fields in sections.items()
        }
        unknown = tuple(one for one in self.unknown if one.field not in changes)
        return dataclasses.replace(self, **made, unknown=unknown)
