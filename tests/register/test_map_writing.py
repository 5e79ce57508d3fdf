"""A channel map goes into fleet.toml, and every line that a person wrote is still there."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.proposal import ColumnProposal
from pipeline.register import FILE_NAME, RegisterError, load_register, write_map

MINE = """\
# my fleet, mind the order
[fleet]
name = "Ninefold"   # ours
timezone = "UTC"

[channel_map.bench]  # the old logger
# measured by hand
time = { column = "Time", unit = "s" }
rpm = { column = "Speed" }   # crank

# the boats
[[boat]]
id = "petrel"   # blue
channel_map = "bench"  # since May

[[boat.engine]]
id = "main"

[[boat]]
name = "Fulmar"
id = 'fulmar'
#channel_map = "bench"
[[boat.engine]]
id = "port"
[limits.idle_spread]
watch = 20.0"""
LINES = ["# proposed", 'time = { column = "T", unit = "ms" }  # 99%', 'rpm = { column = "ch1" }']


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / FILE_NAME).write_text(MINE, encoding="utf-8")
    return tmp_path


def _text(folder: Path) -> str:
    return (folder / FILE_NAME).read_text(encoding="utf-8")


def test_a_new_map_is_added_at_the_end_and_nothing_else_changes(folder: Path) -> None:
    written = write_map(folder, "new", LINES)
    assert written.status == "written"
    assert _text(folder) == MINE + "\n\n[channel_map.new]\n" + "\n".join(LINES) + "\n"
    assert load_register(folder).channel_maps["new"]["time"].unit == "ms"


def test_a_boat_that_is_to_use_it_gets_its_line_and_keeps_its_remarks(folder: Path) -> None:
    write_map(folder, "new", LINES, boats=["petrel", "fulmar"])
    text = _text(folder)
    assert 'channel_map = "new"  # since May\n' in text
    assert 'id = \'fulmar\'\nchannel_map = "new"\n#channel_map = "bench"\n' in text
    assert [boat.channel_map for boat in load_register(folder).boats] == ["new", "new"]


def test_a_map_that_is_there_and_differs_is_refused_unless_told(folder: Path) -> None:
    with pytest.raises(RegisterError, match="a channel map of that name is there already"):
        write_map(folder, "bench", LINES)
    assert _text(folder) == MINE


def test_a_map_that_is_there_and_says_the_same_is_left_alone(folder: Path) -> None:
    same = ['rpm = { column = "Speed" }', 'time = { column = "Time", unit = "s" }']
    assert write_map(folder, "bench", same).status == "unchanged"
    assert _text(folder) == MINE


def test_a_map_that_is_replaced_leaves_its_lines_behind_as_remarks(folder: Path) -> None:
    assert write_map(folder, "bench", LINES, replace=True).status == "replaced"
    text = _text(folder)
    assert load_register(folder).channel_maps["bench"]["rpm"].column == "ch1"
    for line in MINE.splitlines():
        assert line in text
    assert text.index("[channel_map.bench]  # the old logger") < text.index("ch1") < text.index("# the boats")


@pytest.mark.parametrize(
    "written", ["channel_map.bench.rpm = { column = 'x' }\n", "[channel_map]\nbench.rpm.column = 'x'\n"]
)
def test_a_map_written_in_another_way_is_not_replaced_but_said(tmp_path: Path, written: str) -> None:
    head = written + '[fleet]\nname = "One"\ntimezone = "UTC"\n'
    (tmp_path / FILE_NAME).write_text(head, encoding="utf-8")
    with pytest.raises(RegisterError, match="Write the map in by hand"):
        write_map(tmp_path, "bench", LINES, replace=True)
    assert _text(tmp_path) == head


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_a_byte_order_mark_stay_as_they_are(tmp_path: Path, start: bytes) -> None:
    mine = start + MINE.replace("\n", "\r\n").encode() + b"\r\n"
    (tmp_path / FILE_NAME).write_bytes(mine)
    write_map(tmp_path, "new", LINES)
    after = (tmp_path / FILE_NAME).read_bytes()
    assert after.startswith(mine)
    assert b"\n" not in after.replace(b"\r\n", b"")


def test_a_map_that_would_not_load_changes_nothing(folder: Path) -> None:
    with pytest.raises(RegisterError):
        write_map(folder, "new", ['rpm = { column = "x", unit = "degC" }'])
    with pytest.raises(RegisterError, match="a plain name"):
        write_map(folder, "a.b", LINES)
    assert _text(folder) == MINE


def test_a_register_that_is_wrong_already_is_left_alone(folder: Path) -> None:
    (folder / FILE_NAME).write_text(MINE + "\ncolour = 3\n", encoding="utf-8")
    with pytest.raises(RegisterError, match="colour"):
        write_map(folder, "new", LINES)
    assert _text(folder) == MINE + "\ncolour = 3\n"


def test_rights_and_a_link_to_the_file_are_kept(tmp_path: Path) -> None:
    real = tmp_path / "kept" / "real.toml"
    real.parent.mkdir()
    real.write_text(MINE, encoding="utf-8")
    real.chmod(0o640)
    (tmp_path / FILE_NAME).symlink_to(real)
    write_map(tmp_path, "new", LINES)
    assert (tmp_path / FILE_NAME).is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert "[channel_map.new]" in real.read_text(encoding="utf-8")
    assert list(real.parent.iterdir()) == [real], "no part is left"


def test_a_disk_that_is_full_leaves_the_file_as_it_was(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_map(folder, "new", LINES)
    assert _text(folder) == MINE
    assert list(folder.iterdir()) == [folder / FILE_NAME]


@given(
    column=st.text(st.characters(codec="utf-8"), min_size=1),
    values=st.dictionaries(st.text(st.characters(codec="utf-8")), st.sampled_from(["reverse", "forward"]), max_size=3),
    reason=st.text(st.characters(codec="utf-8")),
)
def test_any_column_name_survives_the_writing(
    tmp_path_factory: Any, column: str, values: dict[str, str], reason: str
) -> None:
    folder = tmp_path_factory.mktemp("names")
    (folder / FILE_NAME).write_text(MINE, encoding="utf-8")
    line = ColumnProposal("gear", column, None, 0.9, (reason,), values)
    comment = "".join(sign if sign.isprintable() else " " for sign in line.why())
    write_map(folder, "new", [f"{line.toml()}  # {comment}"])
    entry = load_register(folder).channel_maps["new"]["gear"]
    assert (entry.column, dict(entry.values or {})) == (column, values)
