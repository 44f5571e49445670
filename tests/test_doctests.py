"""The examples of the docstrings run, and give what they say."""

import doctest
import importlib
import inspect
import pkgutil

import pytest

import metersim

MODULES = sorted(
    found.name
    for found in pkgutil.walk_packages(metersim.__path__, "metersim.")
    if not found.name.endswith("__main__")
)
EXAMPLES = [
    test
    for name in MODULES
    for test in doctest.DocTestFinder(exclude_empty=True).find(importlib.import_module(name))
    if test.examples
]


LONG = (
    "sheet.study.sheet",
    "habits.study.habits",
    "steps.study.steps",
    "compare.study.compare",
    "next_move",
    "find_causes",
)


@pytest.mark.parametrize(
    "test",
    [
        pytest.param(test, id=test.name, marks=[pytest.mark.slow] * test.name.endswith(LONG))
        for test in EXAMPLES
    ],
)
def test_an_example_gives_what_it_says(test):
    said = []
    failed, tried = doctest.DocTestRunner().run(test, out=said.append)
    assert tried and not failed, "".join(said)


ASKED = [
    name
    for name in sorted({*metersim.__all__} - {"__version__"})
    if not isinstance(getattr(metersim, name), type)  # what they give and take
]


@pytest.mark.parametrize("name", ASKED)
def test_every_question_has_an_example(name):
    assert ">>> import metersim as m\n" in inspect.getdoc(getattr(metersim, name))


def test_a_wrong_example_is_caught():
    """Negative control: an output that is not the one said fails."""
    test = doctest.DocTestParser().get_doctest(">>> 1 + 1\n3\n", {}, "wrong", None, 0)
    assert doctest.DocTestRunner().run(test, out=lambda _: None).failed == 1
