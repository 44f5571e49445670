"""Words for numbers: each has its unit, its sign and its order, worked out by hand."""

import math
import re

import pytest

from metersim.measures.indices import FLAT, STEEP
from metersim.measures.intervals import Estimate
from metersim.questions.compare.study import COMPARED
from metersim.questions.compare.text import sentence
from metersim.questions.evidence import verdicts
from metersim.questions.shared.answer import LINES, Answer, alike, change_told, movement, told
from metersim.questions.shared.words import change_text, interval_text, quantity, shown, signed

BY_HAND = [  # kind, SI, units, number, symbol
    ("share", 0.0413, "metric", 4.13, "%"),
    ("share", 0.0413, "us", 4.13, "%"),
    ("length", 0.1651, "metric", 16.51, "cm"),
    ("length", 0.1651, "us", 6.5, "in"),  # 0.0254 m
    ("small", 0.0045, "metric", 4.5, "mm"),
    ("small", 0.00508, "us", 0.2, "in"),
    ("speed", 2.5, "metric", 9.0, "km/h"),
    ("speed", 2.2352, "us", 5.0, "mph"),  # 1609.344 m an hour
    ("pressure", 4000.0, "metric", 4.0, "kPa"),
    ("pressure", 4981.7782, "us", 20.0, "inH2O"),  # 249.08891 Pa
    ("per_area", 8.0, "metric", 80_000.0, "per ha"),
    ("per_area", 8.0, "us", 32_374.851, "per acre"),  # 4046.8564224 m2
    ("time", 0.35, "metric", 350.0, "ms"),
    ("yield", 1.0, "metric", 10.0, "t/ha"),
    ("yield", 1.0, "us", 159.3177, "bu/acre"),  # 56 lb a bushel
    ("hole_speed", 0.3048, "us", 1.0, "ft/s"),
]


@pytest.mark.parametrize(("kind", "value", "units", "number", "symbol"), BY_HAND)
def test_a_quantity_has_the_number_of_its_unit(kind, value, units, number, symbol):
    found, said = shown(kind, value, units)
    assert (said, found) == (symbol, pytest.approx(number, rel=1e-4))
    words = quantity(kind, value, units)
    assert words.endswith(f" {symbol}")
    printed = float(words.removesuffix(symbol).replace(",", ""))
    assert printed == pytest.approx(number, rel=2e-3)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_change_of_a_share_is_in_points_and_one_of_a_length_in_its_unit(units):
    """One cell in a hundred more is a point; that is a percent of nothing."""
    change = Estimate(0.01, 0.004, 0.02)
    words = change_text("share", change, units)
    assert "%" not in words and re.search(r"point|pp", words)
    assert [float(n) for n in re.findall(r"[+-][\d.]+", words)] == [1.0, 0.4, 2.0]
    length = change_text("length", change, units)
    assert shown("length", 1.0, units)[1] in length and not re.search(r"point|pp|%", length)


def test_an_interval_rises_and_a_sign_is_kept():
    low, high = re.findall(r"[\d.]+", interval_text("share", Estimate(0.02, 0.01, 0.04)))
    assert (float(low), float(high)) == (1.0, 4.0)
    assert [signed(value)[0] for value in (2.0, -2.0)] == ["+", "-"]
    assert signed(-2.0)[1:] == signed(2.0)[1:] == "2.00"
    assert signed(0.0)[0] not in "+-" and signed(math.nan) == "-"


@pytest.mark.parametrize(("sign", "word"), [(1, "up"), (-1, "down")])
def test_a_sentence_gives_a_change_from_its_nearer_end(sign, word):
    """Skips by 3 points, 1 to 6, up or down: the sizes are the same."""
    ends = sorted((sign * 0.01, sign * 0.06))
    nothing = dict.fromkeys(COMPARED, Estimate(0.0, -0.01, 0.01))
    said = sentence("a", "b", nothing | {"cells.skip": Estimate(sign * 0.03, *ends)})
    assert f"skips {word}" in said
    assert [float(n) for n in re.findall(r"\d[\d.]*\d", said)] == [3.0, 1.0, 6.0]


def test_the_rules_of_evidence_are_told_with_their_own_numbers():
    """What 'evidence --rules' prints is what rows are judged by."""
    rules = " ".join((verdicts.__doc__ or "").split())
    for share in (verdicts.LEVEL, verdicts.ORDER, verdicts.STRAIGHT):
        assert f"{100 * share:g} %" in rules
    plateau = re.search(r"- plateau: (.*?)[;-] ", rules)[1]
    numbers = re.findall(r"\d[\d.]*(?= (?:percentage )?points?\b)", plateau)
    assert [float(number) for number in numbers] == [100 * FLAT, 100 * STEEP]


# ---------------------------------------------------------------- the form of answers


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (0.149, 0.124, 0.181, "skips rise by 15 percentage points (12 to 18)."),
        (-0.149, -0.181, -0.124, "skips fall by 15 percentage points (12 to 18)."),
        (0.01, -0.01, 0.02, "skips: no difference is detected."),
        (0.01, math.nan, math.nan, "skips: the run is too short to compare."),
    ],
)
def test_a_difference_is_said_with_the_digits_of_its_interval(value, low, high, said):
    assert movement("skips", "share", Estimate(value, low, high)) == said


def test_no_end_of_a_detected_difference_is_printed_as_zero():
    """One that holds 0 may be: a negative control."""
    assert change_told("share", Estimate(0.1, 0.004, 0.4)) == "+10.0 pp (+0.4 to +40.0)"
    assert change_told("share", Estimate(0.1, -0.004, 0.4)) == "none detected (0 to +40)"
    assert change_told("share", Estimate(0.0, 0.0, 0.0)) == "none in any cell"


def test_values_of_a_row_have_the_digits_of_the_narrowest_interval():
    wide, narrow = Estimate(0.0213, 0.001, 0.08), Estimate(0.0118, 0.010, 0.014)
    assert alike("share", [wide, narrow]) == ["2.1 %", "1.2 %"]
    assert told("share", wide)[0] == "2 %"  # alone


def test_notes_that_do_not_fit_a_terminal_are_counted():
    rows = [("", "a"), *((str(k), "1") for k in range(8))]
    notes = [f"note {k}" for k in range(20)]
    made = Answer(first=["Do this."], notes=notes, table=rows, assumes="b.", details=["report"])
    lines = made.text().split("\n")
    kept = [line for line in lines if line.startswith("Note: note ")]
    assert len(lines) == LINES and lines[0] == "Do this."
    assert f"Note: {20 - len(kept)} more under --details." in lines
    whole = made.text(details=True)
    assert all(f"Note: {note}\n" in whole for note in notes) and whole.endswith("\n\nreport")
