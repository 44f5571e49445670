"""Pictures of sweeps: what is drawn is what the rows hold."""

import numpy as np
import pytest

from metersim.measures.indices import read_limit
from metersim.questions.shared.page import encoded, new_page
from metersim.questions.sweep.figure import sweep_figure
from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.response import respond
from metersim.questions.sweep.responses import _outline, draw_curves, draw_map
from metersim.questions.sweep.study import Outcome, sweep
from metersim.questions.sweep.text import report
from tests.questions.pages import check_page
from tests.sweep_points import hill, outcome

SWEEPS = {
    "one": ["vacuum_kpa=2:6:9"],
    "curves": ["vacuum_kpa=2:6:9", "inner_guide=true,false"],
    "list first": ["notch=0,1,2", "vacuum_kpa=2:6:9"],
    "words": ["surface=bench,field", "vacuum_kpa=3,4"],
    "map": ["vacuum_kpa=2:6:9", "notch=-2:10:7"],
    "panels": ["vacuum_kpa=2:6:3", "notch=-1:1:3", "inner_guide=true,false"],
}
SAMPLE = ["vacuum_kpa=2:6", "notch=-1:1"]


def response_of(vary, key="per_spacing.quality", **options):
    """The response of a hill of which some points are not possible."""

    def run(job):
        far = job.settings.get("singulator__notch", 0) > 5
        return Outcome(fault="too far") if far else hill(job)

    return respond(sweep(plan_sweep("maize_bench", vary, **options), run=run), key)


def axes():
    return new_page(4).add_axes((0.1, 0.1, 0.8, 0.8))


@pytest.mark.slow
def test_a_curve_is_the_values_in_percent():
    response = response_of(SWEEPS["one"])
    (curve,) = draw_curves(axes(), response)
    assert curve.get_xdata().tolist() == [2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6]
    assert np.array_equal(curve.get_ydata(), 100 * response.values[:, 0])


@pytest.mark.slow
@pytest.mark.parametrize("name", ["curves", "list first"])
def test_there_is_a_curve_for_each_value_of_a_list(name):
    """The range is what curves run along, wherever it stands."""
    response = response_of(SWEEPS[name])
    ax = axes()
    curves = draw_curves(ax, response)
    assert ax.get_xlabel() == "vacuum [kPa]"
    assert len(curves) == len(next(a.words for a in response.sweep.plan.axes if a.words))
    for curve in curves:
        away = np.array([2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6]) - 4
        assert curve.get_ydata() == pytest.approx(97 - away**2)
        assert np.all(np.diff(curve.get_xdata()) > 0)


@pytest.mark.slow
@pytest.mark.parametrize(("key", "begins"), [("cells.skip", True), ("per_spacing.quality", False)])
def test_an_axis_of_a_small_share_begins_at_none(key, begins):
    """A share near 100 % would be a flat line; its caption says that the axis begins elsewhere."""
    made = respond(response_of(SWEEPS["one"]).sweep, key)
    ax = axes()
    draw_curves(ax, made)
    assert bool(ax.get_ylim()[0] == 0) is begins
    (caption,) = (text for text in sweep_figure(made).texts if text.get_gid() == "caption")
    assert ("does not begin at 0 %" in caption.get_text()) is not begins


@pytest.mark.slow
@pytest.mark.parametrize(
    ("units", "said"),
    [
        ("metric", "Varied: vacuum 2 to 6 kPa, inner guide true, false"),
        ("us", "Varied: vacuum 8.03 to 24.1 inH2O, inner guide true, false"),
    ],
)
def test_a_page_names_what_varies_in_the_reader_s_units(units, said):
    page = sweep_figure(response_of(SWEEPS["curves"]), units)
    assert said in [line for text in page.texts for line in text.get_text().splitlines()]


@pytest.mark.slow
def test_curves_are_not_for_maps():
    with pytest.raises(ValueError, match="curves are for one axis"):
        draw_curves(axes(), response_of(SWEEPS["map"]))


