"""The report and the workbook say what the assessment says, and what somebody typed stays text in all of them.

Figures are read back with other programs (poppler's pdftotext, openpyxl, the standard library's XML parser) and held
to the assessment they were made from (second method); the order of the report is by hand.
"""

from __future__ import annotations

import html
import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree

import pytest

from estimator.assess import assess_fully
from estimator.case import parse_case
from estimator.catalogue.load import load_catalogue
from estimator.decide.budget import budget_room
from estimator.report.dots_svg import NARROW, dots_svg
from estimator.report.report_content import report_of
from estimator.report.report_html import report_html
from estimator.report.report_pdf import report_pdf
from estimator.report.workbook import workbook
from estimator.views import words

NASTY = '=HYPERLINK("http://x.example","y") <script>alert(1)</script> #read("/etc/passwd") *b* $x$ &amp;'
CASE = f"""
format = 1
[car]
name = '''{NASTY}'''
viewed = 2026-06-01
built = 1968-04-01
odometer = 61200
unit = "miles"
traits = ["monocoque", "front-engine-rear-drive", "carburettor", "manual-gearbox", "two-piece-prop-shaft"]
storage = "outdoors"
[money]
currency = "GBP"
asking = 6100
budget = 9000
[[finding]]
check = "fuel-dripping-anywhere"
result = "present"
[[finding]]
check = "oil-level-look"
result = "present"
note = "+1+1"
[[finding]]
check = "sight-down-flanks"
result = "present"
"""


@pytest.fixture(scope="module")
def whole():
    catalogue = load_catalogue()
    text = CASE if "sight-down-flanks" in catalogue.checks else CASE[: CASE.rindex("[[finding]]")]
    case = parse_case(text, "typed.toml", catalogue)
    return assess_fully(case, catalogue, draws=2000), case, catalogue


@pytest.fixture(scope="module")
def room(whole):
    left = budget_room(whole[0])
    assert left is not None
    return left


@pytest.fixture(scope="module")
def made(whole, room):
    result, case, catalogue = whole
    return result.assessment, case, catalogue, report_of(result.assessment, case, catalogue, room=room)


@pytest.fixture(scope="module")
def printed(made, room, tmp_path_factory):
    a, _, _, report = made
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler's pdftotext is not installed")
    path = tmp_path_factory.mktemp("pdf") / "report.pdf"
    path.write_bytes(report_pdf(report, dots_svg(a, room=room.reach)))
    done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
    return re.sub(r"\s+", " ", done.stdout.decode())


def in_order(text: str, *wanted: str) -> bool:
    places = [text.find(one) for one in wanted]
    return -1 not in places and places == sorted(places)


ORDER = (
    "Stop. Settle this before", "Liquid fuel is leaking", "Not looked at yet", "to spend in the first year", "The sums",
    "Found, and not seen yet", "Part by part", "Apart from the sums", "What the estimate rests on",
    "What needs care", "not an inspection, a valuation or a roadworthiness certificate",
)  # fmt: skip


def test_pdf_says_it_in_order(made, printed):
    assert in_order(printed, *ORDER)
    assert made[3].headline.replace(words.NBSP, " ") in printed


def test_html_says_it_in_order(made, room):
    a, _, _, report = made
    page = report_html(report, dots_svg(a, room=room.reach, width=NARROW))
    bare = html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style.*?</style>", " ", page, flags=re.S)))
    assert in_order(re.sub(r"\s+", " ", bare), *ORDER)
    assert "<script" not in page
    assert NASTY in bare
    # the name of an SVG's vocabulary is no address that is fetched
    outside = page.replace("http://www.w3.org/2000/svg", "").replace(html.escape(NASTY), "")
    assert not re.search(r"https?:|@import|url\(|src=|<link|<img", outside)
    assert len(re.findall(r"<h1\b", page)) == 1
    assert 'lang="en"' in page


