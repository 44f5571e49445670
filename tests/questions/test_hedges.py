"""Hedges of published relations, what is held fixed, and the text of parts, wherever they stand."""

import json
import re

import pytest

import metersim as m
from metersim.machine.discs import load_discs
from metersim.measures.yields import RELATIONS, Harvest
from metersim.questions.compare.answer import summary as compared
from metersim.questions.shared.answer import LINES, Answer
from metersim.questions.shared.hedges import fixed_words, hedge_words
from metersim.questions.shared.partwords import change_lines, part_note, parts_lines
from metersim.questions.shared.plants import plants, stand_change, stand_of
from metersim.questions.shared.words import WIDE
from metersim.questions.sheet import machines, scatter, start, study
from metersim.questions.sheet.answer import sheet_answer
from metersim.questions.sheet.html import sheet_html
from metersim.questions.sheet.text import sheet_text
from metersim.questions.sheet.written import sheet_json
from tests.questions.test_plants import perfect, real

NOTHING = "published relations find nothing"
FIXED = "equal depth; drive and seeding rate held fixed"


def dicts(made):
    """All dicts in some JSON."""
    if isinstance(made, dict):
        yield made
    for part in made.values() if isinstance(made, dict) else made if isinstance(made, list) else ():
        yield from dicts(part)


def is_hedged(made):
    """Whether every loss in some JSON has a hedge, and every group of them what is held fixed."""
    losses = [one for one in dicts(made) if "loss_share" in one]
    groups = [one for one in dicts(made) if "yield_as_published" in one]
    assert losses and groups
    return all(one.get("hedge") for one in losses) and all(
        one.get("hedge") and one.get("held_fixed") for one in groups
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "asked",
    [("run", "maize_field"), ("compare", "maize_field", "--vary", "speed_kmh=6,9")],
    ids=["run", "compare"],
)
@pytest.mark.parametrize("details", [(), ("--details",)], ids=["answer", "details"])
def test_a_yield_is_never_said_without_its_hedges(asked, details, done, folder):
    usual = (*asked, "--turns", 20, *(("--draws", 4) if "run" in asked else ()), "--plants")
    bare = " ".join(done(*usual).split())
    full = done(*usual, "--yield", 12, "--price", 180, "--json", "out.json", *details)
    said = " ".join(full.split())
    assert re.search(r"expect .* t/ha", said) and "your money" in said
    assert NOTHING in said and "All are of maize, in other fields and years." in said
    assert f"95 % emergence; {FIXED}" in said
    assert is_hedged(json.loads((folder / "out.json").read_text()))
    assert NOTHING not in bare and "t/ha" not in bare  # negative control


@pytest.fixture
def short(monkeypatch):
    """Few cells and draws, so that a sheet takes a fraction of a second."""
    for part, name, value in (
        (start, "CELLS", 4_000),
        (start, "TRIED_CELLS", 1_500),
        (start, "VACUUMS", 6),
        (start, "TRAVEL", 1),
        (study, "DRAWN_CELLS", 1_000),
        (study, "DRAWS", 6),
        (machines, "DISC_DRAWS", 4),
        (machines, "DISC_CELLS", 1_000),
        (machines, "MOVE_DRAWS", 4),
        (machines, "MOVE_CELLS", 1_000),
        (scatter, "SCATTER_CELLS", 500),
    ):
        monkeypatch.setattr(part, name, value)


@pytest.mark.study
@pytest.mark.slow
def test_a_sheet_hedges_its_yields_on_every_page(short, folder):
    few = [disc for disc in load_discs() if disc.cells == 30][:2]
    asked = ["rate_per_ha=80000", "row_spacing_cm=75", "speed_kmh=6"]
    sheet, harvest = (
        m.sheet("maize_large_flat", asked, discs=few),
        Harvest(expected=1.2, price=0.18),
    )
    for text in (sheet_text(sheet, harvest=harvest), sheet_html(sheet, harvest=harvest)):
        said = " ".join(text.split())
        assert NOTHING in said and FIXED in said and "t/ha" in said
    said = " ".join(sheet_answer(sheet, harvest=harvest).split())
    assert ("t/ha" in said) == ("published relations of maize; " in said) and FIXED in said
    assert is_hedged(json.loads(sheet_json(sheet, harvest)))
    assert NOTHING not in " ".join(sheet_text(sheet).split())  # negative control


