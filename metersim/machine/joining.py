"""Joining: how seeds come onto a hole in the pool, and off it again.

Holes gain and lose seeds until they leave the pool.  A hole is empty at the surface when it lost
its seed last and gained no other.  The share of such holes tends to loss over gain and loss, so
misses grow smoothly with speed and fall smoothly with vacuum.

Particle runs, a throw-away simulation of our own, not published, found this form.  Empty holes
followed gain and loss of the last four diameters (correlation 0.96 over 111 conditions).  A rival
without loss, where seeds only arrive, makes no empty cells at all until the disc is fast, and then
very many.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def draw_rate(
    margin: Any, gmd: Any, peripheral_speed: Any, slowness: Any, draw_power: Any, gravity: Any
) -> Any:
    """Seeds that a free hole draws onto itself while it passes one seed diameter.

    A seed needs a time to reach the hole: the time of a free fall through its own size, times the
    slowness, and longer when the vacuum is weak.  The mean number is the time in which the hole
    passes one seed diameter, over the time that a seed needs.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    peripheral_speed : float or ndarray
        Speed of the holes, above 0. [m/s]
    slowness : float
        `draw_slowness`. [1]
    draw_power : float
        Power of vacuum over vacuum needed: 1 for a seed that the bed holds back with friction,
        1/2 for a seed that flies. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``draw_rate = exp(draw_power * margin) * sqrt(gravity * gmd) / (slowness * peripheral_speed)``

    assumption: the scaling follows particle runs: a throw-away simulation of our own, not
    published. The number of seeds drawn went there as speed over sqrt(gravity * gmd), with a power
    from -1 to -1.3. The negative logarithm of the share of empty cells went as vacuum over vacuum
    needed, with a power of 1.3; this number has the chance to hold in it too.
    """
    return np.exp(draw_power * margin) * np.sqrt(gravity * gmd) / (slowness * peripheral_speed)


def draw_slowness(slowness: Any, agitation: Any, agitation_gain: Any) -> Any:
    """Slowness of drawing seeds on a disc that stirs the pool.

    Parameters
    ----------
    slowness : float
        Slowness on a smooth disc: the time to draw a seed over that of a free fall through its
        size. [1]
    agitation : float or ndarray
        From 0, smooth, to 1, pegged. [1]
    agitation_gain : float
        How many times sooner a pegged disc draws seeds. [1]

    Returns
    -------
    float or ndarray
        Slowness on this disc. [1]

    Notes
    -----
    ``draw_slowness = slowness / agitation_gain^agitation``

    assumption: the logarithm is linear between a smooth and a pegged disc.
    """
    return slowness * np.power(agitation_gain, -agitation)


def bed_share(level: Any, carry_line: Any, thin_bed: Any) -> Any:
    """Seeds that press against the disc, over those in a pool filled to the carry line.

    Parameters
    ----------
    level, carry_line : float or ndarray
        Level of the pool, and the level up to which it is meant to be filled. [m]
    thin_bed : float
        Level over the carry line at which half of the most seeds press. [1]

    Returns
    -------
    float or ndarray
        Share, a little above 1 in a pool that is too high. [1]

    Notes
    -----
    ``bed_share = (1 + thin_bed) * filled / (filled + thin_bed)
    where filled = max(level, 0) / carry_line``

    assumption: a lower bed presses fewer seeds to the holes, gradually. There is no data on this.
    """
    filled = np.maximum(level, 0.0) / carry_line
    return (1 + thin_bed) * filled / (filled + thin_bed)


def loss_rate(margin: Any, loosening: Any, loss_power: Any) -> Any:
    """Seeds that a hole in the pool loses while it passes one seed diameter.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    loosening : float
        Seeds lost by a hole whose vacuum equals the vacuum needed. [1]
    loss_power : float
        Power of vacuum needed over vacuum. [1]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``loss_rate = loosening * exp(-loss_power * margin)``

    assumption: in particle runs, a throw-away simulation of our own, not published, the loss fell
    with a power of 0.3 to 0.7 of vacuum over vacuum needed. Its level does not carry over; it is
    calibrated.
    """
    return loosening * np.exp(-loss_power * margin)


def empty_chance(gain: Any, loss: Any, zone: Any) -> Any:
    """Chance that a hole leaves the pool empty.

    Parameters
    ----------
    gain, loss : float or ndarray
        Seeds that a free hole gains, and a filled one loses, in one seed diameter. [1]
    zone : float or ndarray
        Seed diameters of the exit zone that the hole crosses. [1]

    Returns
    -------
    float or ndarray
        Chance. [1]

    Notes
    -----
    ``empty_chance = (loss + 1e-300 + gain * exp(-both * zone)) / both
    where both = gain + loss + 1e-300``

    Source: chance of the empty state in a birth and death process of two states that starts empty.
    Without loss it is the chance of no arrival.  The smallest number keeps a hole empty that
    neither gains nor loses seeds.
    """
    loss = loss + NO_RATE
    both = gain + loss
    return (loss + gain * np.exp(-both * zone)) / both


NO_RATE = 1e-300  # added to a loss that may be 0


def later_mean(
    margin: Any, sphericity: Any, seconds: Any, seconds_power: Any, seconds_knee: Any
) -> Any:
    """Mean number of further seeds on a hole that is as wide as its first seed.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    sphericity : float or ndarray
        Geometric mean diameter of the seed over its length. [1]
    seconds : float
        Further seeds on a hole as wide as the seed, at a vacuum that just holds it, if the seed
        were infinitely long. [1]
    seconds_power : float
        Power of vacuum over vacuum needed. [1]
    seconds_knee : float
        Vacuum over vacuum needed at which the number is half of the power law. [1]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``later_mean = seconds * (1 - sphericity) * drawn / (1 + drawn / knee)
    where knee = seconds_knee^seconds_power
    where drawn = exp(seconds_power * margin)``

    assumption: in particle runs, a throw-away simulation of our own, not published, spheres made no
    doubles, and flat faces and friction made them. The power of vacuum over vacuum needed was 1.4
    there. The root of (1 - sphericity) lost: it gave canola more multiples than liao2018 allows.
    """
    drawn = np.exp(seconds_power * margin)
    knee = np.power(seconds_knee, seconds_power)
    return seconds * (1 - sphericity) * drawn / (1 + drawn / knee)


def later_at_width(later: Any, hole_diameter: Any, width: Any, hole_power: Any) -> Any:
    """Mean number of further seeds on a hole, by the width of its first seed.

    Parameters
    ----------
    later : float or ndarray
        `later_mean`. [1]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    width : float or ndarray
        Width of the first seed. [m]
    hole_power : float
        Power of hole over width. [1]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``later_at_width = later * (hole_diameter / width)^hole_power``

    assumption: in particle runs, a throw-away simulation of our own, not published, the power was
    3.7 to 4.3 at the pool's exit and 2.4 to 3.0 a quarter turn later. The crescent that a central
    seat leaves open gave 12 to 14, which no published table bears out. The thickness in place of
    the width, for a seed on edge, lost: it gave flat seed such as sunflower far too many.
    """
    return later * np.power(hole_diameter / width, hole_power)


def part_covered(rank: Any, free: Any, most_covered: Any) -> Any:
    """Part of the hole that one more seed covers.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw. [1]
    free : float or ndarray
        Part of the hole that earlier ones of the later seeds have not covered. [1]
    most_covered : float
        Most of it that one more seed covers. [1]

    Returns
    -------
    float or ndarray
        Part. [1]

    Notes
    -----
    ``part_covered = free * most_covered * sqrt(rank)``

    assumption: seeds that cover little of the hole are rare, as few of them hold.
    """
    return free * most_covered * np.sqrt(rank)
