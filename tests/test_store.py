"""The store keeps every version of every case, through damage and with two processes. Tags: by hand."""

from __future__ import annotations

import multiprocessing
import os
import sqlite3
import threading
from pathlib import Path

import pytest

from estimator.files import InputError
from estimator.store import DATA_DIR_VARIABLE, FILE_NAME, Store, data_folder


def test_every_version_is_kept_and_retrievable(tmp_path: Path) -> None:
    store = Store(tmp_path)
    first = store.save("one", name="A")
    second = store.autosave("two", name="A", case_id=first.case_id)
    third = store.save("broken = [", name="A?", case_id=first.case_id)  # wrong TOML is kept like any text

    kept = store.versions(first.case_id)

    assert [version.number for version in kept] == [3, 2, 1]
    assert [version.kind for version in kept] == ["saved", "auto", "saved"]
    assert [store.text(first.case_id, number) for number in (1, 2, 3)] == ["one", "two", "broken = ["]
    assert store.text(first.case_id) == "broken = ["
    assert (second.number, third.number) == (2, 3)


def test_the_same_text_again_adds_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path)
    first = store.save("one", name="A")
    assert store.autosave("one", name="A", case_id=first.case_id).number == 1
    assert len(store.versions(first.case_id)) == 1


def test_restoring_keeps_what_came_after(tmp_path: Path) -> None:
    store = Store(tmp_path)
    case = store.save("one", name="A").case_id
    store.save("two", name="B", case_id=case)
    restored = store.restore(case, 1)
    assert (restored.number, restored.kind, restored.name) == (3, "restored", "A")
    assert store.text(case) == "one"
    assert store.text(case, 2) == "two"


def test_delete_hides_and_loses_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path)
    case = store.save("one", name="A").case_id
    store.delete(case)
    assert store.list() == ()
    assert [entry.hidden for entry in store.list(hidden=True)] == [True]
    assert store.text(case) == "one"
    store.bring_back(case)
    assert [entry.name for entry in store.list()] == ["A"]


def test_list_shows_the_last_saved_first(tmp_path: Path) -> None:
    store = Store(tmp_path)
    older, newer = store.save("1", name="older"), store.save("2", name="newer")
    assert [entry.name for entry in store.list()] == ["newer", "older"]
    store.save("3", name="older, again", case_id=older.case_id)
    assert [(entry.name, entry.versions) for entry in store.list()] == [("older, again", 2), ("newer", 1)]
    assert newer.case_id != older.case_id


def test_two_people_editing_one_case_lose_neither_text(tmp_path: Path) -> None:
    one, two = Store(tmp_path), Store(tmp_path)
    start = one.save("start", name="A")
    one.save("from one", name="A", case_id=start.case_id, base=1)
    late = two.save("from two", name="A", case_id=start.case_id, base=1)
    assert late.overtook == 2
    assert one.text(start.case_id, 2) == "from one"
    assert one.text(start.case_id) == "from two"


@pytest.mark.parametrize("text", ["", "ü \U0001f697\n\r\n\t", "x" * 1_000_000, "a\0b"])
def test_any_text_comes_back_as_it_was(tmp_path: Path, text: str) -> None:
    store = Store(tmp_path)
    assert store.text(store.save(text, name="x").case_id) == text


def test_unknown_case_and_version_are_clear_messages(tmp_path: Path) -> None:
    store = Store(tmp_path)
    case = store.save("one", name="A").case_id
    for wrong in (
        lambda: store.text("nothing"),
        lambda: store.versions("nothing"),
        lambda: store.delete("nothing"),
        lambda: store.save("x", name="x", case_id="nothing"),
        lambda: store.text(case, 7),
        lambda: store.restore(case, 7),
    ):
        with pytest.raises(InputError) as caught:
            wrong()
        assert FILE_NAME in str(caught.value)
        assert "no case" in str(caught.value) or "no version 7" in str(caught.value)


