"""Job cards of every example: a leaf of paper a job that can be read, the driveline job read as a new user would."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from estimator.assess import assess_fully
from estimator.case import load_case
from estimator.catalogue.load import data_folder, load_catalogue
from estimator.decide.jobs import job_name
from estimator.decide.order_lines import compounds_of, same_as
from estimator.decide.plan import plan_year
from estimator.report.job_card_pages import card_sides, card_text, cards_html, sections
from estimator.report.job_cards import _is_bolted, _made_safe, job_cards, skill_words

EXAMPLES = tuple(sorted(p.stem for p in (data_folder() / "examples").glob("*.toml")))
THRESHOLD = {"coupe": 0.4, "estate": 0.2, "small-saloon": 0.08}  # low enough for many jobs
PLENTY = {"in_hand": 1e6, "own_hours": 300.0, "own_skill": 3}


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def plans(catalogue):
    held = {}

    def of(name, threshold=None):
        if (name, threshold) not in held:
            case = load_case(data_folder() / "examples" / f"{name}.toml", catalogue)
            result = assess_fully(case, catalogue, draws=200)
            include = ["pinion-oil-seal", "dust-boot-sliding-joint"] if name == "estate" else []
            held[name, threshold] = plan_year(
                case,
                catalogue,
                result=result,
                threshold=threshold or THRESHOLD[name],
                include=include,
                time_limit_s=0.2,
                **PLENTY,
            )
        return held[name, threshold]

    return of


@pytest.mark.browser
@pytest.mark.parametrize("name", EXAMPLES)
def test_every_job_of_every_example_is_a_leaf_that_can_be_read(name, plans, catalogue, tmp_path):
    """Second method: printed by Chromium to A4, counted and measured by poppler. A side a job, the largest both sides
    of a leaf; every side begins with its job's title; the first holds the cautions and begins the order of work; no
    word is smaller than 8.5 points (a word's box is a tenth higher than its size)."""
    browser = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if browser is None or shutil.which("pdftotext") is None:
        pytest.skip("Chromium or poppler's pdftotext is not installed")
    cards = job_cards(plans(name), catalogue)
    assert cards
    page, pdf = tmp_path / "cards.html", tmp_path / "cards.pdf"
    page.write_text(cards_html(cards, title=name), "utf-8")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    subprocess.run(
        [*command, f"--print-to-pdf={pdf}", page.as_uri()], check=True, capture_output=True, timeout=120
    )

    def printed(*how):
        done = subprocess.run(["pdftotext", *how, str(pdf), "-"], capture_output=True, text=True, check=True)
        return done.stdout

    wanted = [
        (card, side, len(sides))
        for card in cards
        for sides in [card_sides(card)[1]]
        for side in range(1, len(sides) + 1)
    ]
    sheets = [" ".join(sheet.split()) for sheet in printed("-raw").split("\f")[:-1]]
    assert len(sheets) == len(wanted)
    for sheet, (card, side, sides) in zip(sheets, wanted, strict=True):
        assert sides <= 2
        assert sheet.startswith(card.title[:30])
        assert "A reminder, not instruction" in sheet
        assert (f"{side} of {sides}" in sheet) == (sides > 1)
        if side == 1:
            assert all(caution[:40] in sheet for caution in card.cautions)
            assert not card.steps or f"1. {card.steps[0].name}"[:30] in sheet
    heights = [
        float(y1) - float(y0) for y0, y1 in re.findall(r'yMin="([\d.]+)".*yMax="([\d.]+)">', printed("-bbox"))
    ]
    assert min(heights) >= 8.5 * 1.1


def test_nothing_is_lost_between_the_sides(plans, catalogue):
    """By hand: the sides of a card hold its sections in order, every line once."""
    for name in EXAMPLES:
        for card in job_cards(plans(name), catalogue):
            _, sides = card_sides(card)
            told = [line for side in sides for _, lines in side for line in lines]
            assert told == [line for _, lines in sections(card) for line in lines]
            if len(sides) > 1:
                assert "What comes off, in this order" in [head for head, _ in sides[0]]


def test_the_car_is_made_safe_first_unless_a_step_raises_it(catalogue):
    """Common practice: an engine lifted on its mounts, or a body off its chassis, leaves the car where it stood."""
    raised = [s for s in catalogue.steps.values() if s.id.startswith("car-lift")]
    assert raised
    assert not _made_safe(["under-car"], raised)
    for other in ("engine-lifted-mounts", "body-lifted-from-chassis"):
        (first,) = _made_safe(["under-car"], [catalogue.steps[other]])
        assert first.name == "car up and made safe"


def test_the_skill_names_the_trade_and_torque_stands_where_bolts_are(catalogue):
    """Common practice: tyres need a fitter's machine, air conditioning a licence, a gearbox somebody who rebuilds
    them; brake fluid and paint have no bolt to tighten, couplings have."""
    part = catalogue.components
    for cid, word in {
        "tyres-set": "tyre",
        "headlining": "trimmer",
        "inner-sills-membranes": "welder",
        "air-conditioning-evaporator-valve": "licensed",
        "airbag-unit-contact-ring": "licensed",
        "manual-gearbox": "gearboxes",
        "injection-metering-head-pressure-regulator": "trade or specialist",
    }.items():
        assert word in skill_words(3, [part[cid]], []), cid
    assert not any("gearbox" in skill_words(3, [part[c]], []) for c in ("paint", "tyres-set", "headlining"))
    assert not _is_bolted([part["tyres-set"]], [])
    assert not _is_bolted([part["paint"]], [])
    assert _is_bolted([part["flexible-coupling-front"]], [])


def test_a_job_is_named_by_what_is_done(plans):
    """By hand: the dearest part, the step it lies behind, how many more; short enough for a heading."""
    assert job_name("clutch", 15, "gearbox out, manual") == "clutch, with gearbox out, manual (14 more parts)"
    assert job_name("clutch", 2, "x" * 80) == "clutch (1 more part)"
    assert job_name("clutch", 1, "gearbox out") == "clutch"
    names = {j.name for j in plans("estate", 0.5).jobs if len((*j.components, *j.neighbours)) > 1}
    assert all("more part" in name for name in names)
    assert any(", with " in name for name in names)


def test_a_nut_of_single_use_is_not_refitted(catalogue):
    """Common practice: what is renewed always is not put back by another of the part's remedies."""
    nut = catalogue.components["gearbox-output-nut-lock-tab"]
    assert "nut" in nut.single_use
    assert not any("refitted" in remedy.name for remedy in nut.remedy if remedy.name)


@pytest.mark.parametrize("name", EXAMPLES)
def test_cards_read_as_sentences(name, plans, catalogue):
    """By hand: no ids, no empty brackets, no doubled words or stops, units behind figures."""
    for card in job_cards(plans(name), catalogue):
        text = card_text(card)
        plain = " ".join(text.split())
        assert not re.search(r"\b(\w+) \1\b(?<!that that)", re.sub(r"[^a-z ]", ".", plain)), card.id
        assert not re.search(r"\(\)|(?<!\.)\.\.(?!\.)|;;|: ;|, ;| ,|if it is [a-z]", plain), card.id
        assert not re.search(r"(?<![.\d])1 (weeks|hours|turns|lines)\b", plain), card.id
        assert not re.search(r"\bnone of its own\b|carriage both ways", plain), card.id
        assert not re.search(r"\b[a-z]+(-[a-z]+){4,}\b", plain), card.id  # an id would be that


def driveline(plans, catalogue):
    """The example car's driveline job and everything about it."""
    plan = plans("estate", 0.5)
    job = next(j for j in plan.jobs if "flexible-coupling-front" in (*j.components, *j.neighbours))
    card = next(c for c in job_cards(plan, catalogue) if c.id == job.id)
    parts = [catalogue.components[c] for c in (*job.components, *job.neighbours)]
    return plan, job, card, parts


def test_the_example_cars_driveline_job_can_be_started_with_its_order_list(plans, catalogue):
    """A new user's reading: every part or its repair with what to quote, every single-use thing and whose it is,
    what strip-down spoils, compounds by name, special tools to buy or hire, what else would do, how long to wait."""
    plan, job, _, parts = driveline(plans, catalogue)
    lines = [x for x in plan.orders if x.job == job.id]
    for part in parts:
        main = [x for x in lines if x.component == part.id and x.kind in ("part", "specialist's work")]
        assert main, part.id
        assert main[0].quote == part.order_by
        assert main[0].substitutes
        assert main[0].wait_weeks is not None
        single = [x for x in lines if x.component == part.id and x.kind == "single-use"]
        assert [x.item for x in single] == list(part.single_use)
        assert all(part.name in x.note for x in single)
    for step in (catalogue.steps[s] for s in job.steps):
        for thing in step.disturbs:
            line = next(x for x in lines if x.item == thing.item and step.name in x.note)
            twin, holds = same_as(thing.item, parts), {p.id for p in parts} & set(thing.of)
            assert ("order once" in line.note) == bool(holds)
            assert ("perhaps the same" in line.note) == (twin is not None and not holds)
    small = next(x for x in lines if x.kind == "consumables").item
    assert {"grease as the maker names it", "thread-locking compound", "cleaner and rags"} & set(
        small.split("; ")
    )
    assert set(small.split("; ")) == set(compounds_of([*parts, *(catalogue.steps[s] for s in job.steps)]))
    assert job.by == "owner"
    wanted = {t for one in (*parts, *(catalogue.steps[s] for s in job.steps)) for t in one.tools}
    tools = {x.item: x.kind for x in lines if x.kind.startswith("tool to ")}
    assert {catalogue.tools[t].name for t in wanted if t in catalogue.tools} == set(tools)
    assert not [x for x in lines if "none of its own" in x.item]
    assert all(x.kind == "carriage" for x in lines if x.item.startswith("carriage"))


def test_the_example_cars_driveline_card_is_right_in_order_and_cautions(plans, catalogue):
    """Common practice, held line by line: up and safe first; joint and flanges marked, shims counted before apart;
    exhaust and shields off before the shaft, shaft before its halves, halves before bearing and flange; couplings'
    nuts never again; final tightening settled at ride height; road test; recheck."""
    _, job, card, _ = driveline(plans, catalogue)
    names = [s.name for s in card.steps]
    assert names[0].startswith("car up and made safe") or "lift" in names[0]
    at = {s: i for i, s in enumerate(job.steps)}
    for first, then in (
        ("exhaust-lowered-front-section-off", "shaft-out-two-piece"),
        ("shaft-disconnected-at-axle", "shaft-out-two-piece"),
        ("shaft-out-two-piece", "shaft-halves-split"),
    ):
        if first in at and then in at:
            assert at[first] < at[then]
    assert any("shaft" in n and "out" in n for n in names)
    said = {head: " ".join(lines) for head, lines in (
        ("marks", card.marks), ("tighten", card.tighten), ("always", card.always), ("test", card.road_test),
        ("care", card.cautions),
    )}  # fmt: skip
    for head, words in {
        "marks": ("punch", "flange", "shims", "turns it comes off", "photograph"),
        "tighten": ("in stages", "maker's figure", "ride height", "preload", "reverse order"),
        "always": ("self-locking nuts", "seal", "lock tab"),
        "test": ("walking pace", "Recheck", "50 to 100 km"),
        "care": ("jack alone", "asbestos", "heavier than one person"),
    }.items():
        for word in words:
            assert word.lower() in said[head].lower(), (head, word)
    text = card_text(card)
    assert text.index("CARE") < text.index("Mark before apart") < text.index("What comes off")
    assert "Sealing compound only where the maker asks for it" in text


def test_the_pinion_job_counts_turns_and_measures_drag_before_anything_moves(plans, catalogue):
    """Common practice: a preloaded pinion; its nut marked, turns and drag noted, never backed off a crush tube."""
    plan = plans("estate", 0.5)
    job = next(j for j in plan.jobs if "pinion-oil-seal" in (*j.components, *j.neighbours))
    card = next(c for c in job_cards(plan, catalogue) if c.id == job.id)
    assert any("Count turns" in m or "count the exposed threads" in m for m in card.marks)
    assert any("drag" in m for m in card.marks)
    assert any("new tube" in t for t in card.tighten)
    assert any("pinion nut" in a for a in card.always)
    assert any("preload gauge" in h for h in card.have_ready)
