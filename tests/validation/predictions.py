"""What the meter predicts for published rows, one function a source, in the rows' units.

Disc, gate and edge of the tested machines are not known in full.  What a source leaves open
follows the rules of `machine`; nothing is fitted to a table.  Run this file to print the table
of published and predicted values.
"""

import csv
import dataclasses
import math
import sys
from functools import cache
from pathlib import Path

import numpy as np

from metersim import intervals
from metersim.coefficients import USUAL
from metersim.intervals import Estimate
from metersim.measures import BY_KEY, difference, measure
from metersim.sections import Seed
from metersim.simulation import simulate
from metersim.spacing import class_columns, spacings_of
from metersim.stations import stations_of
from tests.strategies import BENCH, LOTS

HERE = Path(__file__).parent
HOLE_OVER_WIDTH = 0.62  # grains; handbook rule less its upper end, from memory
SMALL_HOLE_OVER_WIDTH = 0.53  # beet and onion; common practice, no source
GAP_OVER_WIDTH = 0.67  # assumption
STEP_OVER_WIDTH = 0.12  # assumption
STATIC_LEVEL = 0.04  # m, level of the pool; assumption


@cache
def machine(lot, cells, spacing, speed, **changes):
    """Measures of a run of a machine."""
    return measure(machine_run(lot, cells, spacing, speed, **changes))


@cache
def machine_run(lot, cells, spacing, speed, *, sown=2400, hole=HOLE_OVER_WIDTH, **changes):
    """A run of a bench with a lot, cells, spacing [m] and speed [m/s], all else by rule."""
    seeds = LOTS[lot]
    row_spacing = 0.75 if spacing > 0.05 else 0.25
    opening = STATIC_LEVEL + BENCH.pool.pool_depth * math.tan(seeds.repose_angle)
    usual = {
        "disc__cells": cells,
        "disc__hole_diameter": hole * seeds.width,
        "pool__gate_opening": opening,
        "singulator__gap": GAP_OVER_WIDTH * seeds.width,
        "singulator__notch_step": STEP_OVER_WIDTH * seeds.width,
        "demand__rate": 1 / (spacing * row_spacing),
        "demand__row_spacing": row_spacing,
        "demand__speed": speed,
        "run__turns": math.ceil(sown / cells),
    }
    return simulate(with_lot(lot, **(usual | changes)), seed=1)


def with_lot(lot, **changes):
    """The bench of the tests with a lot and all that must go with it, changed at once."""
    sections = {"seed": Seed(lot=lot)}
    for name, value in changes.items():
        section, field = name.split("__")
        now = sections.get(section, getattr(BENCH, section))
        sections[section] = dataclasses.replace(now, **{field: value})
    return dataclasses.replace(BENCH, lot=LOTS[lot], **sections)


def apart(a, b, key):
    """How far a measure of `b` lies above that of `a`."""
    if a.total("cells") == b.total("cells"):
        return difference(a, b, BY_KEY[key])
    return combined([(1, b[key]), (-1, a[key])])


def combined(terms):
    """A weighted sum of independent estimates, with the root of the summed squares as width."""
    value = sum(weight * estimate.value for weight, estimate in terms)
    half = math.sqrt(sum((w * (e.high - e.low) / 2) ** 2 for w, e in terms))
    return Estimate(value, value - half, value + half)


def exactly(value):
    """A value without chance."""
    return Estimate(value, value, value)


def indices(name, result):
    """Quality, multiples and misses per spacing as rows of one name."""
    return {
        f"{name} {part}": result[f"per_spacing.{part}"] for part in ("quality", "multiple", "miss")
    }


# ---------------------------------------------------------------- one function a source

CROPS = {
    "maize": ("maize_large_flat", 30, 0.20, 1.0, HOLE_OVER_WIDTH, 4e3),
    "soybean": ("soybean", 60, 0.06, 1.0, HOLE_OVER_WIDTH, 3e3),
    "sugar beet": ("sugar_beet", 30, 0.15, 1.0, SMALL_HOLE_OVER_WIDTH, 2e3),
    "onion": ("onion", 60, 0.05, 1.0, SMALL_HOLE_OVER_WIDTH, 1.5e3),
}
STEPS = (1 / 3, 1 / 2, 3 / 4, 1, 4 / 3, 2)


def karayel2004():
    """Best vacuum by crop: quality lost at the published one, and the model's own best."""
    rows, best = {}, {}
    for crop, (lot, cells, spacing, speed, hole, published) in CROPS.items():
        runs = {
            step: machine(
                lot, cells, spacing, speed, sown=2400, hole=hole, vacuum__vacuum=step * published
            )
            for step in STEPS
        }
        top = max(runs, key=lambda step: runs[step]["per_spacing.quality"].value)
        rows[f"{crop} lost"] = apart(runs[1], runs[top], "per_spacing.quality")
        single = max(runs, key=lambda step: runs[step]["cells.single"].value)
        best[crop] = single * published
        rows[f"{crop} best"] = exactly(best[crop])
    for higher, lower in (("maize", "soybean"), ("soybean", "sugar beet"), ("sugar beet", "onion")):
        rows[f"{higher} over {lower}"] = exactly(best[higher] / best[lower])
    return rows


