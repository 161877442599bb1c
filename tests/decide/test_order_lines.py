"""Lines of the order list: what several steps of a job call for is one line."""

from __future__ import annotations

import dataclasses

import pytest

from estimator.assess import assess_fully
from estimator.catalogue.load import load_catalogue
from estimator.decide.order_lines import merged
from estimator.decide.plan import plan_year
from estimator.decide.plan_records import OrderLine
from tests.cars import saloon


def line(kind, item, amount, note="", price=None):
    quote = ("engine number",)
    return OrderLine("job-1", 3, "parts", kind, item, "part", 1, amount, price, None, quote=quote, note=note)


def test_what_two_steps_of_a_job_call_for_is_ordered_once():
    """By hand: 4.50 and 2.50 of copper washers are 7.00, two of them, for both; a part stays a line of its own."""
    lines = [
        line("single-use", "copper washers", 4.5, "for: brake hoses"),
        line("part", "brake hoses: new", 40.0, price=(30, 40, 55)),
        line("single-use", "copper washers", 2.5, "for: front calipers"),
        line("part", "brake hoses: new", 40.0, price=(30, 40, 55)),
    ]
    washers, *parts = merged(lines)
    assert (washers.amount, washers.quantity) == (7.0, 2)
    assert washers.note == "for: brake hoses; for: front calipers"
    assert washers.quote == ("engine number",)
    assert parts == [lines[1], lines[3]]
    other = dataclasses.replace(lines[0], component="another part")
    assert len(merged([lines[0], other])) == 2


def test_a_quote_for_the_whole_job_says_so_on_the_order_list():
    """By hand: the part and its labour are the quoted sum, so the line says that nothing else is to be ordered."""
    catalogue = load_catalogue()
    said = {}
    for covers, price in {"job": 180, "parts": 30}.items():
        case = saloon(
            f'[[quote]]\ncomponent = "water-pump"\nremedy = "new"\nprice = {price}\ncovers = "{covers}"\n'
        )
        result = assess_fully(case, catalogue, draws=1000)
        plan = plan_year(case, catalogue, result=result, include=["water-pump"])
        said[covers] = [x for x in plan.orders if x.component == "water-pump" and x.kind == "part"]
    assert "whole job" in said["job"][0].note
    assert said["parts"][0].note == "price quoted"
    assert said["job"][0].amount == pytest.approx(180, rel=0.05)
