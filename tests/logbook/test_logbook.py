"""The logbook keeps what people wrote, in order, for good, and is not there until somebody writes."""

from __future__ import annotations

import multiprocessing
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from threading import Barrier
from typing import TYPE_CHECKING

import pytest

from pipeline.logbook import (
    ANSWERING,
    DEFAULT_DEFERRAL,
    FILE_NAME,
    REBASING,
    Kind,
    LogbookError,
    add_note,
    in_force,
    note_rows,
    notes,
)

if TYPE_CHECKING:
    from pathlib import Path

JUNE_14 = datetime(2026, 6, 14, 7, 10, tzinfo=timezone(timedelta(hours=12)))


def test_what_was_written_is_read_again(tmp_path: Path) -> None:
    written = add_note(tmp_path, "petrel", "port", "cleaned", " throttle body ", JUNE_14, author="K.")

    assert notes(tmp_path) == (written,)
    assert (written.kind, written.text, written.author, written.until) == (Kind.CLEANED, "throttle body", "K.", None)
    assert written.at == JUNE_14
    assert written.note_id == 1


def test_a_fleet_nobody_wrote_about_has_no_notes_and_reading_makes_no_file(tmp_path: Path) -> None:
    assert notes(tmp_path) == ()
    assert notes(tmp_path, "petrel", "port", JUNE_14) == ()
    assert list(tmp_path.iterdir()) == []


def test_notes_come_in_the_order_of_what_they_tell_and_not_of_their_writing(tmp_path: Path) -> None:
    add_note(tmp_path, "petrel", None, "remark", "second", JUNE_14)
    add_note(tmp_path, "petrel", None, "remark", "third", JUNE_14)
    # 13 June 20:00 UTC is 14 June 08:00 at +12:00, so after 07:10 there: the order as local text would be wrong.
    add_note(tmp_path, "petrel", None, "remark", "fourth", datetime(2026, 6, 13, 20, 0, tzinfo=UTC))
    add_note(tmp_path, "petrel", None, "remark", "first", JUNE_14 - timedelta(days=2))

    assert [note.text for note in notes(tmp_path)] == ["first", "second", "third", "fourth"]


def test_as_of_uses_nothing_later_than_that_moment(tmp_path: Path) -> None:
    add_note(tmp_path, "petrel", "port", "replaced", "actuator", JUNE_14)

    assert notes(tmp_path, as_of=JUNE_14 - timedelta(microseconds=1)) == ()
    assert len(notes(tmp_path, as_of=JUNE_14)) == 1
    assert len(notes(tmp_path, as_of=datetime(2026, 6, 13, 19, 10, tzinfo=UTC))) == 1


def test_an_engine_has_its_own_notes_and_those_of_its_whole_boat(tmp_path: Path) -> None:
    add_note(tmp_path, "petrel", "port", "remark", "port", JUNE_14)
    add_note(tmp_path, "petrel", "starboard", "remark", "starboard", JUNE_14)
    add_note(tmp_path, "petrel", None, "remark", "boat", JUNE_14)
    add_note(tmp_path, "gannet", "port", "remark", "elsewhere", JUNE_14)

    assert [note.text for note in notes(tmp_path, "petrel", "port")] == ["port", "boat"]
    assert [note.text for note in notes(tmp_path, "petrel")] == ["port", "starboard", "boat"]
    assert [note.text for note in notes(tmp_path) if note.concerns("petrel", "port")] == ["port", "boat"]


def test_a_deferral_holds_from_its_own_time_until_its_end(tmp_path: Path) -> None:
    until = JUNE_14 + timedelta(days=7)
    deferral = add_note(tmp_path, "petrel", "port", "defer", "parts ordered", JUNE_14, until=until)

    assert notes(tmp_path)[0].until == until
    assert not deferral.defers_at(JUNE_14 - timedelta(seconds=1))
    assert deferral.defers_at(JUNE_14)
    assert deferral.defers_at(until - timedelta(seconds=1))
    assert not deferral.defers_at(until)


