"""Scores of unseen levels: closed forms, limits, and what must fail."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from metersim.files.faults import BadInput
from metersim.questions.evidence.score import (
    DIFFERENCE,
    TARGETED,
    constant,
    crps,
    interval_score,
    is_difference,
    numbers,
    score,
)
from metersim.questions.shared.unseen import (
    BLOCKS,
    DRAWS,
    OUTLIERS,
    Level,
    read_unseen,
    write_unseen,
)

SOURCES, EACH = 12, 4


def normal_crps(mean, sd, y):
    """Closed form for a normal prediction (Gneiting & Raftery 2007, from memory)."""
    z = (y - mean) / sd
    return sd * (z * (2 * stats.norm.cdf(z) - 1) + 2 * stats.norm.pdf(z) - 1 / math.sqrt(math.pi))


def level(published=95.0, laboratory="a", draws=None, **given):
    """A level of a quality; by default its draws are the published value alone."""
    made = np.full((BLOCKS, DRAWS), published) if draws is None else draws
    usual = {"case": laboratory, "row": "q", "measure": "per_spacing.quality", "unit": "%"}
    return Level(
        published=published, laboratory=laboratory, draws=made, **usual | {"spacings": 250} | given
    )


def world(shift=0.0, narrow=1.0, sources=SOURCES):
    """Levels whose truth and whose draws have one distribution, or draws that are spoilt."""
    rng = np.random.default_rng(5)
    found = []
    for source in range(sources):
        for k in range(EACH):
            middle = 92 + rng.normal(0, 2)
            truth = middle + rng.normal(0, 1)
            drawn = middle + shift + narrow * rng.normal(0, 1, (BLOCKS, DRAWS))
            found.append(level(float(truth), f"lab {source}", drawn, row=f"row {k}"))
    return found


@pytest.mark.parametrize("published", [-1.0, 0.3, 2.5])
def test_the_score_of_a_normal_is_its_closed_form(published):
    """Sets of ten draws: their mean is that of the whole distribution; the unfair one is not."""
    drawn = np.random.default_rng(2).normal(0.0, 1.0, (4000, 10))
    fair = crps(drawn, published)
    error = np.std(fair, ddof=1) / math.sqrt(len(fair))
    assert abs(fair.mean() - normal_crps(0.0, 1.0, published)) < 4 * error
    unfair = crps(drawn, published, fair=False).mean()
    assert abs(unfair - normal_crps(0.0, 1.0, published)) > 4 * error


def test_the_score_of_even_quantiles_is_that_of_the_distribution():
    places = stats.norm.ppf((np.arange(400) + 0.5) / 400)
    assert crps(places, 0.7, fair=False) == pytest.approx(normal_crps(0, 1, 0.7), abs=2e-4)


def test_the_score_has_the_unit_of_its_level_and_none_is_exact():
    drawn = np.random.default_rng(3).normal(5.0, 1.0, 50)
    assert crps(3 * drawn, 12.0) == pytest.approx(3 * crps(drawn, 4.0))
    assert crps(np.full(50, 4.0), 4.0) == 0.0
    assert crps(np.full(50, 4.0), 6.5) == pytest.approx(2.5)  # of a point: its distance


@pytest.mark.parametrize(("published", "expected"), [(2.0, 2.0), (3.5, 12.0), (0.0, 22.0)])
def test_the_score_of_an_interval_from_1_to_3(published, expected):
    assert interval_score(1.0, 3.0, published, 0.9) == pytest.approx(expected)


def test_the_true_quantiles_have_the_best_interval_score():
    truth = np.random.default_rng(4).normal(0, 1, 20000)
    end = stats.norm.ppf(0.95)
    means = [
        np.mean([interval_score(-part * end, part * end, y, 0.9) for y in truth[:2000]])
        for part in (0.6, 1.0, 1.6)
    ]
    assert means[1] < min(means[0], means[2])


def test_numbers_of_a_level_are_those_of_its_draws():
    found = numbers(np.tile(np.arange(1.0, 100.0), (2, 1)), 60.0)
    assert (found.bias, found.miss, found.width) == pytest.approx((-10.0, 10.0, 90.0))
    assert (found.half, found.most) == (1.0, 1.0)
    outside = numbers(np.tile(np.arange(1.0, 100.0), (2, 1)), 80.0)
    assert (outside.half, outside.most) == (0.0, 1.0)


def test_true_draws_hold_what_they_state_and_spoilt_ones_do_not():
    """Coverage within four standard errors of its share; too narrow and shifted draws miss it."""
    right, narrow, shifted = (
        score(each).whole for each in (world(), world(narrow=0.4), world(shift=2.0))
    )
    many = SOURCES * EACH
    for name, stated in (("half", 0.5), ("most", 0.9)):
        error = math.sqrt(stated * (1 - stated) / many)
        assert abs(getattr(right.model, name) - stated) < 4 * error
        assert getattr(narrow.model, name) < stated - 2 * error
        assert getattr(shifted.model, name) < getattr(right.model, name)
    assert is_difference(right.skill, shifted.skill) and shifted.skill < right.skill
    assert shifted.model.bias - right.model.bias == pytest.approx(2.0)
    assert right.model.interval < min(narrow.model.interval, shifted.model.interval)


def test_the_constant_has_no_skill_against_itself():
    pool = world()
    by_source = {}
    for one in pool:
        by_source.setdefault(one.laboratory, []).append(one.published)
    own = []
    for one in pool:
        others = {name: each for name, each in by_source.items() if name != one.laboratory}
        drawn = constant(others)
        own.append((one, numbers(drawn[None], one.published, fair=False)))
    found = score(pool).whole
    assert {one.level: one.constant for one in found.scored} == dict(own)
    same = [replace(one, model=one.constant) for one in found.scored]
    again = replace(found, scored=tuple(same))
    assert again.skill == 0.0 and again.skill_interval == (0.0, 0.0)
    exact = score([level(one.published, one.laboratory, row=one.row) for one in pool]).whole
    assert exact.skill == 1.0


def test_the_constant_is_students_t_of_the_other_sources():
    """One value a source, on a logarithm: the usual prediction interval of a further value."""
    values = np.array([19.0, 20.0, 22.0, 25.0])
    found = constant({str(k): v for k, v in enumerate(values)}, unit="cm")
    logs = np.log(values)
    wide = logs.std(ddof=1) * math.sqrt(1 + 1 / 4)
    assert np.log(found[[4, 95]]) == pytest.approx(
        stats.t.ppf([0.045, 0.955], 3, logs.mean(), wide)
    )
    assert np.median(found) == pytest.approx(np.exp(logs.mean()), rel=1e-4)


def test_the_constant_weighs_sources_alike_and_knows_0_percent():
    many = constant({"a": [0.0] * 9, "b": 4.0, "c": 4.0})
    assert many == pytest.approx(constant({"a": 0.0, "b": 4.0, "c": 4.0}))
    assert np.all((many >= 0) & (many <= 100)) and np.all(np.diff(many) >= 0)


def test_a_constant_never_sees_its_own_source_nor_what_stands_apart():
    pool = world()
    first = score(pool).whole.scored[0]
    moved = [replace(one, published=10.0) if one.laboratory == "lab 0" else one for one in pool[1:]]
    strange = [
        level(1.0, "tubes", group="tube"),
        level(1.0, "later", held_back=True),
        level(1.0, "x", case="qi2013"),
    ]
    found = score([pool[0], *moved, *strange])
    assert found.whole.scored[0].constant == first.constant
    assert [(one.name, one.levels) for one in found.apart] == [
        ("tube", 1), ("outliers", 1), ("held back", 1),
    ]  # fmt: skip
    assert set(OUTLIERS) == {"qi2013"} and all(OUTLIERS.values())


def test_each_source_counts_once():
    """Nine levels that are missed by 4 points in one source weigh as one exact level of another."""
    wrong = [level(90.0, "a", np.full((BLOCKS, DRAWS), 94.0), row=str(k)) for k in range(9)]
    found = score([*wrong, level(90.0, "b")]).whole
    assert found.model.crps == pytest.approx(2.0) and found.model.most == 0.5
    assert found.model.miss == 4.0  # the median over levels
    assert found.constant is None and math.isnan(found.skill)


def test_few_sources_have_neither_target_nor_constant():
    for sources in (3, 4, TARGETED):
        found = score(world(sources=sources)).whole
        assert found.targeted == (sources == TARGETED)
        assert math.isnan(found.skill) == (sources < 4)
    one = score(world(sources=1)).whole
    assert all(math.isnan(end) for end in (*one.skill_interval, *one.inside_interval("half")))


def test_an_interval_over_sources_holds_the_middle_and_narrows_with_their_number():
    few, many = score(world(sources=5)).whole, score(world(sources=20)).whole
    for each in (few, many):
        for value, (low, high) in (
            (each.skill, each.skill_interval),
            (each.model.half, each.inside_interval("half")),
        ):
            assert low <= value <= high
    few, many = (np.diff(each.inside_interval("half")) for each in (few, many))
    assert many < few


@pytest.mark.slow
def test_resampled_sources_hold_the_truth_as_often_as_is_stated():
    """Coverage of 20 independent sources, half of them inside: 80 % of the intervals hold it."""
    rng, held = np.random.default_rng(8), []
    low, high = np.tile(np.linspace(0, 1, DRAWS), (BLOCKS, 1)), level(0.5)
    for _ in range(25):
        inside = rng.random(20) < 0.5
        made = [
            replace(high, laboratory=str(k), draws=low - (not one)) for k, one in enumerate(inside)
        ]
        ends = score(made).whole.inside_interval("half")
        held.append(ends[0] <= 0.5 <= ends[1])
    assert abs(np.mean(held) - 0.8) < 4 * math.sqrt(0.8 * 0.2 / 25)


def test_what_is_less_than_a_tenth_is_no_difference():
    assert not is_difference(0.31, 0.31 + 0.99 * DIFFERENCE)
    assert is_difference(0.31, 0.31 - 1.01 * DIFFERENCE)


def test_a_file_gives_back_its_levels(tmp_path):
    path = tmp_path / "unseen.csv"
    pool = [*world(sources=2), level(21.0, unit="cm", measure="spacing.mean", held_back=True)]
    path.write_text(write_unseen(pool))
    found = read_unseen(path)
    assert write_unseen(found) == path.read_text()
    assert [one.labels for one in found] == [one.labels for one in pool]
    assert np.allclose([one.draws for one in found], [one.draws for one in pool], rtol=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (",250,", ",0,", "spacings"),
        (",false,", ",no,", "held_back"),
        (",false,3,", ",false,2,", "repeats block 2"),
        (",false,5,", ",false,6,", "from 1 to 5"),
        ("95,95,95", "95,x,95", "must be a number"),
        ("95,95,95", "95,nan,95", "must be a number"),
        ("laboratory,", "lab,", "must name the columns"),
    ],
)
def test_a_wrong_line_of_a_file_is_named(tmp_path, old, new, said):
    path = tmp_path / "unseen.csv"
    text = write_unseen([level()])
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(BadInput, match=said):
        read_unseen(path)


def test_what_is_no_number_is_not_written():
    drawn = np.full((BLOCKS, DRAWS), 95.0)
    drawn[1, 3] = math.nan
    for bad in (drawn, drawn[:2, :50]):
        with pytest.raises(ValueError, match="needs 5 x 100 numbers"):
            write_unseen([level(draws=bad)])
