"""The phone's inspection sheet driven as at the car: network cut, 390 px, one thumb.

Everything asserted here follows from what the page promises (by hand); the findings it hands back are held to the
same findings typed into a case file (second method).
"""

from __future__ import annotations

import dataclasses
import datetime

import pytest

from estimator.assess import assess
from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from estimator.report.sheet_content import TREAD, TYRE_AGE, sheet_of
from estimator.report.sheet_html import sheet_html
from estimator.report.sheet_reading import findings_from_sheet, joined_case, read_sheet
from tests.browser.offline import phone
from tests.command_line import run

pytestmark = pytest.mark.browser

CASE = """
format = 1
[car]
name = "Saloon <b>& \\"co\\"</b>"
viewed = 2026-06-01
built = 1968-04-01
odometer = 61200
unit = "miles"
viewer = "handy"
traits = ["monocoque", "front-engine-rear-drive", "carburettor", "manual-gearbox"]
[money]
currency = "GBP"
asking = 6100
"""
TYPED = f"""
[[finding]]
check = "{TREAD}"
value = 2.5
[[finding]]
check = "{TYRE_AGE}"
value = 18.9
[[finding]]
check = "oil-level-look"
result = "present"
sure = 0.8
side = "both"
note = "smells of petrol"
[[finding]]
check = "coolant-strength-tester"
value = -18
[[finding]]
check = "hoses-squeezed-bent"
result = "refused"
badly = true
[[finding]]
check = "brake-fluid-boiling-point-tester"
value = 171.5
"""


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def made(tmp_path_factory, catalogue):
    case = parse_case(CASE, "saloon.toml", catalogue)
    path = tmp_path_factory.mktemp("sheet") / "saloon-sheet.html"
    path.write_text(sheet_html(sheet_of(case, catalogue)), encoding="utf-8")
    return case, path


def go(page, station):
    page.select_option("#station", station)


def without_notes(case):
    return {f.check: (f.result, f.value, f.sure, f.how, f.badly, f.side, f.by, f.date) for f in case.finding}


def answer(page, check, result):
    page.locator(f'#c-{check} .pick:has(input[value="{result}"])').tap()


def more(page, check):
    page.locator(f"#c-{check} .more > summary").tap()
    return page.locator(f"#c-{check} .stack")


def test_ticked_reloaded_handed_back_and_read_as_if_typed(made, tmp_path, catalogue):
    case, path = made
    with phone(tmp_path / "profile") as (page, asked):
        page.goto(path.as_uri())
        assert page.evaluate("[document.documentElement.scrollWidth, innerWidth]") == [390, 390]
        go(page, "s-bonnet-cold")
        answer(page, "oil-level-look", "absent")
        answer(page, "oil-level-look", "present")
        box = more(page, "oil-level-look")
        box.locator("[name=sure]").select_option("0.8")
        box.locator("[name=note]").fill('smells of petrol, "thin" – 3 mm low')
        page.fill("#c-brake-fluid-boiling-point-tester .reading input", "171,5")
        page.fill("#c-coolant-strength-tester .reading input", "−18")
        answer(page, "hoses-squeezed-bent", "refused")
        more(page, "hoses-squeezed-bent").locator("[name=badly]").tap()
        answer(page, "emulsion-under-filler-cap", "absent")
        answer(page, "emulsion-under-filler-cap", "absent")  # tapped again: taken back
        go(page, "tyres")
        for wheel, tread, code in (
            ("front-left", "2,5", "2009"),
            ("rear-right", "6", "2807"),
            ("spare", "1", "258"),
        ):
            page.fill(f'[data-wheel="{wheel}"][data-what="middle"]', tread)
            page.fill(f'[data-wheel="{wheel}"][data-what="code"]', code)
        assert "2.5 mm" in page.inner_text("#tyres-say")
        before = page.inner_text("#count")
        assert before.startswith("6 of ")

        page.reload()
        assert page.inner_text("#count") == before
        assert page.locator("#station").input_value() == "tyres"
        assert page.locator("#c-oil-level-look input[value=present]").is_checked()
        assert not page.locator("#c-emulsion-under-filler-cap input[value=absent]").is_checked()

        go(page, "back")
        page.locator('[data-station="s-on-a-lift"]').select_option("no lift or jack")
        page.fill("#note", "second look on Friday")
        with page.expect_download() as waiting:
            page.tap("#save")
        saved = tmp_path / waiting.value.suggested_filename
        waiting.value.save_as(saved)
        assert saved.name == "saloon-b-co-b-findings.toml"
        assert page.input_value("#block").strip() == saved.read_text(encoding="utf-8").strip()
        assert {one.split(":")[0] for one in asked} <= {"file", "blob"}

    read = read_sheet(saved.read_text(encoding="utf-8"), catalogue)
    assert read.sheet.car == case.name
    assert "On a lift: no lift or jack" in read.remark
    assert "second look on Friday" in read.remark
    joined = joined_case(case, read, catalogue).case
    typed = parse_case(CASE + TYPED, "typed.toml", catalogue)
    assert without_notes(joined) == without_notes(typed)
    assert {f.check: f.note for f in joined.finding}[
        "oil-level-look"
    ] == 'smells of petrol, "thin" – 3 mm low'
    assert [f.check for f in joined.finding] == [f.check for f in typed.finding]
    handed = assess(joined, catalogue, draws=1000)
    assert handed == assess(typed, catalogue, draws=1000)
    assert handed != assess(case, catalogue, draws=1000)

    there = tmp_path / "car.toml"  # and the same through the command line, comments kept
    there.write_text("# of my own\n" + CASE, encoding="utf-8")
    assert run("record", there, "--sheet", saved, "--no-forecast") == 0
    assert there.read_text(encoding="utf-8").startswith("# of my own\n")
    recorded = load_case(there, catalogue)
    assert without_notes(recorded) == without_notes(typed)
    by_hand = assess(typed, catalogue, draws=1000)
    assert dataclasses.replace(assess(recorded, catalogue, draws=1000), case=by_hand.case) == by_hand


