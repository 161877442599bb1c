"""The pages after the cost, with nothing and with the example cars; what they give away and what they keep.
Tags: by hand (what must follow from what was typed), second method (the same figure from the package itself)."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from estimator.case import dump_case, load_case, parse_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.pages import estimate, order_list, session
from estimator.store import Store
from estimator.views import offering, words
from tests.pages.conftest import case_of, go, ran, words_on

Opened = Callable[[str], AppTest]
LATER = ("next_look", "offer", "first_year", "keeping", "worked_out")


def plainly(text: str) -> str:
    """Markdown's escapes taken away."""
    return re.sub(r"\\(.)", r"\1", text)


@pytest.mark.parametrize("page", [*LATER, "candidates"])
def test_every_page_says_what_to_do_while_there_is_no_car(app: AppTest, page: str) -> None:
    at = go(app, page)
    assert at.title[0].value
    assert "Start a car" in at.info[0].value


@pytest.mark.parametrize("example", ["coupe", "small-saloon"])
def test_every_page_shows_the_examples_and_changes_nothing(opened: Opened, example: str) -> None:
    at = opened(example)
    before = case_of(at)
    for page in LATER:
        at = go(at, page)
        assert not at.error, page
        assert at.header[0].value, page
        if page != "next_look":
            assert words.CAUTION in words_on(at), page
    assert case_of(at) == before


def test_what_a_price_needs_is_asked_for(app: AppTest) -> None:
    """By hand: a car without asking price and value has no offer; the message names both fields."""
    app.text_input(key="new_built").set_value("1972")
    app.number_input(key="new_odometer").set_value(61_200.0)
    at = ran(app.button(key="new_start").click().run())
    for page in ("next_look", "offer"):
        at = go(at, page)
        said = plainly(at.info[0].value)
        assert "Asking price: is needed" in said
        assert "What a good example sells for: is needed" in said


def test_a_check_answered_here_is_a_finding_and_leaves_the_list(opened: Opened) -> None:
    at = go(opened("small-saloon"), "next_look")
    shown = [g.key.split(".")[1] for g in at.button_group if g.key.endswith(".result")]
    assert 1 <= len(shown) <= 3
    check = shown[0]
    at = ran(at.button_group(key=f"c1_finding.{check}.result").set_value("absent").run())
    made = case_of(at).finding[-1]
    assert (made.check, made.result) == (check, "absent")
    assert f"c1_finding.{check}.result" not in {g.key for g in at.button_group}


def test_few_minutes_leave_few_checks(opened: Opened) -> None:
    """By hand: the minutes of the checks proposed stay within what was given."""
    at = go(opened("coupe"), "next_look")
    at = ran(at.number_input(key="next_minutes").set_value(4.0).run())
    told = next(m.value for m in at.markdown if re.search(r"\d+ checks?, [\d.]+ minutes", m.value))
    assert float(re.search(r", ([\d.]+) minutes", told).group(1)) <= 4  # type: ignore[union-attr]


def test_a_pasted_sheet_comes_in_once_and_loses_nothing(opened: Opened) -> None:
    at = go(opened("small-saloon"), "next_look")
    before = case_of(at)
    checks = load_catalogue().checks
    made = {f.check for f in before.finding}
    fresh = next(c.id for c in checks.values() if c.reading is None and c.when == "all" and c.id not in made)
    sheet = f'format = 1\n[[finding]]\ncheck = "{fresh}"\nresult = "absent"\nnote = "by torch"\n'
    at.text_area(key="sheet_pasted").set_value(sheet)
    at = ran(at.button(key="sheet_read").click().run())
    after = case_of(at)
    assert after.finding[:-1] == before.finding
    assert (after.finding[-1].check, after.finding[-1].note) == (fresh, "by torch")
    assert any("1 new" in one.value for one in at.info)
    at.text_area(key="sheet_pasted").set_value(sheet)
    at = ran(at.button(key="sheet_read").click().run())
    assert case_of(at) == after
    assert any("1 here already" in one.value for one in at.info)


def test_a_pasted_sheet_with_a_fault_changes_nothing_and_stays(opened: Opened) -> None:
    at = go(opened("small-saloon"), "next_look")
    before = case_of(at)
    bad = '[[finding]]\ncheck = "no-such-check"\nresult = "absent"\n'
    at.text_area(key="sheet_pasted").set_value(bad)
    at = ran(at.button(key="sheet_read").click().run())
    assert "no-such-check" in plainly(at.error[0].value)
    assert at.text_area(key="sheet_pasted").value == bad
    assert case_of(at) == before


