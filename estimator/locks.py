"""One process at a time at a file: a lock file beside it, taken over when whoever made it has died."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

WAIT_S = 0.05


@contextlib.contextmanager
def alone(lock: Path, *, stale_s: float) -> Iterator[None]:
    """Hold the lock file while the block runs; wait for others, but not for a lock older than `stale_s`.

    Raises
    ------
    OSError
        Where the file cannot be made.
    """
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError:
            with contextlib.suppress(FileNotFoundError):  # let go of in the meantime
                if time.time() - lock.stat().st_mtime > stale_s:
                    lock.unlink()
            time.sleep(WAIT_S)
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
