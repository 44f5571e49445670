"""Seed lots as sourced data, and the reading of lot files.

A lot file has a title, a crop, a table of values and a table with the origin of each value.
Shipped lots lie in ``metersim/data/seedlots``.  Users' own lots have the same form.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.fields import Checked, Spec, number, read_section, shown, specs, text
from metersim.files.units import STANDARD_GRAVITY
from metersim.files.unknown import Unknown, read_unknown
from metersim.files.whole import read_whole
from metersim.machine.sections import Seed
from metersim.machine.sources import SOURCES

LOT_NAMES = {  # usual names of shipped lots
    "beets": "sugar_beet_pelleted",
    "corn": "maize_large_flat",
    "maize": "maize_large_flat",
    "milo": "sorghum",
    "rapeseed": "canola",
    "soybeans": "soybean",
    "sugar_beets": "sugar_beet_pelleted",
    "sunflowers": "sunflower",
}
CROP_NAMES = {  # usual names of crops
    "beets": "sugar beet",
    "corn": "maize",
    "milo": "sorghum",
    "rapeseed": "canola",
    "soybeans": "soybean",
    "sugar beets": "sugar beet",
    "sunflowers": "sunflower",
}
SHIPPED = Path(__file__).parents[1] / "data" / "seedlots"
MARKS = {
    "read": "seen in the source's text",
    "memory": "from general knowledge of the trade, not looked up",
    "derived": "arithmetic from values of the same source",
    "measured": "measured by the user on this lot",
    "borrowed": "taken from another lot or another source than the rest",
    "assumed": "an assumption, because no source was found",
}
MAX_DRAG_COEFFICIENT = 2.0
MAX_MASS_RATIO = 2.0
AIR_DENSITY = 1.2  # kg/m3, dry air at 20 degC and 101 kPa, rounded


@dataclass(frozen=True)
class Origin:
    """Origin of a value of a lot.

    Attributes
    ----------
    mark : str
        One of `MARKS`.
    source : str
        Key of `metersim.machine.sources.SOURCES`, or empty.
    note : str
        Other facts that a reader should know.
    """

    mark: str
    source: str = ""
    note: str = ""

    def __str__(self) -> str:
        return " ".join(part for part in (self.mark, self.source, self.note) if part)


@dataclass(frozen=True, kw_only=True)
class SeedLot(Checked):
    """One lot of seed.

    Masses and dimensions are those of the mean seed.  The linear size of seeds is lognormal
    with coefficient of variation `size_cv`, and mass goes with its cube.  `size_cvs` is its range
    where a lot file gives one; then `size_cv` is the middle.  `shape_cv` is the SD of the logarithm
    of length over width.
    """

    title: str = text("what the lot is, for people")
    crop: str = text("crop, such as maize")
    length: float = number("mm in", 0.3, 40, "longest dimension of the mean seed")
    width: float = number("mm in", 0.3, 30, "middle dimension of the mean seed")
    thickness: float = number("mm in", 0.2, 30, "shortest dimension of the mean seed")
    seed_mass: float = number("mg g grain", 0.1, 3000, "mass of the mean seed")
    kernel_density: float = number("kg_m3 lb_ft3", 300, 2000, "density of the seed itself")
    bulk_density: float = number("kg_m3 lb_bu", 100, 1200, "density of a heap of seed")
    repose_angle: float = number("deg", 10, 55, "slope of a poured heap")
    terminal_velocity: float = number("m_s ft_s", 0.5, 20, "speed of steady fall in still air")
    size_cv: float = number("percent", 0, 40, "spread of linear size, SD over mean")
    pose_sd: float = number("deg", 0, 60, "SD of the angle between a held seed and the track")
    shape_cv: float = number(
        "percent", 0, 40, "spread of shape, SD of ln(length/width)", default=6.0
    )
    name: str = "unnamed"
    size_cvs: Unknown | None = None
    origins: Mapping[str, Origin] = dataclasses.field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        super().__post_init__()
        faults = [Fault(self.name, key, message) for key, message in self._contradictions()]
        if faults:
            raise BadInput(faults)

    def _contradictions(self) -> list[tuple[str, str]]:
        found = []
        if not self.length >= self.width >= self.thickness:
            found.append(("length", "length, width and thickness must not increase in that order"))
        ratio = self.seed_mass / self.geometric_mass
        if not 1 / MAX_MASS_RATIO <= ratio <= MAX_MASS_RATIO:
            found.append(
                (
                    "seed_mass",
                    f"{self.seed_mass * 1e6:.4g} mg is {ratio:.2f} times what dimensions and "
                    f"density give ({self.geometric_mass * 1e6:.4g} mg); allowed is 0.5 to 2: "
                    "check mass, dimensions and kernel density",
                )
            )
        if self.drag_coefficient > MAX_DRAG_COEFFICIENT:
            found.append(
                (
                    "terminal_velocity",
                    f"{self.terminal_velocity:.4g} m/s would need a drag coefficient of "
                    f"{self.drag_coefficient:.2f}; allowed is up to {MAX_DRAG_COEFFICIENT:g}: "
                    "the velocity is too low for this mass and size",
                )
            )
        if self.bulk_density >= self.kernel_density:
            found.append(
                (
                    "bulk_density",
                    f"{self.bulk_density:.4g} kg/m3 is not below the kernel density "
                    f"{self.kernel_density:.4g} kg/m3",
                )
            )
        return found

    @property
    def gmd(self) -> float:
        """Geometric mean diameter. [m]"""
        return float((self.length * self.width * self.thickness) ** (1 / 3))

    @property
    def sphericity(self) -> float:
        """Geometric mean diameter over length. [1]"""
        return self.gmd / self.length

    @property
    def geometric_mass(self) -> float:
        """Mass of an ellipsoid of these dimensions and this kernel density. [kg]"""
        volume = math.pi / 6 * self.length * self.width * self.thickness
        return self.kernel_density * volume

    @property
    def drag_coefficient(self) -> float:
        """Drag coefficient that the terminal velocity implies, on the area pi L W/4. [1]"""
        area = math.pi * self.length * self.width / 4
        return (
            2 * self.seed_mass * STANDARD_GRAVITY / (AIR_DENSITY * area * self.terminal_velocity**2)
        )

    @cached_property
    def assumed_share(self) -> float:
        """Share of the values that are assumptions. [1]"""
        marks = [origin.mark for origin in self.origins.values()]
        return marks.count("assumed") / len(marks) if marks else 1.0

    @property
    def illustrative(self) -> bool:
        """Whether over half of the values are assumed."""
        return self.assumed_share > 0.5

    def scaled(self, size_factor: float = 1.0, size_cv: float | None = None) -> SeedLot:
        """The same lot with every linear size times `size_factor`, or another spread.

        Mass goes with the cube of size, terminal velocity with its root (same drag
        coefficient).
        """
        return dataclasses.replace(
            self,
            length=self.length * size_factor,
            width=self.width * size_factor,
            thickness=self.thickness * size_factor,
            seed_mass=self.seed_mass * size_factor**3,
            terminal_velocity=self.terminal_velocity * math.sqrt(size_factor),
            size_cv=self.size_cv if size_cv is None else size_cv,
            size_cvs=self.size_cvs if size_cv is None else None,
        )


VALUES = {name: spec for name, spec in specs(SeedLot).items() if spec.kind == "number"}


def shipped_lots() -> dict[str, Path]:
    """Files of the shipped lots by name."""
    return {path.stem: path for path in sorted(SHIPPED.glob("*.toml"))}


def usual_crop(name: str) -> str:
    """The crop that a usual name means, such as maize for corn; other names as they are."""
    return CROP_NAMES.get(name.casefold(), name)


def load_lot(name: str | Path, beside: Path | None = None) -> SeedLot:
    """Read a shipped lot by name, or a lot file by path.

    Parameters
    ----------
    name : str or Path
        Name of a shipped lot or one of `LOT_NAMES`, or a path that ends in ``.toml``.
    beside : Path, optional
        Folder that relative paths start from; the working directory by default.

    Raises
    ------
    BadInput
        With every fault of the file.

    Examples
    --------
    >>> import metersim as m
    >>> lot = m.load_lot("maize_large_flat")
    >>> f"{lot.crop}, {lot.seed_mass * 1e6:.0f} mg, {lot.width * 1e3:.1f} mm wide"
    'maize, 261 mg, 7.3 mm wide'
    """
    name = str(name)
    if not name.lower().endswith(".toml"):
        lots = shipped_lots()
        shipped = name if name in lots else LOT_NAMES.get(name.casefold(), "")
        if not shipped:
            known = (*lots, *LOT_NAMES)
            raise bad("seed lot", name, f"no such shipped lot; {hint(name.casefold(), known)}")
        return read_lot(lots[shipped])
    return read_lot((beside or Path()) / name)


def read_lot(path: Path) -> SeedLot:
    """Read a lot file; raises `BadInput` with every fault found."""
    return parse_lot(read_toml(path), str(path), path.stem)


MOST_TOML = 2**20  # bytes of a TOML file; a meter file has some 50,000


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file, with unreadable files and bad syntax as `BadInput`."""
    try:
        if path.is_fifo():
            raise bad(str(path), "", "is a pipe; give a file")
        content = read_whole(path, MOST_TOML)
    except (OSError, ValueError) as error:  # a name with a null byte is a ValueError
        said = getattr(error, "strerror", None) or error
        raise bad(str(path), "", f"cannot be read: {said}") from None
    return parse_toml(content, str(path))


