"""Every function of the physics takes numbers or arrays and treats each element alike."""

import functools
import importlib
import inspect

import numpy as np
import pytest

from metersim.questions.list.equations import STATIONS

FUNCTIONS = [
    pytest.param(function, id=f"{station}.{name}")
    for station in STATIONS
    for name, function in inspect.getmembers(
        importlib.import_module(f"metersim.machine.{station}"), inspect.isfunction
    )
    if not name.startswith("_") and function.__module__ == f"metersim.machine.{station}"
]
# fall_time needs both speeds on one side of the terminal velocity
RANGES = {"terminal_velocity": (1.0, 2.0), "teeth": (1.0, 4.0)}
USUAL_RANGE = (0.05, 0.95)
DRAWS = 10_000


@functools.cache
def hard_numbers(low, high):
    """Numbers whose square, taken as a power, is not the number times itself in the last bit.

    Arrays and plain numbers are prone to differ there.
    """
    drawn = np.random.default_rng(18).uniform(low, high, 200_000).tolist()
    return [x for x in drawn if x**2 != x * x]


def draws_of(function, number=DRAWS):
    """One column of values an argument, half of them hard numbers when there are any."""
    rng = np.random.default_rng(17)
    columns = []
    for name in inspect.signature(function).parameters:
        low, high = RANGES.get(name, USUAL_RANGE)
        hard = hard_numbers(low, high)
        column = rng.uniform(low, high, number)
        if hard:
            column[: number // 2] = rng.choice(hard, number // 2)
        columns.append(rng.permutation(column))
    return columns


def unlike(function, columns):
    """Rows in which a call with numbers gives other bits than the call with arrays."""
    together = function(*columns)
    alone = np.array([function(*row) for row in zip(*(c.tolist() for c in columns), strict=True)])
    assert np.all(np.isfinite(together))
    return np.flatnonzero(together != alone)


def test_every_station_is_looked_at():
    """Each file of the package is a station with functions, and none is missed."""
    assert {"gate", "holding", "drive", "joining", "singulator", "release", "tube"} <= set(STATIONS)
    assert {"furrow", "sensor", "rowunit"} <= set(STATIONS)
    seen = {param.id.split(".")[0] for param in FUNCTIONS}
    assert seen == set(STATIONS)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_numbers_and_arrays_agree_to_the_last_bit(function):
    """A call with numbers gives exactly the element that a call with arrays gives."""
    columns = draws_of(function)
    rows = unlike(function, columns)
    assert rows.size == 0, f"{rows.size} of {DRAWS} rows differ, the first at " + ", ".join(
        f"{name}={column[rows[0]]!r}"
        for name, column in zip(inspect.signature(function).parameters, columns, strict=True)
    )


@pytest.mark.parametrize("function", FUNCTIONS)
def test_arguments_broadcast(function):
    """A column and a row make a table; a number alone makes a number."""
    columns = draws_of(function, 20)
    shaped = [c[:4, None] if k % 3 == 0 else c[4:9] for k, c in enumerate(columns)]
    shaped = [float(c.flat[0]) if k % 3 == 2 else c for k, c in enumerate(shaped)]
    table = function(*shaped)
    full = np.broadcast_arrays(*shaped)
    assert table.shape == full[0].shape
    flat = function(*(part.ravel() for part in full))
    assert table.ravel() == pytest.approx(flat, rel=1e-14)
    assert np.ndim(function(*(float(c[0]) for c in columns))) == 0


@pytest.mark.parametrize("function", FUNCTIONS)
def test_arguments_are_left_as_they_were(function):
    """Arrays that cannot be written to will do."""
    columns = draws_of(function, 20)
    for column in columns:
        column.flags.writeable = False
    function(*columns)


def test_a_function_that_mixes_elements_is_caught():
    """Negative control: scaling by the largest element is no work on each alone."""
    assert unlike(lambda x: x / np.max(x), [np.linspace(1, 2, 10)]).size == 9


def test_a_function_that_rounds_arrays_otherwise_is_caught():
    """Negative control: one last bit in one row is seen."""

    def uneven(x):
        return x if np.ndim(x) == 0 else np.where(x == 2.0, np.nextafter(x, 3), x)

    assert unlike(uneven, [np.array([1.0, 2.0, 3.0])]).tolist() == [1]
