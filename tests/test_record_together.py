"""Several runs of `estimator record` at one file at once, and the file's own line ends. By hand."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from estimator.case import load_case
from estimator.locks import alone
from tests.command_line import CASE, ROOT, run

PARTS = ("fan-belts", "coolant-hoses", "battery", "brake-fluid")


def test_entries_recorded_at_the_same_time_are_all_kept(tmp_path: Path) -> None:
    """Each run reads, adds and writes: without taking turns all but the last one's entry would be lost."""
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    command = [sys.executable, "-m", "estimator", "record", str(path), "--no-forecast", "--history"]
    runs = [
        subprocess.Popen([*command, "--date", "2020-01-11", "--done", p], cwd=ROOT, stdout=subprocess.DEVNULL)
        for p in PARTS
    ]
    assert [one.wait(timeout=120) for one in runs] == [0] * len(PARTS)
    assert {work.component for work in load_case(path).work} == set(PARTS)
    assert [p.name for p in tmp_path.iterdir()] == ["car.toml"]


def test_one_waits_for_the_other_but_not_for_a_dead_one(tmp_path: Path) -> None:
    lock, told = tmp_path / "lock", []

    def second() -> None:
        with alone(lock, stale_s=60.0):
            told.append("second")

    with alone(lock, stale_s=60.0):
        waiting = threading.Thread(target=second)
        waiting.start()
        time.sleep(0.3)
        told.append("first")
    waiting.join(timeout=60)
    assert told == ["first", "second"]
    lock.touch()
    os.utime(lock, (time.time() - 120, time.time() - 120))
    with alone(lock, stale_s=60.0):
        told.append("third")
    assert told[-1] == "third"
    assert not lock.exists()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_file_keeps_its_line_ends(tmp_path: Path, end: str) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(CASE.replace("\n", end).encode())
    assert run("record", path, "--date", "2026-11-20", "--done", "battery", "--no-forecast") == 0
    written = path.read_bytes().decode()
    assert "battery" in written
    assert written.count("\n") == written.count(end)
    assert written.count("\r") == (written.count("\n") if end == "\r\n" else 0)
