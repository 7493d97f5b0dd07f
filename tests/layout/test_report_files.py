"""Files appear whole or not at all."""

import json
from pathlib import Path

import numpy as np
import pytest

from layout.report.files import file_stem, to_json, write_all, write_atomic
from sites.errors import BrightacreError


def test_writes_text_as_utf8_and_makes_folders(tmp_path: Path) -> None:
    path = write_atomic(tmp_path / "a" / "b" / "x.txt", "10 m² – ö")
    assert path.read_bytes() == "10 m² – ö".encode()


def test_replaces_a_file_that_is_there(tmp_path: Path) -> None:
    path = tmp_path / "x.bin"
    path.write_bytes(b"old")
    write_atomic(path, b"new")
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_nothing_half_written_when_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: BaseException
) -> None:
    write = Path.write_bytes

    def stopping(self: Path, data: bytes) -> int:
        if "second" in self.name:
            write(self, data[:3])
            raise stop
        return write(self, data)

    monkeypatch.setattr(Path, "write_bytes", stopping)
    (tmp_path / "first").write_text("before")
    expected = KeyboardInterrupt if isinstance(stop, KeyboardInterrupt) else BrightacreError
    with pytest.raises(expected):
        write_all({tmp_path / "first": "after", tmp_path / "second": "abcdef"})
    assert [p.name for p in tmp_path.iterdir()] == ["first"]
    assert (tmp_path / "first").read_text() == "before"


def test_a_folder_that_is_a_file_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(BrightacreError) as caught:
        write_atomic(tmp_path / "taken" / "x", "text")
    assert "cannot be written" in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_json_knows_arrays_and_has_no_nan() -> None:
    data = {"a": np.array([1.5, np.nan]), "b": (np.int64(3), np.inf), "c": np.bool_(True), "d": "m²"}
    assert json.loads(to_json(data)) == {"a": [1.5, None], "b": [3, None], "c": True, "d": "m²"}


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b\\c", "..", "", "con: x?"])
def test_a_layout_name_never_leaves_the_folder(name: str) -> None:
    stem = file_stem(name)
    assert stem
    assert not set(stem) & set("/\\.:?")
