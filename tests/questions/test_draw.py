"""One name draws every result, and a notebook shows it."""

import struct

import pytest

import metersim as m
from metersim.questions.compare.figure import comparison_figure
from metersim.questions.run.figure import run_figure
from metersim.questions.shared.page import encoded
from metersim.questions.sweep.figure import sweep_figure

SHORT = ["turns=10"]


def results():
    """A result of each kind that has a picture, with what draws it."""
    compared = m.compare("maize_bench", vary="notch=0,1", changes=SHORT, keep=True)
    plan = m.plan_sweep("maize_bench", "vacuum_kpa=3,4,5", changes=SHORT)
    yield m.simulate(m.load_scenario("maize_bench", SHORT)), run_figure
    yield compared, comparison_figure
    yield m.respond(m.sweep(plan)), sweep_figure


@pytest.mark.study
@pytest.mark.slow
def test_each_result_has_its_picture():
    pictures = set()
    for result, figure in results():
        for units in ("metric", "us"):
            made = encoded(m.draw(result, units), "x.svg")
            assert made == encoded(figure(result, units), "x.svg")
            pictures.add(made)
    assert len(pictures) == 6  # each in the reader's units


def test_unknown_units_are_refused():
    for result, _ in results():
        with pytest.raises(ValueError, match="units is 'imperial'; allowed: 'metric', 'us'"):
            m.draw(result, "imperial")


def test_what_has_no_picture_is_told():
    scenario = m.load_scenario("maize_bench", SHORT)
    for result in (scenario, m.tallied(scenario), None):
        with pytest.raises(TypeError, match=f"{type(result).__name__} has no picture; draw"):
            m.draw(result)
    with pytest.raises(ValueError, match="no runs to draw; compare with keep=True"):
        m.draw(m.compare("maize_bench", vary="notch=0,1", changes=SHORT))


@pytest.mark.slow
def test_a_notebook_gets_a_picture_of_the_size_of_its_page():
    """PNG bytes, with the width to show them at: 7.5 in of 96 dots."""
    page = m.draw(m.simulate(m.load_scenario("maize_bench", SHORT)))
    made, shown = page._repr_png_()
    assert made == encoded(page, "x.png")
    width, height = struct.unpack(">II", made[16:24])
    assert (width, height) == (1500, 200 * page.get_figheight())
    assert shown == {"width": 720}
