"""The report as one HTML file: nothing is loaded from anywhere, and any browser prints it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from html import escape
from importlib.resources import files

from estimator.report.page import html_page
from estimator.report.report_content import PartLine, Report, SumRow


def report_html(report: Report, dots: str) -> str:
    """The page, with the picture of dots (SVG, its words in it) set in."""
    facts = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in report.facts)
    systems = "\n".join(
        f"<h3>{escape(s.name)}: {escape(s.mean)} on average</h3>{_parts(s.parts, s.name)}"
        + (f'<p class="quiet">{escape(s.others)}.</p>' if s.others else "")
        for s in report.systems
    )
    sections = [
        _stops(report),
        f'<p class="lead">{escape(report.headline)}</p>',
        "".join(f"<p>{escape(one)}</p>" for one in report.more),
        f"<figure>{dots}<figcaption class='quiet'>{escape(report.dots_alt)}</figcaption></figure>",
        f"<h2>The sums, {escape(report.currency)} with tax</h2>{_sums(report.sums)}",
        f"<h2>The car as described</h2><dl>{facts}</dl>",
        f"<h2>Found, and not seen yet</h2><p>{escape(report.found)}</p>{_parts(report.found_parts, 'Found')}",
        _listed("One of these, perhaps more", report.suspects),
        f"<h2>Part by part</h2><p class='quiet'>Dearest systems first. Chances are out of cars like this one. Eight in "
        f"ten bills lie in the range, each with its share of the strip-down.</p>{systems}",
        f"<h2>Apart from the sums</h2><p>{escape(report.apart)}</p>{_parts(report.comfort, 'Comfort and looks')}",
        _listed("What the estimate rests on", report.rests_on),
        f"<p>{escape(report.method)}</p>",
        f"<p>{escape(report.sources[0])}</p>{_list(report.sources[1:])}" if report.sources else "",
        _listed("Doubts, and what was taken where the file is silent", report.warnings),
        _listed("What needs care", report.cautions),
        f'<p class="once">{escape(report.once)}</p>',
    ]
    body = "\n".join(one for one in sections if one)
    whole = f"<main>\n<h1>{escape(report.title)}</h1>\n{body}\n</main>"
    return html_page(whole, title=f"{report.title}: what it will cost", style=_style())


@cache
def _style() -> str:
    return files("estimator.report").joinpath("report.css").read_text(encoding="utf-8")


def _stops(report: Report) -> str:
    rows = ""
    if report.stops:
        head = "<strong>Stop. Settle this before any sum below counts.</strong>"
        rows += f'<div class="stop">{head}{_list(report.stops)}</div>'
    if report.open_stops:
        rows += (
            '<div class="open"><strong>Not looked at yet: any of these can end the deal, whatever the sums '
            "say.</strong> "
            f"{escape('; '.join(report.open_stops))}.</div>"
        )
    return rows


def _sums(rows: Sequence[SumRow]) -> str:
    heads = ("from", "as likely more as less", "to", "one in twenty is dearer than")
    head = "<th scope='col'>what</th><th scope='col'>when</th>" + "".join(
        f'<th scope="col" class="figure" style="white-space:normal">{one}</th>' for one in heads
    )
    body = "".join(
        f"<tr{' class=sum' if r.name == 'Together' else ''}>"
        f"<th scope='row'>{escape(r.name)}</th><td class='when'>{escape(r.when)}</td>"
        + "".join(f'<td class="figure">{escape(x)}</td>' for x in (r.low, r.middle, r.high, r.worst))
        + "</tr>"
        for r in rows
    )
    note = (
        "Four cases of five lie between from and to. Ranges do not add up: bad luck in one row seldom meets it in "
        "the other."
    )
    return (
        f'<div class="wide"><table class="sums"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
        f'<p class="quiet">{note}</p>'
    )


def _parts(parts: Sequence[PartLine], caption: str) -> str:
    if not parts:
        return ""
    heads = ("needs doing now", "in the first year", "if so", "on average")
    head = '<th scope="col">part</th>' + "".join(f'<th scope="col">{one}</th>' for one in heads)
    rows = "".join(
        f'<tr><th scope="row">{escape(p.name)}{" <strong>(found)</strong>" if p.found else ""}'
        f"<small>{escape(p.failure)}; {escape(p.need)}. Now: {escape(p.why)}.</small></th>"
        + "".join(
            f'<td data-label="{label}">{escape(text)}</td>'
            for label, text in zip(heads, (p.now, p.year, p.cost, p.mean), strict=True)
        )
        + "</tr>"
        for p in parts
    )
    label = escape(caption)
    return f'<table class="parts" aria-label="{label}"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'


def _listed(title: str, rows: Sequence[str]) -> str:
    return f"<h2>{title}</h2>{_list(rows)}" if rows else ""


def _list(rows: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in rows)}</ul>" if rows else ""