def test_the_offer_on_the_page_is_that_of_the_package(opened: Opened) -> None:
    """Second method: `estimator.decide.offer.offer` with the same draws."""
    from estimator.decide.offer import offer

    at = go(opened("small-saloon"), "offer")
    found = offer(case_of(at), load_catalogue(), draws=estimate.DRAWS)
    assert plainly(at.header[0].value) == offering.headline(found)
    at = ran(at.number_input(key="offer_try_1").set_value(found.walk_away + 500).run())
    assert "above your limit" in words_on(at)


def test_the_sheet_for_the_table_holds_nothing_of_the_buyers(opened: Opened) -> None:
    """By hand: neither the buyer's figures nor the car's name are in what can be downloaded for the seller."""
    at = go(opened("coupe"), "offer")
    case = case_of(at)
    text = next(c.value for c in at.code)
    for amount in (case.money.budget, case.money.asking, case.money.risk_tolerance):
        assert f"{amount:,.0f}" not in text
    assert case.car.name not in text
    assert not re.search(r"budget|walk away|your limit|offer|asking|chance|probab|worth", text.lower())


def test_what_is_ordered_stays_ticked_on_another_day(opened: Opened) -> None:
    at = opened("coupe")
    at.session_state["orders_parts"] = True  # the box of one kind of supplier is open
    at = go(at, "first_year")
    boxes = at.checkbox
    assert boxes
    key = boxes[0].key
    at = ran(boxes[0].check().run())
    case_id = Store().list()[0].case_id
    assert (order_list.data_folder() / f"ordered-{case_id}.json").is_file()
    again = AppTest.from_file(str(at._script_path), default_timeout=240)
    again.query_params["car"] = case_id
    again.session_state["orders_parts"] = True
    again = go(ran(again.run()), "first_year")
    assert any(": 1 of " in e.label for e in again.expander)
    assert [c.value for c in again.checkbox if c.key == key] == [True]


def test_the_purchase_and_a_bill_are_written_into_the_case(opened: Opened) -> None:
    at = go(opened("small-saloon"), "first_year")
    before = case_of(at)
    at.text_input(key="done_date").set_value("2027-01-20")
    at.multiselect(key="done_parts").set_value(["battery"])
    at = ran(at.button(key="done_keep").click().run())
    said = plainly(at.error[0].value)  # not bought yet: a day after the viewing cannot be
    assert (
        "battery: When: lies in the future of the day the car was seen (\u201cDay you saw it\u201d)" in said
    )
    assert "write the purchase down first" in said
    assert case_of(at) == before
    assert at.text_input(key="done_date").value == "2027-01-20"

    at.text_input(key="done_bought_date").set_value("2026-11-02")
    at.number_input(key="done_bought_price").set_value(7_600.0)
    at = ran(at.button(key="done_bought_keep").click().run())
    assert case_of(at).bought.price == 7_600
    at.number_input(key="done_price").set_value(95.0)
    at = ran(at.button(key="done_keep").click().run())
    assert not at.error
    entry = case_of(at).work[-1]
    assert (entry.component, entry.what, entry.evidence, entry.price) == ("battery", "renewed", "invoice", 95)
    assert case_of(at).work[:-1] == before.work


def _write_down(at: AppTest, day: str, *, button: str = "done_keep", **fields: float) -> AppTest:
    at.text_input(key="done_date").set_value(day)
    at.multiselect(key="done_parts").set_value(["battery"])
    for name, value in fields.items():
        at.number_input(key=f"done_{name}").set_value(value)
    return ran(at.button(key=button).click().run())


