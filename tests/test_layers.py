"""Layers: imports point down one list, and heavy libraries are loaded where they are needed."""

import ast
import importlib
import subprocess
import sys
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

import metersim

ROOT = Path(metersim.__file__).parent
# From the bottom up: a module imports only modules of layers above it in this list.  Modules
# that one pattern covers are side by side and do not import one another.
LAYERS = (
    "metersim",
    "metersim.files.units",
    "metersim.files.faults",
    "metersim.files.whole",
    "metersim.files.tables",
    "metersim.files.rowfile",
    "metersim.run.parallel",
    "metersim.machine.sources",
    "metersim.machine.sources",
    "metersim.measures.yields",
    "metersim.files.fields",
    "metersim.files.unknown",
    "metersim.physics",
    "metersim.physics.*",
    "metersim.machine.coefficients",
    "metersim.machine.seedlot",
    "metersim.files.tables",
    "metersim.machine.discs",
    "metersim.questions.lot.seeds",
    "metersim.questions.lot.study",
    "metersim.machine.sections",
    "metersim.machine.scenario",
    "metersim.machine.reading",
    "metersim.machine.writing",
    "metersim.run.draws",
    "metersim.run.draws",
    "metersim.machine.losses",
    "metersim.run.records",
    "metersim.questions.measured.spacings",
    "metersim.measures.plants",
    "metersim.machine.stations.*",
    "metersim.machine.stations",
    "metersim.run.course",
    "metersim.events",
    "metersim.run.meter",
    "metersim.run.hole",
    "metersim.run.events",
    "metersim.arrays",
    "metersim.run.arrays.supply",
    "metersim.run.arrays.picking",
    "metersim.run.arrays.fates",
    "metersim.run.arrays.fates",
    "metersim.run.arrays.supply",
    "metersim.run.arrays.descent",
    "metersim.run.arrays.descent",
    "metersim.run.arrays.engine",
    "metersim.run.simulation",
    "metersim.measures.spacing",
    "metersim.measures.intervals",
    "metersim.measures.tally",
    "metersim.questions.measured.spacings",
    "metersim.measures.indices",
    "metersim.measures.estimates",
    "metersim.measures.plants",
    "metersim.cellfit",
    "metersim.measures.cellmodel",
    "metersim.measures.cellmodel",
    "metersim.measures.cellfit",
    "metersim.measures.cellfit",
    "metersim.measures.limits",
    "metersim.measures.limits",
    "metersim.studies",
    "metersim.questions.sweep.points",
    "metersim.questions.sweep.plan",
    "metersim.questions.sweep.study",
    "metersim.questions.sweep.response",
    "metersim.questions.shared.settings",
    "metersim.questions.shared.unknowns",
    "metersim.questions.shared.plants",
    "metersim.questions.shared.plants",
    "metersim.questions.explain.study",
    "metersim.studies.published",
    "metersim.questions.shared.statements",
    "metersim.questions.shared.statements",
    "metersim.questions.shared.statements",
    "metersim.questions.shared.cases",
    "metersim.questions.evidence.predictions",
    "metersim.questions.evidence.predictions",
    "metersim.questions.evidence.verdicts",
    "metersim.questions.evidence.verdicts",
    "metersim.questions.evidence.verdicts",
    "metersim.questions.evidence.study",
    "metersim.studies.counting",
    "metersim.questions.shared.settings",
    "metersim.questions.shared.counts",
    "metersim.questions.shared.looks",
    "metersim.questions.shared.hidden",
    "metersim.questions.shared.counts",
    "metersim.questions.shared.countlog",
    "metersim.questions.ladder.together",
    "metersim.questions.howmany.beside",
    "metersim.questions.howmany.beside",
    "metersim.studies.counting.*",
    "metersim.studies.diagnosing",
    "metersim.questions.next.diagnosis",
    "metersim.questions.next.clues",
    "metersim.questions.next.moves",
    "metersim.questions.next.target",
    "metersim.questions.next.target",
    "metersim.questions.next.target",
    "metersim.questions.next.study",
    "metersim.studies.starting",
    "metersim.questions.sheet.discfit",
    "metersim.questions.sheet.study",
    "metersim.questions.sheet.start",
    "metersim.questions.sheet.start",
    "metersim.questions.sheet.start",
    "metersim.questions.sheet.choice",
    "metersim.questions.sheet.choice",
    "metersim.questions.sheet.study",
    "metersim.studies.operating",
    "metersim.questions.habits.operators",
    "metersim.questions.habits.trials",
    "metersim.questions.habits.naming",
    "metersim.questions.habits.study",
    "metersim.studies.*",
    "metersim.questions.list.equations",
    "metersim.questions.list.study",
    "metersim.reports",
    "metersim.questions.shared.notes",
    "metersim.questions.shared.words",
    "metersim.questions.shared.notes",
    "metersim.questions.shared.plantwords",
    "metersim.questions.run.text",
    "metersim.questions.list.text",
    "metersim.questions.next.likely",
    "metersim.questions.sheet.fits",
    "metersim.questions.sheet.fits",
    "metersim.questions.sheet.text",
    "metersim.reports.*",
    "metersim.outputs",
    "metersim.questions.shared.page",
    "metersim.questions.run.row",
    "metersim.questions.run.row",
    "metersim.questions.run.figure",
    "metersim.questions.shared.page",
    "metersim.questions.measured.figure",
    "metersim.questions.sweep.responses",
    "metersim.questions.sweep.figure",
    "metersim.questions.evidence.figure",
    "metersim.questions.ladder.figure",
    "metersim.questions.sheet.figure",
    "metersim.questions.sheet.figure",
    "metersim.questions.habits.figure",
    "metersim.questions.next.figure",
    "metersim.questions.shared.page",
    "metersim.figures",
    "metersim.questions.gallery",
    "metersim.commands",
    "metersim.questions.shared.options",
    "metersim.commands.*",
    "metersim.questions.shared.options",
    "metersim.options.*",
    "metersim.options",
    "metersim.cli",
    "metersim.__main__",
)
HEAVY = ("numpy", "scipy", "simpy", "matplotlib", "pandas")
HOMES = {"simpy": "metersim.events", "matplotlib": "metersim.figures"}
# what a seeded stream is made of; all else in numpy.random draws from a hidden global state,
# or is not seeded by the run
SEEDED = {"Generator", "BitGenerator", "PCG64", "SeedSequence"}

