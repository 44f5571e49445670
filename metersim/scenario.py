"""A scenario: everything that is set before a meter runs, in SI, checked when it is made."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.faults import BadInput, Fault, bad, hint
from metersim.fields import Checked, Spec, choice, count, number, specs, switch, text
from metersim.physics import demand as asked
from metersim.physics import pool as heap
from metersim.seedlot import SeedLot

MIN_PITCH_OVER_LENGTH = 1.0
CLOSE_PITCH = 1.5  # seed lengths; below it neighbours interfere
HOLE_OVER_WIDTH = (0.45, 0.7)
GOLDEN_PART = (3 - math.sqrt(5)) / 2


@dataclass(frozen=True, kw_only=True)
class Seed(Checked):
    """The seed in the hopper, as a departure from a lot."""

    lot: str = text("name of a shipped lot, or a lot file beside this one")
    size_factor: float = number("", 0.5, 2, "linear size over that of the lot", default=1.0)
    size_cv: float | None = number(
        "percent", 0, 40, "spread of linear size in place of the lot's", optional=True
    )


@dataclass(frozen=True, kw_only=True)
class Disc(Checked):
    """The disc with its circle of holes."""

    cells: int = count(4, 400, "holes on the circle")
    circle_radius: float = number("mm in", 30, 300, "radius of the circle of holes")
    hole_diameter: float = number("mm in", 0.3, 15, "diameter of a hole")
    agitation: float = number(
        "", 0, 1, "how much the disc stirs the pool, 0 smooth to 1 pegged", default=0.3
    )


@dataclass(frozen=True, kw_only=True)
class Pool(Checked):
    """The gate, the pool of seed before the disc, and the hopper."""

    gate_opening: float = number("mm in", 1, 200, "height of the gate's lip above the floor")
    gate_width: float = number("mm in", 10, 300, "width of the gate and the pool")
    pool_depth: float = number("mm in", 5, 100, "distance from the gate's lip to the disc")
    carry_line: float = number(
        "mm in", 5, 200, "level above which the heap reaches seeds that have left the pool"
    )
    hopper: float = number("kg lb", 0.001, 500, "seed in the hopper at the start")


@dataclass(frozen=True, kw_only=True)
class Vacuum(Checked):
    """The vacuum as it is at the hole."""

    vacuum: float = number("kpa inh2o", 0, 15, "vacuum at the hole")


@dataclass(frozen=True, kw_only=True)
class Singulator(Checked):
    """The edge that knocks surplus seeds off."""

    gap: float = number(
        "mm in", 0.3, 30, "distance from the holes' path to the edge at the centre of its travel"
    )
    notch_step: float = number("mm in", 0.01, 5, "travel of the edge in one notch")
    notch: float = number(
        "", -10, 10, "setting: 0 is the centre, positive is more aggressive", default=0.0
    )


@dataclass(frozen=True, kw_only=True)
class Guide(Checked):
    """The optional guide at the inner rim."""

    inner_guide: bool = switch("whether an inner guide is fitted", default=False)


@dataclass(frozen=True, kw_only=True)
class Cutoff(Checked):
    """The edge where the vacuum is cut."""

    decay_arc: float = number(
        "deg", 0, 30, "arc over which the vacuum decays behind a worn or wrong edge", default=0.0
    )


@dataclass(frozen=True, kw_only=True)
class Tube(Checked):
    """The tube from the cut-off to the furrow."""

    tube_length: float = number("mm in", 20, 1500, "height of fall")
    tube_curvature: float = number(
        "deg", 0, 60, "angle by which the tube turns the seed rearward", default=0.0
    )
    tube_wear: float = number("", 0, 1, "wear of the tube, 0 new to 1 worn out", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Furrow(Checked):
    """Where the seed lands."""

    surface: str = choice("bench field", "a sticky belt on a bench, or a furrow in a field")
    soil_scatter: float = number(
        "mm in", 0, 60, "SD of the resting place in the furrow (field only)", default=12.0
    )
    firmer: bool = switch("whether a seed firmer follows (field only)", default=False)


@dataclass(frozen=True, kw_only=True)
class RowUnit(Checked):
    """The motion of the row unit (field only)."""

    shock_per_speed: float = number(
        "g_per_m_s", 0, 1, "SD of vertical acceleration per m/s of travel", default=0.1
    )


@dataclass(frozen=True, kw_only=True)
class Sensor(Checked):
    """The beam that counts seeds in the tube."""

    beam_height: float = number("mm in", 0.1, 50, "height of the beam", default=3.0)
    sensor_height: float = number(
        "mm in", 0, 1500, "height of the beam above the furrow or belt", default=100.0
    )
    detection: float = number(
        "percent", 0, 100, "chance that a lone seed is seen; dust lowers it", default=100.0
    )


@dataclass(frozen=True, kw_only=True)
class Drive(Checked):
    """How the disc is turned."""

    start_ramp: float = number(
        "s",
        0,
        60,
        "time from rest to full speed; the first seed falls after nearly a turn",
        default=0.0,
    )
    ripple: float = number("percent", 0, 50, "relative ripple of the disc's speed", default=0.0)
    ripples_per_turn: int = count(1, 200, "ripples in one turn of the disc", default=1)


@dataclass(frozen=True, kw_only=True)
class Demand(Checked):
    """What is asked of the meter."""

    rate: float = number("per_ha per_acre", 2_000, 10_000_000, "seeds to sow on an area")
    row_spacing: float = number("cm in", 5, 200, "distance between rows")
    speed: float = number("kmh mph m_s", 0.5, 30, "speed of travel, or of the bench's belt")


@dataclass(frozen=True, kw_only=True)
class Length(Checked):
    """How long the meter is watched."""

    turns: int = count(1, 100_000, "turns of the disc", default=300)
    tick: float = number(
        "",
        0.01,
        1,
        "share of a turn after which pool, arches and hopper are brought up to date",
        default=0.125,
    )


SECTIONS: dict[str, type] = {
    "seed": Seed,
    "disc": Disc,
    "pool": Pool,
    "vacuum": Vacuum,
    "singulator": Singulator,
    "guide": Guide,
    "cutoff": Cutoff,
    "tube": Tube,
    "furrow": Furrow,
    "row_unit": RowUnit,
    "sensor": Sensor,
    "drive": Drive,
    "demand": Demand,
    "run": Length,
}


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A meter, its seed and what is asked of it.

    Each attribute but `title`, `shows`, `lot`, `name` and `changes` is a section of the file of
    the same name.  `lot` is the lot that the seed section departs from; `changes` are the keys
    that were changed after the file was read, as the user wrote them.
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
    guide: Guide = Guide()
    cutoff: Cutoff = Cutoff()
    row_unit: RowUnit = RowUnit()
    sensor: Sensor = Sensor()
    drive: Drive = Drive()
    run: Length = Length()
    shows: str = ""
    name: str = "unnamed"
    changes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        faults = [Fault(self.name, key, message) for key, message in self._contradictions()]
        if faults:
            raise BadInput(faults)

    def _contradictions(self) -> list[tuple[str, str]]:
        found = []
        disc, pool = self.disc, self.pool
        try:
            seeds = self.seeds
        except BadInput as error:
            return [
                ("seed.size_factor", f"no seed can be so: {fault.key}: {fault.message}")
                for fault in error.faults
            ]
        if disc.hole_diameter >= seeds.width:
            found.append(
                (
                    "disc.hole_diameter_mm",
                    f"{disc.hole_diameter * 1e3:.3g} mm is not below the seed's width "
                    f"{seeds.width * 1e3:.3g} mm: seeds would be drawn through; handbooks give "
                    "about 0.5 to 0.66 of the width",
                )
            )
        if self.pitch < disc.hole_diameter:
            found.append(
                (
                    "disc.cells",
                    f"{disc.cells} cells leave a pitch of {self.pitch * 1e3:.3g} mm, below the "
                    f"hole diameter {disc.hole_diameter * 1e3:.3g} mm; give fewer cells, a larger "
                    "circle or smaller holes",
                )
            )
        fill = self.pool_fill
        if pool.hopper < fill:
            found.append(
                (
                    "pool.hopper_kg",
                    f"{pool.hopper:.4g} kg cannot fill the pool; give at least {fill:.4g} kg",
                )
            )
        if self.sensor.sensor_height >= self.tube.tube_length:
            found.append(
                (
                    "sensor.sensor_height_mm",
                    f"{self.sensor.sensor_height * 1e3:.4g} mm is not inside the tube; give less "
                    f"than the height of fall, {self.tube.tube_length * 1e3:.4g} mm",
                )
            )
        if self.singulator.gap <= self.singulator.notch_step * self.singulator.notch:
            found.append(
                (
                    "singulator.notch",
                    f"{self.singulator.notch:g} notches would take the edge over the holes' path; "
                    "the gap allows fewer than "
                    f"{self.singulator.gap / self.singulator.notch_step:.3g}",
                )
            )
        return found

    @cached_property
    def seeds(self) -> SeedLot:
        """The seed in the hopper: the lot with the departures of the seed section."""
        if self.seed.size_factor == 1 and self.seed.size_cv is None:
            return self.lot
        return self.lot.scaled(self.seed.size_factor, self.seed.size_cv)

    @property
    def spacing(self) -> float:
        """Nominal spacing in the row. [m]"""
        return float(asked.nominal_spacing(self.demand.rate, self.demand.row_spacing))

    @property
    def cell_rate(self) -> float:
        """Cells a second. [1/s]"""
        return float(asked.cell_rate(self.demand.speed, self.spacing))

    @property
    def angular_speed(self) -> float:
        """Speed of the disc. [rad/s]"""
        return float(asked.disc_speed(self.cell_rate, self.disc.cells))

    @property
    def peripheral_speed(self) -> float:
        """Speed of the holes. [m/s]"""
        return float(asked.peripheral_speed(self.angular_speed, self.disc.circle_radius))

    @property
    def pitch(self) -> float:
        """Distance between cells along the circle. [m]"""
        return 2 * math.pi * self.disc.circle_radius / self.disc.cells

    def tick_angles(self, count: int) -> NDArray[np.float64]:
        """Angles of the disc at which pool, arches and hopper are brought up to date. [rad]

        All but the first lie a golden part of a pitch (or of a tick, when that is shorter) before
        a whole number of ticks, so that none falls together with the passage of a cell and no
        rounding decides what comes first.
        """
        angles = np.arange(count) * (2 * math.pi * self.run.tick)
        shifted = angles - GOLDEN_PART * 2 * math.pi * min(1 / self.disc.cells, self.run.tick)
        return shifted.clip(min=0.0)

    @property
    def pool_fill(self) -> float:
        """Seed that the pool holds at its static level. [kg]"""
        level = heap.static_level(
            self.pool.gate_opening, self.pool.pool_depth, self.seeds.repose_angle
        )
        return float(level * self.pool.gate_width * self.pool.pool_depth * self.seeds.bulk_density)

    @property
    def in_field(self) -> bool:
        """Whether the meter runs in a field, not on a bench."""
        return self.furrow.surface == "field"

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is allowed but probably not meant."""
        found = []
        apart = self.pitch / self.seeds.length
        if MIN_PITCH_OVER_LENGTH <= apart < CLOSE_PITCH:
            found.append(
                f"the cells' pitch is {apart:.2f} seed lengths; below {CLOSE_PITCH:g} neighbours "
                "get in each other's way"
            )
        if apart < MIN_PITCH_OVER_LENGTH:
            found.append(
                f"the cells' pitch, {self.pitch * 1e3:.3g} mm, is below the seed's length, "
                f"{self.seeds.length * 1e3:.3g} mm: neighbours touch"
            )
        seeds = self.seeds
        share = self.disc.hole_diameter / seeds.width
        if not HOLE_OVER_WIDTH[0] <= share <= HOLE_OVER_WIDTH[1]:
            found.append(
                f"the holes are {share:.2f} of the seed's width; handbooks give about "
                f"{HOLE_OVER_WIDTH[0]:g} to {HOLE_OVER_WIDTH[1]:g} (from memory)"
            )
        if self.pool.pool_depth < seeds.length:
            found.append(
                f"the pool is {self.pool.pool_depth * 1e3:.3g} mm deep, less than the seed's "
                f"length, {seeds.length * 1e3:.3g} mm: seeds would wedge in it"
            )
        if self.lot.illustrative:
            found.append(
                f"seed lot '{self.lot.name}' is illustrative: {self.lot.assumed_share:.0%} of its "
                "values are assumed"
            )
        return tuple(found)

    def replace(self, **changes: object) -> Scenario:
        """The same scenario with sections' fields changed, named ``section.field``, in SI.

        Parameters
        ----------
        **changes
            New values by ``section__field`` (two underscores), such as ``vacuum__vacuum=4e3``.

        Raises
        ------
        BadInput
            When a name is unknown or a value is not allowed.
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
        return dataclasses.replace(self, **made)


def all_fields() -> dict[tuple[str, str], Spec]:
    """Every declared field of a scenario by section and name."""
    return {
        (section, name): spec
        for section, kind in SECTIONS.items()
        for name, spec in specs(kind).items()
    }
