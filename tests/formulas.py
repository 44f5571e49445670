"""Formulas of docstrings worked out with plain numbers, without the code that they stand for."""

import ast
import math
import operator
import re

ROUNDING = 1e-12  # by which a root or an arc cosine may be handed what it cannot take


def _near(x, low, high):
    """A number moved into a range that rounding has left; one further off stays."""
    return min(max(x, low), high) if low - ROUNDING <= x <= high + ROUNDING else x


def _normal_below(x):
    """Share of a standard normal distribution below a value."""
    return math.erfc(-x / math.sqrt(2)) / 2


def _normal_inverse(share):
    """The value below which a share of a standard normal distribution lies, by Newton's steps."""
    if share > 0.5:
        return -_normal_inverse(1 - share)
    x = -math.sqrt(2 * math.log(1 / share)) + 1 if share < 0.1 else 0.0
    for _ in range(60):
        density = math.exp(-x * x / 2) / math.sqrt(2 * math.pi)
        step = (_normal_below(x) - share) / density
        x -= max(min(step, 1.0), -1.0)
        if abs(step) < 1e-15:
            break
    return x


FUNCTIONS = {
    "sqrt": lambda x: math.sqrt(_near(x, 0.0, math.inf)),
    "exp": math.exp,
    "ln": math.log,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "arccos": lambda x: math.acos(_near(x, -1.0, 1.0)),
    "arcsin": lambda x: math.asin(_near(x, -1.0, 1.0)),
    "arctan": math.atan,
    "abs": abs,
    "min": min,
    "max": max,
    "floor": math.floor,
    "Phi": _normal_below,
    "Phi_inv": _normal_inverse,
}
CONSTANTS = {"pi": math.pi}
OPERATIONS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
COMPARISONS = {ast.Lt: operator.lt, ast.Gt: operator.gt}
CHOICE = "choose"  # what `if` is called in here, as Python has a word of that name


def tree_of(expression):
    """The expression tree of a formula's side."""
    words = re.sub(r"\bif\(", f"{CHOICE}(", expression)
    return ast.parse(words.replace("^", "**"), mode="eval").body


class Formula:
    """A formula: what stands left, what stands right, and the parts that have names.

    Parameters
    ----------
    lines : sequence of str
        The formula and what each `where` says.
    parameters : sequence of str
        Names of the equation's parameters, in order.
    """

    def __init__(self, lines, parameters):
        left, _, right = lines[0].partition(" = ")
        self.left, self.right = tree_of(left), tree_of(right)
        parts = (line.partition(" = ") for line in lines[1:])
        self.parts = {name: tree_of(said) for name, _, said in parts}
        self.parameters = tuple(parameters)

    @property
    def trees(self):
        """All trees."""
        return [self.left, self.right, *self.parts.values()]

    def nodes(self):
        """All nodes of all trees."""
        return [node for tree in self.trees for node in ast.walk(tree)]

    def called(self):
        """Names of functions and equations that are called."""
        return {node.func.id for node in self.nodes() if isinstance(node, ast.Call)}

    def names(self):
        """Names that stand for a number."""
        called = {id(node.func) for node in self.nodes() if isinstance(node, ast.Call)}
        named = [node for node in self.nodes() if isinstance(node, ast.Name)]
        return {node.id for node in named if id(node) not in called}

    def value(self, known, others, side=None):
        """The right side, or another one, with numbers by parameter and other formulas by name."""

        def at(node):
            match node:
                case ast.Constant(value=int() | float() as number):
                    return number
                case ast.Name(id=name):
                    if name in self.parts:
                        return at(self.parts[name])
                    return known[name] if name in known else CONSTANTS[name]
                case ast.UnaryOp(op=ast.USub(), operand=operand):
                    return -at(operand)
                case ast.BinOp(left=left, op=op, right=right):
                    return OPERATIONS[type(op)](at(left), at(right))
                case ast.Compare(left=left, ops=[op], comparators=[right]):
                    return COMPARISONS[type(op)](at(left), at(right))
                case ast.Call(func=ast.Name(id="choose"), args=[condition, one, other]):
                    return at(one if at(condition) else other)
                case ast.Call(func=ast.Name(id=name), args=args):
                    given = [at(arg) for arg in args]
                    if name in FUNCTIONS:
                        return FUNCTIONS[name](*given)
                    other = others[name]
                    return other.value(dict(zip(other.parameters, given, strict=True)), others)
            raise ValueError(f"not part of the notation: {ast.dump(node)}")

        return at(self.right if side is None else side)
