"""The sheet for the table leaks nothing of the buyer's side and blames nobody."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path

import pytest

from estimator.assess import assess_fully
from estimator.case import load_case, parse_case
from estimator.catalogue.load import load_catalogue
from estimator.report.table_sheet import file_stem, table_html, table_sheet, table_text
from tests.cars import saloon
from tests.command_line import run
from tests.report.test_sheet_choice import HATCH

SECRETS = """
budget = 23457
risk_tolerance = 34568
scrap = 45679
"""
MORE = """
[[finding]]
check = "take-up"
result = "present"
note = "PRIVATE-NOTE-1 he looked away"
[[finding]]
check = "brake-pedal"
result = "absent"
[[finding]]
check = "flexible-coupling-front"
result = "could-not-try"
note = "PRIVATE-NOTE-2"
[[finding]]
check = "drives-me-lift-garage-my-choice"
result = "refused"
[[finding]]
check = "fresh-paint-underseal-smaller-than-panel"
result = "present"
[[finding]]
check = "car-rocked-in-gear-slack"
result = "present"
[[work]]
date = 2022-03-01
component = "battery"
what = "renewed"
evidence = "invoice"
price = 56789
note = "PRIVATE-NOTE-3"
"""
WORDS = (
    "budget",
    "value",
    "worth",
    "probab",
    "chance",
    "likely",
    "walk",
    "offer",
    "asking",
    "limit",
    "trader",
)
BLAME = (
    "blame",
    "hid",
    "lie",
    "lied",
    "cheat",
    "dishonest",
    "fraud",
    "refus",
    "suspicio",
    "neglect",
    "careless",
)


@pytest.fixture(scope="module")
def sheet():
    case = saloon(MORE)
    money = dataclasses.replace(
        case.money, budget=23_457.0, risk_tolerance=34_568.0, scrap=45_679.0, asking=12_346.0,
        sound_example=(13_579.0, 24_681.0, 35_793.0),
    )  # fmt: skip
    car = dataclasses.replace(case.car, name="SECRET name: buy below 9000", note="PRIVATE-NOTE-4")
    case = dataclasses.replace(case, money=money, car=car)
    return table_sheet(assess_fully(case, load_catalogue(), draws=3_000))


@pytest.fixture(scope="module")
def texts(sheet):
    return [table_text(sheet), table_html(sheet)]


def test_no_sum_name_or_note_of_the_buyer_is_on_it(texts):
    for text in texts:
        plain = text.replace(",", "")
        for secret in (
            "23457",
            "34568",
            "45679",
            "12346",
            "13579",
            "24681",
            "35793",
            "56789",
            "PRIVATE",
            "SECRET",
        ):
            assert secret not in plain


def test_no_word_of_price_chance_or_blame_is_on_it(texts):
    for text in texts:
        said = re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL).lower()
        words = set(re.findall(r"[a-z]+", said))
        for stem in (*WORDS, *BLAME):
            found = {w for w in words if w.startswith(stem)} - {
                "hidden",
                "lies",
                "walking",
            }  # at walking pace
            assert not found, found
        assert not re.search(r"\d\s*%|\d in (10|20|100)\b|one in (two|three|four|five|ten)", said)


def test_the_page_asks_nothing_of_anybody_and_names_no_maker(texts):
    page = texts[1]
    assert not re.search(r"https?://|src=|href=|<script|<!--|generator|author", page)
    assert re.search(r"<title>What was seen</title>", page)


def test_it_says_what_was_good_found_and_not_looked_at(sheet, texts):
    assert any("renewed 2022" in line for line in (*sheet.good, *sheet.noted))
    assert sheet.good
    assert [what for what, _ in sheet.not_examined]
    assert all(why in ("could not be tried today", "not possible today") for _, why in sheet.not_examined)
    for line in sheet.found:
        assert line.low is None or 0 <= line.low <= line.high
    data = sheet.as_dict()
    assert set(data) == {
        "title", "day", "car", "currency", "good", "noted", "found", "together", "not_examined",
        "to_settle",
    }  # fmt: skip
    assert all(heading in texts[0] for heading in ("Good", "Found", "Not looked at"))


def test_the_name_of_the_file_says_nothing_but_the_day(sheet):
    assert file_stem(sheet) == f"what-was-seen-{sheet.day}"
    source = Path("estimator/pages/offer.py").read_text(encoding="utf-8")
    assert source.count("{file_stem(sheet)}") == 2  # both downloads of the page are called so


@pytest.mark.parametrize("name", ["coupe", "estate", "small-saloon"])
def test_the_examples_sheets_as_written_leak_nothing(name, tmp_path):
    """What `estimator offer --sheet` writes, its bytes searched: sums of the case, words of the buyer's side."""
    case = load_case(f"data/examples/{name}.toml")
    money = case.money
    secrets = [
        money.asking,
        money.budget,
        money.risk_tolerance,
        *(money.sound_example or ()),
        *(money.seller or ()),
    ]
    for kind in ("html", "txt"):
        path = tmp_path / f"sheet.{kind}"
        json_to = tmp_path / "offer.json"
        words = ("offer", f"data/examples/{name}.toml", "--draws", 2000, "--sheet", path, "--json", json_to)
        assert run(*words) == 0
        text = re.sub(r"<style>.*?</style>", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        prices = json.loads(json_to.read_text(encoding="utf-8"))
        for secret in (*secrets, *(prices[k] for k in ("fair", "opening", "target", "walk_away", "value"))):
            if secret and secret >= 1000:
                assert f"{secret:,.0f}" not in text
                assert f"{secret:.0f}" not in text
        assert case.car.name.lower() not in text.lower()
        for note in (f.note for f in (*case.finding, *case.work) if len(f.note) > 12):
            assert note not in text
        said = set(re.findall(r"[a-z]+", text.lower()))
        assert not {w for w in said if w.startswith(("budget", "probab", "offer", "bargain"))}
        assert not re.search(r"walk.?away", text, re.IGNORECASE)
        assert not said & {"value", "worth", "chance", "risk", "asking", "dishonest", "lie"}


def test_every_sign_seen_on_the_car_stands_on_the_sheet():
    """What is in the case file as present, seen in person and about the car, is not dropped for want of a suspect."""
    result = assess_fully(
        load_case(Path(__file__).resolve().parents[2] / "data" / "examples" / "small-saloon.toml"), draws=500
    )
    text = table_text(table_sheet(result))
    checks = result.prepared.car.catalogue.checks
    seen = [f for f in result.prepared.car.case.finding if f.result == "present" and f.how == "in-person"]
    signs = [checks[f.check] for f in seen if checks[f.check].kind in ("look", "listen", "feel")]
    assert signs
    for check in signs:
        if check.presentation is None and check.odometer is None and not check.stop and check.links:
            assert check.present in text


SIDES = """
[[finding]]
check = "stance"
result = "absent"
how = "pictures"
[[finding]]
check = "straight-line-hands-light"
result = "absent"
how = "reported"
[[finding]]
check = "brake-pedal"
result = "absent"
badly = true
[[finding]]
check = "brake-fluid-boiling-point-tester"
value = 128
[[finding]]
check = "brake-fluid"
result = "present"
sure = 0.7
"""


@pytest.fixture(scope="module")
def looked_at():
    return assess_fully(saloon(SIDES), load_catalogue(), draws=500)


def test_a_part_found_says_how_it_showed_on_this_car(looked_at):
    """By hand: the reading and the look that were entered, not the catalogue's general words for the part's failure."""
    found = table_sheet(looked_at).found
    part = next(p for p in looked_at.assessment.components if p.id == "brake-fluid")
    assert part.found
    line = next(one for one in found if one.what == part.name)
    assert "128" in line.how
    assert line.how != part.failure
    assert "not certain" in line.how


def test_what_was_not_seen_in_person_says_so_and_is_noted_only(looked_at):
    sheet = table_sheet(looked_at)
    good = sheet.noted
    assert not any(
        word in line for line in sheet.good for word in ("on pictures", "as told", "not looked at well")
    )
    checks = looked_at.prepared.car.catalogue.checks

    def line(check):
        return next(one for one in good if one.startswith(checks[check].name.rstrip("?:. ")))

    assert line("stance").endswith("(on pictures)")
    assert line("straight-line-hands-light").endswith("(as told, not seen)")
    assert line("brake-pedal").endswith("(not looked at well)")
    assert good.index(line("brake-pedal")) < good.index(line("stance"))


def test_stops_nobody_has_looked_at_stand_first(looked_at):
    """A stop that is open comes before any sum, as a failed one does: each by name."""
    sheet, found = table_sheet(looked_at), looked_at.assessment
    checks = looked_at.prepared.car.catalogue.checks
    assert found.open_stops
    for check in found.open_stops:
        assert f"{checks[check].name.rstrip('?:. ')}: not looked at yet" in sheet.to_settle
    text = table_text(sheet)
    assert text.index("not looked at yet") < text.index("Good")
    assert "not looked at yet" in table_html(sheet)


def test_of_one_check_made_twice_the_last_counts():
    """By hand: clear on the first look, bad on the second: no good word stays on the sheet."""
    twice = """
[[finding]]
check = "stance"
result = "absent"
date = 2026-05-01
[[finding]]
check = "stance"
result = "present"
"""
    sheet = table_sheet(assess_fully(saloon(twice), load_catalogue(), draws=300))
    assert not any("Stance" in line for line in sheet.good)
    assert any("Stance" in f"{line.what} {line.how}" for line in sheet.found)


PAPERS = """
[[work]]
date = 2008-03-01
component = "battery"
evidence = "invoice"
[[work]]
date = 2025-09-01
component = "battery"
evidence = "invoice"
[[work]]
date = 2024-03-01
component = "coolant-hoses"
evidence = "receipt"
[[work]]
date = 2024-03-01
component = "radiator"
fitted = "used"
evidence = "invoice"
[[work]]
date = 2016-12-01
component = "fan-belts"
evidence = "invoice"
[[work]]
date = 2024-03-01
component = "water-pump"
evidence = "owner-word"
"""


def test_a_paper_is_good_only_while_the_part_is():
    """By hand: what the estimate has due is not called good; a used part is noted; the last renewal counts; a word is
    no paper. Belts of nearly ten years are past what one in ten of them reaches.
    """
    result = assess_fully(saloon(PAPERS), load_catalogue(), draws=500)
    sheet, parts = table_sheet(result), {p.name: p for p in result.assessment.components}
    good = " / ".join(sheet.good)
    noted = " / ".join(sheet.noted)
    assert "coolant hoses renewed 2024, with a receipt for the part" in good
    assert "battery renewed 2025, with a bill" in good
    assert "2008" not in good + noted
    assert "radiator: renewed 2024 with a used part, with a bill" in noted
    assert "fan belts: renewed 2016, with a bill" in noted
    assert "water pump" not in good + noted
    for line in sheet.good:
        part = parts.get(line.split(" renewed ")[0])
        assert part is None or part.p_spent + part.p_due <= 0.1
    assert not re.search(r"\d ?%|0\.\d", table_text(sheet))


def test_a_timing_belt_near_its_date_is_noted():
    """Published makers' rule (catalogue): five to ten years. A bill of 4.7 years ago, a car that stands outdoors."""
    bill = """
[[work]]
date = 2021-03-10
component = "timing-belt-tensioner-idlers"
evidence = "invoice"
"""
    sheet = table_sheet(assess_fully(parse_case(HATCH + bill, "hatch.toml"), load_catalogue(), draws=300))
    assert not any("belt" in line for line in sheet.good)
    assert "timing belt, tensioner and idlers: renewed 2021, with a bill" in sheet.noted


@pytest.mark.parametrize("name", ["coupe", "estate", "small-saloon"])
def test_nothing_the_estimate_has_due_is_called_good(name):
    result = assess_fully(load_case(f"data/examples/{name}.toml"), draws=500)
    parts = {part.name: part for part in result.assessment.components}
    for line in table_sheet(result).good:
        part = parts.get(line.split(" renewed ")[0])
        assert part is None or (not part.found and part.p_spent + part.p_due <= 0.1)


@pytest.mark.parametrize(("reading", "heading"), [(1.7, "noted"), (7.0, "good")])
def test_a_reading_near_its_limit_is_noted_and_not_good(reading, heading):
    """Published: tyre tread, limit 1.6 mm over the central three quarters. 1.7 is inside it and no more than that."""
    text = f"""
[[finding]]
check = "tyre-tread-three-points-each-wheel"
value = {reading}
"""
    sheet = table_sheet(assess_fully(saloon(text), load_catalogue(), draws=300))
    assert [f"{reading:g} mm" in line for line in getattr(sheet, heading)] == [True]


def test_a_good_answer_for_a_part_that_needs_doing_all_the_same_is_noted():
    """By hand: tyres of 24 years with plenty of tread."""
    text = """
[[finding]]
check = "tyre-tread-three-points-each-wheel"
value = 7
[[finding]]
check = "tyre-date-codes-all-five"
value = 24
[[finding]]
check = "tyre-cracks-bulges-mixed-sizes-types"
result = "present"
"""
    result = assess_fully(saloon(text), load_catalogue(), draws=300)
    assert any(part.found and "tyre" in part.name for part in result.assessment.components)
    sheet = table_sheet(result)
    assert not any("tread" in line for line in sheet.good)
    assert any("tread" in line for line in sheet.noted)
    assert "Noted" in table_html(sheet)
