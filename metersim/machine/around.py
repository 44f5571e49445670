"""The sections of a scenario that describe the machine around the meter, and the weather."""

from __future__ import annotations

from dataclasses import dataclass

from metersim.files.fields import Checked, choice, count, number, switch, text


@dataclass(frozen=True, kw_only=True)
class Gap(Checked):
    """The running gap behind the disc, and what turning the disc takes."""

    running_gap: float | None = number(
        "mm in",
        0.01,
        10,
        "distance from the disc to its seal without vacuum, as spacers set it; without it nothing "
        "rubs and nothing leaks past the seal but what wear lets through",
        optional=True,
    )
    disc_run_out: float = number(
        "mm in", 0, 3, "half of the wobble of the disc at the seal (assumption: 0.1)", default=0.1
    )
    stiffness: float = number(
        "n_mm lbf_in",
        1,
        10_000,
        "force that bends disc and hub, over the length of the bend (assumption: 200)",
        default=200.0,
    )
    seal_lip: float = number(
        "mm in", 0, 5, "gap that the lip of the seal still closes (assumption: 0.5)", default=0.5
    )
    rated_torque: float = number(
        "n_m", 0.05, 100, "torque at the disc at which its motor is rated", default=2.0
    )
    rated_current: float = number("a", 0.1, 100, "current of the motor at that torque", default=4.0)
    idle_current: float = number("a", 0, 50, "current of the motor without load", default=0.6)


@dataclass(frozen=True, kw_only=True)
class Toolbar(Checked):
    """The rows of a machine that share a fan."""

    rows: int = count(1, 64, "rows of the machine", default=1)
    working: str = text('rows that work: numbers such as "1-4 6", or "all"', default="all")
    parked: str = choice(
        "sealed open", "whether the vacuum of parked rows is sealed off", default="sealed"
    )
    loss_spread: float = number(
        "percent", 0, 30, "SD of vacuum losses between rows (assumption: 1)", default=1.0
    )
    edge_spread: float = number(
        "mm in", 0, 2, "SD of the edge's zero between rows (assumption: 0.1)", default=0.1
    )
    seal_spread: float = number(
        "percent", 0, 100, "SD of the leak of seals between rows (assumption: 20)", default=20.0
    )
    curve_radius: float | None = number(
        "m ft",
        -1e5,
        1e5,
        "radius of a curve at the middle of the machine; positive if it bends to row 1",
        optional=True,
    )
    follows_curve: bool = switch(
        "whether each disc turns by the speed of its own row in a curve", default=True
    )


@dataclass(frozen=True, kw_only=True)
class Fan(Checked):
    """The fan that makes the vacuum; without one, the vacuum is as stated."""

    shut_off: float | None = number(
        "kpa inh2o", 0, 50, "most pressure of the fan, without flow", optional=True
    )
    free_flow: float | None = number(
        "m3_h cfm",
        1,
        20_000,
        "flow of the fan without load; without it 75 m3/h for each row (assumption)",
        optional=True,
    )
    curve_power: float = number(
        "", 0.5, 6, "power of flow in the loss of the fan's pressure (assumption: 2)", default=2.0
    )
    set_when: str = choice(
        "now sound",
        "when the fan was set so that the gauge reads the vacuum: as things are, or when idle rows "
        "were sealed and seals and chambers were sound",
        default="now",
    )


@dataclass(frozen=True, kw_only=True)
class Hoses(Checked):
    """The pipe along the machine and the hoses to the meters."""

    pipe_diameter: float = number(
        "mm in", 10, 500, "bore of the pipe along the rows", default=100.0
    )
    hose_diameter: float = number("mm in", 5, 200, "bore of the hose to a meter", default=50.0)
    hose_length: float = number("m ft", 0, 20, "length of the hose to a meter", default=1.0)
    hose_fittings: float = number(
        "",
        0,
        50,
        "velocity heads lost at the ends, bends and fittings of a hose (assumption: 2)",
        default=2.0,
    )
    friction: float = number(
        "", 0.005, 0.2, "friction factor of pipe and hose (assumption: 0.03)", default=0.03
    )
    fan_at: float | None = number(
        "", 0.5, 64.5, "row at which the fan's pipe joins; without it the middle", optional=True
    )
    gauge_at: int = count(
        0, 64, "row at whose port the gauge sits; 0 for the fan's end of the pipe", default=0
    )
    gauge_error: float = number("percent", -50, 50, "what the gauge reads too much", default=0.0)
    seal_leak: float = number(
        "mm2",
        0,
        2_000,
        "leak of a meter with a sound seal, as an open area (assumption: 20)",
        default=20.0,
    )
    worn_leak: float = number(
        "mm2", 0, 10_000, "leak that a worn-out seal adds (assumption: 300)", default=300.0
    )


@dataclass(frozen=True, kw_only=True)
class Conditions(Checked):
    """Slope, weather and what is on the seed."""

    flow_agent: str = choice("none graphite talc", "what was mixed into the seed", default="none")
    dampness: float = number("", 0, 1, "0 dry to 1 damp or sticky coating", default=0.0)
    slope_along: float = number(
        "deg", -25, 25, "slope of the ground along the row, uphill positive", default=0.0
    )
    slope_across: float = number(
        "deg",
        -25,
        25,
        "slope across the rows, positive where the gate lies higher than the disc",
        default=0.0,
    )
    temperature: float = number("c f", -30, 60, "temperature of the air", default=20.0)
    altitude: float = number("m ft", -400, 5_000, "height above the sea", default=0.0)


@dataclass(frozen=True, kw_only=True)
class Travel(Checked):
    """The pass: how speed and rate change along it."""

    speeds: str = text(
        "speed by time: entries of a time and a speed, each with its unit, apart by commas; "
        'straight lines between; or "steady"',
        default="steady",
    )
    rates: str = text(
        "rate from a time or a place on: entries of it and a rate, each with its unit, apart by "
        'commas; or "steady"',
        default="steady",
    )
    off: str = text(
        'where the row is off, from and to a time or a place, such as "20 s to 24 s"; or "none"',
        default="none",
    )
    start: str = choice(
        "filled empty", "whether discs are filled or empty when the pass begins", default="filled"
    )
    air_tick: float = number(
        "s", 0.02, 5, "time after which the vacuum of all rows is solved anew", default=0.1
    )
