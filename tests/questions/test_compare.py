"""Variance reduction by common random numbers, and the texts of a comparison."""

import json
import math
import re

import numpy as np
import pytest

from metersim.cli import main
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY, SI_SUFFIX
from metersim.measures.tally import Tally, tallied
from metersim.questions.compare.answer import named, summary
from metersim.questions.compare.study import COMPARED, Pairing, compare, pairing
from metersim.questions.compare.text import gain_text, report, unlike
from metersim.run.records import Origin
from tests.strategies import BENCH

SKIP = BY_KEY["cells.skip"]
STRETCHES, CELLS = 2000, 100  # stretches, and cells in each


def draws(seed):
    """Uniform draws of every cell, by stretch."""
    return np.random.Generator(np.random.PCG64(seed)).random((STRETCHES, CELLS))


def skips(empty):
    """Measures of made-up cells that are empty or not."""
    sums = {"none": empty.sum(axis=1).astype(float), "cells": np.full(len(empty), float(CELLS))}
    origin = Origin(BENCH, 1, 0, "", {})
    none = np.zeros(9, dtype=int)
    return Measured((Tally(origin, empty.size, len(empty), sums, none, none, 0),))


def log_ratio(a, b, wanted):
    """ln(gain / wanted) of two sets of cells, and its standard error by leaving out parts."""

    def value(kept):
        found = pairing(skips(a[kept]), skips(b[kept]), SKIP)
        return math.log(found.gain / wanted(found))

    stretches = np.arange(STRETCHES)
    left_out = np.array([value(stretches % 50 != part) for part in range(50)])
    return value(stretches >= 0), math.sqrt(49 * left_out.var())


@pytest.mark.parametrize("shares", [(0.02, 0.05), (0.30, 0.10), (0.004, 0.012)])
def test_draws_shared_as_far_as_possible_reach_the_best(shares):
    """One draw decides for both: cells differ as seldom as the shares allow."""
    shared = draws(1)
    a, b = (shared < share for share in shares)
    off, error = log_ratio(a, b, lambda found: found.best)
    assert abs(off) < 4 * error
    met = [float(empty.mean()) for empty in (a, b)]
    spread, apart = sum(p * (1 - p) for p in met), abs(met[0] - met[1])
    best = pairing(skips(a), skips(b), SKIP).best
    assert best == pytest.approx(spread / (apart * (1 - apart)))
    # negative control: that is far from nothing gained
    gained, error = log_ratio(a, b, lambda found: 1.0)
    assert gained > 4 * error


@pytest.mark.parametrize("shares", [(0.02, 0.05), (0.30, 0.10), (0.004, 0.012)])
def test_separate_draws_gain_nothing(shares):
    a, b = (draws(seed) < share for seed, share in zip((2, 3), shares, strict=True))
    off, error = log_ratio(a, b, lambda found: 1.0)
    assert abs(off) < 4 * error
    # negative control: that is far from the best
    off, error = log_ratio(a, b, lambda found: found.best)
    assert off < -4 * error


def test_equal_cells_have_no_gain():
    shared = draws(4)
    same = pairing(skips(shared < 0.1), skips(shared < 0.1), SKIP)
    none = pairing(skips(shared < 0), skips(shared < 0), SKIP)
    for found in (same, none):
        assert math.isnan(found.gain) and math.isnan(found.best)
        assert gain_text(found) == "n/a"


def test_against_nothing_there_is_nothing_to_share():
    """When one has no skips at all, shared draws can save no cells."""
    shared = draws(5)
    found = pairing(skips(shared < 0), skips(shared < 0.1), SKIP)
    assert found.best == pytest.approx(1) and found.gain == pytest.approx(1)


def test_a_notch_with_common_random_numbers_reaches_nearly_the_best():
    """The draws of the singulator are shared: |z| < 4 about nine tenths of the best.

    The logarithm of a ratio of two variances of n stretches has an SE of at most 2 / sqrt(n).
    """
    stretches = 600
    bench = BENCH.replace(run__turns=1000)
    firm = bench.replace(singulator__notch=1.0)
    usual, same, other = (
        measure(tallied(scenario, seed=seed, stretches=stretches))
        for scenario, seed in ((bench, 1), (firm, 1), (firm, 2))
    )
    for key in ("cells.skip", "cells.double"):
        found, control = (pairing(usual, part, BY_KEY[key]) for part in (same, other))
        error = 2 / math.sqrt(stretches)
        assert -4 * error < math.log(found.gain / found.best) - math.log(0.9) < 4 * error, key
        assert abs(math.log(control.gain)) < 4 * error  # negative control: separate draws
        assert math.log(found.gain) > 4 * error


