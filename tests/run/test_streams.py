"""Streams and draws: one stream per cause, the same for the same seed and any settings."""

import ast
import inspect
import zlib
from functools import cached_property
from itertools import combinations

import numpy as np
import pytest
from scipy.stats import kstest

from metersim.machine.reading import load_scenario
from metersim.run import draws as draws_module
from metersim.run.draws import BLOCK, MOST_SEEDS, TURNS, ArchDraws, BlockDraws, CellDraws, KnotDraws
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

FIELDS = [name for name, what in vars(BlockDraws).items() if isinstance(what, cached_property)]
RARE = 6.3e-5  # two-sided chance of |z| > 4
LAWS = {"U": "uniform", "N": "norm", "E": "expon"}


def first(seed=1, replicate=0, cause="meeting", number=100):
    """The first numbers of a stream."""
    return Streams(seed, replicate).generator(cause).random(number)


class Listening(Streams):
    """Streams that remember what causes asked for one."""

    def __init__(self, seed):
        super().__init__(seed)
        self.asked = set()

    def generator(self, cause):
        """A generator as usual, noted down."""
        self.asked.add(cause)
        return super().generator(cause)

    def block(self, cause, number):
        """A block as usual, noted down."""
        self.asked.add(cause)
        return super().block(cause, number)


def all_causes():
    """Every cause of a run whose numbers come from a stream."""
    streams = Listening(1)
    drawn = BlockDraws(streams, 0, 2)
    for field in FIELDS:
        getattr(drawn, field)
    drawn.blocked(0.5)
    ArchDraws(streams)
    KnotDraws(streams).strengths(0, BLOCK), KnotDraws(streams).phases(0, BLOCK)
    return sorted(streams.asked)


# streams


def test_same_seed_same_numbers():
    """A stream is made anew from its seed, replicate and cause, to the last bit."""
    assert np.array_equal(first(), first())


@pytest.mark.parametrize(
    "other", [{"seed": 2}, {"replicate": 1}, {"cause": "hold"}, {"seed": 0, "replicate": 1}]
)
def test_another_seed_replicate_or_cause_gives_other_numbers(other):
    """Whatever names the stream changes all of it."""
    assert not np.any(first() == first(**other))


def test_seed_and_replicate_are_no_sum():
    """Seed 1 replicate 0 and seed 0 replicate 1 have different draws."""
    assert not np.any(first(1, 0) == first(0, 1))


def test_seed_0_is_a_seed():
    """It gives the same numbers each time, and others than seed 1."""
    assert Streams(0).seed == 0
    assert np.array_equal(first(0), first(0))
    assert not np.any(first(0) == first(1))


INDEX = np.arange(400, dtype=np.uint64)
WAYS = {  # from streams to numbers of a cause
    "generator": lambda streams: streams.generator("grip").random(400),
    "block": lambda streams: streams.block("grip", 0).random(400),
    "later block": lambda streams: streams.block("grip", 3).random(400),
    "index": lambda streams: streams.uniform("grip", INDEX),
    "first of a pair": lambda streams: streams.pair("grip", INDEX)[0],
    "second of a pair": lambda streams: streams.pair("grip", INDEX)[1],
}


@pytest.mark.parametrize("way", WAYS)
def test_every_way_to_numbers_follows_seed_and_replicate(way):
    """The same each time, seed 0 too; others for another seed or replicate: |z| < 4."""
    names = [(0, 0), (0, 1), (1, 0), (0, 2), (2, 0)]
    drawn, again = ([WAYS[way](Streams(*name)) for name in names] for _ in range(2))
    assert all(map(np.array_equal, drawn, again))
    for one, other in combinations(drawn, 2):
        assert not np.any(one == other)
        assert abs(np.corrcoef(one, other)[0, 1]) * np.sqrt(len(INDEX)) < 4
    assert np.corrcoef(drawn[0], again[0])[0, 1] * np.sqrt(len(INDEX)) > 4  # negative control


@pytest.mark.parametrize("chance", [0.02, 0.3])
def test_blocked_cells_are_as_many_as_said_and_know_nothing_of_their_neighbours(chance):
    """Both ends of a pair of neighbours are blocked with the square of the chance: |z| < 4."""
    blocked = np.zeros(BLOCK, dtype=bool)
    blocked[BlockDraws(Streams(3), 0).blocked(chance)] = True
    for found, expected in ((blocked, chance), (blocked[1:] & blocked[:-1], chance**2)):
        error = np.sqrt(expected * (1 - expected) / BLOCK)
        assert abs(found.mean() - expected) < 4 * error * (1 + 2 * chance)
    assert blocked.mean() - chance**2 > 4 * error  # negative control