# all that the engines have in common: equations, draws, and the words for what happens
SHARED = {"physics", "stations", "luck", "streams", "course", "losses", "records", "scenario"}


def name_of(path):
    """Dotted name of a module's file."""
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in sorted(ROOT.rglob("*.py"))}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in MODULES.items()}


def layer(module):
    """Place of a module in the list, or None."""
    places = [k for k, pattern in enumerate(LAYERS) if pattern == module]
    places += [k for k, pattern in enumerate(LAYERS) if fnmatchcase(module, pattern)]
    return places[0] if places else None


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


def own_imports(tree):
    """Modules of the package that a module imports anywhere in it."""
    for module, taken in imports(tree):
        if module.split(".")[0] == "metersim":
            deeper = f"{module}.{taken}"
            yield deeper if deeper in MODULES else module


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


def upward(name, tree):
    """Modules that a module imports although they do not lie below it."""
    place = layer(name)
    others = {(other, layer(other)) for other in own_imports(tree)}
    return sorted(other for other, rank in others if place is None or rank is None or rank >= place)


# the list


def test_every_module_has_its_layer():
    """A module that is not in the list has no place yet."""
    assert [name for name in MODULES if layer(name) is None] == []


@pytest.mark.parametrize("name", MODULES)
def test_imports_point_down(name):
    """A module imports only what lies below it.

    The package itself tells type checkers the homes of what it offers; nothing else may.
    """
    tree = without_typing(TREES[name]) if name == "metersim" else TREES[name]
    assert upward(name, tree) == []


