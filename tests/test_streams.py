"""Streams and luck: one stream a cause, the same for the same seed, whatever is set."""

import ast
import dataclasses
import inspect
import zlib
from itertools import combinations

import numpy as np
import pytest
from scipy.stats import kstest

from metersim import luck
from metersim.luck import CellLuck, CellStreams, KnotLuck, TickLuck
from metersim.reading import load_scenario
from metersim.simulation import simulate
from metersim.streams import Streams

FIELDS = [field.name for field in dataclasses.fields(CellLuck)]
RARE = 6.3e-5  # two-sided chance of |z| > 4
LAWS = {
    "U": ("uniform", ()),
    "N": ("norm", ()),
    "E": ("expon", ()),
    "Rayleigh": ("rayleigh", ()),
    "direction": ("uniform", (0, 2 * np.pi)),
}
LAW_OF = {
    "blocked": "U",
    "meeting": "E",
    "hold": "U",
    "size": "N",
    "seat": "Rayleigh",
    "seat_angle": "direction",
    "third_angle": "direction",
    "pose": "N",
    "heap": "E",
    "tooth": "N",
    "pair_angle": "direction",
    "launch": "N",
    "contact": "E",
    "loss": "U",
    "soil": "N",
    "hop": "E",
    "detection": "U",
}


def first(seed=1, replicate=0, cause="meeting", number=100):
    """The first numbers of a stream."""
    return Streams(seed, replicate).generator(cause).random(number)


class Listening(Streams):
    """Streams that remember what causes asked for one."""

    def __init__(self, seed):
        super().__init__(seed)
        self.asked = []

    def generator(self, cause):
        """A generator as usual, noted down."""
        self.asked.append(cause)
        return super().generator(cause)


def all_causes():
    """Every cause of a run."""
    streams = Listening(1)
    CellStreams(streams).deal(1)
    TickLuck(streams, 1)
    KnotLuck(streams)
    return streams.asked


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
    """Seed 1 replicate 0 and seed 0 replicate 1 are different luck."""
    assert not np.any(first(1, 0) == first(0, 1))


def test_seed_0_is_a_seed():
    """It gives the same numbers each time, and others than seed 1."""
    assert Streams(0).seed == 0
    assert np.array_equal(first(0), first(0))
    assert not np.any(first(0) == first(1))


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


# luck of cells


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("parts", [(100, 200), (1, 299), (299, 1), (150, 0, 150)])
def test_luck_does_not_depend_on_how_it_is_dealt(field, parts):
    """Stretches dealt one after another are the luck of the whole."""
    streams = CellStreams(Streams(5))
    dealt = [getattr(streams.deal(part), field) for part in parts]
    whole = getattr(CellStreams(Streams(5)).deal(300), field)
    assert np.array_equal(np.concatenate(dealt), whole)


def test_fresh_luck_is_told_apart():
    """Negative control: starting anew for the second stretch is not the luck of the whole."""
    whole = CellStreams(Streams(5)).deal(300).meeting
    assert not np.array_equal(CellStreams(Streams(5)).deal(200).meeting, whole[100:])


def test_every_field_has_its_own_luck():
    """No field repeats another's numbers, and none is constant."""
    dealt = CellStreams(Streams(5)).deal(50)
    starts = [getattr(dealt, field).ravel()[:50] for field in FIELDS]
    for one, other in combinations(starts, 2):
        assert not np.array_equal(one, other)
    assert all(len(np.unique(start)) == 50 for start in starts)


@pytest.mark.parametrize("field", FIELDS)
def test_luck_has_its_law(field):
    """Every field has the distribution that it is said to have, and another one does not fit."""
    values = getattr(CellStreams(Streams(7)).deal(2000), field).ravel()
    law = LAW_OF[field]
    for name, (kind, arguments) in LAWS.items():
        fits = kstest(values, kind, args=arguments).pvalue > RARE
        assert fits == (name == law), name


@pytest.mark.parametrize("field", FIELDS)
def test_luck_is_cells_first(field):
    """Every array has one row a cell, in the shape that is documented."""
    dealt = CellStreams(Streams(7)).deal(11)
    assert getattr(dealt, field).shape[0] == 11
    shapes = {"PLACES": luck.PLACES, "TEETH": luck.TEETH, "CONTACTS": luck.CONTACTS, "cells": 11}
    (line,) = [
        line
        for line in inspect.getdoc(CellLuck).splitlines()
        if field in line.partition(" : ")[0].split(", ")
    ]
    words = line.partition("shape (")[2].rstrip(")").split(",")
    assert getattr(dealt, field).shape == tuple(shapes[w.strip()] for w in words if w.strip())


def test_more_ticks_leave_the_first_ones():
    """A longer run has the ticks of a shorter one, and more."""
    short, long = TickLuck(Streams(4), 10), TickLuck(Streams(4), 25)
    for name in ("forming", "clearing"):
        assert np.array_equal(getattr(short, name), getattr(long, name)[:10])
        assert len(getattr(long, name)) == 25


def test_knots_do_not_depend_on_how_they_are_dealt():
    """Both parts of the envelope are the same in two stretches as in one, and differ."""
    knots = KnotLuck(Streams(4))
    parts = knots.deal(10), knots.deal(15)
    whole = KnotLuck(Streams(4)).deal(25)
    for first_part, second_part, both in zip(*parts, whole, strict=True):
        assert np.array_equal(np.concatenate([first_part, second_part]), both)
    assert not np.any(whole[0] == whole[1])


# luck and settings


def test_luck_knows_no_setting():
    """The modules of chance import nothing that could tell them what is set."""
    for module in (luck, inspect.getmodule(Streams)):
        tree = ast.parse(inspect.getsource(module))
        taken = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert {name for name in taken if name.startswith("metersim")} <= {"metersim.streams"}


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
        "turns=7",
        "gate_opening_mm=20",
        "seed.lot=soybean",
    ],
)
def test_a_moved_setting_leaves_all_luck(change, monkeypatch):
    """Runs that differ in a setting deal the same luck to their cells and ticks."""
    dealt, ticks = [], []
    deal, tick = CellStreams.deal, TickLuck.__init__

    def listening_deal(self, cells):
        dealt[-1].append(deal(self, cells))
        return dealt[-1][-1]

    def listening_tick(self, streams, number):
        tick(self, streams, number)
        ticks.append(self)

    monkeypatch.setattr(CellStreams, "deal", listening_deal)
    monkeypatch.setattr(TickLuck, "__init__", listening_tick)
    for changes in ([], [change]):
        dealt.append([])
        simulate(load_scenario("maize_bench", ["turns=5", *changes]), seed=6)

    for field in FIELDS:
        one, other = (np.concatenate([getattr(d, field) for d in run]) for run in dealt)
        assert same_start(one, other), field
    for field in ("forming", "clearing"):
        assert same_start(*(getattr(run, field) for run in ticks)), field


def same_start(one, other):
    """Whether two records of luck agree as far as both go, which is at least 20 entries."""
    shared = min(len(one), len(other))
    return shared >= 20 and np.array_equal(one[:shared], other[:shared])


def test_other_luck_is_told_apart():
    """Negative control: luck of another seed does not start alike, nor does too little luck."""
    one, other = (CellStreams(Streams(seed)).deal(50).hold for seed in (6, 7))
    assert not same_start(one, other)
    assert not same_start(one, one[:10])
    assert same_start(one, one[:30])
