"""Own stations that go by the time, the speed of the holes and the level of the pool."""

import numpy as np
import pytest

from metersim.machine.furrow import FurrowStation
from metersim.machine.gate import GateStation
from metersim.machine.moment import Moment
from metersim.machine.own import check_own, like
from metersim.machine.pickup import PickupStation
from metersim.machine.release import ReleaseStation
from metersim.machine.sensor import SensorStation
from metersim.machine.singulator import SingulatorStation
from metersim.machine.stations import stations_of
from metersim.machine.tube import TubeStation
from metersim.run.simulation import ARRAYS, EVENTS, simulate
from tests.strategies import BENCH, unlike


class FastEdge(SingulatorStation):
    """Pushes seeds further on a disc that has come up to speed."""

    def deviate(self, reach, outward, share, vacuum_ratio, at):
        """The faster, the higher."""
        return super().deviate(reach, outward, share, vacuum_ratio, at) + 4 * at.speed


class TouchyEdge(SingulatorStation):
    """Reaches further on seeds that lie outside and hold on a small part of the hole."""

    def reach(self, length, narrow, pose_draw):
        """A tenth further than usual."""
        return 1.1 * super().reach(length, narrow, pose_draw)

    def deviate(self, reach, outward, share, vacuum_ratio, at):
        """By the side and the share."""
        usual = super().deviate(reach, outward, share, vacuum_ratio, at)
        return usual + 300 * outward - share + at.level


class ClosingGate(GateStation):
    """Closes slowly."""

    def opened(self, at):
        """A little less every second."""
        return self.opening * np.exp(-at.time / 60)


class HastyGate(GateStation):
    """Clears its arches the sooner, and flows the slower, the faster the disc turns."""

    def clearing_rate(self, at):
        """By the speed of the holes."""
        return 10 * at.speed

    def flow(self, at):
        """By the time."""
        return super().flow(at) / (1 + at.time)


class FadingSensor(SensorStation):
    """Gets dusty."""

    def detects(self, at):
        """Half of the seeds after a minute or so."""
        return np.exp(-at.time / 90)

    def pulse(self, size, speed, at):
        """Longer in a low pool, as dust rises."""
        return super().pulse(size, speed, at) * (1 + 1e-3 / at.level)


class WearingTube(TubeStation):
    """Gets rough."""

    def contacts(self, speed, at):
        """More every second, and the more the fuller the pool is."""
        return super().contacts(speed, at) * (1 + at.time / 30 + 10 * at.level)


class ShallowPickup(PickupStation):
    """Draws seeds from a deep pool alone, and tires."""

    def chances(self, vacuum, at):
        """By the level, the speed and the time."""
        usual = super().chances(vacuum, at)
        part = np.minimum(at.level / 0.04, 1.0) * np.exp(-at.time / 100) * (1 - at.speed)
        return usual._replace(rate=usual.rate * part)


class LeakyPickup(PickupStation):
    """Has holes that leak in turn, loses seeds with time, and holds better outside the pool."""

    def at_hole(self, vacuum, deviate, turn, hole):
        """Half of the disc leaks."""
        return super().at_hole(vacuum, deviate, turn, hole) * (1 - 0.2 * (np.sin(6 * turn) > 0))

    def zone_at(self, level):
        """A little less."""
        return 0.9 * super().zone_at(level)

    def later(self, chances, width):
        """Twice as many."""
        return 2 * super().later(chances, width)

    def chances(self, vacuum, at):
        """By the time; knocks see another vacuum than the edge."""
        usual = super().chances(vacuum, at)
        loss = usual.loss * (1 + at.time / 50)
        return usual._replace(loss=loss, knocks=usual.knocks + 0.02, vacuum=1.1 * usual.vacuum)


class LateRelease(ReleaseStation):
    """Lets go later, and later still of second seeds."""

    def travel(self, share, at):
        """By the speed."""
        return super().travel(share, at) + 0.01 * at.speed

    def lag(self, size, at):
        """By the time and the level."""
        return super().lag(size, at) * (1 + at.time / 100 + at.level)