def test_an_upward_import_is_caught():
    """Negative control: upward, sideways and lazy imports are seen; downward ones pass."""
    for line in ("import metersim.cli", "from metersim.run.meter import Meter"):
        assert upward("metersim.run.draws", ast.parse(line))
    assert upward("metersim.machine.tube", ast.parse("from metersim.physics import pool"))
    lazy = "def f():\n    from metersim.events import meter\n"
    assert upward("metersim.run.draws", ast.parse(lazy)) == ["metersim.run.meter"]
    assert upward("metersim.run.draws", ast.parse("from metersim import units")) == []
    typing = "if TYPE_CHECKING:\n    from metersim.events import meter\n"
    assert upward("metersim.run.draws", ast.parse(typing)) == ["metersim.run.meter"]
    assert upward("metersim", without_typing(ast.parse(typing))) == []


# what belongs where


@pytest.mark.parametrize(("engine", "other"), [("events", "arrays"), ("arrays", "events")])
def test_the_engines_share_physics_and_draws_alone(engine, other):
    """Neither imports anything of the other: their agreement is no matter of course."""
    own = [name for name in MODULES if name.startswith(f"metersim.{engine}.")]
    taken = {module for name in own for module in own_imports(TREES[name])}
    assert len(own) >= 3
    assert not any(module.startswith(f"metersim.{other}") for module in taken)
    shared = {m.split(".")[1] for m in taken if not m.startswith(f"metersim.{engine}")}
    assert shared <= SHARED


@pytest.mark.parametrize("library", HOMES)
def test_a_heavy_library_has_one_home(library):
    """simpy is imported by the events alone, matplotlib by the package of figures alone."""
    users = {name for name, tree in TREES.items() if library in libraries(tree)}
    assert users
    assert {name for name in users if f"{name}.".startswith(f"{HOMES[library]}.")} == users


def test_pandas_is_loaded_in_one_place():
    """Others name it to type checkers alone: whoever asks for a table gets the same message."""
    without = {name: without_typing(tree) for name, tree in TREES.items()}
    assert {name for name, tree in without.items() if "pandas" in libraries(tree)} == {
        "metersim.files.tables"
    }


def test_only_the_command_line_prints():
    """Everything else gives texts back."""
    assert {name for name, tree in TREES.items() if calls(tree, "print")} == {"metersim.cli"}


@pytest.mark.parametrize("name", [name for name in MODULES if ".physics" in name])
def test_physics_is_functions_of_numbers(name):
    """No scenario, no stream, no file, no clock: numpy and scipy are all it imports."""
    tree = TREES[name]
    assert list(own_imports(tree)) == []
    assert libraries(tree) <= {"__future__", "typing", "numpy", "scipy"}
    assert calls(tree, "open") == []
    assert not any("random" in dotted(node) for node in ast.walk(tree))
    assert not any(isinstance(node, ast.ClassDef | ast.Global) for node in ast.walk(tree))


@pytest.mark.parametrize("name", MODULES)
def test_all_chance_is_seeded(name):
    """Nobody draws from numpy's or Python's global generator, or from an unseeded one."""
    assert hidden_chance(TREES[name]) == []


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


@pytest.mark.parametrize("name", metersim.__all__)
def test_what_the_package_offers_is_there(name):
    """Every name of ``__all__`` can be loaded, from the home it is said to have."""
    offered = getattr(metersim, name)
    if name in metersim._HOMES:
        assert offered is getattr(importlib.import_module(metersim._HOMES[name]), name)


def test_type_checkers_are_told_the_same_homes():
    """What type checkers read, what is loaded and what is listed do not drift apart."""
    told = {taken: module for module, taken in imports(TREES["metersim"]) if taken}
    told = {name: module for name, module in told.items() if module.startswith("metersim.")}
    assert told == metersim._HOMES
    assert set(metersim.__all__) == {"__version__", *told}


def test_what_the_package_does_not_offer_is_refused():
    """A misspelt name raises the usual error."""
    with pytest.raises(AttributeError, match="load_scenari"):
        _ = metersim.load_scenari
