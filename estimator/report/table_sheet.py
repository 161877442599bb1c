"""The sheet for the table: what is good, what was found, what it costs, what was not looked at. For both to read.

Under "good" stands only what is good beyond doubt; what a paper says of a part that may be due again all the same, and
what was told or seen in passing, stands under "noted", as it is.

It carries nothing of the buyer's side: no budget, value, chance or limit, no price asked or offered, no note, no name
the buyer gave the car, and no word of blame. Costs are ranges in which eight bills in ten lie.
"""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Any

import numpy as np

from estimator.assess import Result
from estimator.report.page import html_page
from estimator.report.seen import Sign, good_signs, neutral, open_signs, plain, shown_by, signs_of

MOST_GOOD, MOST_OPEN = 14, 16
PROOF = {"invoice": "with a bill", "receipt": "with a receipt for the part"}
FITTED_BEFORE = {
    "used": "with a used part",
    "old-stock": "with an old stock part",
    "repaired": "repaired in place",
}
PAPER_YEARS = 10  # older work is not named
GOOD_FOR_NOW = (
    0.1  # of such parts at most one in ten is spent or falls due within the year: its B10 life is not over
)
NOTED = "Noted, as it was told, read or seen"
TITLE = "What was seen"
FOUND = "Found, and what putting it right costs"
SIGNS = "Signs whose cause is still open, and what each may cost"
FOOT = (
    "Costs are estimates with tax, from low to high, each with its own strip-down; done together some of it is paid "
    "once. This is no inspection report. Local rules and competent or licensed people come first."
)


@dataclass(frozen=True)
class FoundLine:
    """Something found: what, how it showed, and what putting it right costs from - to (None: not priced).

    traced : the part is known; else it is a sign that one of several parts explains.
    """

    what: str
    how: str
    low: float | None
    high: float | None
    traced: bool = True


@dataclass(frozen=True)
class TableSheet:
    """Content of the sheet, in order. together : what the parts found cost done together, from - to; None for fewer
    than two.
    """

    day: str
    car: str
    currency: str
    good: tuple[str, ...]
    noted: tuple[str, ...]
    found: tuple[FoundLine, ...]
    together: tuple[float, float] | None
    not_examined: tuple[tuple[str, str], ...]
    to_settle: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For JSON: nothing else is known to the sheet."""
        return {
            "title": TITLE,
            "day": self.day,
            "car": self.car,
            "currency": self.currency,
            "good": list(self.good),
            "noted": list(self.noted),
            "found": [{"what": f.what, "how": f.how, "from": f.low, "to": f.high} for f in self.found],
            "together": None if self.together is None else list(self.together),
            "not_examined": [{"what": w, "why": y} for w, y in self.not_examined],
            "to_settle": list(self.to_settle),
        }


def file_stem(sheet: TableSheet) -> str:
    """What a file of the sheet is called: whoever gets it sees the name, so there is nothing but the day in it."""
    return f"what-was-seen-{sheet.day}"


def table_sheet(result: Result) -> TableSheet:
    """The sheet of an assessed car."""
    case = result.prepared.car.case
    signs = signs_of(result)
    good, noted = _papers(result)
    distance = f"{case.car.odometer:,.0f} {case.car.unit} shown"
    return TableSheet(
        day=case.today.isoformat(),
        car=f"Car of {case.car.built.year}, {distance}",
        currency=case.money.currency,
        good=(*good_signs(result, signs)[:MOST_GOOD], *good[:MOST_GOOD]),
        noted=(*open_signs(result, signs)[:MOST_GOOD], *noted[:MOST_GOOD]),
        found=_found(result, signs),
        together=_together(result),
        not_examined=_not_examined(result),
        to_settle=_to_settle(result),
    )


def _to_settle(result: Result) -> tuple[str, ...]:
    """Stops that came out badly, then those nobody has looked at: both come before any sum."""
    checks, found = result.prepared.car.catalogue.checks, result.assessment
    failed = [plain(checks[check].name) for check, _ in found.stops]
    return (*failed, *(f"{plain(checks[check].name)}: not looked at yet" for check in found.open_stops))


def _papers(result: Result) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts renewed lately, with what proves it: (those within a sensible part of their life, the others).

    Of several renewals of a part the last counts. It is good where the estimate has no such part due as things are,
    whatever else is known of it; a used, an old or a repaired part is never more than noted.
    """
    case, index = result.prepared.car.case, result.prepared.car.index
    last = {
        (work.component, work.side): work
        for work in sorted(case.work, key=lambda one: one.date)
        if work.what == "renewed"
        and work.component in index
        and (case.today - work.date).days < 365.25 * PAPER_YEARS
    }
    parts = {part.id: part for part in result.assessment.components}
    good, noted = [], []
    for work in last.values():
        part = parts.get(work.component or "")
        if part is None or work.evidence not in PROOF:
            continue
        side = "" if work.side == "both" else f", {work.side}"
        proof, before = PROOF[work.evidence], FITTED_BEFORE.get(work.fitted)
        if before is None and not part.found and part.p_spent + part.p_due <= GOOD_FOR_NOW:
            good.append(f"{part.name}{side} renewed {work.date.year}, {proof}")
        else:
            how = f"renewed {work.date.year}" + (f" {before}" if before else "")
            noted.append(f"{part.name}{side}: {how}, {proof}")
    return tuple(good), tuple(noted)


