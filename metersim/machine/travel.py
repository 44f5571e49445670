"""The pass of a row: its speed, rate and stops in time, and how far the disc turns meanwhile.

Between two changes, the speed follows a straight line and the rate is constant.  So distance and
turning are quadratic in time, and both can be inverted.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.fields import shown
from metersim.files.typed import typed_quantity

Array = NDArray[np.float64]
STEADY, NONE = "steady", "none"
ENTRY = re.compile(r"(.+?(?:\bs|\bm|\bft)\b)\s*:?\s*(.+)", re.IGNORECASE)
LEAST_SPEED = 0.1  # m/s; a pass must not stop
MOST_ENTRIES = 200
LONGEST = {"s": 86_400.0, "m": 1e6}  # a day, and what no pass of a day exceeds
SPEEDS_LIKE = '"0 s 3 km/h, 6 s 8 km/h"'
RATES_LIKE = '"40 s 80000/ha, 120 m 95000/ha"'
OFF_LIKE = '"20 s to 24 s, 80 m to 95 m"'


def distance_in(time: Any, speed: Any, acceleration: Any) -> Any:
    """Distance travelled in a time at an even acceleration.

    Parameters
    ----------
    time : float or ndarray
        Time, 0 or more. [s]
    speed : float or ndarray
        Speed at the start. [m/s]
    acceleration : float or ndarray
        Acceleration. [m/s2]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    ``distance_in = time * (speed + acceleration * time / 2)``

    Source: kinematics.
    """
    return time * (speed + acceleration * time / 2)


def time_over(distance: Any, speed: Any, acceleration: Any) -> Any:
    """Time in which a distance is travelled at an even acceleration.

    Parameters
    ----------
    distance : float or ndarray
        Distance, 0 or more. [m]
    speed : float or ndarray
        Speed at the start, above 0. [m/s]
    acceleration : float or ndarray
        Acceleration; the speed stays above 0 up to that distance. [m/s2]

    Returns
    -------
    float or ndarray
        Time. [s]

    Notes
    -----
    ``time_over = 2 * distance / (speed + sqrt(speed^2 + 2 * acceleration * distance))``

    Source: kinematics; the inverse of `distance_in`, in a form that does not cancel.
    """
    return 2 * distance / (speed + np.sqrt(speed * speed + 2 * acceleration * distance))


def speed_in_curve(speed: Any, aside: Any, radius: Any) -> Any:
    """Speed of a row in a curve.

    Parameters
    ----------
    speed : float or ndarray
        Speed at the middle of the machine. [m/s]
    aside : float or ndarray
        Distance of the row from the middle, positive away from the curve's centre. [m]
    radius : float or ndarray
        Radius of the curve at the middle, other than 0. [m]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``speed_in_curve = speed * (1 + aside / radius)``

    Source: geometry; all rows turn about one centre.
    """
    return speed * (1 + aside / radius)


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Speed and rate along a pass, as they are typed, read and in SI.

    Attributes
    ----------
    speeds : tuple of (float, float)
        Times [s] and speeds [m/s]; straight lines between, constant before and after.
    rates : tuple of (float, str, float)
        From where on a rate holds: number, ``s`` or ``m``, and seeds on an area. [1/m2]
    off : tuple of (float, str, float, str)
        Where the row is off: from a number of ``s`` or ``m`` to another one.
    """

    speeds: tuple[tuple[float, float], ...] = ()
    rates: tuple[tuple[float, str, float], ...] = ()
    off: tuple[tuple[float, str, float, str], ...] = ()

    @property
    def steady(self) -> bool:
        """Whether nothing changes along the pass."""
        return not (self.speeds or self.rates or self.off)


def _entries(text: str) -> list[str]:
    """Entries of a list; the comma of a number such as 85,000 does not end one."""
    return [one.strip() for one in re.split(r"[;\n]|(?<!\d),|,(?!\d{3}\b)", text) if one.strip()]


def _where(word: str) -> tuple[float, str] | None:
    """A time [s] or a place [m], and which of the two it is."""
    number, unit = typed_quantity(word) or (0.0, None)
    if unit is None or unit.si not in ("s", "m") or number < 0:
        return None
    return unit.to_si(number), unit.si