def test_a_relation_says_its_crop_its_range_and_how_it_is_known():
    for one in RELATIONS:
        assert one.crop in one.hedge
        assert ("from memory" in one.hedge) == (one.mark == "memory")
        assert ("not noted" in one.hedge) == (one.covers is None)
        assert ("no effect" in one.hedge) == one.none_found
    hedges = plants(real(turns=20)).to_dataframe("losses")["hedge"]
    assert list(hedges) == [one.hedge for one in RELATIONS]


def test_what_differs_is_not_said_to_be_held_fixed():
    usual = m.load_scenario("maize_field", ["turns=20"])
    slipping = m.load_scenario("maize_field", ["turns=20", "slip_percent=5"])
    denser = m.load_scenario("maize_field", ["turns=20", "rate_per_ha=90000"])
    stand, slips, dense = (stand_of(one) for one in (usual, slipping, denser))
    assert fixed_words(stand, stand)[-1] == "drive and seeding rate held fixed"
    assert fixed_words(stand, slips)[-1] == "seeding rate held fixed"
    assert fixed_words(stand, dense)[-1] == "drive held fixed"
    assert fixed_words(None) == []
    losses = stand_change(stand, dense).losses
    assert "another seeding rate" in hedge_words(losses, [stand, dense])
    assert "another seeding rate" not in hedge_words(losses, [stand, slips])  # negative control


@pytest.mark.slow
@pytest.mark.parametrize("name", ["maize_field", "soybean_narrow_rows"])
def test_parts_are_three_lines(name):
    scenario = m.load_scenario(name, ["turns=50", "plant_shift_mm=10"])
    stand, other = stand_of(scenario, draws=4), stand_of(scenario.replace(stand__emergence=0.7))
    for lines in (parts_lines(stand), change_lines(stand_change(stand, other), stand)):
        assert len(lines) == 3
        for word in ("Missing", "metering", "scatter", "skips", "doubles", "emergence", "verlap"):
            assert word.casefold() in " ".join(lines).casefold()
    assert max(map(len, parts_lines(stand))) <= WIDE
    assert len(part_note(stand)) <= WIDE


def test_a_part_that_is_nothing_is_said_to_be_none():
    """An even row: emergence alone; without emergence's part there is no uneven spacing at all."""
    note = part_note(plants(perfect(turns=50)))
    assert "metering makes none" in note and "both together none" in note
    assert "even seeds none" in note and "emergence none" not in note
    assert part_note(plants(perfect(turns=50, emergence=1.0))) == ""
    assert parts_lines(plants(real(turns=20, emergence=0.0))) == []


@pytest.mark.slow
def test_a_change_of_the_meter_moves_no_part_of_emergence():
    found = m.compare("maize_field", vary="speed_kmh=6,9", changes="turns=50", plants=True, draws=4)
    said = compared(found)
    assert "by emergence none" in " ".join(said.split())
    change = found.stand_changes[0].measures
    parts = [
        change[f"uneven.{name}"].value for name in ("metering", "emergence", "own", "together")
    ]
    assert sum(parts) == pytest.approx(change["uneven.whole"].value)
    assert change["uneven.emergence"].low == change["uneven.emergence"].high == 0
    assert change["uneven.metering"].low > 0  # negative control


def test_a_further_note_stands_only_where_all_of_it_fits():
    """A note that does not fit takes the place of no other note."""
    full = Answer(first=["a"], notes=["b"] * (LINES - 3), details=["c"])
    assert "more here" in full.with_note("more here").text()
    crammed = Answer(first=["a"], notes=["b"] * (LINES - 2), details=["c"])
    assert crammed.with_note("more here") is crammed
    assert full.with_note("") is full
    assert len(full.with_note("more here").text().splitlines()) == LINES
