"""Where the time of a long run goes, by station: ``python -m tests.stations [SCENARIO]``.

Prints processor time in nanoseconds a cell, the share of the run, and how many times the run's own
random numbers that is, for the arrays and, where numba is installed, for the compiled engine.
Functions outside the program count to the file that calls them.  The profiler slows calls down, so
the sum is some fifth above that of a run, and shares are exact to some hundredths.
"""

import cProfile
import importlib.util
import pstats
import sys
import time
from collections import defaultdict

import pytest

import metersim as m
from tests.run.test_speed import LONG, draws_of

ROUNDS = 3
STATIONS = {
    "random numbers": ("run/streams", "run/draws", "distributions"),
    "drive": ("run/course", "machine/drive", "machine/scenario", "machine/travel"),
    "pool and gate": ("arrays/supply", "arrays/filling", "arrays/arches", "machine/gate",
                      "machine/heap"),
    "pick-up": ("picking", "machine/pickup", "machine/joining", "machine/holding"),
    "singulator": ("arrays/crowd", "arrays/fates", "machine/singulator", "compiled/following"),
    "shaking": ("arrays/stretch", "machine/rowunit"),
    "release": ("machine/release",),
    "tube and furrow": ("arrays/descent", "compiled/fall", "machine/tube", "machine/furrow",
                        "machine/conveyor"),
    "sensor": ("machine/sensor", "descent:watch", "descent:_times"),
    "records": ("run/records", "arrays/engine", "run/simulation"),
}  # fmt: skip
OTHERS = "others"


def seconds_of(function) -> float:
    """Processor time of a call."""
    start = time.process_time()
    function()
    return time.process_time() - start


def station_of(function) -> str:
    """The station of a function of the program, as the profiler names it; empty for any other."""
    file, _, name = function
    _, package, path = file.replace("\\", "/").rpartition("/metersim/")
    if not package:
        return ""
    place = f"{path.removesuffix('.py')}:{name}"
    fits = [(len(part), key) for key, parts in STATIONS.items() for part in parts if part in place]
    return max(fits)[1] if fits else OTHERS


def by_station(stats) -> dict[str, float]:
    """Seconds by station; time outside the program goes to whoever called it, in proportion."""
    found: dict[str, float] = defaultdict(float)

    def give(function, seconds: float, depth: int) -> None:
        station = station_of(function)
        callers = {one: part[2] for one, part in stats[function][4].items() if one in stats}
        whole = sum(callers.values())
        if station or not whole or depth == 0:
            found[station or OTHERS] += seconds
            return
        for one, part in callers.items():
            give(one, seconds * part / whole, depth - 1)

    for function, row in stats.items():
        give(function, row[2], 8)
    return found


def profiled(scenario, engine: str) -> dict[str, float]:
    """Nanoseconds a cell by station, of the least of some runs as a whole."""
    m.simulate(scenario, engine=engine)
    rounds = []
    for _ in range(ROUNDS):
        profile = cProfile.Profile(time.process_time, builtins=False)
        profile.runcall(m.simulate, scenario, engine=engine)
        rounds.append(by_station(pstats.Stats(profile).stats))
    least = min(rounds, key=lambda found: sum(found.values()))
    return {key: 1e9 * seconds / scenario.passages for key, seconds in least.items()}


def main(name: str = "maize_bench") -> None:
    """Print the tables of a scenario."""
    scenario = m.load_scenario(name, LONG)
    with pytest.MonkeyPatch.context() as patch:
        _, draw = draws_of(scenario, patch)
    drawn = 1e9 * min(seconds_of(draw) for _ in range(ROUNDS)) / scenario.passages
    engines = ["arrays", *["compiled"] * (importlib.util.find_spec("numba") is not None)]
    for engine in engines:
        found = profiled(scenario, engine)
        whole = sum(found.values())
        print(f"{name}, {engine}: {scenario.passages:,} cells, {drawn:.0f} ns of draws a cell")
        print(f"{'':18}{'ns a cell':>10}{'share':>8}{'times the draws':>17}")
        for key in sorted(found, key=found.__getitem__, reverse=True):
            part = found[key]
            print(f"{key:18}{part:10.0f}{part / whole:8.0%}{part / drawn:17.2f}")
        print(f"{'all':18}{whole:10.0f}{1:8.0%}{whole / drawn:17.2f}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
