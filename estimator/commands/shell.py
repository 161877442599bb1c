"""What the verbs share: arguments with a message of their own, JSON output, the progress bar."""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from estimator.problems import InputError, Problem
from estimator.report.strict_json import to_json

STDOUT = "-"
FEWEST_DRAWS = 20  # as in estimator.assess, which is not imported to print help


def whole(low: int, high: int) -> Callable[[str], int]:
    """A parser of whole numbers low to high for argparse."""

    def parse(text: str) -> int:
        plain = text.strip().replace("_", "")
        if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", plain):
            plain = plain.replace(",", "")
        digits = plain.removeprefix("-").removeprefix("+")
        value = int(plain) if digits.isascii() and digits.isdigit() and len(digits) < 25 else None
        if value is None or not low <= value <= high:
            shown = text if len(text) <= 40 else text[:40] + "..."
            raise argparse.ArgumentTypeError(
                f"must be a whole number from {low:,} to {high:,}; found {shown!r}"
            )
        return value

    return parse


def figure(text: str) -> float:
    """A number; commas in front of three figures part thousands, nothing else. Not-a-number where it is none."""
    plain = text.strip().replace("_", "")
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?", plain):
        plain = plain.replace(",", "")
    try:
        return float(plain)
    except ValueError:
        return float("nan")


def amount(text: str) -> float:
    """A sum, hours or a distance, 0 or more."""
    value = figure(text)
    if not 0 <= value < 1e12:
        comma = ", decimals with a point" if "," in text else ""
        raise argparse.ArgumentTypeError(f"must be a number, 0 or more{comma}; found {text[:40]!r}")
    return value


def add_case(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", metavar="CASE", help="the case file (TOML; `estimator new` writes one)")


def add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--json",
        metavar="FILE",
        help="write the result as JSON to FILE, or - for the terminal (nothing else then)",
    )


def add_catalogue(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--catalogue",
        metavar="DIR",
        help="a folder of your own TOML files laid over the catalogue that ships",
    )


def add_draws(
    parser: argparse.ArgumentParser,
    *,
    draws: int,
    seed: int,
    most: int,
    of: str = "",
    workers: str = "threads, 1 to 64; the result does not depend on it (default: the machine's cores, two at most)",
) -> None:
    """--draws, --seed, --workers with these defaults; `of` says what the draws are of, `workers` what works."""
    parser.add_argument(
        "--draws",
        type=whole(FEWEST_DRAWS, most),
        default=draws,
        metavar="N",
        help=f"simulated cars{of}, {FEWEST_DRAWS} to {most:,} (default {draws:,})",
    )
    parser.add_argument(
        "--seed",
        type=whole(0, 2**63 - 1),
        default=seed,
        metavar="N",
        help=f"start of the random numbers: same seed, same result (default {seed})",
    )
    parser.add_argument(
        "--workers",
        type=whole(1, 64),
        default=None,
        metavar="N",
        help=workers,
    )


def check_target(target: str | None, *, inputs: tuple[str, ...] = ()) -> None:
    """Refuse an output file that cannot be written or would overwrite an input, before any long work.

    Raises
    ------
    InputError
        Naming the file and what is wrong.
    """
    if target is None or target == STDOUT:
        return
    path = Path(target)
    try:
        for given in inputs:
            if path.exists() and Path(given).exists() and path.samefile(given):
                raise _refused(target, "is the file that is read; give the result another name")
        if path.is_dir():
            raise _refused(target, "is a folder; a file name is wanted")
        if not path.parent.is_dir():
            raise _refused(target, f"there is no folder {path.parent}")
        if path.exists() and not os.access(path, os.W_OK):
            raise _refused(target, "may not be written (permission denied)")
        if not path.exists() and not os.access(path.parent, os.W_OK):
            raise _refused(target, f"nothing may be written in {path.parent} (permission denied)")
    except (OSError, ValueError) as error:  # a name too long, a NUL in it
        raise _refused(target, getattr(error, "strerror", None) or str(error)) from None


def check_apart(targets: Mapping[str, str | None]) -> None:
    """Refuse one file for two results, however its name is written: the later would overwrite the earlier.

    targets : argument -> what was given; None is nothing, - the terminal.

    Raises
    ------
    InputError
        Naming the file and both arguments.
    """
    seen: dict[str, str] = {}
    for argument, target in targets.items():
        if target is None or target == STDOUT:
            continue
        path = Path(os.path.realpath(target))
        name = str(path)
        if path.exists():
            stat = path.stat()
            name = f"{stat.st_dev}:{stat.st_ino}"  # two names of one file
        if name in seen and not _is_device(path):
            raise _refused(target, f"cannot be {seen[name]} and {argument} at once; give one another name")
        seen[name] = argument


def _is_device(path: Path) -> bool:
    """Whether it is there and no ordinary file: a device takes both."""
    return path.exists() and not path.is_file()


def write_json(target: str | None, data: dict[str, Any]) -> None:
    """Write a result as JSON where --json said; nothing where it was not given."""
    if target == STDOUT:
        print(to_json(data))
    elif target is not None:
        write_text(target, to_json(data) + "\n")


def write_text(target: str, text: str) -> None:
    """Write a text file (UTF-8, rows ended by a line feed) as `write_bytes` does."""
    write_bytes(target, text.encode("utf-8"))


def write_bytes(target: str, content: bytes) -> None:
    """Write a file whole or not at all; one that cannot be replaced (a device, a pipe) is written into.

    Raises
    ------
    InputError
        Where that fails, naming the file.
    """
    path = Path(target)
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(content)
            return
        place = Path(os.path.realpath(path))
        if not os.access(place.parent, os.W_OK):
            place.write_bytes(content)
            return
        handle, part = tempfile.mkstemp(dir=place.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            os.chmod(part, place.stat().st_mode & 0o777 if place.exists() else 0o666 & ~_umask())
            os.replace(part, place)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise
    except BrokenPipeError:
        raise
    except (OSError, ValueError) as error:
        raise _refused(target, f"cannot be written ({getattr(error, 'strerror', None) or error})") from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refused(target: str, text: str) -> InputError:
    return InputError(Problem(target, None, "", text))


class ProgressBar:
    """A bar on stderr while something long runs; silent unless both stdout and stderr are terminals.

    Call it with the share done, 0 to 1; use it in a `with`, which takes the bar away again.
    """

    WIDTH = 30

    def __init__(self, label: str) -> None:
        self._label = label
        self._live = all(stream is not None and stream.isatty() for stream in (sys.stdout, sys.stderr))
        self._drawn = -1

    def __enter__(self) -> ProgressBar:
        self(0.0)
        return self

    def __call__(self, share: float) -> None:
        steps = int(share * self.WIDTH)
        if not self._live or steps == self._drawn:
            return
        self._drawn = steps
        bar = "#" * steps + "." * (self.WIDTH - steps)
        sys.stderr.write(f"\r{self._label} [{bar}] {share:4.0%}")
        sys.stderr.flush()

    def __exit__(self, *_: object) -> None:
        if self._live:
            sys.stderr.write("\r" + " " * (len(self._label) + self.WIDTH + 8) + "\r")
            sys.stderr.flush()
