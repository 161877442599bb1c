"""The one table of screen words, and how sums, distances, days and chances are written for people."""

from __future__ import annotations

import datetime
import math

NBSP = "\u00a0"

CONDITIONS = {"sound": "good", "worn": "tired", "spent": "needs doing"}
NEEDS = {
    "safety": "safety or law",
    "to-drive": "to drive",
    "protects": "protects dearer parts",
    "comfort": "comfort and looks",
}
SYSTEMS = {
    "engine": "Engine",
    "cooling": "Cooling",
    "fuel": "Fuel",
    "ignition-and-charging": "Ignition and charging",
    "exhaust": "Exhaust",
    "clutch-and-gearbox": "Clutch and gearbox",
    "driveline": "Driveline",
    "axle-and-hubs": "Axle and hubs",
    "suspension": "Suspension",
    "steering": "Steering",
    "brakes": "Brakes",
    "wheels-and-tyres": "Wheels and tyres",
    "structure-and-body": "Structure and body",
    "glass-and-seals": "Glass and seals",
    "soft-top-and-trim": "Soft top and trim",
    "instruments-and-electrics": "Instruments and electrics",
    "heating-and-ventilation": "Heating and ventilation",
}
# The sums that are never mixed (estimator.sums), by name and by when.
SUMS = {
    "found": "Found",
    "not_seen_yet": "Not seen yet",
    "total": "Together",
    "safety_and_drive": "Of that: safety, law and to drive",
    "comfort": "Apart: comfort and looks",
    "unlisted": "Apart: work no list can name beforehand",
}
WHEN = {"now": "now", "first_year": "first year"}
STATIONS = {
    "before-you-go": "Before you go",
    "papers-and-questions": "Papers and questions",
    "walk-round": "Walk-round",
    "bonnet-cold": "Bonnet open, engine cold",
    "cabin": "Cabin",
    "cold-start": "Cold start",
    "road-test": "Road test",
    "hot": "Engine hot",
    "one-wheel-at-a-time": "One wheel at a time",
    "on-a-lift": "On a lift",
    "small-things-off": "Small things off",
    "laboratory": "Laboratory",
}
CHECK_NEEDS = {
    "cold": "engine cold",
    "hot": "engine hot",
    "running": "engine running",
    "drive": "driving",
    "legal-to-drive": "legal on the road",
    "helper": "a helper",
    "lift": "a lift",
    "jack": "jack and stands",
    "battery": "a charged battery",
    "daylight": "daylight",
    "permission": "the seller's permission",
    "seller": "the seller",
    "papers": "the papers",
    "pictures": "pictures",
    "workshop": "a workshop",
    "laboratory": "a laboratory",
}

# Words of the case file and what people read for them, by key of the file.
CHOICES: dict[str, dict[str, str]] = {
    "viewer": {"newcomer": "a newcomer", "handy": "a handy owner", "mechanic": "a mechanic"},
    "sale": {
        "private": "private seller",
        "trader": "trader",
        "auction": "auction",
        "friend": "friend",
        "unseen": "bought unseen",
        "owned": "it is mine already",
    },
    "reason": {
        "unknown": "don't know",
        "no-time": "no time for it",
        "no-space": "no room for it",
        "needs-money": "needs the money",
        "replaced": "has another",
        "inherited": "inherited",
        "needs-work": "it needs work",
        "stock": "a trader's stock",
    },
    "unit": {"miles": "miles", "km": "km"},
    "care": {
        "unknown": "don't know",
        "attentive": "attentive",
        "ordinary": "ordinary",
        "neglectful": "neglectful",
    },
    "parts": {"common": "easy", "scarce": "scarce", "rare": "rare"},
    "storage": {
        "unknown": "don't know",
        "outdoors": "outdoors",
        "carport": "carport",
        "damp-garage": "damp garage",
        "dry-garage": "dry garage",
        "heated": "heated garage",
    },
    "climate": {
        "unknown": "don't know",
        "mild": "mild",
        "wet": "wet",
        "salted-winters": "salted winters",
        "coastal": "by the sea",
        "hot-dry": "hot and dry",
    },
    "use": {
        "unknown": "don't know",
        "daily": "daily",
        "summer": "summers only",
        "occasional": "now and then",
        "laid-up": "laid up",
    },
    "value_means": {"as-sold": "with ordinary wear", "nothing-to-do": "nothing to do on it"},
    "test_result": {
        "passed": "passed",
        "passed-with-advice": "passed with advice",
        "refused": "refused",
    },
    "what": {
        "renewed": "renewed",
        "overhauled": "overhauled",
        "adjusted": "adjusted",
        "seen-sound": "seen: good",
        "seen-worn": "seen: tired",
        "seen-spent": "seen: needs doing",
    },
    "fitted": {
        "unknown": "don't know",
        "new": "new",
        "pattern": "good pattern part",
        "used": "used",
        "old-stock": "old stock",
        "rebuilt": "rebuilt",
        "repaired": "repaired",
    },
    "by": {"unknown": "don't know", "workshop": "a workshop", "owner": "an owner"},
    "evidence": {
        "invoice": "invoice naming this car",
        "receipt": "receipt for parts",
        "stamp": "stamp or log",
        "note": "a note",
        "owner-word": "owner says so",
        "trader-word": "trader says so",
        "strip-down": "seen taken apart, on this car",
    },
    "side": {"both": "both or whole", "left": "left", "right": "right"},
    "how": {"in-person": "in person", "pictures": "from pictures", "reported": "told by somebody"},
    "answer": {"could-not-try": "could not try", "refused": "refused"},
}
SURE = {1.0: "certain", 0.8: "fairly sure", 0.65: "I think so"}