def test_a_failed_write_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    case = store.save("one", name="A").case_id

    def fail(*_: object) -> None:
        raise RuntimeError("cut")

    monkeypatch.setattr(store, "_latest", fail)
    with pytest.raises(RuntimeError):
        store.save("two", name="A", case_id=case)
    assert Store(tmp_path).text(case) == "one"


def test_the_folder_can_be_chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DATA_DIR_VARIABLE, str(tmp_path / "deep" / "er"))
    assert data_folder() == tmp_path / "deep" / "er"
    Store().save("one", name="A")
    assert (tmp_path / "deep" / "er" / FILE_NAME).exists()


def test_a_folder_that_cannot_be_one_is_a_clear_message(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=DATA_DIR_VARIABLE):
        Store(tmp_path / "file" / "folder")


@pytest.mark.parametrize("content", [b"this is no database" * 100, os.urandom(5000), b"\0" * 4096])
def test_a_file_that_is_no_database_is_moved_aside(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    store = Store(tmp_path)
    aside = list(tmp_path.glob(f"{FILE_NAME}.damaged-*"))
    assert len(aside) == 1
    assert aside[0].read_bytes() == content
    assert len(store.messages) == 1
    assert str(aside[0]) in store.messages[0]
    assert store.text(store.save("one", name="A").case_id) == "one"


def test_what_can_be_read_of_a_damaged_file_is_carried_over(tmp_path: Path) -> None:
    store = Store(tmp_path)
    texts = {f"text {number} " + "x" * 3000 for number in range(40)}
    for text in texts:
        store.save(text, name="A")
    with sqlite3.connect(store.path) as db:
        db.execute("pragma wal_checkpoint(truncate)")
        size = db.execute("pragma page_size").fetchone()[0]
    raw = bytearray(store.path.read_bytes())
    middle = len(raw) // size // 2 * size
    raw[middle : middle + size] = b"\xff" * size  # one page in the middle gone
    store.path.write_bytes(raw)
    for ending in ("-wal", "-shm"):
        Path(f"{store.path}{ending}").unlink(missing_ok=True)

    again = Store(tmp_path)

    kept = {again.text(entry.case_id) for entry in again.list()}
    assert again.messages
    assert kept <= texts
    assert len(kept) >= 30


def test_damage_that_appears_in_use_is_a_message_and_the_next_try_works(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save("one", name="A")
    for ending in ("-wal", "-shm"):
        Path(f"{store.path}{ending}").unlink(missing_ok=True)
    store.path.write_bytes(b"gone" * 2000)
    with pytest.raises(InputError, match="damaged"):
        store.save("two", name="B")
    assert store.text(store.save("two", name="B").case_id) == "two"


def _write_many(folder: str, who: int, case_id: str, count: int) -> None:
    store = Store(folder)
    for number in range(count):
        store.save(f"{who} {number}", name=str(who), case_id=case_id)


def test_two_processes_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    case = Store(tmp_path).save("start", name="A").case_id
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_write_many, args=(str(tmp_path), who, case, 25)) for who in range(2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
    assert [writer.exitcode for writer in writers] == [0, 0]
    store = Store(tmp_path)
    versions = store.versions(case)
    assert [version.number for version in versions] == list(range(51, 0, -1))
    kept = {store.text(case, version.number) for version in versions}
    assert kept == {"start"} | {f"{who} {number}" for who in range(2) for number in range(25)}


def test_threads_share_a_store(tmp_path: Path) -> None:
    store = Store(tmp_path)
    case = store.save("start", name="A").case_id
    threads = [threading.Thread(target=_write_many, args=(str(tmp_path), who, case, 10)) for who in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.versions(case)) == 41


def test_two_stores_meeting_a_damaged_file_at_once_keep_one_good_file(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"this is no database" * 100)
    made: list[Store] = []
    threads = [threading.Thread(target=lambda: made.append(Store(tmp_path))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 4
    assert len(list(tmp_path.glob(f"{FILE_NAME}.damaged-*"))) == 1
    case = made[0].save("one", name="A").case_id
    assert {store.text(case) for store in made} == {"one"}
    assert not (tmp_path / f"{FILE_NAME}.moving").exists()