def test_tyre_age_is_counted_from_the_week_in_the_code(made, tmp_path):
    """By hand: week 28 of 2007 begins about 9 July 2007; to 1 June 2026 that is 18.9 years."""
    _, path = made
    with phone(tmp_path / "profile") as (page, _):
        page.goto(path.as_uri())
        go(page, "tyres")
        page.fill('[data-wheel="rear-right"][data-what="code"]', "2807")
        page.fill('[data-wheel="front-left"][data-what="code"]', "9999")
        assert "18.9 years" in page.inner_text("#tyres-say")
        assert page.locator("#tyres-wrong").is_visible()
        go(page, "back")
        assert "code 9999" in page.input_value("#block")  # nothing typed is lost
    made_on = datetime.date.fromisocalendar(2007, 28, 1)
    assert (datetime.date(2026, 6, 1) - made_on).days / 365.25 == pytest.approx(18.9, abs=0.05)


def test_another_phone_takes_it_in_and_hands_the_same_back(made, tmp_path, catalogue):
    _, path = made
    with phone(tmp_path / "one") as (page, _):
        page.goto(path.as_uri())
        go(page, "s-bonnet-cold")
        answer(page, "oil-level-look", "present")
        more(page, "oil-level-look").locator("[name=note]").fill('"quoted" \\ back\u2028slash')
        page.fill("#c-battery-rest-voltage .reading input", "12.1")
        go(page, "back")
        block = page.input_value("#block")
    with phone(tmp_path / "two") as (page, _):
        page.goto(path.as_uri())
        assert page.inner_text("#count").startswith("0 of ")
        go(page, "back")
        page.locator("summary", has_text="another phone").tap()
        page.fill("#pasted", block)
        page.tap("#take")
        assert "2 taken in" in page.inner_text("#said")
        assert findings_from_sheet(page.input_value("#block"), catalogue) == findings_from_sheet(
            block, catalogue
        )


def test_readings_that_cannot_be_are_said_and_handed_back_as_notes(made, tmp_path, catalogue):
    _, path = made
    with phone(tmp_path / "profile") as (page, _):
        page.goto(path.as_uri())
        go(page, "s-bonnet-cold")
        page.fill("#c-battery-rest-voltage .reading input", "124")
        assert "0 to 15 volts" in page.inner_text("#c-battery-rest-voltage .wrong")
        go(page, "back")
        assert page.locator("#unread").is_visible()
        read = read_sheet(page.input_value("#block"), catalogue)
    assert read.findings == ()
    assert "Battery rest voltage: 124" in read.remark


def test_search_lists_and_stops(made, tmp_path):
    _, path = made
    with phone(tmp_path / "profile") as (page, _):
        page.goto(path.as_uri())
        page.fill("#sought", "brake fluid")
        shown = page.locator(".check:visible h3").all_inner_texts()
        assert "Brake fluid boiling point by tester" in shown
        assert page.inner_text("#found").startswith(f"{len(shown)} check")
        page.fill("#sought", "no such words anywhere")
        assert page.locator("#nothing").is_visible()
        page.fill("#sought", "")
        page.select_option("#which", "stops")
        stops = page.locator(".check:visible").count()
        assert stops == page.locator(".check[data-stop]").count() > 5
        answer(page, "fuel-dripping-anywhere", "present")
        assert "Liquid fuel is leaking" in page.inner_text("#stops")
        page.select_option("#which", "done")
        go(page, "s-walk-round")
        assert page.locator(".check:visible").count() == 1


