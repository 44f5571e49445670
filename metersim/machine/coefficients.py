"""Every coefficient of the model: value, unit, range, meaning and origin.

There is one set for all crops, discs and speeds.  Nothing is tuned per table.  The origin stands
behind the last semicolon of the meaning.  It is a source, *assumption*, or *calibrated*.  The last
comes with the 90 % interval of the fit and the tables that determine it most.  The calibrated
coefficients were fitted together to all published cases that have numbers to fit
(``tests/validation/calibrate.py``).
"""

from __future__ import annotations

from dataclasses import dataclass

from metersim.files.fields import Checked, number


@dataclass(frozen=True, kw_only=True)
class Coefficients(Checked):
    """The coefficients of all stations; made without arguments it holds the usual set."""

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
    knock: float = number(
        "",
        0,
        2,
        "seeds dislodged per heap seed passed, by a heap above the carry line, "
        "for a seed held by a hair; assumption",
        default=0.15,
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
        "pull equal to its load; calibrated, 1.2 to 3.9, karayel2004, liao2018, qi2013",
        default=2.2,
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
    eccentricity: float = number(
        "",
        0,
        1,
        "Rayleigh scale of a seat's distance from the hole's centre over the hole's "
        "radius; calibrated, 0.49 to 0.55, torosoglu, huazhong2023, banaj2022",
        default=0.515,
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
    most_covered: float = number(
        "",
        0.5,
        1,
        "most of the free part of a hole that one more seed covers; assumption",
        default=0.95,
    )
    # Singulator
    push_spread: float = number(
        "",
        0.05,
        1,
        "relative spread of the push that unseats a seed; calibrated, 0.17 to 0.34, torosoglu, "
        "huazhong2023",
        default=0.24,
    )
    guide_narrowing: float = number(
        "",
        0.3,
        1,
        "eccentricity and launch spread with an inner guide over those without; assumption",
        default=0.7,
    )
    # Release
    launch_spread: float = number(
        "deg", 0, 45, "SD of the launch direction without an inner guide; assumption", default=8.0
    )
    double_lag: float = number(
        "",
        0,
        2,
        "distance over seed width by which a second seed leaves later; assumption",
        default=0.4,
    )
    # Tube
    contact_base: float = number(
        "",
        0,
        2,
        "wall contacts of a seed that enters without speed; calibrated, 0.04 to 0.35, banaj2022",
        default=0.11,
    )
    contact_by_speed: float = number(
        "s2_m2",
        0,
        40,
        "added contacts per squared peripheral speed at low speed; calibrated, 21 to 40, "
        "banaj2022, torosoglu",
        default=30.0,
    )
    contact_knee: float = number(
        "m_s",
        0.05,
        10,
        "peripheral speed at which the added contacts level off; assumption",
        default=0.25,
    )
    contact_loss: float = number(
        "", 0, 0.6, "largest share of speed lost at one contact; assumption", default=0.45
    )
    hardest_contact: float = number(
        "",
        0,
        1,
        "largest share of speed lost at any contact, in the worst tube; assumption",
        default=0.9,
    )
    good_tube: float = number(
        "",
        0.2,
        2,
        "contacts of a new straight tube over those of the stand of banaj2022; assumption",
        default=0.7,
    )
    curvature_contacts: float = number(
        "", 0, 4, "added share of contacts per radian of a tube's curve; assumption", default=0.4
    )
    wear_contacts: float = number(
        "",
        0,
        6,
        "added share of contacts in a worn-out tube; calibrated, 1.5 to 3.4, yazgi2016",
        default=2.2,
    )
    # Furrow
    hop: float = number(
        "",
        0,
        0.3,
        "mean share of the impact that a seed keeps upward in soft soil; calibrated, 0.010 to "
        "0.026, bozdogan2008, ankara2021",
        default=0.016,
    )
    firmer_factor: float = number(
        "", 0, 1, "scatter and hop with a seed firmer over those without; assumption", default=0.5
    )


USUAL = Coefficients()
