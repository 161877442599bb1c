"""One car under consideration: what the buyer writes down, checked, frozen and ready to compute with.

    case = load_case("saloon.toml", catalogue)      # InputError names every fault, file and line
    text = dump_case(case)                          # parse_case(dump_case(case), ...) == case
    text = edit_case_text(text, changed_case)       # keeps the comments of the text it edits

The records are in `estimator.casefile.records`; each attribute of a Case is named like its table in
the file (`case.work` is the tuple of all [[work]]).
"""

from __future__ import annotations

import dataclasses
import datetime
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from estimator.casefile import history, sense
from estimator.casefile.against import check_against
from estimator.casefile.defaults import DefaultUsed, completed, defaults_used, keys_of, written
from estimator.casefile.lists import case_documents, history_document
from estimator.casefile.records import (
    LISTS,
    TABLES,
    Bought,
    Car,
    CaseForm,
    Coverage,
    Finding,
    Lived,
    MoneySettings,
    OdometerReplaced,
    Quote,
    Reading,
    Spare,
    Test,
    Warranty,
    Work,
    file_data,
)
from estimator.casefile.salvage import in_order, readable_rest
from estimator.casefile.text import dump_data, edit_text
from estimator.casefile.words import km, years_between
from estimator.files import Document, InputError, KeyPath, Problem, check_model, parse_toml, read_toml

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue

