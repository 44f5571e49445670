"""Speed of start sheets, off by default: ``pytest -m benchmark -n 0 -s``.

Bounds are in passes of `tests.yardstick`, of a whole command with one process.
"""

import pytest

from tests.yardstick import passes_of

pytestmark = pytest.mark.benchmark
ASKED = ("--rate", "80000/ha", "--row-spacing", "75cm", "--speed", "6km/h", "--workers", "1")
SHEET = ("sheet", "--lot", "maize_large_flat", *ASKED)
MOST, MOST_PAGE = 400, 2_900


def test_a_sheet_takes_few_passes():
    passes = passes_of([*SHEET])
    print(f"\na start sheet takes {passes:.0f} passes")
    assert passes <= MOST


def test_a_page_takes_few_passes(tmp_path):
    """The page shows all discs, single changes, rules and plants, which the answer does not."""
    passes = passes_of([*SHEET, "--out", str(tmp_path / "sheet.pdf")])
    print(f"\na start sheet with its page takes {passes:.0f} passes")
    assert passes <= MOST_PAGE
