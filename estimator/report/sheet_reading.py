"""Findings a phone hands back: its file or pasted text read, and put into a case without losing anything.

    read = read_sheet(text, catalogue)                       # InputError says what cannot be read, with its line
    joined = joined_case(case, read, catalogue)              # a Case; what was added, changed and there already
    text = edit_case_text(text_of_the_case, joined.case)     # keeps every comment of the case file

The text is TOML with the [[finding]] tables of a case file, so a part of it may be pasted as well. What messengers
and mail do to text (curly quotation marks, hard spaces, quote marks before each line, code fences) is put right first.
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from estimator.case import Case, Finding, recheck
from estimator.casefile.against import unknown_id
from estimator.casefile.words import result_words
from estimator.files import Day, Document, InputError, Problem, Text, Whole, check_model, parse_toml, shown
from estimator.record import moved_on
from estimator.report.sheet_content import car_key

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue
    from estimator.catalogue.records import Check

PASTED = "the sheet's findings"
MOST = 1_000_000  # characters: a sheet with every check answered and noted has a tenth of it
_STRICT = ConfigDict(extra="forbid")
Line = Annotated[Text, Field(max_length=20_000)]


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Handed:
    """[sheet]: which car the sheet was made for (key, car), when it was handed back, and what is no finding."""

    key: Line = ""
    car: Line = ""
    made: Day | None = None
    note: Line = ""
    tyres: Line = ""
    not_examined: tuple[Line, ...] = ()
    pictures: tuple[Line, ...] = ()
    unread: tuple[Line, ...] = ()


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class _Form:
    format: Whole = 1
    sheet: Handed = Handed()
    finding: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetReading:
    """What a sheet handed back. remark: all that is no finding, as one text for the car's note ("" when nothing)."""

    sheet: Handed
    findings: tuple[Finding, ...]
    remark: str


@dataclass(frozen=True, slots=True)
class Joined:
    """A case with a sheet's findings in it; added, changed and same are the ids of their checks.

    other_car: the name on the sheet, where it was made for another car than this one, else "". notes: what else moved.
    """

    case: Case
    added: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]
    other_car: str = ""
    notes: tuple[str, ...] = ()


def findings_from_sheet(
    text: str, catalogue: Catalogue | None = None, *, name: str = PASTED
) -> tuple[Finding, ...]:
    """The findings of a sheet's file or pasted text.

    Raises
    ------
    InputError
        As `read_sheet`.
    """
    return read_sheet(text, catalogue, name=name).findings


def read_sheet(text: str, catalogue: Catalogue | None = None, *, name: str = PASTED) -> SheetReading:
    """All that a sheet's file or pasted text says.

    Parameters
    ----------
    catalogue : with it the checks' ids are verified, too.
    name : what messages call the text.

    Raises
    ------
    InputError
        Naming line, key, what was found and what is allowed: for text that is no TOML, keys and values that cannot
        be, checks that do not exist, and text without anything in it.
    """
    if len(text) > MOST:
        raise InputError(
            Problem(
                name, None, "", f"is too long for a sheet: found {len(text):,} characters; allowed {MOST:,}"
            )
        )
    document = _parsed(text, name)
    form, problems = check_model(document, _Form)
    if form is None:
        raise InputError(problems)
    faults = [*problems, *_faults(form.finding, document, catalogue)]
    if form.format != 1:
        faults.append(document.problem(("format",), f"must be 1: found {shown(form.format)}"))
    read = SheetReading(form.sheet, form.finding, _remark(form.sheet))
    if not faults and not read.findings and not read.remark:
        faults.append(
            Problem(name, None, "", "holds no findings: nothing was ticked, or only a part was copied")
        )
    if faults:
        raise InputError(faults)
    return read


def _parsed(text: str, name: str) -> Document:
    """The text as it stands; where that is no TOML, with what messengers do to text put right."""
    try:
        return parse_toml(text, name)
    except InputError as error:
        mended = _mended(text)
        if not mended.strip():
            raise
        try:
            return parse_toml(mended, name)
        except InputError:
            raise error from None  # its line is the line in what was pasted


_CURLY = str.maketrans(dict.fromkeys("“”„«»", '"'))
_SPACES = str.maketrans(dict.fromkeys("\u00a0\u202f\ufeff", " "))
_ROW = re.compile(r"\s*(#|\[\[?[a-z]+\]?\]|[a-z_]+\s*=|$)")


