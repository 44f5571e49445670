"""The page of `metersim explore` in a real browser, moved as a person moves it."""

import csv

import pytest

import metersim as m
from metersim.machine.losses import REASONS
from metersim.machine.reading import shipped_scenarios
from tests.browser.conftest import SHORT
from tests.browser.pages import NAMES, Page

BENCH = m.load_scenario("maize_bench", SHORT)


def downloaded(page, saved, name):
    """The bytes of a file that the page hands over."""
    path = saved / name
    page.wait(lambda: path.exists() and path.stat().st_size, f"file {name}")
    found = path.read_bytes()
    path.unlink()
    return found


def test_pin_and_compare(page):
    """The table has paired differences from the pinned setting, those of the program."""
    assert len(page.every("#measures thead th")) == 2
    page.click("#pin")
    page.wait(lambda: "pinned" in page.words("pinned"))
    with page.answered():
        page.type("singulator.notch", "-2")
    page.settled()
    heads = [one.text for one in page.every("#measures thead th")]
    assert len(heads) == 3
    assert page.words("pinned").startswith("Pinned: notch 0. Now: notch -2.")
    rows = {
        row.find_element("css selector", "th").text: row.find_elements("css selector", "td")[
            -1
        ].text
        for row in page.every("#measures tbody tr")
    }
    asked = m.Request(["notch=-2"])
    *_, last = m.redraw(BENCH, asked, pinned=[])
    change = 100 * last.differences["cells.double"].value
    assert change > 1
    assert rows["doubles, of all cells"].startswith(f"+{change:.0f} pp")
    page.click("#unpin")
    page.wait(lambda: len(page.every("#measures thead th")) == 2)


def test_saved_scenario_opens_again(page, saved, tmp_path):
    """A saved file holds the moved setting, runs alone, and opens in the page."""
    with page.answered():
        page.type("vacuum.vacuum", "3.3")
    first = page.settled()
    page.click("#save")
    path = tmp_path / "mine.toml"
    path.write_bytes(downloaded(page, saved, "maize_bench.toml"))
    assert m.load_scenario(path).vacuum.vacuum == pytest.approx(3300)
    with page.answered():
        page.click("#opened")
    assert page.field("vacuum.vacuum").get_attribute("value") == "4"
    page.at("#file").send_keys(str(path))
    page.wait(lambda: page.field("vacuum.vacuum").get_attribute("value") == "3.3")
    page.wait(lambda: page.words("headline") == first, "same answer")
    path.write_text("#" * 400_000)  # a file that the program would not even read to its end
    page.at("#file").send_keys(str(path))
    page.wait(lambda: "mine.toml is too long" in page.words("trouble"))


def test_reload_keeps_the_setting(page, browser):
    with page.answered():
        page.press("vacuum.vacuum", "step down")
    value = page.field("vacuum.vacuum").get_attribute("value")
    assert value != "4"
    browser.refresh()
    page.wait(page.is_begun)
    assert page.field("vacuum.vacuum").get_attribute("value") == value


@pytest.mark.parametrize("typed", ["abc", "-1", "1e9", "4 kPa please", "<b>4</b>"])
def test_a_bad_value_gives_a_message(page, typed):
    """The last good result stays and is marked as old, until a good value comes."""
    before = page.words("headline")
    with page.answered():
        page.type("vacuum.vacuum", typed)
    root = page.setting("vacuum.vacuum")
    assert "wrong" in root.get_attribute("class").split()
    assert root.find_element("css selector", ".fault").text
    assert page.at("#old").is_displayed()
    assert page.words("headline") == before
    page.type("vacuum.vacuum", "4")
    page.wait(lambda: not page.every(".wrong"))
    assert not page.at("#old").is_displayed()


def test_two_tabs_hold_two_settings(page, browser, address):
    with page.answered():
        page.type("vacuum.vacuum", "2")
    low = page.settled()
    browser.switch_to.new_window("tab")
    other = Page(browser).open(address)
    assert other.field("vacuum.vacuum").get_attribute("value") == "4"
    with other.answered():
        other.type("vacuum.vacuum", "6")
    high = other.settled()
    browser.switch_to.window(browser.window_handles[0])
    assert (page.words("headline"), page.field("vacuum.vacuum").get_attribute("value")) == (
        low,
        "2",
    )
    with page.answered():
        page.click("#other-seed")
    assert high not in (low, page.words("headline"))


def test_nothing_comes_from_elsewhere(page, address):
    """All that the page loads comes from its own address; nothing else can be reached."""
    names = page.js("return performance.getEntriesByType('resource').map((one) => one.name)")
    assert len(names) > 6
    assert all(name.startswith(address) for name in names)
    blocked = page.js("return fetch('https://example.org/').then(() => 'reached', () => 'blocked')")
    assert blocked == "blocked"
    assert "example.org" in page.complaints()[0]


