"""metersim predicts how a vacuum seed meter lays seeds in the row.

The usual way in is `load_scenario`, `simulate` and `measure`.  All names are loaded when they
are first used, so that importing the package, and help on the command line, stay quick.
"""

import importlib

__version__ = "0.4.0"

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from metersim.discs import load_discs
    from metersim.faults import BadInput
    from metersim.figures.drawing import draw
    from metersim.measures import measure
    from metersim.reading import load_scenario
    from metersim.scenario import Scenario
    from metersim.seedlot import SeedLot, load_lot
    from metersim.simulation import simulate
    from metersim.stations import stations_of
    from metersim.studies.agronomy import plants
    from metersim.studies.compare import compare
    from metersim.studies.counting.howmany import howmany
    from metersim.studies.counting.ladder import ladder
    from metersim.studies.counting.looks import look_of_seeds
    from metersim.studies.diagnosing.next import next_move
    from metersim.studies.explain import explain
    from metersim.studies.measured import measured
    from metersim.studies.operating.habits import habits
    from metersim.studies.plan import plan_sweep
    from metersim.studies.published.evidence import evidence
    from metersim.studies.response import importance, respond
    from metersim.studies.starting.sheet import sheet
    from metersim.studies.sweep import sweep
    from metersim.studies.unknowns import spread
    from metersim.tally import tallied

__all__ = [
    "BadInput",
    "Scenario",
    "SeedLot",
    "__version__",
    "compare",
    "draw",
    "evidence",
    "explain",
    "habits",
    "howmany",
    "importance",
    "ladder",
    "load_discs",
    "load_lot",
    "load_scenario",
    "look_of_seeds",
    "measure",
    "measured",
    "next_move",
    "plan_sweep",
    "plants",
    "respond",
    "sheet",
    "simulate",
    "spread",
    "stations_of",
    "sweep",
    "tallied",
]

_HOMES = {
    "BadInput": "metersim.faults",
    "Scenario": "metersim.scenario",
    "SeedLot": "metersim.seedlot",
    "compare": "metersim.studies.compare",
    "draw": "metersim.figures.drawing",
    "evidence": "metersim.studies.published.evidence",
    "explain": "metersim.studies.explain",
    "howmany": "metersim.studies.counting.howmany",
    "habits": "metersim.studies.operating.habits",
    "importance": "metersim.studies.response",
    "ladder": "metersim.studies.counting.ladder",
    "load_discs": "metersim.discs",
    "load_lot": "metersim.seedlot",
    "load_scenario": "metersim.reading",
    "look_of_seeds": "metersim.studies.counting.looks",
    "measure": "metersim.measures",
    "measured": "metersim.studies.measured",
    "next_move": "metersim.studies.diagnosing.next",
    "plan_sweep": "metersim.studies.plan",
    "plants": "metersim.studies.agronomy",
    "respond": "metersim.studies.response",
    "sheet": "metersim.studies.starting.sheet",
    "simulate": "metersim.simulation",
    "spread": "metersim.studies.unknowns",
    "stations_of": "metersim.stations",
    "sweep": "metersim.studies.sweep",
    "tallied": "metersim.tally",
}


def __getattr__(name: str) -> object:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'metersim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
