"""The coefficients that the fit varies, with their priors: the one place to change them.

A source is a laboratory with its stand.  Its machine has the value ``m + s z`` of a varied
coefficient on the coefficient's own scale, with a standard normal ``z``.  The global mean ``m`` has
a normal prior.  The between-machine SD ``s`` is 0, fixed, or free with a lognormal prior.  At most
four spreads are free, as there are few sources.

All hyperparameters are numbers in units of their prior SDs, so that each prior is standard normal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import expit, logit

from metersim.files.fields import specs
from metersim.machine.coefficients import Coefficients

MOST_FREE = 4
INSIDE = 1e-9  # part of an allowed range that is kept off its ends


@dataclass(frozen=True, kw_only=True)
class Varied:
    """A varied coefficient.

    Attributes
    ----------
    name : str
        Its name among the coefficients.
    transform : str
        Scale on which it is normal: ``log``, ``identity`` or ``logit``.
    centre : float
        Centre of the prior of the global mean, in the coefficient's unit.
    sd : float
        SD of that prior on the transformed scale.
    spread : float
        Between-machine SD on the transformed scale: fixed, or the median of its prior.
    free : float
        SD of the prior of ln(spread); 0 for a fixed spread.
    scale : float
        SD of an unknown machine for which emulators are made; from the priors by default.
    """

    name: str
    transform: str = "log"
    centre: float
    sd: float
    spread: float = 0.0
    free: float = 0.0
    scale: float = 0.0

    def __post_init__(self):
        if self.transform not in ("log", "identity", "logit"):
            raise ValueError(f"{self.name}: {self.transform} is no transform")
        if self.free and not self.spread:
            raise ValueError(f"{self.name}: a free spread needs a median above 0")
        if not self.sd > 0:
            raise ValueError(f"{self.name}: the prior of the mean needs an SD above 0")

    def onto(self, value):
        """A value on the transformed scale."""
        return {"log": np.log, "identity": np.asarray, "logit": logit}[self.transform](value)

    def back(self, scaled):
        """A value in the coefficient's unit, cut at the allowed range."""
        value = {"log": np.exp, "identity": np.asarray, "logit": expit}[self.transform](scaled)
        low, high = self.allowed
        return np.clip(value, low, high)

    @property
    def middle(self):
        """Centre of the prior on the transformed scale."""
        return float(self.onto(self.centre))

    @property
    def total(self):
        """SD of the value of an unknown machine under the prior: the unit of emulators' inputs."""
        return self.scale or math.hypot(self.sd, self.spread * math.exp(self.free**2))

    @property
    def allowed(self):
        """Allowed range in the coefficient's unit, without its very ends."""
        spec = specs(Coefficients)[self.name]
        least, most = spec.low, spec.high
        if self.transform == "log" and least <= 0:
            least = self.centre * 1e-3
        edge = INSIDE * (most - least)
        return least + edge, most - edge


