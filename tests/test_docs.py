"""What the documents say is what the program does."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from metersim.cli import parser
from metersim.questions.guide.study import ORDER, PAGES
from tests.make_docs import KEYS, README, key_table, with_block

TOP = README.parent
DEVELOPERS = (TOP / "DEVELOPERS.md").read_text()
DOCUMENTS = "\n".join(path.read_text() for path in (README, *sorted(PAGES.glob("*.md"))))


def test_the_table_of_keys_is_that_of_the_declarations():
    text = KEYS.read_text()
    assert with_block(text, "keys", key_table()) == text


def test_the_readme_is_short_and_the_guide_has_a_page_a_topic():
    lines = README.read_text().splitlines()
    assert len(lines) <= 150
    trust = lines[lines.index("## How far to trust it") :]
    assert next(k for k, line in enumerate(trust[1:]) if line.startswith("## ")) <= 25
    assert sorted(path.stem for path in PAGES.glob("*.md")) == sorted(ORDER)


def test_the_top_level_holds_what_it_should_and_nothing_else():
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False
    ).stdout.split()
    if not tracked:
        pytest.skip("not a checkout")
    fixed = {"README.md", "DEVELOPERS.md", "pyproject.toml"} | {
        "metersim",
        "scenarios",
        "tests",
        "figures",
    }
    seen = {name.split("/")[0] for name in tracked}
    assert {name for name in seen if not name.startswith(".")} == fixed


def test_every_place_on_the_map_exists_and_every_folder_is_on_it():
    """Folders, and modules of all folders but those of the questions, which help lists."""
    rows = [line for line in DEVELOPERS.splitlines() if line.startswith("| `")]
    named = {place for row in rows for place in re.findall(r"`([\w/]+(?:\.py|/))`", row)}
    package = TOP / "metersim"
    for place in named - {"metersim/questions/NAME/study.py"}:
        found = (TOP / place).exists() or list(package.rglob(place))
        assert found or "NAME" in place or place in ("text.py", "figure.py"), place
    files = {Path(place).name for place in named}
    for path in package.rglob("*.py"):
        if path.name.startswith("__") or "questions" in path.parts:
            continue
        assert path.name in files, f"{path} is not on the map"
    for folder in package.iterdir():
        if folder.is_dir() and folder.name not in ("__pycache__", "scenarios"):
            assert f"metersim/{folder.name}/" in named, f"{folder} is not on the map"


@pytest.mark.parametrize("line", sorted({*re.findall(r"`(metersim [^`]+)`", DOCUMENTS)}))
def test_commands_of_the_documents_parse(line):
    words = shlex.split(line.replace(", or", ""))[1:]
    options = parser().parse_args(words)
    assert options.command is not None


@pytest.mark.slow
def test_the_python_of_the_documents_runs():
    for text in (DOCUMENTS, DEVELOPERS):
        for code in re.findall(r"```python\n(.*?)```", text, re.DOTALL):
            subprocess.run([sys.executable, "-W", "error", "-c", code], check=True, cwd=TOP)


@pytest.mark.slow
def test_a_change_in_mid_run_shows_what_the_readme_says():
    text = (PAGES / "changes.md").read_text()
    code, told = re.search(r"```python\n(.*?)```\n\n```text\n(.*?)```", text, re.DOTALL).groups()
    done = subprocess.run([sys.executable, "-c", code], check=True, cwd=TOP, capture_output=True)
    printed, number = done.stdout.decode(), re.compile(r"\d+")
    assert number.sub("#", printed) == number.sub("#", told)
    (*_, kept, left), (_, before, after) = (
        [*map(int, number.findall(line))] for line in printed.splitlines()[1:]
    )
    assert kept > 90 and left < 50 and after > 4 * before


def test_links_of_the_readme_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README.read_text()):
        assert (Path(TOP) / target).exists(), target
