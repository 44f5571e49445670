"""The calls whose results are golden: small and fast, and together all that the package answers.

A call is a function without arguments that gives plain data; it is made in a new folder.
"""

from __future__ import annotations

import contextlib
import dataclasses
import io
import os
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

import metersim as m

# all that is not offered by the package itself
from metersim.cli import main
from metersim.questions.shared.unknowns import spread_about
from metersim.questions.sweep import response, totals
from tests.golden.plain import PRINTED, column, file_content, plain, printed, table

SCENARIOS = sorted(path.stem for path in (Path(__file__).parents[2] / "scenarios").glob("*.toml"))
LISTS = ("lots", "discs", "scenarios", "cases", "keys", "coefficients", "equations", "yields")

Call = Callable[[], Any]


@contextlib.contextmanager
def new_folder() -> Iterator[Path]:
    """A folder to work in, which is gone afterwards."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        try:
            yield Path(name)
        finally:
            os.chdir(before)


def result_of(name: str) -> Any:
    """What a call gives now."""
    with new_folder():
        return CALLS[name]()


# files that calls read; all numbers are fixed

SPACINGS = [16.1, 17.4, 15.2, 33.9, 16.8, 2.1, 14.7, 18.3, 16.0, 17.7, 15.5, 16.6, 19.2, 13.4]
DISC = """[[disc]]
cells = {cells}
hole_diameter_mm = {hole}
agitation = 0.3
seed_width_mm = {width}
meant_for = "these tests"
"""
UNSURE = """extends = "maize_field"
title = "A borrowed disc"

[disc]
hole_diameter_mm = {low = 4.2, high = 4.8}

[vacuum]
vacuum_kpa = {mean = 3, sd = 0.3}

[demand]
speed_kmh = {among = [6, 8]}
"""
SEEDS = "".join(
    f"{10.2 + 0.1 * (k % 7):.2f},{7.0 + 0.07 * (k % 5):.2f},{4.4 + 0.06 * (k % 6):.2f},"
    f"{240 + 5 * (k % 9)}\n"
    for k in range(40)
)


PULSES = "".join(f"{0.1 * k + 0.003 * (k * k % 7):.4f}\n" for k in range(40))


def rows_of_spacings() -> str:
    """160 spacings in two rows, all different."""
    lines = ["row,spacing_cm"]
    for k in range(160):
        spacing = SPACINGS[k % len(SPACINGS)] + 0.013 * ((7 * k) % 31) - 0.2
        lines.append(f"{1 + k // 80},{spacing:.3f}")
    return "\n".join(lines) + "\n"


# calls of the command line


def asked(*words: str, **files: str) -> Any:
    """What a command prints and writes; `files` are there before, a point for the last ``_``."""
    for name, text in files.items():
        Path(".".join(name.rsplit("_", 1))).write_text(text)
    before = {path.name: path.read_bytes() for path in Path().iterdir()}
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(words)
    assert status == 0 and not err.getvalue(), f"{' '.join(words)}: {err.getvalue()}"
    told: dict[str, Any] = {PRINTED: printed(out.getvalue())}
    for path in sorted(Path().iterdir()):
        if before.get(path.name) != path.read_bytes():
            told[path.name] = file_content(path)
    return told


def in_turn(*commands: str, **files: str) -> Any:
    """What several commands give that are typed one after the other; without quotes."""
    first, *others = commands
    return [asked(*first.split(), **files), *(asked(*command.split()) for command in others)]


def typed(line: str, *words: str, **files: str) -> Call:
    """A command as it is typed; words that hold blanks stand alone."""
    return partial(asked, *line.split(), *words, **files)


def few_machines(call: Call) -> Call:
    """A sweep whose totals come from few machines, with few cells each."""

    def drawn() -> Any:
        with (
            mock.patch.multiple(totals, NODE_DRAWS=4, NODE_CELLS=300),
            mock.patch.object(response, "spread_about", partial(spread_about, draws=4)),
        ):
            return call()

    return drawn


# calls of the package


def tables(run: Any) -> dict[str, Any]:
    """All that a run leaves, and its measures."""
    found = {name: table(run.to_dataframe(name)) for name in ("seeds", "cells", "ticks")}
    return {
        **found,
        "reasons": column(run.cells.reason.tolist()),
        "measures": table(m.measure(run).to_dataframe()),
        "replaced": dict(run.replaced),
    }


def simulated(name: str, *changes: str, seed: int = 1, engine: str | None = None) -> Call:
    """A run of the usual stations."""
    return lambda: tables(m.simulate(m.load_scenario(name, changes), seed=seed, engine=engine))


class RoughTube(m.TubeStation):
    """A tube with as many contacts as the speed, in m/s, says ten times over."""

    def contacts(self, speed: Any, at: Any) -> Any:
        """Mean number of contacts."""
        return 10.0 * speed


class FadingSingulator(m.SingulatorStation):
    """An edge that pushes seeds less."""

    def deviate(self, reach: Any, outward: Any, share: Any, vacuum_ratio: Any, at: Any) -> Any:
        """Deviate below which a tooth's draw makes the seed leave."""
        return super().deviate(reach, outward, share, vacuum_ratio, at) - 0.4


