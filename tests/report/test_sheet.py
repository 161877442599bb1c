"""The inspection sheet can be read over the buyer's shoulder, and what is typed into a case is never markup.

Every expectation is by hand, from what the sheet promises.
"""

from __future__ import annotations

import html
import re
import shutil
import subprocess

import pytest

from estimator import viewing
from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from estimator.report.sheet_choice import ranked_items
from estimator.report.sheet_content import TREAD, TYRE_AGE, brief, car_key, for_all_eyes, sheet_of
from estimator.report.sheet_html import file_stem, sheet_html
from estimator.report.sheet_pdf import sheet_pdf
from estimator.report.typesetting import pages_of

EXAMPLES = ("coupe", "estate", "small-saloon")
SUMS = re.compile(
    r"[£€$]|\b(?:GBP|EUR|SEK|prices?|costs?|money settings|budget|asking|walk[- ]away|haggl\w*)\b", re.I
)
CHANCES = re.compile(
    r"\b(?:probab\w*|likel\w*|chances?|odds|suspect\w*|suspici\w*|one in (?:ten|five|twenty))\b|\d ?%", re.I
)
TYPST = '#read("/etc/passwd") *bold* $x$ <label> @ref [x] \\ "q" </script><script>alert(1)</script><!-- =1+1'
CASE = """
format = 1
[car]
name = '''%s'''
viewed = 2026-06-01
built = 1968-04-01
odometer = 61200
unit = "miles"
traits = ["monocoque", "front-engine-rear-drive", "carburettor", "manual-gearbox"]
[money]
currency = "GBP"
asking = 61234
budget = 72345
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def text_of_pdf(pdf: bytes, tmp_path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler's pdftotext is not installed")
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode()


def visible(page: str) -> str:
    """What can be read on the page, tags and scripts taken out."""
    bare = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.S)
    return html.unescape(re.sub(r"<[^>]+>", " ", bare))


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_sum_and_no_chance_on_phone_or_paper(name, catalogue, tmp_path):
    case = load_case(f"data/examples/{name}.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    for text in (visible(sheet_html(sheet)), text_of_pdf(sheet_pdf(sheet, sides=None), tmp_path)):
        assert SUMS.findall(text) == []
        # these two stand in a stop line and a caution, and doubt seals and pipes, not people
        harmless = re.sub(r"brakes\s+are\s+suspect|suspected\s+leaks\s+tested", "", text)
        assert CHANCES.findall(harmless) == []
        for sum_ in filter(None, (case.money.asking, case.money.budget, case.money.risk_tolerance)):
            assert f"{sum_:.0f}" not in text.replace(",", "")


def test_all_cars_sheets_together_miss_only_checks_that_name_a_sum(catalogue):
    """What is left off for all eyes is a handful, and never a stop."""
    off = set()
    for name in EXAMPLES:
        case = load_case(f"data/examples/{name}.toml", catalogue)
        on = {item.id for item in sheet_of(case, catalogue).items}
        every = [c for s in viewing.stations(case, catalogue) for c in s.checks]
        off |= {c.id for c in every if c.id not in on and viewing.out_of_reach(c, case) is None}
    assert len(off) <= 6
    assert not any(catalogue.checks[one].stop for one in off)


def test_one_file_without_an_outside_address(catalogue):
    case = load_case("data/examples/estate.toml", catalogue)
    page = sheet_html(sheet_of(case, catalogue))
    assert not re.search(
        r"https?:|//[a-z0-9-]+\.[a-z]|@import|url\(|src=|<link|<img|<iframe|fetch\(|XMLHttp|WebSocket", page
    )
    assert "default-src 'none'" in page


def test_what_is_typed_is_text_on_phone_and_paper(catalogue, tmp_path):
    case = parse_case(CASE % TYPST, "typed.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    page = sheet_html(sheet)
    assert "<script>alert" not in page
    assert page.count("</script>") == 2
    assert TYPST in visible(page)
    squeezed = re.sub(r"\s+", "", text_of_pdf(sheet_pdf(sheet), tmp_path)).replace("“", '"').replace("”", '"')
    assert re.sub(r"\s+", "", '#read("/etc/passwd")*bold*$x$<label>@ref[x]') in squeezed


@pytest.mark.parametrize("name", EXAMPLES)
def test_two_sides_hold_stops_every_station_tyres_and_pictures(name, catalogue, tmp_path):
    case = load_case(f"data/examples/{name}.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    pdf = sheet_pdf(sheet)
    text = text_of_pdf(pdf, tmp_path)
    assert text.count("\f") == 2
    plain = re.sub(r"\s+", " ", text)
    for wanted in ("Tyres", "Front left", "Spare", "date code", "Pictures to take", "What was not looked at",
                   "not try", "refused", "Caution", "Local rules"):  # fmt: skip
        assert wanted in plain
    for station in sheet.stations:
        assert station.name in plain


def test_paper_takes_stops_first_then_the_most_telling(catalogue):
    case = load_case("data/examples/small-saloon.toml", catalogue)
    sheet = sheet_of(case, catalogue)
    ids = [item.id for item in sheet.items if item.reading is None and not item.made]
    worth = {ids[-1]: 5.0}
    ranked = ranked_items(sheet, {catalogue.checks["shimmy-wheel-shakes-at-speed"].id: 5.0, **worth})
    stops = [one for one in ranked if catalogue.checks[one].stop]
    assert ranked[: len(stops)] == stops
    assert TREAD not in ranked
    assert TYRE_AGE not in ranked


def test_more_sides_hold_more(catalogue, tmp_path):
    case = load_case("data/examples/estate.toml", catalogue)
    sheet = sheet_of(case, catalogue, stations=("road-test", "hot"))
    text = text_of_pdf(sheet_pdf(sheet, sides=3, stations=("road-test", "hot")), tmp_path)
    open_checks = [i for i in sheet.items if not i.made and i.reading is None]
    plain = re.sub(r"[\s­-]+", "", text)
    assert all(re.sub(r"[\s-]+", "", item.name)[:20] in plain for item in open_checks)
    assert "Walk-round" not in text


def test_worth_orders_within_a_station_behind_its_stops(catalogue):
    case = load_case("data/examples/estate.toml", catalogue)
    plain = sheet_of(case, catalogue)
    station = next(s for s in plain.stations if s.id == "walk-round")
    last = station.items[-1].id
    ordered = sheet_of(case, catalogue, worth={last: 1.0})
    again = next(s for s in ordered.stations if s.id == "walk-round")
    stops = sum(1 for item in again.items if item.stop)
    assert again.items[stops].id == last
    assert [i.id for i in again.items[:stops]] == [i.id for i in station.items[:stops]]


def test_a_car_that_does_not_run_says_what_cannot_be_looked_at(catalogue):
    text = (CASE % "wreck").replace("odometer =", "runs = false\nodometer =")
    sheet = sheet_of(parse_case(text, "wreck.toml", catalogue), catalogue)
    assert {why for _, why in sheet.left_out} == {"the engine does not run"}
    assert "Not possible on this car" in sheet_html(sheet)


def test_every_caution_of_a_check_stands_at_it(catalogue):
    case = load_case("data/examples/coupe.toml", catalogue)
    page = sheet_html(sheet_of(case, catalogue))
    for item in sheet_of(case, catalogue).items:
        own = page[page.index(f'id="c-{item.id}"') :].split("</article>")[0]
        for caution in item.cautions:
            assert html.escape(brief(catalogue.cautions[caution].text)) in own


def test_key_stays_and_differs_between_cars(catalogue):
    one = parse_case(CASE % "one", "a.toml", catalogue)
    assert car_key(one) == car_key(parse_case((CASE % "one").replace("61234", "1"), "b.toml", catalogue))
    assert car_key(one) != car_key(parse_case(CASE % "two", "a.toml", catalogue))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Look at it. A trader posing as a private person counts.", "Look at it."),
        ("Press here. That costs nothing. Then there.", "Press here. Then there."),
        ("Say 3.5 mm of play counts. Go on.", "Say 3.5 mm of play counts. Go on."),
    ],
)
def test_sentences_for_the_buyer_alone_are_left_out(text, expected):
    assert for_all_eyes(text) == expected


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("Estate, high mileage", "estate-high-mileage"),
        ("", "car"),
        ("Žluťoučký / ..", "lu-ou-k"),
        ("../x", "x"),
    ],
)
def test_file_stem_is_harmless(name, stem):
    assert file_stem(name) == stem


def test_pages_are_counted():
    data = {"car": "x", "facts": [], "bring": [], "stations": [], "wheels": [], "not_looked": [], "left_out": [],
            "pictures": [], "rules": "", "full": ["word " * 3000]}  # fmt: skip
    assert pages_of("sheet.typ", {**data, "full": []}) == 1
    assert pages_of("sheet.typ", data) > 1
