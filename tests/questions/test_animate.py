"""A film shows the moment that was asked for, to scale, and its file is whole and small."""

import io
import json
import os
import re
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

import metersim as m
from metersim.files.faults import BadInput
from metersim.questions.animate.figure import Frames
from metersim.questions.animate.film import as_gif, as_mp4, times_of
from metersim.questions.animate.places import Places
from metersim.questions.animate.scene import DPI
from metersim.questions.animate.study import (
    AVALANCHE,
    DOUBLE,
    KINDS,
    SKIP,
    TRIPLE,
    fault_moment,
    film_of,
    kind_moment,
    run_for,
    time_moment,
    with_fault,
)
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.motion.followed import SCRIPTS, motion_of


@cache
def run_of(name="maize_bench", *changes, fault="", seed=1):
    scenario = m.load_scenario(name, ["turns=60", *changes])
    return run_for(with_fault(scenario, LIBRARY[fault]) if fault else scenario, seed)


@cache
def usual_film():
    return film_of(run_of(), kind_moment(run_of(), DOUBLE), seconds=0.4, slow=3)


@cache
def usual_frames():
    return Frames(usual_film())


# the moment


@pytest.mark.parametrize(("kind", "least", "most"), [(SKIP, 0, 0), (DOUBLE, 2, 2), (TRIPLE, 3, 6)])
def test_a_moment_is_the_first_of_its_kind(kind, least, most):
    run = run_of("maize_bench", "notch=-3", "vacuum_kpa=5") if kind == TRIPLE else run_of()
    moment = kind_moment(run, kind)
    released = run.cells.released
    found = np.flatnonzero((released >= least) & (released <= most))
    assert moment.cell == found[found >= run.scenario.disc.cells][0]
    assert f"{found.size:,} {kind}" in moment.often and f"{released.size:,} cells" in moment.often
    film = film_of(run, moment)
    assert film.start < moment.begins < moment.key < moment.ends < film.end
    assert film.seconds <= 6 and film.slow > 1
    assert film.motion.start <= film.start < film.end <= film.motion.end


@pytest.mark.parametrize(("seconds", "slow"), [(1.0, None), (6.0, None), (4.0, 8.0), (5.0, 1.0)])
def test_a_film_is_as_long_and_as_slow_as_asked_for(seconds, slow):
    """What happens is in it, however short it is."""
    moment = kind_moment(run_of(), DOUBLE)
    film = film_of(run_of(), moment, seconds=seconds, slow=slow)
    assert 0.5 * seconds < film.seconds <= seconds + 1e-9
    assert film.start < moment.key < film.end
    assert film.slow == (slow or film.slow) >= 1


def test_an_avalanche_is_the_largest_slide():
    run = run_of("gate_too_low")
    moment = kind_moment(run, AVALANCHE)
    came = -np.diff(run.ticks.hopper)
    assert run.ticks.time[1:][came == came.max()][0] == moment.key
    assert f"{came.max()} seeds slide" in moment.words


def test_a_moment_that_never_comes_is_one_line(folder, done, told):
    (said,) = told("animate", "maize_bench", "--moment", "triple", "--turns", "3", "--out", "f.gif")
    assert "0 of 90 cells; try notch=-3" in said and not (folder / "f.gif").exists()


def test_a_time_outside_the_run_is_refused():
    with pytest.raises(BadInput, match="which lasts 0 to 182"):
        time_moment(run_of(), 500.0)
    assert time_moment(run_of(), 20.0).key == 20.0


@pytest.mark.parametrize("name", ["edge worn", "plugged holes", "low pool"])
def test_a_fault_shows_where_the_healthy_meter_does_otherwise(name):
    sick, healthy = run_of("maize_field", fault=name), run_of("maize_field")
    moment = fault_moment(sick, healthy, LIBRARY[name])
    cell = moment.cell
    assert sick.cells.released[cell] != healthy.cells.released[cell]
    assert f"would release {healthy.cells.released[cell]}" in moment.often


def test_a_fault_of_the_sensor_shows_at_the_sensor():
    sick, healthy = run_of("maize_field", fault="lens"), run_of("maize_field")
    moment = fault_moment(sick, healthy, LIBRARY["lens"])
    own = sick.seeds.cell == moment.cell
    assert (sick.seeds.seen[own] != healthy.seeds.seen[own]).any()
    assert any("no pulse" in words for words in film_of(sick, moment).said())


def test_a_fault_that_shows_nowhere_is_refused():
    with pytest.raises(BadInput, match="shows in none of 1,800 cells"):
        fault_moment(run_of("maize_field"), run_of("maize_field"), LIBRARY["edge worn"])


def test_a_fault_that_the_machine_cannot_have_is_refused():
    with pytest.raises(BadInput, match="cannot have it"):
        with_fault(m.load_scenario("maize_bench"), LIBRARY["idle rows"])


def test_a_row_of_a_machine_is_shown():
    scenario = m.load_scenario("half_parked_open", ["turns=2"])
    first = m.simulate_pass(scenario, seed=1).rows[0]
    assert (run_for(scenario, 1).seeds.position == first.run.seeds.position).all()
    with pytest.raises(BadInput, match="working rows"):
        run_for(scenario, 1, 999)
    with pytest.raises(BadInput, match="has one row"):
        run_for(m.load_scenario("maize_bench"), 1, 2)


# the picture


