"""Numbers that options take as words: what they are worth, and where their ranges end."""

import pytest

from metersim.files.faults import BadInput, amount, percent, whole


@pytest.mark.parametrize(
    ("word", "share"), [("5", 0.05), ("0", 0.0), ("100", 1.0), ("1.5", 0.015), ("12.5", 0.125)]
)
def test_a_percent_is_a_hundredth(word, share):
    assert percent("--power", word) == pytest.approx(share, abs=1e-15)


def test_numbers_are_as_they_are_written():
    assert whole("--seed", "0", 0) == 0 and whole("--seed", "12", 0) == 12
    assert amount("--price", "2.5", 9.0) == 2.5


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: percent("--power", "100.1"),
        lambda: percent("--power", "49", 50, 99),
        lambda: percent("--power", "nan"),
        lambda: whole("--seed", "-1", 0),
        lambda: whole("--seed", "1.0", 0),
        lambda: amount("--price", "0", 9.0),
        lambda: amount("--price", "9.1", 9.0),
    ],
)
def test_ends_are_in_the_unit_that_is_typed(wrong):
    with pytest.raises(BadInput):
        wrong()