class ArchingGate(m.GateStation):
    """A gate that arches two times a second and clears once in two."""

    def arch_rate(self, at: Any) -> float:
        """Arches a second."""
        return 2.0

    def clearing_rate(self, at: Any) -> float:
        """Arches cleared a second."""
        return 0.5


def replaced(
    name: str, *changes: str, seed: int = 3, engine: str | None = None, **kinds: type
) -> Call:
    """A run with stations of one's own."""

    def call() -> Any:
        scenario = m.load_scenario(name, changes)
        usual = m.stations_of(scenario)
        own = {part: m.like(kind, getattr(usual, part)) for part, kind in kinds.items()}
        return tables(m.simulate(scenario, seed=seed, stations=own, engine=engine))

    return call


def other_coefficients(name: str, *changes: str, seed: int = 5, **values: float) -> Call:
    """A run of all stations with other coefficients."""

    def call() -> Any:
        scenario = m.load_scenario(name, changes)
        own = dataclasses.replace(m.stations_of(scenario).pickup.coefficients, **values)
        return tables(m.simulate(scenario, seed=seed, stations=m.stations_of(scenario, own)))

    return call


def summed() -> Any:
    """Sums without records, of several replicates."""
    scenario = m.load_scenario("soybean_narrow_rows", ["turns=20"])
    tallies = [m.tallied(scenario, seed=7, replicate=k, stretches=20) for k in range(3)]
    return {
        "measures": table(m.measure(tallies).to_dataframe()),
        "sums": plain(tallies[1].sums),
        "reasons": plain(tallies[1].reasons),
    }


def passed() -> Any:
    """A pass of a small machine."""
    around = ["rows=3", "working=1-2", "parked=open", "shut_off_kpa=8", "rows.2=notch=1"]
    moving = ["speeds=0 s 3 km/h, 3 s 8 km/h", "off=5 s to 6 s", "start=empty", "turns=5"]

    done = m.simulate_pass(m.load_scenario("maize_field", [*around, *moving]), seed=4)
    return {"air": plain(done.air), **{f"row_{row.number}": tables(row.run) for row in done.rows}}


def spread() -> Any:
    """What luck does, and what not knowing does."""
    changes = ["vacuum_kpa={low = 3, high = 5}", "notch={among = [-1, 0, 1]}", "turns=15"]
    found = m.spread(m.load_scenario("maize_bench", changes), seed=2, draws=12)
    return table(found.to_dataframe())


def compared() -> Any:
    """A comparison as a table."""
    found = m.compare("maize_field", vary="notch=-1,0,1", changes=["turns=15"], seed=4, draws=4)
    return table(found.to_dataframe())


