"""The inspection sheet as one self-contained HTML file for a phone: no server, no outside address, no network.

Everything is written out as plain HTML, so that it can be read and printed where scripts do not run; the script in
sheet.js keeps what is ticked and gives it back. Text that somebody typed is escaped, never markup.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping
from functools import cache
from html import escape
from importlib.resources import files
from types import MappingProxyType

from estimator.report.page import WITH_SCRIPT, html_page
from estimator.report.sheet_choice import BEYOND, short_list
from estimator.report.sheet_content import (
    ANSWERS,
    LOCAL_RULES,
    TREAD,
    TYRE_AGE,
    WHEELS,
    WHY_NOT,
    Item,
    Sheet,
    Station,
    brief,
)
from estimator.views import words

FURTHER = "If there is more time"

# Nothing may be loaded from or sent to anywhere; what is needed stands in the file itself.


def sheet_html(sheet: Sheet, *, worth: Mapping[str, float] = MappingProxyType({})) -> str:
    """The whole page. worth: how telling each check is, by its id; with it each station begins with its short list."""
    short = short_list(sheet, worth)
    stations = "\n".join(_station(station, sheet, short) for station in sheet.stations)
    title = f"Inspection sheet: {sheet.car}"
    body = f"""<h1>{escape(sheet.car)}</h1>
<p class="quiet">{escape(", ".join(sheet.facts))}. Inspection sheet for {words.day(sheet.viewed)}.</p>
<noscript><p class="banner">Scripts are off or not allowed here, so nothing you tick is kept. Open this file in a
browser (not in a preview), or take the printed sheet.</p></noscript>
{_top(len(sheet.items), short=bool(short))}
<main>
{stations}
{_tyres(sheet)}
{_pictures(sheet)}
{_back(sheet)}
</main>
<p id="nothing" class="quiet" hidden>No check has these words.</p>
<p class="quiet">{escape(LOCAL_RULES)}</p>
{BAR}
{_more()}
<script type="application/json" id="about">{_about(sheet)}</script>
<script>
{_part("sheet.js")}</script>"""
    more = '<meta name="format-detection" content="telephone=no">\n'
    return html_page(body, title=title, style=_part("sheet.css"), policy=WITH_SCRIPT, more=more)


def file_stem(name: str) -> str:
    """A car's name as the beginning of a file name: small letters, figures and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40].strip("-") or "car"


@cache
def _part(name: str) -> str:
    return files("estimator.report").joinpath(name).read_text(encoding="utf-8")


