"""Pictures: what is drawn is what the run holds, every time and nothing else."""

import dataclasses
import os
import pickle
import subprocess
import sys

import numpy as np
import pytest
from matplotlib.axes._base import _AxesBase
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, RegularPolygon
from matplotlib.text import Text

from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of
from metersim.measures.estimates import difference, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.spacing import class_counts, per_spacing, spacings_of
from metersim.questions.compare.figure import comparison_figure, draw_comparison, draw_differences
from metersim.questions.compare.study import COMPARED, Comparison
from metersim.questions.run.figure import run_figure
from metersim.questions.shared.discpicture import draw_counts, draw_disc
from metersim.questions.shared.page import save
from metersim.questions.shared.rowpicture import draw_row
from metersim.questions.shared.spacingpicture import draw_spacings
from metersim.questions.shared.spread import Spread, change_between, gather
from metersim.questions.shared.style import WARM
from metersim.run.records import Cells, Run, Seeds, Ticks
from metersim.run.simulation import simulate
from metersim.run.snapshot import NONE, snapshot, telling_moment
from tests.questions.pages import check_page

SCENARIO = load_scenario("maize_bench").replace(demand__speed=1.5)  # with nothing to note
NAN = float("nan")
ROWS = [("normal", -1.5, -2, -1), ("a miss under a longer name", 1.2, 0.5, 1.9), ("x", NAN, 0, 0)]


def comparison_of(labels, runs):
    """A comparison of runs by hand, with two draws that are like the runs."""
    first, *others = measured = tuple(map(measure, runs))
    levels = [
        Spread(label, (), one.estimates, gather([one.points] * 2))
        for label, one in zip(labels, measured, strict=True)
    ]
    changes = []
    for level, other in zip(levels[1:], others, strict=True):
        paired = {key: difference(first, other, BY_KEY[key]) for key in COMPARED}
        apart = {key: other.points[key] - first.points[key] for key in COMPARED}
        changes.append(change_between(levels[0], level, paired, gather([apart] * 2)))
    return Comparison(tuple(labels), measured, tuple(levels), tuple(changes), tuple(runs))


