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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from estimator.casefile import history, sense
from estimator.casefile.against import check_against
from estimator.casefile.defaults import DefaultUsed, completed, defaults_used, keys_of, written
from estimator.casefile.frames import case_document, entries_document, frame_documents, history_from_frame
from estimator.casefile.joined import joined
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
    import pandas as pd

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
    "cases_from",
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

    def not_come_yet(self, today: datetime.date, *, file: str = "") -> tuple[Problem, ...]:
        """Days in it that lie ahead of a clock, as doubts of a file; apart from `warnings`, which know no clock."""
        return sense.not_come_yet(_form(self), today, file=file or self.name)

    @property
    def age_years(self) -> float:
        """Years from `built` to `today`."""
        return years_between(self.car.built, self.today)

    @property
    def since_bought(self) -> tuple[Work, ...]:
        """Work entries dated after the purchase (and the viewing); none before it."""
        if self.bought is None:
            return ()
        day = max(self.bought.date, self.car.viewed)
        return tuple(work for work in self.work if work.date > day)

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


def load_case(
    source: str | os.PathLike[str] | Mapping[str, Any] | pd.Series,
    catalogue: Catalogue | None = None,
    *,
    history: Any = None,
    **tables: Any,
) -> Case:
    """Read one car: from a case file, or from a mapping or a row of a frame.

        load_case("saloon.toml", catalogue)
        load_case(cars.loc[3], catalogue, work=bills, finding=looked_at)

    Parameters
    ----------
    source
        Path of a case file; or a mapping (a pandas Series too) with the keys of [car] and [money], and, where
        wanted, whole tables and lists of the file by their names. Values may be pandas' or numpy's; missing ones
        (None, NaN, NaT, NA, blank text) are keys left out, text is read as in a CSV file ("yes", "1998-06-11",
        words separated by spaces).
    catalogue
        With it parts, traits and checks are verified too.
    history
        More entries: path of a CSV file, or a frame, with a column `kind` that says of which list each row is.
    tables
        More entries by list, each a frame with the list's keys as columns: reading, odometer_replaced, lived, test,
        coverage, work, finding, quote, spare. A frame is a DataFrame, a mapping of columns or a list of mappings.

    Raises
    ------
    InputError
        With every fault, each naming the file or table, line or entry, key, what was found, what is allowed.
    """
    first = read_toml(source) if isinstance(source, str | os.PathLike) else case_document(source)
    more = [entries_document(table, frame) for table, frame in tables.items()]
    return _case(joined(first, *_history(history), *more), catalogue)


def parse_case(
    text: str, name: str = "case", catalogue: Catalogue | None = None, *, history: Any = None
) -> Case:
    """The same from a case file's text; `name` is what messages call it. Raises InputError."""
    return _case(joined(parse_toml(text, name), *_history(history)), catalogue)


def _history(history: Any) -> tuple[Document, ...]:
    if history is None or isinstance(history, Document):
        return () if history is None else (history,)
    from_file = isinstance(history, str | os.PathLike)
    return (history_document(history) if from_file else history_from_frame(history),)


def case_from_data(data: dict[str, Any], name: str = "case", catalogue: Catalogue | None = None) -> Case:
    """The same from plain data in the shape of the file (no lines in its messages). Raises InputError."""
    return _case(Document(name, data, {}, ""), catalogue)


def cases_from(cars: Any, catalogue: Catalogue | None = None) -> Iterator[tuple[str, Case | InputError]]:
    """(name, Case or what is wrong with the row) for every row of a list of cars: path of a CSV file, or a frame.

    The columns are the keys of [car] and [money] and `folder`, a folder with a case.toml that says more (as seen
    from the CSV file; for a frame, from the current folder). Raises InputError when the list itself cannot be read.
    """
    documents = case_documents(cars) if isinstance(cars, str | os.PathLike) else frame_documents(cars)
    for number, document in enumerate(documents, start=1):
        car = document.data["car"]
        name = str(car["name"]) if isinstance(car, dict) and "name" in car else f"row {number}"
        try:
            yield name, _case(document, catalogue)
        except InputError as error:
            yield name, error


def with_history_csv(case: Case, path: str | os.PathLike[str], catalogue: Catalogue | None = None) -> Case:
    """The case with the work, readings, tests and other entries of a CSV history added. Raises InputError."""
    return _case(joined(Document(case.name, case_data(case), {}, ""), history_document(path)), catalogue)


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


def edit_case_text(text: str, change: Case | Mapping[KeyPath, Any] | Sequence[tuple[KeyPath, Any]]) -> str:
    """A case file's text with a change made and everything else, comments too, left as it stands.

    Parameters
    ----------
    change
        The Case the text should now say; or values by key, such as ``{("money", "asking"): 17500}``:
        None takes the key out, and ``("finding", "+")`` with a table of values adds an entry; or a list of such
        pairs, made in order, where several add to one list.

    Raises
    ------
    InputError
        If `text` is not TOML, or a key cannot be where it is asked to be.
    """
    return edit_text(text, case_data(change) if isinstance(change, Case) else change)
