"""The page of a hidden fault in a real browser: all of it by keyboard, and as Python plays it."""

import json

import pytest

from metersim.questions.shared.game.meter import replayed

ENTER, UP = "\ue007", "\ue013"
ACTS = [
    {"count": 300, "by": "belt"},
    {"move": ["notch=1", "vacuum_kpa=5"]},
    {"count": 300, "by": "belt"},
    {"guess": ["vacuum low"]},
    {"end": True},
]


@pytest.fixture(scope="module")
def page(browser, address):
    """The page of meter 7 at level 1, before its first act."""
    browser.set_window_size(1280, 800)
    browser.get(f"{address}hidden?number=7&level=1")
    waited(browser, lambda: rows(browser))
    browser.get_log("browser")
    return browser


def waited(page, what):
    from selenium.webdriver.support.ui import WebDriverWait

    return WebDriverWait(page, 20, poll_frequency=0.05).until(lambda _: what())


def rows(page):
    """Cells of the table of counts."""
    return page.execute_script(
        "return [...document.querySelectorAll('#counts tbody tr')]"
        ".map((row) => [...row.cells].map((cell) => cell.textContent.replaceAll('\\u00a0', ' ')));"
    )


def text(page, name):
    return page.find_element("id", name).text.replace("\N{NO-BREAK SPACE}", " ")


def typed(page, name, *keys):
    field = page.find_element("id", name)
    field.clear()
    field.send_keys(*keys)


def test_a_game_by_keyboard_is_the_game_of_python(page):
    """Counts, a move of two settings, what is refused, a guess and the end."""
    typed(page, "cells", "300", ENTER)
    waited(page, lambda: len(rows(page)) == 2)
    page.find_element("id", "setting-notch").send_keys(UP)
    typed(page, "setting-vacuum", "99", ENTER)
    waited(page, lambda: "too far from the start; give 1 to 7 kPa" in text(page, "trouble"))
    assert page.find_element("id", "setting-vacuum").get_attribute("value") == "99"
    typed(page, "setting-vacuum", "5", ENTER)
    waited(page, lambda: "Moved notch and vacuum" in text(page, "said"))
    assert text(page, "trouble") == ""
    page.switch_to.active_element.send_keys(ENTER)  # the next act is a count
    waited(page, lambda: len(rows(page)) == 3)
    page.find_element("css selector", "#cause option[value='vacuum low']").click()
    page.find_element("css selector", "#guess button").send_keys(ENTER)
    waited(page, lambda: "vacuum low" in text(page, "said"))
    state = replayed(7, 1, "metric", ACTS[:-1])
    counts = [(str(one.number), f"{one.skips} (") for one in state.counts]
    shown = [
        (row[0], row[3][: len(want[1])]) for row, want in zip(rows(page)[1:], counts, strict=True)
    ]
    assert shown == counts
    assert "vacuum 2.32 kPa" not in page.find_element("tag name", "body").text
    page.find_element("css selector", "#end button").send_keys(ENTER)
    waited(page, lambda: page.find_element("id", "truth").is_displayed())
    ended = replayed(7, 1, "metric", ACTS)
    for sentence in ended.parts["truth"].sentences:
        assert sentence in text(page, "truth")
    assert len(page.find_elements("css selector", "#drawing .true")) == 4
    assert not page.find_element("css selector", "#count button").is_enabled()


def test_a_page_that_is_loaded_again_shows_the_same(page):
    before = rows(page)
    page.get(page.current_url.partition("?")[0])
    waited(page, lambda: page.find_element("id", "truth").is_displayed())
    assert rows(page) == before
    page.find_element("css selector", "input[value=us]").click()
    waited(page, lambda: "inH2O" in text(page, "found"))
    assert [row[3:] for row in rows(page)] == [row[3:] for row in before]


def test_every_field_has_a_name_and_nothing_is_wider_than_the_window(page):
    named = page.execute_script(
        "return [...document.querySelectorAll('input, select, button')]"
        ".every((one) => one.labels?.length || one.textContent.trim() || one.ariaLabel);"
    )
    assert named
    for width in (1280, 820, 500):
        page.set_window_size(width, 900)
        for box in ("large", "grey"):
            page.find_element("id", box).click()
            wide, window = page.execute_script(
                "return [document.documentElement.scrollWidth, innerWidth];"
            )
            assert wide <= window
    page.set_window_size(1280, 800)


def test_a_number_that_is_none_is_refused_and_the_next_begins(page):
    typed(page, "number", "seven", ENTER)
    waited(page, lambda: "must be a whole number" in text(page, "trouble"))
    typed(page, "number", "8", ENTER)
    waited(page, lambda: "Meter 8" in text(page, "shows"))
    assert len(rows(page)) == 1
    wrong = [one for one in page.get_log("browser") if "400 (Bad Request)" not in one["message"]]
    assert not wrong, json.dumps(wrong)