def banaj2022():
    """Popcorn on a laboratory stand at 0.223 and 0.091 m/s of the holes."""
    rows = {}
    for cells in (18, 44):
        result = machine(
            "maize_small_round",
            cells,
            0.20993,
            6 / 3.6,
            sown=4000,
            disc__circle_radius=0.0805,
            tube__tube_wear=0.11,
            tube__tube_curvature=0.0,
        )
        rows |= {
            f"{cells} cells quality": result["per_spacing.quality"],
            f"{cells} cells precision": result["precision"],
            f"{cells} cells mean": result["spacing.mean"],
            f"{cells} cells drop": result["drop_time.sd"],
        }
    return rows


def torosoglu():
    """Maize in a laboratory at 1.67 m/s, electric drive."""
    rows = {}
    for spacing in (0.15, 0.20):
        result = machine("maize_large_flat", 30, spacing, 1.67)
        rows |= indices(f"{spacing * 1e3:.0f} mm", result)
    return rows


def ankara2021():
    """Maize plants in a field at 4.0 km/h: seeds thinned by an emergence of 0.955."""
    run = machine_run("maize_large_flat", 30, 0.20, 4 / 3.6, sown=4800, furrow__surface="field")
    rng = np.random.default_rng(1)
    plants = run.seeds.position[rng.random(len(run.seeds)) < 0.955]
    gaps = spacings_of(plants) / run.scenario.spacing
    sums = intervals.block_sums(class_columns(gaps, 1.0), len(gaps) // 48)
    parts = {"multiple": sums[:, 0], "quality": sums[:, 1], "miss": sums[:, 2:].sum(axis=1)}
    rows = {
        part: intervals.share_interval(count, sums.sum(axis=1)) for part, count in parts.items()
    }
    normal = (gaps > 0.5) & (gaps <= 1.5)
    moments = intervals.block_sums(intervals.moment_columns(gaps, normal), len(gaps) // 48)
    rows["precision"] = intervals.interval(moments, intervals.sd, rng)
    return rows


def in_field(speed, sown=3000):
    """Maize at 20 cm in a field at a speed in km/h."""
    return machine("maize_large_flat", 30, 0.20, speed / 3.6, sown=sown, furrow__surface="field")


def bozdogan2008():
    """Quality lost against 1.8 km/h, in a field."""
    slow = in_field(1.8)
    return {
        f"{speed} km/h": apart(in_field(speed), slow, "per_spacing.quality")
        for speed in (3.6, 5.4, 7.2)
    }


def nadin2019():
    """Quality falls and CV rises linearly from 4 to 10 km/h, in a field."""
    speeds = (4, 6, 8, 10)
    runs = [in_field(speed) for speed in speeds]
    rows = {
        "quality lost": apart(runs[-1], runs[0], "per_spacing.quality"),
        "CV gained": apart(runs[0], runs[-1], "spacing.cv"),
    }
    for name, key in (("quality", "per_spacing.quality"), ("CV", "spacing.cv")):
        values = [run[key].value for run in runs]
        rows[f"{name} linear"] = exactly(float(np.corrcoef(speeds, values)[0, 1]) ** 2)
    return rows


def liu2017():
    """How far a bench is better than a field."""
    rows = {}
    for speed, sown in ((4, 6000), (6, 3000), (8, 3000), (10, 3000)):
        bench = machine("maize_large_flat", 30, 0.20, speed / 3.6, sown=sown)
        rows[f"{speed} km/h"] = apart(in_field(speed, sown), bench, "per_spacing.quality")
    return rows


def qi2013():
    """Pressure response of a drum, shape only: misses at the least pressure over later ones."""
    least, *rest = (
        machine("maize_large_flat", 30, 0.20, 1.5, sown=4000, vacuum__vacuum=p)
        for p in (2.0e3, 2.5e3, 4e3, 5.5e3)
    )
    later = combined([(1 / len(rest), run["cells.skip"]) for run in rest])
    return {
        "misses fall": combined([(1, least["cells.skip"]), (-1, later)]),
        "ratio of misses": exactly(least["cells.skip"].value / later.value),
        "multiples rise": apart(least, rest[-1], "cells.double"),
    }


def critical_vacuum(speed):
    """Vacuum at which 2 % of the cells leave the pool empty, by the closed form. [Pa]"""
    scenario = machine("canola", 80, 0.04, speed).scenario
    stations = stations_of(scenario)
    level = stations.gate.level(stations.gate.full)

    def empty(vacuum):
        found = stations.pickup.chances(level, vacuum, scenario.peripheral_speed)
        return math.exp(-found.meetings * found.hold * found.join)

    low, high = 10.0, 15e3
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if empty(middle) > 0.02 else (low, middle)
    return low


def liao2018():
    """Rapeseed at one, one and a half and two times the critical vacuum."""
    rows = {}
    for factor in (1.0, 1.5, 2.0):
        vacuum = factor * critical_vacuum(1.5)
        result = machine("canola", 80, 0.04, 1.5, vacuum__vacuum=vacuum)
        rows |= {
            f"single at {factor}": result["cells.single"],
            f"miss at {factor}": result["cells.skip"],
            f"multiple at {factor}": combined(
                [(1, result["cells.double"]), (1, result["cells.triple"])]
            ),
        }
    for slow, fast in ((1.0, 1.5), (1.5, 2.0)):
        rise = critical_vacuum(fast) / critical_vacuum(slow)
        rows[f"critical from {slow} to {fast} m/s"] = exactly(rise)
    most = machine_run("canola", 80, 0.04, 1.5, vacuum__vacuum=15e3).cells.joined.max()
    rows["most seeds on a hole"] = exactly(float(most))
    return rows


def huazhong2023():
    """Maize, 35 cells, an edge 6.2 mm from the holes' path."""
    result = machine("maize_large_flat", 35, 0.20, 1.67, singulator__gap=6.2e-3)
    return indices("35 cells", result)


def yazgi2016():
    """Without a tube, with the best and with the worst one, averaged over speeds and spacings."""
    free = dataclasses.replace(USUAL, contact_base=0.0, contact_by_speed=0.0)
    found = {"without": [], "best": [], "worst": []}
    for spacing in (0.067, 0.120, 0.172):
        for speed in (1.0, 2.0):
            for name, wear in (("best", 0.0), ("worst", 1.0)):
                found[name].append(
                    machine(
                        "maize_large_flat",
                        30,
                        spacing,
                        speed,
                        sown=900,
                        tube__tube_wear=wear,
                        tube__tube_curvature=0.0,
                    )
                )
            scenario = found["best"][-1].scenario
            run = simulate(scenario, stations=stations_of(scenario, free))
            found["without"].append(measure(run))
    return {
        name: combined([(1 / 6, result["per_spacing.quality"]) for result in results])
        for name, results in found.items()
    }


def onal2012():
    """Quality lost from 16 to 24 seeds a second, less that from 8 to 16."""
    rows = {}
    for lot, crop in (("maize_large_flat", "maize"), ("cotton", "cotton")):
        slow, ceiling, fast = (
            machine(lot, 30, 0.15, rate * 0.15, sown=sown)["per_spacing.quality"]
            for rate, sown in ((8, 1800), (16, 4800), (24, 2400))
        )
        rows[crop] = combined([(2, ceiling), (-1, slow), (-1, fast)])
    return rows


PREDICTORS = {
    function.__name__: function
    for function in (
        karayel2004,
        banaj2022,
        torosoglu,
        ankara2021,
        bozdogan2008,
        nadin2019,
        liu2017,
        qi2013,
        liao2018,
        huazhong2023,
        yazgi2016,
        onal2012,
    )
}

# ---------------------------------------------------------------- published and predicted

UNIT = {"%": 1e-2, "kPa": 1e3, "cm": 1e-2, "ms": 1e-3, "": 1.0}
RELATIONS = ("near", "above", "below")
VERDICTS = ("agrees", "disagrees", "open")


@dataclasses.dataclass(frozen=True)
class Row:
    """A published value and what is held of it."""

    source: str
    row: str
    unit: str
    relation: str  # near: within the tolerance; above, below: of the published bound
    published: float
    tolerance: float
    verdict: str

    def judge(self, predicted):
        """Whether the whole interval of a prediction agrees, disagrees, or leaves it open."""
        ends = [(end / UNIT[self.unit]) - self.published for end in (predicted.low, predicted.high)]
        inside = [self._holds(off) for off in ends]
        if all(inside):
            return "agrees"
        crossed = self.relation == "near" and ends[0] < 0 < ends[1]
        return "open" if any(inside) or crossed else "disagrees"

    def _holds(self, off):
        if self.relation == "near":
            return abs(off) <= self.tolerance
        return off > 0 if self.relation == "above" else off < 0


def published(source):
    """The published rows of a source."""
    with (HERE / f"{source}.csv").open(encoding="utf-8", newline="") as file:
        lines = [line for line in file if not line.startswith("#")]
    return [
        Row(
            source=source,
            row=line["row"],
            unit=line["unit"],
            relation=line["relation"],
            published=float(line["published"]),
            tolerance=float(line["tolerance"] or 0),
            verdict=line["verdict"],
        )
        for line in csv.DictReader(lines)
    ]


def table():
    """Published and predicted values of all sources, as a table in Markdown."""
    lines = [
        "| source | quantity | published | predicted (95 % interval) | verdict |",
        "|---|---|---|---|---|",
    ]
    for source, predict in PREDICTORS.items():
        predicted = predict()
        for row in published(source):
            value, low, high = (
                f"{number / UNIT[row.unit]:.3g}"
                for number in dataclasses.astuple(predicted[row.row])
            )
            spread = "" if low == high else f" ({low} to {high})"
            bound = {"near": "", "above": "over ", "below": "under "}[row.relation]
            about = f" ± {row.tolerance:g}" if row.relation == "near" else ""
            verdict = row.judge(predicted[row.row])
            lines.append(
                f"| {source} | {row.row} | {bound}{row.published:g}{about} {row.unit} "
                f"| {value}{spread} | {verdict} |"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
