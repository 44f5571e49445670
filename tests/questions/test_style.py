"""The style sheet: the one place of colours, letters, lines and hatches."""

import ast
import re
from itertools import pairwise
from pathlib import Path

import pytest

import metersim
from metersim.questions.shared import style
from metersim.questions.shared.style import CLASSES, CSS, GREY, INK, PALE, SERIES, SHADE, WHITE

HERE = Path(metersim.__file__).parent
SHEET = HERE / "questions/shared/style.py"
COLOUR_NAMES = [
    name for name, value in vars(style).items() if isinstance(value, str) and value[:1] == "#"
]
PAGE = HERE / "questions/explore/page/page.css"
COLOURS = {
    *("c", "color", "colors", "fc", "ec", "mfc", "mec", "facecolor", "edgecolor", "ecolor"),
    *("facecolors", "edgecolors", "labelcolor", "markerfacecolor", "markeredgecolor", "cmap"),
}
LETTERS = {"fontsize", "labelsize", "titlesize"}
WIDTHS = {"lw", "linewidth", "linewidths", "mew", "markeredgewidth"}
LINES = {"ls", "linestyle", "linestyles", "hatch"}
HEX = re.compile(r"#[0-9a-fA-F]{3}|#[0-9a-fA-F]{6}|#[0-9a-fA-F]{8}")


def own_looks(source):
    """What a module states of its own of colours, letters, lines and hatches, by line."""
    found = []
    for node in ast.walk(ast.parse(source)):
        pairs = []
        if isinstance(node, ast.keyword) and node.arg:
            pairs = [(node.arg, node.value)]
        elif isinstance(node, ast.Dict):
            keys = [key.value if isinstance(key, ast.Constant) else "" for key in node.keys]
            pairs = list(zip(keys, node.values, strict=True))
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "plot":
            words = [a.value for a in node.args if isinstance(a, ast.Constant)]
            found += [(node.lineno, w) for w in words if isinstance(w, str) and len(w) > 1]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found += [(node.lineno, node.value)] * bool(HEX.fullmatch(node.value))
        for key, value in pairs:
            is_tuple = isinstance(value, ast.Tuple) and key in LINES
            plain = value.value if isinstance(value, ast.Constant) else None
            is_word = isinstance(plain, str) and plain not in ("", "none")
            is_number = isinstance(plain, int | float) and not isinstance(plain, bool) and plain
            if (
                is_tuple
                or (is_word and key in COLOURS | LINES | LETTERS)
                or (is_number and key in LETTERS | WIDTHS)
            ):
                found.append((value.lineno, f"{key}={ast.unparse(value)}"))
    return found


def test_no_module_of_a_figure_has_a_look_of_its_own():
    drawing = 0
    for path in HERE.rglob("*.py"):
        source = path.read_text("utf-8")
        if path == SHEET or not ("matplotlib" in source or "shared.page" in source):
            continue
        drawing += 1
        assert not own_looks(source), path
    assert drawing > 15


@pytest.mark.parametrize(
    "line",
    [
        'INKY = "#0072B2"',
        'ax.plot(x, y, color="white")',
        'ax.text(0, 0, "word", fontsize=10)',
        'ax.bar(x, y, hatch="//")',
        "ax.plot(x, y, ls=(0, (4, 2)))",
        'ax.plot(x, y, "o--")',
        "ax.axvline(0, lw=0.8)",
        'LOOK = {"lw": 2, "ls": ""}',
    ],
)
def test_a_look_of_its_own_is_noticed(line):
    assert len(own_looks(line)) == 1
    allowed = 'ax.plot(x, y, "o", ls="", color=INK, lw=0, fc="none", hatch="", fontsize=SMALL)'
    assert not own_looks(allowed)


def test_documents_keep_to_the_colours_of_the_figures():
    """HTML is written without this module, so its style sheets repeat some of the colours."""
    known = {getattr(style, name).lower() for name in COLOUR_NAMES}
    written = 0
    for path in HERE.rglob("*.py"):
        for short in re.findall(r"#[0-9a-fA-F]{3}\b|#[0-9a-fA-F]{6}\b", path.read_text("utf-8")):
            whole = short if len(short) == 7 else "#" + "".join(2 * one for one in short[1:])
            written += 1
            assert whole.lower() in known, (path, short)
    assert written > len(known)


def lightness(colour):
    """Lightness of a colour in grey, from 0 to 1 (ITU-R BT.601)."""
    red, green, blue = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue


def test_what_lies_side_by_side_differs_in_grey_or_in_its_hatch_or_line():
    looks = [(lightness(colour), hatch) for colour, hatch, *_ in CLASSES.values()]
    series = [(lightness(colour), str(line)) for colour, line, _ in SERIES]
    for many in (looks, series):
        for k, (light, other) in enumerate(many):
            assert all(abs(light - one) > 0.1 or other != what for one, what in many[:k])
    greys = [lightness(colour) for colour in (INK, PALE, GREY, SHADE, WHITE)]
    assert all(b - a > 0.05 for a, b in pairwise(greys))


def test_the_page_of_explore_has_the_colours_of_the_figures():
    names = ["--ink", "--pale", "--warm", *(f"--series-{k}" for k in range(1, 7))]
    assert list(CSS) == [*names, "--multiple", "--normal", "--miss"]
    if not PAGE.exists():
        return
    pairs = re.findall(r"(--[\w-]+)\s*:\s*(#[0-9a-fA-F]{6})\b", PAGE.read_text("utf-8"))
    stated = dict(reversed(pairs))  # a page may state them anew below, as for a projector
    used = {name for name in CSS if name in stated}
    assert used >= {*CSS} - {name for name in CSS if "series" in name}
    assert all(stated[name].lower() == CSS[name].lower() for name in used)
