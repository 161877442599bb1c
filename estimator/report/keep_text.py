"""What keeping a car costs, as text for a terminal: 80 columns, plain characters."""

from __future__ import annotations

from estimator.catalogue.load import Catalogue
from estimator.decide.keep import Keeping
from estimator.report.blocks import bullets, joined, stop_rows, wrapped
from estimator.report.plain_words import amount, chance, clean, money, table_step
from estimator.views import keeping
from estimator.views.words import KEEPING_PARTS


def keep_text(found: Keeping, catalogue: Catalogue, *, everything: bool = False) -> str:
    """What `estimator keep` prints: stops, a sentence, the split, the years, selling now, doubts."""
    sections = (
        stop_rows(found.stops, found.open_stops, catalogue, sums="the sums say"),
        [clean(found.case), *wrapped(sentence(found))],
        _split(found),
        _years(found),
        _sell(found),
        bullets((*found.notes, *(found.warnings if everything else ()))),
    )
    return joined(sections)


def sentence(found: Keeping) -> str:
    """The one sentence above the figures."""
    n = len(found.years)
    late = ", more because what the car fetches comes only at the end" * (
        found.present.p50 > found.nominal.p50
    )
    return (
        f"Keeping this car for {n} {'year' if n == 1 else 'years'} is likely to cost about "
        f"{money(found.nominal.p50, found.currency)} in money of the day, one time in five more than "
        f"{money(found.nominal.p80, found.currency)}; in present value it is about "
        f"{money(found.present.p50, found.currency)}{late}. On average that is "
        f"{money(found.per_year, found.currency)} a year or {found.currency} {found.per_distance:.2f} "
        f"a {'mile' if found.unit == 'miles' else 'kilometre'} at {found.annual_distance:,.0f} {found.unit} a year."
    )


def _split(found: Keeping) -> list[str]:
    step = table_step(max(abs(found.nominal.mean), 1.0))
    rows = [f"{f'Means over all years, {found.currency}':<40}{'of the day':>14}{'present value':>16}"]
    for name, value in sorted(found.parts.items(), key=lambda x: -x[1]):
        shown = (amount(v, step=step) for v in (value, found.present_parts[name]))
        rows.append("  {:<38}{:>14}{:>16}".format(KEEPING_PARTS[name], *shown))
    rows.append(
        f"  {'together':<38}{amount(found.nominal.mean, step=step):>14}{amount(found.present.mean, step=step):>16}"
    )
    return rows


def _years(found: Keeping) -> list[str]:
    step = table_step(max(y.band.p95 for y in found.years))
    rows = [
        f"{'Year':<6}{'mean':>10}{'likely':>10}{'1 in 5 more':>13}{'1 in 20 more':>14}{'present':>10}{'repairs':>10}"
    ]
    for y in found.years:
        repairs = sum(y.parts[p] for p in ("putting_right", "wear", "tyres", "unlisted"))
        figures = (y.nominal, y.band.p50, y.band.p80, y.band.p95, y.present, repairs)
        shown = [amount(v, step=step) for v in figures]
        rows.append(
            f"{y.year:<6}{shown[0]:>10}{shown[1]:>10}{shown[2]:>13}{shown[3]:>14}{shown[4]:>10}{shown[5]:>10}"
        )
    return rows


def _sell(found: Keeping) -> list[str]:
    if found.sell_now is None:
        return []
    return wrapped(keeping.sell_now(found, say=lambda amount: money(amount, found.currency), chance=chance))
