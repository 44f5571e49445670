"""Worn and wrong parts: what their condition does to the numbers of a station.

No source gives any of these numbers.  Their forms are the plainest that have the right sign, and
their coefficients have wide ranges.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from metersim.distributions.normal import ndtr

SMALL, LARGE = 4.5e-3, 6.5e-3  # m, geometric mean diameters between the classes of seed
CLASSES = ("small", "medium", "large")
LONGEST_ARC = np.pi / 6  # rad, from the cut-off to where a hole enters the pool again


def rim_share(worn: Any, chipped: Any, worn_rim: Any, chipped_rim: Any) -> Any:
    """Part of the chamber's vacuum that works at a hole, by the condition of its rim.

    Parameters
    ----------
    worn, chipped : float or ndarray
        1 for a hole with a worn rim, and for a hole with a chipped one; otherwise 0. [1]
    worn_rim, chipped_rim : float
        Part of the vacuum that works at such a hole. [1]

    Returns
    -------
    float or ndarray
        Part, 1 at a sound rim. [1]

    Notes
    -----
    ``rim_share = 1 - worn * (1 - worn_rim) - chipped * (1 - chipped_rim)``

    assumption: air that passes a seed at a bad rim acts like less vacuum.
    """
    return 1 - worn * (1 - worn_rim) - chipped * (1 - chipped_rim)


def seal_of_side(seal: Any, wrong_way: Any, wrong_side_seal: Any) -> Any:
    """Part of the chamber's vacuum that pulls on a seated seed, by the side that faces the pool.

    The seats are made in one side of a disc.  On the other side a seed lies on a sharp edge.

    Parameters
    ----------
    seal : float or ndarray
        Part on the right side. [1]
    wrong_way : float or ndarray
        1 for a disc that was put in back to front, otherwise 0. [1]
    wrong_side_seal : float
        Part on the wrong side over that on the right side. [1]

    Returns
    -------
    float or ndarray
        Part. [1]

    Notes
    -----
    ``seal_of_side = seal * (1 - wrong_way * (1 - wrong_side_seal))``

    assumption: seats of the wrong side leak, whatever the seed.
    """
    return seal * (1 - wrong_way * (1 - wrong_side_seal))


def stirring(agitation: Any, wrong_way: Any) -> Any:
    """How much a disc stirs the pool, by the side that faces the pool.

    Parameters
    ----------
    agitation : float or ndarray
        From 0, smooth, to 1, pegged, on the right side. [1]
    wrong_way : float or ndarray
        1 for a disc that was put in back to front, otherwise 0. [1]

    Returns
    -------
    float or ndarray
        From 0 to 1. [1]

    Notes
    -----
    ``stirring = agitation * (1 - wrong_way)``

    assumption: the pegs of a disc stand on the side of the seats alone.
    """
    return agitation * (1 - wrong_way)


def vacuum_left(seal_wear: Any, chamber_open: Any, worn_seal: Any, open_chamber: Any) -> Any:
    """Part of the stated vacuum that works at the holes of a meter without a fan.

    With a fan, the flow through the leaks gives the vacuum instead.

    Parameters
    ----------
    seal_wear : float or ndarray
        Wear of the seal, from 0, new, to 1, worn out. [1]
    chamber_open : float or ndarray
        1 for a chamber that was left open, otherwise 0. [1]
    worn_seal : float
        Part that a worn-out seal takes away. [1]
    open_chamber : float
        Part that an open chamber leaves. [1]

    Returns
    -------
    float or ndarray
        Part, 1 for a sound seal on a shut chamber. [1]

    Notes
    -----
    ``vacuum_left = (1 - worn_seal * seal_wear) * (1 - chamber_open * (1 - open_chamber))``

    assumption: the loss grows evenly with wear. How much depends on the fan, which is not stated.
    """
    return (1 - worn_seal * seal_wear) * (1 - chamber_open * (1 - open_chamber))


def worn_gap(gap: Any, wear: Any, edge_recession: Any) -> Any:
    """Gap of an edge that wear has made to recede.

    Parameters
    ----------
    gap : float or ndarray
        Gap of the new edge. [m]
    wear : float or ndarray
        From 0, new, to 1, worn out. [1]
    edge_recession : float
        Distance by which a worn-out edge has receded. [m]

    Returns
    -------
    float or ndarray
        Gap. [m]

    Notes
    -----
    ``worn_gap = gap + edge_recession * wear``

    assumption: an edge recedes in proportion to its wear.
    """
    return gap + edge_recession * wear


def uneven_push(push_spread: Any, wear: Any, uneven_teeth: Any) -> Any:
    """SD of the logarithm of the push that unseats a seed, at teeth that wear has made uneven.

    Parameters
    ----------
    push_spread : float or ndarray
        SD at a new edge. [1]
    wear : float or ndarray
        From 0, new, to 1, worn out. [1]
    uneven_teeth : float
        Added share of the SD at a worn-out edge. [1]

    Returns
    -------
    float or ndarray
        SD. [1]

    Notes
    -----
    ``uneven_push = push_spread * (1 + uneven_teeth * wear)``

    assumption: teeth wear unevenly, so some push too much and others too little.
    """
    return push_spread * (1 + uneven_teeth * wear)


def seed_class(gmd: Any) -> Any:
    """Class of a seed for the part that cuts the vacuum: 0 small, 1 medium, 2 large.

    Parameters
    ----------
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]

    Returns
    -------
    float or ndarray
        Class. [1]

    Notes
    -----
    ``seed_class = if(gmd > 0.0045, 1, 0) + if(gmd > 0.0065, 1, 0)``

    assumption: canola, sorghum, beet and wheat are small, soybean and sunflower are medium, maize
    is large.
    """
    return np.where(gmd > SMALL, 1.0, 0.0) + np.where(gmd > LARGE, 1.0, 0.0)


def whole_decay_arc(
    stated_arc: Any, wear: Any, classes_off: Any, worn_arc: Any, wrong_arc: Any
) -> Any:
    """Arc over which the vacuum decays behind the cut-off.

    Parameters
    ----------
    stated_arc : float or ndarray
        Arc that is stated. [rad]
    wear : float or ndarray
        Wear of the part that cuts the vacuum, from 0, new, to 1, worn out. [1]
    classes_off : float or ndarray
        Classes from the seed that the part suits to the seed that is there. [1]
    worn_arc : float
        Arc that a worn-out part adds. [rad]
    wrong_arc : float
        Arc that each class adds. [rad]

    Returns
    -------
    float or ndarray
        Arc, not beyond where holes enter the pool again. [rad]

    Notes
    -----
    ``whole_decay_arc = min(stated_arc + worn_arc * wear + wrong_arc * classes_off, pi / 6)``

    assumption: a worn part leaks air into the cut vacuum, and so does one whose shape does not
    suit the seed.
    """
    return np.minimum(stated_arc + worn_arc * wear + wrong_arc * classes_off, LONGEST_ARC)


def thin_share(clearance: Any, thickness: Any, size_cv: Any) -> Any:
    """Share of the seeds that are thinner than a slot.

    Parameters
    ----------
    clearance : float or ndarray
        Height of the slot. [m]
    thickness : float or ndarray
        Shortest dimension of the mean seed. [m]
    size_cv : float or ndarray
        Coefficient of variation of linear size. [1]

    Returns
    -------
    float or ndarray
        Share. [1]

    Notes
    -----
    ``thin_share = if(clearance > 0, Phi(ln(clearance / thickness) / spread), 0)
    where spread = sqrt(size_cv^2 + 0.02^2)``

    assumption: sizes are lognormal, as for all stations. Seeds of one size differ by 2 % in
    thickness. A seed leaves on its flat side.
    """
    spread = np.sqrt(size_cv * size_cv + FLATNESS_CV * FLATNESS_CV)
    over = np.maximum(clearance, NO_SLOT) / thickness
    return np.where(clearance > 0, ndtr(np.log(over) / spread), 0.0)


NO_SLOT = 1e-30  # m; a height of 0 has no logarithm
FLATNESS_CV = 0.02  # spread of thickness of seeds of one size


def leak_flow(share: Any, open_flow: Any, clear_flow: Any, trickle: Any) -> Any:
    """Flow of seed that leaks out of the pool through a slot between disc and housing.

    Thick seeds that lie before the slot hold thin ones back.

    Parameters
    ----------
    share : float or ndarray
        Share of the seeds that are thinner than the slot. [1]
    open_flow, clear_flow : float or ndarray
        Flow that the slot could pass without and with a dead zone at its rim. [kg/s]
    trickle : float
        Flow of thin seeds over the open flow, where the dead zone closes the slot. [1]

    Returns
    -------
    float or ndarray
        Mass flow, taken from the pool. [kg/s]

    Notes
    -----
    ``leak_flow = share * max(trickle * open_flow, clear_flow)``

    assumption: a slot that is wide against the seed passes what a gate of its height does
    (beverloo1961). A narrow one passes a small part of that, seed by seed.
    """
    return share * np.maximum(trickle * open_flow, clear_flow)
