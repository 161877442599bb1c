"""`catalogue verify`: every kind of fault is found in a small catalogue broken on purpose; ours has none."""

from __future__ import annotations

from pathlib import Path

import pytest

from estimator.catalogue.load import load_catalogue, read_catalogue
from estimator.catalogue.verify import verify
from tests.catalogue.small import write

ONE = """
[[component]]
id = "{id}"
name = "another"
system = "cooling"
when = "{when}"
need = "protects"
failure = "broken"
life_years = {{ b10 = {b10}, b50 = {b50} }}
reason = "One."
deferral_years = 2
noticed = "next-service"
precaution_rate = 0.01
skill = 1
hours = [1, 2, {hours}]
hidden_reason = "{hidden}"
source = "elicited"
remedy = [{{ kind = "made", price = [10, 20, {price}], last_resort = true }}]
"""


def one(**given: object) -> str:
    """A further component, with what is wrong about it given."""
    figures = {"id": "hose", "when": "all", "b10": 5, "b50": 9, "hours": 3, "hidden": "inside", "price": 40}
    return ONE.format(**{**figures, **given})


def test_small_catalogue_is_clean(tmp_path: Path) -> None:
    report = verify(read_catalogue(write(tmp_path)))
    assert report.problems == ()
    assert report.clean
    assert report.counts == {
        "components": 1,
        "comfort": 0,
        "checks": 2,
        "papers": 0,
        "access_steps": 2,
        "traits": 5,
        "remedies": 2,
        "kits": 1,
        "tools": 1,
        "cautions": 1,
        "sources": 1,
    }


UNKNOWN = {
    "a component in a link": ('component = "water-pump"', 'component = "water-pmp"', "checks", "weep-hole"),
    "a component in a kit": ('full = ["water-pump"]', 'full = ["water-pmp"]', "rest", "cooling-overhaul"),
    "a step of a component": ('access = ["fan-off"]', 'access = ["fan-of"]', "components", "water-pump"),
    "a step after a step": ('after = ["drained"]', 'after = ["draned"]', "access", "fan-off"),
    "a tool": ('tools = ["puller"]', 'tools = ["pullar"]', "components", "water-pump"),
    "a caution of a check": (
        'worn = 0.3 }]\ncautions = ["hot"]',
        'worn = 0.3 }]\ncautions = ["hat"]',
        "checks",
        "weep-hole",
    ),
    "a source of a caution": (
        'scalds."\nsource = "elicited"',
        'scalds."\nsource = "elicitd"',
        "rest",
        "hot",
    ),
    "a check that opens": (
        'harmless = "an old stain"',
        'harmless = "an old stain"\nafter = "spoks"',
        "checks",
        "weep-hole",
    ),
    "a trait of a remedy": (
        'kind = "new"\nprice',
        'kind = "new"\nwhen = "coler"\nprice',
        "components",
        "water-pump",
    ),
    "a trait in when": ('when = "front-drive"', 'when = "front-drve"', "components", "water-pump"),
    "a trait in a variant": ('when = "cooler"', 'when = "coler"', "components", "water-pump"),
    "an excluded trait": (
        'excludes = ["rear-drive"]\n[[trait]]\nid = "rear',
        'excludes = ["rear-drve"]\n[[trait]]\nid = "rear',
        "traits",
        "front-drive",
    ),
    "a group": ('group = "extras"', 'group = "extra"', "traits", "cooler"),
    "an else member": ('otherwise = "steel-wheels"', 'otherwise = "steel-wheel"', "traits", "wheels"),
}


@pytest.mark.parametrize("what", UNKNOWN)
def test_unknown_names_are_found_with_file_id_and_the_nearest_name(tmp_path: Path, what: str) -> None:
    old, new, file, identifier = UNKNOWN[what]
    found = verify(read_catalogue(write(tmp_path, replace=(old, new)))).problems
    assert len(found) == (2 if what == "a group" else 1)  # a group nothing belongs to is a fault of its own
    assert f"{tmp_path.name}/{file}.toml" in found[0]
    assert f" {identifier}: " in found[0]
    assert "unknown" in found[0]
    assert "meant?" in found[0]


