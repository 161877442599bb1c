"""What really happened: nothing is ever lost, duplicates and slips are refused, the tally waits for twenty."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.case import parse_case
from estimator.look_back import as_bought, binomial_interval, tally
from estimator.problems import InputError
from estimator.record import checked, done, invoice, quote, reading, record, seen
from tests.cars import SALOON

CASE = "# my car, do not lose this line\n" + SALOON.format(
    built="1979-05-01", odometer=132_000, sale="private"
)
BOUGHT = CASE + "\n[bought]\ndate = 2026-05-20   # a Wednesday\nprice = 5600\n"
DAY = datetime.date(2026, 6, 11)


def refused(text: str, *entries, **options) -> str:
    with pytest.raises(InputError) as error:
        record(text, entries, name="car.toml", **options)
    return str(error.value)


def test_entries_are_added_and_everything_else_stays():
    found = record(
        BOUGHT,
        [
            invoice(DAY, component="water-pump", price=180, fitted="new"),
            seen(DAY, "clutch", "worn"),
            quote("radiator", "rebuilt", 240, date=DAY),
            checked(DAY, "take-up", result="absent"),
        ],
    )
    assert "# my car, do not lose this line" in found.text
    assert "date = 2026-05-20   # a Wednesday" in found.text
    assert [w.component for w in found.case.work] == ["water-pump", "clutch"]
    assert (found.case.work[0].price, found.case.work[0].evidence) == (180, "invoice")
    assert found.case.work[1].what == "seen-worn"
    assert found.case.quote[0].price == 240
    assert found.case.finding[0].result == "absent"
    assert found.case.today == DAY
    assert len(found.added) == 4
    again = record(found.text, [done(datetime.date(2026, 7, 1), "brake-fluid")])
    assert len(again.case.work) == 3


def test_the_purchase_is_recorded_once():
    found = record(CASE, [], bought=datetime.date(2026, 5, 20), paid=5600)
    assert (found.case.bought.date, found.case.bought.price) == (datetime.date(2026, 5, 20), 5600)
    assert "recorded already" in refused(found.text, bought=datetime.date(2026, 5, 21))


def test_as_of_moves_on_and_is_said():
    found = record(
        BOUGHT.replace("price = 5600", "price = 5600\nas_of = 2026-06-01"), [done(DAY, "brake-fluid")]
    )
    assert found.case.today == DAY
    assert "as_of moved" in found.notes[0]


def test_a_bill_before_the_purchase_is_no_later_work():
    early = invoice(datetime.date(2025, 3, 1), component="water-pump")
    assert "before the purchase on 2026-05-20" in refused(BOUGHT, early)
    assert record(BOUGHT, [early], history=True).case.work[0].date == datetime.date(2025, 3, 1)


def test_a_bill_in_another_currency_is_refused():
    text = refused(BOUGHT, invoice(DAY, component="water-pump", price=180), currency="EUR")
    assert "the case is in GBP, the sums are in EUR" in text
    assert record(BOUGHT, [invoice(DAY, component="water-pump")], currency="gbp").added


def test_a_component_recorded_twice_is_refused():
    first = record(BOUGHT, [invoice(DAY, component="water-pump", price=180)])
    assert "recorded already (water-pump, 2026-06-11, renewed)" in refused(
        first.text, done(DAY, "water-pump")
    )
    assert "stands twice" in refused(BOUGHT, done(DAY, "water-pump"), invoice(DAY, component="water-pump"))
    later = record(first.text, [done(datetime.date(2027, 6, 11), "water-pump")])  # really done again
    assert len(later.case.work) == 2
    assert "recorded already" in refused(
        record(BOUGHT, [quote("radiator", "rebuilt", 240)]).text, quote("radiator", "rebuilt", 240)
    )


def test_a_part_in_a_kit_counts_as_recorded():
    from estimator.catalogue.load import load_catalogue

    catalogue = load_catalogue()
    kit = next(k for k in catalogue.kits.values() if any(d for d in k.depths.values()))
    depth, parts = next(iter(kit.depths.items()))
    text = (
        BOUGHT + f'\n[[work]]\ndate = 2026-06-11\nkit = "{kit.id}"\ndepth = "{depth}"\nevidence = "invoice"\n'
    )
    case = parse_case(text, "car.toml")
    assert case.work[0].kit == kit.id
    with pytest.raises(InputError, match="recorded already"):
        record(text, [done(DAY, parts[0])], name="car.toml", catalogue=_anything(catalogue))


def _anything(catalogue):
    """The catalogue, but for a car that has every part: only the kits matter here."""
    import dataclasses

    free = {c: r.model_copy(update={"when": "all", "built": None}) for c, r in catalogue.components.items()}
    return dataclasses.replace(catalogue, components=free)


def test_without_a_purchase_later_work_is_refused_and_says_how():
    assert "add [bought]" in refused(CASE, done(DAY, "water-pump"))


@pytest.mark.parametrize("text", ["", "not toml at all ]", "format = 2\n"])
def test_a_file_that_cannot_be_read_is_refused(text):
    assert "car.toml" in refused(text, done(DAY, "water-pump"))


def test_what_is_odd_about_an_entry_is_said_when_it_is_recorded():
    """By hand: 132,000 read at the viewing, 100 read after it."""
    found = record(BOUGHT, [reading(DAY, 100)])
    assert any("the odometer falls" in note for note in found.notes)
    assert found.case.reading[0].odometer == 100
    assert record(BOUGHT, [reading(DAY, 132_400)]).notes == ()


def test_nothing_to_record():
    assert "nothing to record" in refused(BOUGHT)


@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["water-pump", "radiator", "clutch", "brake-fluid"]),
            st.integers(0, 300),
            st.sampled_from(["sound", "worn", "spent", "renewed"]),
        ),
        max_size=6,
    )
)
def test_recording_one_after_another_never_loses_an_entry(happened):
    text, wanted = BOUGHT, []
    for part, after, what in happened:
        date = datetime.date(2026, 5, 21) + datetime.timedelta(days=after)
        entry = done(date, part) if what == "renewed" else seen(date, part, what)
        try:
            text = record(text, [entry]).text
        except InputError:
            continue  # a duplicate: the text stays as it was
        wanted.append((part, date))
    kept = [(w.component, w.date) for w in parse_case(text, "car.toml").work]
    assert kept == wanted
    assert "# my car, do not lose this line" in text


@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    [(8, 10, 0.4439, 0.9748), (0, 10, 0.0, 0.3085), (10, 10, 0.6915, 1.0), (0, 0, 0.0, 1.0)],
)
def test_binomial_interval(k, n, low, high):
    """Published: exact (Clopper & Pearson 1934) 95 % limits as printed in tables, four digits; the ends by hand:
    1 - 0.025^(1/10) = 0.3085."""
    assert binomial_interval(k, n, level=0.95) == pytest.approx((low, high), abs=5e-5)


def test_no_verdict_under_twenty():
    assert tally(10, 19, 15.2).verdict is None
    assert "as expected" in tally(16, 20, 16.0).verdict
    assert "fewer" in tally(4, 20, 16.0).verdict
    assert "more" in tally(19, 20, 4.0).verdict
    with pytest.raises(ValueError, match="0 <= k <= n"):
        binomial_interval(3, 2)


def test_the_case_as_it_was_bought():
    found = record(BOUGHT, [done(DAY, "water-pump"), quote("radiator", "rebuilt", 240, date=DAY)])
    before = as_bought(found.case)
    assert (before.work, before.quote) == ((), ())
    assert before.today == datetime.date(2026, 5, 20)
    with pytest.raises(ValueError, match="no \\[bought\\]"):
        as_bought(parse_case(CASE, "car.toml"))


def test_another_cars_file_is_not_written_over(tmp_path, capsys):
    """Nothing recorded is lost: --to wants a new file."""
    from estimator.cli import main

    case, other = tmp_path / "a.toml", tmp_path / "b.toml"
    examples = Path(__file__).resolve().parent.parent / "data" / "examples"
    case.write_bytes((examples / "coupe.toml").read_bytes())
    other.write_bytes((examples / "estate.toml").read_bytes())
    before = other.read_bytes()
    assert main(["record", str(case), "--done", "brake-fluid", "--to", str(other), "--no-forecast"]) == 2
    assert "nothing is overwritten" in capsys.readouterr().err
    assert other.read_bytes() == before