__all__ = [
    "Bought",
    "Car",
    "Case",
    "Coverage",
    "DefaultUsed",
    "Finding",
    "Lived",
    "MoneySettings",
    "OdometerReplaced",
    "Quote",
    "Reading",
    "Spare",
    "Test",
    "Warranty",
    "Work",
    "case_data",
    "case_from_data",
    "cases_from_csv",
    "check_against",
    "dump_case",
    "edit_case_text",
    "load_case",
    "parse_case",
    "recheck",
    "with_history_csv",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One car as written down. Frozen and hashable; warnings take no part in comparison.

    given: the keys that were written down, of those whose defaults move a price ("car.storage"; of lists,
    "work.evidence", when every entry has it): what differs from its default is always among them.
    warnings: doubts met while reading.
    """

    car: Car
    money: MoneySettings
    bought: Bought | None = None
    warranty: Warranty | None = None
    reading: tuple[Reading, ...] = ()
    odometer_replaced: tuple[OdometerReplaced, ...] = ()
    lived: tuple[Lived, ...] = ()
    test: tuple[Test, ...] = ()
    coverage: tuple[Coverage, ...] = ()
    work: tuple[Work, ...] = ()
    finding: tuple[Finding, ...] = ()
    quote: tuple[Quote, ...] = ()
    spare: tuple[Spare, ...] = ()
    given: frozenset[str] = frozenset()
    warnings: tuple[Problem, ...] = dataclasses.field(default=(), compare=False, repr=False)
    format: int = 1

    def __post_init__(self) -> None:
        for name in LISTS:
            object.__setattr__(self, name, tuple(getattr(self, name)))
        object.__setattr__(self, "given", completed(self, self.given))

    @property
    def name(self) -> str:
        """What the car is called, never empty."""
        return self.car.name or "this car"

    @property
    def today(self) -> datetime.date:
        """The day everything is computed as of: car.viewed; once bought, bought.as_of or its default."""
        return history.today(_form(self))

    @property
    def age_years(self) -> float:
        """Years from `built` to `today`."""
        return years_between(self.car.built, self.today)

    @property
    def imported(self) -> bool:
        """Whether the car was made for another market than the country it is in; False where either is not said."""
        return bool(self.car.market and self.car.country and self.car.market != self.car.country)

    @property
    def odometer_km(self) -> float:
        """What the odometer showed at the viewing, km."""
        return km(self.car.odometer, self.car.unit)

    @property
    def annual_km(self) -> float | None:
        """Planned yearly distance, km; None: what cars of this age usually do."""
        planned = self.money.annual_distance
        return None if planned is None else km(planned, self.car.unit)

    @property
    def dated_readings(self) -> tuple[history.DatedReading, ...]:
        """Every dated odometer reading, km, in order of date, replaced odometers added."""
        return history.dated_readings(_form(self))

    @property
    def defaults_used(self) -> tuple[DefaultUsed, ...]:
        """Keys that move a price, were not written down, and what was taken instead."""
        return defaults_used(_form(self), self.given)


def load_case(path: str | os.PathLike[str], catalogue: Catalogue | None = None) -> Case:
    """Read a case file. With a catalogue its parts, traits and checks are verified too.

    Raises
    ------
    InputError
        With every fault of the file, each naming file, line, key, what was found, what is allowed.
    """
    return _case(read_toml(path), catalogue)


def parse_case(text: str, name: str = "case", catalogue: Catalogue | None = None) -> Case:
    """The same from text; `name` is what messages call it. Raises InputError."""
    return _case(parse_toml(text, name), catalogue)


def case_from_data(data: dict[str, Any], name: str = "case", catalogue: Catalogue | None = None) -> Case:
    """The same from plain data in the shape of the file (no lines in its messages). Raises InputError."""
    return _case(Document(name, data, {}, ""), catalogue)


def cases_from_csv(
    path: str | os.PathLike[str], catalogue: Catalogue | None = None
) -> Iterator[tuple[str, Case | InputError]]:
    """(name, Case or what is wrong with the row) for every row of a list of cars.

    The columns are the keys of [car] and [money] and `folder` (see `estimator.casefile.lists`). Raises
    InputError when the list itself cannot be read.
    """
    for number, document in enumerate(case_documents(path), start=1):
        name = str(document.data["car"].get("name", f"row {number}"))
        try:
            yield name, _case(document, catalogue)
        except InputError as error:
            yield name, InputError(_for_cells(error))


def with_history_csv(case: Case, path: str | os.PathLike[str], catalogue: Catalogue | None = None) -> Case:
    """The case with the work, readings and tests of a CSV history added. Raises InputError."""
    history_only = history_document(path)
    data = case_data(case)
    lines: dict[KeyPath, int] = {}
    for table, entries in history_only.data.items():
        before = len(data.get(table, []))
        data[table] = [*data.get(table, []), *entries]
        lines |= {
            (table, before + index): history_only.lines[(table, index)] for index in range(len(entries))
        }
    try:
        return _case(Document(history_only.path, data, lines, ""), catalogue)
    except InputError as error:
        raise InputError(_for_cells(error)) from None


def _for_cells(error: InputError) -> tuple[Problem, ...]:
    """Nothing in a CSV file is written in quotes."""
    return tuple(
        dataclasses.replace(one, text=one.text.replace(", without quotes", "")) for one in error.problems
    )


def recheck(case: Case, name: str = "case", catalogue: Catalogue | None = None) -> Case:
    """The same case with every rule applied again, for one put together in Python. Raises InputError."""
    return case_from_data(case_data(case), name, catalogue)


def _case(document: Document, catalogue: Catalogue | None) -> Case:
    form, faults = check_model(document, CaseForm)
    report = sense.Report(document)
    if form is None:  # say what is wrong with the readable rest, too, so that nobody mends in rounds
        form, report.kept = readable_rest(document, faults)
    if form is None:
        raise InputError(faults)
    sense.check_sense(form, report)
    case = _frozen(form, document)
    if catalogue is not None:
        check_against(case, catalogue, report)
    problems = in_order((*faults, *report.problems))
    if problems:
        raise InputError(problems)
    return dataclasses.replace(case, warnings=in_order(report.warnings))


def _frozen(form: CaseForm, document: Document) -> Case:
    values = {name: getattr(form, name) for name in CaseForm.__slots__}
    return Case(**values, given=written(document.data))


def _form(case: Case) -> CaseForm:
    """A Case has every attribute of a CaseForm; the functions of `casefile` read only those."""
    return case  # type: ignore[return-value]


def case_data(case: Case) -> dict[str, Any]:
    """The case as plain data in the shape of the file: what was given or differs from its default."""
    data: dict[str, Any] = {"format": case.format}
    for table in TABLES:
        record = getattr(case, table)
        if record is not None:
            data[table] = file_data(record, always=keys_of(table, case.given))
    for table in LISTS:
        entries = getattr(case, table)
        if entries:
            data[table] = [file_data(entry, always=keys_of(table, case.given)) for entry in entries]
    return data


def dump_case(case: Case) -> str:
    """The case as TOML: `parse_case(dump_case(case)) == case`, every value exact."""
    return dump_data(case_data(case))


def edit_case_text(text: str, change: Case | dict[KeyPath, Any]) -> str:
    """A case file's text with a change made and everything else, comments too, left as it stands.

    Parameters
    ----------
    change
        The Case the text should now say; or values by key, such as ``{("money", "asking"): 17500}``:
        None takes the key out, and ``("finding", "+")`` with a table of values adds an entry.

    Raises
    ------
    InputError
        If `text` is not TOML, or a key cannot be where it is asked to be.
    """
    return edit_text(text, case_data(change) if isinstance(change, Case) else change)