def _found(result: Result, signs: tuple[Sign, ...]) -> tuple[FoundLine, ...]:
    """Parts that probably need doing, signs that one of several parts explains, and the other signs seen."""
    parts = {part.id: part for part in result.assessment.components}
    named = {part.id for part in parts.values() if part.found}
    lines = [
        FoundLine(parts[one].name, shown_by(result, one, signs), *_costs([parts[one].cost]))
        for one in parts
        if one in named
    ]
    bad = {sign.check.id: sign for sign in signs if sign.bad}
    told = set()
    for group in result.assessment.suspects:
        if group.check not in bad or any(part in named for part, _ in group.parts):
            continue
        first = [parts[part] for part, _ in group.parts[:3]]
        one_of = "one of these: " if len(group.parts) > 1 else ""
        how = one_of + "; ".join(part.name for part in first)
        lines.append(
            FoundLine(bad[group.check].told, how, *_costs([part.cost for part in first]), traced=False)
        )
        told.add(group.check)
    for check, sign in bad.items():
        covered = check in told or any(link.component in named for link in sign.check.links)
        if not covered and sign.finding.how != "reported":
            lines.append(FoundLine(sign.told, "cause not traced", None, None, traced=False))
    return tuple(lines)


def _costs(costs: list[dict[str, float] | None]) -> tuple[float | None, float | None]:
    known = [c for c in costs if c is not None]
    if not known:
        return None, None
    return _round(min(c["p10"] for c in known)), _round(max(c["p90"] for c in known))


def _together(result: Result) -> tuple[float, float] | None:
    """Range of what was found, done together, in the draws in which any of it needs doing."""
    known = result.outlays.known.year
    some = known[known > 0]
    if result.found.sum() < 2 or some.size < 10:
        return None
    low, high = np.quantile(some, (0.1, 0.9))
    return _round(float(low)), _round(float(high))


def _not_examined(result: Result) -> tuple[tuple[str, str], ...]:
    why = {"could-not-try": "could not be tried today", "refused": "not possible today"}
    checks = result.prepared.car.catalogue.checks
    made = [(checks[f.check], f.result) for f in result.prepared.car.case.finding if f.check in checks]
    lines = [(plain(check.name), why[how]) for check, how in made if how in why and neutral(check)]
    return tuple(dict.fromkeys(lines))[:MOST_OPEN]


def _round(amount: float) -> float:
    """Two figures: what a range can bear."""
    if amount <= 0:
        return 0.0
    step = 10.0 ** max(np.floor(np.log10(amount)) - 1, 0)
    return float(round(amount / step) * step)


def _range(line: FoundLine, currency: str) -> str:
    if line.low is None or line.high is None:
        return "to be looked into"
    return f"{currency} {line.low:,.0f} to {line.high:,.0f}"


