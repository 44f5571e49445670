"""Start sheets of each crop, held key by key against sources; and sheets of seeds that lie close.

Where the simulation differs from a source or from the trade, the sheet has to say so, with the size
of the difference.  Nothing here depends on the values of the coefficients.
"""

import math
import re
from dataclasses import dataclass, replace

import numpy as np
import pytest

import metersim as m
from metersim.machine.discs import load_discs
from metersim.machine.scenario import CLOSE_PITCH
from metersim.machine.sources import HANDBOOK_HOLE, SOURCES, TRADE_VACUUM
from metersim.measures.indices import FLAT
from metersim.measures.intervals import Estimate
from metersim.measures.spacing import class_counts, per_spacing, quality_of_scatter
from metersim.questions.sheet import choice, machines, scatter, study
from metersim.questions.sheet import start as startpoint
from metersim.questions.sheet.discfit import machine_for
from metersim.questions.sheet.fits import pp
from metersim.questions.sheet.rules import _of_speed, _of_vacuum
from metersim.questions.sheet.settings import ASSUMED
from metersim.questions.sheet.start import QUALITY, SINGLE, leading, published_vacuums
from metersim.questions.sheet.text import EXPECTED_CLOSE, blocks, sheet_text

TRADE = "common practice, no source"
MEMORY = "handbooks, from memory"
OURS = "assumption"


@dataclass(frozen=True)
class Crop:
    """What is asked for a crop, and what sources say of each key of its start sheet."""

    lot: str
    asked: tuple[float, float, float]  # seeds per ha, cm between rows, km/h: usual demands
    cells: tuple[int, int]
    cells_from: str
    vacuum_from: str
    notch: str  # rule of the trade
    notch_from: str = TRADE
    hole_from: str = MEMORY
    gate_from: str = TRADE
    guide_from: str = OURS
    speed_from: str = OURS


CROPS = {
    "maize": Crop(
        "maize_large_flat",
        (80_000, 75, 6),
        (24, 44),
        "banaj2022",
        "karayel2004",
        "travel",
        speed_from="nadin2019",
    ),
    "soybean": Crop("soybean", (400_000, 45, 6), (40, 80), "huazhong2023", "karayel2004", ""),
    "canola": Crop("canola", (500_000, 45, 5), (60, 120), TRADE, TRADE, "aggressive"),
    "sunflower": Crop("sunflower", (65_000, 75, 6), (12, 36), "banaj", TRADE, ""),
    "pelleted beet": Crop(
        "sugar_beet_pelleted", (110_000, 50, 6), (30, 60), TRADE, "karayel2004", ""
    ),
    "bare beet": Crop("sugar_beet", (110_000, 50, 6), (30, 60), TRADE, "karayel2004", ""),
    "sorghum": Crop("sorghum", (180_000, 75, 6), (40, 80), TRADE, TRADE, ""),
    "cotton": Crop("cotton", (120_000, 96, 6), (32, 64), TRADE, TRADE, "", speed_from="onal2012"),
    "wheat": Crop("wheat", (2_000_000, 20, 4), (60, 120), TRADE, "wheat_stand", ""),
}
"""Cells are the least and most of meters in use; a speed is that of a source where one has it."""
WHEAT_STAND = (2.5e3, 4.5e3)  # Pa, wheat_stand, read


def demand(crop):
    rate, rows, speed = crop.asked
    return [f"rate_per_ha={rate}", f"row_spacing_cm={rows}", f"speed_kmh={speed}"]


@pytest.fixture
def short(monkeypatch):
    """Few cells and draws: what is tested holds at any length."""
    monkeypatch.setattr(startpoint, "CELLS", 3_000)
    monkeypatch.setattr(startpoint, "TRIED_CELLS", 1_000)
    monkeypatch.setattr(startpoint, "VACUUMS", 4)
    monkeypatch.setattr(startpoint, "TRAVEL", 1)
    monkeypatch.setattr(study, "DRAWN_CELLS", 1_000)
    monkeypatch.setattr(study, "DRAWS", 3)
    monkeypatch.setattr(machines, "DISC_DRAWS", 3)
    monkeypatch.setattr(machines, "DISC_CELLS", 1_000)
    monkeypatch.setattr(scatter, "SCATTER_CELLS", 500)


def ranges_of(crop, sheet):
    """Settings beside what their source gives: key, value, least, most, source."""
    scenario = sheet.scenario
    share = scenario.disc.hole_diameter / scenario.seeds.width
    yield "cells", scenario.disc.cells, *crop.cells, crop.cells_from
    yield "hole", share, *HANDBOOK_HOLE, crop.hole_from
    pitch = scenario.pitch / scenario.seeds.length
    yield "pitch", pitch, CLOSE_PITCH, math.inf, OURS
    yield "gate", scenario.pool.gate_opening, *sheet.gate.openings[[0, -1]], crop.gate_from


