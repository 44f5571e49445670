"""What belongs where: heavy libraries are loaded where they are needed, and all chance is seeded.

Which layer may import which is declared in pyproject.toml and checked by ``lint-imports``.
"""

import ast
import math
import re
import subprocess
import sys
import types
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import metersim
from metersim.questions.list.equations import STATIONS, functions_of

ROOT = Path(metersim.__file__).parent
HEAVY = ("numpy", "scipy", "simpy", "matplotlib", "pandas")
DRAWS = "figure|film|scene|causefigure|dayfigure|machinefigure|hiddenfigure|pages|flow|responses"
DRAWING = rf"metersim\.questions\.(\w+\.({DRAWS})|gallery\.study|shared\.(page|\w+picture))"
HOMES = {"simpy": r"metersim\.run\.(events|breath)", "matplotlib": DRAWING}
# what a seeded stream is made of; all else in numpy.random draws from a hidden global state,
# or is not seeded by the run
EQUATIONS = ("metersim.machine.", "metersim.distributions.")
SEEDED = {"Generator", "BitGenerator", "PCG64", "SeedSequence"}


def name_of(path):
    """Dotted name of a module's file."""
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in sorted(ROOT.rglob("*.py"))}


@cache
def text_of(name):
    """What a module's file holds."""
    return MODULES[name].read_text(encoding="utf-8")


@cache
def tree_of(name):
    """A module as Python reads it."""
    return ast.parse(text_of(name))


def with_words(*words):
    """Modules whose text holds one of some words, and how Python reads them.

    No other module can use what is named so, and to read all of them takes seconds.
    """
    return {name: tree_of(name) for name in MODULES if any(one in text_of(name) for one in words)}


def imports(tree):
    """Dotted names that a module imports anywhere in it, with the names taken from each."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, None) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            yield from ((node.module, alias.name) for alias in node.names)


def without_typing(tree):
    """A module without what only type checkers read."""
    kept = [
        node
        for node in tree.body
        if not (isinstance(node, ast.If) and dotted(node.test) == "TYPE_CHECKING")
    ]
    return ast.Module(kept, type_ignores=[])


def libraries(tree):
    """Outside packages that a module imports anywhere in it."""
    return {module.split(".")[0] for module, _ in imports(tree)} - {"metersim"}


def dotted(node):
    """Dotted text of an attribute such as ``np.random.normal``, or an empty text."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute) and dotted(node.value):
        return f"{dotted(node.value)}.{node.attr}"
    return ""


def calls(tree, name):
    """Lines on which a bare name is called."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and dotted(node.func) == name
    ]


def hidden_chance(tree):
    """Uses of chance that no seed of a run decides."""
    found = [
        dotted(node)
        for node in ast.walk(tree)
        if dotted(node).startswith(("np.random.", "numpy.random."))
        and dotted(node).split(".")[2] not in SEEDED
    ]
    for module, taken in imports(tree):
        if module.split(".")[0] in ("random", "secrets"):
            found.append(module)
        if module == "numpy.random" and taken not in SEEDED:
            found.append(f"numpy.random.{taken}")
    return found


# what belongs where


@pytest.mark.parametrize("library", HOMES)
def test_a_heavy_library_has_its_homes(library):
    """simpy is imported by the events alone, matplotlib by what draws alone."""
    users = {name for name, tree in with_words(library).items() if library in libraries(tree)}
    assert users
    assert {name for name in users if re.fullmatch(HOMES[library], name)} == users


def test_pandas_is_loaded_in_one_place():
    """Others name it to type checkers alone: whoever asks for a table gets the same message."""
    without = {name: without_typing(tree) for name, tree in with_words("pandas").items()}
    assert {name for name, tree in without.items() if "pandas" in libraries(tree)} == {
        "metersim.files.tables"
    }


def test_only_the_command_line_prints():
    """Everything else gives texts back."""
    assert {name for name, tree in with_words("print").items() if calls(tree, "print")} == {
        "metersim.cli"
    }


@pytest.mark.parametrize("station", STATIONS)
def test_equations_are_functions_of_numbers(station):
    """No scenario, no stream, no file, no clock: an equation uses numpy, scipy and equations."""
    for equation in functions_of(station):
        assert foreign(equation) == [], equation.__name__


def foreign(function):
    """What a function uses beside numbers, numpy, scipy and other equations."""
    used = [function.__globals__.get(name) for name in function.__code__.co_names]
    found = []
    for value in used:
        if isinstance(value, tuple) and all(isinstance(one, int | float) for one in value):
            continue
        home = getattr(value, "__module__", getattr(value, "__name__", "")) or "numpy"
        allowed = isinstance(value, int | float | np.ufunc | np.ndarray | None) or (
            isinstance(value, types.FunctionType) and home.startswith(EQUATIONS)
        )
        if not allowed and value not in (np, math):
            found.append(value)
    return found


def test_an_equation_that_reads_the_clock_is_caught():
    """Negative control."""
    found = foreign(loaded_after)
    assert subprocess in found and sys in found


def test_all_chance_is_seeded():
    """Nobody draws from numpy's or Python's global generator, or from an unseeded one."""
    users = with_words("np.random", "numpy.random", "import random", "from random", "secrets")
    assert users
    assert {name: found for name, tree in users.items() if (found := hidden_chance(tree))} == {}


def test_no_import_is_relative():
    """So that the imports above name all modules in full."""
    relative = re.compile(r"^\s*from \.", re.MULTILINE)
    assert {name for name in MODULES if relative.search(text_of(name))} == set()
    assert relative.search("    from .pool import processes")  # control


def test_hidden_chance_is_caught():
    """Negative control: global draws, unseeded generators and both ways to import them."""
    for line in (
        "np.random.normal()",
        "numpy.random.seed(1)",
        "np.random.default_rng()",
        "from numpy.random import normal",
        "import random",
    ):
        assert hidden_chance(ast.parse(line)), line
    assert hidden_chance(ast.parse("np.random.Generator(np.random.PCG64(1))")) == []


# what gets loaded


def loaded_after(code):
    """Heavy libraries that a fresh interpreter holds after running the code."""
    report = f"import sys; print(*[m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{report}"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT.parent,
        timeout=60,
    )
    return done.stderr.split(), done.stdout


def test_importing_the_package_loads_nothing_heavy():
    """``import metersim`` stays quick."""
    assert loaded_after("import metersim")[0] == []


def test_help_loads_nothing_heavy():
    """``python -m metersim --help`` stays quick, and is help."""
    code = """
import runpy, sys
sys.argv = ["metersim", "--help"]
try:
    runpy.run_module("metersim", run_name="__main__", alter_sys=True)
except SystemExit as stop:
    assert not stop.code
"""
    loaded, printed = loaded_after(code)
    assert loaded == []
    assert "usage: metersim" in printed


def test_a_loaded_library_is_seen():
    """Negative control: using the package loads numpy, and the check sees it."""
    assert "numpy" in loaded_after("import metersim; metersim.load_scenario")[0]


def test_what_the_package_offers_is_there():
    """Every name of ``__all__`` can be loaded."""
    assert [name for name in metersim.__all__ if getattr(metersim, name, None) is None] == []


def test_what_the_package_does_not_offer_is_refused():
    """A misspelt name raises the usual error."""
    with pytest.raises(AttributeError, match="load_scenari"):
        _ = metersim.load_scenari
