"""Processes that start when work has lasted: the same results in order, and none for short work."""

import argparse
import multiprocessing
import os
import time

import pytest

from metersim.cli import command_of, parser
from metersim.questions import QUESTIONS
from metersim.run import pool
from metersim.run.parallel import in_order
from metersim.run.pool import processes


def slow(job):
    time.sleep(0.02)
    return job, os.getpid()


def broken(job):
    raise ValueError(job)


def test_short_work_starts_no_process():
    before = set(multiprocessing.active_children())
    with processes(2, at_once=False) as crew:
        found = list(in_order(slow, range(5), crew))
        assert set(multiprocessing.active_children()) == before
    assert found == [(job, os.getpid()) for job in range(5)]


def test_work_that_ends_while_processes_start_does_not_wait_for_them(monkeypatch):
    monkeypatch.setattr(pool, "PATIENCE_SECONDS", 0.0)
    before = set(multiprocessing.active_children())
    with processes(2, at_once=False) as crew:
        assert [pid for _, pid in in_order(slow, range(2), crew)] == [os.getpid()] * 2
        started = set(multiprocessing.active_children()) - before
    assert len(started) == 2
    for process in started:
        process.join(5)
        with pytest.raises(ProcessLookupError):  # its exit code may go to a thread of the pool
            os.kill(process.pid, 0)


def test_an_error_of_work_is_told_as_without_processes():
    with pytest.raises(ValueError, match="3"), processes(2, at_once=False) as crew:
        list(in_order(broken, [3], crew))


@pytest.mark.study
@pytest.mark.slow
def test_long_work_goes_on_until_processes_are_there(monkeypatch):
    """Results come in the order of the jobs, first from this process, then from others alone."""
    monkeypatch.setattr(pool, "PATIENCE_SECONDS", 0.1)
    with processes(2, at_once=False) as crew:
        found = list(in_order(slow, range(600), crew, ahead=8))
        again = list(in_order(slow, range(600, 620), crew))
    assert [job for job, _ in found + again] == list(range(620))
    own = [pid == os.getpid() for _, pid in found]
    first = own.index(False)
    assert 5 <= first < 600 and not any(own[first:])
    assert os.getpid() not in {pid for _, pid in again} and len({pid for _, pid in found}) == 3


def test_all_commands_that_take_long_have_one_option_of_processes():
    """Left out, it is None: one for each core.  A command without it would not be in the list."""
    helps, usual = {}, set()
    (commands,) = (
        action
        for action in parser(tuple(QUESTIONS))._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    for name, command in commands.choices.items():
        for action in command._actions:
            if "--workers" in action.option_strings:
                helps[name] = action.help
                usual.add(action.default)
    assert helps.keys() == {"sweep", "habits", "learn", "next", "sheet", "evidence", "list"}
    assert usual == {None} and len({*helps.values()}) == 1
    assert all(hasattr(command_of(name), "answer") for name in helps)
