"""The gallery: every shipped scenario drawn, two comparisons and two sweeps."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from metersim.figures import comparison_figure, run_figure, save, sweep_figure
from metersim.reading import load_scenario, shipped_scenarios
from metersim.simulation import simulate
from metersim.studies.compare import compare
from metersim.studies.plan import plan_sweep
from metersim.studies.response import respond
from metersim.studies.sweep import sweep

SEED = 1
SWEEPS = {
    "sweep_speed": ("speed_kmh=4:14:21",),
    "sweep_vacuum_notch": ("vacuum_kpa=1:7:13", "notch=-3:3:7"),
}


def draw_gallery(folder: Path) -> Iterator[Path]:
    """Draw all pictures into a folder.

    Parameters
    ----------
    folder : Path
        Must exist; pictures of the same name are replaced.

    Yields
    ------
    Path
        Each picture when it is finished.
    """
    for name, path in shipped_scenarios().items():
        run = simulate(load_scenario(path), seed=SEED)
        yield _saved(run_figure(run), folder / f"{name}.png")
    faster = compare("maize_field", "maize_field_faster", seed=SEED, keep=True)
    yield _saved(comparison_figure(faster), folder / "compare_faster.png")
    notch = compare("maize_bench", vary="notch=0,1", seed=SEED, keep=True)
    yield _saved(comparison_figure(notch), folder / "compare_one_notch.png")
    for name, vary in SWEEPS.items():
        found = respond(sweep(plan_sweep("maize_field", vary, seed=SEED)))
        yield _saved(sweep_figure(found), folder / f"{name}.png")


def _saved(figure: Any, path: Path) -> Path:
    save(figure, path)
    return path