def _apart(sheet: TableSheet) -> tuple[list[FoundLine], list[FoundLine]]:
    """Lines of parts that are known, lines of signs."""
    return [f for f in sheet.found if f.traced], [f for f in sheet.found if not f.traced]


def _row(line: FoundLine, currency: str) -> str:
    what = f"{html.escape(line.what)}<small>{html.escape(line.how)}</small>"
    return f'<tr><td>{what}</td><td class="sum">{html.escape(_range(line, currency))}</td></tr>'


def table_text(sheet: TableSheet) -> str:
    """The sheet as plain text."""
    rows = [TITLE, f"{sheet.car}, seen {sheet.day}", ""]
    if sheet.to_settle:
        rows += ["To be settled first", *(f"  - {t}" for t in sheet.to_settle), ""]
    rows += ["Good", *(f"  - {t}" for t in sheet.good or ("nothing written down yet",)), ""]
    if sheet.noted:
        rows += [NOTED, *(f"  - {t}" for t in sheet.noted), ""]
    traced, signs = _apart(sheet)
    rows.append(FOUND)
    rows += [f"  - {f.what} ({f.how}): {_range(f, sheet.currency)}" for f in traced] or ["  - nothing"]
    if sheet.together is not None:
        rows.append(
            f"  These together: {sheet.currency} {sheet.together[0]:,.0f} to {sheet.together[1]:,.0f}"
        )
    if signs:
        rows += ["", SIGNS]
        rows += [f"  - {f.what} ({f.how}): {_range(f, sheet.currency)}" for f in signs]
    rows += ["", "Not looked at"]
    rows += [f"  - {what}: {why}" for what, why in sheet.not_examined] or [
        "  - whatever this sheet does not name"
    ]
    return "\n".join([*rows, "", FOOT])


_STYLE = """\
@page { size: A4; margin: 18mm }
body { font: 11pt/1.45 Georgia, serif; color: #000; background: #fff; max-width: 42rem;
  margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 1.4rem; margin: 0 } h2 { font-size: 1.05rem; margin: 1.4rem 0 .3rem; border-bottom: 1px solid #000 }
p, ul { margin: .3rem 0 } ul { padding-left: 1.1rem } table { border-collapse: collapse; width: 100% }
td { padding: .25rem .5rem .25rem 0; vertical-align: top; border-bottom: 1px solid #bbb }
td.sum { text-align: right; white-space: nowrap } small { display: block }
"""


def table_html(sheet: TableSheet) -> str:
    """The sheet as one HTML page without anything from elsewhere, black on white, made to be printed."""
    e = html.escape
    body = [f"<h1>{TITLE}</h1>", f"<p>{e(sheet.car)}, seen {e(sheet.day)}</p>"]
    if sheet.to_settle:
        body += ["<h2>To be settled first</h2>", _list(sheet.to_settle)]
    body += ["<h2>Good</h2>", _list(sheet.good or ("nothing written down yet",))]
    if sheet.noted:
        body += [f"<h2>{NOTED}</h2>", _list(sheet.noted)]
    traced, signs = _apart(sheet)
    body += [f"<h2>{FOUND}</h2>", "<table>", *(_row(line, sheet.currency) for line in traced)]
    if not traced:
        body.append("<tr><td>nothing</td></tr>")
    if sheet.together is not None:
        low, high = sheet.together
        total = f"{e(sheet.currency)} {low:,.0f} to {high:,.0f}"
        body.append(f'<tr><td>These together</td><td class="sum">{total}</td></tr>')
    body.append("</table>")
    if signs:
        body += [f"<h2>{SIGNS}</h2>", "<table>", *(_row(line, sheet.currency) for line in signs), "</table>"]
    body.append("<h2>Not looked at</h2>")
    body.append(
        _list([f"{what}: {why}" for what, why in sheet.not_examined] or ["whatever this sheet does not name"])
    )
    body.append(f"<p><small>{e(FOOT)}</small></p>")
    return html_page("\n".join(body), title=TITLE, style=_STYLE)


def _list(texts: Any) -> str:
    return "<ul>" + "".join(f"<li>{html.escape(t)}</li>" for t in texts) + "</ul>"