def compared_unsure() -> Any:
    """A comparison of what is not known, with plants."""
    scenario = m.load_scenario("maize_field", ["vacuum_kpa={low=3,high=4}", "turns=12"])
    other = scenario.replace(tube__tube_wear=0.8)
    labels = ["new", "worn"]
    return table(m.compare(scenario, other, labels=labels, draws=6, plants=True).to_dataframe())


def stand(*changes: str, **more: Any) -> Call:
    """Plants, and what yield studies make of them."""

    def call() -> Any:
        run = m.simulate(m.load_scenario("maize_field", [*changes, "turns=15"]), **more)
        found = m.plants(run)
        return {name: table(found.to_dataframe(name)) for name in ("plants", "losses")}

    return call


def explained(name: str, *changes: str) -> Call:
    """What a scenario asks of its meter, and how it is told."""

    def call() -> Any:
        told = asked("explain", name, *(word for one in changes for word in ("--set", one)))
        return {**told, "found": plain(m.explain(m.load_scenario(name, changes)))}

    return call


def responded() -> Any:
    """A sweep and what is found in it."""
    plan = m.plan_sweep(
        "maize_bench", ["vacuum_kpa=2:6:3", "notch=-1,1"], changes=["turns=10"], seed=6
    )
    found = m.respond(m.sweep(plan))
    return {"response": table(found.to_dataframe()), "best": plain(found.best)}


def importance() -> Any:
    """What matters most."""
    ranges = ["vacuum_kpa=2:6", "speed_kmh=4:10"]
    plan = m.plan_sweep(
        "maize_field", ranges, design="importance", points=16, changes=["turns=6"], seed=3
    )
    return plain(m.importance(m.sweep(plan), "per_spacing.quality"))


def steps() -> Any:
    """Single steps and pairs of them."""
    found = m.steps(
        m.load_scenario("maize_field", ["inner_guide=true"]), cells=900, draws=6, seed=2
    )
    return {name: table(found.to_dataframe(name)) for name in ("steps", "pairs")}


def howmany() -> Any:
    """How many seeds tell two scenarios apart by the sensor."""
    here = m.load_scenario("maize_bench", ["detection_percent=97"])
    found = m.howmany(here, here.replace(tube__tube_wear=0.6), way="sensor", cells=4000, seed=2)
    return table(found.to_dataframe())


def next_move(name: str, *looks: Any, earlier: tuple[tuple[float, Any], ...] = ()) -> Call:
    """The next move of few possible meters; `earlier` has notches, and counts made there."""

    def call() -> Any:
        scenario = m.load_scenario(name)
        before = [
            (scenario.replace(singulator__notch=notch), m.look_of_seeds(*one))
            for notch, one in earlier
        ]
        counts = [m.look_of_seeds(*one) for one in looks]
        found = m.next_move(scenario, counts, earlier=before, runs=40, each=60, seed=2)
        # a search ends at other digits with other versions of scipy, so two of a chance are kept
        after = {name: round(found.diagnosis.after(name), 2) for name in found.diagnosis.names}
        kept = {"kind": found.kind, "words": found.words, "more": found.more, "chances": after}
        return kept | {"differs": [one.differing for one in found.targets]}

    return call


def habits() -> Any:
    """All shipped habits on very few meters."""
    scenario = m.load_scenario("maize_bench")
    return table(m.habits(scenario, meters=2, count=50, grid=3, seed=3).to_dataframe())


def measured() -> Any:
    """Measured spacings of a field where the emergence is known."""
    Path("tape.csv").write_text(rows_of_spacings())
    found = m.measured("maize_field", "tape.csv", emergence=0.92, seed=2)
    return table(found.to_dataframe())


def evidence(*names: str, draws: int) -> Call:
    """Published rows and their predictions, told and as a table."""

    def call() -> Any:
        told = asked("evidence", *names, "--draws", str(draws), "--workers", "1")
        return {**told, "rows": table(m.evidence(names, draws=draws, seed=2).to_dataframe())}

    return call


