"""The gallery: every shipped scenario drawn, comparisons and sweeps, and the setting of a meter."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from metersim.figures import (
    comparison_figure,
    habit_paths_figure,
    habits_figure,
    ladder_figure,
    measured_figure,
    next_figure,
    run_figure,
    save,
    sheet_figure,
    sweep_figure,
)
from metersim.reading import load_scenario, shipped_scenarios
from metersim.simulation import simulate
from metersim.spacingcsv import MeasuredSpacings, parse_spacings
from metersim.stand import emerged
from metersim.studies.compare import compare
from metersim.studies.counting.ladder import ladder
from metersim.studies.counting.looks import look_of_seeds
from metersim.studies.diagnosing.next import next_move
from metersim.studies.measured import measured
from metersim.studies.operating.habits import habits
from metersim.studies.plan import plan_sweep
from metersim.studies.response import respond
from metersim.studies.starting.sheet import sheet
from metersim.studies.sweep import sweep

SEED = 1
SWEEPS = {
    "sweep_speed": ("speed_kmh=4:14:21",),
    "sweep_vacuum_notch": ("vacuum_kpa=1:7:13", "notch=-3:3:7"),
}
ASKED = ("rate_per_ha=80000", "row_spacing_cm=75", "speed_kmh=6")
METERS = 200  # of each habit
PLANTS = 300  # that are measured


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
    yield from _setting(folder)


def _setting(folder: Path) -> Iterator[Path]:
    """Pictures of who sets a meter: where to start, what one step does, what comes next."""
    bench, field = (load_scenario(name) for name in ("maize_bench", "maize_field"))
    start = sheet("maize_large_flat", ASKED, seed=SEED)
    yield _saved(sheet_figure(start), folder / "start_sheet.png")
    yield _saved(ladder_figure(ladder(bench, seed=SEED)), folder / "ladder.png")
    count = look_of_seeds(500, skips=2, doubles=21)
    yield _saved(next_figure(next_move(bench, count, seed=SEED)), folder / "next_move.png")
    yield _saved(measured_figure(measured(field, _tape(), seed=SEED)), folder / "measured.png")
    tried = habits(field, meters=METERS, seed=SEED)
    yield _saved(habits_figure(tried), folder / "habits.png")
    yield _saved(habit_paths_figure(tried), folder / "habit_paths.png")


def _tape() -> MeasuredSpacings:
    """An invented tape along a row of a meter with a worn tube, set one notch too sharp."""
    worn = load_scenario("maize_field", ["tube_wear=0.4", "notch=1", "turns=12"])
    run = emerged(simulate(worn, seed=SEED), worn.stand.emergence, worn.stand.plant_shift)
    places = sorted((100 * run.seeds.position).round(1).tolist())[:PLANTS]
    return parse_spacings("\n".join(["position_cm", *map(str, places)]), "tape.csv")


def _saved(figure: Any, path: Path) -> Path:
    save(figure, path)
    return path
