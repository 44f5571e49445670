"""The rival of the model's pick-up: meetings all along the pool, each as long as a seed is passed.

A cell meets seeds as a Poisson stream along its whole arc in the pool; a meeting lasts
``gmd/(slip u)``, joining takes ``tau sqrt(2 gmd/a)`` at the acceleration a of a seed that closes
the hole, and the chance to join is ``1 - exp(-t_meet/t_need)``.
"""

import dataclasses
from dataclasses import dataclass

import numpy as np

from metersim.machine.coefficients import USUAL
from metersim.machine.pickup import PickupStation
from metersim.machine.stations import stations_of


@dataclass(frozen=True, kw_only=True)
class PlainPickup(PickupStation):
    """Takes seeds from the pool by the plain form."""

    slip: float
    join_slowness: float

    @property
    def load_spread(self):
        return self.shock

    def zone(self, arc):
        """Meetings along the whole arc."""
        return arc * self.slip / self.lot.gmd * self.room

    def draws(self, margin, speed):
        """Chance to join in a meeting."""
        vacuum = np.exp(margin) * self.needed(speed, self.resistance)
        area = np.pi * self.hole_diameter**2 / 4
        meeting = self.lot.gmd / (self.slip * speed)
        pull = np.sqrt(vacuum * area / self.lot.seed_mass / (2 * self.lot.gmd))
        slowness = self.join_slowness * self.coefficients.agitation_gain**-self.agitation
        return -np.expm1(-meeting * pull / slowness)

    def part_draws(self, draws, part):
        """The same on a part of the hole."""
        return -np.expm1(np.log1p(-draws) * np.sqrt(part))


def plain_stations(scenario, coefficients=USUAL, *, slip=0.7, join_slowness=15.0):
    """The stations of a scenario with the plain pick-up."""
    usual = stations_of(scenario, coefficients)
    own = {
        field.name: getattr(usual.pickup, field.name) for field in dataclasses.fields(usual.pickup)
    }
    return dataclasses.replace(
        usual, pickup=PlainPickup(**own, slip=slip, join_slowness=join_slowness)
    )
