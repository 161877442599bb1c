"""Job cards as text for a terminal and as one HTML file: printed, a page a job (the very largest take both sides)."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from estimator.report.blocks import WIDTH, bullets, wrapped
from estimator.report.job_cards import JobCard
from estimator.report.page import html_page
from estimator.report.plain_words import clean

LOCAL_RULES = (
    "A reminder, not instruction. The maker's manual, local rules and competent or licensed people come first; if "
    "you are not sure, stop and ask one."
)
_STYLE = """
:root { --ink: #22262a; --soft: #55585b; --line: #b9b1a2; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 60rem; padding: 0.8rem 1rem; color: var(--ink); background: #fff;
  font: 15px/1.4 system-ui, sans-serif; overflow-wrap: break-word; }
article { border-top: 3px solid var(--ink); padding: 0.4rem 0 1.5rem; }
h1 { font: 700 1.5rem/1.2 Georgia, serif; margin: 0.3rem 0; }
h2 { font-size: 0.95rem; margin: 0.7rem 0 0.15rem; }
p { margin: 0.2rem 0; }
ul, ol { margin: 0.1rem 0; padding-left: 1.2rem; }
li { margin: 0.08rem 0; }
.numbered { list-style: none; padding-left: 0; }
small, .soft { color: var(--soft); }
.care { border: 2px solid var(--ink); padding: 0.3rem 0.7rem; margin: 0.5rem 0; }
.two { columns: 22rem 2; column-gap: 1.6rem; }
section { break-inside: avoid-column; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: 0.85em; }
th, td { border-bottom: 1px solid var(--line); padding: 0.05rem 0.5rem; text-align: right; }
@page { size: A4; margin: 8mm; }
@media print {
  body { font: 7.4pt/1.25 Arial, "Liberation Sans", Helvetica, sans-serif; max-width: none; padding: 0; }
  article { break-before: page; padding: 0; border: 0; }
  article:first-of-type { break-before: auto; }
  h1 { font-size: 13pt; } h2 { font-size: 8.2pt; margin: 0.35rem 0 0.05rem; }
  .two { columns: 2; column-gap: 6mm; }
  .short { font-size: 8.2pt; }
  .shortest { font-size: 9.2pt; }
  .long { font-size: 6.6pt; line-height: 1.18; }
  .longest { font-size: 6.2pt; line-height: 1.14; }
  .longest .two { columns: 3; column-gap: 4mm; }
  .longest section { break-inside: auto; }
  .longest h2 { font-size: 7pt; margin: 0.2rem 0 0; break-after: avoid; }
  .longest ul { padding-left: 0.7rem; }
  .fullest { font-size: 5.6pt; line-height: 1.1; }
}
"""
# Characters of a card from which smaller print keeps it on one page.
_SIZES = (
    (13_000, "longest fullest"),
    (7_600, "longest"),
    (5_300, "long"),
    (4_300, "plain"),
    (3_100, "short"),
    (0, "shortest"),
)


def sections(card: JobCard) -> list[tuple[str, list[str]]]:
    """(heading, lines) of a card in order; empty ones left out. Strip-down is numbered."""
    strip = []
    for number, step in enumerate(card.steps, start=1):
        low, _, high = step.hours
        text = f"{number}. {step.name} ({low:g}-{high:g} h)"
        if step.lines:
            text += ": " + " ".join(step.lines)
        if step.snag:
            text += f" May fight back: {step.snag}."
        strip.append(text)
    table = [f"{name} {grade}: {oiled:.0f}-{dry:.0f} Nm" for name, grade, oiled, dry in card.torque]
    made = [
        ("Who may do it", list(card.who)),
        ("Have ready", list(card.have_ready)),
        ("Mark before apart", list(card.marks)),
        ("What comes off, in this order", strip),
        ("Renew, or put right", list(card.renew)),
        ("Look while it is apart", list(card.look)),
        ("Renew always", list(card.always)),
        ("Part by part", [f"{name}: {' '.join(lines)}" for name, lines in card.parts]),
        ("Compounds", list(card.compounds)),
        ("Going back, tightening", list(card.tighten)),
        ("Is the figure read right? (not to tighten by)", [card.torque_note, "; ".join(table)]),
        ("Road test and recheck", list(card.road_test)),
    ]
    return [(head, lines) for head, lines in made if lines]


def cards_text(cards: Sequence[JobCard]) -> str:
    """All cards for a terminal, 80 columns."""
    return "\n\n".join(card_text(card) for card in cards)


def card_text(card: JobCard) -> str:
    """One card for a terminal."""
    rows = ["=" * WIDTH, clean(card.title), "-" * WIDTH, *bullets(card.head)]
    if card.cautions:
        rows += ["", "CARE", *bullets(card.cautions)]
    for head, lines in sections(card):
        rows += ["", head, *bullets(lines)]
    rows += ["", *wrapped(LOCAL_RULES)]
    return "\n".join(rows)


def cards_html(cards: Sequence[JobCard], *, title: str) -> str:
    """All cards as one self-contained page; printed, each begins a sheet of its own."""
    body = "\n".join(_article(card) for card in cards) or "<p>No jobs are planned.</p>"
    return html_page(f"<main>\n{body}\n</main>", title=f"{clean(title)}: job cards", style=_STYLE)


def _article(card: JobCard) -> str:
    care = "".join(f"<li>{escape(clean(c))}</li>" for c in card.cautions)
    found = sections(card)
    boxes = "".join(_section(head, lines, card) for head, lines in found)
    length = sum(len(line) for _, lines in found for line in lines) + sum(map(len, card.cautions))
    size = next(name for least, name in _SIZES if length >= least)
    return (
        f'<article id="{escape(card.id)}" class="{size}"><h1>{escape(clean(card.title))}</h1>'
        f'<p class="soft">{escape(clean(" · ".join(card.head)))}</p>'
        + (f'<div class="care"><strong>Care</strong><ul>{care}</ul></div>' if care else "")
        + f'<div class="two">{boxes}</div><p><small>{escape(LOCAL_RULES)}</small></p></article>'
    )


def _section(head: str, lines: Sequence[str], card: JobCard) -> str:
    if head.startswith("Is the figure"):
        rows, heads = _torque_rows(card)
        inside = f"<p>{escape(card.torque_note)}</p><table>{heads}{rows}</table>"
    elif head in ("Renew, or put right", "Renew always", "Have ready"):
        inside = f"<p>{escape('; '.join(clean(line) for line in lines))}.</p>"
    else:
        items = "".join(f"<li>{escape(clean(line))}</li>" for line in lines)
        numbered = ' class="numbered"' if head.startswith("What comes off") else ""
        inside = f"<ul{numbered}>{items}</ul>"
    return f"<section><h2>{escape(head)}</h2>{inside}</section>"


def _torque_rows(card: JobCard) -> tuple[str, str]:
    """The general table as HTML rows, a thread each, and its heading: oiled to dry by class."""
    grades = list(dict.fromkeys(grade for _, grade, _, _ in card.torque))
    made: dict[str, dict[str, str]] = {}
    for name, grade, oiled, dry in card.torque:
        made.setdefault(name, {})[grade] = f"{oiled:.0f} to {dry:.0f}"
    rows = []
    for name, mine in made.items():
        cells = "".join(f"<td>{mine.get(grade, '')}</td>" for grade in grades)
        rows.append(f"<tr><td>{escape(name)}</td>{cells}</tr>")
    heads = "".join(f"<th>class {escape(grade)}, Nm</th>" for grade in grades)
    return "".join(rows), f"<tr><th>thread</th>{heads}</tr>"
