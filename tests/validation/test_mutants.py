"""Every mutant of the program is caught by a fast test that states a fact."""

import pytest

from tests.validation.mutants import EQUALITY, MUTANTS, ROOT, Workshop, changed

PICTURES = "tests/golden"


@pytest.fixture(scope="session")
def workshop(tmp_path_factory):
    """A copy of the repository to try mutants in."""
    return Workshop(tmp_path_factory.mktemp("mutants"))


@pytest.mark.mutants
@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_mutant_is_caught(mutant, workshop):
    found = workshop.caught(mutant)
    assert not found.trouble, found.trouble
    assert found.test, f"survived: {mutant.why}"


@pytest.mark.mutants
def test_the_program_itself_is_not_caught(workshop):
    """Negative control: with nothing changed, tests that catch mutants pass."""
    found = workshop.tried(["tests/machine/test_tube.py", "tests/measures/test_spacing.py"])
    assert (found.test, found.trouble) == ("", "")


@pytest.mark.slow
def test_every_mutant_changes_what_stands_there_once():
    """Where a fragment is gone or no longer alone, its mutant needs another one."""
    sources = {mutant.path: (ROOT / mutant.path).read_text(encoding="utf-8") for mutant in MUTANTS}
    for mutant in MUTANTS:
        text = changed(sources[mutant.path], mutant.old, mutant.new)
        compile(text, str(mutant.path), "exec")


def test_mutants_are_caught_by_facts():
    """Equality of the engines cannot catch what both share, and pictures state nothing."""
    assert len(MUTANTS) >= 50 and len({mutant.name for mutant in MUTANTS}) == len(MUTANTS)
    for mutant in MUTANTS:
        assert mutant.why and mutant.tests and PICTURES not in mutant.tests, mutant.name
        assert not (mutant.shared and EQUALITY in mutant.tests), mutant.name


def test_words_are_no_code():
    """A fragment in a docstring or a comment is not found; one that stands there twice is not."""
    source = 'def f(x):\n    """Gives x + 1."""\n    return x + 1  # x + 1\n'
    assert changed(source, "x + 1", "x + 2").endswith("return x + 2  # x + 1\n")
    for text, old in ((source, "x + 3"), ('"""x + 1"""\n', "x + 1"), (source, "x")):
        with pytest.raises(LookupError, match="times"):
            changed(text, old, "y")