class DryingFurrow(FurrowStation):
    """Gets harder."""

    def hop_time(self, draw, impact_speed, at):
        """Longer every second, and by what the cell saw."""
        hardness = 1 + at.time / 30 + at.level + at.speed
        return super().hop_time(draw, impact_speed, at) * hardness


OWN = {
    "singulator": FastEdge,
    "gate": ClosingGate,
    "hasty gate": HastyGate,
    "sensor": FadingSensor,
    "tube": WearingTube,
    "pickup": ShallowPickup,
    "leaky pickup": LeakyPickup,
    "touchy singulator": TouchyEdge,
    "release": LateRelease,
    "furrow": DryingFurrow,
}
MACHINES = {
    "ramp": {"drive__start_ramp": 20.0, "singulator__notch": 2.0},
    "low gate": {"pool__gate_opening": 0.0125, "run__tick": 0.1},
    "crowded": {"disc__hole_diameter": 5.4e-3, "singulator__notch": -2.0},
}
BOTH = EVENTS, ARRAYS
FIELD = {"furrow__surface": "field", "run__turns": 20}


@pytest.mark.study
@pytest.mark.parametrize(
    "machine",
    [
        pytest.param(one, id=name, marks=[pytest.mark.slow] * (name == "crowded"))
        for name, one in MACHINES.items()
    ],
)
@pytest.mark.parametrize("name", OWN)
def test_both_engines_honour_an_own_station(name, machine, monkeypatch):
    """The same records by both engines, also across borders of blocks, and not the usual ones."""
    scenario = BENCH.replace(**FIELD | machine)
    station = name.split()[-1]
    own = like(OWN[name], getattr(stations_of(scenario), station))
    events, arrays = (simulate(scenario, stations={station: own}, engine=e) for e in BOTH)
    assert unlike(events, arrays) == []
    if name != "hasty gate" or arrays.ticks.arched.any():
        assert unlike(arrays, simulate(scenario))
    for module in ("draws", "records", "arrays.engine", "arrays.stretch", "arrays.supply"):
        monkeypatch.setattr(f"metersim.run.{module}.BLOCK", 80)
    other_blocks = [simulate(scenario, stations={station: own}, engine=e) for e in BOTH]
    assert unlike(*other_blocks) == []


def test_all_own_stations_at_once():
    scenario = BENCH.replace(**FIELD | MACHINES["ramp"])
    usual = stations_of(scenario)
    own = {name: like(kind, getattr(usual, name)) for name, kind in OWN.items() if " " not in name}
    assert unlike(*(simulate(scenario, stations=own, engine=engine) for engine in BOTH)) == []


def test_the_opening_of_a_gate_decides_all_that_it_does():
    usual = stations_of(BENCH).gate
    own, later = like(ClosingGate, usual), Moment("gate", time=60.0)
    for method in ("full", "flow", "arch_rate"):
        assert getattr(own, method)(Moment("gate", time=0.0)) == getattr(usual, method)(later)
    assert own.full(later) < usual.full(later)
    assert own.flow(later) < usual.flow(later)
    assert own.arch_rate(later) > usual.arch_rate(later)


# ---------------------------------------------------------------- moments


def test_a_moment_is_worked_out_only_when_somebody_asks_and_once():
    asked = []

    def level():
        asked.append("level")
        return np.array([0.01, 0.02, 0.03])

    at = Moment("tube", time=np.arange(3.0), level=level)
    some = at.rows([2, 0])
    assert asked == []
    assert some.level.tolist() == [0.03, 0.01]
    assert some.time.tolist() == [2.0, 0.0]
    assert at.level is at.level
    assert asked == ["level"]


@pytest.mark.parametrize("engine", BOTH)
def test_what_is_not_known_at_a_station_is_said(engine, monkeypatch):
    """A gate that asks for the level, which it makes itself."""

    class Asking(GateStation):
        """Asks for the level."""

        def flow(self, at):
            """By the level."""
            return at.level

    own = like(Asking, stations_of(BENCH).gate)
    with pytest.raises(ValueError, match="level of the pool is not known at the gate: the gate ma"):
        simulate(BENCH, stations={"gate": own}, engine=engine)
    monkeypatch.setattr(
        "metersim.run.simulation.check_own", lambda _: None
    )  # nor in the run itself
    with pytest.raises(ValueError, match="level of the pool is not known at the gate: the gate ma"):
        simulate(BENCH, stations={"gate": own}, engine=engine)


