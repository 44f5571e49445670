"""The steps of a run by machine code, with the columns of the arrays."""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Parameter, bad
from metersim.machine.conveyor import ConveyorStation
from metersim.machine.losses import BLOCKED, PLUGGED, SEEDED, TAKING
from metersim.machine.moment import Moment
from metersim.machine.pickup import PickupStation
from metersim.machine.release import ReleaseStation
from metersim.machine.rowunit import RowUnitStation
from metersim.machine.singulator import SingulatorStation
from metersim.machine.stations import Stations
from metersim.machine.tube import TubeStation
from metersim.run.arrays.descent import Falls
from metersim.run.arrays.fates import Fates
from metersim.run.arrays.filling import Filled, Limits, Start, Whole, fill_ticks
from metersim.run.arrays.picking import Block, CellChances, Crowd, Picked
from metersim.run.arrays.steps import Steps
from metersim.run.arrays.stretch import Released, Stretch
from metersim.run.compiled.fall import FallColumns, fall_seeds, move
from metersim.run.compiled.following import FollowColumns, Way, follow_cells
from metersim.run.compiled.picking import PickColumns, pick_cells
from metersim.run.compiled.translate import Translated
from metersim.run.draws import MOST_SEEDS, Array, BlockDraws

ENGINE, COMPILED = Parameter("engine"), "compiled"
KINDS: dict[str, tuple[type, ...]] = {
    "pickup": (PickupStation,),
    "singulator": (SingulatorStation,),
    "release": (ReleaseStation,),
    "tube": (TubeStation, ConveyorStation),
    "row_unit": (RowUnitStation,),
}
"""Stations whose methods are compiled; all others are asked as by the arrays."""
CAUSES = {
    cause.replace(" ", "_"): cause
    for cause in (
        "contact", "edge", "grip", "heap", "launch", "meeting", "pair direction", "part",
        "pose", "seat", "size", "tooth", "wall",
    )
}  # fmt: skip
AT = np.dtype([("speed", np.float64)])  # what the usual stations read of a moment
IN_CROWD = np.dtype(
    [(name, np.intp if name in ("cells", "nth") else np.float64) for name in Crowd._fields],
    align=True,
)
NO_CELLS = np.empty(0, dtype=np.int64)
NO_KNOTS = np.empty(0, dtype=np.intp)


class Kernels(NamedTuple):
    """The compiled functions for stations of some kinds."""

    fill: Any
    pick: Any
    follow: Any
    fall: Any
    move: Any
    record_of: Any


@cache
def kernels(kinds: tuple[type, ...]) -> Kernels:
    """The compiled functions, for kinds of stations in the order of `KINDS`."""
    made = Translated({named[0]: kind for named, kind in zip(KINDS.values(), kinds, strict=True)})
    return Kernels(
        made.kernel(fill_ticks),
        made.kernel(pick_cells),
        made.kernel(follow_cells),
        made.kernel(fall_seeds),
        made.kernel(move),
        made.record_of,
    )


