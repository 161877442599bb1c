"""Job cards as text for a terminal and as one HTML file: printed, a page a job where that can be read beside a car.

A card that would need smaller print takes both sides of its leaf, cautions and the order of work on the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import ceil

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
.side-number { font-weight: 400; color: var(--soft); }
@page { size: A4; margin: 8mm; }
@media print {
  body { font: 8.5pt/1.16 Arial, "Liberation Sans", Helvetica, sans-serif; max-width: none; padding: 0; }
  article { break-before: page; padding: 0; border: 0; }
  article:first-of-type { break-before: auto; }
  .side + .side { break-before: page; }
  h1 { font-size: 1.4em; margin: 0 0 0.1em; } h2 { font-size: 1em; margin: 0.3em 0 0; break-after: avoid; }
  p { margin: 0.1em 0; } li { margin: 0; } ul, ol { margin: 0; padding-left: 1.1em; }
  .numbered { padding-left: 0; }
  small, table { font-size: 1em; } td, th { padding: 0 0.4em; }
  .care { border-width: 1px; padding: 0.1em 0.5em; margin: 0.3em 0; }
  .two { columns: 2; column-gap: 5mm; }
  .small section { break-inside: auto; }
  .large { font-size: 10pt; }
  .medium { font-size: 9.2pt; }
}
"""
# Print sizes in points, the largest that keeps a card on one page is taken; none is smaller than can be read at
# arm's length. Rows and letters to a row are those of A4 within its margins; a letter is nearly half its size wide.
_SIZES = ((10.0, "large"), (9.2, "medium"), (8.5, "small"))
_PAGE_PT, _LINE, _WIDE_PT, _COLUMN_PT, _LETTER = 796.0, 1.16, 550.0, 262.0, 0.46
_TITLE, _HEAD, _TABLE, _FOOT, _SPARE = 1.7, 1.4, 6.0, 2.0, 0.97  # rows; how full a page is planned, at most
Section = tuple[str, list[str]]
_RUN_ON = ("Renew, or put right", "Renew always", "Have ready")  # printed as one paragraph
# Printed so only where a leaf does not hold the card else.
_CLOSED = (
    "Mark before apart",
    "Part by part",
    "Compounds",
    "Going back, tightening",
    "Road test and recheck",
)
_CLOSE, _DOT = "close", " • "
_TORQUE = "Is the figure read right? (not to tighten by)"
_ON = ", continued"


def sections(card: JobCard) -> list[Section]:
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
        (_TORQUE, [card.torque_note, "; ".join(table)] if table else []),
        ("Road test and recheck", list(card.road_test)),
    ]
    return [(head, lines) for head, lines in made if lines]


def cards_text(cards: Sequence[JobCard]) -> str:
    """All cards for a terminal, 80 columns."""
    return "\n\n".join(card_text(card) for card in cards) or "No jobs are planned."


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


def card_sides(card: JobCard) -> tuple[str, list[list[Section]]]:
    """The size a card is printed in, by its style's name, and its sections by side: one where it can be read.

    A list that does not fit on what is left of a side goes on overleaf.
    """
    found = sections(card)
    for points, name in _SIZES:
        if _rows(found, points) <= 2 * (_page(points) - _top_rows(card, points)):
            return name, [found]
    points, name = _SIZES[-1]
    sides = _leaf(card, found, points, close=False)
    if len(sides) > 2:  # more than a leaf: its lists run on as paragraphs
        name, sides = f"{name} {_CLOSE}", _leaf(card, found, points, close=True)
    return name, sides


def _leaf(card: JobCard, found: Sequence[Section], points: float, *, close: bool) -> list[list[Section]]:
    """Sections by side, as many sides as it takes. close : the lists in `_CLOSED` run on as paragraphs."""
    sides: list[list[Section]] = [[]]
    room = 2 * (_page(points) - _top_rows(card, points))
    waiting = list(found)
    while waiting:
        head, lines = waiting.pop(0)
        fits = _fitting(head, lines, room, points, close=close)
        if fits:
            sides[-1].append((head, lines[:fits]))
            room -= _rows([(head, lines[:fits])], points, close=close)
        if fits < len(lines):
            waiting.insert(0, (head if not fits else f"{head.removesuffix(_ON)}{_ON}", lines[fits:]))
            sides.append([])
            room = 2 * (_page(points) - _TITLE - _FOOT)
    return sides


def _fitting(head: str, lines: list[str], room: float, points: float, *, close: bool) -> int:
    """How many of a section's lines fit into some rows; those of a paragraph or a table all, or none."""
    whole = _rows([(head, lines)], points, close=close) <= room
    if whole or head in (*_RUN_ON, _TORQUE) or (close and head in _CLOSED):
        return len(lines) if whole else 0
    fits = 0
    while fits < len(lines) and _rows([(head, lines[: fits + 1])], points, close=close) <= room:
        fits += 1
    return fits


def _page(points: float) -> float:
    """Rows of a page in a size."""
    return _SPARE * _PAGE_PT / (points * _LINE)


def _rows(found: Sequence[Section], points: float, *, close: bool = False) -> float:
    """Rows that sections take in a column."""
    letters = _COLUMN_PT / (points * _LETTER)
    rows = 0.0
    for head, lines in found:
        run_on = head in _RUN_ON or (close and head in _CLOSED)
        texts = [_DOT.join(lines)] if run_on else lines
        rows += _HEAD + sum(ceil(len(text) / letters) for text in texts)
        rows += _TABLE if head == _TORQUE else 0
    return rows


def _top_rows(card: JobCard, points: float) -> float:
    """Rows that title, head and cautions take over the whole width, and the line at the foot."""
    letters = _WIDE_PT / (points * _LETTER)
    texts = [" · ".join(card.head), *card.cautions]
    title = _TITLE * ceil(1.4 * len(card.title) / letters)
    return title + _FOOT + 2.5 + sum(ceil(len(text) / letters) for text in texts)


def _article(card: JobCard) -> str:
    care = "".join(f"<li>{escape(clean(c))}</li>" for c in card.cautions)
    size, sides = card_sides(card)
    top = f'<p class="soft">{escape(clean(" · ".join(card.head)))}</p>' + (
        f'<div class="care"><strong>Care</strong><ul>{care}</ul></div>' if care else ""
    )
    made = []
    for number, found in enumerate(sides, start=1):
        many = len(sides) > 1
        which = f' <span class="side-number">{number} of {len(sides)}</span>' if many else ""
        boxes = "".join(_section(head, lines, card, close=_CLOSE in size) for head, lines in found)
        made.append(
            f'<div class="side"><h1>{escape(clean(card.title))}{which}</h1>'
            f'{top if number == 1 else ""}<div class="two">{boxes}</div>'
            f"<p><small>{escape(LOCAL_RULES)}</small></p></div>"
        )
    return f'<article id="{escape(card.id)}" class="{size}">{"".join(made)}</article>'


def _section(head: str, lines: Sequence[str], card: JobCard, *, close: bool) -> str:
    if head == _TORQUE:
        rows, heads = _torque_rows(card)
        inside = f"<p>{escape(card.torque_note)}</p><table>{heads}{rows}</table>"
    elif head in _RUN_ON:
        inside = f"<p>{escape('; '.join(clean(line) for line in lines))}.</p>"
    elif close and head in _CLOSED:
        inside = f"<p>{escape(_DOT.join(clean(line) for line in lines))}</p>"
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
