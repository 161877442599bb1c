"""Figures that cannot be meant: wrong unit or order of magnitude, copied, shares that do not add up."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from estimator.catalogue.builds import share_in
from estimator.catalogue.load import Catalogue
from estimator.catalogue.records import Check, Component, Remedy
from estimator.catalogue.verify_references import place

YEARS = (0.5, 400.0)
KM = (1_000.0, 1_000_000.0)
MOST_HOURS = 300.0  # a body stripped to the metal and painted
MOST_STEP_HOURS = 80.0
MOST_PRICE = 40_000.0  # GBP, the dearest single entry: an engine or a body restored
MOST_CHECK_PRICE = 2_000.0
SHARE_ERROR = 0.006  # shares are written to two decimals
# Mean years a part stays on the car, by who notices. Generous: what is noticed at once is often lived with
# for years; a figure outside is a slip of the decimal point.
DEFERRAL = {
    "driver-at-once": (0.02, 15.0),
    "driver-in-weeks": (0.05, 15.0),
    "next-service": (0.1, 20.0),
    "on-a-lift": (0.3, 40.0),
}
MOST_DEFERRAL_TO_DRIVE = 3.0  # a car that does not go is mended or laid up, and lay-up is told apart
FOUND_LESS = ("new", "pattern", "used", "exchange")  # old stock is left over where few cars are left
SAME = "same figures"  # words of a note that say two entries agree on purpose


def problems(catalogue: Catalogue) -> Iterator[str]:
    """Figures outside what can be meant, with file and id."""
    for component in catalogue.components.values():
        here = place(catalogue, "component", component.id)
        yield from (f"{here}: {text}" for text in _component(component))
        for number, remedy in enumerate(component.remedy, start=1):
            yield from (f"{here}: remedy {number}: {text}" for text in _remedy(remedy))
    for step in catalogue.steps.values():
        here = place(catalogue, "step", step.id)
        if step.hours[1] == 0 or step.hours[2] > MOST_STEP_HOURS:
            yield f"{here}: hours: {step.hours} is not between 0 and {MOST_STEP_HOURS:g} trade hours"
        for item in step.disturbs:
            if item.price[2] > MOST_PRICE / 10:
                yield f"{here}: disturbs: {item.item} at {item.price[2]:g} is no small part"
    for check in catalogue.checks.values():
        yield from (f"{place(catalogue, 'check', check.id)}: {text}" for text in _check(check))
    for tool in catalogue.tools.values():
        if tool.hire is not None and tool.hire[1] >= tool.buy[1]:
            yield f"{place(catalogue, 'tool', tool.id)}: hire: dearer than buying"
    yield from _copies(catalogue)
    yield from _shares(catalogue)


def wide(catalogue: Catalogue) -> Iterator[str]:
    """Price ranges over a factor of fifteen: honest perhaps, but say little."""
    names = [
        component.id
        for component in catalogue.components.values()
        if any(
            range_[0] > 0 and range_[2] / range_[0] > 15
            for remedy in component.remedy
            for range_ in (remedy.price, remedy.specialist)
        )
    ]
    if names:
        yield f"price ranges over a factor of 15: {', '.join(names)}"


def _component(component: Component) -> Iterator[str]:
    for key, life, (low, high), unit in (
        ("life_years", component.life_years, YEARS, "years"),
        ("life_km", component.life_km, KM, "km"),
    ):
        if life is not None and not low <= life.b10 < life.b50 <= high:
            yield f"{key}: b10 {life.b10:g}, b50 {life.b50:g} {unit}: allowed are {low:g} to {high:g}"
    if component.hours[2] > MOST_HOURS:
        yield f"hours: {component.hours[2]:g} trade hours: allowed are up to {MOST_HOURS:g}"
    if component.built and component.built[0] > component.built[1]:
        yield f"built: {component.built[0]} to {component.built[1]} runs backwards"
    low, high = DEFERRAL[component.noticed]
    if component.need == "to-drive" and component.noticed == "driver-at-once":
        high = MOST_DEFERRAL_TO_DRIVE
    if not low <= component.deferral_years <= high:
        yield (
            f"deferral_years: {component.deferral_years:g} with noticed {component.noticed}: "
            f"allowed are {low:g} to {high:g}"
        )


def _remedy(remedy: Remedy) -> Iterator[str]:
    if remedy.built and remedy.built[0] > remedy.built[1]:
        yield f"built: {remedy.built[0]} to {remedy.built[1]} runs backwards"
    for key in ("price", "specialist"):
        most = getattr(remedy, key)[2]
        if most > MOST_PRICE:
            yield f"{key}: {most:g}: allowed are up to {MOST_PRICE:g} GBP"
    if remedy.hours is not None and remedy.hours[2] > MOST_HOURS:
        yield f"hours: {remedy.hours[2]:g} trade hours: allowed are up to {MOST_HOURS:g}"
    if remedy.price[1] + remedy.specialist[1] == 0 and remedy.kind not in ("repair", "used"):
        yield f"a {remedy.kind} part that costs nothing"
    chance = remedy.availability
    if remedy.kind in FOUND_LESS and not chance.common >= chance.scarce >= chance.rare:
        yield "availability: easier to find for a rare car than for a common one"
    if remedy.wait_weeks[2] > 104:
        yield f"wait_weeks: {remedy.wait_weeks[2]:g} weeks: allowed are up to 104"


def _check(check: Check) -> Iterator[str]:
    if check.first_used and check.first_used[0] > check.first_used[1]:
        yield f"first_used: {check.first_used[0]} to {check.first_used[1]} runs backwards"
    if not check.who.newcomer <= check.who.handy <= check.who.mechanic:
        yield "who: a newcomer sees more than a mechanic"
    if check.price[2] > MOST_CHECK_PRICE:
        yield f"price: {check.price[2]:g}: allowed are up to {MOST_CHECK_PRICE:g} GBP"
    if check.links and check.leak > 0.6:
        yield f"leak: {check.leak:g}: a sign that shows on most sound cars tells nothing"
    if check.station in ("before-you-go",) and check.photo == 0 and "pictures" in check.needs:
        yield "photo: 0 on a check made from pictures"
    if check.reading:
        reading = check.reading
        for rule in reading.by_date:
            if not reading.low <= rule.limit <= reading.high:
                yield f"reading.by_date: limit {rule.limit:g} is outside {reading.low:g} to {reading.high:g}"
            if rule.first_used[0] > rule.first_used[1]:
                yield f"reading.by_date: {rule.first_used[0]} to {rule.first_used[1]} runs backwards"
        for before, after in pairwise(sorted(rule.first_used for rule in reading.by_date)):
            if after[0] <= before[1]:
                yield f"reading.by_date: {after[0]} to {before[1]} has two limits"
        if reading.error_sd > (reading.high - reading.low) / 2:
            yield f"reading.error_sd: {reading.error_sd:g} {reading.unit} is half of all that can be read"


def _copies(catalogue: Catalogue) -> Iterator[str]:
    """Two components with the same life, price and labour: copied, unless one of them says why."""
    first: dict[object, Component] = {}
    for component in catalogue.components.values():
        figures = (
            component.life_km,
            component.life_years,
            component.hours,
            tuple((r.kind, r.price, r.specialist, r.hours) for r in component.remedy),
        )
        other = first.setdefault(_frozen(figures), component)
        if other is component or SAME in component.note or SAME in other.note:
            continue
        yield (
            f"{place(catalogue, 'component', component.id)}: life, price and labour are those of {other.id}; "
            f'say why in a note with the words "{SAME}"'
        )


def _frozen(figures: tuple[object, ...]) -> str:
    return repr(figures)


def _shares(catalogue: Catalogue) -> Iterator[str]:
    for trait in catalogue.traits.values():
        years = [year for year, _ in trait.share]
        if not years or any(after <= before for before, after in pairwise(years)):
            yield f"{place(catalogue, 'trait', trait.id)}: share: needs points in order of years"
    for group in catalogue.groups.values():
        if group.choose != "one":
            continue
        traits = [catalogue.traits[one] for one in catalogue.members[group.id]]
        for year in sorted({year for trait in traits for year, _ in trait.share}):
            total = sum(share_in(trait, year) for trait in traits)
            if traits and abs(total - 1) > SHARE_ERROR:
                here = place(catalogue, "group", group.id)
                yield f"{here}: shares of its traits sum to {total:.3f} in {year}"