def test_runs_follow_seed_and_replicate():
    """Seed 0 gives one run; another seed, or replicate, gives another."""
    scenario = load_scenario("maize_bench", ["turns=4"])
    names = [{"seed": 0}, {"seed": 0}, {"seed": 1}, {"seed": 0, "replicate": 1}]
    needed = [simulate(scenario, **name).seeds.needed[:100] for name in names]
    assert np.array_equal(needed[0], needed[1])
    for one, other in combinations(needed[1:], 2):
        assert not np.any(one == other)


@pytest.mark.parametrize("bad", [-1, True, False, 1.0, "1", None])
@pytest.mark.parametrize("name", ["seed", "replicate"])
def test_what_is_no_seed_is_refused(name, bad):
    """Only whole numbers from 0 are seeds, and the message names the argument and the value."""
    with pytest.raises(ValueError, match=f"{name} is {bad!r}.*0 or more"):
        Streams(**{"seed": 1, name: bad})


def test_a_stream_starts_afresh_each_time():
    """Asking twice for a cause gives the same start; one does not move the other."""
    streams = Streams(3)
    one, two = streams.generator("hold"), streams.generator("hold")
    one.random(50)
    assert two.random() == Streams(3).generator("hold").random()


def test_causes_have_streams_of_their_own():
    """No two causes of a run share a name or the key made of it."""
    causes = all_causes()
    assert len(causes) >= len(FIELDS)
    assert len({zlib.crc32(cause.encode()) for cause in causes}) == len(causes)


def test_causes_are_not_correlated():
    """Streams of different causes, seeds and replicates have no correlation beyond chance."""
    number = 5000
    names = [(1, 0, cause) for cause in all_causes()] + [(2, 0, "hold"), (1, 1, "hold")]
    draws = np.array([Streams(s, r).generator(c).standard_normal(number) for s, r, c in names])
    pairs = list(combinations(range(len(draws)), 2))
    z = [np.sqrt(number) * np.corrcoef(draws[a], draws[b])[0, 1] for a, b in pairs]
    assert np.max(np.abs(z)) < 5  # the largest of some 250 pairs exceeds 5 once in 7,000
    assert abs(np.mean(np.square(z)) - 1) < 4 * np.sqrt(2 / len(pairs))
    mixed = 0.1 * draws[0] + draws[1]  # control: a tenth of a shared cause is seen
    assert np.sqrt(number) * np.corrcoef(draws[0], mixed)[0, 1] > 5


def test_blocks_of_a_cause_are_streams_of_their_own():
    """Any block can be had first, and none repeats another or another cause."""
    streams = Streams(9)
    blocks = {
        (cause, number): streams.block(cause, number).random(200)
        for cause in ("hold", "size", "hop")
        for number in (3, 0, 1, 10**6)
    }
    again = Streams(9)
    assert np.array_equal(again.block("hold", 1).random(200), blocks["hold", 1])
    for one, other in combinations(blocks.values(), 2):
        assert not np.any(one == other)
        assert abs(np.corrcoef(one, other)[0, 1]) * np.sqrt(200) < 4.5  # 66 pairs


# numbers by index


def reference(key, count):
    """SplitMix64 as published: a state that grows by the golden gamma, mixed to give a number."""
    word = (1 << 64) - 1
    state, made = key, []
    for _ in range(count):
        state = (state + 0x9E3779B97F4A7C15) & word
        mixed = ((state ^ (state >> 30)) * 0xBF58476D1CE4E5B9) & word
        mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & word
        made.append(mixed ^ (mixed >> 31))
    return made


def test_the_reference_gives_the_published_numbers():
    """First outputs of SplitMix64 for the state 1234567 (steele2014; values from memory)."""
    assert reference(1234567, 3) == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
    ]


def test_numbers_by_index_are_those_of_splitmix64():
    """The n-th number of a cause is the n-th output of a generator of its own."""
    streams = Streams(5)
    key = streams.key("tooth")
    expected = [((word >> 12) + 0.5) / 2**52 for word in reference(key, 50)]
    index = np.arange(50, dtype=np.uint64) + np.uint64(1)
    assert streams.uniform("tooth", index).tolist() == expected
    assert [streams.uniform("tooth", int(k)) for k in index] == expected
    assert not np.any(streams.uniform("pose", index) == expected)


def test_numbers_by_index_do_not_depend_on_what_else_was_asked():
    """In any order, one by one, for one cause or for several."""
    streams, index = Streams(5), np.arange(100, dtype=np.uint64)
    whole = streams.uniform("size", index)
    assert np.array_equal(Streams(5).uniform("size", index[::-1]), whole[::-1])
    assert np.array_equal(Streams(5).uniform(("tooth", "size"), index)[1], whole)
    assert not np.any(Streams(6).uniform("size", index) == whole)


