"""What is said of the score, in a few lines, and the same in Markdown and rows."""

import json
import math

import numpy as np
import pytest

from metersim.questions.evidence.score import TARGETED, score
from metersim.questions.evidence.scoretext import (
    NONE,
    score_lines,
    score_markdown,
    score_rows,
    score_table,
    trust,
)
from metersim.questions.shared import unseen
from metersim.questions.shared.answer import LINES, MOST_ROWS
from metersim.questions.shared.unseen import BLOCKS, DRAWS, Level, write_unseen
from metersim.questions.shared.words import WIDE

MEASURES = (
    "per_spacing.quality",
    "per_spacing.multiple",
    "per_spacing.miss",
    "precision",
    "cells.skip",
)


def pool(sources=6, shift=0.0):
    """Levels of five measures, with draws that are right but for a shift, and some apart."""
    rng = np.random.default_rng(7)
    found = []
    for source in range(sources + 3):
        for measure in MEASURES:
            middle = 20 + 3 * rng.normal()
            found.append(
                Level(
                    laboratory=f"lab {source}",
                    case=f"case {source}",
                    row=measure,
                    measure=measure,
                    published=round(middle + rng.normal(), 2),
                    unit="%",
                    spacings=250,
                    group="tube" if source == sources else "",
                    held_back=source > sources,
                    draws=middle + shift + rng.normal(0, 1, (BLOCKS, DRAWS)),
                )
            )
    return found


@pytest.fixture
def shipped(tmp_path, monkeypatch):
    """A file of predictions in place of what is shipped."""
    path = tmp_path / "unseen.csv"
    path.write_text(write_unseen(pool()))
    monkeypatch.setattr(unseen, "UNSEEN", path)


def test_ten_lines_say_what_counts():
    found = score(pool())
    lines = score_lines(found)
    text = "\n".join(lines)
    assert len(lines) <= 10 and max(map(len, lines)) <= 100
    inside = sum(one.model.most for one in found.whole.scored)
    assert "Of 30 levels of 6 sources" in text and f"{inside:.0f} inside their 90 %" in text
    assert f"Median miss: {found.whole.model.miss:.2g} percentage points" in text
    assert "Median width of the 90 % intervals" in text and "The model predicts better" in text
    assert "tube: " in text and "held back: " in text
    assert score_lines(None) == [NONE]


@pytest.mark.parametrize(
    ("shift", "said"), [(0.0, "The model predicts better"), (9.0, "The constant predicts better")]
)
def test_a_skill_is_said_in_words(shift, said):
    assert said in "\n".join(score_lines(score(pool(shift=shift))))


def test_a_skill_below_a_tenth_is_no_difference():
    shift = next(by for by in np.arange(1, 6, 0.5) if abs(score(pool(shift=by)).whole.skill) < 0.1)
    assert "No difference is detected" in "\n".join(score_lines(score(pool(shift=shift))))


def test_a_measure_of_few_sources_has_no_target():
    lines = score_lines(score(pool(sources=TARGETED - 1)))
    assert not any("skips" in line or "miss index" in line for line in lines)
    assert "(no target)" in score_markdown(score(pool(sources=TARGETED - 1)))
    few = score_lines(score(pool(sources=2)))
    assert any("Too few sources" in line for line in few) and "nan" not in "\n".join(few)


def test_rows_and_table_hold_every_part():
    found = score(pool())
    rows = list(score_rows(found))
    assert [row["part"] for row in rows] == ["all in percent", *MEASURES, "tube", "held back"]
    assert rows[0]["skill"] == found.whole.skill
    assert rows[0]["skill_low"] < rows[0]["skill"] < rows[0]["skill_high"]
    assert rows[0]["constant_crps"] > rows[0]["crps"]
    table = score_markdown(found).split("\n\n")[0].splitlines()
    assert len(table) == 2 + len(rows) and len({line.count("|") for line in table}) == 1
    assert "nan" not in score_markdown(score(pool(sources=2)))
    assert list(score_rows(None)) == []


def test_three_sentences_say_how_far_to_trust():
    """The share of levels inside, the size of a miss, and the skill; then at most eight rows."""
    found = score(pool())
    held, missed, skill = trust(found)
    assert f"holds {found.whole.model.most * 100:.0f} % of published levels" in held
    assert f"more than {found.whole.model.miss:.2g} percentage points" in missed
    assert "The model predicts better" in skill
    heads, *rows = score_table(found)
    assert [row[0] for row in rows[:2]] == ["all in percent", "normal spacings"]
    assert [row[0] for row in rows[-2:]] == ["tube", "held back"]
    assert len(rows) <= MOST_ROWS and {len(row) for row in rows} == {len(heads)}
    assert "nan" not in str(score_table(score(pool(sources=2))))
    assert (trust(None), score_table(None)) == ([NONE], [])


@pytest.mark.slow
def test_the_command_leads_with_trust(done, shipped, tmp_path):
    """The answer fits a terminal; details, rules, Markdown, JSON and CSV hold the score."""
    first, *lines = score_lines(score(pool()))
    asked = ("evidence", "ankara_pickup", "--draws", "2")
    short = done(*asked, "--out", str(tmp_path)).splitlines()
    assert short[:3] == trust(score(pool()))
    assert len(short) <= LINES and max(map(len, short)) <= WIDE
    assert "--details" in short[-1] and first not in short
    whole = done(*asked, "--details").splitlines()
    assert whole[:3] == short[:3]
    start = whole.index(first)
    assert whole[start : start + 1 + len(lines)] == [first, *lines]
    assert done("evidence", "--rules").splitlines()[0] == first
    markdown = (tmp_path / "evidence.md").read_text()
    assert markdown.startswith(f"**{first}**") and "| ankara_pickup |" in markdown
    made = json.loads((tmp_path / "evidence.json").read_text())
    assert made["score"][0]["levels"] == 30 and made["rows"][0]["case"] == "ankara_pickup"
    assert (tmp_path / "score.csv").read_text().splitlines()[0].startswith("part,unit,levels")


def test_what_is_not_shipped_is_said(done, monkeypatch, tmp_path):
    monkeypatch.setattr(unseen, "UNSEEN", tmp_path / "none.csv")
    assert done("evidence", "--rules").splitlines()[0] == NONE
    assert math.isnan(score([]).whole.skill)
