"""A game with a hidden fault in a terminal: what is typed, what is said, and its plane."""

import io
import json
import time

import pytest

from metersim.files.faults import BadInput
from metersim.questions.lesson.hidden import answered, lines_of, play
from metersim.questions.lesson.hiddenplane import ACROSS, DOWN, LEFT, place, plane_lines
from metersim.questions.shared.answer import LINES
from metersim.questions.shared.game.counts import Count
from metersim.questions.shared.game.meter import start
from metersim.questions.shared.words import WIDE

TYPED = [
    "count 300",
    "",
    "nonsense",
    "move notch=-1, vacuum=3.5",
    "count 200 by the sensor",
    "guess edge far",
    "plane",
    "causes",
    "settings",
    "help",
    "counts",
    "end",
    "moves",
    "counts",
    "count 300",
]


@pytest.fixture(scope="module")
def said():
    """What is said to all lines, with each line said again."""
    return list(play(7, 1, "metric", TYPED, echo=True))


def after(said, typed):
    """What is said to a typed line."""
    return said[said.index(f"> {typed}") + 1]


def test_every_answer_fits_a_terminal(said):
    for text in said:
        lines = text.split("\n")
        assert len(lines) <= LINES and max(map(len, lines)) <= WIDE


def test_caution_comes_before_what_can_hurt(said):
    assert said[0].startswith("Caution: ")
    assert after(said, "move notch=-1, vacuum=3.5").startswith("Caution: ")


@pytest.mark.parametrize("number", [1, 3])  # notch 0, and notch +1
def test_examples_can_be_typed(number):
    """The acts that are offered first move something, and name a cause of this meter."""
    offered = list(play(number, 1, "metric", []))[1].removeprefix("Type ").split(", ")
    state = start(number, 1)
    for typed in offered[1:3]:
        state, _ = answered(state, typed)
    assert [next(iter(json.loads(one))) for one in state.acts] == ["move", "guess"]


def test_game_goes_on_after_what_is_not_understood(said):
    assert after(said, "nonsense").startswith("nonsense: is not understood; known: ")
    assert after(said, "counts") == "counts: comes after the end; type end first"
    assert after(said, "move notch=-1, vacuum=3.5").count("Moved notch and vacuum. ") == 1
    assert after(said, "end").count("What the meter truly does") == 1
    assert "the game has ended" in said[said.index("> count 300", 5) + 1]
    assert said[-1] == "Play this meter again with --number 7 --level 1."


def test_end_of_input_ends_politely():
    texts = list(play(7, 1, "us", ["count 20\n"]))
    assert texts[-2].startswith("You left before the end")
    assert len(list(play(7, 1, "us", ["quit", "count 300"]))) == 4
    with pytest.raises(BadInput):
        next(play(7, 9, "us", []))


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("count", '{"count": 300}'),
        ("COUNT 1,200 cells on the belt", '{"count": 1200, "by": "belt"}'),
        ("count 40 tape", '{"count": 40, "by": "tape"}'),
        ("move notch=1 vacuum=3.5 kPa", '{"move": ["notch=1", "vacuum=3.5 kPa"]}'),
        ("move vacuum = 14 inH2O; gate=50", '{"move": ["vacuum=14 inH2O", "gate=50"]}'),
        ("move guide=true and notch=-1", '{"move": ["guide=true", "notch=-1"]}'),
        ("guess vacuum low and worn edge", None),
        ("guess vacuum low, edge far", '{"guess": ["vacuum low", "edge far"]}'),
    ],
)
def test_typed_lines_are_acts(typed, asked):
    state = start(7, 1)
    if asked is None:  # a worn part is no cause of this level
        with pytest.raises(BadInput, match="worn edge: is no cause of this list"):
            answered(state, typed)
    else:
        assert answered(state, typed)[0].acts == (asked,)


@pytest.mark.parametrize(
    "typed", ["count 3 4", "count many", "move", "move notch 1", "guess", "??"]
)
def test_what_is_not_understood_is_refused(typed):
    with pytest.raises(BadInput):
        answered(start(7, 1), typed)


@pytest.mark.parametrize("typed", ["move " + "a" * 300_000, "9" * 300_000, "a=1, " * 60_000])
def test_a_line_without_end_is_refused_at_once(typed):
    stream = io.TextIOWrapper(io.BytesIO(f"{typed}\n".encode() + b"count 20\xff\nquit"))
    before = time.process_time()
    texts = list(play(7, 1, "metric", lines_of(stream), echo=True))
    assert time.process_time() - before < 0.3
    assert "is too long" in texts[3] and len(texts[2]) + len(texts[3]) < 300
    assert texts[4] == "> count 20\N{REPLACEMENT CHARACTER}" and texts[6] == "> quit"


def count_of(number, skips, doubles):
    return Count(
        number=number,
        by="belt",
        cells=300,
        skips=skips,
        doubles=doubles,
        seeds=300,
        effect=1.0,
        changes=(),
    )


def test_plane_has_each_count_at_its_shares():
    counts = [count_of(0, 3, 6), count_of(1, 30, 3), count_of(2, 3, 45)]
    lines = plane_lines(counts, ["in order", "as found", "notch -2"])
    rows = [line[LEFT:] for line in lines[1 : 1 + DOWN]]
    at = {}
    for number in "012":
        (down,) = (k for k, row in enumerate(rows) if number in row)
        at[number] = (down, rows[down].index(number))
    assert at["0"][0] == at["2"][0] > at["1"][0]  # more skips stand higher
    assert at["1"][1] < at["0"][1] < at["2"][1]  # more doubles stand farther to the right
    assert lines[-1] == "0 in order; 1 as found; 2 notch -2"


def test_scale_is_that_of_roots():
    assert [place(share, 0.16, 41) for share in (0.0, 0.01, 0.04, 0.16)] == [0, 10, 20, 40]
    assert place(0.5, 0.16, ACROSS) == ACROSS - 1


@pytest.mark.slow
def test_plane_is_drawn_at_the_end(folder):
    texts = list(play(7, 1, "metric", ["count 300", "count 300"], out="plane.png"))
    assert texts[-2] == "The plane is in plane.png."
    assert (folder / "plane.png").read_bytes().startswith(b"\x89PNG")
