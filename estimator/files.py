"""Reading the TOML files people write: one clear message a fault, with file, line and key.

`read_toml` turns a file into a `Document` (plain data plus the line every key stands on);
`validate` turns a document into a pydantic model and every fault in it into a `Problem` in
plain words, all of them at once. Nothing here knows what a case or a catalogue is.
"""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

from estimator.file_models import Day, Flag, Number, Record, Text, Whole, check_model, validate
from estimator.problems import Document, InputError, Problem, key_text, listed, nearest, shown
from estimator.toml_lines import KeyPath, LazyLines

__all__ = [
    "MAX_BYTES",
    "Day",
    "Document",
    "Flag",
    "InputError",
    "KeyPath",
    "Number",
    "Problem",
    "Record",
    "Text",
    "Whole",
    "check_model",
    "decode_text",
    "key_text",
    "listed",
    "nearest",
    "parse_toml",
    "read_bytes",
    "read_toml",
    "shown",
    "validate",
]

MAX_BYTES = 2_000_000


def read_toml(path: str | os.PathLike[str], *, max_bytes: int = MAX_BYTES) -> Document:
    """Read a TOML file.

    Raises InputError for a missing file, a directory, an empty, binary, non-UTF-8 or too large
    file, and for TOML that cannot be parsed (with its line).
    """
    name = os.fspath(path)
    return parse_toml(decode_text(read_bytes(path, max_bytes=max_bytes), name), name)


def read_bytes(path: str | os.PathLike[str], *, max_bytes: int = MAX_BYTES) -> bytes:
    """Bytes of a file of at most `max_bytes`; InputError saying why otherwise."""
    name = os.fspath(path)
    try:
        if Path(name).is_dir():
            raise _refused(name, "is a folder, not a file" + _toml_inside(Path(name)))
        with open(name, "rb") as stream:
            raw = stream.read(max_bytes + 1)
            size = max(os.fstat(stream.fileno()).st_size, len(raw))
    except FileNotFoundError:
        raise _refused(name, "there is no such file" + _similar_file(Path(name))) from None
    except PermissionError:
        raise _refused(name, "the file may not be read (permission denied)") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise _refused(name.replace("\0", "\\0"), f"the file cannot be read ({reason})") from None
    if len(raw) > max_bytes:
        raise _refused(
            name,
            f"the file is too large: found {_size(size)}; allowed at most {_size(max_bytes)}. "
            "Is it the right file?",
        )
    return raw


def decode_text(raw: bytes, name: str) -> str:
    """UTF-8 text of a file's bytes; InputError when it is empty, binary or in another encoding."""
    if not raw.strip(b" \t\r\n\xef\xbb\xbf"):
        raise _refused(name, "the file is empty. `estimator new` writes one to start from")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _refused(name, "the file is saved as UTF-16; save it again as plain text in UTF-8")
    if b"\0" in raw:
        raise _refused(name, "this is a binary file, not text; a plain text file in TOML is wanted")
    try:
        return raw.decode("utf-8-sig")  # some editors put a byte order mark in front
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        text = f"not UTF-8 text: found byte 0x{raw[error.start]:02x}; save the file again as UTF-8"
        raise InputError(Problem(name, line, "", text)) from None


def parse_toml(text: str, name: str) -> Document:
    """Parse TOML text; `name` is what messages call it. Raises InputError."""
    if not text.strip():
        raise _refused(name, "the file is empty. `estimator new` writes one to start from")
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise _refused(name, "lists or tables are nested too deeply to be read") from None
    except ValueError as error:  # TOMLDecodeError, and Python's limit on digits in a number
        raise InputError(_syntax_problem(str(error), text, name)) from None
    return Document(name, data, LazyLines(text), text)


def _refused(name: str, text: str) -> InputError:
    return InputError(Problem(name, None, "", text))


def _syntax_problem(message: str, text: str, name: str) -> Problem:
    place = re.search(r"\s*\(at line (\d+), column (\d+)\)", message)
    rows = text.splitlines()
    line = int(place.group(1)) if place else max(1, len(rows))
    bare = re.sub(r"\s*\(at [^)]*\)", "", message).strip().rstrip(".")
    bare = "a number of too many digits" if "digits" in bare else bare[:1].lower() + bare[1:]
    row = rows[line - 1].strip() if 0 < line <= len(rows) else ""
    found = f"; found {row[:60]}{'…' if len(row) > 60 else ''}" if row else ""
    return Problem(name, line, "", f"this is not valid TOML: {bare}{found}; {_syntax_cure(bare, row)}")


def _syntax_cure(message: str, row: str) -> str:
    value = row.partition("=")[2].strip()
    if "digits" in message:
        return "no number in these files is that long"
    if "overwrite" in message or "twice" in message or "already" in message:
        return "a key or table may stand only once; for several entries write [[work]] in double brackets"
    if re.match(r"\d{1,2}[./-]\d{1,2}[./-]\d{2,4}", value) or re.match(r"\d{4}[./]\d{1,2}", value):
        return "write dates as year-month-day, 1998-06-11"
    if re.match(r"\d+,\d", value):
        return "write decimals with a point and thousands without a mark"
    if re.match(r"(nan|[+-]?inf|true|false)$", value, re.IGNORECASE):
        return "write yes or no as true or false, in small letters"
    if "date" in message:
        return "no such day; write dates as year-month-day, 1998-06-11"
    return 'write text in "quotes", dates as 1998-06-11, decimals with a point, yes and no as true and false'


def _size(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size:,} bytes"


def _similar_file(path: Path) -> str:
    try:
        folder = path.parent if str(path.parent) else Path()
        if not folder.is_dir():
            return f" (nor a folder {folder})"
        close = nearest(path.name, [one.name for one in folder.iterdir()], cutoff=0.75)
    except OSError:
        return ""
    return f"; is {folder / close} meant?" if close else ""


def _toml_inside(folder: Path) -> str:
    try:
        names = sorted(one.name for one in folder.iterdir() if one.suffix == ".toml")
    except OSError:
        return ""
    return f"; inside it there are {listed(names, most=4)}" if names else ""