def test_a_map_has_a_cell_for_each_point():
    response = response_of(SWEEPS["map"])
    mesh = draw_map(axes(), response)
    table = np.ma.filled(mesh.get_array(), np.nan).reshape(7, 9)
    expected = 100 * response.values[:, 0].reshape(9, 7).T
    assert np.array_equal(table, expected, equal_nan=True)
    assert np.isnan(table[4:]).all() and np.isfinite(table[:4]).all()


def test_an_unsorted_list_is_a_map_in_order():
    """More values than curves can show: cells go by the numbers, not by their place."""
    response = response_of(["vacuum_kpa=6,2,3,4,5,2.5,3.5", "notch=1,0,-1,2,-2,3,4"])
    mesh = draw_map(axes(), response)
    edges = mesh.get_coordinates()[0, :, 0]
    assert np.all(np.diff(edges) > 0)
    row = np.asarray(mesh.get_array()).reshape(7, 7)[0]
    away = np.array([2, 2.5, 3, 3.5, 4, 5, 6]) - 4
    assert row == pytest.approx(97 - away**2)


def test_dots_of_a_sample_stand_where_the_points_are():
    response = response_of(SAMPLE, design="latin", points=30)
    dots = draw_map(axes(), response)
    points = np.array(response.sweep.plan.points, dtype=float)[response.acceptable]
    assert np.array_equal(dots.get_offsets(), points)


def test_an_outline_separates_what_is_inside():
    """A square of 2 by 2 cells has 8 edges, two cells that touch at a corner 8, all cells 20."""
    x, y = np.arange(6.0), np.arange(6.0)
    square = np.zeros((5, 5), dtype=bool)
    square[1:3, 1:3] = True
    assert len(_outline(x, y, square)) == 8
    corners = np.zeros((5, 5), dtype=bool)
    corners[0, 0] = corners[1, 1] = True
    assert len(_outline(x, y, corners)) == 8
    assert len(_outline(x, y, ~np.zeros((5, 5), dtype=bool))) == 20
    assert _outline(x, y, np.zeros((5, 5), dtype=bool)) == []
    for (x0, y0), (x1, y1) in _outline(x, y, square):
        assert min(x0, x1, y0, y1) >= 1 and max(x0, x1, y0, y1) <= 3


PAGES = {
    **{name: (vary, {}) for name, vary in SWEEPS.items()},
    "dots": (SAMPLE, {"design": "sobol", "points": 32}),
    "samples": ([*SAMPLE, "speed_kmh=4:8"], {"design": "latin", "points": 30}),
    "importance": (["vacuum_kpa=2:6"], {"design": "importance", "points": 8}),
}


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", PAGES)
def test_a_page_says_where_it_is_from_and_words_do_not_overlap(name):
    vary, options = PAGES[name]
    page = sweep_figure(response_of(vary, **options))
    assert encoded(page, "x.png") == encoded(sweep_figure(response_of(vary, **options)), "x.png")
    (caption,) = (text for text in page.texts if text.get_gid() == "caption")
    assert "maize_bench | random seed 1" in caption.get_text()
    assert "missed spacings at most 4.8 %" in " ".join(caption.get_text().split())
    check_page(page)


def test_a_response_without_values_has_a_page():
    plan = plan_sweep("maize_bench", ["notch=0,1"])
    nothing = respond(sweep(plan, run=lambda job: outcome(per_spacing__quality=float("nan"))))
    assert nothing.best is None and not nothing.acceptable.any()
    assert "has no value at any point" in report(nothing)
    assert b"no value at any point" in encoded(sweep_figure(nothing), "x.svg")


@pytest.mark.slow
def test_a_limit_of_the_response_is_drawn_and_others_are_not():
    made = response_of(SWEEPS["one"])
    for limit, drawn in (("per_spacing.quality>=0.95", 1), ("per_spacing.miss<=0.05", 0)):
        ax = axes()
        draw_curves(ax, respond(made.sweep, limits=[read_limit(limit)]))
        assert sum("at least 95" in text.get_text() for text in ax.texts) == drawn
