"""Lots of a user's own seed: from a bag label, or from seeds measured one by one.

Values that were not measured are borrowed from a similar lot, and the made lot names each of them.
Both ways assume seed of the same shape.  Linear size goes with the cube root of mass.  The drag
coefficient is constant, so that terminal velocity goes with the root of mass over area.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.distributions.quantiles import chdtri
from metersim.files.faults import bad
from metersim.files.fields import Spec, specs
from metersim.files.units import POUND
from metersim.files.unknown import FORMS, Unknown
from metersim.machine.given import quoted, range_text
from metersim.machine.seedlot import VALUES, SeedLot, parse_lot
from metersim.questions.lot.seeds import DIMENSIONS, MeasuredSeeds

DIGITS = dict.fromkeys(("repose_angle", "terminal_velocity", "size_cv", "pose_sd", "shape_cv"), 3)
"""Significant digits of values of a made lot; all others have four."""
SPOKEN = {
    "size_cv": "spread of size",
    "pose_sd": "spread of the angle of held seeds",
    "shape_cv": "spread of shape",
}
SAME_DRAG = "scaled to the same drag coefficient"

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MadeLot:
    """A lot made from the user's own seed.

    Attributes
    ----------
    lot : SeedLot
        Lot with the sources of its values.
    spread_low, spread_high : float or None
        95 % interval of `lot.size_cv`; None when the spread was borrowed. [1]
    notes : tuple of str
        Measured values, borrowed values with their lot, and cautions.
    """

    lot: SeedLot
    spread_low: float | None = None
    spread_high: float | None = None
    notes: tuple[str, ...] = ()


def lot_from_label(
    like: SeedLot,
    *,
    seeds_per_kg: float | None = None,
    seeds_per_lb: float | None = None,
    title: str = "",
    name: str = "own",
) -> MadeLot:
    """Make a lot from the seed count on a bag label.

    Parameters
    ----------
    like : SeedLot
        Lot from which all values but the mass are borrowed.
    seeds_per_kg, seeds_per_lb : float
        Seeds in a kilogram or a pound; exactly one of them. [1/kg], [1/lb]
    title, name : str
        Title and name of the made lot; the title says what was done by default.

    Raises
    ------
    BadInput
        When not exactly one count is given, or it makes an impossible lot.
    """
    counts = {"seeds_per_kg": seeds_per_kg, "seeds_per_lb": seeds_per_lb}
    stated = {key: value for key, value in counts.items() if value is not None}
    if len(stated) != 1:
        raise bad("bag label", "", "give exactly one of seeds_per_kg and seeds_per_lb")
    ((key, per_weight),) = stated.items()
    weight = 1.0 if key == "seeds_per_kg" else POUND
    mass = specs(SeedLot)["seed_mass"]
    spec = Spec(key, "number", "seeds by weight", low=weight / mass.high, high=weight / mass.low)
    if complaint := spec.complaint(per_weight):
        raise bad("bag label", key, complaint)
    seed_mass = weight / per_weight
    size = (seed_mass / like.seed_mass) ** (1 / 3)
    values = {dimension: getattr(like, dimension) * size for dimension in DIMENSIONS}
    values |= {
        "seed_mass": seed_mass,
        "terminal_velocity": like.terminal_velocity * math.sqrt(size),
    }
    source = f"bag label, {per_weight:.10g} {key.replace('_', ' ')}"
    scaled = dict.fromkeys(DIMENSIONS, "scaled with the cube root of mass")
    scaled["terminal_velocity"] = SAME_DRAG
    lot = _made(like, values, {"seed_mass": source}, scaled, title, name, "bag label")
    return MadeLot(lot=lot, notes=_account(lot, like))


def lot_from_seeds(
    seeds: MeasuredSeeds, like: SeedLot, *, title: str = "", name: str = "own"
) -> MadeLot:
    """Make a lot from measured seeds.

    The mean of the mass column is taken as the mass of the mean seed, as thousand-seed masses
    are; with a spread c it is (1 + c^2)^3 times that.  Without the column the mass is that of
    `like` times the ratio of volumes.  Sorting the dimensions of each seed makes nearly round
    seeds look a little longer and thinner than they are; their size is not touched.

    Parameters
    ----------
    seeds : MeasuredSeeds
        Seeds of `read_seeds`.
    like : SeedLot
        Lot from which all other values are borrowed.
    title, name : str
        Title and name of the made lot; the title says what was done by default.

    Raises
    ------
    BadInput
        When the means make an impossible lot.
    """
    length, width, thickness = map(float, seeds.dimensions.mean(axis=0))
    spread, low, high = size_spread(np.prod(seeds.dimensions, axis=1) ** (1 / 3))
    many = len(seeds.dimensions)
    source = f"{many} seeds of {Path(seeds.where).name}"
    interval = f"95 % interval {100 * low:.3g} to {100 * high:.3g} %"
    measured = dict.fromkeys(DIMENSIONS, source) | {"size_cv": f"{source}, {interval}"}
    scaled = {"terminal_velocity": SAME_DRAG}
    if seeds.masses is None:
        seed_mass = like.seed_mass * length * width * thickness / like.gmd**3
        scaled["seed_mass"] = "same mass per volume at the measured dimensions"
    else:
        seed_mass = float(seeds.masses.mean())
        measured["seed_mass"] = source
    loading = (seed_mass / (length * width)) / (like.seed_mass / (like.length * like.width))
    values = {
        "length": length,
        "width": width,
        "thickness": thickness,
        "seed_mass": seed_mass,
        "terminal_velocity": like.terminal_velocity * math.sqrt(loading),
        "size_cv": spread,
    }
    lot = _made(like, values, measured, scaled, title, name, seeds.where)
    notes = [*_account(lot, like)]
    if spread == 0:
        notes.append("all seeds have the same size, so the spread of 0 means little")
    if seeds.reordered:
        notes.append(
            f"{seeds.reordered} of {many} seeds did not have length, width and thickness in "
            "falling order; they were sorted"
        )
    return MadeLot(lot=lot, spread_low=low, spread_high=high, notes=tuple(notes))


def size_spread(sizes: ArrayLike, level: float = 0.95) -> tuple[float, float, float]:
    """Coefficient of variation of lognormal sizes, with its interval.

    The logarithms are normal, so (n - 1) times their sample variance over the true one is
    chi-square with n - 1 degrees of freedom: exact for lognormal sizes, however few.

    Parameters
    ----------
    sizes : array_like, shape (n,)
        Positive sizes, two or more, in any unit.
    level : float
        Share of such intervals that hold the true value. [1]

    Returns
    -------
    value, low, high : float
        SD over mean, and the ends of its interval. [1]
    """
    logs = np.log(np.asarray(sizes, dtype=float))
    freedom = logs.size - 1
    squares = float(np.sum((logs - logs.mean()) ** 2))
    if np.ptp(logs) < 1e-12:  # sizes are equal apart from rounding
        squares = 0.0
    tail = (1 - level) / 2
    shares = (freedom, float(chdtri(freedom, tail)), float(chdtri(freedom, 1 - tail)))
    value, low, high = (math.sqrt(math.expm1(squares / share)) for share in shares)
    return value, low, high


def lot_toml(made: MadeLot, units: str = "metric") -> str:
    """Text of a lot file in metric or US units; `read_lot` reads it back as the same lot."""
    lot = made.lot
    lines = [f"title = {quoted(lot.title)}", f"crop = {quoted(lot.crop)}", "", "[values]"]
    written = {key: f"{value:.10g}" for key, value in _in(units, vars(lot)).items()}
    if lot.size_cvs:
        written[lot.size_cvs.key] = range_text(lot.size_cvs)
    lines += [f"{key} = {value}" for key, value in written.items()]
    lines += ["", "[origin]"]
    lines += [f"{name} = {quoted(str(lot.origins[name]))}" for name in VALUES]
    return "\n".join(lines) + "\n"


def _in(units: str, values: Mapping[str, float]) -> dict[str, float]:
    """Keys and values of a lot file in metric or US units, which read back as the SI `values`."""
    if units == "metric":
        return _rounded(values)
    made = {}
    for name in VALUES:
        spec = specs(SeedLot)[name]
        unit = spec.unit_for(units) or spec.units[0]
        made[f"{name}_{unit.suffix}"] = unit.from_si(values[name])
    return made


def _rounded(values: Mapping[str, float]) -> dict[str, float]:
    """Keys and values of a lot file from SI `values`, in the preferred units."""
    rounded = {}
    for name in VALUES:
        unit = specs(SeedLot)[name].units[0]
        number_text = f"{unit.from_si(values[name]):.{DIGITS.get(name, 4)}g}"
        rounded[f"{name}_{unit.suffix}"] = float(number_text)
    return rounded


def _made(
    like: SeedLot,
    values: Mapping[str, float],
    measured: Mapping[str, str],
    scaled: Mapping[str, str],
    title: str,
    name: str,
    where: str,
) -> SeedLot:
    """A checked and rounded lot: `like` with other SI `values`.

    `measured` names the sources of values, `scaled` the changes of borrowed values.  An assumption
    in `like` remains an assumption.
    """
    origins = {}
    for key in VALUES:
        old = like.origins.get(key)
        if key in measured:
            origins[key] = f"measured {measured[key]}"
        elif old is None:
            origins[key] = f"assumed from {like.name}"
        else:
            mark = "assumed" if old.mark == "assumed" else "borrowed"
            there = f"from {like.name} ({': '.join(filter(None, (old.mark, old.note)))})"
            origins[key] = " ".join(filter(None, (mark, old.source, there, scaled.get(key))))
    borrowed = like.size_cvs if "size_cv" not in values else None
    ranges = {borrowed.key: _as_stated(borrowed)} if borrowed else {}
    title = title or f"{like.crop}, {next(iter(measured.values()))}, else like {like.name}"
    table = {
        "title": _writable(title),
        "crop": like.crop,
        "values": _rounded({key: values.get(key, getattr(like, key)) for key in VALUES}) | ranges,
        "origin": {key: _writable(origin) for key, origin in origins.items()},
    }
    return parse_lot(table, where, name)


def _as_stated(unknown: Unknown) -> dict[str, Any]:
    """The table by which a file states an uncertain value."""
    if unknown.form == "among":
        return {"among": list(unknown.stated)}
    return dict(zip(FORMS[unknown.form], unknown.stated, strict=True))


def _writable(text: str) -> str:
    """Text with replacements for characters that UTF-8 cannot hold, as in some file names."""
    return text.encode(errors="replace").decode()


def _account(lot: SeedLot, like: SeedLot) -> tuple[str, ...]:
    """Lines with measured and borrowed values, and a caution about the mass."""

    def having(*marks: str) -> str:
        chosen = [key for key in VALUES if lot.origins[key].mark in marks]
        return ", ".join(SPOKEN.get(key, key.replace("_", " ")) for key in chosen)

    notes = [
        f"measured: {having('measured')}",
        f"borrowed from the lot {like.name}: {having('borrowed', 'assumed')}",
    ]
    if assumed := having("assumed"):
        notes.append(f"the lot {like.name} itself only assumes: {assumed}")
    ratio = lot.seed_mass / like.seed_mass
    if not 0.5 <= ratio <= 2:
        notes.append(
            f"the seeds weigh {ratio:.2g} times those of {like.name}: is that the right lot to "
            "borrow from?"
        )
    return tuple(notes)
