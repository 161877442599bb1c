"""The case file that `estimator new` writes: every key explained, and a file that loads as it stands."""

from __future__ import annotations

import datetime

from estimator.clock import today

STARTER = """\
# One car that may be bought. Fill in what is known; leave out the rest by putting # in front of the line.
# Text stands in "quotes". Dates are year-month-day without quotes: 1998-06-11; where only the year is
# known, write the year: 1998. Decimals have a point. Yes and no are true and false.
# Lines starting with # are notes for you; lines starting with #: are keys you may use: take the #: away.

format = 1

# --- the car ---------------------------------------------------------------------------------------
[car]
name = "My candidate"           # what you call it
viewed = {viewed}             # the day the car was seen: everything is worked out as of this day
built = 1972-04-01              # first registered or built
odometer = 61200                # what the odometer shows
unit = "miles"                  # miles or km: of the odometer and of every distance in this file

# How it is built decides which parts it has. `estimator catalogue show traits` lists all the words.
# Of each group name the one that is true; leave out what you do not know, and it is weighed by how
# common it was in the year the car was built.
traits = [
  "monocoque",                  # or "separate-chassis"
  "front-engine-rear-drive",    # or "front-drive", "rear-engine", "mid-engine"
  "carburettor",                # or "mechanical-injection", "electronic-injection"
  "manual-gearbox",             # or "automatic"
]

#: viewer = "handy"             # who looked: newcomer, handy, mechanic (default handy)
#: sale = "private"             # private, trader, auction, friend, unseen, owned (default private)
#: reason = "unknown"           # why it is for sale, as far as known: no-time, no-space, needs-money,
                                # replaced, inherited, needs-work, stock (default unknown)
#: runs = true                  # false: the engine does not run (default true)
#: road_legal = true            # false: it may not be driven on the road today (default true)
#: odometer_digits = 5          # whole miles or km only, 4 to 7: a dial of five turns over (default 5)
#: storage = "unknown"          # outdoors, carport, damp-garage, dry-garage, heated (default unknown:
                                # outdoors half the time)
#: climate = "unknown"          # mild, wet, salted-winters, coastal, hot-dry (default unknown: no extremes)
#: use = "unknown"              # daily, summer, occasional, laid-up (default unknown: as cars of its age are)
#: care = "unknown"             # attentive, ordinary, neglectful: as you judge it (default unknown)
#: parts = "common"             # common, scarce, rare: how hard parts are to find (default common)
#: country = ""                 # where it is now
#: market = ""                  # the country it was built for, where that is another
#: region = ""                  # where the work would be done
#: note = ""                    # anything worth remembering; so has every entry below

# --- money: all sums with tax, unless a line says otherwise -------------------------------------------
[money]
currency = "GBP"                # three letters: GBP, EUR, USD ...
#: asking = 7500                # the asking price; `offer` and `next` need it (or seller)
#: seller = [6000, 6800, 7500]  # the least the seller would take, as you guess it: low, likely, high
                                # (default: from three quarters of the asking price up to all of it)
#: sound_example = [8000, 9500, 11500]  # what a good one costs: low, likely, high; `offer` needs it
#: value_means = "as-sold"      # as-sold: good ones are sold with ordinary wear in them; or nothing-to-do
#: budget = 11000               # for purchase and first year together (default: no limit)
#: confidence = 0.8             # how sure you want to be that the budget holds, 0 to 1 (default 0.8)
#: risk_tolerance = 5000        # the largest sum at which you would just take an even chance of winning it or losing
                                # half of it; small: a bad surprise would hurt (default: only the average counts)
#: scrap = 400                  # what it fetches if you give up on it (default 5 % of a low good one)
#: labour_rate = [55, 75, 110]  # a workshop hour before tax: low, likely, high (default: as usual there)
#: tax = 0.20                   # on parts and labour: 20 % is 0.20 (default: usual in the currency)
#: carriage = 14                # of one order of parts (default: usual)
#: own_hours_per_month = 0      # hours a month you would work on it yourself (default 0)
#: own_skill = 0                # 0 none, 1 handy, 2 experienced, 3 rebuilds gearboxes (default 0)
#: annual_distance = 1200       # you plan to drive in a year (default: what cars of this age usually do)
#: horizon = 3                  # a repair must last at least so many years (default 3)
#: max_wait = 6                 # months you would wait for a part (default 6)
#: monthly = 300                # you can spend in a month of the first year (default: no limit)
#: season = [4, 10]             # months you want to drive, first and last (default: all year)
#: premium = 0.0                # auction: the buyer's premium as a share of the bid (default 0)
#: premium_tax = 0.0            # auction: tax on the premium, as a share of it (default 0)
#: transport = 0                # bringing the car home (default 0)

# --- what the papers say ----------------------------------------------------------------------------
# What the odometer showed on other days: from bills, tests, the service book. One [[reading]] each.
#: [[reading]]
#: date = 1998-06-11
#: odometer = 31250
#: unit = "miles"               # if it differs from [car]

# The odometer was replaced: `old` it last showed (leave out if unknown), `new` it started at.
#: [[odometer_replaced]]
#: date = 1983-02-01
#: old = 58000
#: new = 0
#: unit = "miles"

# Periods it was kept or used differently from what [car] says.
#: [[lived]]
#: from = 1988
#: to = 2003-05-01
#: storage = "outdoors"         # as in [car]; unknown: as [car] says
#: climate = "salted-winters"
#: use = "laid-up"

# Official roadworthiness tests. components: the parts it was advised on or refused for.
#: [[test]]
#: date = 2019-07-02
#: odometer = 60120
#: unit = "miles"
#: result = "passed-with-advice"  # passed, passed-with-advice, refused
#: components = ["brake-pipes-rigid-set"]

# How complete the papers are, between two days: what is not in them then probably was not done.
#: [[coverage]]
#: from = 1996-01-01
#: to = 2024-12-31
#: completeness = 0.9           # 0 to 1 (default 0.9)
#: own_work = false             # true: the owner wrote down own work, too (default false)

# Work done, or a part looked at: one [[work]] for every part on a bill.
#: [[work]]
#: date = 2009-03-20
#: component = "coolant-hoses"  # or a set of parts: kit = "...", depth = "full"
#: what = "renewed"             # renewed, overhauled, adjusted, seen-sound, seen-worn, seen-spent
                                # (default renewed)
#: fitted = "old-stock"         # new, pattern, used, old-stock, rebuilt, repaired (default unknown)
#: moulded = 1985               # old stock: the year its rubber was moulded
#: by = "unknown"               # workshop, owner (default unknown)
#: evidence = "note"            # how you know: invoice naming this car, receipt for the part, stamp, note,
                                # owner-word, trader-word, strip-down (default note)
#: side = "both"                # left, right (default both)
#: odometer = 47120
#: unit = "miles"
#: price = 180                  # what it cost then; for your records

# --- what was looked at ------------------------------------------------------------------------------
# `estimator sheet` prints the checks with their names. One [[finding]] each.
#: [[finding]]
#: check = "brake-pedal"
#: result = "absent"            # present (bad sign there), absent, could-not-try, refused (by the seller)
#: sure = 0.7                   # how sure you are of it, 0 to 1 (default 1)
#: how = "in-person"            # in-person, pictures, reported (default in-person)
#: by = "handy"                 # newcomer, handy, mechanic (default: viewer above)
#: date = {viewed}            # (default: viewed above)
#: badly = false                # true: looked at in the dark, in the wet, already warm ... (default false)
#: side = "both"                # left, right (default both)

# A check that measures takes the figure in place of the result.
#: [[finding]]
#: check = "brake-fluid-boiling-point-tester"
#: value = 178                  # in the unit the sheet names

# --- prices you were quoted, parts that come with it -----------------------------------------------------
#: [[quote]]
#: component = "universal-joint-front"
#: remedy = "rebuilt"           # new, pattern, used, old-stock, exchange, rebuilt, repair, made
#: price = 240
#: before_tax = false           # true: tax comes on top (default false)
#: covers = "parts"             # parts: the part and any specialist; job: fitting it, too (default parts)
#: date = {viewed}

#: [[spare]]
#: component = "starter-motor-solenoid"
#: state = "old-stock"          # new, pattern, used, old-stock, rebuilt (default new)
#: moulded = 1985               # old stock: the year its rubber was moulded

# A trader's promise in writing.
#: [warranty]
#: share = 1.0                  # of repairs not known at the sale that it pays, 0 to 1 (default 1)
#: months = 3                   # for so long (default 3)
#: limit = 1500                 # at most (default: no limit)
#: excess = 0                   # you pay first (default 0)

# --- once it is yours ----------------------------------------------------------------------------------
#: [bought]
#: date = {bought}
#: price = 6900
#: as_of = {bought}          # work everything out as of this day (default: the latest day in this file)
"""


def starter_text(viewed: datetime.date | None = None) -> str:
    """A commented case file to start from, seen today unless `viewed` says otherwise."""
    seen = viewed or today()
    bought = seen + datetime.timedelta(days=14)
    return STARTER.format(viewed=seen.isoformat(), bought=bought.isoformat())


def everything_on(text: str) -> str:
    """The starter with every optional key taken in: what all the keys look like together."""
    rows = []
    for row in text.splitlines():
        if row.startswith("#: "):
            rows.append(row.removeprefix("#: "))
        elif not row.startswith("# "):
            rows.append(row)
    return "\n".join(rows) + "\n"