def run_of(released):
    """A run by hand: what each cell released, each seed near its place, doubles close together."""
    released = np.asarray(released, dtype=np.int64)
    scenario = SCENARIO.replace(run__turns=released.size // SCENARIO.disc.cells)
    cell = np.repeat(np.arange(released.size), released)
    place = np.concatenate([np.arange(many) for many in released]).astype(np.int64)
    wobble = np.sin(np.arange(cell.size))
    position = 5 + scenario.spacing * (cell + 0.2 * place + 0.15 * wobble)
    still = np.zeros(cell.size)
    seeds = Seeds(
        cell=cell,
        nth=place,
        size=1 + 0.1 * wobble,
        needed=still,
        release_time=still,
        sensor_time=still,
        landing_time=still,
        contacts=np.zeros_like(cell),
        seen=still == 0,
        position=position,
    )
    none = np.zeros_like(released)
    cells = Cells(
        joined=released, knocked=none, swept=none, shaken=none, released=released, reason=none
    )
    ticks = Ticks(
        time=np.arange(9.0),
        pool=np.full(9, 300),
        hopper=np.full(9, 7000),
        arched=np.zeros(9, dtype=bool),
        spilt=np.zeros(9, dtype=np.int64),
    )
    return Run(
        scenario=scenario,
        seed=1,
        replicate=0,
        version="1.2.3",
        replaced={},
        seeds=seeds,
        cells=cells,
        ticks=ticks,
    )


@pytest.fixture(scope="module")
def run():
    """A run with skips, doubles, a triple and a gap of several places."""
    released = np.ones(900, dtype=np.int64)
    released[40::17] = 0
    released[50::41] = 2
    released[500] = 3
    released[600:604] = 0
    return run_of(released)


@pytest.fixture(scope="module")
def page(run):
    return run_figure(run)


@pytest.fixture(scope="module")
def comparison(run):
    found = comparison_of(["as found", "cleaned", "worn"], [run] * 3)
    return comparison_figure(found, "us")


def axes():
    return Figure(figsize=(7.5, 4)).add_axes((0.1, 0.1, 0.8, 0.8))


def words(figure):
    return [text.get_text() for text in figure.findobj(Text)]


def labels(figure):
    """Every axis label that can be seen, of upper axes too."""
    return [
        axis.get_label_text()
        for ax in figure.findobj(_AxesBase)
        for axis in (ax.xaxis, ax.yaxis)
        if axis.get_label_text()
    ]


# spacings


def test_bars_add_up_to_the_spacings_by_class(run):
    spacings, reference = spacings_of(run.seeds.position), run.scenario.spacing
    bars = draw_spacings(axes(), spacings, reference)
    heights = np.array([bar.get_height() for bar in bars])
    middles = np.array([bar.get_x() + bar.get_width() / 2 for bar in bars])
    assert heights.sum() == spacings.size
    counts = class_counts(spacings, reference)
    low = 0.0
    for count, high in zip(counts, (0.5, 1.5, 2.5, 3.5, 9.0), strict=True):
        assert heights[(middles > low) & (middles < high)].sum() == count
        low = high


def test_shares_are_those_per_spacing(run):
    spacings, reference = spacings_of(run.seeds.position), run.scenario.spacing
    ax = axes()
    draw_spacings(ax, spacings, reference)
    index = per_spacing(class_counts(spacings, reference))
    shown = words(ax)
    for name, share in (
        ("close", index.multiple),
        ("normal", index.quality),
        ("missed", index.miss),
    ):
        assert f"{name}\n{100 * share:.1f} %" in shown


def test_a_spacing_on_a_bound_belongs_below_it_as_in_its_class():
    reference = 0.17
    spacings = np.arange(1, 36) / 10 * reference
    bars = draw_spacings(axes(), spacings, reference)
    assert [bar.get_height() for bar in bars] == [1] * 35 + [0]
    assert class_counts(spacings, reference).tolist() == [5, 10, 10, 10, 0]


def test_spacings_beyond_the_axis_are_gathered_and_named():
    ax = axes()
    bars = draw_spacings(ax, [0.2, 0.9, 77.0], 0.2)
    assert bars[-1].get_height() == 2
    assert "2 beyond 3.5" in words(ax)


def test_upper_axis_is_the_length_in_the_units_asked():
    for units, nominal in (("metric", "nominal 25.4 cm"), ("us", "nominal 10 in")):
        ax = axes()
        draw_spacings(ax, [0.254], 0.254, units)
        assert nominal in words(ax)
    with pytest.raises(ValueError, match="'metric', 'us'"):
        draw_spacings(axes(), [0.254], 0.254, "imperial")


# row


def test_seeds_lie_at_their_positions_and_to_scale(run):
    ax = axes()
    drawn = draw_row(ax, run, start=45, length=12)
    where, across = drawn.get_offsets().T
    low, high = ax.get_xlim()
    assert low == 0
    spacing = run.scenario.spacing
    offset = np.median(run.seeds.position - run.seeds.cell * spacing)
    positions = 100 * (run.seeds.position - (45 - 0.7) * spacing - offset)
    inside = (positions >= low) & (positions <= high)
    assert inside.sum() > 5
    assert where.tolist() == pytest.approx(positions[inside].tolist())
    assert not across.any()
    lot = run.scenario.seeds
    # EllipseCollection halves what it is given
    assert 2 * drawn._widths == pytest.approx(100 * lot.length * run.seeds.size[inside])
    assert 2 * drawn._heights == pytest.approx(100 * lot.width * run.seeds.size[inside])
    assert drawn._units == "x"
    assert "seeds dark, to scale, on pale spots" in ax.get_xlabel()
    away = (45 - 0.7) * spacing + offset
    assert f"{away:.0f} m from its start" in ax.get_title(loc="left")


def test_seeds_too_small_to_be_seen_are_said_not_to_be_to_scale(run):
    ax = axes()
    draw_row(ax, run, start=0, length=800)
    assert "seeds dark, not to scale" in ax.get_xlabel()


def test_every_cell_without_seed_has_a_cross_at_its_place(run):
    ax = axes()
    draw_row(ax, run, start=60, length=60)
    (crosses,) = [line for line in ax.lines if line.get_marker() == "x"]
    spacing = run.scenario.spacing
    empty = np.flatnonzero(run.cells.released[60:120] == 0)
    assert empty.size
    assert crosses.get_xdata() == pytest.approx(100 * (empty + 0.7) * spacing)


def test_default_piece_shows_a_skip_and_a_double(run):
    ax = axes()
    draw_row(ax, run)
    title = ax.get_title(loc="left")
    assert "skip" in title and "double" in title


@pytest.mark.parametrize("start", [-1, 890, 9000])
def test_pieces_outside_the_run_are_refused(run, start):
    with pytest.raises(ValueError, match="outside the run: it has cells 0 to 899"):
        draw_row(axes(), run, start=start)
    with pytest.raises(ValueError, match="1 or more cells"):
        draw_row(axes(), run, length=0)


# disc


@pytest.fixture(scope="module")
def turning():
    """A run of the model, with seeds lost at the singulator."""
    return simulate(load_scenario("maize_bench", "turns=9"), seed=3)


@pytest.mark.parametrize("time", [0.0, 1.3, 7.7, 20.2, 99.0])
def test_every_hole_has_one_mark_of_what_is_on_it(turning, time):
    shown = snapshot(turning, time)
    marks = draw_disc(axes(), turning, shown)
    radius, spots = 1e3 * turning.scenario.disc.circle_radius, []
    assert len(marks) == turning.scenario.disc.cells
    for mark, many, counted in zip(marks, shown.carried, shown.on_the_way, strict=True):
        assert isinstance(mark, RegularPolygon if many > 1 else Circle)
        spots.append(mark.xy if many > 1 else mark.center)
        if many < 2:
            assert (mark.get_facecolor() == (1, 1, 1, 1)) == (many == 0)
        if not many:
            is_skip = mark.get_edgecolor() == to_rgba(WARM)
            assert is_skip == counted
    x, y = np.transpose(spots)
    assert np.hypot(x, y) == pytest.approx(radius)
    pitch = 2 * np.pi / len(marks)
    steps = np.diff(np.unwrap(np.arctan2(y, x)))
    assert steps == pytest.approx(-pitch)  # the next hole follows behind, clockwise


def test_the_disc_states_its_moment_and_the_seeds_lost_at_each_station(turning):
    shown = snapshot(turning, 7.7)
    ax = axes()
    draw_disc(ax, turning, shown)
    assert ax.get_title(loc="left") == "The disc at 7.7 s"
    swept = int(shown.lost["swept"].sum())
    assert swept and f"singulator:\n{swept} lost" in words(ax)
    assert len([line for line in ax.lines if line.get_marker() == "v"]) == swept


def test_the_pool_is_drawn_at_its_level(turning):
    for time in (0.0, 7.7):
        ax, shown = axes(), snapshot(turning, time)
        draw_disc(ax, turning, shown)
        (pool,) = [part for part in ax.patches if type(part) is Polygon]
        level = 1e3 * float(stations_of(turning.scenario).gate.level(shown.pool))
        radius = 1e3 * turning.scenario.disc.circle_radius
        assert pool.get_xy()[:, 1].max() == pytest.approx(level - radius)


def test_bars_beside_the_disc_are_the_seeds_of_each_hole(turning):
    shown = snapshot(turning, 20.2)
    strips = [axes() for _ in range(3)]
    now, *before = draw_counts(strips, shown)
    assert [bar.get_height() for bar in now] == shown.carried.tolist()
    assert [[bar.get_height() for bar in row] for row in before] == shown.released.tolist()
    assert (shown.released != NONE).all()


@pytest.mark.slow
def test_a_page_may_show_any_moment(turning):
    for time in (0.0, 99.0):
        said = caption(run_figure(turning, time=time))
        assert said[0] == f"The disc at {time:.1f} s: no cell is behind the singulator."
    shown = snapshot(turning, telling_moment(turning))
    assert caption(run_figure(turning))[0].startswith(f"The disc at {shown.time:.1f} s: of ")


# comparisons


def test_outlines_add_up_to_everything(run):
    spacings = spacings_of(run.seeds.position)
    steps = draw_comparison(axes(), ["a", "b"], [spacings, spacings[:9]], [0.17, 0.25])
    assert [step.get_data().values.sum() for step in steps] == pytest.approx([100, 100])
    assert len({step.get_linestyle() for step in steps}) == 2
    with pytest.raises(ValueError, match="7 runs to compare; allowed: 1 to 6"):
        draw_comparison(axes(), list("abcdefg"), [spacings] * 7, [0.17] * 7)


def test_differences_are_dots_where_there_is_a_value():
    ax = axes()
    dots = draw_differences(ax, ROWS)
    assert [dot.get_xdata()[0] for dot in dots] == [-1.5, 1.2]
    low, high = ax.get_xlim()
    assert low < -2 and high > 1.9
    assert "no value" in words(ax)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("units", "said"), [("metric", "5.4 or 9 km/h"), ("us", "3.36 or 5.59 mph")]
)
def test_a_comparison_names_what_differs_in_the_reader_s_units(run, units, said):
    fast = dataclasses.replace(run, scenario=run.scenario.replace(demand__speed=2.5))
    page = comparison_figure(comparison_of(["slow", "fast"], [run, fast]), units)
    upper, lower = page.axes
    assert upper.get_title(loc="left") == f"Speed {said}: spacings between neighbouring seeds"
    first, last = said.split(" or ")
    symbol = last.split()[1]
    legend = [text.get_text().splitlines()[:2] for text in upper.get_legend().get_texts()]
    assert legend == [["slow", f"speed {first} {symbol}"], ["fast", f"speed {last}"]]
    assert lower.get_title(loc="left").startswith(f"Difference from slow: speed {first} {symbol}")