# ---------------------------------------------------------------- the contract


def contacts_that(give):
    """A tube whose contacts are these."""
    kind = type("OwnTube", (TubeStation,), {"contacts": give})
    return like(kind, stations_of(BENCH).tube)


BAD = {
    "one speed for all": (
        lambda self, speed, at: np.array([1.0]) + 0 * np.max(speed),
        r"gives array\(\[1.\]\) for a",
    ),
    "a sum": (lambda self, speed, at: float(np.sum(speed)), "but .* for their numbers"),
    "nothing": (lambda self, speed, at: None, "gives None for a number; allowed: a finite number"),
    "words": (lambda self, speed, at: "many", "gives 'many' for a number"),
    "not finite": (lambda self, speed, at: np.log(0 * speed - 1), "nan"),
    "endless": (lambda self, speed, at: np.inf, "gives inf for a number"),
    "numbers alone": (
        lambda self, speed, at: 1.0 if speed > 0.3 else 0.0,
        "fails for arrays: The truth value .* allowed: for arrays of 3",
    ),
    "first alone": (lambda self, speed, at: np.ravel(speed)[0], "but .* for their numbers"),
    "without a moment": (
        lambda self, speed: 0.0,
        r"OwnTube.contacts takes \(speed\); allowed: \(speed, at\)",
    ),
}


@pytest.mark.parametrize("engine", BOTH)
@pytest.mark.parametrize("name", BAD)
@pytest.mark.filterwarnings("ignore:invalid value")
def test_what_breaks_the_contract_is_refused(name, engine):
    give, told = BAD[name]
    if name != "without a moment":
        named = "station 'tube': OwnTube.contacts "
        told = f"{named}.*{told}"
    give.__name__ = give.__qualname__ = "contacts"
    with pytest.raises(ValueError, match=told):
        simulate(BENCH, stations={"tube": contacts_that(give)}, engine=engine)


def test_what_keeps_the_contract_is_taken():
    """Control: numbers, one number for all, whole numbers and yes or no."""
    for give in (
        lambda self, speed, at: 2 * speed,
        lambda self, speed, at: 0.0,
        lambda self, speed, at: 1,
        lambda self, speed, at: speed > 0.3,
    ):
        check_own({"tube": contacts_that(give)})


def every_method(kind):
    """A station that hands every method on to the usual one."""

    def passing(name):
        return lambda self, *given: getattr(kind, name)(self, *given)

    names = [name for name, what in vars(kind).items() if callable(what) and name[0] != "_"]
    return type(f"Own{kind.__name__}", (kind,), {name: passing(name) for name in names})


def test_every_usual_method_keeps_the_contract():
    """So the samples that methods are tried with are such as a meter can meet."""
    usual = vars(stations_of(BENCH.replace(furrow__surface="field")))
    for name, station in usual.items():
        own = like(every_method(type(station)), station)
        check_own({name: own})


class Typo(TubeStation):
    """A tube whose method nobody calls."""

    def contact(self, speed, at):
        """Not `contacts`."""
        return 0.0 * speed


class InPlace(TubeStation):
    """A tube that changes what it is given."""

    def contacts(self, speed, at):
        """Half of the speed, in place."""
        speed *= 0.5
        return speed


class OneForAll(TubeStation):
    """A tube with one steady speed for all seeds."""

    def steady_speed(self, size):
        """One number."""
        return 9.0


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"tube": Typo}, "did you mean 'contacts'"),
        ({"tube": InPlace}, "read-only"),
        ({"tube": OneForAll}, "one number for all only from a gate"),
        ({"tube": 3}, "3 is no TubeStation"),
        ({"tube": lambda scenario: None}, "None is no TubeStation"),
        (TubeStation, "is a class alone; give it by name"),
        (lambda scenario: None, "None is no mapping"),
        (3, "3 is no mapping"),
    ],
)
def test_own_stations_that_would_be_heard_wrongly_are_refused(given, said):
    with pytest.raises(ValueError, match=said):
        simulate(BENCH.replace(run__turns=2), stations=given)
