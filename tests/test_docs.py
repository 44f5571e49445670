"""What the documents say is what the program does."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from metersim.cli import parser
from tests.make_docs import README, key_table, with_block

TOP = README.parent
DEVELOPERS = (TOP / "DEVELOPERS.md").read_text()


def test_the_table_of_keys_is_that_of_the_declarations():
    text = README.read_text()
    assert with_block(text, "keys", key_table()) == text


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


def test_every_place_on_the_map_exists_and_every_module_is_on_it():
    rows = [line for line in DEVELOPERS.splitlines() if line.startswith("| `")]
    places = [place for row in rows for place in re.findall(r"`((?:metersim|tests)/[^`]*)`", row)]
    assert places
    for place in places:
        assert (TOP / place).exists(), place
    package = TOP / "metersim"
    known = {place.rstrip("/") for place in places}
    for path in [*package.glob("*.py"), *(p for p in package.iterdir() if p.is_dir())]:
        if path.name not in ("__init__.py", "__main__.py", "__pycache__"):
            if path.name in ("scenarios",) or path.suffix not in ("", ".py"):
                continue
            assert str(path.relative_to(TOP)) in known, f"{path} is not on the map"


@pytest.mark.parametrize("line", re.findall(r"`(metersim [^`]+)`", README.read_text()))
def test_commands_of_the_readme_parse(line):
    words = line.replace(", or", "").split()[1:]
    options = parser().parse_args(words)
    assert options.command is not None


def test_the_python_of_the_documents_runs():
    for text in (README.read_text(), DEVELOPERS):
        for code in re.findall(r"```python\n(.*?)```", text, re.DOTALL):
            subprocess.run([sys.executable, "-W", "error", "-c", code], check=True, cwd=TOP)


def test_a_change_in_mid_run_shows_what_the_readme_says():
    text = README.read_text().partition("### Change it while it runs")[2]
    code, told = re.search(r"```python\n(.*?)```\n\n```text\n(.*?)```", text, re.DOTALL).groups()
    done = subprocess.run([sys.executable, "-c", code], check=True, cwd=TOP, capture_output=True)
    assert done.stdout.decode() == told


def test_links_of_the_readme_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README.read_text()):
        assert (Path(TOP) / target).exists(), target