@dataclass(frozen=True, kw_only=True)
class Table:
    """All varied coefficients, and what the likelihood needs beside them.

    Attributes
    ----------
    varied : tuple of Varied
        The coefficients.
    fixed : tuple of (str, float)
        Other coefficients that do not have their usual values, by name.
    discrepancy : tuple of float
        SD of what the model misses of a share of 3 %: median, and SD of its logarithm.  It scales
        with sqrt(p (1 - p)).
    relative : tuple of float
        The same for spreads such as precision, relative to their value.
    outlier : float
        Share of sources that no machine of the model explains.
    accepted, acceptance_scale : float
        Share of cells with one seed at which half of the meters are published, and the scale of
        that logistic; assumptions.
    """

    varied: tuple[Varied, ...]
    fixed: tuple[tuple[str, float], ...] = ()
    discrepancy: tuple[float, float] = (0.010, 0.5)
    relative: tuple[float, float] = (0.08, 0.4)
    outlier: float = 0.07
    accepted: float = 0.94
    acceptance_scale: float = 0.015

    def __post_init__(self):
        if len(self.free) > MOST_FREE:
            raise ValueError(f"{len(self.free)} spreads are free; allowed: {MOST_FREE}")

    @property
    def free(self):
        """Indices of the coefficients whose spread is free."""
        return [k for k, one in enumerate(self.varied) if one.free]

    @property
    def spreading(self):
        """Indices of the coefficients that differ between machines."""
        return [k for k, one in enumerate(self.varied) if one.spread]

    @property
    def names(self):
        """Names of the hyperparameters."""
        spreads = [f"spread of {self.varied[k].name}" for k in self.free]
        means = [one.name for one in self.varied]
        return [*means, *spreads, "discrepancy", "relative_discrepancy"]

    @property
    def size(self):
        return len(self.varied) + len(self.free) + 2

    def without_spread(self):
        """The same table for machines that are all alike: the negative control."""
        alike = (replace(v, spread=0.0, free=0.0, scale=v.total) for v in self.varied)
        return replace(self, varied=tuple(alike))

    def read(self, h):
        """Hyperparameters from their numbers in units of prior SDs.

        Parameters
        ----------
        h : array_like, shape (..., size)

        Returns
        -------
        Hyper
        """
        h = np.asarray(h, dtype=float)
        k = len(self.varied)
        means = [one.middle + one.sd * h[..., i] for i, one in enumerate(self.varied)]
        spreads = [np.full(h.shape[:-1], one.spread) for one in self.varied]
        for place, i in enumerate(self.free):
            one = self.varied[i]
            spreads[i] = one.spread * np.exp(one.free * h[..., k + place])
        discrepancy = self.discrepancy[0] * np.exp(self.discrepancy[1] * h[..., -2])
        relative = self.relative[0] * np.exp(self.relative[1] * h[..., -1])
        return Hyper(np.stack(means, -1), np.stack(spreads, -1), discrepancy, relative)

    def numbers(self, hyper):
        """Hyperparameters in their own units, in the order of `names`."""
        parts = [hyper.means, hyper.spreads[..., self.free]]
        parts += [hyper.discrepancy[..., None], hyper.relative[..., None]]
        return np.concatenate(parts, -1)

    def inputs(self, scaled):
        """Inputs of the emulators from values on the transformed scales, cut at what is allowed."""
        ends = np.array([one.onto(np.array(one.allowed)) for one in self.varied])
        middle = np.array([one.middle for one in self.varied])
        total = np.array([one.total for one in self.varied])
        return (np.clip(scaled, ends[:, 0], ends[:, 1]) - middle) / total

    def coefficients(self, inputs):
        """The set of coefficients at one row of inputs of the emulators."""
        pairs = zip(self.varied, inputs, strict=True)
        varied = {v.name: float(v.back(v.middle + v.total * x)) for v, x in pairs}
        return Coefficients(**dict(self.fixed), **varied)

    def form(self, name):
        """The same table for another form of the model, one of `FORMS`; the usual one is empty."""
        if not name:
            return self
        if name == "alike":
            return self.without_spread()
        dropped, fixed, instead = FORMS[name]
        kept = [
            one for one in self.varied if one.name not in {*dropped, *(v.name for v in instead)}
        ]
        return replace(self, varied=(*kept, *instead), fixed=(*self.fixed, *fixed))


@dataclass(frozen=True)
class Hyper:
    """Hyperparameters in the units of the transformed scales; leading axes are draws."""

    means: np.ndarray
    spreads: np.ndarray
    discrepancy: np.ndarray = field(repr=False)
    relative: np.ndarray = field(repr=False)


TABLE = Table(
    varied=(
        Varied(name="loosening", centre=0.03, sd=0.6, spread=0.4, free=0.5),
        Varied(name="seconds", centre=0.35, sd=0.7, spread=0.4),
        Varied(name="edge_zero", transform="identity", centre=0.0, sd=0.03, spread=0.05, free=0.5),
        Varied(name="seat_push", centre=0.16, sd=0.35),
        Varied(name="contacts", centre=0.6, sd=0.5, spread=0.4, free=0.5),
        Varied(name="landing_scatter", centre=0.008, sd=0.3, spread=0.25),
        Varied(name="wear_contacts", centre=3.2, sd=0.4),
        Varied(name="hop", centre=0.016, sd=0.5),
        Varied(name="draw_slowness", centre=2.2, sd=0.3),
        Varied(name="hole_power", transform="identity", centre=3.0, sd=0.4),
        Varied(name="seconds_power", transform="identity", centre=1.4, sd=0.2),
        Varied(name="seconds_knee", centre=10.0, sd=0.5),
        Varied(name="loss_power", transform="identity", centre=0.5, sd=0.15),
        Varied(name="edge_speed", transform="identity", centre=0.0, sd=0.2),
    )
)

FORMS = {  # other forms: coefficients that no longer vary, fixed values, others in their place
    "alike": ((), (), ()),
    "no loss": (
        ("loosening",),
        (("loosening", 0.0),),
        (Varied(name="draw_slowness", centre=3.0, sd=0.6, spread=0.4, free=0.5),),
    ),
    "no landing scatter": (("landing_scatter",), (("landing_scatter", 0.0),), ()),
    "holes alike": ((), (("hole_spread", 0.0), ("run_out", 0.0)), ()),
    "steady pool": ((), (("avalanche_angle", 0.0),), ()),
    "tight seat": ((), (("seal", 1.0),), ()),
}