def said_of(sheet, crop):
    """Every rule that is not agreed with must stand on the sheet, with its size in points."""
    text = " ".join(sheet_text(sheet).split())
    for rule in sheet.rules:
        if not rule.agrees:
            assert "The simulation disagrees" in text
            for change in rule.changes.values():
                assert pp(change) in text
    if crop.notch:
        assert crop.notch in {rule.key for rule in sheet.rules}
    vacuum, name = sheet.scenario.vacuum.vacuum, sheet.scenario.lot.crop
    keys = {rule.key: rule for rule in sheet.rules}
    if name in TRADE_VACUUM:
        low, high = (1e3 * end for end in TRADE_VACUUM[name])
        rule = keys["vacuum"]
        assert rule.agrees or not low <= vacuum <= high
    if name in published_vacuums():
        assert "karayel2004" in text
        assert sheet.chosen.start.published in (None, published_vacuums()[name])
        if sheet.chosen.start.published is not None:
            assert vacuum == published_vacuums()[name] and keys["published"].agrees
    return text


def check(name):
    crop = CROPS[name]
    sheet = m.sheet(crop.lot, demand(crop), vacuum_most=6e3)
    for key, value, low, high, source in ranges_of(crop, sheet):
        assert source in (TRADE, MEMORY, OURS) or source in SOURCES, key
        assert low * (1 - 1e-9) <= value <= high * (1 + 1e-9), (key, value, low, high, source)
    text = said_of(sheet, crop)
    assert sheet.chosen.disc.suits(sheet.scenario.lot.crop)
    assert not sheet.chosen.objections
    assert text.count(ASSUMED) >= 3  # guide, cut-off, and what is marked below
    faster = next(one for one in sheet.nearby if one.key == "faster")
    assert faster.cost.low <= 0  # no source has a meter that sows better when it goes faster
    return sheet


@pytest.mark.evidence
@pytest.mark.parametrize("name", CROPS)
def test_each_key_of_a_start_sheet_has_a_source_or_says_that_it_differs(name):
    check(name)


@pytest.mark.evidence
def test_the_keys_of_one_start_sheet_have_sources_or_say_that_they_differ(monkeypatch, short):
    few = [disc for disc in load_discs() if disc.suits("cotton")]
    monkeypatch.setattr(study, "load_discs", lambda: few)
    check("cotton")


@pytest.mark.parametrize("name", CROPS)
def test_every_key_of_the_table_names_a_source(name):
    crop = CROPS[name]
    for key, source in vars(crop).items():
        if key.endswith("_from"):
            assert source in (TRADE, MEMORY, OURS) or source in SOURCES, (name, key)


@pytest.mark.parametrize("name", CROPS)
def test_a_disc_made_for_the_crop_is_free_of_objections(name):
    """Otherwise the class of seed could not decide."""
    crop = CROPS[name]
    made = machine_of(crop)
    found = [(disc, *choice.fit(made, disc)) for disc in load_discs()]
    assert any(
        disc.suits(made.scenario.lot.crop) for disc, scenario, no in found if scenario and not no
    )


def machine_of(crop):
    return machine_for(crop.lot, demand(crop))


# seeds that lie close


def test_below_eight_centimetres_singulation_leads():
    scenario = machine_of(CROPS["maize"]).scenario
    rate = scenario.demand.rate * scenario.spacing / 0.08
    assert leading(scenario.replace(demand__rate=0.99 * rate)) == QUALITY
    assert leading(scenario.replace(demand__rate=1.01 * rate)) == SINGLE


@pytest.mark.parametrize("share", [0.1, 0.2, 0.25])
def test_quality_of_scatter_alone_is_that_of_drawn_seeds(share):
    """A = 1 - 2 Phi(-x/(2 sqrt 2 sigma)), as long as seeds hardly overtake one another."""
    rng = np.random.Generator(np.random.PCG64(3))
    many = 40_000
    places = np.arange(many) + share * rng.standard_normal(many)
    found = per_spacing(class_counts(np.diff(np.sort(places)), 1.0)).quality
    expected = quality_of_scatter(share, 1.0)
    overtaken = 2 * (1 - 0.5 * (1 + math.erf(0.5 / share)))  # share of neighbours that change order
    error = math.sqrt(max(expected * (1 - expected), 1e-6) / many)
    assert abs(found - expected) < 5 * error + overtaken
    assert quality_of_scatter(0.01 * share, 1.0) == pytest.approx(1.0)


@dataclass
class Fake:
    """Records with nothing but where seeds lie."""

    cell: np.ndarray
    position: np.ndarray

    @property
    def seeds(self):
        return self


