"""Files that are whole or absent."""

from __future__ import annotations

import pytest

from bladegeom.faults import RefusedError
from bladegeom.tables.out import whole_file


def test_a_file_takes_its_place_when_all_is_written(tmp_path):
    with whole_file(tmp_path / "a.txt") as file:
        file.write(b"one")
        assert not (tmp_path / "a.txt").exists()
    assert (tmp_path / "a.txt").read_bytes() == b"one"


def test_what_was_there_stays_if_writing_fails(tmp_path):
    (tmp_path / "a.txt").write_bytes(b"old")
    with pytest.raises(KeyboardInterrupt), whole_file(tmp_path / "a.txt"):
        raise KeyboardInterrupt
    assert (tmp_path / "a.txt").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_a_full_disk_is_told_and_leaves_nothing(tmp_path):
    with (
        pytest.raises(RefusedError, match=r"a\.txt cannot be written: No space left"),
        whole_file(tmp_path / "a.txt"),
    ):
        raise OSError(28, "No space left on device")
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with (
        pytest.raises(RefusedError, match="cannot be written: No such file"),
        whole_file(tmp_path / "none" / "a.txt"),
    ):
        pass
