"""What was seen with a part apart is believed, counts as found, is planned for, and moves money as a known job does."""

from __future__ import annotations

import dataclasses
import datetime

import pytest

from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.decide.offer import offer
from estimator.known import found_parts
from estimator.pipeline import prepare
from estimator.record import record, seen

CATALOGUE = load_catalogue()
DAY = datetime.date(2026, 11, 20)


def _after(name: str, *entries, bought: bool = True):
    path = data_folder() / "examples" / f"{name}.toml"
    case = load_case(path, CATALOGUE)
    day = {"bought": case.car.viewed, "paid": 4000.0} if bought else {}
    return record(path.read_text("utf-8"), list(entries), name=name, catalogue=CATALOGUE, **day).case


def _spent(case, part: str) -> tuple[float, bool]:
    made = prepare(case, CATALOGUE)
    position = made.car.index[part]
    return float(made.grid.mean(made.grid.marginal)[position, 0]), bool(found_parts(made)[position])


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("small-saloon", "radiator"),
        ("small-saloon", "clutch"),
        ("small-saloon", "dynamo"),
        ("estate", "clutch"),
    ],
)
def test_who_had_the_part_in_his_hand_is_believed(name: str, part: str) -> None:
    """Common practice: spent means that it needs doing, which is what whoever took it apart and says so has judged;
    likewise what was sound in the hand is not due."""
    spent, found = _spent(_after(name, seen(DAY, part, "spent")), part)
    assert spent > 0.8
    assert found
    assert _spent(_after(name, seen(DAY, part, "sound")), part)[0] < 0.02


def test_hearsay_of_the_same_is_not() -> None:
    """By hand: the owner's word has .40 against .18 where the part is worn: it moves, it does not settle."""
    told = _spent(_after("estate", seen(DAY, "clutch", "spent", evidence="owner-word")), "clutch")[0]
    assert told < 0.6


def test_the_tables_add_up() -> None:
    """Closed form: whatever is true of a part, it is recorded as sound, worn or spent."""
    for table in CATALOGUE.settings.evidence.seen.values():
        assert [
            sum(column) for column in zip(table.sound, table.worn, table.spent, strict=True)
        ] == pytest.approx([1.0] * 3, abs=0.0101)


def test_a_part_seen_spent_before_the_sale_is_known_work() -> None:
    """By hand: seen spent on the viewing day it is deducted openly, near what putting it right costs on average."""
    plain = load_case(data_folder() / "examples" / "small-saloon.toml", CATALOGUE)
    day = seen(plain.car.viewed, "radiator", "spent")
    with_it = dataclasses.replace(plain, work=_after("small-saloon", day, bought=False).work)
    before, after = (offer(case, CATALOGUE, draws=8_000) for case in (plain, with_it))
    assert before.known_work == pytest.approx(0.0, abs=50.0)
    made = prepare(with_it, CATALOGUE)
    cost = made.book.typical[made.car.index["radiator"]]
    assert 0.4 * cost < after.known_work - before.known_work < 1.6 * cost
    assert after.fair < before.fair - 0.3 * cost