def test_numbers_by_index_are_uniform_and_apart():
    """Each cause and the two halves of a pair are uniform, and none follows from another."""
    streams, number = Streams(8), 20_000
    index = np.arange(number, dtype=np.uint64)
    rows = [*streams.uniform(("size", "meeting", "grip"), index), *streams.pair("wall", index)]
    for row in rows:
        assert row.min() > 0 and row.max() < 1
        assert kstest(row, "uniform").pvalue > RARE
        assert abs(np.corrcoef(row[:-1], row[1:])[0, 1]) * np.sqrt(number) < 4
    for one, other in combinations(rows, 2):
        assert abs(np.corrcoef(one, other)[0, 1]) * np.sqrt(number) < 4
    assert kstest(rows[0] ** 1.05, "uniform").pvalue < RARE  # control


# draws of cells


@pytest.mark.parametrize("field", FIELDS)
def test_a_short_block_is_the_start_of_a_long_one(field):
    """A shorter block is the start of a longer one, and no block repeats another."""
    short, long, other = (
        getattr(BlockDraws(Streams(5), block, cells), field)
        for block, cells in ((0, 50), (0, 90), (1, 90))
    )
    assert np.array_equal(short, long[:50])
    assert not np.any(long == other)


def test_every_field_has_its_own_draws():
    """No field repeats another's numbers, and none is constant."""
    drawn = BlockDraws(Streams(5), 0, 50)
    starts = [getattr(drawn, field) for field in FIELDS]
    for one, other in combinations(starts, 2):
        assert not np.array_equal(one, other)
    assert all(len(np.unique(start)) == 50 for start in starts)


@pytest.mark.parametrize("field", FIELDS)
def test_draws_have_their_law(field):
    """Every field has the distribution that it is said to have, and another one does not fit."""
    values = getattr(BlockDraws(Streams(7), 0, 4000), field)
    said = inspect.getdoc(getattr(BlockDraws, field)).partition(":")[0]
    for name, kind in LAWS.items():
        assert (kstest(values, kind).pvalue > RARE) == (name == said), name


@pytest.mark.parametrize(("draw", "law"), [("uniform", "U"), ("normal", "N"), ("exponential", "E")])
def test_draws_by_index_have_their_law(draw, law):
    values = getattr(BlockDraws(Streams(7), 3), draw)("size", np.arange(4000), 1)
    for name, kind in LAWS.items():
        assert (kstest(values, kind).pvalue > RARE) == (name == law), name


def test_no_cell_shares_its_draws_by_index():
    """Block, cell, seed in cell and turn all count."""
    drawn = BlockDraws(Streams(7), 0)
    values = drawn.uniform(
        "size",
        np.arange(20)[:, None, None],
        np.arange(MOST_SEEDS)[:, None],
        np.arange(TURNS),
    )
    assert len(np.unique(values)) == 20 * MOST_SEEDS * TURNS
    following = BlockDraws(Streams(7), 1).uniform("size", np.arange(20), 0)
    assert not np.isin(following, values).any()
    assert (
        BlockDraws(Streams(7), 0).uniform("size", BLOCK, 0) == following[0]
    )  # cells go on counting


@pytest.mark.parametrize("chance", [0.002, 0.05])
def test_blocked_cells_are_as_many_as_asked(chance):
    """Their number is binomial and their gaps geometric; of other chances it is told apart."""
    found = [BlockDraws(Streams(seed), 0, 2000).blocked(chance) for seed in range(40)]
    count, cells = sum(map(len, found)), 40 * 2000
    assert abs(count - cells * chance) / np.sqrt(cells * chance * (1 - chance)) < 4
    assert abs(count - 2 * cells * chance) / np.sqrt(cells * chance) > 4
    assert all(np.all(np.diff(part) > 0) for part in found)
    assert np.mean([1 in part for part in found]) < 0.3
    assert len(BlockDraws(Streams(1), 0).blocked(0.0)) == 0


CAUSES_BY_SEED_IN_CELL = {
    "size": "normal",
    "seat": "normal",
    "pose": "normal",
    "edge": "uniform",
    "launch": "normal",
    "contact": "exponential",
    "soil": "normal",
    "hop": "exponential",
}