def _about(sheet: Sheet) -> str:
    """What the script has to know, as JSON that cannot end the element it stands in."""
    about = {
        "key": sheet.key,
        "car": sheet.car,
        "viewed": sheet.viewed.isoformat(),
        "file": f"{file_stem(sheet.car)}-findings.toml",
        "tread": TREAD,
        "age": TYRE_AGE,
        "wheels": WHEELS,
    }
    text = json.dumps(about, ensure_ascii=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _top(count: int, *, short: bool) -> str:
    lists = [("all", "all"), ("open", "not looked at"), ("done", "looked at"), ("stops", "stops")]
    if short:
        lists.insert(1, ("short", "the short list"))
    return f"""<div id="top" hidden>
<div class="row"><progress id="progress" max="{max(count, 1)}" value="0" aria-label="Checks looked at"></progress>
<span id="count" role="status"></span><span id="kept"></span></div>
<div class="row" id="finder"><input type="search" id="sought" placeholder="Find a check" aria-label="Find a check in
all stations" autocomplete="off" enterkeyhint="search"><select id="which" aria-label="Which checks are listed">
{_options(lists)}</select></div>
<p id="found" class="quiet" role="status"></p>
<p id="unkept" class="banner" role="alert" hidden></p>
<div id="stops" class="banner" role="alert" hidden></div>
</div>
{_manner()}"""


def _manner() -> str:
    return f"""<details class="card stack"><summary>How you look</summary>
<p class="quiet">Goes with every answer given from now on; each check can say otherwise.</p>
<label>Made <select id="how">{_options(words.CHOICES["how"].items())}</select></label>
<label class="tick"><input type="checkbox" id="badly">In the dark, in the wet, in a hurry</label>
<p id="waiting" class="quiet"></p></details>"""


BAR = """<nav id="bar" aria-label="Stations" hidden><div class="row">
<button type="button" id="before" aria-label="Station before">◂</button>
<select id="station" aria-label="Station"></select>
<button type="button" id="after" aria-label="Next station">▸</button></div></nav>"""


def _station(station: Station, sheet: Sheet, short: Collection[str]) -> str:
    told: set[str] = set()
    parts = "\n".join(
        _part_of(name, [_check(item, sheet, told, short=item.id in short) for item in items])
        for name, items in _parts(station, short)
    )
    name = escape(station.name)
    return (
        f'<section id="s-{station.id}" data-name="{name}"><h2 tabindex="-1">{name} '
        f'<span class="quiet" data-count="s-{station.id}"></span></h2>\n'
        f'<p class="none quiet" hidden>Nothing left here in this list.</p>\n{parts}\n</section>'
    )


def _parts(station: Station, short: Collection[str]) -> list[tuple[str, list[Item]]]:
    """A station's checks under what is said over them: the first ones, further ones, those beyond reach."""
    first = [item for item in station.items if not item.beyond and (item.stop or item.id in short)]
    further = [item for item in station.items if not item.beyond and item not in first]
    beyond = [item for item in station.items if item.beyond]
    parts = [("", first), (FURTHER if first else "", further), (BEYOND, beyond)]
    return [(name, items) for name, items in parts if items]


def _part_of(name: str, checks: list[str]) -> str:
    over = f'<h3 class="over">{escape(name)}</h3>\n' if name else ""
    return f'<div class="part">{over}' + "\n".join(checks) + "</div>"


def _check(item: Item, sheet: Sheet, told: set[str], *, short: bool) -> str:
    stop = f' data-stop="{escape(item.stop)}"' if item.stop else ""
    limits = " data-short" if short else ""
    if item.reading is not None:
        box = item.reading
        limits += f' data-low="{box.low:g}" data-high="{box.high:g}" data-unit="{escape(box.unit)}"'
    rows = [
        f'<article class="check" id="c-{item.id}" data-id="{item.id}"{stop}{limits}>',
        f"<h3>{escape(item.name)}</h3>",
        f'<p class="facts">{escape(" · ".join(item.facts))}</p>',
        f"<p>{escape(item.do)}</p>",
    ]
    rows += _cautions(item, sheet, told)
    if item.stop:
        rows.append(f'<p class="stopline">If “{escape(item.present)}”, stop. {escape(item.stop)}</p>')
    if item.made:
        rows.append(f'<p class="quiet">In the case already: {escape(item.made)}.</p>')
    rows.append(_answers(item))
    rows.append(
        '<details class="more"><summary><span>Side, how sure, note</span></summary></details></article>'
    )
    return "\n".join(rows)


def _cautions(item: Item, sheet: Sheet, told: set[str]) -> list[str]:
    """Written out and open where one stands first in a station; further down named in one line, to be opened."""
    own = [one for one in item.cautions if one in sheet.cautions]
    rows = [_caution(sheet.cautions[one]) for one in own if one not in told]
    again = [one for one in own if one in told]
    told.update(own)
    if again:
        named = ", ".join(one.replace("-", " ") for one in again)
        texts = "".join(f"<p>{escape(sheet.cautions[one])}</p>" for one in again)
        rows.append(f'<details class="caution"><summary>Caution: {escape(named)}</summary>{texts}</details>')
    return rows


def _caution(text: str) -> str:
    first = brief(text)
    rest = text[len(first) :].strip()
    return (
        f'<details class="caution" open><summary>Caution: {escape(first)}</summary>'
        f"<p>{escape(rest)}</p></details>"
    )


def _answers(item: Item) -> str:
    own = {"present": item.present, "absent": item.absent, **words.CHOICES["answer"]}
    rows = [f'<fieldset><legend class="unseen">Answer: {escape(item.name)}</legend>']
    offered: tuple[str, ...] = ANSWERS
    if item.reading is not None:
        offered = ANSWERS[2:]
        keys = "text" if item.reading.low < 0 else "decimal"  # the number pad of some phones has no minus
        rows.append(
            f'<div class="reading"><input type="text" inputmode="{keys}" autocomplete="off" '
            f'aria-label="Reading in {escape(item.reading.unit)}"><span class="unit">{escape(item.reading.unit)} '
            f'<span class="quiet">({escape(item.reading.limit)} is good)</span></span></div>'
            f'<p class="wrong" role="alert" hidden></p>'
        )
    if item.judged is not None and item.reading is not None:
        rows.append(_judged(item, item.judged))
    boxes = "".join(
        f'<label class="pick"><input type="radio" name="r-{item.id}" value="{one}">'
        f"<span>{escape(own[one])}</span></label>"
        for one in offered
    )
    return "".join(rows) + f'<div class="answers">{boxes}</div></fieldset>'


def _judged(item: Item, judged: tuple[float, float]) -> str:
    """Two buttons for what was told without measuring: each enters a reading clear of the limit, and says so."""
    buttons = "".join(
        f'<button type="button" class="judge" data-value="{value:g}">{escape(word)}</button>'
        for value, word in zip(judged, (item.present, item.absent), strict=True)
    )
    return (
        f'<p class="quiet">By magnet alone, without a gauge:</p><div class="answers judged">{buttons}</div>'
    )


def _more() -> str:
    """The details of a check, put in when they are opened."""
    sure = [(f"{share:g}", said) for share, said in words.SURE.items()]
    return f"""<template id="more"><div class="stack">
<label>Side <select name="side" data-usual="both">{_options(words.CHOICES["side"].items())}</select></label>
<label>How sure you are <select name="sure" data-usual="1">{_options(sure)}</select></label>
<label>Made <select name="how" data-usual="in-person">{_options(words.CHOICES["how"].items())}</select></label>
<label class="tick"><input type="checkbox" name="badly">In the dark, in the wet, in a hurry</label>
<label>Note <input type="text" name="note" data-usual="" maxlength="1000" autocomplete="off"></label>
</div></template>"""


def _options(pairs: object) -> str:
    return "".join(f'<option value="{escape(str(k))}">{escape(str(v))}</option>' for k, v in pairs)  # type: ignore[attr-defined]


def _tyres(sheet: Sheet) -> str:
    """Five wheels: tread at three places, date code, size and kind."""
    if TREAD not in {item.id for item in sheet.items}:
        return ""
    fields = (("inner", "inner"), ("middle", "middle"), ("outer", "outer"), ("code", "date code"))
    rows = []
    for wheel, name in WHEELS:
        boxes = "".join(
            f'<label>{label}<input type="text" inputmode="{"numeric" if what == "code" else "decimal"}" '
            f'autocomplete="off" data-wheel="{wheel}" data-what="{what}"></label>'
            for what, label in fields
        )
        kind = (
            '<label class="whole">size and type<input type="text" autocomplete="off" '
            f'data-wheel="{wheel}" data-what="kind"></label>'
        )
        rows.append(f'<fieldset class="wheel"><legend>{name}</legend>{boxes}{kind}</fieldset>')
    return f"""<section id="tyres" data-name="Tyres, wheel by wheel"><h2 tabindex="-1">Tyres, wheel by wheel</h2>
<div class="card"><p class="quiet">Tread in mm across the tyre; the date code is four figures, week and year (2507 is
week 25 of 2007); three figures are from before 2000. The lowest tread and the oldest tyre on the road are entered for
you.</p>
{"".join(rows)}
<p id="tyres-wrong" class="wrong" role="alert" hidden>One of these cannot be read: tread 0 to 15 mm, date code three or
four figures. It is handed back as you wrote it.</p><p id="tyres-say" role="status"></p></div></section>"""


def _pictures(sheet: Sheet) -> str:
    boxes = "".join(
        f'<label class="tick"><input type="checkbox" value="{escape(one)}">{escape(one)}</label>'
        for one in sheet.pictures
    )
    return (
        '<section id="pictures" data-name="Pictures to take"><h2 tabindex="-1">Pictures to take</h2>'
        f'<div class="card"><p class="quiet">With leave, in daylight, close and sharp.</p>{boxes}</div></section>'
    )


def _back(sheet: Sheet) -> str:
    """What was not looked at and why, and the findings as a file or as text."""
    reasons = _options([("", "nothing to note"), *((one, one) for one in WHY_NOT)])
    picks = "".join(
        f'<label><span>{escape(s.name)} <span class="quiet" data-count="s-{s.id}"></span></span>'
        f'<select data-station="s-{s.id}">{reasons}</select></label>'
        for s in sheet.stations
    )
    left_out = "".join(f"<li>{escape(name)}: {escape(why)}</li>" for name, why in sheet.left_out)
    listed = (
        f"<details><summary>Not possible on this car as it stands ({len(sheet.left_out)})</summary>"
        f"<ul>{left_out}</ul></details>"
        if sheet.left_out
        else ""
    )
    return f"""<section id="back" data-name="Hand back"><h2 tabindex="-1">What was not looked at, and why</h2>
<div class="card stack"><div class="reasons">{picks}</div>{listed}
<label>Notes on the whole car <textarea id="note" maxlength="4000"></textarea></label></div>
<h2>Hand the findings back</h2>
<div class="card"><p>As a file: <code>estimator record CASE --sheet FILE</code>. As text: copy it into a message to
yourself, and paste it on the Inspection page.</p>
<p id="unread" class="wrong" role="alert" hidden></p>
<div class="buttons"><button type="button" class="main" id="save">Save as a file</button>
<button type="button" id="copy">Copy as text</button></div>
<p id="said" role="status"></p>
<label class="quiet" for="block">The same as text</label>
<textarea id="block" readonly spellcheck="false"></textarea></div>
<details class="card stack"><summary>Take in findings from another phone</summary>
<label>Paste them here <textarea id="pasted" spellcheck="false"></textarea></label>
<div class="buttons"><button type="button" id="take">Take in what is pasted</button></div>
<label>or choose the file <input type="file" id="file" accept=".toml,text/plain"></label></details>
<div class="buttons"><button type="button" id="afresh">Begin afresh</button>
<button type="button" id="bring" hidden>Bring the answers back</button></div></section>"""