def test_scenarios_that_differ_in_much_say_in_what_and_how_much(run):
    other = run.scenario.replace(demand__speed=2.5, vacuum__vacuum=3e3, singulator__notch=1.0)
    other = dataclasses.replace(run, scenario=other)
    upper, _ = comparison_figure(comparison_of("ab", [run, other])).axes
    title = upper.get_title(loc="left")
    assert title == "Vacuum, notch and 1 more differ: spacings between neighbouring seeds"
    alike, _ = comparison_figure(comparison_of("ab", [run, run])).axes
    assert alike.get_title(loc="left") == "Spacings between neighbouring seeds"


# pages


def caption(figure):
    """Lines at the foot of a page."""
    (said,) = (text for text in figure.texts if text.get_gid() == "caption")
    return said.get_text().splitlines()


@pytest.mark.slow
def test_caption_says_where_a_page_comes_from(run):
    """Replicate 0 is what everyone has who asks for no other, and is not told."""
    origin = f"metersim {run.version} | maize_bench | random seed"
    disc, settings, at_the_middle = caption(run_figure(run))
    assert disc.startswith("The disc at ")
    assert settings.startswith("lot maize_large_flat; 30 cells")
    assert at_the_middle == f"{origin} 1, at the middle of size_cv_percent from 3.5 to 6.5"
    run = dataclasses.replace(run, scenario=dataclasses.replace(run.scenario, unknown=()))
    assert caption(run_figure(run))[2:] == [f"{origin} 1"]
    changed = dataclasses.replace(run, seed=0, replicate=3, replaced={"tube": "OwnTube"})
    assert caption(run_figure(changed))[2:] == [
        "note: station 'tube' is replaced by OwnTube",
        f"{origin} 0, replicate 3, tube replaced by OwnTube",
    ]