def test_draws_of_a_cell_are_those_of_its_block(monkeypatch):
    """In any order, for first and later seeds, on both sides of a border of blocks."""
    monkeypatch.setattr(draws_module, "BLOCK", 40)
    draws, number = CellDraws(Streams(5), 130), 130
    for cell in (0, 39, 40, 129, 81, 3, 120, 80):
        block = BlockDraws(Streams(5), cell // 40, min(40, number - cell // 40 * 40))
        index = cell % 40
        for field in set(FIELDS) - {"second"}:
            assert getattr(draws, field)(cell) == getattr(block, field)[index], (field, cell)
        for cause, law in CAUSES_BY_SEED_IN_CELL.items():
            later = getattr(block, law)(cause, index, 2)
            assert getattr(draws, cause)(cell, 2) == pytest.approx(later, rel=1e-14), cause
        assert draws.more(cell, 1) == block.second[index]
        assert draws.more(cell, 2) == pytest.approx(block.exponential("meeting", index, 2))
        assert draws.grip_rank(cell, 1) == block.uniform("grip", index, 1)
        assert draws.wall(cell, 1, 3) == block.pair("wall", index, 1, 3)
        assert draws.blocked(cell, 0.3) == (index in block.blocked(0.3))
        assert draws.blocked(cell, 0.0) is False
    alone = {"meeting", "second", "grip", "along", "across", "lie", "shape"}
    assert {*CAUSES_BY_SEED_IN_CELL} | alone == set(FIELDS)


def test_draws_of_a_knot_are_those_of_its_block(monkeypatch):
    monkeypatch.setattr(draws_module, "BLOCK", 40)
    draws, knots = KnotDraws(Streams(5)), KnotDraws(Streams(5))
    for knot in (0, 41, 39, 130, 85, 2):
        block, index = divmod(knot, 40)
        assert draws.strength(knot) == knots.strengths(block, 40)[index]
        assert draws.phase(knot) == knots.phases(block, 40)[index]
    strength = np.concatenate([knots.strengths(block, 40) for block in range(4)])
    for first, last in ((0, 0), (3, 39), (39, 40), (5, 150)):
        assert draws.strongest(first, last) == strength[first : last + 1].max()


def test_knots_have_strength_and_phase_of_their_own():
    """Both differ from block to block and from each other, and have the laws that are said."""
    knots = KnotDraws(Streams(4))
    assert kstest(knots.strengths(0, BLOCK)[:4000], "expon").pvalue > RARE
    assert kstest(knots.phases(2, BLOCK)[:4000], "uniform").pvalue > RARE
    assert not np.any(knots.phases(0, BLOCK) == knots.phases(1, BLOCK))
    assert np.array_equal(knots.phases(0, BLOCK), KnotDraws(Streams(4)).phases(0, BLOCK))


# draws and settings


def test_draws_know_no_setting():
    """The modules of chance import nothing that knows a setting."""
    for module in (draws_module, inspect.getmodule(Streams)):
        tree = ast.parse(inspect.getsource(module))
        taken = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert {name for name in taken if name.startswith("metersim")} <= {
            "metersim.distributions.normal",
            "metersim.run.streams",
        }


def draws_of(changes, monkeypatch):
    """What a run draws, by cause: blocks by number, and numbers by index."""
    drawn = {}

    class Noting(Streams):
        def block(self, cause, number):
            drawn[cause, number] = Streams.block(self, cause, number).random(20)
            return Streams.block(self, cause, number)

        def uniform(self, cause, index):
            found = Streams.uniform(self, cause, index)
            causes, rows = ([cause], [found]) if isinstance(cause, str) else (cause, found)
            for one, row in zip(causes, rows, strict=True):
                wide = np.broadcast_to(index, np.shape(row))
                drawn.update(zip(((one, int(k)) for k in wide.flat), np.ravel(row), strict=True))
            return found

    with monkeypatch.context() as patch:
        patch.setattr("metersim.run.simulation.Streams", Noting)
        simulate(load_scenario("maize_bench", ["turns=40", *changes]), seed=6)
    return drawn


@pytest.mark.parametrize(
    "change",
    [
        "vacuum_kpa=1",
        "notch=2",
        "hole_diameter_mm=3.5",
        "speed_kmh=11",
        "cells=40",
        "surface=field",
        "tube_wear=1",
        "turns=50",
        "gate_opening_mm=20",
        "seed.lot=soybean",
    ],
)
def test_a_moved_setting_leaves_all_draws(change, monkeypatch):
    """What runs that differ in a setting both draw is the same for both."""
    one, other = (draws_of(changes, monkeypatch) for changes in ([], [change]))
    shared = one.keys() & other.keys()
    assert len(shared) > 20
    assert all(np.array_equal(one[key], other[key]) for key in shared)
    assert {cause for cause, _ in shared} >= {"meeting", "grip", "size", "pose", "edge", "launch"}


def test_other_draws_are_distinguished():
    """Negative control: draws of another seed share no number."""
    one, other = (BlockDraws(Streams(seed), 0, 50).grip for seed in (6, 7))
    assert not np.any(one == other)
