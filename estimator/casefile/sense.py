"""Whether a case makes sense by itself: days, readings, sums. Faults stop it, doubts are warnings."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from estimator.casefile import history
from estimator.casefile.records import CaseForm, Finding, Work
from estimator.casefile.words import in_unit, years_between
from estimator.files import Document, KeyPath, Problem, key_text, shown

FIRST_YEAR, LAST_YEAR = 1900, 2030
MEANT_FROM, MEANT_TO = 1955, 1999
OLDEST_YEARS = 140  # 1955 and today are 71 apart: twice that is a slip of the year
SLACK_DAYS = 366  # cars are registered up to a year after they were built; papers may be older than `built`
SAME_DAY_KM = 100.0  # a test and the drive home may stand on one day
FASTEST_KM_PER_YEAR = 150_000.0  # more than any private car; common practice: above it a figure is a slip


@dataclass(slots=True)
class Report:
    """Faults and doubts found so far, each with its place in the document.

    kept: for lists from which unreadable entries were left out, where in the file the others stand.
    """

    document: Document
    kept: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)

    def fault(self, path: KeyPath, text: str) -> None:
        self.problems.append(self.document.problem(self.place(path), text))

    def doubt(self, path: KeyPath, text: str) -> None:
        self.warnings.append(self.document.problem(self.place(path), text))

    def place(self, path: KeyPath) -> KeyPath:
        """The path in the file of a path in the records."""
        if len(path) > 1 and path[0] in self.kept and isinstance(path[1], int):
            return (path[0], self.kept[str(path[0])][path[1]], *path[2:])
        return path


def check_sense(form: CaseForm, report: Report) -> None:
    """Put the faults and doubts about a case taken by itself into the report."""
    rules: tuple[Callable[[CaseForm, Report], None], ...] = (
        _built, _purchase, _recorded, _periods, _odometer, _money, _work, _findings, _repeats
    )  # fmt: skip
    for rule in rules:
        rule(form, report)


def _built(form: CaseForm, report: Report) -> None:
    car = form.car
    if not FIRST_YEAR <= car.built.year <= LAST_YEAR:
        report.fault(
            ("car", "built"),
            f"no such car is known here; found {car.built}; allowed: {FIRST_YEAR} to {LAST_YEAR}",
        )
    elif not MEANT_FROM <= car.built.year <= MEANT_TO:
        report.doubt(
            ("car", "built"),
            f"the catalogue is written for cars built {MEANT_FROM} to {MEANT_TO}; found {car.built.year}: "
            "figures for this car are a stretch",
        )
    _of_this_life(form, report)
    if car.viewed < car.built:
        report.fault(("car", "viewed"), f"seen before it was built ({car.built}); found {car.viewed}")
    for index, trait in enumerate(car.traits):
        if trait in car.traits[:index]:
            report.fault(("car", "traits", index), f"stands twice in the list; found {shown(trait)}")


def _of_this_life(form: CaseForm, report: Report) -> None:
    """Days of the viewing and the purchase that no car lives to see are slips."""
    for path, day in history.reference_days(form):
        if years_between(form.car.built, day) > OLDEST_YEARS:
            text = f"more than {OLDEST_YEARS} years after it was built ({form.car.built}): is the year right?"
            report.fault(path, f"{text} Found {day}")


def not_come_yet(case: CaseForm, today: datetime.date, *, file: str) -> tuple[Problem, ...]:
    """Days that lie ahead of a clock by more than a day, as doubts: they move everything. They are no part of a case's
    own warnings, which must not depend on the day they are read."""
    late = today + datetime.timedelta(days=1)
    found = [*history.reference_days(case), *history.recorded_days(case)]
    return tuple(
        Problem(
            file,
            None,
            key_text(path),
            f"has not come yet (today is {today}): is the year right? Found {day}",
            path,
        )
        for path, day in found
        if day > late
    )


def _purchase(form: CaseForm, report: Report) -> None:
    bought, car = form.bought, form.car
    if bought is None:
        return
    if bought.date < car.built:
        report.fault(("bought", "date"), f"bought before it was built ({car.built}); found {bought.date}")
    elif bought.date < car.viewed and car.sale not in ("owned", "unseen"):
        report.doubt(("bought", "date"), f"bought before it was seen ({car.viewed}); found {bought.date}")
    if bought.as_of is None:
        return
    earliest = max(bought.date, car.viewed)
    if bought.as_of < earliest:
        report.fault(
            ("bought", "as_of"),
            f"must not be before the viewing and the purchase; found {bought.as_of}; allowed from {earliest}",
        )


def _recorded(form: CaseForm, report: Report) -> None:
    today = history.today(form)
    word = "the day the car was seen (car.viewed)" if form.bought is None else "bought.as_of"
    for path, day in history.recorded_days(form):
        if day > today:
            cure = (
                ". After buying, add [bought] (estimator record CASE --bought DATE)"
                if form.bought is None
                else ""
            )
            report.fault(path, f"lies in the future of {word}, {today}; found {day}{cure}")
        else:
            _not_before_built(form, report, path, day)
    for table, entries in (("work", form.work), ("spare", form.spare)):
        for index, entry in enumerate(entries):
            _moulded(entry, getattr(entry, "date", today), (table, index, "moulded"), report)


def _moulded(entry: Any, latest: datetime.date, path: KeyPath, report: Report) -> None:
    if entry.moulded is None:
        return
    if entry.moulded > latest:
        report.fault(path, f"moulded after it was fitted or seen ({latest}); found {entry.moulded}")
    elif entry.moulded.year < FIRST_YEAR:
        report.fault(path, f"must not be before {FIRST_YEAR}; found {entry.moulded}")
    key = "fitted" if hasattr(entry, "fitted") else "state"
    if getattr(entry, key) != "old-stock":
        report.fault(path, f'belongs to old stock only: write {key} = "old-stock"; found {entry.moulded}')


def _not_before_built(form: CaseForm, report: Report, path: KeyPath, day: datetime.date) -> None:
    built = form.car.built
    if (built - day).days > SLACK_DAYS:
        report.fault(path, f"lies more than a year before the car was built ({built}); found {day}")


def _periods(form: CaseForm, report: Report) -> None:
    today = history.today(form)
    tables: tuple[tuple[str, Iterable[Any]], ...] = (("lived", form.lived), ("coverage", form.coverage))
    for table, entries in tables:
        spans: list[tuple[datetime.date, datetime.date, int]] = []
        for index, entry in enumerate(entries):
            _not_before_built(form, report, (table, index, "from"), entry.start)
            if entry.end > today:
                report.fault((table, index, "to"), f"lies in the future of {today}; found {entry.end}")
            if entry.start >= entry.end:
                report.fault(
                    (table, index, "to"),
                    f"must be later than `from`; found {entry.start} to {entry.end}",
                )
            else:
                spans.append((entry.start, entry.end, index))
        spans.sort()
        for (_, end, first), (start, _, second) in pairwise(spans):
            if start < end:
                where = _place(report, table, first, near=second)
                text = f"overlaps the period of {where}, which ends {end}; found {start}"
                report.fault((table, second, "from"), text)


def _odometer(form: CaseForm, report: Report) -> None:
    car = form.car
    most = 10**car.odometer_digits
    several = [(path, value) for path, _, value, unit in history.shown_values(form) if unit == car.unit]
    for path, value in several:
        if value >= most and not form.odometer_replaced:
            report.fault(
                path,
                f"an odometer of {car.odometer_digits} digits cannot show this; found {value:,.0f}; "
                f"allowed: up to {most - 1:,} (or change car.odometer_digits)",
            )
    readings = history.dated_readings(form)
    for before, after in pairwise(readings):
        _step(form, before, after, report)
    if car.odometer == 0:
        report.doubt(("car", "odometer"), "shows nothing: just turned over, replaced or broken; found 0")


def _step(form: CaseForm, before: history.DatedReading, after: history.DatedReading, report: Report) -> None:
    unit = form.car.unit
    fell, rose = before.km - after.km, after.km - before.km
    text = f"{in_unit(after.shown_km, unit):,.0f} on {after.date}, {in_unit(before.shown_km, unit):,.0f} on"
    text = f"{text} {before.date} ({unit})"
    if before.date == after.date and abs(rose) > SAME_DAY_KM:
        report.doubt(after.source, f"two different readings on one day; found {text}")
    elif fell > 1.0 and before.date < after.date:
        report.doubt(
            after.source,
            f"the odometer falls: a turn-over, a replaced or an altered odometer, or a slip; found {text}",
        )
    years = years_between(before.date, after.date)
    if years > 0 and rose > max(FASTEST_KM_PER_YEAR * years, 2_000.0):
        report.doubt(after.source, f"an impossible distance in the time: is a digit wrong? Found {text}")


def _money(form: CaseForm, report: Report) -> None:
    money = form.money
    for name in ("sound_example", "labour_rate", "seller"):
        value = getattr(money, name)
        if value is not None and not value[0] <= value[1] <= value[2]:
            report.fault(
                ("money", name), f"must be low, likely, high in that order; found {shown(list(value))}"
            )
    if money.sound_example is not None and money.sound_example[0] == 0:
        report.fault(("money", "sound_example"), "a good example is worth something; found 0")
    if money.labour_rate is not None and money.labour_rate[2] == 0:
        report.fault(("money", "labour_rate"), "the dearest workshop is not free; found 0")
    if money.asking is not None and money.budget is not None and money.budget < money.asking:
        report.doubt(
            ("money", "budget"),
            f"is below the asking price ({money.asking:,.0f}) before any work; found {money.budget:,.0f}",
        )
    if money.scrap is not None and money.sound_example is not None and money.scrap > money.sound_example[0]:
        report.fault(
            ("money", "scrap"),
            f"given up on, a car fetches no more than a poor good one does; found {money.scrap:,.0f}; allowed: up to "
            f"the low value of money.sound_example ({money.sound_example[0]:,.0f})",
        )
    if money.asking == 0:
        report.doubt(("money", "asking"), "the car is a gift; found 0")


def _work(form: CaseForm, report: Report) -> None:
    for index, work in enumerate(form.work):
        path: KeyPath = ("work", index)
        if (work.component is None) == (work.kit is None):
            both = "both" if work.component is not None else "neither"
            report.fault(path, f"needs either component or kit; found {both}")
        if work.depth is not None and work.kit is None:
            report.fault((*path, "depth"), f"belongs to a kit only; found {shown(work.depth)}")
        if work.what.startswith("seen-") and work.fitted != "unknown":
            report.fault((*path, "fitted"), f"nothing is fitted when a part is only seen ({work.what})")


def _findings(form: CaseForm, report: Report) -> None:
    for index, finding in enumerate(form.finding):
        path: KeyPath = ("finding", index)
        if (finding.result is None) == (finding.value is None):
            both = "both" if finding.result is not None else "neither"
            report.fault(path, f"needs either result or value (a reading); found {both}")
        if finding.sure != 1.0 and finding.result not in ("present", "absent"):
            report.fault(
                (*path, "sure"),
                f"goes with present or absent only (a reading has its own error); found {finding.sure:g}",
            )


def _repeats(form: CaseForm, report: Report) -> None:
    done: dict[tuple[object, ...], int] = {}
    for index, work in enumerate(form.work):
        first = done.setdefault(_same_work(work), index)
        if first != index:
            where = _place(report, "work", first, near=index)
            text = f"the same work on the same day as {where}: it counts once for each entry; take one out if it was "
            report.doubt(("work", index), f"{text}done once")
    made: dict[tuple[object, ...], int] = {}
    for index, finding in enumerate(form.finding):
        first = made.setdefault(_same_finding(finding, form), index)
        other = form.finding[first]
        if first == index:
            continue
        where = _place(report, "finding", first, near=index)
        if (finding.result, finding.value) == (other.result, other.value):
            report.doubt(("finding", index), f"the same finding as {where}: it counts once")
        else:
            report.fault(
                ("finding", index),
                f"contradicts {where}: same check, same day, same viewer and side; found "
                f"{shown(_answer(finding))} and {shown(_answer(other))}",
            )


def _answer(finding: Finding) -> object:
    return finding.value if finding.result is None else finding.result


def _same_work(work: Work) -> tuple[object, ...]:
    return work.date, work.component, work.kit, work.depth, work.what, work.side


def _same_finding(finding: Finding, form: CaseForm) -> tuple[object, ...]:
    by = finding.by or form.car.viewer
    return finding.check, finding.side, finding.date or form.car.viewed, by, finding.how


def _place(report: Report, table: str, index: int, *, near: int) -> str:
    """Where an entry stands, for a message about another of the same table; its file where that is another one."""
    there, here = (report.document.problem(report.place((table, one)), "") for one in (index, near))
    of = "" if there.file == here.file else f" of {there.file}"
    return f"the [[{table}]] at line {there.line}{of}" if there.line else f"{there.key}{of}"
