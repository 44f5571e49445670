"""Files that are read whole: what has no end, and what nobody writes, is not waited for."""

import os
import threading

import pytest

from metersim.files.faults import BadInput, Fault
from metersim.files.tables import read_text
from metersim.files.whole import MOST_BYTES, read_whole

ENDLESS = ("/dev/zero", "/dev/full")


@pytest.mark.parametrize("place", ENDLESS)
def test_a_device_is_no_file(place, told, folder):
    (line,) = told("measured", "maize_bench", place)
    assert line == f"{place}: cannot be read: is a device; give a file"
    (line,) = told("sheet", "--lot", "maize_large_flat", "--rate", 8e4, "--row-spacing", 75,
                   "--speed", 6, "--discs", place)  # fmt: skip
    assert line == f"{place}: cannot be read: is a device; give a file"
    told("howmany", "maize_bench", "--add", place, "--row", 3, "--counted", 300, "--skips", 1,
         "--doubles", 1)  # fmt: skip


def test_a_pipe_is_read_to_its_end_and_not_waited_for_when_nobody_writes(folder):
    pipe = folder / "pipe"
    os.mkfifo(pipe)
    assert read_whole(pipe) == b""
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)  # that the writer finds somebody
    with open(pipe, "wb", buffering=0) as writer:
        os.close(reader)
        found = []
        thread = threading.Thread(target=lambda: found.append(read_whole(pipe)))
        reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
        thread.start()
        thread.join(0.1)
        assert not found  # more may come
        os.close(reader)
        writer.write(b"spacing_cm")
    thread.join()
    assert found == [b"spacing_cm"]


@pytest.mark.slow
def test_a_file_that_is_too_large_is_not_loaded(folder):
    large = folder / "large"
    with large.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(OSError, match="holds more than 256 MiB; give less at a time"):
        read_whole(large)


@pytest.mark.parametrize("form", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
def test_other_text_than_utf_8_is_told_as_such(form, folder):
    path = folder / "tape.csv"
    path.write_bytes("spacing_cm\n\u00e9\n".encode(form))
    with pytest.raises(BadInput, match=r"tape\.csv: is not UTF-8 text; save it as CSV in UTF-8"):
        read_text(path)


def test_a_fault_of_strange_letters_is_one_short_line():
    line = str(Fault("f.csv", "\u2028" * 500, "is unknown"))
    assert len(line) < 250 and line.isprintable()