def test_storage_that_fails_is_said_and_the_tab_keeps_it(made, tmp_path):
    _, path = made
    broken = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('denied'); } });"
    with phone(tmp_path / "profile") as (page, _):
        page.add_init_script(broken)
        page.goto(path.as_uri())
        assert "keeps nothing" in page.inner_text("#unkept")
        go(page, "s-bonnet-cold")
        answer(page, "oil-level-look", "absent")
        page.on("dialog", lambda dialog: dialog.accept())  # "leave this page?"
        page.reload()
        assert page.inner_text("#count").startswith("1 of ")


def test_every_target_is_as_large_as_a_thumb(made, tmp_path):
    """44 CSS pixels: WCAG 2.2, success criterion 2.5.5, target size (enhanced) (published)."""
    _, path = made
    look = """() => {
      document.querySelectorAll("section, [hidden]").forEach((one) => { one.hidden = false; });
      document.querySelectorAll("details").forEach((one) => { one.open = true; });
      return [...document.querySelectorAll("button, select, textarea, summary, .pick, .tick, input[type=text], "
        + "input[type=search], input[type=file]")]
        .map((one) => [one.tagName, one.id || one.className, one.getBoundingClientRect()])
        .filter(([, , box]) => box.width > 0 && (box.height < 44 || box.width < 44))
        .map(([tag, name, box]) => `${tag} ${name} ${box.width}x${box.height}`);
    }"""
    with phone(tmp_path / "profile") as (page, _):
        page.goto(path.as_uri())
        page.wait_for_selector("#bar")
        assert page.evaluate(look) == []


def test_the_examples_open_without_fault(tmp_path, catalogue):
    for name in ("estate", "coupe"):
        case = load_case(f"data/examples/{name}.toml", catalogue)
        path = tmp_path / f"{name}.html"
        path.write_text(sheet_html(sheet_of(case, catalogue)), encoding="utf-8")
        with phone(tmp_path / name) as (page, _):
            page.goto(path.as_uri())
            count = page.locator(".check").count()
            assert page.inner_text("#count") == f"0 of {count} looked at"


def test_a_magnets_answer_is_a_reading_and_the_short_list_comes_first(tmp_path, catalogue):
    """By hand: the limit of 1,000 and twice a reading's error of 150 on either side; the note says how it was told."""
    magnet = "magnet-paint-gauge-along-sills-arches-door"
    case = parse_case(CASE, "saloon.toml", catalogue)
    worth = {one: float(place) for place, one in enumerate(catalogue.checks)} | {magnet: 1e6}
    path = tmp_path / "s.html"
    path.write_text(sheet_html(sheet_of(case, catalogue, worth=worth), worth=worth), encoding="utf-8")
    with phone(tmp_path / "profile") as (page, _):
        page.goto(path.as_uri())
        go(page, "s-walk-round")
        visible = "#s-walk-round .check:not([hidden])"
        every = page.locator(visible).count()
        page.select_option("#which", "short")
        assert 0 < page.locator(visible).count() < every
        assert page.locator("#s-walk-round .over").first.is_hidden()  # nothing is left below it
        page.select_option("#which", "all")
        assert page.locator("#s-walk-round .over").first.is_visible()
        page.locator(f"#c-{magnet} .judge").first.tap()
        assert page.locator(f"#c-{magnet} .reading input").input_value() == "1300"
        go(page, "back")
        (found,) = findings_from_sheet(page.input_value("#block"), catalogue)
        assert (found.check, found.value, found.result) == (magnet, 1300.0, None)
        assert found.note == "told by magnet, not measured"
        go(page, "s-walk-round")
        page.fill(f"#c-{magnet} .reading input", "820")  # measured after all
        go(page, "back")
        (found,) = findings_from_sheet(page.input_value("#block"), catalogue)
        assert (found.value, found.note) == (820.0, "")
        go(page, "s-walk-round")
        page.locator(f"#c-{magnet} .judge").last.tap()
        page.locator(f"#c-{magnet} .judge").last.tap()  # tapped again: taken back
        assert page.inner_text("#count").startswith("0 of ")
