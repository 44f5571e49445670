"""Conditions of work: what is on the seed, turned into a lot and coefficients in effect.

A flow agent lowers friction.  Damp seed, or a sticky coating, raises it, and its seeds cling to one
another.  Friction and stickiness change the lot's angle and some coefficients.  All stations get
those, so none of them knows of talc.  Without an agent and with dry seed, the lot and the
coefficients are the given ones.

The angle acts in several places: on the level of the pool, and on its resistance to a held seed.

Thin air lets seeds fall faster.  It does not change the reach of a hole, `capture_distance`: the
air flows faster by the same factor.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from metersim.files.fields import specs
from metersim.machine.around import Conditions
from metersim.machine.coefficients import Coefficients
from metersim.machine.seedlot import SeedLot


def stickiness(dampness: Any, drying: Any) -> Any:
    """Dampness that a flow agent leaves.

    Parameters
    ----------
    dampness : float or ndarray
        From 0, dry, to 1, damp or sticky. [1]
    drying : float
        Part of the dampness that the agent takes away; 0 without one. [1]

    Returns
    -------
    float or ndarray
        From 0 to 1. [1]

    Notes
    -----
    ``stickiness = dampness * (1 - drying)``

    assumption: an agent takes the same part of any dampness. Talc takes more than graphite; common
    practice, no source.
    """
    return dampness * (1 - drying)


def friction_factor(sticky: Any, agent_friction: Any, damp_friction: Any) -> Any:
    """Friction of seed over that of the same seed dry and without a flow agent.

    Parameters
    ----------
    sticky : float or ndarray
        `stickiness`. [1]
    agent_friction : float
        Friction with the agent over that without; 1 without an agent. [1]
    damp_friction : float
        Share of friction that damp seed adds. [1]

    Returns
    -------
    float or ndarray
        Factor. [1]

    Notes
    -----
    ``friction_factor = agent_friction * (1 + damp_friction * sticky)``

    assumption: the factor holds between seeds, and between a seed and the disc. Repose angles of
    grain rise with its moisture (from memory).
    """
    return agent_friction * (1 + damp_friction * sticky)


def angle_at(dry_angle: Any, relative_friction: Any) -> Any:
    """Slope of a poured heap of seed with another friction.

    Parameters
    ----------
    dry_angle : float or ndarray
        Slope of the lot's heap. [rad]
    relative_friction : float or ndarray
        `friction_factor`. [1]

    Returns
    -------
    float or ndarray
        Slope. [rad]

    Notes
    -----
    ``angle_at = arctan(relative_friction * tan(dry_angle))``

    assumption: the tangent of the angle goes as friction, as for a block on an incline.
    """
    return np.arctan(relative_friction * np.tan(dry_angle))


def start_angle(avalanche_angle: Any, sticky: Any, damp_avalanche: Any) -> Any:
    """Angle over that of a poured heap at which a slide starts.

    Parameters
    ----------
    avalanche_angle : float or ndarray
        That of dry seed. [rad]
    sticky : float or ndarray
        `stickiness`. [1]
    damp_avalanche : float
        Share that damp seed adds. [1]

    Returns
    -------
    float or ndarray
        Angle. [rad]

    Notes
    -----
    ``start_angle = avalanche_angle * (1 + damp_avalanche * sticky)``

    assumption: seeds that cling stand steeper before they slide. So the pool breathes more.
    """
    return avalanche_angle * (1 + damp_avalanche * sticky)


def arch_span(relative_friction: Any, sticky: Any, damp_span: Any) -> Any:
    """Width that an arch of seeds spans, over that of dry seed without a flow agent.

    Parameters
    ----------
    relative_friction : float or ndarray
        `friction_factor`. [1]
    sticky : float or ndarray
        `stickiness`. [1]
    damp_span : float
        Share that damp seed adds. [1]

    Returns
    -------
    float or ndarray
        Factor. [1]

    Notes
    -----
    ``arch_span = relative_friction * (1 + damp_span * sticky)``

    assumption: an arch stands by friction and by clinging. Openings count in widths that it spans.
    It clears so many times more slowly, too.
    """
    return relative_friction * (1 + damp_span * sticky)


def slowness_at(
    slowness: Any, relative_friction: Any, sticky: Any, fill_friction: Any, damp_slowness: Any
) -> Any:
    """Slowness of drawing seeds with another friction.

    Parameters
    ----------
    slowness : float or ndarray
        Slowness with dry seed without an agent: the time to draw a seed over that of a free fall
        through its size. [1]
    relative_friction : float or ndarray
        `friction_factor`. [1]
    sticky : float or ndarray
        `stickiness`. [1]
    fill_friction : float
        Power of friction in the rate at which holes draw seeds. [1]
    damp_slowness : float
        Share that damp seed adds to the time. [1]

    Returns
    -------
    float or ndarray
        Slowness. [1]

    Notes
    -----
    ``slowness_at = slowness * (1 + damp_slowness * sticky) / relative_friction^fill_friction``

    assumption: in particle runs, a throw-away simulation of our own, not published, empty holes
    went as friction to the power -0.2 to -1.2, or did not change. Less friction also lowers the
    pool's resistance, which works the other way with a power of about 1.2. This power makes up for
    both. Seeds that cling to others come more slowly.
    """
    return slowness * (1 + damp_slowness * sticky) / np.power(relative_friction, fill_friction)


def seconds_at(seconds: Any, relative_friction: Any, seconds_friction: Any) -> Any:
    """Coefficient of further seeds on a hole, with another friction.

    Parameters
    ----------
    seconds : float or ndarray
        That of dry seed without an agent, as for `metersim.machine.joining.later_mean`. [1]
    relative_friction : float or ndarray
        `friction_factor`. [1]
    seconds_friction : float
        Power of friction. [1]

    Returns
    -------
    float or ndarray
        Coefficient. [1]

    Notes
    -----
    ``seconds_at = seconds * relative_friction^seconds_friction``

    assumption: in particle runs, a throw-away simulation of our own, not published, friction was
    the strongest lever. Doubles went as its power 1.8 to 5.8.
    """
    return seconds * np.power(relative_friction, seconds_friction)


def fall_in_air(terminal_velocity: Any, air_density: Any, standard_density: Any) -> Any:
    """Terminal velocity of a seed in air of another density.

    Parameters
    ----------
    terminal_velocity : float or ndarray
        That of the lot. [m/s]
    air_density : float or ndarray
        Density of the air. [kg/m3]
    standard_density : float
        Density of the air in which lots were measured. [kg/m3]

    Returns
    -------
    float or ndarray
        Velocity. [m/s]

    Notes
    -----
    ``fall_in_air = terminal_velocity * sqrt(standard_density / air_density)``

    Source: balance of weight and drag as the square of speed; assumption: the drag coefficient
    stays as it is.
    """
    return terminal_velocity * np.sqrt(standard_density / air_density)


MEASURED_IN = Conditions()  # weather in which lots were measured: 20 degC at the sea; assumption


class InEffect(NamedTuple):
    """A lot and coefficients with what is on the seed."""

    lot: SeedLot
    coefficients: Coefficients

    @classmethod
    def of(cls, lot: SeedLot, coefficients: Coefficients, conditions: Conditions) -> InEffect:
        """The lot and the coefficients in effect.

        A value that would leave its allowed range stays at the end of it.

        Parameters
        ----------
        lot : SeedLot
            Seed in the hopper, dry and without a flow agent.
        coefficients : Coefficients
            Coefficients for such seed.
        conditions : Conditions
            Flow agent and dampness.
        """
        agent, dampness = conditions.flow_agent, conditions.dampness
        if agent == "none" and dampness == 0:
            return cls(lot, coefficients)
        k = coefficients
        drying, agent_friction = {
            "none": (0.0, 1.0),
            "graphite": (k.graphite_drying, k.graphite_friction),
            "talc": (k.talc_drying, k.talc_friction),
        }[agent]
        sticky = stickiness(dampness, drying)
        friction = friction_factor(sticky, agent_friction, k.damp_friction)
        span = arch_span(friction, sticky, k.damp_span)
        changed = {
            "avalanche_angle": start_angle(k.avalanche_angle, sticky, k.damp_avalanche),
            "arch_steepness": k.arch_steepness / span,
            "arch_clearing": k.arch_clearing / span,
            "arch_clearing_by_shock": k.arch_clearing_by_shock / span,
            "draw_slowness": slowness_at(
                k.draw_slowness, friction, sticky, k.fill_friction, k.damp_slowness
            ),
            "seconds": seconds_at(k.seconds, friction, k.seconds_friction),
        }
        angle = _within(SeedLot, "repose_angle", angle_at(lot.repose_angle, friction))
        kept = {name: _within(Coefficients, name, value) for name, value in changed.items()}
        return cls(replace(lot, repose_angle=angle), replace(coefficients, **kept))


def _within(kind: type, name: str, value: Any) -> float:
    """A value moved into the range of its field."""
    spec = specs(kind)[name]
    return min(max(float(value), spec.low), spec.high)
