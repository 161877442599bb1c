"""The read and checked catalogue, kept between runs in the user's cache folder.

Reading and checking every file takes about a third of a second, taking it from here a tenth of that.
What is kept belongs to exactly these files, this code and these libraries (`stamp_of`); anything that
goes wrong here is as if nothing had been kept. ESTIMATOR_NO_CACHE=1 switches it off.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import platformdirs
import pydantic

KEPT = 6  # catalogues kept before the oldest go


def stamp_of(folders: Iterable[tuple[Path, Iterable[Path]]]) -> str:
    """Text that changes when a file of the catalogue, this code or a library it rests on changes."""
    digest = hashlib.sha256(f"{sys.version}|{pydantic.VERSION}|{os.sep}".encode())
    code = Path(__file__).resolve().parent
    for folder, paths in [(code, sorted(code.glob("*.py"))), *folders]:
        digest.update(os.fspath(folder.absolute()).encode("utf-8", "surrogateescape"))
        for path in paths:
            with contextlib.suppress(OSError):
                found = path.stat()
                digest.update(f"|{path.name}|{path.parent.name}|{found.st_size}|{found.st_mtime_ns}".encode())
    return digest.hexdigest()[:40]


def recall(stamp: str) -> Any:
    """What was kept under this stamp, or None."""
    if _off():
        return None
    try:
        path = _place(stamp)
        if not _ours(path) or not _ours(path.parent):
            return None
        return pickle.loads(path.read_bytes())
    except Exception:
        return None


def keep(stamp: str, parts: Any) -> None:
    """Keep it for the next run, if that is possible."""
    if _off():
        return
    with contextlib.suppress(Exception):
        path = _place(stamp)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _ours(path.parent):
            return
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                pickle.dump(parts, stream, protocol=5)
            os.replace(name, path)  # whole or not at all, whoever else writes at the same time
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _tidy(path.parent)


def _off() -> bool:
    return os.environ.get("ESTIMATOR_NO_CACHE", "") not in ("", "0")


def _place(stamp: str) -> Path:
    return Path(platformdirs.user_cache_dir("estimator", appauthor=False)) / f"catalogue-{stamp}.pickle"


def _ours(path: Path) -> bool:
    """Whether nobody but this user can have written it: a pickle is only safe from one's own hand."""
    found = path.stat()
    if not hasattr(os, "getuid"):
        return True  # the cache folder lies in the user's own profile there
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def _tidy(folder: Path) -> None:
    kept = sorted(folder.glob("catalogue-*.pickle"), key=lambda p: p.stat().st_mtime, reverse=True)
    for old in kept[KEPT:]:
        old.unlink(missing_ok=True)
