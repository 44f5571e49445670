"""Machine code of plain functions, and of the equations and methods of stations that they name.

Nothing is written twice: the source of each function is read and compiled for single numbers.  A
station becomes a record of its values, and a call of its method a call of a function.
"""

from __future__ import annotations

import ast
import hashlib
import importlib
import inspect
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import is_dataclass
from functools import cache, cached_property
from types import FunctionType, ModuleType
from typing import Any, get_args, get_type_hints

import numpy as np

from metersim.distributions import normal
from metersim.run.compiled import numbers

PACKAGE = "metersim."
NUMBERS = (float, int, bool)
MADE = "_made"  # name of a translated function, which no function that it calls has
OF_NUMBERS: Mapping[Any, Any] = {
    np.where: numbers.where,
    np.asarray: numbers.same,
    np.interp: numbers.between,
    normal.ndtri: normal._deviate,
    normal.ndtr: normal._share,
}
"""What stands for a function of arrays where there are only numbers."""


@cache
def values_of(kind: type) -> dict[str, Any]:
    """Attributes of a station's class, or of a part of it, that a record holds, with their kinds.

    These are fields and properties that are numbers, tuples of numbers, or such parts.
    """
    hints: dict[str, Any] = {}
    for name, given in get_type_hints(kind).items():
        hints[name] = given
    for name, made in inspect.getmembers(kind):
        getter = made.fget if isinstance(made, property) else getattr(made, "func", None)
        if isinstance(made, property | cached_property) and getter is not None:
            hints[name] = get_type_hints(getter).get("return")
    return {name: hint for name, hint in sorted(hints.items()) if _held(hint)}


def _held(hint: Any) -> bool:
    if hint in NUMBERS:
        return True
    if isinstance(hint, type) and is_dataclass(hint) and hint.__module__.startswith(PACKAGE):
        return bool(values_of(hint))
    return bool(parts_of(hint))


def parts_of(hint: Any) -> int:
    """How many numbers a tuple holds, by its annotation; 0 for anything else."""
    kinds = get_args(hint)
    return len(kinds) if kinds and set(kinds) == {float} else 0


def _njit(function: Any, **how: Any) -> Any:
    """Machine code that divides by 0 as numpy does, and changes no order of operations."""
    numba: Any = importlib.import_module("numba")
    return numba.njit(function, error_model="numpy", fastmath=False, **how)


class Translated:
    """Functions as numba compiles them, for stations of some kinds.

    Parameters
    ----------
    kinds : mapping of type to type
        Kinds of stations in place of the kinds that annotations of functions name.
    """

    def __init__(self, kinds: Mapping[type, type]) -> None:
        self._kinds = kinds
        self._made: dict[tuple[Any, type | None], Any] = {}
        self._sources: set[str] = set()
        self._read: set[str] = set()  # names of attributes

    def kernel(self, function: Callable[..., Any]) -> Any:
        """A function that is called from Python; its machine code is kept on the disk.

        The code is kept under a name that contains a digest of all sources that it comes from.
        """
        made = self._translated(function, None)
        made.__qualname__ += f"_{self._digest()}"
        try:
            return _njit(made, cache=True)
        except RuntimeError:  # there is no place to keep it
            return _njit(made)

    def record_of(self, station: Any) -> Any:
        """The values of a station that some function reads, as a record."""
        made = np.zeros((), dtype=self._record_type(type(station)))
        self._fill(made, station)
        return made[()]

    def _record_type(self, kind: type) -> np.dtype[Any]:
        columns: list[Any] = []
        for name, hint in self._values(kind).items():
            if many := parts_of(hint):
                columns += [(f"{name}_{k}", np.float64) for k in range(many)]
            elif hint in NUMBERS:
                columns.append((name, hint))
            else:
                columns.append((name, self._record_type(hint)))
        return np.dtype(columns, align=True)

    def _fill(self, made: Any, station: Any) -> None:
        for name, hint in self._values(type(station)).items():
            value = getattr(station, name)
            if hint in NUMBERS:
                made[name] = value
            elif parts_of(hint):
                for k, part in enumerate(value):
                    made[f"{name}_{k}"] = part
            else:
                self._fill(made[name], value)

    def _values(self, kind: type) -> dict[str, Any]:
        return {name: hint for name, hint in values_of(kind).items() if name in self._read}

    def _compiled(self, function: Any, owner: type | None) -> Any:
        key = function, owner
        if key not in self._made:
            self._made[key] = _njit(self._translated(function, owner))
        return self._made[key]

    def _translated(self, function: Any, owner: type | None) -> Any:
        """The function with all that it names as numba takes it."""
        file = str(inspect.getsourcefile(function))
        self._sources.add(file)
        tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
        ast.increment_lineno(tree, function.__code__.co_firstlineno - 1)
        names = {"__name__": function.__module__}
        stations = self._stations(function, owner)
        self._read |= {one.attr for one in ast.walk(tree) if isinstance(one, ast.Attribute)}
        whole = _OfNumbers(function, stations, names, self._compiled).visit(tree)
        exec(compile(ast.fix_missing_locations(whole), file, "exec"), names)
        made = names[MADE]
        made.__name__, made.__qualname__ = function.__name__, function.__qualname__
        return made

    def _stations(self, function: Any, owner: type | None) -> dict[str, type]:
        """Kinds of the parameters that are stations."""
        found = {"self": owner} if owner else {}
        for name, hint in get_type_hints(function).items():
            if isinstance(hint, type) and hint in self._kinds:
                found[name] = self._kinds[hint]
        return found

    def _digest(self) -> str:
        texts = hashlib.sha256()
        for file in sorted(self._sources):
            with open(file, "rb") as source:
                texts.update(source.read())
        return texts.hexdigest()[:16]


