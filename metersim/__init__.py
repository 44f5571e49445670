"""metersim predicts how a vacuum seed meter lays seeds in the row.

The usual way in is `load_scenario`, `simulate` and `measure`; all names are loaded when they
are first used, so that importing the package stays quick.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "BadInput": "metersim.faults",
    "Scenario": "metersim.scenario",
    "SeedLot": "metersim.seedlot",
    "load_lot": "metersim.seedlot",
    "load_scenario": "metersim.reading",
    "stations_of": "metersim.stations",
    "simulate": "metersim.simulation",
    "measure": "metersim.measures",
    "compare": "metersim.studies.compare",
}
__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'metersim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
