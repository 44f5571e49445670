"""metersim predicts how a vacuum seed meter lays seeds in the row.

The usual way in is `load_scenario`, `simulate` and `measure`.  All names are loaded when they
are first used, so that importing the package, and help on the command line, stay quick.
"""

import importlib

__version__ = "0.3.0"

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from metersim.faults import BadInput
    from metersim.figures.drawing import draw
    from metersim.measures import measure
    from metersim.reading import load_scenario
    from metersim.scenario import Scenario
    from metersim.seedlot import SeedLot, load_lot
    from metersim.simulation import simulate
    from metersim.stations import stations_of
    from metersim.studies.compare import compare
    from metersim.studies.evidence import evidence
    from metersim.studies.explain import explain
    from metersim.studies.plan import plan_sweep
    from metersim.studies.response import importance, respond
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
    "importance",
    "load_lot",
    "load_scenario",
    "measure",
    "plan_sweep",
    "respond",
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
    "evidence": "metersim.studies.evidence",
    "explain": "metersim.studies.explain",
    "importance": "metersim.studies.response",
    "load_lot": "metersim.seedlot",
    "load_scenario": "metersim.reading",
    "measure": "metersim.measures",
    "plan_sweep": "metersim.studies.plan",
    "respond": "metersim.studies.response",
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