def changed_by(run, *changes):
    """The run as if its scenario had been changed so."""
    scenario = dataclasses.replace(run.scenario, changes=changes, unknown=())
    return dataclasses.replace(run, scenario=scenario)


def test_caption_of_a_comparison_says_everything_once(run):
    """What is shared in one line, and of each what its label leaves out."""
    runs = [changed_by(run, "turns=30", f"notch={k}") for k in (0, 1)]
    origin = f"metersim {run.version} | maize_bench | random seed 1, turns=30"
    varied = comparison_figure(comparison_of(["notch=0", "notch=1"], runs))
    assert caption(varied) == [origin]
    runs[1] = dataclasses.replace(runs[1], replaced={"tube": "OwnTube"})
    named = comparison_figure(comparison_of(["old", "new"], runs))
    assert caption(named) == [
        "note, at new: station 'tube' is replaced by OwnTube",
        origin,
        "old: notch=0",
        "new: tube replaced by OwnTube, notch=1",
    ]


@pytest.mark.slow
def test_a_comparison_says_what_it_is_on_and_which_replicate_is_drawn(run):
    other = dataclasses.replace(run, scenario=dataclasses.replace(run.scenario, title="Other"))
    found = comparison_of("ab", [run, other])
    assert f"{SCENARIO.title} / Other" in words(comparison_figure(found))
    twice = tuple(dataclasses.replace(part, tallies=2 * part.tallies) for part in found.measured)
    said = caption(comparison_figure(dataclasses.replace(found, measured=twice)))
    assert said[-1] == "spacings of the first of 2 replicates, differences of all"
    once = comparison_of("ab", [run, run])
    assert SCENARIO.title in words(comparison_figure(once))


