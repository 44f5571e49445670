"""The list of coefficients: what each is, how it was set, and how far it moves the result."""

import csv
import math

import numpy as np
import pytest

from metersim.files.fields import specs
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.reading import shipped_scenarios
from metersim.machine.sources import SOURCES
from metersim.measures.indices import BY_KEY
from metersim.questions.list import command as catalogue
from metersim.questions.list.command import (
    MOVED,
    SENSITIVITY,
    all_coefficients,
    coefficients,
    sensitivity,
)
from tests.validation.sensitivity import CELLS, DIGITS, STEP, moved, moves

NAMES = list(specs(Coefficients))
RECOMPUTED = ("eccentricity", "push_spread", "contact_loss")
FEWER = 15_000  # cells


@pytest.fixture
def forgotten():
    """The shipped table is read anew, before and after."""
    sensitivity.cache_clear()
    yield
    sensitivity.cache_clear()


def test_the_shipped_table_has_a_row_for_every_coefficient_and_no_other():
    head, *lines = SENSITIVITY.read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(lines))
    assert head.startswith("# Change, in points") and "; metersim " in head
    assert rows[0] == ["coefficient", *MOVED]
    assert [row[0] for row in rows[1:]] == NAMES
    assert all(math.isfinite(float(cell)) for row in rows[1:] for cell in row[1:])


def test_what_is_moved_is_shipped_and_a_share():
    """Only of shares is a change told in points."""
    for scenario, key in MOVED.values():
        assert scenario in shipped_scenarios()
        assert BY_KEY[key].kind == "share"


@pytest.mark.parametrize("told", coefficients(), ids=lambda told: told.name)
def test_a_coefficient_is_told_with_its_unit_and_how_it_was_set(told):
    spec = specs(Coefficients)[told.name]
    number, _, symbol = told.value.partition(" ")
    factor = spec.units[0].factor if spec.units else 1
    assert float(number) * factor == pytest.approx(getattr(USUAL, told.name), rel=5e-4)
    assert symbol == (spec.units[0].symbol if spec.units else "")
    assert told.allowed.endswith(symbol) and " to " in told.allowed
    assert f"{told.meaning}; {told.origin}" == spec.meaning
    set_by = told.origin.replace(",", " ").split()[0]
    assert set_by in ("assumption", "calibrated", "handbook") or set_by in SOURCES


def test_the_list_shows_a_line_for_every_coefficient(done):
    lines = done("list", "coefficients").splitlines()
    table = lines[: lines.index("")]
    assert [line.split()[0] for line in table[2::3]] == NAMES  # then its meaning, and its origin
    heads = zip(table[0].split(), table[1].split()[3:], strict=True)
    assert ["_".join(head) for head in heads] == list(MOVED)
    assert sensitivity()[0] in " ".join(lines)
    contact = next(line for line in lines if line.startswith("contact_loss "))
    assert f"{sensitivity()[1]['contact_loss'][2]:+.2f}" in contact.split()


def test_what_was_not_worked_out_is_a_dash(monkeypatch, tmp_path, forgotten):
    """Such as of a coefficient that is new."""
    table = tmp_path / "own.csv"
    table.write_text(f"# own\ncoefficient,{','.join(MOVED)}\nhop,0,-0.001,0.004,1.236,-2\n")
    monkeypatch.setattr(catalogue, "SENSITIVITY", table)
    lines = {line.split()[0]: line.split() for line in all_coefficients().splitlines() if line}
    assert lines["hop"][5:10] == ["0", "0", "0", "+1.24", "-2.00"]
    assert lines["knock"][5:10] == ["-"] * 5


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("share", [-STEP, STEP])
def test_a_moved_coefficient_stays_in_its_range(name, share):
    """It moves by the share, or to the end of its range; nothing else moves."""
    spec, usual = specs(Coefficients)[name], getattr(USUAL, name)
    value = getattr(moved(name, share), name)
    assert value == pytest.approx((1 + share) * usual) or value in (spec.low, spec.high)
    assert (value - usual) * share >= 0
    others = [getattr(moved(name, share), other) == getattr(USUAL, other) for other in NAMES]
    assert others.count(False) <= 1


@pytest.mark.evidence
def test_rows_come_out_again_with_other_draws():
    """Within 4 standard errors of both; rows of other coefficients do not (negative control)."""
    shipped = sensitivity()[1]
    again = {name: moves(name, FEWER, seed=2) for name in RECOMPUTED}

    def apart(name, other):
        values, errors = again[name]
        both = errors * math.sqrt(1 + FEWER / CELLS)
        return float(np.max(np.abs(values - shipped[other]) - 4 * both)) - 0.5 * 10**-DIGITS

    for name in RECOMPUTED:
        for other in RECOMPUTED:
            assert (apart(name, other) <= 0) == (name == other), (name, other)
