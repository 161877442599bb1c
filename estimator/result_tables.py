"""Results as pandas frames, one fact a row: selecting and arranging, no estimating.

    tables = estimator.tables(estimator.assess(case, catalogue))
    tables["parts"].query("p_spent > 0.5")

Money is in the case's currency with tax, chances are 0 to 1, ids are the catalogue's. A figure that came from draws
stands as mean, sd, p10, p50, p80, p90, p95 and worst_fifth (mean of the dearest fifth), with its standard errors as
se_mean and so on where a table is about one figure; where it is about several, each is told by what goes before
(cost_mean, cost_p80).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import singledispatch
from typing import Any

import pandas as pd

from estimator.assess import Assessment
from estimator.decide.compare import Comparison
from estimator.decide.keep import Keeping
from estimator.decide.next_records import NextChecks
from estimator.decide.offer import Offer
from estimator.decide.plan_records import Plan, PlannedJob
from estimator.distribution import KEYS, Distribution
from estimator.sums import sums_of
from estimator.wear.fitting import LifeFit

Tables = dict[str, pd.DataFrame]
Row = dict[str, Any]
_RANGE = ("from", "likely", "to")


@singledispatch
def tables(result: Any) -> Tables:
    """A result as frames by name, one fact a row; columns are there even where there is no row.

    Parameters
    ----------
    result
        What one of these returned, with the frames it gives besides `about`, a single row of what was worked out and
        how (case, currency, draws, seed ...):

        assess: totals (name, when, figures, standard errors), parts, reasons (part, step, label, points: they sum to
        the part's p_spent), months (0: at once), outcomes (twenty equally likely first years), exceedance (amount,
        chance of more), suspects, shared (what all parts share), stops (failed and open), warnings;

        next_checks: checks in the order to make them, results (of each check), bundles, bundle_checks, not_now,
        stops, warnings;

        offer: prices (the smallest first), budget (price, chance that it holds), concessions, sentences, stops,
        warnings;

        plan_year: totals, months, jobs (month 0: left out), job_parts, job_steps, while_apart, options, orders,
        limits, notes, stops, warnings;

        keep: totals, years, parts (of each year), parts_in_all (over all years), sell_now, notes, stops, warnings;

        compare: cases, p_cheaper (case, other, chance that case costs less), dominates, randomness (common to all
        cars, or each one's own), stops (of each case), warnings;

        fit_life: clocks (shape, scale, their intervals), lives (B10 and B50 as fitted, elicited and blended), notes.

    Returns
    -------
    dict of str to DataFrame

    Raises
    ------
    TypeError
        For anything else.
    """
    known = ", ".join(kind.__name__ for kind in tables.registry if kind is not object)
    raise TypeError(f"there are tables of {known}; found {type(result).__name__}")


# --- arranging -----------------------------------------------------------------------------------------


def _frame(rows: Iterable[Row], columns: Sequence[str] = ()) -> pd.DataFrame:
    """Rows as a frame; `columns` are what it has when there are none."""
    every = list(rows)
    return pd.DataFrame(every) if every else pd.DataFrame(columns=list(columns))


def _plain(record: Any, *, leave: Collection[str] = ()) -> Row:
    """The fields of a record that are single figures or words, as columns."""
    fields = (field.name for field in dataclasses.fields(record) if field.name not in leave)
    return {name: v for name in fields if (v := getattr(record, name)) is None or isinstance(v, _SINGLE)}


_SINGLE = (str, bool, int, float)


def _figures(found: Distribution | None, *, of: str = "", errors: bool = False) -> Row:
    """A distribution as columns, `of` before each; empty cells where there is none."""
    row = {f"{of}{key}": None if found is None else getattr(found, key) for key in KEYS}
    return row | {f"se_{key}": found.se[key] for key in KEYS} if errors and found is not None else row


def _range(found: Sequence[float] | None, *, of: str) -> Row:
    return dict(zip((f"{of}_{end}" for end in _RANGE), found or (None,) * 3, strict=True))


def _about(result: Any, *, leave: Collection[str] = (), **more: Any) -> pd.DataFrame:
    return pd.DataFrame([{**_plain(result, leave=leave), **more}])


def _totals(named: Mapping[str, Distribution]) -> pd.DataFrame:
    return _frame({"name": name, **_figures(found, errors=True)} for name, found in named.items())


def _texts(texts: Iterable[str]) -> pd.DataFrame:
    return pd.DataFrame({"text": list(texts)}, dtype=object)


def _stops(failed: Iterable[tuple[str, str]], still_open: Iterable[str] = ()) -> pd.DataFrame:
    """Checks that end the deal: failed, with what was found; open, not looked at yet."""
    rows = [{"check": check, "state": "failed", "text": text} for check, text in failed]
    rows += [{"check": check, "state": "open", "text": ""} for check in still_open]
    return _frame(rows, ("check", "state", "text"))


def _named_stops(
    failed: Iterable[tuple[str, str]], still_open: Iterable[tuple[str, str]], **of: Any
) -> pd.DataFrame:
    """The same with the names of those not looked at yet; `of` are columns before them."""
    rows = [{**of, "check": check, "state": "failed", "text": text} for check, text in failed]
    rows += [{**of, "check": check, "state": "open", "text": name} for check, name in still_open]
    return _frame(rows, (*of, "check", "state", "text"))


# --- what it costs -------------------------------------------------------------------------------------


@tables.register
def _(result: Assessment) -> Tables:
    plain = ("id", "name", "system", "need", "failure", "found", "p_spent", "p_worn", "p_due")
    parts = [
        {
            **{key: getattr(c, key) for key in plain},
            **{f"cost_{key}": (c.cost or {}).get(key) for key in ("p10", "p50", "p90")},
            "mean_cost": c.mean_cost,
            "share_mean": c.share_mean,
            "share_tail": c.share_tail,
            "age_years": c.age_years,
        }
        for c in result.components
    ]
    reasons = (
        {"part": c.id, "name": c.name, "step": r.step, "label": r.label, "points": r.points}
        for c in result.components
        for r in c.why
    )
    names = {c.id: c.name for c in result.components}
    suspects = (
        {"check": s.check, "sign": s.name, "part": part, "name": names.get(part, part), "p_spent": chance}
        for s in result.suspects
        for part, chance in s.parts
    )
    shared = (
        {"factor": factor, "level": level, "value": value}
        for factor, levels in result.grid.items()
        for level, value in levels.items()
    )
    return {
        "about": _about(result, **{f"evidence_{key}": value for key, value in result.evidence.items()}),
        "totals": _frame(
            {"name": s.name, "when": s.when, **_figures(s.figures, errors=True)} for s in sums_of(result)
        ),
        "parts": _frame(parts),
        "reasons": _frame(reasons, ("part", "name", "step", "label", "points")),
        "months": _frame({"month": month, "mean": mean} for month, mean in enumerate(result.by_month)),
        "outcomes": _frame({"place": place, "amount": x} for place, x in enumerate(result.dots, start=1)),
        "exceedance": pd.DataFrame(result.exceedance, columns=["amount", "chance"]),
        "suspects": _frame(suspects, ("check", "sign", "part", "name", "p_spent")),
        "shared": _frame(shared),
        "stops": _stops(result.stops, result.open_stops),
        "warnings": _texts(result.warnings),
    }


# --- decisions -----------------------------------------------------------------------------------------


@tables.register
def _(result: NextChecks) -> Tables:
    checks = [
        {"place": place, **_plain(check), "worth_its_cost": place <= result.stop_after}
        for place, check in enumerate(result.checks, start=1)
    ]
    results = ({"check": check.id, **_plain(one)} for check in result.checks for one in check.results)
    members = ({"bundle": bundle.id, "check": check} for bundle in result.bundles for check in bundle.checks)
    together = {f"together_{key}": value for key, value in _plain(result.together).items()}
    return {
        "about": _about(result, **together),
        "checks": _frame(checks, ("place", "id", "name", "station", "value")),
        "results": _frame(results, ("check", "result", "text", "probability", "walk_away")),
        "bundles": _frame(map(_plain, result.bundles), ("id", "minutes", "price", "value", "net")),
        "bundle_checks": _frame(members, ("bundle", "check")),
        "not_now": pd.DataFrame(result.closed, columns=["check", "why"]),
        "stops": _named_stops(result.failed_stops, ((one.check, one.name) for one in result.open_stops)),
        "warnings": _texts(result.warnings),
    }


@tables.register
def _(result: Offer) -> Tables:
    names = (
        "opening",
        "target",
        "fair",
        "walk_away",
        "highest_bid",
        "asking",
        "likely_lowest",
        "fixed_first",
    )
    told = {name: getattr(result, name) for name in (*names, "paid") if getattr(result, name) is not None}
    if result.highest_bid is not None:
        del told["walk_away"]  # at an auction there is one number
    if result.owned:
        del told["asking"], told["likely_lowest"]
    prices = list(told.items())
    concessions = ({**_plain(one)} for one in result.concessions)
    return {
        "about": _about(result),
        "prices": _frame({"name": name, "amount": x} for name, x in sorted(prices, key=lambda one: one[1])),
        "budget": pd.DataFrame(result.chance_budget_holds, columns=["price", "chance"]),
        "concessions": _frame(concessions, ("id", "name", "worth", "low", "high")),
        "sentences": _frame(
            ({"about": k, "text": text} for k, text in result.sentences.items()), ("about", "text")
        ),
        "stops": _named_stops(result.failed_stops, result.open_stops),
        "warnings": _texts(result.warnings),
    }


@tables.register
def _(result: Plan) -> Tables:
    every: tuple[PlannedJob, ...] = (*result.jobs, *result.left_out)
    months = [
        {
            "month": m.number,
            "start": pd.Timestamp(m.start),
            **_plain(m, leave=("number",)),
            **_figures(m.cost, of="cost_"),
            **_figures(m.turns_up, of="turns_up_"),
            **_figures(m.so_far, of="so_far_"),
        }
        for m in result.months
    ]
    jobs = (
        {
            **_plain(job, leave=("cost",)),
            "labour": result.labour.get(job.id),
            **_figures(job.cost, of="cost_"),
        }
        for job in every
    )
    parts = (
        {"job": job.id, "component": part, "because": why}
        for job in every
        for why, some in (("needs it", job.components), ("is apart", job.neighbours))
        for part in some
    )
    steps = (
        {"job": job.id, "place": n, "step": s} for job in every for n, s in enumerate(job.steps, start=1)
    )
    orders = (
        {
            **_plain(line, leave=("price", "wait_weeks")),
            **_range(line.price, of="price"),
            **_range(line.wait_weeks, of="wait_weeks"),
            "quote": "; ".join(line.quote),
            "substitutes": "; ".join(line.substitutes),
        }
        for line in result.orders
    )
    by, chance = result.on_road_by or (None, None)
    on_road = {"on_road_by": by if by is None else pd.Timestamp(by), "on_road_chance": chance}
    totals = {"total": result.total, "planned": result.planned, "turns_up": result.turns_up}
    return {
        "about": _about(result, leave=("on_road_by",), **on_road),
        "totals": _totals(totals),
        "months": _frame(months),
        "jobs": _frame(jobs, ("id", "name", "month", "by", "need", "urgent", "hours", "own_hours")),
        "job_parts": _frame(parts, ("job", "component", "because")),
        "job_steps": _frame(steps, ("job", "place", "step")),
        "while_apart": _frame(
            map(_plain, result.while_apart),
            ("job", "component", "renew_now", "break_even", "chance", "cost_now", "cost_later"),
        ),
        "options": _frame(
            ({**_plain(o), "total": o.total} for o in result.options),
            ("job", "component", "kind", "name", "now", "later", "chance", "months", "best", "note", "total"),
        ),
        "orders": _frame(
            orders, ("job", "month", "supplier", "kind", "item", "component", "quantity", "amount")
        ),
        "limits": _frame(map(_plain, result.binds), ("limit", "text", "amount")),
        "notes": _texts(result.notes),
        "stops": _stops(result.stops, result.open_stops),
        "warnings": _texts(result.warnings),
    }


@tables.register
def _(result: Keeping) -> Tables:
    years = (
        {"year": y.year, **_figures(y.band, of="nominal_"), "present_mean": y.present} for y in result.years
    )
    parts = (
        {"year": y.year, "part": part, "nominal_mean": cost}
        for y in result.years
        for part, cost in y.parts.items()
    )
    whole = (
        {"part": part, "nominal_mean": cost, "present_mean": result.present_parts[part]}
        for part, cost in result.parts.items()
    )
    totals = {
        "nominal": result.nominal,
        "present": result.present,
        "per_year": result.per_year_band,
        "per_distance": result.per_distance_band,
    }
    sell = result.sell_now
    selling = {} if sell is None else {"receives": sell.receives, "dearer": sell.dearer}
    more = {} if sell is None else {f"sell_now_{key}": value for key, value in _plain(sell).items()}
    return {
        "about": _about(result, leave=("nominal", "present"), **more),
        "totals": _totals(totals),
        "years": _frame(years),
        "parts": _frame(parts),
        "parts_in_all": _frame(whole),
        "sell_now": _totals(selling) if selling else pd.DataFrame(columns=["name", *KEYS]),
        "notes": _texts(result.notes),
        "stops": _stops(result.stops, result.open_stops),
        "warnings": _texts(result.warnings),
    }


@tables.register
def _(result: Comparison) -> Tables:
    cases = (
        {
            "place": place,
            **_plain(one),
            **_figures(one.outlay, of="outlay_"),
            **_figures(one.total, of="total_"),
            **_figures(one.gain, of="gain_"),
            "first": place == result.first,
        }
        for place, one in enumerate(result.cases)
    )
    names = [one.case for one in result.cases]
    cheaper = (
        {"case": names[i], "other": names[j], "place": i, "other_place": j, "p_cheaper": chance}
        for i, row in enumerate(result.p_cheaper)
        for j, chance in enumerate(row)
        if i != j
    )
    dominates = (
        {"case": names[i], "over": names[j], "place": i, "over_place": j, "order": order}
        for i, j, order in result.dominates
    )
    randomness = [{"kind": "common", "what": one} for one in result.common]
    randomness += [{"kind": "own", "what": one} for one in result.own]
    return {
        "about": _about(result),
        "cases": _frame({key: v for key, v in row.items() if key != "gain"} for row in cases),
        "p_cheaper": _frame(cheaper),
        "dominates": _frame(dominates, ("case", "over", "place", "over_place", "order")),
        "randomness": _frame(randomness, ("kind", "what")),
        "stops": pd.concat(
            [
                _named_stops(one.failed_stops, one.open_stops, case=one.case, place=place)
                for place, one in enumerate(result.cases)
            ],
            ignore_index=True,
        ),
        "warnings": _texts(result.warnings),
    }


@tables.register
def _(result: LifeFit) -> Tables:
    clocks = (
        {
            "clock": clock,
            "shape": fit.shape,
            "shape_low": fit.shape_interval[0],
            "shape_high": fit.shape_interval[1],
            "scale": fit.scale,
            "scale_low": fit.scale_interval[0],
            "scale_high": fit.scale_interval[1],
        }
        for clock, fit in result.clocks.items()
    )
    lives = [{"from": "fitted", "b10": result.b10, "b50": result.b50, "weight": 1.0}]
    if result.blend is not None:
        b10, b50 = result.blend.prior
        lives[0]["weight"] = result.blend.weight
        lives.append({"from": "elicited", "b10": b10, "b50": b50, "weight": 1.0 - result.blend.weight})
        lives.append({"from": "blended", "b10": result.blend.b10, "b50": result.blend.b50, "weight": 1.0})
    return {
        "about": _about(result, leave=("blend",)),
        "clocks": _frame(clocks),
        "lives": _frame(lives),
        "notes": _texts(result.notes),
    }