def test_seeds_are_where_the_motion_has_them():
    """On holes lie as many seeds as there are; each near its hole, all others on their way."""
    motion = motion_of(run_of(), 300, 24)
    places, r = Places(motion), motion.geometry.circle_radius_m
    for time in np.linspace(motion.start, motion.end, 9).tolist():
        still = places.still(time, -99.0, 99.0)
        spots = [spot for look in ("single", "several") for spot in still.seeds[look]]
        on = sum(len(motion.on_hole(cell, time)) for cell in motion.cells)
        held = [s for s in spots if abs(np.hypot(s.x, s.y) - r) < motion.geometry.seed_length_m]
        falling = [s for s in motion.seeds if s.lands and s.leaves_hole <= time < s.lands]
        landed = [s for s in motion.seeds if s.lands and s.lands <= time]
        assert len(spots) == on + len(falling) + len(landed)
        assert on <= len(held) <= on + len(falling)


def test_a_seed_falls_through_its_own_times():
    """It leaves at its hole, passes the beam when it crossed it, and lands at its place."""
    motion = motion_of(run_of(), 300, 12)
    places, g = Places(motion), motion.geometry
    for seed in [one for one in motion.seeds if one.lands][:40]:
        times = np.linspace(seed.leaves_hole, seed.lands, 30).tolist()
        heights = [places._falling(seed, time)[1] for time in times]
        assert all(a > b for a, b in pairwise(heights))
        start = heights[0]
        beam = start - (g.tube_m - g.beam_m) * (g.tube_m + start) / g.tube_m
        assert places._falling(seed, seed.beam)[1] == pytest.approx(beam)
        x, y = places._falling(seed, seed.lands)
        assert y == pytest.approx(-g.tube_m)
        assert x - places.tube_x == pytest.approx(seed.x - places.way(seed.lands))


def test_a_lost_seed_falls_back_into_the_pool():
    motion = motion_of(run_of(), 300, 24)
    places, r = Places(motion), motion.geometry.circle_radius_m
    lost = [seed for seed in motion.seeds if seed.lost and seed.lost.time > motion.start + 0.1]
    assert lost
    for seed in lost[:10]:
        x, y = places._thrown(seed, seed.lost.time, seed.lost.time + 0.25)
        assert y < motion.pool.level.min() - r and abs(x) < r


def test_the_picture_is_to_scale():
    """A metre is as long across as down, and a frame shows the disc as wide as it is."""
    frames = usual_frames()
    across, down = (
        frames._ax.transData.transform([(1.0, 1.0)])[0]
        - frames._ax.transData.transform([(0.0, 0.0)])[0]
    )
    assert across == pytest.approx(down)
    assert across == pytest.approx(frames._per_m * DPI)


def test_frames_move_and_count():
    film = usual_film()
    frames = usual_frames()
    first, last = frames.image(film.start), frames.image(film.end)
    assert first.shape == (620, 720, 3) and (first != last).any()
    assert (frames.image(film.start) == first).all()
    counted = film.motion.counted(film.end, film.start)
    assert sum(counted.values()) == sum(film.start < c.cut <= film.end for c in film.motion.cells)


# files


@pytest.mark.slow
def test_a_gif_has_all_frames_is_small_and_the_same_again():
    film = usual_film()
    made = as_gif(film)
    assert made == as_gif(film)
    picture = Image.open(io.BytesIO(made))
    assert picture.n_frames == len(times_of(film, 12.5)) == 5
    assert len(made) < 3e6 * film.seconds / 6


def test_html_stands_alone(folder, done):
    """The file has the motion's own numbers, asks for nothing else, and is the same again."""
    words = ("animate", "maize_bench", "--turns", "60", "--seconds", "2", "--out")
    told_first = done(*words, "a.html")
    done(*words, "b.html")
    text = (folder / "a.html").read_text()
    assert text == (folder / "b.html").read_text()
    assert "a double" in told_first and "in a browser" in told_first
    assert not re.search(r"(?:https?:|src=|href=|@import|url\()", text)
    numbers = json.loads(re.search(r"var METERSIM_MOTION = (\{.*\});\n", text)[1])
    film = film_of(run_of(), kind_moment(run_of(), DOUBLE), seconds=2)
    assert numbers == json.loads(json.dumps(film.motion.to_dict()))
    assert text.count("<script>") == text.count("</script>") == len(SCRIPTS) + 2


def test_mp4_without_ffmpeg_is_one_line(folder, told, monkeypatch):
    monkeypatch.setenv("PATH", str(folder))
    (said,) = told("animate", "maize_bench", "--out", "f.mp4")
    assert "needs the program ffmpeg" in said and ".html" in said
    assert os.listdir(folder) == []


STUB = """#!/bin/sh
for last; do :; done
wc -c > "$last"
"""


@pytest.mark.slow
def test_mp4_goes_through_ffmpeg(folder, monkeypatch):
    """A stub that counts what it is given: the bytes of all frames."""
    (folder / "bin").mkdir()
    (folder / "bin/ffmpeg").write_text(STUB)
    (folder / "bin/ffmpeg").chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder / 'bin'}:{os.environ['PATH']}")
    assert int(as_mp4(usual_film())) == 0.4 * 25 * 720 * 620 * 4


def test_everything_wrong_is_said_at_once(folder, told):
    words = ("--moment", "x", "--fault", "y", "--seconds", "99", "--slow", "0", "--out", "f.png")
    said = told("animate", "maize_bench", *words)
    assert len(said) == 5 and not os.listdir(folder)
    assert all(kind in said[1] for kind in KINDS)