def test_the_worth_is_printed_beside_each_share():
    result = compare(BENCH, BENCH.replace(singulator__notch=1.0), labels=["0", "1"])
    assert list(result.pairings[0]) == [key for key in COMPARED if BY_KEY[key].top]
    text = report(result, details=True)
    for label, shared in (("skips", True), ("quality of feed A", True), ("precision", False)):
        line, *_ = re.findall(rf"^{label} .* to .*$", text, re.MULTILINE)
        assert (re.search(r"cells \(at best \d", line) is not None) == shared
    assert gain_text(Pairing(2.25, 3.0)) == "2.2 times fewer cells (at best 3.0)"
    assert gain_text(Pairing(0.9, 30.4)) == "no fewer cells (at best 30)"


def test_a_comparison_is_headed_by_what_its_scenarios_share():
    """Of the variants of one, the varied key stands in the labels; of two, both are named."""
    short, one = ["turns=4"], "notch=0 minus"
    head, *rest = report(compare("maize_bench", vary="notch=-1,0", changes=short)).split("\n")
    assert head.startswith("Maize on the workshop bench (maize_bench, turns=4, random seed 1")
    assert rest[0] == "Asked, at notch=-1:" and rest[2].endswith("notch -1")
    said = "with common random numbers (90 % interval)"
    assert any(line.startswith(one) and line.endswith(said) for line in rest)
    head, *_ = report(compare("gate_too_low", "maize_bench", changes=short)).split("\n")
    assert "(gate_too_low / maize_bench, turns=4, random seed 1" in head


@pytest.mark.slow
def test_a_report_names_the_settings_that_differ():
    """The gate's, in the units asked for, and nothing else; variants say it in their labels."""
    two = compare("gate_too_low", "maize_bench", changes=["turns=4"])
    said = report(two)
    assert "They differ in:\n  gate_opening_mm: 13 at gate_too_low, 52 at maize_bench\n\n" in said
    us = ["They differ in:", "  gate_opening_in: 0.5118 at gate_too_low, 2.047 at maize_bench"]
    assert unlike(two, "us") == us
    both = compare("maize_field", "soybean_narrow_rows", changes=["turns=4"])
    keys = [line.split(":")[0].strip() for line in unlike(both)[1:]]
    assert "lot" in keys and "cells" in keys and "speed_kmh" not in keys and "turns" not in keys
    variants = report(compare("maize_bench", vary="notch=-1,0", changes=["turns=4"]))
    assert "They differ" not in variants


def test_what_is_worth_stands_in_one_column():
    long = compare(BENCH, BENCH.replace(singulator__notch=1.0), labels=["0", "one notch on" * 4])
    lines = report(long, details=True).split("\n")
    (head,) = [line for line in lines if line.endswith(" variance reduction")]
    told = [line for line in lines if "fewer cells (at best" in line]
    assert len(told) == len(long.pairings[0])
    at = head.index("variance reduction")
    assert all(line[at - 1] == " " != line[at] for line in told)


def test_records_are_kept_only_when_asked_for():
    short = [BENCH.replace(run__turns=4), BENCH.replace(run__turns=4, singulator__notch=1.0)]
    assert compare(*short, labels=["0", "1"], replicates=2).runs == ()
    kept = compare(*short, labels=["0", "1"], replicates=2, keep=True)
    assert [(run.replicate, run.scenario.singulator.notch) for run in kept.runs] == [(0, 0), (0, 1)]
    plain = compare(*short, labels=["0", "1"], replicates=2)
    assert plain.differences == kept.differences


@pytest.mark.slow
def test_the_command_compares_by_either_engine(capsys):
    """Word for word the same."""
    told = []
    for engine in ("arrays", "events"):
        words = ["compare", "maize_bench", "--vary", "notch=0,1", "--turns", "10"]
        assert main([*words, "--engine", engine]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]


