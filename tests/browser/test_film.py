"""A film in its own file plays in a real browser, and a pause shows what the run has."""

import json

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.questions.shared.motion.moved import COUNTED

KEYS = {"left": "\ue012", "right": "\ue014"}


@pytest.fixture(scope="module")
def film(browser, tmp_path_factory):
    """The browser with a film of a double in it."""
    path = tmp_path_factory.mktemp("film") / "film.html"
    assert main(["animate", "maize_bench", "--turns", "60", "--out", str(path)]) == 0
    browser.get(path.as_uri())
    return browser


def said(film):
    return film.find_element("id", "said").text


def test_a_pause_is_the_run(film):
    """At any time the page has the seeds on holes, the pool and the counts that Python has."""
    from metersim.questions.animate.study import DOUBLE, film_of, kind_moment

    run = m.simulate(m.load_scenario("maize_bench", "turns=60"), seed=1)
    motion = film_of(run, kind_moment(run, DOUBLE)).motion
    for time in np.linspace(motion.start, motion.end, 15).tolist():
        shown = film.execute_script(
            "var s = metersimMotion.state(METERSIM_MOTION, arguments[0]);"
            "return JSON.stringify([s.holes, s.pool, s.counted, s.angle]);",
            time,
        )
        holes, pool, counted, angle = json.loads(shown)
        held = {str(c.cell): [s.nth for s in motion.on_hole(c, time)] for c in motion.cells}
        assert holes == {cell: seeds for cell, seeds in held.items() if seeds}
        assert pool == motion.in_pool(time)
        assert [counted[kind] for kind in COUNTED] == list(motion.counted(time).values())
        assert angle == pytest.approx(np.interp(time, motion.way.time, motion.way.angle))


def test_every_control_moves_the_film(film):
    def time():
        return float(film.find_element("id", "time").get_attribute("value"))

    def picture():
        return film.execute_script("return document.getElementById('film').toDataURL()")

    start, first = time(), picture()
    film.find_element("id", "next").click()
    assert time() > start and picture() != first and "Last at the edge: cell" in said(film)
    film.find_element("id", "on").click()
    at = time()
    film.find_element("id", "back").click()
    assert time() < at
    canvas = film.find_element("id", "film")
    before = time()
    canvas.send_keys(KEYS["right"])
    assert time() > before
    for view in ("disc", "edge", "whole"):
        seen = picture()
        film.find_element("css selector", f"#view option[value={view}]").click()
        assert picture() != seen
    film.find_element("css selector", "#slow option[value='32']").click()
    film.find_element("id", "play").click()
    assert film.find_element("id", "play").text == "Pause"
    film.find_element("id", "play").click()
    assert film.find_element("id", "play").text == "Play" and time() > before
    film.find_element("id", "before").click()
    assert time() < before + 1


def test_nothing_went_wrong(film):
    assert [line for line in film.get_log("browser") if line["level"] == "SEVERE"] == []