def read_profile(speeds: str, rates: str, off: str) -> tuple[Profile, list[tuple[str, str]]]:
    """Profile of a pass as it is typed, and what is wrong with it, by key."""
    wrong: list[tuple[str, str]] = []
    found: dict[str, list[Any]] = {"speeds": [], "rates": [], "off": []}
    texts = (("speeds", speeds, STEADY), ("rates", rates, STEADY), ("off", off, NONE))
    likes = {"speeds": SPEEDS_LIKE, "rates": RATES_LIKE, "off": OFF_LIKE}
    for key, text, nothing in texts:
        if text.strip() == nothing:
            continue
        entries = _entries(text)
        read = [_read(key, one) for one in entries]
        bad = next((one for one, made in zip(entries, read, strict=True) if made is None), None)
        if not entries or len(entries) > MOST_ENTRIES:
            message = f"lists {len(entries)} entries; give 1 to {MOST_ENTRIES}, or {nothing!r}"
            wrong.append((key, message.replace("'", '"')))
        elif bad is not None:
            wrong.append((key, f"{shown(bad)} cannot be read; write it like {likes[key]}"))
        else:
            found[key] = read
    wrong += _contradictions(found["speeds"], found["rates"], found["off"])
    return Profile(**{key: tuple(entries) for key, entries in found.items()}), wrong


def _read(key: str, entry: str) -> Any:
    """One entry of a list, in SI; None if it cannot be read."""
    if key == "off":
        ends = [_where(word) for word in re.split(r"\bto\b", entry)]
        return (*ends[0], *ends[1]) if len(ends) == 2 and ends[0] and ends[1] else None
    parts = ENTRY.fullmatch(entry)
    where = _where(parts[1]) if parts else None
    value = typed_quantity(parts[2].replace(",", "")) if parts else None
    wanted = {"speeds": "m/s", "rates": "per m2"}[key]
    if where is None or value is None or value[1] is None or value[1].si != wanted:
        return None
    made = value[1].to_si(value[0])
    if key == "speeds":
        return (where[0], made) if where[1] == "s" else None
    return (*where, made)


def _contradictions(
    speeds: Sequence[tuple[float, float]],
    rates: Sequence[tuple[float, str, float]],
    off: Sequence[tuple[float, str, float, str]],
) -> list[tuple[str, str]]:
    wrong = []
    ends = {
        "speeds": [(time, "s") for time, _ in speeds],
        "rates": [one[:2] for one in rates],
        "off": [end for one in off for end in (one[:2], one[2:])],
    }
    for key, ones in ends.items():
        if far := [one for one in ones if not one[0] <= LONGEST[one[1]]]:
            number, unit = far[0]
            message = (
                f"{number:,.6g} {unit} lies behind any pass; give at most {LONGEST[unit]:,.0f}"
            )
            wrong.append((key, f"{message} {unit}"))
    if any(later[0] <= before[0] for before, later in pairwise(speeds)):
        wrong.append(("speeds", "times must grow from entry to entry"))
    if slow := [one for one in speeds if not LEAST_SPEED <= one[1] <= 30 / 3.6]:
        time, speed = slow[0]
        stops = "the pass stops" if speed < LEAST_SPEED else "that is too fast"
        message = f"{speed * 3.6:.3g} km/h at {time:.4g} s: {stops}; give 0.36 to 30 km/h"
        wrong.append(("speeds", message))
    if odd := [one for one in rates if not 0.2 <= one[2] <= 1000]:
        message = f"{odd[0][2] * 1e4:.4g} per ha is not allowed; give 2000 to 10,000,000"
        wrong.append(("rates", message))
    for start, unit, end, other in off:
        if unit == other and end <= start:
            wrong.append(("off", f"{start:.4g} {unit} to {end:.4g} {unit} ends before it begins"))
    return wrong


def _piece_of(begins: Array, values: Any) -> NDArray[np.int64]:
    """Number of the last piece that begins at or before each value; 0 before the first."""
    pieces: NDArray[np.int64] = np.maximum(np.searchsorted(begins, values, side="right") - 1, 0)
    return pieces