def test_scatter_is_that_of_the_seeds_whatever_is_skipped_or_doubled():
    rng = np.random.Generator(np.random.PCG64(4))
    many, sigma = 20_000, 0.03
    cells = np.flatnonzero(rng.random(many) > 0.05)
    cells = np.sort(np.concatenate((cells, cells[::30])))
    places = 0.05 * cells + sigma * rng.standard_normal(len(cells))
    found = scatter.scatter_of(Fake(cells, places))
    assert found == pytest.approx(sigma, rel=4 * 1.3 / math.sqrt(2 * many))
    even = scatter.scatter_of(Fake(cells, 0.05 * cells))
    assert even == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(scatter.scatter_of(Fake(cells[:1], places[:1])))


@pytest.mark.study
@pytest.mark.slow
def test_a_sheet_of_close_seeds_leads_with_singulation_and_scatter(short):
    few = [disc for disc in load_discs() if disc.suits("canola") and disc.cells == 80]
    close = m.sheet("canola", demand(CROPS["canola"]), discs=few)
    assert close.leading == SINGLE and close.scenario.spacing < 0.08
    (block,) = (part for part in blocks(close) if part.name == "expected")
    assert [row[0] for row in block.rows][1:4] == ["singulation", "scatter along the row", "skips"]
    assert len(block.rows) == 2 + len(EXPECTED_CLOSE)
    assert re.search(r"[\d.]+ mm", block.rows[2][1]) and "measure scatter" in block.lines[0]
    assert close.scatter["field"].value > close.scatter["bench"].value > 0  # soil and hop
    for one in close.scatter.values():
        assert one.low < one.value < one.high
    costs = [one.changes[SINGLE].value for one in close.nearby]
    assert costs == sorted(costs)


def test_scatter_without_seeds_has_no_value(short):
    scenario = machine_of(CROPS["wheat"]).scenario.replace(vacuum__vacuum=50.0)
    found = scatter.scatter_spread(scenario, seed=1, draws=2)
    assert math.isnan(found.value)


def test_speed_of_a_seed_that_is_not_of_the_studies_has_no_rule():
    lots = {name: machine_of(CROPS[name]).scenario for name in ("maize", "canola")}
    cost = study.Estimate(-0.02, -0.03, -0.01)
    (rule,) = _of_speed(lots["maize"], lambda **_: cost)
    assert rule.agrees and rule.values["faster"] == 1.25 * lots["maize"].demand.speed
    assert not list(_of_speed(lots["canola"], lambda **_: cost))
    (none,) = _of_speed(lots["maize"], lambda **_: replace(cost, high=0.01))
    assert not none.agrees


@pytest.mark.parametrize(("start", "agrees"), [(3e3, True), (5.5e3, False), (1e3, False)])
def test_the_trade_s_vacuum_is_held_at_its_nearest_end(start, agrees):
    scenario = machine_of(CROPS["soybean"]).scenario.replace(vacuum__vacuum=start)

    def change(vacuum__vacuum):
        away = abs(vacuum__vacuum - start) / 1e3
        return study.Estimate(-0.01 * away, -0.02 * away, 0.0)

    trade, published = _of_vacuum(scenario, change)
    low, high = (1e3 * end for end in TRADE_VACUUM["soybean"])
    assert trade.values["nearest"] == min(max(start, low), high)
    assert trade.agrees == agrees == (trade.changes["nearest"].value >= -FLAT)
    assert published.values["published"] == 3e3


@pytest.mark.slow
@pytest.mark.parametrize("name", ["maize", "sunflower"])
def test_the_chosen_disc_is_that_of_a_comparison_of_all(name, short):
    """The ranking compares no more discs than it needs; here every disc is held against the best.

    Negative control: where every disc but the least good one surely lags, that one is chosen.
    """
    fitted, _ = choice.searched(machine_of(CROPS[name]), load_discs())
    ranking = choice.Ranking(fitted, lambda one: one, 6e3, 1, "metric")
    least = min(len(one.objections) for one in ranking.fits)
    free = [one for one in ranking.fits if len(one.objections) == least]
    best = max(range(len(free)), key=lambda k: free[k].measured.points[QUALITY][0])
    held = machines.SharedMachines(machines.DISC_DRAWS, machines.DISC_CELLS)
    leads = [apart[QUALITY] for _, apart in held.against([one.measured for one in free], best)]
    chosen = free[choice.chosen_of(free, leads.__getitem__)]
    assert chosen.disc == ranking.chosen.disc
    worst = min(range(len(free)), key=lambda k: free[k].measured.points[QUALITY][0])
    behind = Estimate(-0.5, -0.6, -0.4)
    lagging = free[choice.chosen_of(free, lambda k: leads[best] if k == worst else behind)]
    assert lagging.disc == free[worst].disc != chosen.disc