class _OfNumbers(ast.NodeTransformer):
    """Turns a function of numbers or arrays into one of numbers.

    What it names is put into `names`.
    """

    def __init__(
        self, function: Any, stations: dict[str, type], names: dict[str, Any], compiled: Any
    ) -> None:
        self._stations, self._names, self._compiled = stations, names, compiled
        self._globals = function.__globals__
        self._local = set(function.__code__.co_varnames)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> Any:
        node.name, node.decorator_list, node.returns = MADE, [], None
        for argument in node.args.args:
            argument.annotation = None
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> Any:
        whose = node.func
        if isinstance(whose, ast.Attribute):
            if whose.attr == "astype":  # of a number
                return self.visit(ast.Call(node.args[0], [whose.value], []))
            if whose.attr == "take":  # at one place
                return self.visit(ast.Subscript(whose.value, node.args[0], ast.Load()))
            kind = self._kind(whose.value)
            method = getattr(kind, whose.attr, None)
            if kind and isinstance(method, FunctionType):
                name = f"_{kind.__name__}_{whose.attr}"
                self._names[name] = self._compiled(method, kind)
                node.func = ast.Name(name, ast.Load())
                node.args = [whose.value, *node.args]
        return self.generic_visit(node)

    def visit_Attribute(self, node: ast.Attribute) -> Any:
        kind = self._kind(node.value)
        if kind and (many := parts_of(values_of(kind).get(node.attr))):
            names = [f"{node.attr}_{k}" for k in range(many)]
            return ast.Tuple([ast.Attribute(node.value, one, node.ctx) for one in names], node.ctx)
        if isinstance(node.value, ast.Name) and node.value.id not in self._local:
            module = self._globals.get(node.value.id)
            if isinstance(module, ModuleType):
                return self._found(node, f"{node.value.id}_{node.attr}", getattr(module, node.attr))
        return self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> Any:
        if node.id in self._local or node.id in self._names or node.id not in self._globals:
            return node
        return self._found(node, node.id, self._globals[node.id])

    def _kind(self, node: ast.expr) -> type | None:
        return self._stations.get(node.id) if isinstance(node, ast.Name) else None

    def _found(self, node: ast.expr, name: str, value: Any) -> Any:
        """What a global name stands for, compiled if it is a function of the program."""
        if callable(value):
            value = OF_NUMBERS.get(value, value)
        if isinstance(value, FunctionType) and value.__module__.startswith(PACKAGE):
            value = self._compiled(value, None)
        self._names[name] = value
        return ast.copy_location(ast.Name(name, ast.Load()), node)