FILES = "--json out.json --csv row.csv"
FEW = "--draws 4"  # machines; summary_usual_draws has as many as a user gets
LOG = (
    "howmany maize_field --cells 2000 --add counts.csv --row 3 --counted 300 --skips 4 "
    "--doubles 12 --date 2027-05-01",
    "howmany maize_field --cells 2000 --set notch=1 --add counts.csv --row 3 --counted 320 "
    "--skips 6 --doubles 3 --triples 1 --date 2027-05-02",
)

CALLS: dict[str, Call] = {
    # every shipped scenario: its summary with intervals, and its records
    **{
        f"summary_{name}": typed(f"run {name} --turns 100 --seed 1 {FEW} --json out.json")
        for name in SCENARIOS
    },
    **{
        f"run_{name}": typed(
            f"run {name} --turns {6 if 'canola' in name else 8} --seed 2 {FEW} {FILES}"
        )
        for name in SCENARIOS
    },
    "summary_usual_draws": typed("run maize_bench --turns 100 --seed 1 --json out.json"),
    # both engines, traces
    "events_bench": typed(f"run maize_bench --turns 6 --seed 3 --engine events {FEW} {FILES}"),
    "events_field": simulated("maize_field_faster", "turns=6", seed=3, engine="events"),
    "arrays_field": simulated("maize_field_faster", "turns=6", seed=3, engine="arrays"),
    "events_canola": simulated("canola_small_seed", "turns=4", seed=5, engine="events"),
    "trace_bench": typed(f"run maize_bench --turns 3 --seed 4 {FEW} --trace trace.csv"),
    "trace_starved": typed(
        f"run gate_too_low --turns 3 --seed 4 {FEW} --replicates 2 --trace trace.csv --csv row.csv"
    ),
    # supply: hopper, pool, arches, heap
    "tiny_hopper": simulated("maize_bench", "hopper_kg=0.16", "turns=20", seed=2),
    "tiny_hopper_events": simulated(
        "maize_bench", "hopper_kg=0.16", "turns=20", seed=2, engine="events"
    ),
    "emptying_hopper": simulated("soybean_narrow_rows", "hopper_kg=0.2", "turns=30", seed=3),
    "starved_gate": simulated("maize_bench", "gate_opening_mm=11", "turns=15", seed=4),
    "arches": simulated("gate_too_low", "turns=25", "gate_width_mm=60", seed=6),
    "arches_field": simulated("maize_field", "turns=25", "gate_opening_mm=14", seed=6),
    "slow_gate": simulated(
        *("maize_field", "gate_width_mm=15", "gate_opening_mm=22", "speed_kmh=25", "tick=0.05"),
        "turns=10",
    ),
    "knocking_heap": simulated("maize_bench", "gate_opening_mm=100", "turns=15", seed=2),
    "knocking_heap_events": simulated(
        "gate_too_high", "turns=6", "vacuum_kpa=2.5", seed=2, engine="events"
    ),
    "knocking_heap_field": simulated("maize_field", "carry_line_mm=30", "turns=12", seed=7),
    "long_ticks": simulated("maize_bench", "tick=0.5", "hopper_kg=0.16", "turns=20", seed=2),
    # pick-up
    "vacuum_too_low": simulated("maize_bench", "vacuum_kpa=0.9", "turns=12", seed=2),
    "no_vacuum": simulated("maize_bench", "vacuum_kpa=0", "turns=3", seed=2),
    "many_on_a_hole": simulated(
        "maize_bench", "vacuum_kpa=12", "hole_diameter_mm=6.5", "notch=-6", "turns=12", seed=2
    ),
    "many_on_a_hole_field": simulated(
        "maize_field_faster",
        *("vacuum_kpa=12", "hole_diameter_mm=6.5", "notch=-6", "speed_kmh=14", "turns=8"),
        seed=2,
        engine="events",
    ),
    "seeds_cover_a_hole": simulated(
        "maize_bench", "vacuum_kpa=15", "hole_diameter_mm=7.2", "notch=-5", "turns=12", seed=2
    ),
    "smooth_disc": simulated("maize_bench", "agitation=0", "speed_kmh=12", "turns=12", seed=3),
    "pegged_disc": simulated("maize_bench", "agitation=1", "turns=12", seed=3),
    "large_mixed_seed": simulated(
        "maize_bench", "size_factor=1.2", "size_cv_percent=15", "turns=12", seed=3
    ),
    "other_lots": typed(
        f"run maize_bench --turns 8 {FEW} --set lot=maize_small_round --json out.json"
    ),
    "blocked_cells": other_coefficients("maize_bench", "turns=25", blocked=0.02),
    "wild_coefficients": other_coefficients(
        "maize_field", "turns=12", "decay_arc_deg=6", "tube_wear=0.5", contact_loss=0.6, hop=0.1
    ),
    # singulator, guide, release, tube
    "notch_aggressive": simulated("maize_bench", "notch=3", "turns=12", seed=4),
    "inner_guide": simulated("maize_field", "inner_guide=true", "notch=1", "turns=12", seed=4),
    "worn_cutoff": simulated("maize_bench", "decay_arc_deg=8", "turns=12", seed=4),
    "worn_curved_tube": simulated(
        "maize_field", "tube_wear=0.9", "tube_curvature_deg=30", "turns=12", seed=4
    ),
    "worst_tube": other_coefficients(
        "maize_field", "tube_wear=1", "tube_curvature_deg=60", "turns=12", contact_loss=0.6
    ),
    "no_tube": simulated("maize_bench", "tube_fitted=false", "turns=12", seed=4),
    "no_tube_field": simulated(
        "maize_field", "tube_fitted=false", "turns=6", seed=4, engine="events"
    ),
    # furrow, row unit, sensor, drive
    "firmer": simulated("maize_field", "firmer=true", "turns=12", seed=4),
    "rough_field": simulated(
        "maize_field_faster", "soil_scatter_mm=30", "shock_per_speed_g_per_m_s=0.9", "turns=12"
    ),
    "dusty_sensor": typed(
        f"run maize_bench --turns 12 --seed 4 {FEW} --set detection_percent=93 "
        f"--set beam_height_mm=12 {FILES}"
    ),
    "start_ramp": simulated("maize_bench", "start_ramp_s=4", "turns=8", seed=4),
    "start_ramp_events": simulated(
        "maize_field", "start_ramp_s=4", "ripple_percent=8", "turns=6", seed=4, engine="events"
    ),
    "ripple": simulated(
        "maize_bench", "ripple_percent=20", "ripples_per_turn=7", "turns=12", seed=4
    ),
    # stations of one's own
    "own_tube": replaced("maize_bench", "turns=12", tube=RoughTube),
    "own_singulator": replaced("maize_field", "turns=12", singulator=FadingSingulator),
    "own_gate": replaced("maize_bench", "turns=20", "gate_opening_mm=20", gate=ArchingGate),
    "own_all_events": replaced(
        *("maize_field", "turns=6"),
        engine="events",
        tube=RoughTube,
        singulator=FadingSingulator,
        gate=ArchingGate,
    ),
    # several replicates, units, sums
    "replicates": typed(f"run sunflower --turns 6 --seed 9 {FEW} --replicates 3 --json out.json"),
    "replicates_csv": typed(f"run sunflower --turns 3 --seed 9 {FEW} --replicates 2 --csv row.csv"),
    "run_us": typed(f"run maize_field --turns 10 --seed 8 {FEW} --units us"),
    "tallied": summed,
    # what is not known
    "unknown_file": typed(
        "run unsure.toml --turns 10 --draws 8 --seed 3 --json out.json", unsure_toml=UNSURE
    ),
    "unknown_plants": typed(
        "run maize_field --turns 10 --draws 5 --plants --json out.json --set",
        "notch={mean = 0, sd = 0.5}",
    ),
    "spread": spread,
    # plants
    "plants": typed(
        f"run maize_field --turns 15 --seed 2 {FEW} --plants --yield 12 --price 180 --json out.json"
    ),
    "plants_us": typed(
        f"run maize_field --turns 15 --seed 2 {FEW} --plants --yield 200 --price 4.5 --units us "
        "--set emergence_percent=88 --set plant_shift_mm=8 --set late_share_percent=20"
    ),
    "plants_table": stand("late_share_percent=15", "late_by_days=21", "plant_shift_mm=10"),
    "plants_soybean": typed(f"run soybean_narrow_rows --turns 6 {FEW} --plants --json out.json"),
    # compare
    "compare_vary": typed(f"compare maize_field --vary speed_kmh=6,8,10 --turns 10 {FEW} --seed 2"),
    "compare_two": typed(
        f"compare gate_too_low maize_bench --turns 10 {FEW} --seed 2 --replicates 2"
    ),
    "compare_unknown": typed(
        "compare maize_bench --vary notch=0,1 --turns 10 --draws 6 --set",
        "vacuum_kpa={low=3,high=5}",
    ),
    "compare_plants": typed(
        f"compare maize_field --vary emergence_percent=80,95 --turns 10 {FEW} --plants --yield 10"
    ),
    "compare_events": typed(
        f"compare maize_bench --vary notch=0,1 --turns 4 {FEW} --engine events"
    ),
    "compare_table": compared,
    "compare_table_unknown": compared_unsure,
    # explain
    **{f"explain_{name}": explained(name) for name in SCENARIOS},
    "explain_us": typed("explain maize_field --units us --set vacuum_inh2o=12"),
    "explain_odd": explained(
        *("maize_field", "vacuum_kpa=1", "speed_kmh=14", "gate_opening_mm=90"),
        *("tube_fitted=false", "inner_guide=true"),
    ),
    # sweep
    "sweep_grid": typed(
        "sweep maize_field --turns 5 --vary vacuum_kpa=1:6:3 --vary notch=-2,0,2 --seed 2 "
        "--out map.csv"
    ),
    "sweep_limits": few_machines(
        typed(
            "sweep maize_bench --turns 5 --vary gate_opening_mm=12:90:4 --replicates 2 "
            "--response precision --accept per_spacing.miss<=0.03 --plateau 5 --out map.csv"
        )
    ),
    "sweep_latin": few_machines(
        typed(
            "sweep maize_field --turns 5 --vary vacuum_kpa=2:6 --vary speed_kmh=4:10 "
            "--design latin --points 6 --seed 3 --out map.csv"
        )
    ),
    "sweep_sobol": few_machines(
        typed(
            "sweep maize_bench --turns 5 --vary hole_diameter_mm=3.5:5.5 --vary notch=-2:2 "
            "--design sobol --points 8 --seed 3 --engine arrays --out map.csv"
        )
    ),
    "sweep_importance": few_machines(
        typed(
            "sweep maize_field --turns 5 --vary vacuum_kpa=2:6 --vary speed_kmh=4:10 "
            "--importance --points 8 --out shares.csv"
        )
    ),
    "sweep_response": few_machines(responded),
    "importance": importance,
    # steps, howmany
    "steps": typed("steps maize_bench --cells 1200 --counted 300 --seed 2"),
    "steps_us": typed("steps maize_field --cells 1000 --units us --seed 3"),
    "steps_table": steps,
    "howmany": typed("howmany maize_field --cells 5000 --seed 2"),
    "howmany_limit": typed("howmany maize_field --cells 5000 --accept nyt1628"),
    "howmany_own_limit": typed(
        "howmany maize_bench --cells 5000 --accept per_spacing.miss<=0.05 --certainty 90 "
        "--power 90 --counted 500"
    ),
    "howmany_step": typed("howmany maize_bench --cells 5000 --step notch=-2 --counted-by sensor"),
    "howmany_vary": typed("howmany maize_bench --cells 5000 --vary vacuum_kpa=3,5 --units us"),
    "howmany_log": partial(in_turn, *LOG),
    "howmany_table": howmany,
    # learn
    "learn": partial(
        in_turn,
        *LOG,
        "learn maize_field --from counts.csv --cells-seen 90 --cells-loaded 89 --machines 30 "
        "--workers 1 --out mine.toml --json out.json",
    ),
    # next
    "next_table": next_move("maize_bench", (500, 12, 5)),
    "next_earlier": next_move(
        *("maize_field", (400, 3, 14)), earlier=((1.0, (300, 9, 4)), (-1.0, (300, 1, 22)))
    ),
    "next_sensor": next_move("maize_bench", (800, 40, 3, 0, "sensor")),
    "next_signs": typed(
        "next maize_bench --counted 500 --skips 20 --doubles 4 --rows one --seed 2 --json out.json",
        *("--pattern", "every 30"),
    ),
    # machines, a day, faults
    "pass": passed,
    "run_machine_us": typed(f"run headland_start --turns 6 {FEW} --units us --details --seed 3"),
    "explain_gap": typed("explain maize_bench --set running_gap_mm=0.4 --set drive.kind=oil"),
    "run_gap": typed(
        f"run maize_bench --turns 20 {FEW} --set running_gap_mm=0.4 --details --json out.json"
    ),
    "run_conditions": typed(
        f"run maize_field --turns 20 {FEW} --set flow_agent=talc --set dampness=0.3 "
        "--set altitude_m=1500 "
        "--set slope_along_deg=-8 --set plugged_holes=7 --set edge_wear=0.5 --json out.json"
    ),
    "list_faults": typed("list faults maize_bench --samples 1 --seed 2 --json out.json"),
    # sheet
    "sheet": typed(
        "sheet --lot maize_large_flat --rate 80000 --row-spacing 75 --speed 6 --discs disc.toml "
        "--scenario start.toml --yield 11 --price 170",
        disc_toml=DISC.format(cells=30, hole=4.5, width=7.3),
    ),
    # habits, measured, evidence
    "habits": habits,
    "measured": typed(
        "measured maize_bench tape.csv --seed 2 --json out.json", tape_csv=rows_of_spacings()
    ),
    "measured_emergence": measured,
    "measured_short": typed(
        "measured maize_field tape.csv --units us",
        tape_csv="spacing_cm\n" + "".join(f"{one}\n" for one in SPACINGS * 2),
    ),
    "measured_times": typed(
        "measured maize_bench pulses.csv --json out.json",
        pulses_csv="time_s\n"
        + "".join(f"{0.1 * k + 0.003 * (k * k % 7):.4f}\n" for k in range(40)),
    ),
    "evidence": evidence("qi2013", "onal2012", draws=3),
    "evidence_pickup": evidence("ankara_pickup", draws=2),
    # lot, list
    "lot_label": typed(
        "lot --like maize_large_flat --seeds-per-kg 4400 --out own.toml",
    ),
    "lot_label_us": typed("lot --like soybean --seeds-per-lb 2800 --out own.toml"),
    "lot_measured": typed(
        "lot --like maize_large_flat --csv seeds.csv --out own.toml",
        seeds_csv="length_mm,width_mm,thickness_mm,mass_mg\n" + SEEDS,
    ),
    "lot_run": partial(
        in_turn,
        "lot --like maize_large_flat --seeds-per-kg 5200 --out own.toml",
        f"run maize_bench --set lot=own.toml --turns 8 {FEW} --json out.json",
    ),
    **{f"list_{what}": typed(f"list {what}") for what in LISTS},
}
