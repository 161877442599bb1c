"""What keeping a car costs, as text for a terminal: 80 columns, plain characters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from estimator.catalogue.load import Catalogue
from estimator.decide.keep import Keeping
from estimator.report.plain_words import amount, chance, clean, money, table_step

WIDTH = 80
WORDS = {
    "putting_right": "putting right at the start",
    "wear": "wear that falls due",
    "tyres": "wheels and tyres",
    "unlisted": "work no list can name",
    "service": "service",
    "fuel": "fuel",
    "insurance": "insurance",
    "tax": "tax",
    "storage": "storage",
    "inspection": "inspections",
    "value": "change in value",
}


def keep_text(found: Keeping, catalogue: Catalogue, *, everything: bool = False) -> str:
    """What `estimator keep` prints: stops, a sentence, the split, the years, selling now, doubts."""
    sections = (
        _stops(found, catalogue),
        [clean(found.case), *_wrap(sentence(found))],
        _split(found),
        _years(found),
        _sell(found),
        _bullets((*found.notes, *(found.warnings if everything else ()))),
    )
    return "\n\n".join("\n".join(rows) for rows in sections if rows)


def sentence(found: Keeping) -> str:
    """The one sentence above the figures."""
    n = len(found.years)
    return (
        f"Keeping this car for {n} {'year' if n == 1 else 'years'} is likely to cost about "
        f"{money(found.nominal.p50, found.currency)} in money of the day, one time in five more than "
        f"{money(found.nominal.p80, found.currency)}; in today's money it is about "
        f"{money(found.present.p50, found.currency)}. On average that is "
        f"{money(found.per_year, found.currency)} a year or {found.currency} {found.per_distance:.2f} "
        f"a {'mile' if found.unit == 'miles' else 'kilometre'} at {found.annual_distance:,.0f} a year."
    )


def _wrap(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH - 1, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first]


def _bullets(texts: Iterable[str]) -> list[str]:
    return [row for text in texts for row in _wrap(text, first="  * ", rest="    ")]


def _stops(found: Keeping, catalogue: Catalogue) -> list[str]:
    rows = []
    if found.stops:
        rows += ["STOP: settle this before any sum below counts", *_bullets(t for _, t in found.stops)]
    if found.open_stops:
        rows += ["NOT LOOKED AT YET: any of these can end the matter, whatever the sums say"]
        rows += _bullets(catalogue.checks[check].name for check in found.open_stops)
    return rows


def _split(found: Keeping) -> list[str]:
    step = table_step(max(abs(found.nominal.mean), 1.0))
    rows = [f"{f'Means over all years, {found.currency}':<40}{'of the day':>14}{'present value':>16}"]
    for name, value in sorted(found.parts.items(), key=lambda x: -x[1]):
        shown = (amount(v, step=step) for v in (value, found.present_parts[name]))
        rows.append("  {:<38}{:>14}{:>16}".format(WORDS[name], *shown))
    rows.append(
        f"  {'together':<38}{amount(found.nominal.mean, step=step):>14}{amount(found.present.mean, step=step):>16}"
    )
    return rows


def _years(found: Keeping) -> list[str]:
    step = table_step(max(y.band.p95 for y in found.years))
    rows = [
        f"{'Year':<6}{'mean':>10}{'likely':>10}{'1 in 5 more':>13}{'worst':>10}{'present':>10}{'repairs':>10}"
    ]
    for y in found.years:
        repairs = sum(y.parts[p] for p in ("putting_right", "wear", "tyres", "unlisted"))
        figures = (y.nominal, y.band.p50, y.band.p80, y.band.p95, y.present, repairs)
        shown = [amount(v, step=step) for v in figures]
        rows.append(
            f"{y.year:<6}{shown[0]:>10}{shown[1]:>10}{shown[2]:>13}" + "".join(f"{v:>10}" for v in shown[3:])
        )
    return rows


def _sell(found: Keeping) -> list[str]:
    sell = found.sell_now
    if sell is None:
        return []
    return _wrap(
        f"Sold now as it is it may bring about {money(sell.receives.p50, found.currency)}. Keeping it and selling at "
        f"the end is then dearer by about {money(sell.dearer.p50, found.currency)} in today's money (one time in "
        f"five by more than {money(sell.dearer.p80, found.currency)}): that is the price of having it, "
        f"{money(sell.per_year, found.currency)} a year. Chance that keeping costs nothing at all: "
        f"{chance(sell.chance_keeping_pays)}."
    )
