"""What `measured --cells` says of single holes."""

import json

import numpy as np
import pytest

import metersim as m
from metersim.files.faults import BadInput
from metersim.measures.fold import folds
from metersim.questions.measured.figure import measured_figure
from metersim.questions.measured.pattern import no_pattern, pattern_sentences
from tests.measures.test_fold import HOLES, row
from tests.questions.pages import check_page
from tests.questions.test_measured_answer import (
    file_of,
    fits_in_a_terminal,
    of_rows,
    predicted_once,  # noqa: F401  a fixture
    scenario,
    source,
)

pytestmark = pytest.mark.usefixtures("predicted_once", "folder")


def tape(rng, **more):
    """A tape [cm] of a disc, and the number of its failing hole."""
    spacings, named = row(rng, **more)
    places = np.concatenate([[0.0], np.cumsum(100 * scenario().spacing * spacings)])
    return file_of("position_cm", places.round(1)), named


@pytest.mark.slow
def test_a_plugged_hole_is_the_first_thing_said_after_the_caution(folder, done):
    text, named = tape(np.random.default_rng(1), hole=8, fails=0.92)
    (folder / "tape.csv").write_text(text)
    lines = fits_in_a_terminal(done("measured", "maize_bench", "tape.csv", "--cells", str(HOLES)))
    assert lines[0].startswith("Caution: stop machine and fan")
    assert lines[1].startswith("One hole in 30 fails (misses 2")
    assert f"look at that hole, number {named} " in " ".join(lines[1:3])
    report = done("measured", "maize_bench", "tape.csv", "--cells", str(HOLES), "--details")
    assert f"hole {named}: empty in" in report and "fewer than 1 in 1,000" in " ".join(
        report.split()
    )


@pytest.mark.slow
def test_without_a_pattern_the_power_is_said_and_without_cells_nothing(folder, done):
    (folder / "tape.csv").write_text(tape(np.random.default_rng(2))[0])
    with_cells = done("measured", "maize_bench", "tape.csv", "--cells", str(HOLES))
    fits_in_a_terminal(with_cells)
    said = " ".join(with_cells.split())
    assert "No pattern by hole is detected; a hole that fails half of its turns" in said
    assert "would be detected in 99 of 100 such counts" in said
    assert "Caution" not in said
    assert " hole" not in done("measured", "maize_bench", "tape.csv")


@pytest.mark.slow
def test_json_holds_every_hole(folder, done):
    text, named = tape(np.random.default_rng(3), hole=21)
    (folder / "tape.csv").write_text(text)
    call = ("measured", "maize_bench", "tape.csv", "--json", "-")
    (one,) = json.loads(done(*call, "--cells", str(HOLES)))["by_hole"]
    assert len(one["misses"]) == len(one["doubles"]) == len(one["passages"]) == HOLES
    (hole,) = one["failing"]
    assert hole["hole"] == named and hole["count"] == one["misses"][named - 1]
    assert hole["chance_at_most"] < 1e-9 < one["detects_a_hole_that_fails_half"]
    assert json.loads(done(*call))["by_hole"] == []


@pytest.mark.slow
def test_rows_beside_one_another_have_their_own_holes(folder, done):
    rng = np.random.default_rng(4)
    (bad, named), (good, _), (other, _) = row(rng, hole=3), row(rng), row(rng)
    rows = {"left": bad, "right": good, "wheel": other, "stub": other[:70]}
    rows = {key: scenario().spacing * np.maximum(one, 1e-3) for key, one in rows.items()}
    (folder / "rows.csv").write_text(of_rows(rows))
    lines = fits_in_a_terminal(done("measured", "maize_bench", "rows.csv", "--cells", str(HOLES)))
    said = " ".join(" ".join(lines).split())
    assert "left: one hole in 30 fails (misses 2" in said and f"number {named} (hole 1" in said
    assert "No pattern by hole is detected in 2 other rows" in said
    assert "stub: too short for a pattern by hole: 3 turns of 30 holes are needed, these are 2" in (
        said
    )


@pytest.mark.slow
def test_a_lost_count_is_said(folder, done):
    spacings = np.random.default_rng(5).exponential(size=600)
    places = (100 * scenario().spacing * np.cumsum(spacings)).round(2)
    (folder / "tape.csv").write_text(file_of("position_cm", places))
    said = " ".join(done("measured", "maize_bench", "tape.csv", "--cells", str(HOLES)).split())
    assert "No verdict by hole: seeds scatter, or cells slip, so much" in said


@pytest.mark.study
@pytest.mark.slow
def test_a_page_has_a_disc_for_each_of_three_rows():
    rng = np.random.default_rng(6)
    (bad, named), (good, _) = row(rng, hole=3), row(rng)
    both = source([scenario().spacing * one for one in (bad, good)], ("left", "right"))
    page = measured_figure(m.measured(scenario(), both, cells=HOLES))
    plain = measured_figure(m.measured(scenario(), both))
    check_page(plain)
    wheels = [ax for ax in page.axes if ax.name == "polar"]
    assert len(wheels) == 2 and not [ax for ax in plain.axes if ax.name == "polar"]
    assert "left: 1 of 30 fail" in wheels[0].get_title(loc="center")
    assert str(named) in {one.get_text() for one in wheels[0].texts}


def test_holes_are_whole_and_two_or_more(folder, told):
    (folder / "tape.csv").write_text(tape(np.random.default_rng(8))[0])
    for word in ("0", "3", "x", "2.5", "1000"):
        (fault,) = told("measured", "maize_bench", "tape.csv", "--cells", word)
        assert fault.startswith("--cells")
    with pytest.raises(BadInput):
        m.measured(scenario(), "tape.csv", cells=1)


def test_the_least_power_of_all_rows_is_said():
    rng = np.random.default_rng(7)
    found = folds([row(rng, turns=5)[0], row(rng)[0]], HOLES, ("a", "b"))
    (said,) = pattern_sentences(found)
    assert found[0].power < found[1].power
    assert said.endswith(no_pattern(found[0]).rpartition("would")[2] + ".")