# What an unanswered question about the build is filed under on the screen.
BUILD_SECTIONS: dict[str, tuple[str, ...]] = {
    "Body": ("shell", "shell-details", "body", "roof"),
    "Engine": (
        "layout",
        "valve-gear",
        "cylinders",
        "camshaft-drive",
        "engine-details",
        "fuel",
        "fuel-details",
        "ignition",
        "charging",
    ),
    "Drive": (
        "gearbox",
        "gearbox-details",
        "drive-details",
        "prop-shaft",
        "driveline-details",
        "rear-axle",
        "axle-details",
    ),
    "Springs and steering": (
        "springing",
        "front-suspension",
        "front-suspension-details",
        "dampers",
        "steering",
        "steering-details",
    ),
    "Brakes and wheels": (
        "front-brakes",
        "rear-brakes",
        "handbrake",
        "rear-disc-handbrake",
        "brake-circuit",
        "brake-details",
        "wheels",
    ),
    "Equipment": ("equipment",),
}
DEPTHS = {"full": "in full"}

KEEPING_PARTS = {
    "putting_right": "putting right at the start",
    "wear": "wear still to come",
    "tyres": "wheels and tyres",
    "unlisted": "work on no list",
    "service": "service",
    "fuel": "fuel",
    "insurance": "insurance",
    "tax": "tax",
    "storage": "storage",
    "inspection": "inspections",
    "value": "change in value",
}
PLAN_STATUS = {
    "optimal": "Every planned job fits into the limits; no cheaper plan is possible.",
    "within-gap": "Every planned job fits into the limits; a plan up to {gap} cheaper, waiting counted, may exist.",
    "left-out": "Not every job fits into the limits.",
    "infeasible": "No job fits into the limits.",
    "nothing-probable": "No single part is likely enough to need work to plan for it.",
}
CAUTION = "An estimate is not an inspection, a valuation or a roadworthiness certificate."

_SYMBOLS = {"GBP": "£", "EUR": "€"}


def money(amount: float, currency: str) -> str:
    """A sum to the whole unit: "£6,412", "SEK 84,000"."""
    sign = "-" if round(amount) < 0 else ""
    figure = f"{abs(amount):,.0f}"
    symbol = _SYMBOLS.get(currency)
    return f"{sign}{symbol}{figure}" if symbol else f"{sign}{currency}{NBSP}{figure}"


def rounded(amount: float) -> float:
    """An uncertain sum to two leading figures, never finer than 10."""
    if abs(amount) < 5:
        return 0.0
    step = max(10.0, 10.0 ** (math.floor(math.log10(abs(amount))) - 1))
    return round(amount / step) * step


def about(amount: float, currency: str) -> str:
    """An uncertain sum, as finely as it is known: "£6,400"."""
    return money(rounded(amount), currency)


def span(low: float, high: float, currency: str) -> str:
    """From-to: "£240 to £610", "£2,000" when both round to the same."""
    first, last = about(low, currency), about(high, currency)
    return first if first == last else f"{first} to {last}"


def distance(value: float, unit: str) -> str:
    """An odometer figure in its own unit."""
    return f"{value:,.0f}{NBSP}{unit}"


def day(value: datetime.date) -> str:
    """A day as people write it; the first of July or January of a year is how a bare year is kept."""
    return f"{value.day}{NBSP}{value:%b}{NBSP}{value.year}"


def chance(p: float) -> str:
    """A probability as a frequency: "about 3 in 10"."""
    if p >= 0.995:
        return "as good as certain"
    if p > 0.95:
        return "more than 19 in 20"
    if p >= 0.145:
        return f"about {min(round(p * 10), 9)} in 10"
    if p >= 0.005:
        return f"about 1 in {round(1 / p)}"
    return "less than 1 in 200"


def odds(p: float) -> str:
    """`chance` without the "about", for labels: "3 in 10"."""
    return chance(p).removeprefix("about ")


def percent(p: float) -> str:
    """A probability as a percentage, for tables: "34 %", "<1 %"."""
    if 0 < p < 0.005:
        return f"<1{NBSP}%"
    if 0.995 < p < 1:
        return f">99{NBSP}%"
    return f"{p * 100:.0f}{NBSP}%"


def signed(points: float) -> str:
    """Percentage points with their sign: "+12.3", "−0.4"."""
    return f"{points:+.1f}".replace("-", "\u2212")


def listed(names: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def plural(count: int, one: str, many: str | None = None) -> str:
    """ "1 entry", "3 entries"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def sentence(text: str) -> str:
    """The first letter capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def plain(text: str) -> str:
    """Text a person typed, safe inside Markdown."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]<>#$|~:" else c for c in text)


def job_hours(trade: float, own: float) -> str:
    """The hours of a planned job, and whose they are."""
    return f"{own:.0f} h of yours" if own else f"{trade:.1f} h in a workshop"
