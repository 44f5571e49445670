"""Docstrings: every argument with its unit, every equation with its source; declared fields."""

import ast
import inspect
import math
import re
from pathlib import Path

import pytest

import metersim
from metersim.files.fields import specs
from metersim.machine.coefficients import Coefficients
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import SeedLot
from metersim.machine.sources import SOURCES
from metersim.questions.list.equations import STATIONS, functions_of

ROOT = Path(metersim.__file__).parent
SOURCE_FILES = sorted(ROOT.rglob("*.py"))
PHYSICS_FILES = [ROOT / "machine" / f"{station}.py" for station in STATIONS]
FUNCTIONS = [
    pytest.param(function, id=f"{station}.{function.__name__}")
    for station in STATIONS
    for function in functions_of(station)
]
UNITS = {
    "1", "m", "m2", "m3", "kg", "s", "rad", "Pa", "m/s", "m/s2", "rad/s", "kg/m3", "kg/s",
    "1/s", "1/m2", "1/m", "1/rad", "s2/m2", "K", "m3/s", "m3/s/Pa^0.5", "Pa s2/m6",
    "N", "N/m", "N m", "A",
}  # fmt: skip
WORD_AND_YEAR = re.compile(r"\b[a-z][a-z_]*(?:19|20)\d\d\b")
# plain numbers: ratios, counts and shares; anything else needs a unit
PLAIN = {
    ("seed", "size_factor"),
    ("disc", "agitation"),
    ("singulator", "notch"),
    ("tube", "tube_wear"),
    ("fan", "curve_power"),
    ("hoses", "friction"),
    ("vacuum", "seal_wear"),
    ("singulator", "edge_wear"),
    ("guide", "inner_wear"),
    ("cutoff", "cutoff_wear"),
    ("sensor", "hours_since_brushing"),
    ("run", "tick"),
    ("vacuum", "seal_wear"),
    ("singulator", "edge_wear"),
    ("guide", "inner_wear"),
    ("cutoff", "cutoff_wear"),
    ("sensor", "hours_since_brushing"),
    ("sensor", "day"),
    ("sensor", "brushed_every"),
    ("conditions", "dampness"),
    ("fan", "curve_power"),
    ("hoses", "friction"),
    ("hoses", "fan_at"),
    ("hoses", "hose_fittings"),
}


