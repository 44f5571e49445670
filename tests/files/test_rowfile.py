"""Rows that survive: whatever cuts a file short, going on gives the bytes of a whole one."""

import csv
import os
import zlib
from pathlib import Path

import pytest

from metersim.files.faults import BadInput
from metersim.files.rowfile import RowFile

ORIGIN = ["a study", "seed: 1", "made: by hand"]
COLUMNS = ["point", "value", "fault"]
ROWS = [["0", "1.5", ""], ["1", "", "too much, too late"], ["2", "2.25", '"quoted"']]


def written(path, rows=ROWS, resume=False, **other):
    """The bytes of a file after the rows that it lacks were added."""
    with RowFile(path, **({"origin": ORIGIN, "columns": COLUMNS} | other), resume=resume) as file:
        there = list(file.finished())
        assert there == rows[: len(there)]
        file.drop_rest()
        for row in rows[len(there) :]:
            file.append(row)
    return path.read_bytes()


def refusal(path, **other):
    """What opening a file is refused with; the file is as it was."""
    before = path.read_bytes()
    with pytest.raises(BadInput) as error:
        written(path, resume=True, **other)
    assert path.read_bytes() == before
    (fault,) = error.value.faults
    assert fault.where == str(path)
    return fault.message


@pytest.fixture
def path(tmp_path):
    return tmp_path / "rows.csv"


def test_a_file_is_its_origin_its_columns_and_its_rows(path):
    text = written(path).decode()
    rows = ("0,1.5,", '1,,"too much, too late"', '2,2.25,"""quoted"""')
    assert text == "# a study\n# seed: 1\n# made: by hand\npoint,value,fault,crc32\n" + "".join(
        f"{row},{zlib.crc32(row.encode())}\n" for row in rows
    )


def test_the_checksum_is_the_usual_one(path):
    """CRC-32 of ``123456789`` is 0xCBF43926 wherever it is worked out."""
    assert written(path, [["123456789"]], columns=["digits"]).endswith(b"123456789,3421780262\n")


def test_pandas_reads_the_rows_and_the_checksum_as_a_number(path):
    pandas = pytest.importorskip("pandas")
    written(path)
    table = pandas.read_csv(path, comment="#")
    assert list(table.columns) == [*COLUMNS, "crc32"]
    assert table["value"].tolist()[::2] == [1.5, 2.25]
    assert table["crc32"].dtype == int


def test_no_single_changed_byte_of_a_row_goes_unseen(path):
    """A value that looks like any other is found by its checksum, and named by its line."""
    whole = written(path)
    start = whole.index(b"0,1.5")
    for place in range(start, len(whole) - 1):
        changed = bytearray(whole)
        changed[place] = ord("7") if whole[place] != ord("7") else ord("8")
        path.write_bytes(changed)
        with pytest.raises(BadInput) as error:
            written(path, resume=True)
        line = whole[:place].count(b"\n") + 1
        assert error.value.faults[0].key == f"line {line}", place
    path.write_bytes(whole)  # control
    assert written(path, resume=True) == whole


def test_rows_from_a_spoilt_one_on_can_be_dropped_and_made_again(path):
    whole = written(path)
    path.write_bytes(whole.replace(b"1,,", b"1,3,"))
    with RowFile(path, ORIGIN, COLUMNS, resume=True) as file:
        taken = []
        with pytest.raises(BadInput):
            taken.extend(file.finished())
        file.drop_rest()
        assert file.rows == 1
        for row in ROWS[1:]:
            file.append(row)
    assert path.read_bytes() == whole


def test_rows_without_checksums_are_refused(path):
    """Older versions wrote such rows."""
    with path.open("w", newline="") as file:
        file.write("".join(f"# {line}\n" for line in ORIGIN))
        csv.writer(file, lineterminator="\n").writerows([COLUMNS, *ROWS])
    assert "line 4 reads 'point,value,fault', not 'point,value,fault,crc32'" in refusal(path)


def test_cut_anywhere_and_gone_on_with_it_is_the_same(tmp_path):
    """A file that ends after any of its bytes, be it in its head, is completed to the byte."""
    whole = written(tmp_path / "whole.csv")
    path = tmp_path / "cut.csv"
    for length in range(len(whole) + 1):
        path.write_bytes(whole[:length])
        assert written(path, resume=True) == whole, length


def test_only_whole_rows_count(path):
    whole = written(path)
    path.write_bytes(whole[:-1])
    with RowFile(path, ORIGIN, COLUMNS, resume=True) as file:
        assert list(file.finished()) == ROWS[:-1]
        assert file.rows == len(ROWS) - 1


def test_going_on_with_no_file_begins_one(path, tmp_path):
    assert written(path, resume=True) == written(tmp_path / "other.csv")