@dataclass(frozen=True, eq=False)
class Way:
    """A pass in pieces: straight lines of speed, at one rate each; the last piece has no end.

    Two ways are equal if all their pieces are.

    Attributes
    ----------
    start : ndarray, shape (pieces,)
        Time at which each piece begins; the first begins at 0. [s]
    speed, gain : ndarray, shape (pieces,)
        Speed at that time, and acceleration. [m/s], [m/s2]
    part : ndarray, shape (pieces,)
        Rate over the usual rate; 0 where the row is off. [1]
    usual : float
        Speed at which the drive turns at its nominal speed. [m/s]
    spacing : float
        Nominal spacing at the usual rate. [m]
    """

    start: Array
    speed: Array
    gain: Array
    part: Array
    usual: float
    spacing: float

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Way):
            return NotImplemented
        return all(np.array_equal(mine, getattr(other, key)) for key, mine in self._stated.items())

    def __hash__(self) -> int:
        return hash((self.usual, self.spacing, len(self.start)))

    @property
    def _stated(self) -> dict[str, Any]:
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @cached_property
    def _length(self) -> Array:
        steps = np.diff(self.start)
        return np.asarray(distance_in(steps, self.speed[:-1], self.gain[:-1]))

    @cached_property
    def places(self) -> Array:
        """Distance at which each piece begins. [m]"""
        return np.concatenate(([0.0], np.cumsum(self._length)))

    @cached_property
    def _turned(self) -> Array:
        """Nominal time of the drive at which each piece begins. [s]"""
        return np.concatenate(([0.0], np.cumsum(self._length * self.part[:-1]))) / self.usual

    @cached_property
    def fastest(self) -> tuple[float, float]:
        """Greatest speed [m/s], and greatest speed of the disc over its nominal speed [1]."""
        ends = self.speed[:-1] + self.gain[:-1] * np.diff(self.start)
        speeds = np.concatenate((self.speed, ends))
        turning = speeds * np.concatenate((self.part, self.part[:-1])) / self.usual
        return float(speeds.max()), float(turning.max())

    def _piece(self, times: Any) -> NDArray[np.int64]:
        return _piece_of(self.start, times)

    def speed_at(self, time: Any) -> Any:
        """Speed at a time [s]. [m/s]"""
        k = self._piece(time)
        return self.speed[k] + self.gain[k] * (time - self.start[k])

    def distance_at(self, time: Any) -> Any:
        """Distance travelled up to a time [s]. [m]"""
        k = self._piece(time)
        return self.places[k] + distance_in(time - self.start[k], self.speed[k], self.gain[k])

    def time_at(self, distance: Any) -> Any:
        """Time at which a distance [m], 0 or more, has been travelled. [s]"""
        k = _piece_of(self.places, distance)
        return self.start[k] + time_over(distance - self.places[k], self.speed[k], self.gain[k])

    def part_at(self, time: Any) -> Any:
        """Rate over the usual rate at a time [s]; 0 where the row is off. [1]"""
        return self.part[self._piece(time)]

    def turning_at(self, time: Any) -> Any:
        """Speed of the disc over its nominal speed at a time [s]. [1]"""
        return self.part_at(time) * self.speed_at(time) / self.usual

    def time_of(self, turned: Any) -> Any:
        """Time at which the drive has turned as far as in a nominal time [s]. [s]

        A drive that is off waits; a point that it reaches just then is passed afterwards.
        """
        k = _piece_of(self._turned, turned)
        left = (turned - self._turned[k]) * self.usual / self.part[k]
        return self.start[k] + time_over(left, self.speed[k], self.gain[k])

    def planned(self, position: Any) -> Any:
        """Seeds that are meant to lie between the start and a position [m]; not below 0. [1]"""
        k = _piece_of(self.places, position)
        further = (position - self.places[k]) * self.part[k]
        return (self._turned[k] * self.usual + further) / self.spacing


def way_of(profile: Profile, speed: float, rate: float, spacing: float) -> Way:
    """The pass of a row.

    Parameters
    ----------
    profile : Profile
        What changes along the pass.
    speed, rate, spacing : float
        Usual speed [m/s], seeds on an area [1/m2] and nominal spacing [m], for which the drive is
        made.

    Raises
    ------
    ValueError
        If the row is off without end.
    """
    knots = profile.speeds or ((0.0, speed),)
    times = np.array([0.0, *(time for time, _ in knots if time > 0)])
    wanted = np.interp(times, *np.transpose(knots))
    plain = _by_speeds(times, wanted, speed, spacing)

    def when(number: float, unit: str) -> float:
        return number if unit == "s" else float(plain.time_at(number))

    rates = sorted((when(number, unit), to) for number, unit, to in profile.rates)
    off = [(when(a, u), when(b, w)) for a, u, b, w in profile.off]
    if reversed_ := [one for one in off if one[1] <= one[0]]:
        a, u, b, w = profile.off[off.index(reversed_[0])]
        raise ValueError(f"{a:.4g} {u} to {b:.4g} {w}")
    starts = np.unique([*times, *(time for time, _ in rates), *(t for pair in off for t in pair)])
    since = np.searchsorted([time for time, _ in rates], starts, side="right") - 1
    held = np.array([rate, *(to for _, to in rates)])[since + 1]
    is_off = np.zeros(len(starts), dtype=bool)
    for begin, end in off:
        is_off |= (starts >= begin) & (starts < end)
    k = plain._piece(starts)
    return Way(
        start=starts,
        speed=np.asarray(plain.speed_at(starts)),
        gain=plain.gain[k],
        part=np.where(is_off, 0.0, held / rate),
        usual=speed,
        spacing=spacing,
    )


def _by_speeds(times: Array, wanted: Array, usual: float, spacing: float) -> Way:
    """A pass at the usual rate, from speeds at times."""
    gain = np.append(np.diff(wanted) / np.diff(times), 0.0) if len(times) > 1 else np.zeros(1)
    return Way(times, wanted, gain, np.ones(len(times)), usual, spacing)