def sections_of(docstring):
    """Numpydoc sections of a docstring by name; the text before them under an empty name."""
    parts = re.split(r"^(\w[\w ]*)\n-{3,}$", docstring, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries_of(section):
    """Names, type and description of every entry of a section."""
    found = []
    for line in section.strip("\n").splitlines():
        if line and not line.startswith(" "):
            found.append((line, []))
        elif found:
            found[-1][1].append(line.strip())
    return [(head, " ".join(filter(None, text))) for head, text in found]


def wrong_with(function):
    """What a function's docstring lacks: a list of complaints, empty when all is there."""
    docstring = inspect.getdoc(function) or ""
    sections = sections_of(docstring)
    wrong = []
    if not re.match(r"[A-Z][^\n]*\.(\n|$)", sections[""]):
        wrong.append("no summary of one line, a sentence")
    described = []
    for head, text in entries_of(sections.get("Parameters", "")):
        names, _, kind = head.partition(" : ")
        described += names.split(", ")
        if not kind:
            wrong.append(f"{names}: no type")
        if unit_of(text) not in UNITS:
            wrong.append(f"{names}: no known unit at the end of '{text}'")
    if described != list(inspect.signature(function).parameters):
        wrong.append(f"describes {described}")
    returns = entries_of(sections.get("Returns", ""))
    if not returns or any(unit_of(text) not in UNITS for _, text in returns):
        wrong.append("Returns has no known unit")
    if not re.search(r"\bSource: \w|\bassumption: \w", sections.get("Notes", "")):
        wrong.append("Notes names neither 'Source:' nor 'assumption:'")
    return wrong


def unit_of(text):
    """What stands in square brackets at the end of a description."""
    found = re.search(r"\[([^\[\]]+)\]$", text)
    return found.group(1) if found else None


def public_without_docstring(tree, name):
    """Modules, classes, functions and methods of a module that say nothing of themselves."""
    found = [] if ast.get_docstring(tree) else [name]
    for node in tree.body:
        if not isinstance(node, ast.ClassDef | ast.FunctionDef) or node.name.startswith("_"):
            continue
        members = node.body if isinstance(node, ast.ClassDef) else []
        for item in (node, *members):
            public = isinstance(item, ast.ClassDef | ast.FunctionDef) and item.name[0] != "_"
            if public and not is_setter(item) and not ast.get_docstring(item):
                found.append(f"{name}.{node.name}" + (f".{item.name}" if item != node else ""))
    return found


def is_setter(item):
    """Whether a method sets a property, whose getter speaks for both."""
    decorators = getattr(item, "decorator_list", [])
    return any(isinstance(d, ast.Attribute) and d.attr == "setter" for d in decorators)


def unknown_keys(text):
    """Words that look like a source's key and are none."""
    return sorted(set(WORD_AND_YEAR.findall(text)) - set(SOURCES))


# physics


def test_an_equation_is_documented():
    """Every argument and result has its unit, and the equation its source or assumption."""
    found = {param.id: wrong_with(*param.values) for param in FUNCTIONS}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_every_station_has_equations():
    """The search for functions finds every file of the package."""
    stations = {path.stem for path in PHYSICS_FILES} - {"__init__"}
    assert {param.id.split(".")[0] for param in FUNCTIONS} == stations


GOOD = '''"""Length of a thing.

Parameters
----------
width, depth : float or ndarray
    Two sizes. [m]

Returns
-------
float or ndarray
    Length, which
    is long. [m]

Notes
-----
Source: definition.
"""'''
SPOILT = {
    "a missing unit": ("Two sizes. [m]", "Two sizes."),
    "an unknown unit": ("Two sizes. [m]", "Two sizes. [furlong]"),
    "a unit inside the text": ("Two sizes. [m]", "Two [m] sizes."),
    "a missing argument": ("width, depth :", "width :"),
    "a misspelt argument": ("width, depth :", "width, dept :"),
    "a missing type": ("width, depth : float or ndarray", "width, depth"),
    "a result without unit": ("is long. [m]", "is long."),
    "no result": ("Returns\n-------\nfloat or ndarray\n    Length, which\n    is long. [m]", ""),
    "no source": ("Source: definition.", "As everybody knows."),
    "an empty source": ("Source: definition.", "Source:"),
    "no notes": ("Notes\n-----\nSource: definition.", ""),
    "no summary": ("Length of a thing.", ""),
}


def made(docstring):
    """A function of two arguments with this docstring."""

    def function(width, depth):
        return width + depth

    function.__doc__ = docstring.strip('"')
    return function


def test_a_good_docstring_passes():
    """Positive control: the checker finds nothing in a complete docstring."""
    assert wrong_with(made(GOOD)) == []
    assert wrong_with(made(GOOD.replace("Source: definition", "assumption: a straight line"))) == []


@pytest.mark.parametrize("spoilt", SPOILT)
def test_a_spoilt_docstring_is_caught(spoilt):
    """Negative control: the checker sees each single fault."""
    old, new = SPOILT[spoilt]
    assert old in GOOD
    assert wrong_with(made(GOOD.replace(old, new)))


# sources


def test_every_source_that_is_named_exists():
    """A word with a year in docstrings, comments and meanings is a key of the bibliography."""
    found = {path: unknown_keys(path.read_text(encoding="utf-8")) for path in SOURCE_FILES}
    assert {path: keys for path, keys in found.items() if keys} == {}


def test_the_physics_names_sources():
    """The search finds keys at all, in equations and in coefficients."""
    named = {word for path in PHYSICS_FILES for word in WORD_AND_YEAR.findall(path.read_text())}
    assert {"beverloo1961", "karayel2004", "chang1991", "gao2024"} <= named
    meanings = " ".join(spec.meaning for spec in specs(Coefficients).values())
    assert WORD_AND_YEAR.findall(meanings)


def test_an_unknown_source_is_caught():
    """Negative control: a misspelt key is seen, a known one and a bare year are not."""
    assert unknown_keys("as beverlo1961 found") == ["beverlo1961"]
    assert unknown_keys("as beverloo1961 found in 1961, CGPM 1901") == []


def test_a_coefficient_says_where_it_is_from():
    """A source's key, the handbook from memory, the fit to all levels, or the word assumption."""
    said = ("assumption", "from memory", "calibrated on all published levels")
    meanings = {name: spec.meaning for name, spec in specs(Coefficients).items()}
    assert {
        name: meaning
        for name, meaning in meanings.items()
        if not any(words in meaning for words in said) and not WORD_AND_YEAR.search(meaning)
    } == {}


# everything public


def test_everything_public_says_what_it_is():
    """Modules, classes, functions and methods without a leading underscore have a docstring."""
    silent = []
    for path in SOURCE_FILES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        silent += public_without_docstring(tree, str(path.relative_to(ROOT)))
    assert silent == []


def test_silence_is_caught():
    """Negative control: each kind of silence is seen, and private names may keep silent."""
    code = 'class A:\n    """Yes."""\n    def b(self): ...\n    def _c(self): ...\ndef d(): ...\n'
    code += "def _e(): ...\nclass F: ...\n"
    assert public_without_docstring(ast.parse(code), "m") == ["m", "m.A.b", "m.d", "m.F"]


# declared fields

DECLARED = {
    (section, name): spec
    for section, kind in {**SECTIONS, "lot": SeedLot, "coefficients": Coefficients}.items()
    for name, spec in specs(kind).items()
}
NUMBERS = {key: spec for key, spec in DECLARED.items() if spec.kind in ("number", "count")}


def test_a_field_has_a_meaning():
    """A few words for users, that begin small and end without a full stop."""
    meanings = {key: spec.meaning for key, spec in DECLARED.items()}
    assert {key for key, said in meanings.items() if len(said.split()) < 2} == set()
    assert {key for key, said in meanings.items() if said.endswith(".")} == set()


def test_a_number_has_a_finite_range():
    """Both ends are finite and in order."""
    assert NUMBERS
    for key, spec in NUMBERS.items():
        assert math.isfinite(spec.low) and math.isfinite(spec.high), key
        assert spec.low < spec.high, key


def test_a_number_has_a_unit_or_is_a_plain_one():
    """Ratios and counts are listed here; every other number states its unit in its key."""
    for key, spec in NUMBERS.items():
        if key[0] != "coefficients":
            assert bool(spec.units) == (spec.kind == "number" and key not in PLAIN), key


def test_plain_numbers_are_declared():
    """The list of plain numbers names fields that there are."""
    assert set(PLAIN) <= set(NUMBERS)


@pytest.mark.parametrize("section", SECTIONS)
def test_every_field_of_a_section_is_declared(section):
    """No field escapes the checker, the reader and the tables."""
    assert set(specs(SECTIONS[section])) == set(SECTIONS[section].__dataclass_fields__)
