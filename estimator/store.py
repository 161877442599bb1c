"""Everything ever entered, kept: every version of every case in one SQLite file in the user's data folder.

Texts are stored as they are, wrong or right, so nothing typed is lost to a fault in it. Deleting hides.
Each call opens its own connection, writes are single transactions: several processes and threads may
use the file at once. A damaged file is moved aside, what can still be read of it is carried over, and
`Store.messages` says so.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import sqlite3
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import platformdirs

from estimator.files import InputError, Problem
from estimator.locks import alone

DATA_DIR_VARIABLE = "ESTIMATOR_DATA_DIR"
FILE_NAME = "cases.sqlite"
BUSY_S = 10.0

Kind = Literal["saved", "auto", "restored", "imported"]

_SCHEMA = """
create table if not exists cases (
    id text primary key, created text not null, hidden text
);
create table if not exists versions (
    case_id text not null references cases(id), number integer not null, saved text not null,
    kind text not null, name text not null, body text not null, primary key (case_id, number)
);
"""


@dataclass(frozen=True, slots=True)
class Version:
    """One kept state of a case: number counts from 1 within the case; times are UTC."""

    case_id: str
    number: int
    saved: datetime.datetime
    kind: str
    name: str
    overtook: int | None = None  # the version somebody else saved meanwhile; it is kept too


@dataclass(frozen=True, slots=True)
class Entry:
    """One case in the list: its latest name, when it was last saved, how many versions there are."""

    case_id: str
    name: str
    created: datetime.datetime
    saved: datetime.datetime
    versions: int
    hidden: bool


def data_folder() -> Path:
    """Where a user's cases lie: ESTIMATOR_DATA_DIR, else the usual place for a program's data."""
    chosen = os.environ.get(DATA_DIR_VARIABLE)
    return (
        Path(chosen).expanduser()
        if chosen
        else Path(platformdirs.user_data_dir("estimator", appauthor=False))
    )


class Store:
    """The cases of one user.

    Parameters
    ----------
    folder : where the file lies, created if need be; by default `data_folder()`.

    Raises
    ------
    InputError
        When the folder or the file in it cannot be written.
    """

    def __init__(self, folder: str | os.PathLike[str] | None = None) -> None:
        self.folder = Path(folder) if folder is not None else data_folder()
        self.path = self.folder / FILE_NAME
        self.messages: list[str] = []
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise self._refused(error) from None
        self._open()

    # --- writing ---------------------------------------------------------------------------

    def save(
        self,
        text: str,
        *,
        name: str,
        case_id: str | None = None,
        kind: Kind = "saved",
        base: int | None = None,
    ) -> Version:
        """Keep a text as the newest version of a case (a new case without `case_id`).

        A text equal to the newest version adds nothing; a new one brings a deleted case back. base: the version the
        text was made from; when somebody saved another in between, both are kept and `overtook` names theirs.
        Raises InputError for an unknown `case_id`.
        """
        with self._writing() as db:
            if case_id is None:
                case_id = uuid.uuid4().hex
                db.execute("insert into cases values (?, ?, null)", (case_id, _now()))
            else:
                self._known(db, case_id)
            latest = self._latest(db, case_id)
            if latest is not None and latest[1] == text:
                return self._version(db, case_id, latest[0])
            number = 1 if latest is None else latest[0] + 1
            row = (case_id, number, _now(), kind, name, text)
            db.execute("insert into versions values (?, ?, ?, ?, ?, ?)", row)
            db.execute("update cases set hidden = null where id = ?", (case_id,))
            overtook = None if latest is None or base is None or base >= latest[0] else latest[0]
            saved = datetime.datetime.fromisoformat(row[2])
            return Version(case_id, number, saved, kind, name, overtook)

    def autosave(
        self, text: str, *, name: str, case_id: str | None = None, base: int | None = None
    ) -> Version:
        """`save`, marked as done by the program and not by hand."""
        return self.save(text, name=name, case_id=case_id, kind="auto", base=base)

    def restore(self, case_id: str, number: int) -> Version:
        """Make an earlier version the newest again; the ones after it stay. Raises InputError."""
        text = self.text(case_id, number)
        name = next(one.name for one in self.versions(case_id) if one.number == number)
        return self.save(text, name=name, case_id=case_id, kind="restored")

    def delete(self, case_id: str) -> None:
        """Take a case out of the list. Nothing is lost: `bring_back` undoes it. Raises InputError."""
        self._hide(case_id, _now())

    def bring_back(self, case_id: str) -> None:
        """Undo `delete`. Raises InputError."""
        self._hide(case_id, None)

    # --- reading ---------------------------------------------------------------------------

    def list(self, *, hidden: bool = False) -> tuple[Entry, ...]:
        """The cases, last saved first; with `hidden` the deleted ones too."""
        query = """
            select c.id, v.name, c.created, v.saved, v.number, c.hidden from cases c
            join versions v on v.case_id = c.id
            where v.number = (select max(number) from versions where case_id = c.id)
            order by v.saved desc, c.id
        """
        with self._reading() as db:
            rows = db.execute(query).fetchall()
        when = datetime.datetime.fromisoformat
        return tuple(
            Entry(row[0], row[1], when(row[2]), when(row[3]), row[4], row[5] is not None)
            for row in rows
            if hidden or row[5] is None
        )

    def versions(self, case_id: str) -> tuple[Version, ...]:
        """Every version of a case, newest first. Raises InputError."""
        query = "select number, saved, kind, name from versions where case_id = ? order by number desc"
        with self._reading() as db:
            self._known(db, case_id)
            rows = db.execute(query, (case_id,)).fetchall()
        return tuple(
            Version(case_id, row[0], datetime.datetime.fromisoformat(row[1]), row[2], row[3]) for row in rows
        )

    def text(self, case_id: str, number: int | None = None) -> str:
        """The text of a version, by default the newest. Raises InputError."""
        query = "select body from versions where case_id = ? and number = coalesce(?, "
        query += "(select max(number) from versions where case_id = ?))"
        with self._reading() as db:
            self._known(db, case_id)
            row = db.execute(query, (case_id, number, case_id)).fetchone()
        if row is None:
            raise InputError(Problem(str(self.path), None, "", f"this case has no version {number}"))
        return str(row[0])

    # --- within ----------------------------------------------------------------------------

    def _hide(self, case_id: str, when: str | None) -> None:
        with self._writing() as db:
            self._known(db, case_id)
            db.execute("update cases set hidden = ? where id = ?", (when, case_id))

    def _known(self, db: sqlite3.Connection, case_id: str) -> None:
        if db.execute("select 1 from cases where id = ?", (case_id,)).fetchone() is None:
            raise InputError(Problem(str(self.path), None, "", f"there is no case {case_id!r} here"))

    def _latest(self, db: sqlite3.Connection, case_id: str) -> tuple[int, str] | None:
        query = "select number, body from versions where case_id = ? order by number desc limit 1"
        row = db.execute(query, (case_id,)).fetchone()
        return None if row is None else (int(row[0]), str(row[1]))

    def _version(self, db: sqlite3.Connection, case_id: str, number: int) -> Version:
        query = "select saved, kind, name from versions where case_id = ? and number = ?"
        saved, kind, name = db.execute(query, (case_id, number)).fetchone()
        return Version(case_id, number, datetime.datetime.fromisoformat(saved), kind, name)

    def _connect(self) -> sqlite3.Connection:
        db = sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)
        db.execute("pragma foreign_keys = on")
        db.execute("pragma synchronous = full")  # a text once shown as saved survives a power cut
        return db

    def _open(self) -> None:
        try:
            self._prepare()
        except sqlite3.DatabaseError as error:
            if not _damaged(error):
                raise self._refused(error) from None
            self._set_aside()

    def _prepare(self) -> None:
        with contextlib.closing(self._connect()) as db:
            db.execute("pragma journal_mode = wal")
            faults = db.execute("pragma quick_check(1)").fetchone()
            if faults is None or faults[0] != "ok":
                raise _Damaged(str(faults))
            db.executescript(_SCHEMA)

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._guarded(), contextlib.closing(self._connect()) as db:
            yield db

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._guarded(), contextlib.closing(self._connect()) as db:
            db.execute("begin immediate")  # the number of the next version is read and used in one go
            try:
                yield db
            except BaseException:
                db.execute("rollback")
                raise
            db.execute("commit")

    @contextlib.contextmanager
    def _guarded(self) -> Iterator[None]:
        """Damage met in use: the file is moved aside at once, the caller may simply try again."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            if _damaged(error) or "no such table" in str(error):
                self._set_aside()
                raise InputError(
                    Problem(str(self.path), None, "", self.messages[-1] + " Try again.")
                ) from None
            raise self._refused(error) from None

    def _refused(self, error: Exception) -> InputError:
        text = f"cases cannot be kept in this folder ({error}); set {DATA_DIR_VARIABLE} to another one"
        return InputError(Problem(str(self.folder), None, "", text))

    # --- a damaged file --------------------------------------------------------------------

    def _set_aside(self) -> None:
        """Move a damaged file away under a name of its own and start afresh with what can be read of it."""
        with self._alone():
            try:  # another process may have done it already
                self._prepare()
                return
            except sqlite3.DatabaseError as error:
                if not _damaged(error):
                    raise self._refused(error) from None
            stamp = f"{datetime.datetime.now():%Y%m%d-%H%M%S}-{os.getpid()}"
            aside = self.path.with_name(f"{FILE_NAME}.damaged-{stamp}")
            cases, versions = _readable(self.path)
            for ending in ("", "-wal", "-shm"):
                with contextlib.suppress(FileNotFoundError):
                    os.replace(f"{self.path}{ending}", f"{aside}{ending}")
            self._prepare()
            with contextlib.closing(self._connect()) as db:
                db.execute("begin immediate")
                db.executemany("insert or ignore into cases values (?, ?, ?)", cases)
                db.executemany("insert or ignore into versions values (?, ?, ?, ?, ?, ?)", versions)
                db.execute("commit")
        kept = (
            f"{len(versions)} saved versions could be read and are here"
            if versions
            else "nothing in it could be read"
        )
        self.messages.append(f"The file with your cases was damaged. It was moved to {aside}; {kept}.")

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """Only one process at a time sets a file aside."""
        with contextlib.ExitStack() as held:
            try:
                held.enter_context(alone(self.path.with_name(f"{FILE_NAME}.moving"), stale_s=BUSY_S))
            except OSError as error:
                raise self._refused(error) from None
            yield


class _Damaged(sqlite3.DatabaseError):
    """SQLite's own check found the file damaged."""


def _damaged(error: sqlite3.DatabaseError) -> bool:
    codes = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
    code = getattr(error, "sqlite_errorcode", None)
    return isinstance(error, _Damaged) or (code is not None and code & 0xFF in codes)


def _readable(path: Path) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    """Rows of the two tables that can still be read, row by row, of a damaged file."""
    found: dict[str, list[tuple[object, ...]]] = {"cases": [], "versions": []}
    for table, rows in found.items():
        try:
            with contextlib.closing(sqlite3.connect(path, timeout=BUSY_S)) as db:
                last = db.execute(f"select max(rowid) from {table}").fetchone()[0] or 0
                for row in range(1, last + 1):
                    with contextlib.suppress(sqlite3.DatabaseError):
                        rows.extend(db.execute(f"select * from {table} where rowid = ?", (row,)))
        except sqlite3.DatabaseError:
            continue
    known = {row[0] for row in found["cases"]}
    orphans = {row[0]: row[2] for row in found["versions"] if row[0] not in known}
    found["cases"].extend((case_id, saved, None) for case_id, saved in orphans.items())
    return found["cases"], found["versions"]


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="microseconds")