def parse_toml(content: bytes, where: str) -> dict[str, Any]:
    """The table of a TOML file, with bad syntax as `BadInput`; `where` names the file."""
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except RecursionError:
        message = "has tables or lists nested too deep; nest them four deep at most"
        raise bad(where, "", message) from None
    except (tomllib.TOMLDecodeError, ValueError) as error:
        form = "the decimal mark is a point, and texts stand in quotes"
        raise bad(where, "", f"is not valid TOML: {error}; {form}") from None


def parse_lot(table: Mapping[str, Any], where: str, name: str) -> SeedLot:
    """Make a lot of a parsed file; raises `BadInput` with every fault found."""
    faults = [
        Fault(where, key, f"unknown key; {hint(key, LOT_KEYS)}")
        for key in table
        if key not in LOT_KEYS
    ]
    head: dict[str, Any] = {}
    for key in ("title", "crop"):
        value = table.get(key)
        if not isinstance(value, str) or not value:
            faults.append(Fault(where, key, "missing or not a text; give a text in quotes"))
        else:
            head[key] = value
    values = table.get("values", {})
    origins = table.get("origin", {})
    for key, part in (("values", values), ("origin", origins)):
        if not isinstance(part, dict):
            faults.append(Fault(where, key, f"must be a table, [{key}]"))
    arguments: dict[str, Any] = {}
    if isinstance(values, dict):
        arguments, value_faults = read_section(VALUES, values, where, "values", _range)
        faults += value_faults
        if isinstance(spread := arguments.get("size_cv"), Unknown):
            arguments |= {"size_cv": spread.middle, "size_cvs": spread}
    marked: dict[str, Origin] = {}
    if isinstance(origins, dict):
        marked, origin_faults = _read_origins(origins, where, stated=arguments)
        faults += origin_faults
    if faults:
        raise BadInput(faults)
    try:
        head["crop"] = usual_crop(head["crop"])
        return SeedLot(**head, **arguments, name=name, origins=marked)
    except BadInput as error:
        raise BadInput(
            Fault(where, f"values.{fault.key}", fault.message) for fault in error.faults
        ) from None