class CompiledSteps:
    """The steps of a run for stations, by machine code.

    Parameters
    ----------
    stations : Stations
        Usual stations, but for those of which only the arrays ask.
    """

    def __init__(self, stations: Stations) -> None:
        given = {name: getattr(stations, name) for name in KINDS}
        self._run = kernels(tuple(map(type, given.values())))
        self._values = {name: self._run.record_of(one) for name, one in given.items()}

    def _key(self, draws: BlockDraws) -> Any:
        """Keys of the causes of draws, as a record."""
        keys = np.zeros((), dtype=[(name, np.uint64) for name in CAUSES])
        for name, cause in CAUSES.items():
            keys[name] = draws.key(cause)
        return keys[()]

    def fill(self, gained: Whole, limits: Limits, start: Start) -> Filled:
        """Do what `metersim.run.arrays.filling.fill` does."""
        many = len(gained)
        pool, hopper, spilt = np.empty((3, many), dtype=np.int64)
        made = Filled(pool, hopper, np.empty(many, dtype=bool), spilt)
        self._run.fill(np.diff(gained, prepend=0), limits, start, made)
        return made

    def pick(self, block: Block, start: int, stop: int, chances: CellChances) -> Picked:
        """Do what `metersim.run.arrays.picking.pick` does."""
        draws, many = block.draws, stop - start
        drawn = PickColumns(
            draws.meeting,
            draws.lie,
            draws.grip,
            draws.size,
            draws.seat,
            draws.second,
            block.size,
            block.need,
            block.shape,
        )
        joined = np.zeros(many, dtype=np.int8)
        reason = np.full(many, SEEDED, dtype=np.int8)
        for cells, code in ((block.blocked, BLOCKED), (block.plugged, PLUGGED)):
            reason[cells[(cells >= start) & (cells < stop)] - start] = code
        firsts = size, needed, narrow = np.empty(many), np.empty(many), np.empty(many)
        crowd = np.empty(MOST_SEEDS * many, dtype=IN_CROWD)
        seeds = self._run.pick(
            self._values["pickup"],
            drawn,
            chances.rows,
            (draws.first, start),
            self._key(draws),
            joined,
            reason,
            firsts,
            crowd,
        )
        columns: Any = crowd[:seeds].view(np.recarray)  # it has the columns of a crowd
        return Picked(joined, reason, size, needed, narrow, columns)

    def fates(self, stretch: Stretch, picked: Picked, most: Whole | None) -> Fates:
        """Do what `metersim.run.arrays.fates.fates` does."""
        block, shocks, many = stretch.block, stretch.shocks, len(picked.joined)
        draws, crowd = block.draws, np.asarray(picked.crowd).view(IN_CROWD)
        values = self._values
        knots = NO_KNOTS, NO_KNOTS
        if not block.stations.row_unit.still:
            knots = shocks.spans(np.arange(stretch.start, stretch.stop))
        joined, reason = picked.joined.copy(), picked.reason.copy()
        most_seeds = many + len(crowd)
        lost = np.empty((len(TAKING), most_seeds), dtype=np.intp)
        whole, real = np.empty((2, most_seeds), dtype=np.intp), np.empty((3, most_seeds))
        released = Released(*whole, *real)
        *gone, left = self._run.follow(
            values["pickup"],
            values["singulator"],
            values["release"],
            values["row_unit"],
            FollowColumns(draws.pose, draws.edge, block.shape, block.across),
            stretch.chances.rows,
            (draws.first, stretch.start, block.least_deviate, block.low_deviate),
            self._key(draws),
            Way(
                stretch.vacuum_at_edge,
                stretch.vacuum_at_cut,
                _moments(stretch.at_edge, many),
                *knots,
            ),
            (shocks.size, shocks.bound),
            (picked.size, picked.needed, picked.narrow),
            crowd,
            NO_CELLS if most is None else most,
            (joined, reason, lost),
            released,
        )
        taken = tuple(cells[:some] for cells, some in zip(lost, gone, strict=True))
        return Fates(joined, reason, taken, released.some(slice(left)))

    def fall(self, block: Block, seeds: Released, speed: Array, at: Moment) -> Falls:
        """Do what `metersim.run.arrays.descent.fall` does."""
        draws, many, tube = block.draws, len(seeds.cells), block.stations.tube
        means = _each(tube.contacts(speed, at), many)
        made = Falls(
            time_to_beam=np.empty(many),
            time=np.empty(many),
            speed_at_beam=np.empty(many),
            speed=np.empty(many),
            contacts=np.empty(many, dtype=np.int8),
            aside=np.empty(many),
            astray=np.empty(many),
        )
        self._run.fall(
            self._values["tube"],
            self._values["release"],
            FallColumns(block.along, draws.contact, draws.launch),
            (seeds.cells, seeds.nth, seeds.size, _each(speed, many), means),
            (draws.first, block.stations.sensor.height),
            self._key(draws),
            made,
        )
        return made

    def motion(self, time: Array, first_knot: int, size: Array, phase: Array) -> Array:
        """Do what `metersim.run.arrays.stretch.motion_at` does."""
        made = np.empty(len(time))
        self._run.move(time, first_knot, size, phase, made)
        return made


def _each(value: Any, many: int) -> Array:
    """A column of numbers, one for each; one number may be given for all."""
    column = np.asarray(value, dtype=float)
    return column if column.shape == (many,) else np.full(many, column)


def _moments(at: Moment, many: int) -> NDArray[Any]:
    return _each(at.speed, many).view(AT)


def compiled_steps(stations: Stations) -> Steps:
    """The steps of a run, compiled for these stations.

    Raises
    ------
    BadInput
        Without numba, and for own stations whose methods the compiled functions would call.
    """
    try:
        import numba  # noqa: F401
    except ImportError as error:  # it may be there and not work with this numpy
        told = f"needs numba: pip install 'metersim[fast]' ({error})"
        raise bad(ENGINE, COMPILED, told) from None
    for name, kinds in KINDS.items():
        if (kind := type(getattr(stations, name))) not in kinds:
            what = f"cannot compile {kind.__qualname__}, the own station '{name}'"
            raise bad(ENGINE, COMPILED, f"{what}; give arrays")
    made = CompiledSteps(stations)
    return Steps(made.fill, made.pick, made.fates, made.fall, made.motion)
