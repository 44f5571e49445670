"""A file that two programs add to at once loses nothing, with locks of the system or without."""

import multiprocessing

import pytest

from metersim.files import alone as alone_module
from metersim.files.alone import alone
from metersim.files.faults import BadInput
from metersim.files.whole import replace_whole
from metersim.questions.shared.countlog import entry_of, read_log, with_entry
from tests.strategies import BENCH


def _add(path, name, many, locks, started):
    if not locks:
        alone_module.locks = None
    started.wait()
    for k in range(many):
        with alone(path):
            replace_whole(path, with_entry(path, entry_of(BENCH, name, 100 + k, 3, 2)))


@pytest.mark.slow
@pytest.mark.parametrize("locks", [True, False])
def test_two_programs_that_add_at_once_lose_nothing(tmp_path, locks):
    path, many = tmp_path / "log.csv", 50
    method = multiprocessing.get_context("fork")
    started = method.Barrier(2)
    both = [method.Process(target=_add, args=(path, name, many, locks, started)) for name in "ab"]
    for one in both:
        one.start()
    for one in both:
        one.join(120)
    assert [one.exitcode for one in both] == [0, 0]
    entries = read_log(path)
    for name in "ab":
        assert [e.seeds for e in entries if e.row == name] == [*range(100, 100 + many)]
    assert [file.name for file in tmp_path.iterdir()] == ["log.csv"]


def test_a_file_that_is_held_is_said_after_some_time(tmp_path, monkeypatch):
    monkeypatch.setattr(alone_module, "PATIENCE", 0.05)
    path = tmp_path / "log.csv"
    for locks in (alone_module.locks, None):
        monkeypatch.setattr(alone_module, "locks", locks)
        with (
            alone(path),
            pytest.raises(BadInput, match="another program is writing to it"),
            alone(path),
        ):
            pass
        with alone(path):  # control: free again
            pass
    assert not any(tmp_path.iterdir())  # nothing was written, nothing is left


def test_a_file_without_a_folder_is_said(tmp_path):
    with pytest.raises(BadInput, match="cannot be written"), alone(tmp_path / "no" / "log.csv"):
        pass
