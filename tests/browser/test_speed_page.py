"""From a move to painted pixels, in passes, in a real browser."""

import statistics

import pytest

from tests.browser.conftest import served
from tests.browser.pages import Page
from tests.yardstick import seconds_of_a_pass

MOST = 20  # passes, for 300 turns


@pytest.mark.benchmark
@pytest.mark.parametrize("pinned", [False, True])
def test_from_a_move_to_its_picture(browser, pinned):
    """The middle of 12 single moves of the usual 300 turns, beside a pinned setting and without."""
    with served("maize_bench") as address:
        page = Page(browser).open(address)
        page.settled()
        if pinned:
            page.click("#pin")
            page.wait(lambda: "pinned" in page.words("pinned"))
        before = seconds_of_a_pass()
        for move in range(12):
            with page.answered():
                page.press("vacuum.vacuum", "step down" if move % 2 else "step up")
            page.settled()
        after = seconds_of_a_pass()
        took = page.js(
            "return performance.getEntriesByName('redraw').map((one) => one.duration / 1000)"
        )
    middle = statistics.median(took) / statistics.mean((before, after))
    print(f"\nfrom a move to its picture, {'pinned' if pinned else 'alone'}: {middle:.1f} passes")
    assert middle < MOST