@pytest.mark.slow
def test_every_axis_has_a_unit_and_text_is_large_enough(page, comparison):
    for figure, many in ((page, 6), (comparison, 3)):
        found = labels(figure)
        assert len(found) == many
        for label in found:
            assert "[" in label and "]" in label
        assert min(text.get_fontsize() for text in figure.findobj(Text)) >= 9


@pytest.mark.slow
def test_lengths_on_a_page_are_in_the_units_asked(run, page):
    for figure, along, level in (
        (page, "[cm]", " mm above"),
        (run_figure(run, "us"), "[in]", " in"),
    ):
        found = " ".join(labels(figure))
        assert {unit for unit in ("[cm]", "[mm]", "[in]") if unit in found} == {along}
        assert any(said.startswith("pool: ") and level in said for said in words(figure))


@pytest.mark.slow
def test_no_text_covers_another_or_leaves_the_page(run, page, comparison):
    many = tuple(f"hole_diameter_mm=4.{k}" for k in range(9))
    changed = changed_by(run, *many)
    own = {"tube": "OwnTube" * 6, "edge": "OwnEdge"}
    noted = run_figure(dataclasses.replace(changed, replaced=own))
    fast = run.scenario.replace(demand__speed=4.0)  # with four notes
    warned = run_figure(dataclasses.replace(run, scenario=fast))
    assert len(caption(warned)) > 4
    for figure in (page, comparison, noted, warned):
        check_page(figure)


@pytest.mark.slow
@pytest.mark.parametrize("seeds", [0, 1])
@pytest.mark.filterwarnings("error")
def test_hardly_any_seed_makes_a_page_without_warnings(seeds):
    few = run_of(np.arange(30) < seeds)
    run_figure(few).draw_without_rendering()
    comparison_figure(comparison_of("ab", [few, few])).draw_without_rendering()


def test_titles_may_hold_anything(run):
    scenario = dataclasses.replace(run.scenario, title="a $5 lot: $x_{ & <b> " + "w " * 90)
    named = dataclasses.replace(run, scenario=scenario)
    run_figure(named).draw_without_rendering()


# files


@pytest.mark.study
@pytest.mark.slow
def test_equal_runs_give_equal_bytes_whatever_the_process(run, tmp_path):
    command = (
        "import pickle, sys, matplotlib; matplotlib.rcParams['lines.linewidth'] = 9\n"
        "matplotlib.rcParams['font.size'] = 20\n"
        "from metersim.questions.run.figure import run_figure\n"
        "from metersim.questions.shared.page import save\n"
        "run = pickle.load(open(f'{sys.argv[1]}/run', 'rb'))\n"
        "save(run_figure(run), sys.argv[1] + '/other.svg')\n"
        "assert not [name for name in sys.modules if name == 'matplotlib.pyplot']\n"
        "assert matplotlib.rcParams['font.size'] == 20\n"
    )
    (tmp_path / "run").write_bytes(pickle.dumps(run))
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-c", command, tmp_path], check=True, env=environment)
    save(run_figure(run), tmp_path / "this.svg")
    assert (tmp_path / "this.svg").read_bytes() == (tmp_path / "other.svg").read_bytes()
    other = dataclasses.replace(run, seed=6)
    save(run_figure(other), tmp_path / "other.svg")
    assert (tmp_path / "this.svg").read_bytes() != (tmp_path / "other.svg").read_bytes()


@pytest.mark.parametrize("kind", ["png", "pdf"])
def test_equal_pictures_give_equal_bytes(run, tmp_path, kind):
    for name in ("a", "b"):
        figure = Figure((4, 1))
        draw_row(figure.add_axes((0, 0, 1, 1)), run)
        save(figure, tmp_path / f"{name}.{kind}")
    assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()


def test_a_failed_save_leaves_what_was_there_and_nothing_else(tmp_path, monkeypatch):
    target = tmp_path / "page.png"
    target.write_text("before")

    def fail(*_):
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="disk full"):
        save(Figure(), target)
    assert [path.name for path in tmp_path.iterdir()] == ["page.png"]
    assert target.read_text() == "before"


def test_save_reports_missing_folders_and_unknown_kinds(tmp_path):
    with pytest.raises(FileNotFoundError):
        save(Figure(), tmp_path / "no" / "page.png")
    with pytest.raises(ValueError, match=r"\.png, \.svg, \.pdf"):
        save(Figure(), tmp_path / "page.jpg")
    assert not list(tmp_path.iterdir())