def _mended(text: str) -> str:
    """Only the rows a sheet writes, without quote marks before them, with plain spaces and quotation marks."""
    rows = [re.sub(r"^(?:\s*[>|])+\s?", "", row) for row in text.translate(_SPACES).splitlines()]
    return "\n".join(_plain_quotes(row) for row in rows if _ROW.match(row)) + "\n"


def _plain_quotes(row: str) -> str:
    """Curly quotation marks around a value made plain; those inside a note that is quoted plainly stay."""
    return row if '"' in row else row.translate(_CURLY)


def _faults(findings: tuple[Finding, ...], document: Document, catalogue: Catalogue | None) -> list[Problem]:
    faults = []
    for index, finding in enumerate(findings):
        if (finding.result is None) == (finding.value is None):
            both = "both" if finding.result is not None else "neither"
            text = f"needs either result or value (a reading); found {both}"
            faults.append(document.problem(("finding", index), text))
        if catalogue is not None and finding.check not in catalogue.checks:
            text = unknown_id(finding.check, catalogue.checks, what="check")
            faults.append(document.problem(("finding", index, "check"), text))
    return faults


def _remark(sheet: Handed) -> str:
    """What was noted beside the findings, as the sentences that go into the car's note."""
    said = [sheet.note.strip()]
    for label, rows in (
        ("Not examined", sheet.not_examined),
        ("Tyres", (sheet.tyres,) if sheet.tyres else ()),
        ("Pictures taken", sheet.pictures),
        ("Noted without an answer", sheet.unread),
    ):
        if rows:
            said.append(f"{label}: {'; '.join(rows)}.")
    return "\n".join(one for one in said if one)


def joined_case(
    case: Case, read: SheetReading, catalogue: Catalogue | None = None, *, name: str = PASTED
) -> Joined:
    """A case with what a sheet handed back.

    A finding of the same check, side, day, viewer and manner as one in the case takes its place, and its note says
    what stood there before; an equal one changes nothing; all others are added. The sheet's remark is added to the
    car's note unless it is there already. Once the car is bought, the day everything is computed as of moves on with
    the findings. Reading the same sheet in again changes nothing.

    Raises
    ------
    InputError
        If the case would not hold together with them: a reading that cannot be, a check that needs a reading ...
    """
    findings, added, changed, same = merged_findings(case, read.findings, catalogue)
    remark = read.remark if read.remark and read.remark not in case.car.note else ""
    note = "\n".join(one for one in (case.car.note, remark) if one)
    car = case.car if not remark else dataclasses.replace(case.car, note=note)
    moved, notes = moved_on(case, [finding.date for finding in read.findings])
    whole = dataclasses.replace(moved, car=car, finding=findings)
    sheet = read.sheet
    other = sheet.car if sheet.key and sheet.key != car_key(case) and sheet.car != case.name else ""
    return Joined(recheck(whole, name, catalogue), added, changed, same, other, tuple(notes))


def merged_findings(
    case: Case, new: tuple[Finding, ...], catalogue: Catalogue | None = None
) -> tuple[tuple[Finding, ...], tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """(the case's findings with the new ones in, ids added, ids changed, ids that were there already)."""
    every = list(case.finding)
    added, changed, same = [], [], []
    for finding in new:
        place = next(
            (i for i, old in enumerate(every) if _identity(old, case) == _identity(finding, case)), None
        )
        if place is None:
            every.append(finding)
            added.append(finding.check)
        elif _answer(every[place]) == _answer(finding) and finding.note in every[place].note:
            same.append(finding.check)
        else:
            check = None if catalogue is None else catalogue.checks.get(finding.check)
            every[place] = _in_place_of(every[place], finding, check)
            changed.append(finding.check)
    return tuple(every), tuple(added), tuple(changed), tuple(same)


def _identity(finding: Finding, case: Case) -> tuple[object, ...]:
    return (
        finding.check, finding.side, finding.date or case.car.viewed, finding.by or case.car.viewer, finding.how
    )  # fmt: skip


def _answer(finding: Finding) -> tuple[object, ...]:
    return finding.result, finding.value, finding.sure, finding.badly


def _in_place_of(old: Finding, new: Finding, check: Check | None) -> Finding:
    """The new finding; its note keeps the old note and, in the check's words, the old answer where they differ."""
    notes = [new.note]
    if old.note and old.note not in new.note:
        notes.append(old.note)
    if (old.result, old.value) != (new.result, new.value):
        before = f"{old.value:g}" if old.value is not None else result_words(old.result or "", check)
        notes.append(f"before: {before}")
    return dataclasses.replace(new, note="; ".join(one for one in notes if one), date=new.date or old.date)