def test_a_deferral_without_an_end_never_hides_a_finding_for_long(tmp_path: Path) -> None:
    deferral = add_note(tmp_path, "petrel", "port", "defer", "look tomorrow", JUNE_14)

    assert deferral.until == JUNE_14 + DEFAULT_DEFERRAL
    assert not deferral.defers_at(JUNE_14 + timedelta(days=2))


def test_only_a_deferral_defers(tmp_path: Path) -> None:
    for kind in set(Kind) - {Kind.DEFER}:
        assert not add_note(tmp_path, "petrel", "port", kind, "x", JUNE_14).defers_at(JUNE_14)


@pytest.mark.parametrize(
    ("kind", "text", "at", "until", "complaint"),
    [
        ("polished", "x", JUNE_14, None, "polished"),
        ("remark", "  ", JUNE_14, None, "text is empty"),
        ("remark", "x", JUNE_14.replace(tzinfo=None), None, "without a zone"),
        ("remark", "x", JUNE_14, JUNE_14 + timedelta(days=1), "only a deferral has an end"),
        ("defer", "x", JUNE_14, JUNE_14, "it comes after"),
        ("defer", "x", JUNE_14, (JUNE_14 + timedelta(days=1)).replace(tzinfo=None), "without a zone"),
    ],
)
def test_a_note_that_makes_no_sense_is_not_written(
    tmp_path: Path, kind: str, text: str, at: datetime, until: datetime | None, complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        add_note(tmp_path, "petrel", "port", kind, text, at, until=until)
    assert list(tmp_path.iterdir()) == []


def test_an_engine_is_asked_for_with_its_boat(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="by its boat"):
        notes(tmp_path, engine="port")


@pytest.mark.parametrize("statement", ["update notes set note_text = ''", "delete from notes"])
def test_what_was_written_cannot_be_changed_or_removed(tmp_path: Path, statement: str) -> None:
    written = add_note(tmp_path, "petrel", None, "service", "100 h", JUNE_14)

    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            connection.execute(statement)
        connection.rollback()

    assert notes(tmp_path) == (written,)


def test_the_logbook_is_in_wal_mode_so_that_reading_never_waits_for_writing(tmp_path: Path) -> None:
    written = add_note(tmp_path, "petrel", None, "remark", "x", JUNE_14)

    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("pragma journal_mode").fetchone() == ("wal",)
        connection.execute("begin immediate")
        assert notes(tmp_path) == (written,)


def test_notes_written_side_by_side_are_all_kept_the_very_first_ones_too(tmp_path: Path) -> None:
    together = Barrier(4)

    def write_and_read(folder: Path, person: int) -> int:
        together.wait()
        add_note(folder, "petrel", None, "remark", f"{person}", JUNE_14)
        return len(notes(folder))

    folders = [tmp_path / f"{number}" for number in range(20)]
    with ThreadPoolExecutor(4) as people:
        for folder in folders:
            folder.mkdir()
            seen = list(people.map(write_and_read, [folder] * 4, range(4)))
            assert min(seen) >= 1

    assert [sorted(note.text for note in notes(folder)) for folder in folders] == [["0", "1", "2", "3"]] * 20
    assert {tuple(note.note_id for note in notes(folder)) for folder in folders} == {(1, 2, 3, 4)}


def test_a_first_note_that_was_never_finished_is_no_note(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).touch()

    assert notes(tmp_path) == ()
    assert add_note(tmp_path, "petrel", None, "remark", "x", JUNE_14) == notes(tmp_path)[0]


def _write_and_die(folder: Path) -> None:
    add_note(folder, "petrel", None, "remark", "before the end", JUNE_14)
    multiprocessing.current_process().kill()


def test_a_note_that_was_confirmed_survives_the_death_of_its_process(tmp_path: Path) -> None:
    writer = multiprocessing.get_context("fork").Process(target=_write_and_die, args=(tmp_path,))
    writer.start()
    writer.join()

    assert [note.text for note in notes(tmp_path)] == ["before the end"]


def test_a_folder_with_spaces_and_signs_in_its_name_is_no_trouble(tmp_path: Path) -> None:
    folder = tmp_path / "50 % of #1? öre"
    folder.mkdir()
    written = add_note(folder, "petrel", None, "remark", "ñandú", JUNE_14)

    assert notes(folder) == (written,)


def test_a_file_that_is_no_logbook_is_said_and_left_alone(tmp_path: Path) -> None:
    damaged = b"this is no database, whatever its name says\n" * 50
    (tmp_path / FILE_NAME).write_bytes(damaged)

    with pytest.raises(LogbookError, match="the logbook cannot be read"):
        notes(tmp_path)
    with pytest.raises(LogbookError, match="cannot be written"):
        add_note(tmp_path, "petrel", None, "remark", "x", JUNE_14)
    assert (tmp_path / FILE_NAME).read_bytes() == damaged


def test_a_note_for_a_folder_that_is_not_there_is_refused_with_the_place(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="no-such-fleet"):
        add_note(tmp_path / "no-such-fleet", "petrel", None, "remark", "x", JUNE_14)


def test_rows_for_an_export_have_the_offset_of_the_fleet(tmp_path: Path) -> None:
    at = datetime(2026, 1, 14, 18, 30, tzinfo=UTC)
    add_note(tmp_path, "petrel", "port", "defer", "wait", at, until=at + timedelta(days=180))

    (row,) = note_rows(notes(tmp_path), "Pacific/Auckland")

    # New Zealand: +13:00 in January (daylight time), +12:00 in July; tz database, zone Pacific/Auckland.
    assert row["at"] == "2026-01-15T07:30:00+13:00"
    assert row["until"] == "2026-07-14T06:30:00+12:00"
    assert list(row) == ["note", "boat", "engine", "at", "kind", "text", "author", "until", "written_at", "corrects"]
    assert (row["kind"], row["author"]) == ("defer", None)


def test_every_kind_says_what_it_means() -> None:
    assert [kind.value for kind in Kind if len(kind.meaning) < 20] == []
    assert len({kind.meaning for kind in Kind}) == len(Kind)
    assert Kind("new_target") is Kind.NEW_TARGET


def test_a_remark_a_deferral_and_a_new_baseline_answer_nothing() -> None:
    assert set(Kind) - ANSWERING == {Kind.REMARK, Kind.DEFER, Kind.REBASELINE}
    assert {Kind.NEW_TARGET, Kind.NEW_TABLE, Kind.REBASELINE} <= REBASING
    assert Kind.INSPECTED not in REBASING


def test_what_is_entered_twice_is_written_once(tmp_path: Path) -> None:
    first = add_note(tmp_path, "petrel", "port", "cleaned", "throttle body", JUNE_14, entry="one press")
    again = add_note(tmp_path, "petrel", "port", "cleaned", "throttle body", JUNE_14, entry="one press")
    other = add_note(tmp_path, "petrel", "port", "cleaned", "throttle body", JUNE_14, entry="another press")

    assert again == first
    assert notes(tmp_path) == (first, other)


def test_two_presses_at_once_write_one_note(tmp_path: Path) -> None:
    def press(_: int) -> int:
        return add_note(tmp_path, "petrel", None, "remark", "x", JUNE_14, entry="one press").note_id

    with ThreadPoolExecutor(4) as pool:
        assert set(pool.map(press, range(4))) == {1}
    assert len(notes(tmp_path)) == 1


def test_a_corrected_note_stays_and_counts_no_more(tmp_path: Path) -> None:
    wrong = add_note(tmp_path, "petrel", "port", "replaced", "actuator", JUNE_14)
    right = add_note(tmp_path, "petrel", "starboard", "replaced", "actuator", JUNE_14, corrects=wrong.note_id)

    assert notes(tmp_path) == (wrong, right)
    assert in_force(notes(tmp_path)) == (right,)


def test_a_correction_that_is_corrected_puts_nothing_right(tmp_path: Path) -> None:
    first = add_note(tmp_path, "petrel", "port", "replaced", "actuator", JUNE_14)
    second = add_note(tmp_path, "petrel", "port", "remark", "it was not", JUNE_14, corrects=first.note_id)
    third = add_note(tmp_path, "petrel", "port", "remark", "it was after all", JUNE_14, corrects=second.note_id)

    assert in_force(notes(tmp_path)) == (first, third)


def test_only_a_note_that_is_there_can_be_corrected(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="there is no note 7 to correct"):
        add_note(tmp_path, "petrel", "port", "remark", "x", JUNE_14, corrects=7)
    assert notes(tmp_path) == ()


BEFORE_CORRECTIONS = """
create table notes (
    note_id integer primary key, boat text not null, engine text, kind text not null, note_text text not null,
    author text, done_at text not null, until_at text, written_at text not null
);
insert into notes values (1, 'petrel', 'port', 'cleaned', 'throttle body', null,
    '2026-06-01T08:00:00.000000+00:00', null, '2026-06-01T09:00:00.000000+00:00');
"""


def test_a_logbook_of_an_older_version_is_read_as_it_is_and_written_on(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.executescript(BEFORE_CORRECTIONS)
    before = (tmp_path / FILE_NAME).read_bytes()

    (old,) = notes(tmp_path)
    assert (old.text, old.corrects) == ("throttle body", None)
    assert (tmp_path / FILE_NAME).read_bytes() == before

    new = add_note(tmp_path, "petrel", "port", "remark", "it was the filter", JUNE_14, corrects=1, entry="one press")
    assert notes(tmp_path) == (old, new)


VERSION_1 = """
create table notes (
    note_id integer primary key, boat text not null, engine text, kind text not null, note_text text not null,
    author text, done_at text not null, until_at text, written_at text not null
);
insert into notes values (
    1, 'petrel', 'port', 'cleaned', 'throttle body', null, '2026-01-02T00:00:00.000000+00:00', null,
    '2026-01-02T00:00:00.000000+00:00'
);
"""


def test_a_logbook_of_an_older_version_is_read_as_it_is_and_kept_whole_before_it_is_brought_up(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as db:
        db.executescript(VERSION_1)
    (before,) = notes(tmp_path)
    assert before.text == "throttle body"

    add_note(tmp_path, "petrel", None, "remark", "a further one", JUNE_14)
    add_note(tmp_path, "petrel", None, "remark", "and another", JUNE_14)

    assert notes(tmp_path)[0] == before
    with closing(sqlite3.connect(tmp_path / "logbook-version-1.sqlite")) as db:
        assert db.execute("select note_id, note_text from notes").fetchall() == [(1, "throttle body")]
    assert not list(tmp_path.glob("*.part"))


def test_a_new_logbook_leaves_no_copy_beside_it(tmp_path: Path) -> None:
    add_note(tmp_path, "petrel", None, "remark", "the first", JUNE_14)
    assert not list(tmp_path.glob("logbook-version-*"))


def test_a_logbook_of_a_newer_version_is_neither_read_nor_written(tmp_path: Path) -> None:
    add_note(tmp_path, "petrel", None, "remark", "the first", JUNE_14)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as db:
        db.execute("pragma user_version = 99")
    with pytest.raises(LogbookError, match="a newer version of Morning Watch"):
        notes(tmp_path)
    with pytest.raises(LogbookError, match="a newer version of Morning Watch"):
        add_note(tmp_path, "petrel", None, "remark", "the second", JUNE_14)