def test_typst_takes_what_is_typed_as_text(printed):
    assert "root:" not in printed
    assert '#read("/etc/passwd")' in printed.replace("“", '"').replace("”", '"')


def test_every_part_with_weight_has_its_line(made, printed):
    a, _, _, report = made
    lines = {line.id for block in report.systems for line in block.parts}
    heavy = {
        c.id for c in a.components if c.need != "comfort" and c.mean_cost > 0.01 * a.total.plan_year.mean
    }
    assert heavy
    assert heavy <= lines
    squeezed = printed.replace(" ", "")
    for block in report.systems:
        for line in block.parts[:3]:
            assert line.name.replace(" ", "")[:25] in squeezed


def test_reasons_told_add_up_to_the_chance(made):
    """The points of a line, "all else" in them, come to the chance printed behind them, each being rounded."""
    for block in made[3].systems:
        for line in block.parts:
            body, _, total = line.why.rpartition(" = ")
            points = [float(x.replace("−", "-")) for x in re.findall(r"(?:^|; )([+−-]?\d+(?:\.\d+)?) ", body)]
            chance = float(re.sub(r"[^\d.]", "", total))
            assert sum(points) == pytest.approx(chance, abs=1.6)


def test_dots_are_twenty_and_hollow_beyond_the_budget(made, room):
    a, _, _, _ = made
    for width in (640.0, NARROW):
        root = ElementTree.fromstring(dots_svg(a, room=room.reach, width=width))
        circles = [one for one in root.iter() if one.tag.endswith("circle")]
        assert len(circles) == 20
        assert sum(one.get("fill") == "#fff" for one in circles) == sum(x > room.reach for x in a.dots)
        assert root.get("role") == "img"
        assert root.get("aria-label")
        assert all(0 < float(one.get("cx")) < width for one in circles)


def test_pdf_is_tagged_and_titled(made):
    a, _case, _, report = made
    pdf = report_pdf(report, dots_svg(a))
    assert b"/StructTreeRoot" in pdf
    if shutil.which("pdfinfo"):
        done = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True)
        said = done.stdout.decode(errors="replace")
        assert "what it will cost" in said
        assert re.search(r"Tagged:\s+yes", said)


@pytest.fixture(scope="module")
def book(made):
    openpyxl = pytest.importorskip("openpyxl", reason="openpyxl is not installed")
    a, case, catalogue, report = made
    return openpyxl.load_workbook(io.BytesIO(workbook(a, case, catalogue, report)))


def test_workbook_holds_every_part_and_sum(made, book):
    a, _, _, _ = made
    rows = list(book["Parts"].iter_rows(min_row=2, values_only=True))
    assert [row[0] for row in rows] == [c.id for c in a.components]
    for row, c in zip(rows, a.components, strict=True):
        assert (row[6], row[8], row[13]) == pytest.approx((c.p_spent, c.p_due, c.mean_cost))
    sums = {(row[0], row[1]): row for row in book["Sums"].iter_rows(min_row=2, values_only=True)}
    year = a.total.plan_year
    assert sums["together", "first year"][4:6] == pytest.approx((year.p10, year.p50))
    found, hidden, both = (sums[name, "first year"][2] for name in ("found", "not seen yet", "together"))
    assert found + hidden == pytest.approx(both)
    points: dict[str, float] = {}
    for part, _, _, step in book["Why"].iter_rows(min_row=2, values_only=True):
        points[part] = points.get(part, 0.0) + step
    names = [c.name for c in a.components]
    for c in a.components:
        if names.count(c.name) == 1:
            assert points[c.name] == pytest.approx(100 * c.p_spent, abs=1e-6)


def test_workbook_has_no_formula_and_no_link(made, book):
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", (sheet.title, cell.coordinate, cell.value)
                assert cell.hyperlink is None
    assert book.properties.title.startswith("=HYPERLINK")


def test_workbook_is_the_same_every_time(made):
    a, case, catalogue, report = made
    assert workbook(a, case, catalogue, report) == workbook(a, case, catalogue, report)