LOT_KEYS = ("title", "crop", "values", "origin")


def _range(spec: Spec, key: str, table: Mapping[str, Any]) -> Unknown:
    """A range in place of the spread of size, as an uncertain input of a scenario."""
    if spec.name != "size_cv":
        raise bad("", key, f"{shown(dict(table))} is not allowed; give {spec.allowed()}")
    return read_unknown("seed", specs(Seed)["size_cv"], key, table)


def _read_origins(
    table: Mapping[str, Any], where: str, stated: Mapping[str, Any]
) -> tuple[dict[str, Origin], list[Fault]]:
    """Origins of the values, and faults; a value that may be left out needs one if `stated`."""
    marked: dict[str, Origin] = {}
    faults = []
    for key, value in table.items():
        path = f"origin.{key}"
        if key not in VALUES:
            faults.append(Fault(where, path, f"unknown value; {hint(key, VALUES)}"))
        elif not isinstance(value, str) or value.split(" ")[0] not in MARKS:
            faults.append(
                Fault(where, path, f"must be a text that starts with one of {', '.join(MARKS)}")
            )
        else:
            mark, _, rest = value.partition(" ")
            source, _, note = rest.partition(" ")
            if source not in SOURCES:
                if difflib.get_close_matches(source, SOURCES, cutoff=0.85):
                    faults.append(Fault(where, path, f"unknown source; {hint(source, SOURCES)}"))
                source, note = "", rest
            marked[key] = Origin(mark, source, note)
    faults += [
        Fault(
            where,
            f"origin.{name}",
            "missing; say where the value comes from: "
            f"a text that starts with one of {', '.join(MARKS)}",
        )
        for name, spec in VALUES.items()
        if name not in table and (spec.required or name in stated)
    ]
    return marked, faults


SIZES = "seed__size_cv"


def with_sizes(unknown: Iterable[Unknown], seed: Seed, lot: SeedLot) -> list[Unknown]:
    """Uncertain inputs, and the lot's range of size spreads where nothing else states the spread.

    Parameters
    ----------
    unknown : iterable of Unknown
        Uncertain inputs that the scenario states, in the order of sections.
    seed : Seed
        Seed section, which may state a spread.
    lot : SeedLot
        Lot of that section.
    """
    found = list(unknown)
    stated = seed.size_cv is not None or any(one.field == SIZES for one in found)
    return found if stated or lot.size_cvs is None else [lot.size_cvs, *found]
