"""Options of a count: percentages of its cells, and accepted shares."""

import argparse

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.questions.shared.countoptions import (
    accept_option,
    accepted_of,
    count_of,
    count_options,
    numbers_of,
)
from metersim.questions.shared.looks import look_of_seeds


def typed(*words):
    """Options of a count and of accepted shares, as typed."""
    command = argparse.ArgumentParser()
    count_options(command, "seeds")
    accept_option(command, "none")
    return command.parse_args(words)


def counted(seeds, skips, doubles, triples="0"):
    """A count as typed."""
    return typed(
        f"--counted={seeds}", f"--skips={skips}", f"--doubles={doubles}", f"--triples={triples}"
    )


@pytest.mark.slow
@given(
    cells=st.integers(1, 5000),
    parts=st.tuples(st.integers(0, 30), st.integers(0, 30), st.integers(0, 30)),
)
def test_percentages_are_those_of_the_cells(cells, parts):
    """Cells of known shares give back their own numbers of skips, doubles and triples."""
    skips, doubles, triples = (round(part * cells / 100) for part in parts)
    assume(skips + doubles + triples <= cells)
    seeds = cells - skips + doubles + 2 * triples
    exact = [f"{100 * number / cells!r}%" for number in (skips, doubles, triples)]
    assert numbers_of(counted(seeds, *exact)) == (seeds, skips, doubles, triples)


def test_a_percentage_becomes_the_nearest_whole_count():
    """489 seeds: 500 cells less 3 % and plus 0.8 % of them; 1.5 % of 500 cells are 7.5, or 8."""
    assert numbers_of(counted(489, "3%", "0.8%")) == (489, 15, 4, 0)
    assert numbers_of(counted(500, "1.4%", "1.4%")) == (500, 7, 7, 0)
    assert numbers_of(counted(500, "1.5 %", "1.5%")) == (500, 8, 8, 0)


def test_counts_and_percentages_go_together():
    """99 of 100 cells are no skips: 98 cells with one seed, 1 with two, 1 with none."""
    assert numbers_of(counted(100, "1%", "1")) == (100, 1, 1, 0)
    (look,) = count_of(counted(100, "1%", "1"))
    assert look == look_of_seeds(100, 1, 1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("60%", "50%"), "more than 100 % of the cells"),
        (("100%", "0"), "leaves no cell with a seed"),
        (("-1%", "0"), "must be a number of percent, from 0 to 100"),
        (("1,5%", "0"), "the decimal mark is a point"),
        (("1.5", "0"), "must be a whole number"),
    ],
)
def test_what_cannot_be_is_refused(words, said):
    with pytest.raises(BadInput, match=said):
        numbers_of(counted(100, *words))


@pytest.mark.parametrize(
    ("by", "way"), [("belt", "belt"), ("row", "belt"), ("sensor", "sensor"), ("disc", "disc")]
)
def test_the_row_shows_the_cells_of_a_belt(by, way):
    words = ("--counted", "100", "--skips", "1", "--doubles", "1", "--counted-by", by)
    assert count_of(typed(*words))[0].way == way


def test_accepted_shares_are_given_in_percent_or_from_0_to_1():
    for one, other in (("2%", "3%"), ("0.02", "0.03")):
        words = ("--accept", f"cells.skip<={one}", "--accept", f"cells.double<={other}")
        assert accepted_of(typed(*words)) == pytest.approx([0.02, 0.03])
    assert accepted_of(typed()) == [None, None]
    assert accepted_of(typed("--accept", "cells.double<=1%")) == [None, 0.01]
    with pytest.raises(BadInput, match="no cell with a single seed"):
        accepted_of(typed("--accept", "cells.skip<=50%", "--accept", "cells.double<=50%"))