def test_a_file_that_is_there_is_refused_unless_it_is_gone_on_with(path):
    path.write_text("mine")
    with pytest.raises(BadInput, match="is there already; go on with it by `resume`"):
        RowFile(path, ORIGIN, COLUMNS)
    assert path.read_text() == "mine"


def test_a_file_of_something_else_is_refused(path):
    path.write_text("a,b\n1,2\n")
    assert "no rows of such a study" in refusal(path)


def test_rows_of_another_study_are_refused_with_what_differs(path):
    written(path)
    said = refusal(path, origin=["a study", "seed: 2", "made: by hand"])
    assert "line 2 reads '# seed: 1', not '# seed: 2'" in said
    said = refusal(path, columns=[*COLUMNS, "more"])
    assert "line 4" in said


def test_a_changed_row_is_refused(path):
    whole = written(path)
    path.write_bytes(whole.replace(b"0,1.5,,", b"0,1.5,"))
    assert "row 1 is not what this study writes there" in refusal(path)


def test_rows_that_another_program_saved_are_refused(path):
    """What reads the same but is written otherwise would not end in the same bytes."""
    whole = written(path)
    for changed in (
        whole.replace(b"\n", b"\r\n"),
        whole.replace(b"2.25,", b'"2.25",'),
        whole.replace(b"\n1,,", b"\r\n1,,"),
    ):
        path.write_bytes(changed)
        assert "the file was changed: give another `out`" in refusal(path)
    path.write_bytes(b"\xef\xbb\xbf" + whole)
    assert "no rows of such a study" in refusal(path)


def test_a_file_that_another_run_locks_first_is_left_to_it(path, monkeypatch):
    """Of two that begin a file at once, the loser must not take it away."""
    fcntl = pytest.importorskip("fcntl")
    lock, others = fcntl.flock, []

    def slow(file, how):
        if not others:
            others.append(open(path, "r+b"))  # noqa: SIM115
            lock(others[0], how)
        lock(file, how)

    monkeypatch.setattr(fcntl, "flock", slow)
    with pytest.raises(BadInput, match="another run is writing to it"):
        RowFile(path, ORIGIN, COLUMNS)
    assert path.exists()
    others[0].close()


def test_a_file_that_is_taken_away_meanwhile_gets_no_rows(path, monkeypatch):
    """Rows of a file without a name would be lost."""
    fcntl = pytest.importorskip("fcntl")
    path.write_bytes(b"")
    lock = fcntl.flock

    def slow(file, how):
        path.unlink()
        lock(file, how)

    monkeypatch.setattr(fcntl, "flock", slow)
    with pytest.raises(BadInput, match="another run is writing to it"):
        RowFile(path, ORIGIN, COLUMNS, resume=True)


def test_a_name_that_no_file_can_have_is_one_fault():
    with pytest.raises(BadInput, match="cannot be written: embedded null byte"):
        RowFile(Path("a\0b"), ORIGIN, COLUMNS)


def test_one_run_at_a_time_writes_to_a_file(path):
    pytest.importorskip("fcntl")
    busy = pytest.raises(BadInput, match="another run is writing to it")
    with RowFile(path, ORIGIN, COLUMNS), busy:
        RowFile(path, ORIGIN, COLUMNS, resume=True)
    written(path, resume=True)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no such device")
def test_what_is_no_file_is_refused():
    with pytest.raises(BadInput, match="is no file that rows can be added to"):
        RowFile(Path("/dev/full"), ORIGIN, COLUMNS, resume=True)


def test_a_folder_that_is_not_there_is_one_fault(tmp_path):
    with pytest.raises(BadInput, match="cannot be written: No such file or directory"):
        RowFile(tmp_path / "none" / "rows.csv", ORIGIN, COLUMNS)


def test_a_write_that_fails_half_way_leaves_no_torn_row(path):
    """Rows before it stay, the file is fit to go on with, and the fault says so."""
    with RowFile(path, ORIGIN, COLUMNS) as file:
        file.append(ROWS[0])
        whole = path.read_bytes()

        class Full:
            """A disk that takes three more bytes."""

            def __init__(self, real):
                self.real, self.room = real, 3

            def write(self, line):
                if not self.room:
                    raise OSError(28, "No space left on device")
                taken, self.room = self.real.write(line[: self.room]), 0
                return taken

            def __getattr__(self, name):
                return getattr(self.real, name)

        file._file = Full(file._file)
        with pytest.raises(BadInput, match=r"No space left.*; 1 finished rows are kept"):
            file.append(ROWS[1])
    assert path.read_bytes() == whole
    assert written(path, resume=True).startswith(whole)


def test_a_file_that_could_not_be_begun_is_not_left_behind(path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        RowFile(path, ORIGIN, COLUMNS)
    assert not path.exists()