def test_keyboard_alone(page):
    """Every control is a stop of the tab key; arrows move a slider; keys do what the page lists."""
    from selenium.webdriver.common.action_chains import ActionChains

    wanted = page.js(
        "document.querySelectorAll('details').forEach((one) => { one.open = false; });"
        "return [...document.querySelectorAll('button, input, select, summary, a')].filter("
        "(one) => one.checkVisibility() && !one.disabled && one.type !== 'radio').length"
    )
    page.js("document.activeElement.blur(); window.stops = new Set();")
    page.js("document.addEventListener('focusin', (event) => window.stops.add(event.target), true)")
    ActionChains(page.driver).send_keys("\ue004" * (wanted + 8)).perform()
    assert page.js("return window.stops.size") >= wanted

    slider = page.setting("vacuum.vacuum").find_element("css selector", "input[type=range]")
    page.js("arguments[0].focus()", slider)
    with page.answered():
        ActionChains(page.driver).send_keys("\ue012").perform()  # arrow to the left
    value = float(page.field("vacuum.vacuum").get_attribute("value"))
    assert value < 4
    page.js("document.activeElement.blur()")
    with page.answered():
        ActionChains(page.driver).send_keys("u").perform()
    assert page.field("vacuum.vacuum").get_attribute("value") == "4"
    ActionChains(page.driver).send_keys("p").perform()
    page.wait(lambda: "pinned" in page.words("pinned"))
    page.click("#unpin")
    page.wait(lambda: not page.at("#unpin").is_displayed())
    page.click("#find")
    ActionChains(page.driver).send_keys("p").perform()  # a letter in a field is a letter
    assert page.at("#find").get_attribute("value") == "p"
    assert not page.at("#unpin").is_displayed()


def test_stopped_disc_shows_the_cell_of_the_records(page):
    """Cell after cell, the page says what the records of the run hold."""
    run = m.simulate(BENCH)
    page.wait(lambda: page.words("cell"), "disc")
    seen = set()
    for _ in range(4):
        said = page.words("cell")
        cell = int(said.split("Cell ")[1].split()[0])
        seen.add(cell)
        assert f"hole {cell % run.scenario.disc.cells + 1} " in said
        falls, reason = int(run.cells.released[cell]), REASONS[run.cells.reason[cell]]
        assert (f"drops {falls} seed" if falls else reason) in said
        joined = int(run.cells.joined[cell])
        assert f"{joined} seed{'s' * (joined > 1)} joined" in said or not joined
        page.click("#after")
    assert len(seen) == 4
    spoken = page.js("return document.getElementById('now').textContent")
    assert f"Last at the edge: cell {max(seen) + 1}," in spoken
    page.click("#play")
    page.wait(lambda: "Pause" in page.words("play"))
    page.js("document.activeElement.blur()")
    page.at("body").send_keys(" ")
    page.wait(lambda: "Play" in page.words("play"))


def test_what_is_taken_away(page, saved):
    """The CSV has the seeds of the run; the picture is a picture."""
    run = m.simulate(BENCH)
    page.click("[data-csv=seeds]")
    rows = list(
        csv.DictReader(downloaded(page, saved, "maize_bench_seeds.csv").decode().splitlines())
    )
    assert len(rows) == len(run.seeds)
    page.click("[data-figure=png]")
    assert downloaded(page, saved, "maize_bench.png").startswith(b"\x89PNG")


def test_units_and_scenarios(page):
    """Every shipped scenario opens, in both systems of units."""
    page.at("input[name=units][value=us]").click()
    page.wait(lambda: "mph" in page.words("headline"))
    for name in shipped_scenarios():
        page.js(
            "const list = document.getElementById('scenario'); list.value = arguments[0];"
            "list.dispatchEvent(new Event('change'))",
            name,
        )
        title = m.load_scenario(name).title
        page.wait(lambda title=title: page.words("title") == title, name)
        page.wait(page.is_begun, name)
        assert page.words("trouble") == "", name
        assert page.js("return document.querySelector('input[name=units][value=us]').checked"), name


@pytest.mark.parametrize("size", [(1280, 720), (768, 1024), (390, 800)])
@pytest.mark.parametrize("large", [False, True])
def test_fits(page, browser, size, large):
    """Nothing is wider than the window, and every control has a name."""
    browser.set_window_size(*size)
    if large:
        page.js("document.getElementById('large').click()")
    else:
        page.js("document.getElementById('grey').click()")
    page.wait(lambda: page.words("cell"), "disc")
    wide, shown = page.width()
    assert wide <= shown
    assert page.js(NAMES) == []


def test_slow_answers_do_not_overtake(page):
    """After many quick moves the page shows the last one."""
    for _ in range(6):
        page.press("vacuum.vacuum", "step down")
    value = page.field("vacuum.vacuum").get_attribute("value")
    page.settled()
    first = next(m.redraw(BENCH, m.Request([f"vacuum_kpa={value}"]), draws=0))
    shown = page.words("histogram-words")
    assert f"{first.histogram.shares.spacings:,}" in shown


def test_what_is_shown_is_pinned(page):
    """A bad value beside it, which no result shows, is not pinned."""
    page.type("singulator.notch", "1")
    page.settled()
    with page.answered():
        page.type("vacuum.vacuum", "abc")
    page.click("#pin")
    page.wait(lambda: "pinned" in page.words("pinned"))
    page.type("vacuum.vacuum", "3")
    page.wait(lambda: page.words("pinned") == "Pinned: vacuum 4 kPa. Now: vacuum 3 kPa.")
    page.click("#unpin")
    page.wait(lambda: len(page.every("#measures thead th")) == 2)
