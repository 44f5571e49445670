"""What turns the disc, at which gap: the station of the running gap, bound to a scenario."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from metersim.machine.around import Fan, Gap, Hoses
from metersim.machine.assumed import TurningCoefficients
from metersim.machine.gap import (
    allowed_leak,
    chamber_area,
    contact_force,
    drawn_gap,
    friction_torque,
    leak_area,
    own_area,
    press_of_lip,
    seal_length,
    share_above,
    vacuum_left,
)
from metersim.machine.sections import Disc, Drive, Vacuum

LEAKS = 0.02  # share of its vacuum that a meter loses to a gap which is said to leak
STEPS = 10_000  # at most, until vacuum and gap fit one another
CLOSE = 1e-12  # relative; vacuum and gap then fit one another
FINE = 1e-8  # m, error of the ends of the range of gaps


@dataclass(frozen=True, kw_only=True)
class GapStation:
    """The running gap of one meter: what rubs, what leaks, and what turning the disc takes.

    Without a running gap the disc is free, and the lip of its seal touches all round.
    """

    running_gap: float | None
    wobble: float  # half of the wobble of the disc at the seal, m
    stiffness: float
    lip: float  # gap that the lip still closes, m
    circle_radius: float
    own: float  # open area of the sound meter, m2
    coefficients: TurningCoefficients = field(default_factory=TurningCoefficients)

    @cached_property
    def area(self) -> float:
        """Area on which the vacuum pulls. [m2]"""
        return float(chamber_area(self.circle_radius, self.coefficients.chamber_width))

    @cached_property
    def seal(self) -> float:
        """Length of the seal. [m]"""
        return float(seal_length(self.circle_radius))

    @cached_property
    def allowed(self) -> float:
        """Leak that lowers the vacuum at the holes by `LEAKS`. [m2]"""
        return float(allowed_leak(self.own, self.coefficients.line_loss, LEAKS))

    def mean_gap(self, vacuum: Any) -> Any:
        """Mean gap over a turn at a vacuum [Pa]; infinite without a running gap. [m]"""
        if self.running_gap is None:
            return np.inf
        return drawn_gap(vacuum, self.running_gap, self.area, self.stiffness)

    def least(self, vacuum: Any) -> Any:
        """Least gap in a turn at a vacuum [Pa]; below 0 the disc rubs. [m]"""
        return self.mean_gap(vacuum) - self.wobble

    def greatest(self, vacuum: Any) -> Any:
        """Greatest gap in a turn at a vacuum [Pa]. [m]"""
        return self.mean_gap(vacuum) + self.wobble

    def force(self, vacuum: Any) -> Any:
        """Force between disc and seal, as a mean over a turn at a vacuum [Pa]. [N]"""
        if self.running_gap is None:
            return 0.0
        return contact_force(self.mean_gap(vacuum), self.wobble, self.stiffness)

    def leak(self, vacuum: Any) -> Any:
        """Open area past the seal, as a mean over a turn at a vacuum [Pa]. [m2]"""
        if self.running_gap is None:
            return 0.0
        return leak_area(self.mean_gap(vacuum), self.wobble, self.lip, self.seal)

    def around(self, vacuum: Any, turn: Any) -> Any:
        """Vacuum at a hole over that in the chamber [Pa], by its position in turns. [1]

        The disc comes nearest to the seal at turn 0.  Assumption: a hole has the vacuum of a meter
        whose seal leaks all round as it does beside the hole.
        """
        if self.running_gap is None:
            return 1.0
        k, mean = self.coefficients, self.mean_gap(vacuum)
        beside = mean - self.lip - self.wobble * np.cos(2 * np.pi * turn)
        at_hole = vacuum_left(self.seal * np.maximum(beside, 0.0), self.own, k.line_loss)
        return at_hole / vacuum_left(self.leak(vacuum), self.own, k.line_loss)

    def from_rest(self, stated: float) -> float:
        """Vacuum in the chamber, from the one that the meter has without a leak. [Pa]

        A leak lowers the vacuum, so the disc is drawn in less and leaks more.  The vacuum is the
        least that fits its own leak: the one that builds up from rest.
        """
        vacuum = 0.0
        for _ in range(STEPS):
            left = vacuum_left(self.leak(vacuum), self.own, self.coefficients.line_loss)
            before, vacuum = vacuum, float(stated * left)
            if vacuum - before <= CLOSE * stated:
                break
        return vacuum

    def torques(self, vacuum: float) -> dict[str, float]:
        """Torque at the disc by what causes it, at a vacuum [Pa]. [N m]"""
        k, radius = self.coefficients, self.circle_radius
        touching = 1.0
        if self.running_gap is not None:
            touching = float(share_above(self.lip - self.mean_gap(vacuum), self.wobble))
        press = press_of_lip(vacuum, touching, self.seal, k.lip_width)
        return {
            "seal": float(friction_torque(press, radius, k.seal_friction)),
            "rub": float(friction_torque(self.force(vacuum), radius, k.seal_friction)),
            "pool": k.pool_torque,
            "singulator": k.singulator_torque,
            "bearings": k.bearing_torque,
        }

    def torque(self, vacuum: float) -> float:
        """Torque at the disc at a vacuum [Pa]. [N m]"""
        return sum(self.torques(vacuum).values())

    def good_gaps(self, stated: float, *, keeps: bool = False) -> tuple[float, float] | None:
        """Least and greatest running gap that neither rubs nor leaks; None if there is no such.

        Parameters
        ----------
        stated : float
            Vacuum without a leak. [Pa]
        keeps : bool
            Whether a fan keeps the vacuum whatever leaks.

        Notes
        -----
        A gap leaks if a meter without a fan loses more than `LEAKS` of its vacuum to it.
        """

        def at(gap: float) -> tuple[GapStation, float]:
            station = replace(self, running_gap=gap)
            return station, stated if keeps else station.from_rest(stated)

        def is_free(gap: float) -> bool:
            station, vacuum = at(gap)
            return bool(station.least(vacuum) >= 0)

        def leaks(gap: float) -> bool:
            station, vacuum = at(gap)
            return bool(station.leak(vacuum) > self.allowed)

        most = stated * self.area / self.stiffness + self.lip + 2 * self.wobble
        most += self.allowed / self.seal + FINE  # surely leaks, and is surely free
        low, high = _first(is_free, most), _first(leaks, most) - FINE
        return (low, high) if low <= high else None


def _first(holds: Any, most: float) -> float:
    """Least number from 0 up at which something holds, which also holds above it."""
    low, high = 0.0, most
    while high - low > FINE:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


class GapSettings(Protocol):
    """What a scenario says of the gap and the drive."""

    @property
    def disc(self) -> Disc:
        """The disc."""

    @property
    def vacuum(self) -> Vacuum:
        """The vacuum as stated."""

    @property
    def drive(self) -> Drive:
        """The drive."""

    @property
    def gap(self) -> Gap:
        """The running gap and the motor."""

    @property
    def fan(self) -> Fan:
        """The fan."""

    @property
    def hoses(self) -> Hoses:
        """Hoses and leaks."""

    @property
    def coefficients(self) -> TurningCoefficients:
        """The coefficients of this machine."""


def gap_of(scenario: GapSettings, coefficients: TurningCoefficients | None = None) -> GapStation:
    """The running gap of a scenario, by default with its own coefficients."""
    disc, gap = scenario.disc, scenario.gap
    return GapStation(
        running_gap=gap.running_gap,
        wobble=gap.disc_run_out,
        stiffness=gap.stiffness,
        lip=gap.seal_lip,
        circle_radius=disc.circle_radius,
        own=float(own_area(disc.hole_diameter, disc.cells, scenario.hoses.seal_leak)),
        coefficients=coefficients or scenario.coefficients,
    )


def has_fan(scenario: GapSettings) -> bool:
    """Whether a fan and its lines decide the vacuum, and not the vacuum as stated."""
    return scenario.fan.shut_off is not None


def gap_leak(scenario: GapSettings, vacuum: Any) -> Any:
    """Open area past the seal at a vacuum of the chamber [Pa], 0 without a running gap. [m2]"""
    return gap_of(scenario).leak(vacuum)


def vacuum_past_gap(scenario: GapSettings) -> float:
    """Vacuum in the chamber of a single meter: as stated, less what its running gap leaks. [Pa]

    With a fan the leak is part of the lines, and the vacuum is as stated.
    """
    stated = scenario.vacuum.vacuum
    if scenario.gap.running_gap is None or has_fan(scenario):
        return stated
    return gap_of(scenario).from_rest(stated)


def gap_range(scenario: GapSettings) -> tuple[float, float] | None:
    """Least and greatest running gap that neither rubs nor leaks; None if there is no such. [m]"""
    return gap_of(scenario).good_gaps(scenario.vacuum.vacuum, keeps=has_fan(scenario))
