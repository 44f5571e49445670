"""What several files of tests need: a folder of their own, and commands that say what they do."""

import pytest
from hypothesis import settings

from metersim.cli import main

settings.register_profile("busy", deadline=None)  # a machine with other work is no failure
settings.load_profile("busy")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder of its own to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def held(folder):
    """All that lies in a folder, with what the files hold."""
    return {path: path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}


@pytest.fixture
def told(capsys, folder):
    """What a command that must refuse says, line by line without ``metersim: ``.

    Nothing is written or changed.
    """

    def call(*arguments):
        before = held(folder)
        assert main([str(word) for word in arguments]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert held(folder) == before
        lines = err.split("\n")
        assert lines.pop() == "" and lines
        assert all(line.startswith("metersim: ") for line in lines)
        return [line.removeprefix("metersim: ") for line in lines]

    return call


@pytest.fixture
def done(capsys):
    """What a command that must work prints; it keeps silent beside."""

    def call(*arguments):
        status = main([str(word) for word in arguments])
        out, err = capsys.readouterr()
        assert (status, err) == (0, "")
        return out

    return call