BROKEN = {
    "steps in a circle": (("0.6]\nsource", '0.6]\nafter = ["fan-off"]\nsource'), "", "goes in a circle"),
    "a step after itself": (
        ('after = ["drained"]', 'after = ["fan-off", "drained"]'),
        "",
        "goes in a circle",
    ),
    "an impossible build": (
        ("", ""),
        one(when="cooler,rear-drive"),
        'component hose: when: no car can be "cooler,rear-drive"',
    ),
    "both answers to one question": (("", ""), one(when="front-drive,rear-drive"), "no car can be"),
    "no answer to a question that must have one": (
        ("", ""),
        one(when="!front-drive,!rear-drive"),
        "no car can be",
    ),
    "a variant that never holds": (
        ('when = "cooler", price', 'when = "rear-drive", price'),
        "",
        "variant.when: never holds",
    ),
    "a link to a part never on the same car": (
        ('name = "Weep hole of the pump"', 'name = "Weep hole"\nwhen = "rear-drive"'),
        "",
        'links: "water-pump" is never on the same car',
    ),
    "a link to a part of other years": (
        ('name = "Weep hole of the pump"', 'name = "Weep hole"\nbuilt = [1955, 1960]'),
        one(id="late", hidden="inside").replace("need =", "built = [1961, 1999]\nneed =")
        + '[[check]]\nid = "x"\nname = "x"\nstation = "cabin"\nkind = "look"\ndo = "x"\npresent = "x"\n'
        'absent = "y"\nminutes = 1\nwho = { newcomer = 0.1, handy = 0.2 }\nleak = 0.1\nharmless = "x"\n'
        'built = [1955, 1960]\nsource = "elicited"\nlinks = [{ component = "late", spent = 0.5 }]\n',
        'links: "late" is never on the same car',
    ),
    "a link that stands twice": (
        ("spent = 0.7, worn = 0.3 }]", 'spent = 0.7 }, { component = "water-pump", spent = 0.2 }]'),
        "",
        'links: "water-pump" stands twice',
    ),
    "a step that never applies": (
        ('name = "fan and belt off"', 'name = "fan off"\nwhen = "rear-drive"'),
        "",
        'access: "fan-off" never applies',
    ),
    "a part no check reaches": (("", ""), one(hidden=""), "component hose: no check reaches it"),
    "a part only the laboratory reaches": (
        ('station = "bonnet-cold"', 'station = "laboratory"'),
        "",
        "only at laboratory reaches it",
    ),
    "a check that informs nothing": (
        ('stop = "Loose spokes: do not drive it."', ""),
        "",
        "check spokes: informs nothing",
    ),
    "an idle step": (
        ('access = ["fan-off"]', 'access = ["drained"]'),
        "",
        "step fan-off: no component needs it",
    ),
    "an idle trait": (
        ('variant = [{ when = "cooler", price = 1.1 }]', ""),
        "",
        "trait cooler: changes nothing",
    ),
    "a check after one that not all its cars have": (
        ('harmless = "an old stain"', 'harmless = "an old stain"\nafter = "spokes"'),
        "",
        'check weep-hole: after: not every car it is meant for ("all") has "spokes" ("wire-wheels")',
    ),
    "a check after itself": (
        ('harmless = "an old stain"', 'harmless = "an old stain"\nafter = "weep-hole"'),
        "",
        "check weep-hole: after: itself",
    ),
    "a check after one that comes after another": (
        ('harmless = "an old stain"', 'harmless = "an old stain"\nafter = "look"'),
        '[[check]]\nid = "look"\nname = "x"\nstation = "cabin"\nkind = "look"\ndo = "x"\npresent = "x"\n'
        'absent = "y"\nminutes = 1\nwho = { newcomer = 0.1, handy = 0.2 }\nleak = 0.1\nharmless = "x"\n'
        'when = "wire-wheels"\nafter = "spokes"\nsource = "elicited"\nstop = "x"\n',
        'after: "look" itself comes after "spokes"',
    ),
    "a limit twice": (
        (
            'harmless = "an old stain"',
            'harmless = "an old stain"\nreading = { unit = "mm", low = 0, high = 9, limit = 1, worse = "above", '
            'error_sd = 1, source = "elicited", by_date = [{ first_used = [1960-01-01, 1970-01-01], limit = 2 }, '
            "{ first_used = [1970-01-01, 1980-01-01], limit = 3 }] }",
        ),
        "",
        "reading.by_date: 1970-01-01 to 1970-01-01 has two limits",
    ),
    "days that run backwards": (
        ('harmless = "an old stain"', 'harmless = "an old stain"\nfirst_used = [1980-01-01, 1970-01-01]'),
        "",
        "first_used: 1980-01-01 to 1970-01-01 runs backwards",
    ),
    "a remedy for no car that has the part": (
        ('kind = "new"\nprice', 'kind = "new"\nwhen = "rear-drive"\nprice'),
        "",
        'component water-pump: remedy 1: never on a car that has this part ("rear-drive")',
    ),
    "a remedy of years that run backwards": (
        ('kind = "new"\nprice', 'kind = "new"\nbuilt = [1980, 1970]\nprice'),
        "",
        "remedy 1: built: 1980 to 1970 runs backwards",
    ),
    "an empty depth of a kit": (('full = ["water-pump"]', "full = []"), "", "covers no part"),
    "a life in the wrong unit": (("", ""), one(b10=8000, b50=15000), "life_years: b10 8000, b50 15000 years"),
    "a life too short to be one": (("", ""), one(b10=0.1, b50=0.2), "life_years: b10 0.1"),
    "kilometres in thousands": (("b10 = 60000, b50 = 120000", "b10 = 60, b50 = 120"), "", "life_km: b10 60"),
    "hours in minutes": (("", ""), one(hours=400), "hours: 400 trade hours"),
    "a price in pence": (("", ""), one(price=90000), "price: 90000: allowed are up to"),
    "a deferral out of its band": (
        ("deferral_years = 0.5", "deferral_years = 25"),
        "",
        "deferral_years: 25 with noticed driver-in-weeks",
    ),
    "a rare part easier than a common one": (
        ("common = 0.9, scarce = 0.5", "common = 0.2, scarce = 0.5"),
        "",
        "availability: easier to find",
    ),
    "two entries alike": (("", ""), one() + one(id="pipe"), "life, price and labour are those of hose"),
    "shares that do not add up": (
        ("[1955, 0.75], [1999, 0.25]", "[1955, 0.6], [1999, 0.25]"),
        "",
        "sum to 0.850 in 1955",
    ),
    "a newcomer better than a mechanic": (("newcomer = 0.4", "newcomer = 0.9"), "", "a newcomer sees more"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_each_kind_of_fault_is_found(tmp_path: Path, what: str) -> None:
    replace, more, wanted = BROKEN[what]
    found = verify(read_catalogue(write(tmp_path, replace=replace, more=more))).problems
    assert any(wanted in text for text in found), found
    assert all(tmp_path.name in text for text in found)


def test_entries_alike_are_allowed_with_a_reason(tmp_path: Path) -> None:
    pipe = one(id="pipe").replace(
        'source = "elicited"\nremedy',
        'source = "elicited"\nnote = "same figures: one hose cut in two"\nremedy',
    )
    assert verify(read_catalogue(write(tmp_path, more=one() + pipe))).clean


def test_the_last_answer_to_a_question_needs_no_mention(tmp_path: Path) -> None:
    """rear-drive stands in no `when`: being not front-drive is what it changes. So with steel wheels."""
    report = verify(read_catalogue(write(tmp_path)))
    assert not [text for text in report.problems if "rear-drive" in text or "steel-wheels" in text]


def test_idle_sources_and_tools_are_noted_not_refused(tmp_path: Path) -> None:
    more = '[[tool]]\nid = "drift"\nname = "drift"\nbuy = [1, 2, 3]\n'
    report = verify(read_catalogue(write(tmp_path, more=more)))
    assert report.clean
    assert any("nothing names tool drift" in note for note in report.notes)


def test_shipped_catalogue_is_clean_and_complete() -> None:
    """Counts: what was promised for a whole car (at least)."""
    report = verify(load_catalogue())
    assert report.problems == ()
    assert [note for note in report.notes if note.startswith("nothing names")] == []
    promised = {"components": 230, "checks": 200, "papers": 45, "access_steps": 110, "traits": 60}
    assert {kind: report.counts[kind] >= least for kind, least in promised.items()} == dict.fromkeys(
        promised, True
    )
    assert report.counts["remedies"] >= 2 * report.counts["components"]
