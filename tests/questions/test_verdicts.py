"""Verdicts: every kind of statement can come out every way, on predictions made by hand."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.coefficients import USUAL
from metersim.machine.posterior import Posterior
from metersim.questions.evidence import verdicts
from metersim.questions.evidence.predictions import STRETCHES, Predicted
from metersim.questions.evidence.verdicts import (
    AGREES,
    DISAGREES,
    TREND,
    judge,
    plateau_ends,
)
from metersim.questions.shared.cases import read_case

DRAWS = 101
HEAD = """
source = "banaj2022"
mark = "read"
read = ["made up for a test"]
[scenario]
extends = "maize_bench"
[conditions.a]
[conditions.b]
[conditions.v]
vary = {key = "vacuum_kpa", values = [1, 2, 3, 6, 9]}
[conditions.w]
vary = {key = "vacuum_kpa", values = [1, 2, 3, 6, 9]}
"""


def predicted(folder, rows, values):
    """A prediction of a case with these rows: values by condition and measure, over draws."""
    path = folder / "own.toml"
    path.write_text(HEAD + rows)
    columns = {
        condition: {
            measure: np.repeat(np.asarray(numbers, float)[:, None], 1 + STRETCHES, axis=1)
            for measure, numbers in found.items()
        }
        for condition, found in values.items()
    }
    return Predicted(read_case(path), columns)


def judged(folder, rows, values):
    return [(o.verdict, o.why) for o in judge([predicted(folder, rows, values)])]


def of_one_machine(made):
    """The prediction of a machine of which everything is known."""
    one = Posterior(draws=(USUAL, USUAL), share=(0.0, 0.0), spread=(0.0, 0.0), made="one machine")
    conditions = {
        name: dataclasses.replace(
            found, parts=tuple(dataclasses.replace(part, meter=one) for part in found.parts)
        )
        for name, found in made.case.conditions.items()
    }
    return dataclasses.replace(made, case=dataclasses.replace(made.case, conditions=conditions))


def about(middle, half):
    """Draws spread evenly about a middle."""
    return middle + half * np.linspace(-1, 1, DRAWS)


LEVEL = """
[[rows]]
name = "quality at a"
kind = "level"
at = "a"
measure = "per_spacing.quality"
published = 97.0
[[rows]]
name = "quality at b"
kind = "level"
at = "b"
measure = "per_spacing.quality"
published = 95.0
"""


@pytest.mark.parametrize(
    ("middle", "half", "verdict"),
    [
        (0.97, 0.02, AGREES),
        (0.985, 0.03, AGREES),  # inside, however far the median is off
        (0.97, 0.2, AGREES),  # and however wide the interval is; the width stands beside
        (0.86, 0.02, DISAGREES),  # though the order of the two levels would be right
        (1.0, 0.0, DISAGREES),
    ],
)
def test_a_level(tmp_path, middle, half, verdict):
    """It agrees inside its interval, and disagrees outside: an order does not save it."""
    values = {
        "a": {"per_spacing.quality": about(middle, half).clip(0, 1)},
        "b": {"per_spacing.quality": about(0.82, 0.02)},
    }
    found = judge([predicted(tmp_path, LEVEL, values)])[0]
    interval = found.interval
    assert found.verdict == verdict
    assert (interval.low <= 97.0 <= interval.high) == (verdict == AGREES)
    assert found.why.startswith("outside the interval by") == (verdict == DISAGREES)


def test_a_level_has_the_sampling_error_of_its_count(tmp_path):
    """The same share in all draws: the interval is that of a count of 250, or as is stated.

    Nothing else is uncertain: there is one machine, and the model has no discrepancy.
    """
    values = {name: {"per_spacing.quality": np.full(DRAWS, 0.97)} for name in "ab"}
    wide = {}
    for spacings in (250, 25000):
        rows = LEVEL.replace("97.0\n", f"97.00\nspacings = {spacings}\n", 1)
        interval = judge([of_one_machine(predicted(tmp_path, rows, values))])[0].interval
        wide[spacings] = interval.high - interval.low
        assert interval.sampling == 1.0
    sd = math.sqrt(0.97 * 0.03 / 250) * 100
    assert abs(wide[250] - 2 * 1.645 * sd) < 4 * 2.6 * sd / math.sqrt(DRAWS)  # SE of two quantiles
    assert wide[25000] < wide[250] / 5


@pytest.mark.parametrize(
    ("right", "verdict"), [(1.0, AGREES), (0.96, AGREES), (0.9, TREND), (0.7, DISAGREES)]
)
def test_an_order_by_the_share_of_draws(tmp_path, right, verdict):
    row = '[[rows]]\nname = "o"\nkind = "order"\n'
    row += 'terms = [[1, "a", "precision"], [-1, "b", "precision"]]\n'
    b = np.where(np.arange(DRAWS) < right * DRAWS, 0.10, 0.12)
    values = {"a": {"precision": np.full(DRAWS, 0.11)}, "b": {"precision": b}}
    assert judged(tmp_path, row, values)[0][0] == verdict


@pytest.mark.parametrize(
    ("off", "verdict"), [(0.009, AGREES), (-0.009, AGREES), (0.011, DISAGREES)]
)
def test_the_same(tmp_path, off, verdict):
    row = '[[rows]]\nname = "s"\nkind = "same"\nwithin = 1\n'
    row += 'terms = [[1, "a", "cells.skip"], [-1, "b", "cells.skip"]]\n'
    values = {"a": {"cells.skip": about(0.05 + off, 0.01)}, "b": {"cells.skip": about(0.05, 0.01)}}
    assert judged(tmp_path, row, values)[0][0] == verdict


@pytest.mark.parametrize("word", ["above", "below"])
@pytest.mark.parametrize(("kept", "verdict"), [(0.95, AGREES), (0.8, TREND), (0.7, DISAGREES)])
def test_a_bound(tmp_path, word, kept, verdict):
    row = f'[[rows]]\nname = "b"\nkind = "bound"\nat = "a"\nmeasure = "cells.single"\n{word} = 92\n'
    side = 1 if word == "above" else -1
    values = np.where(np.arange(DRAWS) < kept * DRAWS, 0.92 + side * 0.01, 0.92 - side * 0.01)
    assert judged(tmp_path, row, {"a": {"cells.single": values}})[0][0] == verdict


PLATEAU = """
[[rows]]
name = "best"
kind = "plateau"
of = "v"
published = 3.0
[[rows]]
name = "higher"
kind = "plateau order"
of = "v"
over = "w"
"""


def curve(name, lost):
    """Quality at the vacuums of a varied condition."""
    return {
        f"{name} {vacuum}": {"per_spacing.quality": np.full(DRAWS, 0.99 - part)}
        for vacuum, part in zip((1, 2, 3, 6, 9), lost, strict=True)
    }


@pytest.mark.parametrize(
    ("lost", "verdict", "why"),
    [
        ((0.02, 0.0, 0.004, 0.005, 0.011), AGREES, ""),
        (
            (0.02, 0.0, 0.006, 0.01, 0.02),
            TREND,
            "0.6 percentage points below the best at the published vacuum",
        ),
        ((0.02, 0.0, 0.004, 0.005, 0.006), TREND, "only 0.6 below at three times it"),
        ((0.008, 0.0, 0.001, 0.005, 0.02), TREND, "only 0.8 below at a third of it"),
        ((0.0, 0.01, 0.03, 0.04, 0.05), DISAGREES, None),
    ],
)
def test_a_plateau(tmp_path, lost, verdict, why):
    values = curve("v", lost) | curve("w", (0.0, 0.0, 0.02, 0.03, 0.04))
    found = judged(tmp_path, PLATEAU, values)
    assert found[0][0] == verdict and (why is None or found[0][1] == why)


LOW, HIGH = (0.03, 0.0, 0.0, 0.02, 0.04), (0.04, 0.03, 0.0, 0.0, 0.02)
FLAT_CURVE = (0.0,) * 5


@pytest.mark.parametrize(
    ("of", "over", "verdict"),
    [
        (HIGH, LOW, AGREES),
        (LOW, HIGH, DISAGREES),
        (LOW, LOW, DISAGREES),
        ((0.01, 0.0, 0.0, 0.004, 0.02), LOW, AGREES),  # from lower on, but to far higher
        ((0.04, 0.03, 0.0, 0.0, 0.0), LOW, TREND),  # how high it goes is not known
        (LOW, (0.04, 0.03, 0.0, 0.0, 0.0), DISAGREES),
        (FLAT_CURVE, FLAT_CURVE, DISAGREES),
    ],
)
def test_the_order_of_plateaus(tmp_path, of, over, verdict):
    values = curve("v", of) | curve("w", over)
    assert judged(tmp_path, PLATEAU, values)[1][0] == verdict


def test_a_plateau_ends_where_its_quality_does(tmp_path):
    """From 1 to 2 kPa a fall of 3 points, of which 0.5 is a sixth of the way in the logarithm."""
    made = predicted(tmp_path, PLATEAU, curve("v", LOW) | curve("w", FLAT_CURVE))
    low, high = plateau_ends(made, "v")
    assert low == pytest.approx(2 * 2 ** (-1 / 6))
    assert high == pytest.approx(3 * 2 ** (1 / 4))
    assert all(map(math.isnan, plateau_ends(made, "w")))


def test_where_vacuums_were_run_does_not_order_plateaus(tmp_path):
    """Quality that no vacuum changes has no plateau, however high the vacuums of one case are."""
    path = tmp_path / "own.toml"
    path.write_text(HEAD.replace("[1, 2, 3, 6, 9]", "[1, 3, 6, 9, 12]", 1) + PLATEAU)
    case = read_case(path)
    still = np.full((DRAWS, 1 + STRETCHES), 0.99)
    made = Predicted(case, {name: {"per_spacing.quality": still} for name in case.conditions})
    assert judge([made])[1].verdict == DISAGREES


def test_no_quality_is_no_plateau(tmp_path):
    """As where some draws leave a row without seeds: a maximum that is not known is not met."""
    values = curve("v", (0.02, 0.0, 0.004, 0.005, 0.011)) | curve("w", LOW)
    assert judged(tmp_path, PLATEAU, values)[0][0] == AGREES
    values["v 1"]["per_spacing.quality"] = np.full(DRAWS, math.nan)
    assert [verdict for verdict, _ in judged(tmp_path, PLATEAU, values)] == [DISAGREES, DISAGREES]


@pytest.mark.parametrize(
    ("path", "verdict"),
    [
        ((0.99, 0.98, 0.97, 0.94, 0.91), AGREES),
        ((0.99, 0.99, 0.99, 0.99, 0.90), TREND),
        ((0.91, 0.94, 0.97, 0.98, 0.99), DISAGREES),
    ],
)
def test_a_straight_line(tmp_path, path, verdict):
    row = '[[rows]]\nname = "l"\nkind = "straight"\nof = "v"\n'
    row += 'measure = "per_spacing.quality"\nsign = -1\n'
    values = curve("v", [0.99 - quality for quality in path])
    assert judged(tmp_path, row, values)[0][0] == verdict


def test_reaches_are_judged_by_ratio_then_by_order(tmp_path):
    """The sink form gives 3.03 mm for a hole of 4 mm at 4 kPa with large flat maize."""

    def row(name, hole, aim):
        return (
            f'[[rows]]\nname = "{name}"\nkind = "reach"\nof = "a"\n'
            f"hole_mm = {hole}\nvacuum_kpa = 4\npublished = {aim}\n"
        )

    near = judged(tmp_path, row("x", 4, 3.0), {})
    far = judged(tmp_path, row("x", 4, 6.0) + row("y", 8, 12.0), {})
    wrong = judged(tmp_path, row("x", 4, 12.0) + row("y", 8, 9.0), {})
    alone = judged(tmp_path, row("x", 4, 6.0), {})
    assert [verdict for verdict, _ in near + far + wrong + alone] == [
        AGREES, TREND, TREND, DISAGREES, DISAGREES, DISAGREES,
    ]  # fmt: skip


def test_an_interval_of_few_draws_holds_a_further_one_as_often_as_is_said():
    """Of 24 uniform draws 90 %, whatever they are of: |z| < 4; a narrower one holds 83 %."""
    drawn = np.random.default_rng(4).random((4000, 24))
    low, median, high = verdicts.central(drawn)
    held, error = np.mean(high - low), np.std(high - low, ddof=1) / math.sqrt(len(drawn))
    assert abs(held - verdicts.LEVEL) < 4 * error
    assert np.all((low < median) & (median < high))
    narrow = np.diff(np.quantile(drawn, [0.05, 0.95], axis=1), axis=0)
    assert abs(np.mean(narrow) - verdicts.LEVEL) > 4 * error  # negative control


def test_luck_is_told_by_the_stretches(tmp_path):
    """Draws that differ by luck alone, of a known size, and by not knowing of the same size."""
    rng = np.random.default_rng(1)
    stretches = rng.standard_normal((400, STRETCHES))
    whole = stretches.mean(axis=1)
    without = (stretches.sum(axis=1)[:, None] - stretches) / (STRETCHES - 1)
    for other, expected in ((0.0, 1.0), (STRETCHES**-0.5, 0.5)):
        shift = other * rng.standard_normal(400)[:, None]
        row = '[[rows]]\nname = "o"\nkind = "bound"\nat = "a"\nmeasure = "per_spacing.quality"\n'
        made = predicted(tmp_path, f"{row}above = 0\n", {"a": {}, "b": {}})
        both = {"per_spacing.quality": np.column_stack([whole, without]) + shift}
        made = dataclasses.replace(made, values={"a": both, "b": both})
        luck = judge([made])[0].interval.sampling
        assert abs(luck - expected) < 4 * expected * math.sqrt(2 / 400) * 1.5


def test_luck_that_stretches_do_not_tell_is_not_told(tmp_path):
    """As of a maximum, which is the same without most stretches."""
    values = {
        "a": {"per_spacing.quality": about(0.97, 0.02)},
        "b": {"per_spacing.quality": about(0.95, 0.02)},
    }
    made = predicted(tmp_path, LEVEL, values)
    made.values["a"]["per_spacing.quality"][:, 1:] = math.nan
    first, second = judge([made])
    assert math.isnan(first.interval.sampling) and 0 < second.interval.sampling < 1
    assert first.verdict == second.verdict == AGREES


@pytest.mark.parametrize(
    "row",
    [
        'kind = "level"\nat = "a"\nmeasure = "per_spacing.quality"\npublished = 97',
        'kind = "same"\nterms = [[1, "a", "per_spacing.quality"]]\nwithin = 1',
        'kind = "plateau"\nof = "v"\npublished = 3',
        'kind = "plateau order"\nof = "w"\nover = "v"',
        'kind = "straight"\nof = "v"\nmeasure = "per_spacing.quality"\nsign = 1',
    ],
)
def test_runs_with_nothing_to_measure_agree_with_nothing(tmp_path, row):
    quality = {"per_spacing.quality": [0.97, math.nan, 0.97]}
    names = ("a", *(f"{name} {kpa}" for name in "vw" for kpa in (1, 2, 3, 6, 9)))
    values = dict.fromkeys(names, quality)
    (found,) = judge([predicted(tmp_path, f'[[rows]]\nname = "r"\n{row}\n', values)])
    assert (found.verdict, found.interval) == (DISAGREES, None)
    assert found.predicted.startswith("no value in ") and "too short" in found.why


def test_what_never_changes_lies_on_no_line(tmp_path):
    row = '[[rows]]\nname = "r"\nkind = "straight"\nof = "v"\nmeasure = "cells.skip"\nsign = 1\n'
    values = {f"v {kpa}": {"cells.skip": [0.02, 0.02]} for kpa in (1, 2, 3, 6, 9)}
    assert judged(tmp_path, row, values) == [(DISAGREES, "a line explains 0 %")]
