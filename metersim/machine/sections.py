"""The sections of a scenario: every setting declared once, with unit, range and meaning."""

from __future__ import annotations

from dataclasses import dataclass

from metersim.files.fields import Checked, Spec, choice, count, number, specs, switch, text
from metersim.machine.around import Conditions, Fan, Gap, Hoses, Toolbar, Travel


@dataclass(frozen=True, kw_only=True)
class Seed(Checked):
    """The seed in the hopper, as a change of a lot."""

    lot: str = text("name of a shipped lot, such as corn, or a lot file beside this one")
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
    plugged_holes: str = text(
        'holes that let no air through: numbers such as "3 17", "every 6" or "none"', default="none"
    )
    worn_holes: str = text("holes with worn rims, likewise", default="none")
    chipped_holes: str = text("holes with a chip out of the rim, likewise", default="none")
    wrong_way_round: bool = switch("whether the disc was put in back to front", default=False)


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
    clearance: float = number(
        "mm in", 0, 15, "slot between disc and housing through which thin seed leaks", default=0.0
    )


@dataclass(frozen=True, kw_only=True)
class Vacuum(Checked):
    """The vacuum at the hole."""

    vacuum: float = number(
        "kpa inh2o", 0, 15, "vacuum at the hole; with a fan, what the gauge reads when it is set"
    )
    seal_wear: float = number(
        "", 0, 1, "wear of the seal between disc and chamber, 0 new to 1 worn out", default=0.0
    )
    chamber_open: bool = switch("whether the vacuum chamber was left open", default=False)


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
    edge_wear: float = number("", 0, 1, "wear of the edge, 0 new to 1 worn out", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Guide(Checked):
    """The optional guide at the inner rim."""

    inner_guide: bool = switch("whether an inner guide is fitted", default=False)
    inner_gap: float | None = number(
        "mm in",
        0.3,
        30,
        "gap of the edge inside the circle, from the holes' rims; makes it an inner guide",
        optional=True,
    )
    inner_wear: float = number("", 0, 1, "wear of the inner edge, 0 new to 1 worn out", default=0.0)

    @property
    def inner(self) -> bool:
        """Whether there is a guide or an edge inside the circle of holes."""
        return self.inner_guide or self.inner_gap is not None


@dataclass(frozen=True, kw_only=True)
class Cutoff(Checked):
    """The edge where the vacuum is cut."""

    decay_arc: float = number(
        "deg", 0, 30, "arc over which the vacuum decays behind a worn or wrong edge", default=0.0
    )
    cutoff_wear: float = number(
        "", 0, 1, "wear of the part that cuts the vacuum, 0 new to 1 worn out", default=0.0
    )
    made_for: str = choice(
        "any small medium large",
        "class of seed that this part suits",
        default="any",
    )


@dataclass(frozen=True, kw_only=True)
class Tube(Checked):
    """The tube from the cut-off to the furrow."""

    tube_length: float = number("mm in", 20, 1500, "height of fall")
    tube_curvature: float = number(
        "deg", 0, 60, "angle by which the tube turns the seed rearward", default=0.0
    )
    tube_wear: float = number("", 0, 1, "wear of the tube, 0 new to 1 worn out", default=0.0)
    tube_fitted: bool = switch("false lets the seed fall freely, as on some stands", default=True)
    delivery: str = choice(
        "tube conveyor",
        "what takes seed to the furrow: a tube, or a belt with compartments",
        default="tube",
    )


@dataclass(frozen=True, kw_only=True)
class Furrow(Checked):
    """The belt or furrow in which the seed lands."""

    surface: str = choice("bench field", "a sticky belt on a bench, or a furrow in a field")
    observed: str | None = choice(
        "belt pulses dug plants",
        "how spacings are observed: on the belt, from the sensor's pulses, of seeds dug up or of "
        "plants; without it belt on a bench and dug in a field",
        optional=True,
    )
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
        "percent", 0, 100, "chance that a lone seed is seen through a clean lens", default=100.0
    )
    dust_per_hour: float = number(
        "percent", 0, 50, "seeds that an hour's dust on the lens hides", default=0.0
    )
    hours_since_brushing: float = number(
        "", 0, 24, "hours of work since the lens was brushed", default=0.0
    )
    day: float = number(
        "", 0, 24, "hours of a day over which the lens is followed; 0 for none", default=0.0
    )
    brushed_every: float = number(
        "", 0.25, 24, "hours between two brushings in that day", default=24.0
    )


@dataclass(frozen=True, kw_only=True)
class Drive(Checked):
    """The drive that turns the disc."""

    kind: str = choice(
        "electric ground oil",
        "what turns the disc; an oil motor slows under load",
        default="electric",
    )
    oil_droop: float = number(
        "percent", 0, 60, "speed that an oil motor loses at its rated torque", default=8.0
    )

    start_ramp: float = number(
        "s",
        0,
        60,
        "time from rest to full speed; the first seed falls after nearly a turn",
        default=0.0,
    )
    ripple: float = number("percent", 0, 50, "relative ripple of the disc's speed", default=0.0)
    ripples_per_turn: int = count(1, 200, "ripples in one turn of the disc", default=1)
    slip: float = number(
        "percent",
        0,
        40,
        "travel in which a ground wheel slips and the disc stands; the rate is set for this slip",
        default=0.0,
    )
    slip_burst: float = number(
        "mm in", 5, 5_000, "mean travel of one slip (the usual one is an assumption)", default=100.0
    )


@dataclass(frozen=True, kw_only=True)
class Demand(Checked):
    """The demand on the meter: rate, row spacing and speed."""

    rate: float = number("per_ha per_acre", 2_000, 10_000_000, "seeds to sow on an area")
    row_spacing: float = number("cm in", 5, 200, "distance between rows")
    speed: float = number("kmh mph m_s", 0.5, 30, "speed of travel, or of the bench's belt")


@dataclass(frozen=True, kw_only=True)
class Emergence(Checked):
    """The emergence of plants from seeds; it moves no seed (field only)."""

    emergence: float = number(
        "percent", 0, 100, "chance that a seed becomes a plant (assumption: 95)", default=95.0
    )
    plant_shift: float = number(
        "mm in", 0, 60, "SD of the distance along the row from a seed to its plant", default=0.0
    )
    emergence_spread: float = number(
        "days", 0, 10, "SD of the day on which plants come up (assumption: 1)", default=1.0
    )
    late_share: float = number(
        "percent", 0, 40, "plants that a crust or cold patches hold up by late_by_days", default=0.0
    )
    late_by: float = number(
        "days", 0, 40, "delay of the plants of late_share_percent", default=10.0
    )


@dataclass(frozen=True, kw_only=True)
class Length(Checked):
    """The length of a run."""

    turns: int = count(1, 10_000_000, "turns of the disc", default=300)
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
    "gap": Gap,
    "conditions": Conditions,
    "toolbar": Toolbar,
    "fan": Fan,
    "hoses": Hoses,
    "travel": Travel,
    "demand": Demand,
    "stand": Emergence,
    "run": Length,
}


def all_fields() -> dict[tuple[str, str], Spec]:
    """Every declared field of a scenario by section and name."""
    return {
        (section, name): spec
        for section, kind in SECTIONS.items()
        for name, spec in specs(kind).items()
    }
