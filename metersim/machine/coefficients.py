"""Every coefficient of the model: value, unit, range, meaning and origin.

There is one set for all crops, discs and speeds.  Nothing is tuned per table.  The origin stands
behind the last semicolon of the meaning.  It is a source, *assumption*, or *calibrated*.  The last
comes with the 90 % interval of the fit and the tables that determine it most.  The calibrated
coefficients were fitted together to all published cases that have numbers to fit
(``tests/validation/fit``).

A declaration with ``drawn=(low, high)`` is of an assumed coefficient, which has another value in
each draw of a machine (`metersim.machine.assumed`).
"""

from __future__ import annotations

from dataclasses import dataclass

from metersim.files.fields import Checked, number
from metersim.machine.assumed import Assumed, TurningCoefficients
from metersim.machine.delivery import OfDelivery


@dataclass(frozen=True, kw_only=True)
class OfMetering(Checked):
    """The coefficients of a meter in usual conditions."""

    # Gate and pool
    orifice_dead_zone: float = number(
        "", 1.2, 3, "seed sizes at an opening's rim that carry no flow; beverloo1961", default=1.4
    )
    side_outlet: float = number(
        "",
        0.37,
        0.5,
        "flow of a vertical opening over that of a horizontal one; chang1991",
        default=0.45,
    )
    trickle: float = number(
        "",
        0.005,
        0.5,
        "flow of thin seed past the disc over that of a slot without a dead zone; assumption",
        default=0.05,
        drawn=(0.01, 0.2),
    )
    arch_rate: float = number(
        "per_s",
        0,
        10,
        "arches a second at an opening of the dead zone's size; assumption",
        default=1.0,
    )
    arch_steepness: float = number(
        "", 0.5, 10, "fall of ln(arch rate) per seed size of opening; assumption", default=3.0
    )
    arch_clearing: float = number(
        "per_s", 0.05, 20, "arches cleared a second without vibration; assumption", default=1.0
    )
    arch_clearing_by_shock: float = number(
        "per_s", 0, 50, "added clearing a second per g of vibration; assumption", default=10.0
    )
    avalanche_angle: float = number(
        "deg",
        0,
        15,
        "angle over that of a poured heap at which seed starts to slide; a slide stops at that of "
        "the poured heap; assumption",
        default=3.0,
    )
    slope_loss_by_shock: float = number(
        "",
        0,
        2,
        "loss of the heap's slope by vibration of 1 g, over what is left; assumption",
        default=0.2,
    )
    knock: float = number(
        "",
        0,
        2,
        "seeds dislodged per heap seed passed, by a heap above the carry line, "
        "for a seed held by a hair; assumption",
        default=0.05,
    )
    # Pick-up
    resistance: float = number(
        "",
        6,
        10,
        "resistance of the pool over tan(repose angle); handbook, from memory",
        default=8.0,
    )
    hold_spread: float = number(
        "",
        0.1,
        1,
        "SD of ln(vacuum needed) beside that of size; assumption from the handbook's "
        "safety factors",
        default=0.41,
    )
    resistance_cv: float = number(
        "", 0, 2, "SD of the pool's resistance over its mean; assumption", default=1.0
    )
    exit_zone: float = number(
        "",
        2,
        12,
        "seed diameters before the surface in which a seed that is drawn stays; assumption",
        default=5.0,
    )
    draw_slowness: float = number(
        "",
        0.2,
        20,
        "time to draw a seed onto a smooth disc over that of a free fall through its size, at a "
        "pull equal to its load; assumption, not learned from published levels, 1.7 to 3.8",
        default=2.6,
    )
    draw_power: float = number(
        "",
        0.5,
        1.5,
        "power of pull over load in the seeds drawn: 1 against friction; assumption",
        default=1.0,
    )
    agitation_gain: float = number(
        "",
        1,
        5,
        "how many times sooner a fully pegged disc draws seeds than a smooth one; assumption",
        default=2.4,
    )
    blocked: float = number(
        "", 0, 0.02, "share of cells that fail whatever the vacuum; assumption", default=0.0005
    )
    crowding_pitch: float = number(
        "",
        0.5,
        3,
        "pitch over seed length at which neighbours halve the seeds drawn; assumption",
        default=1.2,
    )
    crowding_power: float = number("", 2, 16, "steepness of that loss; assumption", default=8.0)
    seal: float = number(
        "",
        0.2,
        1,
        "part of the chamber's vacuum that pulls on a seated seed, as seats leak; assumption",
        default=0.8,
    )
    depth_power: float = number(
        "",
        0,
        2,
        "power of the pool's level in its resistance on a seed; assumption",
        default=0.3,
    )
    thin_bed: float = number(
        "",
        0.01,
        2,
        "level over the carry line at which half of the most seeds press to the disc; assumption",
        default=1.0,
    )
    worn_rim: float = number(
        "",
        0.4,
        0.95,
        "part of the vacuum that works at a hole with a worn rim; assumption",
        default=0.75,
        drawn=(0.55, 0.9),
    )
    chipped_rim: float = number(
        "",
        0.1,
        0.8,
        "part of the vacuum that works at a hole with a chipped rim; assumption",
        default=0.4,
        drawn=(0.15, 0.7),
    )
    wrong_side_seal: float = number(
        "",
        0.2,
        0.9,
        "part of the vacuum that pulls on a seed on the wrong side of a disc, over that on the "
        "right side; assumption",
        default=0.5,
        drawn=(0.25, 0.8),
    )
    worn_seal: float = number(
        "",
        0.1,
        0.7,
        "part of the vacuum that a worn-out seal takes where no fan is described; assumption",
        default=0.35,
        drawn=(0.15, 0.6),
    )
    open_chamber: float = number(
        "",
        0,
        0.15,
        "part of the vacuum that an open chamber leaves where no fan is described; assumption",
        default=0.03,
        drawn=(0.005, 0.1),
    )
    hole_spread: float = number(
        "",
        0,
        1,
        "SD of ln(vacuum) between the holes of a disc: burrs, wear; assumption",
        default=0.1,
    )
    run_out: float = number(
        "",
        0,
        0.5,
        "amplitude of ln(vacuum) around the disc, from its run-out; assumption",
        default=0.03,
    )
    loosening: float = number(
        "",
        0,
        5,
        "seeds that a hole in the pool loses in one seed diameter, at a vacuum that just holds; "
        "assumption, not learned from published levels, 0.015 to 0.071, SD of its logarithm "
        "between machines 0.42",
        default=0.031,
    )
    loss_power: float = number(
        "",
        0,
        2,
        "power of vacuum needed over vacuum in that loss; assumption from particle runs",
        default=0.5,
    )
    seconds: float = number(
        "",
        0,
        20,
        "further seeds on a hole as wide as its seed, at a vacuum that just holds, for a very "
        "long seed; calibrated on all published levels, 0.43 to 1.6, SD of its logarithm "
        "between machines 0.4",
        default=0.77,
    )
    seconds_power: float = number(
        "",
        0,
        3,
        "power of vacuum over vacuum needed in the number of further seeds, as it leaves the "
        "pool; assumption from particle runs",
        default=1.5,
    )
    seconds_knee: float = number(
        "",
        2,
        1000,
        "vacuum over vacuum needed at which the number of further seeds levels off; assumption, "
        "not learned from published levels, 5.3 to 22",
        default=10.5,
    )
    hole_power: float = number(
        "",
        0,
        8,
        "power of hole over the seed's narrow side in the number of further seeds; assumption from "
        "particle runs",
        default=3.0,
    )
    eccentricity: float = number(
        "",
        0,
        1,
        "SD along an axis of a lone seat's distance from the hole's centre, over its radius; "
        "assumption from particle runs",
        default=0.08,
    )
    most_covered: float = number(
        "",
        0.1,
        0.5,
        "most of the free part of a hole that one more seed covers; assumption",
        default=0.5,
    )
    # Singulator
    seat_push: float = number(
        "",
        0.02,
        1,
        "push that unseats a seed that just holds, over the hole's diameter; calibrated on all "
        "published levels, 0.087 to 0.22",
        default=0.14,
    )
    edge_zero: float = number(
        "",
        -0.5,
        0.5,
        "distance of the edge's true zero from where its gap puts it, over the gap; assumption, "
        "not learned from published levels, SD between machines 0.05",
        default=0.0,
    )
    edge_speed: float = number(
        "",
        -1,
        1,
        "power of the holes' speed in the push that unseats a seed; assumption",
        default=0.0,
    )
    inner_gap: float = number(
        "",
        0.05,
        2,
        "gap of an inner guide from the holes' rims over the seed's width; assumption between "
        "0.22 and 0.29 of huazhong2023",
        default=0.25,
    )
    push_spread: float = number(
        "",
        0.05,
        1,
        "SD of ln(push that unseats a seed); assumption",
        default=0.3,
    )
    edge_recession: float = number(
        "mm",
        0.2,
        3,
        "distance by which a worn-out edge of the singulator has receded; assumption",
        default=1.0,
        drawn=(0.4, 2.0),
    )
    uneven_teeth: float = number(
        "",
        0,
        2,
        "added share of the spread of the push that unseats a seed at a worn-out edge; assumption",
        default=0.5,
        drawn=(0.1, 1.5),
    )
    guide_narrowing: float = number(
        "",
        0.3,
        1,
        "launch spread with an inner guide over that without; assumption",
        default=0.7,
    )


@dataclass(frozen=True, kw_only=True)
class Coefficients(Assumed, TurningCoefficients, OfDelivery, OfMetering):
    """The coefficients of all stations; made without arguments it holds the usual set."""


USUAL = Coefficients()
