"""Coefficients of the way from the hole to rest, and of the air: the second half of the set."""

from __future__ import annotations

from dataclasses import dataclass

from metersim.files.fields import Checked, number


@dataclass(frozen=True, kw_only=True)
class OfDelivery(Checked):
    """What is assumed or fitted from the release of a seed to its rest, and of the air."""

    # Release
    launch_spread: float = number(
        "deg", 0, 45, "SD of the launch direction without an inner guide; assumption", default=8.0
    )
    worn_arc: float = number(
        "deg",
        2,
        20,
        "arc over which the vacuum decays behind a worn-out cut-off; assumption",
        default=8.0,
        drawn=(4.0, 15.0),
    )
    wrong_arc: float = number(
        "deg",
        1,
        10,
        "arc that a cut-off adds for each class of seed that it is wrong by; assumption",
        default=4.0,
        drawn=(2.0, 8.0),
    )
    double_lag: float = number(
        "",
        0,
        2,
        "distance over seed width by which a second seed leaves later; assumption",
        default=0.4,
    )
    # Tube
    contacts: float = number(
        "",
        0,
        10,
        "wall contacts in a new straight tube of 0.45 m, at 3.5 cm/s across it, if contacts did "
        "not damp each other; assumption, not learned from published levels, 0.32 to 1.3, SD of "
        "its logarithm between machines 0.47",
        default=0.65,
    )
    contact_damping: float = number(
        "",
        0.1,
        1,
        "share of the sideways motion that a contact leaves; assumption",
        default=0.3,
    )
    contact_loss: float = number(
        "",
        0,
        0.6,
        "median share of speed lost at one contact in a new tube; assumption",
        default=0.2,
    )
    hardest_contact: float = number(
        "",
        0,
        1,
        "largest share of speed lost at any contact, in the worst tube; assumption",
        default=0.9,
    )
    curvature_contacts: float = number(
        "", 0, 10, "contacts added per radian of a tube's curve; assumption", default=1.5
    )
    wear_contacts: float = number(
        "",
        0,
        6,
        "added share of contacts in a worn-out tube; assumption, not learned from published "
        "levels, 1.6 to 5.0",
        default=3.0,
    )
    deflection: float = number(
        "",
        0,
        2,
        "SD of the speed along the row after the last contact over the speed lost; assumption",
        default=0.5,
    )
    # Conveyor
    belt_ratio: float = number(
        "",
        0.5,
        1.5,
        "speed of a conveyor's belt over that of travel; assumption",
        default=1.0,
        drawn=(0.85, 1.15),
    )
    compartment_scatter: float = number(
        "mm",
        1,
        25,
        "SD of the place along the row, from where in its compartment a seed lies; assumption",
        default=6.0,
        drawn=(3, 12),
    )
    conveyor_hop: float = number(
        "",
        0,
        1,
        "hop behind a conveyor over that below a tube; assumption",
        default=0.2,
        drawn=(0.05, 0.6),
    )
    # Furrow
    landing_scatter: float = number(
        "mm",
        0,
        40,
        "SD of the place of a seed of 7 mm on a belt about where it landed; assumption, not "
        "learned from published levels, 5.1 to 12 mm, SD of its logarithm between machines 0.25",
        default=8.0,
    )
    hop: float = number(
        "",
        0,
        0.3,
        "mean share of the impact that a seed keeps upward in soft soil; calibrated on all "
        "published levels, 0.012 to 0.045",
        default=0.025,
    )
    firmer_factor: float = number(
        "", 0, 1, "scatter and hop with a seed firmer over those without; assumption", default=0.5
    )
    # Air
    leak_in_pool: float = number(
        "",
        0.1,
        1,
        "open share of a hole in the pool, where seeds come and go; assumption",
        default=0.5,
        drawn=(0.2, 0.9),
    )
    leak_of_seated: float = number(
        "",
        0,
        0.5,
        "share of a hole that a seated seed leaves open, least for round seed; assumption",
        default=0.1,
        drawn=(0.02, 0.3),
    )