def test_what_was_recorded_is_refused_twice_and_before_the_purchase_as_on_the_command_line(
    opened: Opened, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: one bill twice, and a bill older than the purchase given as later work. Both surfaces say the same, the
    case stays as it was and what was typed stays in its fields; said to be history, the old bill is taken."""
    from estimator.cli import main

    def said_on_the_command_line(*words: str) -> str:
        file = tmp_path / "car.toml"
        file.write_text(dump_case(case_of(at)), "utf-8")
        assert (
            main(["record", str(file), "--no-forecast", "--invoice", "battery", "--price", "95", *words]) == 2
        )
        return " ".join(capsys.readouterr().err.split("battery: ", 1)[1].split())

    def said_here() -> str:
        return " ".join(plainly(at.error[0].value).split("battery: ", 1)[1].split())

    at = go(opened("small-saloon"), "first_year")
    at.text_input(key="done_bought_date").set_value("2026-11-02")
    at = ran(at.button(key="done_bought_keep").click().run())
    at = _write_down(at, "2027-01-20", price=95.0)
    before = case_of(at)
    assert before.work[-1].price == 95
    assert at.text_input(key="done_date").value == ""  # taken: the fields are free for the next

    at = _write_down(at, "2027-01-20", price=95.0)
    assert "recorded already" in said_here()
    assert said_here() == said_on_the_command_line("--date", "2027-01-20")
    assert case_of(at) == before
    assert at.text_input(key="done_date").value == "2027-01-20"
    assert at.multiselect(key="done_parts").value == ["battery"]
    assert at.number_input(key="done_price").value == 95

    at = _write_down(at, "2026-05-05")
    assert "before the purchase on 2026-11-02" in said_here()
    assert "(the switch for a paper of the time before)" in said_here()
    said = said_here().replace(
        "(the switch for a paper of the time before)", "(on the command line --history)"
    )
    assert said == said_on_the_command_line("--date", "2026-05-05")
    assert case_of(at) == before
    assert at.text_input(key="done_date").value == "2026-05-05"
    at.toggle(key="done_history").set_value(True)
    at = ran(at.button(key="done_keep").click().run())
    assert not at.error
    assert set(before.work) < set(case_of(at).work)

    at = _write_down(at, "no day at all")
    assert at.error
    assert at.text_input(key="done_date").value == "no day at all"


def test_what_a_strip_down_showed_is_written_down_as_seen(opened: Opened) -> None:
    """By hand: seen worn when apart, with what was noted, and nothing fitted: an entry that renews nothing."""
    at = go(opened("small-saloon"), "first_year")
    at.text_input(key="done_bought_date").set_value("2026-11-02")
    at = ran(at.button(key="done_bought_keep").click().run())
    before = case_of(at)
    at = ran(at.button_group(key="done_what").set_value("seen-worn").run())
    assert at.button_group(key="done_seen_evidence").value == "strip-down"
    at.text_input(key="done_note").set_value("play by hand")
    at = _write_down(at, "2027-02-02", odometer=52_900.0)
    assert not at.error
    made = case_of(at)
    assert made.work[:-1] == before.work
    entry = made.work[-1]
    assert (entry.what, entry.evidence, entry.fitted, entry.note, entry.odometer) == (
        "seen-worn",
        "strip-down",
        "unknown",
        "play by hand",
        52_900,
    )
    assert made.today == datetime.date(2027, 2, 2)


def test_a_bill_says_which_currency_is_wanted(opened: Opened) -> None:
    at = go(opened("coupe"), "first_year")
    for key in ("done_price", "done_bought_price"):
        field = at.number_input(key=key)
        assert "(CHF)" in field.label
        assert "CHF at the rate you paid" in field.help


def test_a_sheet_after_the_purchase_moves_the_day_on_as_the_command_line_does(
    opened: Opened, tmp_path: Path
) -> None:
    """Second method: `estimator record --sheet` on the same case. By hand: the day of the latest finding."""
    from estimator.cli import main

    check = "engine-turned-hand-gear-rocking-car"
    sheet = f'format = 1\n[[finding]]\ncheck = "{check}"\nresult = "absent"\ndate = 2027-03-01\n'
    at = opened("small-saloon")
    bought = dump_case(case_of(at)) + "\n[bought]\ndate = 2026-11-02\nas_of = 2026-12-01\n"
    at = ran(at.button(key="put_away").click().run())
    at = go(ran(at.file_uploader[0].upload("mine.toml", bought.encode()).run()), "inspection")
    at.text_area(key="sheet_pasted").set_value(sheet)
    at = ran(at.button(key="sheet_read").click().run())
    assert case_of(at).today == datetime.date(2027, 3, 1)
    assert any("moved from 2026-12-01 to 2027-03-01" in plainly(one.value) for one in at.info)

    file, read = tmp_path / "mine.toml", tmp_path / "sheet.toml"
    file.write_text(bought, "utf-8")
    read.write_text(sheet, "utf-8")
    assert main(["record", str(file), "--sheet", str(read), "--no-forecast"]) == 0
    assert load_case(file) == case_of(at)


def test_an_answer_after_the_purchase_is_of_its_own_day_and_the_viewing_stays(
    opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: seen well at the viewing, badly two months after buying it: two entries, the later one dated."""
    monkeypatch.setattr(session, "today", lambda: datetime.date(2027, 1, 5))
    at = opened("small-saloon")
    before = case_of(at)
    looked = next(f for f in before.finding if f.result == "absent")
    bought = dump_case(before) + "\n[bought]\ndate = 2026-11-02\nas_of = 2026-11-03\n"
    at = ran(at.button(key="put_away").click().run())
    at = go(ran(at.file_uploader[0].upload("mine.toml", bought.encode()).run()), "inspection")
    assert f"answers are of {words.day(datetime.date(2027, 1, 5))}" in words_on(at)
    at = ran(
        at.text_input(key="inspection_sought").set_value(load_catalogue().checks[looked.check].name).run()
    )
    key = f"c{at.session_state['own_serial']}_finding.{looked.check}.result"
    at = ran(at.button_group(key=key).set_value("present").run())
    made = case_of(at)
    assert made.finding[: len(before.finding)] == before.finding
    added = made.finding[-1]
    assert (added.check, added.result, added.date) == (looked.check, "present", datetime.date(2027, 1, 5))
    assert made.today == datetime.date(2027, 1, 5)
    at = ran(at.button_group(key=key).set_value("absent").run())  # the same day again: changed, not added
    assert len(case_of(at).finding) == len(made.finding)
    assert case_of(at).finding[-1].result == "absent"


def test_a_quote_is_taken_once(opened: Opened) -> None:
    at = go(opened("small-saloon"), "first_year")
    for expected in (1, 1):
        at = ran(at.selectbox(key="quote_part").set_value("battery").run())
        at.number_input(key="quote_price").set_value(140.0)
        at = ran(at.button(key="quote_keep").click().run())
        assert len([q for q in case_of(at).quote if q.component == "battery"]) == expected
    assert "recorded already" in plainly(at.error[0].value)
    assert at.number_input(key="quote_price").value == 140


@pytest.mark.parametrize("page", ["first_year", "keeping"])
def test_stops_nobody_has_looked_at_stand_before_the_sums(opened: Opened, page: str) -> None:
    """By hand: those the estimate names as open, each by its name, failed ones or not."""
    at = go(opened("small-saloon"), page)
    catalogue = load_catalogue()
    said = words_on(at)
    unseen = estimate.fully(case_of(at), catalogue).assessment.open_stops
    assert unseen
    assert all(catalogue.checks[check].name in said for check in unseen)
    assert "Not looked at yet" in said


def test_keeping_adds_up(opened: Opened) -> None:
    """By hand: the parts of the table add up to its last row within rounding."""
    at = go(opened("small-saloon"), "keeping")
    table = next(m.value for m in at.markdown if "money of the day" in m.value)
    figures = [float(re.sub(r"[^\d.-]", "", plainly(row.split("|")[2]))) for row in table.splitlines()[2:]]
    assert abs(sum(figures[:-1]) - figures[-1]) <= len(figures)


def test_two_kept_cars_side_by_side(opened: Opened) -> None:
    at = opened("small-saloon")
    text = (data_folder() / "examples" / "small-saloon.toml").read_text("utf-8")
    dearer = re.sub(r"(?m)^asking = \d+", "asking = 30000", text)
    Store().save(re.sub(r'(?m)^name = ".*"', 'name = "Twin"', dearer, count=1), name="Twin", kind="saved")
    assert parse_case(dearer).money.asking == 30_000
    at = go(at, "candidates")
    assert not at.error
    assert len(at.multiselect[0].value) == 2
    said = words_on(at)
    assert "costs less than Twin" in plainly(said)  # the same car at four times the price
    assert "Small saloon" in at.header[0].value


def test_how_it_was_worked_out_gives_every_error(opened: Opened) -> None:
    """Second method: the standard errors are those of the assessment."""
    at = go(opened("small-saloon"), "worked_out")
    a = estimate.of(case_of(at), load_catalogue())
    table = next(m.value for m in at.markdown if m.value.startswith("| first year"))
    assert words.money(a.total.plan_year.se["p80"], a.currency) in plainly(table)