# ---------------------------------------------------------------- the answer


SHORT = ("compare", "maize_field", "--turns", "20", "--set", "size_cv_percent=5")


@pytest.mark.slow
@pytest.mark.parametrize("plants", [(), ("--plants",), ("--plants", "--yield", "12")])
@pytest.mark.parametrize("vary", ["speed_kmh=6,10", "speed_kmh=6,8,10", "vacuum_kpa=1,2,4,6"])
def test_an_answer_fits_a_terminal_and_begins_with_the_change(done, vary, plants):
    text = done(*SHORT, "--vary", vary, *plants)
    lines = text.rstrip("\n").split("\n")
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    what, _, values = vary.partition("=")
    first, second, *_ = values.split(",")
    assert lines[0].startswith(f"{what.split('_')[0].capitalize()} {first} to {second} ")
    assert lines[-1].startswith("More: --details")
    assert sum(line.startswith("Assumes: ") for line in lines) == 1
    assert not re.search(r"\b(luck|told|tells?|quality of feed|points of)\b", text)
    report = done(*SHORT, "--vary", vary, *plants, "--details")
    assert report.startswith("\n".join(lines[:2])) and "quality of feed A" in report
    assert ("theoretical places, empty" in text) == bool(plants)


def test_equal_scenarios_have_no_difference_in_words():
    """And a change of speed has one: a negative control."""
    field = BENCH.replace(run__turns=20)
    text = summary(compare(field, field, labels=["a", "b"]))
    assert "Skips and doubles: no difference is detected." in text
    assert text.split("\n")[0].startswith("a to b: normal spacings: no difference")
    assert text.count("none in any cell") == 7 and "rise" not in text and "fall by" not in text
    fast = summary(compare(field, field.replace(demand__speed=4.0), labels=["a", "b"]))
    assert fast.startswith("a to b: normal spacings fall by ")


def test_names_of_a_varied_key_have_its_words_and_unit():
    slow, fast = named(["speed_mph=5", "demand.speed_mph=7"], "us")
    assert (slow.to(fast), fast.less(slow), slow.short) == (
        "Speed 5 to 7 mph",
        "7 less 5 mph",
        "5 mph",
    )
    slow, fast = named(["speed_kmh=8", "speed_kmh=12"], "us")
    assert slow.to(fast) == "Speed 4.97 to 7.46 mph"
    before, after = named(["notch=0", "notch=1"])
    assert (before.to(after), after.less(before)) == ("Notch 0 to 1", "notch 1 less notch 0")
    one, two = named(["own.toml", "lot=soybean"])
    assert one.to(two).startswith("own.toml to ")


@pytest.mark.slow
def test_the_json_holds_levels_and_differences_in_si(done, folder):
    words = (*SHORT, "--vary", "speed_mph=4,7", "--plants", "--units", "us", "--yield", "200")
    made = json.loads(done(*words, "--json", "-"))
    result = compare(
        "maize_field",
        vary="speed_mph=4,7",
        changes=["turns=20", "size_cv_percent=5"],
        plants=True,
        draws=made["differences"][0]["uncertainty"]["draws"],
    )
    slow, fast = made["scenarios"]
    assert [slow["label"], fast["label"]] == list(result.labels)
    assert slow["provenance"]["settings_si"]["demand"]["speed"] == pytest.approx(4 * 0.44704)
    (change,) = made["differences"]
    assert (change["label"], change["less"]) == (fast["label"], slow["label"])
    for key in COMPARED:
        group, _, name = key.partition(".")
        name += SI_SUFFIX.get(BY_KEY[key].kind, "")
        for found, at in ((fast, result.values[1]), (change, result.differences[0])):
            told = found[group][name] if "." in key else found[group]
            assert told == at[key].to_dict(), key
    assert change["variance_reduction"]["cells"]["skip"]["gain"] > 0
    per_area = change["stand"]["plants"]["per_area_per_m2"]
    assert per_area == result.stand_changes[0].measures["plants.per_area"].to_dict()
    assert len(change["stand"]["yield_as_published"]) == len(result.stand_changes[0].losses)
    assert done(*words, "--json", "both.json").startswith("Speed 4 to 7 mph: ")
    assert json.loads((folder / "both.json").read_text()) == made
