"""Write what the shipped scenarios give: ``python -m tests.make_expected``.

Regression only: these numbers are the program's own.  Look at them before they are committed.
"""

import json
from pathlib import Path

from metersim.measures import Measured, measure
from metersim.reading import load_scenario, shipped_scenarios
from metersim.simulation import simulate

EXPECTED = Path(__file__).parent / "expected"
TURNS, SEED = 100, 1


def measured(name: str, seed: int = SEED) -> Measured:
    """The measures of a shipped scenario, as they are compared."""
    return measure(simulate(load_scenario(name, [f"turns={TURNS}"]), seed=seed))


def summary(name: str) -> dict[str, dict[str, float | None]]:
    """Every estimate of a shipped scenario."""
    return {key: estimate.to_dict() for key, estimate in measured(name).estimates.items()}


if __name__ == "__main__":
    for name in shipped_scenarios():
        (EXPECTED / f"{name}.json").write_text(json.dumps(summary(name), indent=1) + "\n")
