"""Read and check the catalogue: what the program knows about parts, checks, strip-down, prices.

estimator catalogue                 how much there is of everything
estimator catalogue show ID         one entry: a part, check, trait, kit, tool, caution, source ...
estimator catalogue show traits     all ids of one kind: components, checks, steps, groups, traits, kits,
                                    tools, cautions, sources
estimator catalogue verify          whether it hangs together; exit 2 if it does not
estimator catalogue sources         where the figures come from, and how many each supports
estimator catalogue sources CASE    what share of a car's expected cost, and of its variance, rests on each kind
"""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from estimator.commands.shell import STDOUT, add_catalogue, add_json, check_target, write_json
from estimator.problems import InputError, Problem, most_alike

if TYPE_CHECKING:
    from estimator.catalogue.load import Catalogue

KINDS = ("components", "checks", "steps", "groups", "traits", "kits", "tools", "cautions", "sources")
WIDTH = 79


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "action", nargs="?", choices=("show", "verify", "sources"), help="default: how much there is"
    )
    parser.add_argument(
        "id",
        nargs="?",
        metavar="ID|CASE",
        help="with show: an id, or a kind such as traits; with sources: a case file",
    )
    add_catalogue(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    if args.action == "show" and args.id is None:
        raise InputError(
            Problem("catalogue show", None, "ID", f"is missing: an id, or one of {', '.join(KINDS)}")
        )
    if args.action not in ("show", "sources") and args.id is not None:
        where = f"catalogue {args.action or ''}".strip()
        raise InputError(Problem(where, None, "ID", "goes with show and sources only"))
    check_target(args.json, inputs=(args.id,) if args.action == "sources" and args.id else ())
    from estimator.catalogue.load import load_catalogue

    catalogue = load_catalogue(args.catalogue)
    made = {"show": _show, "verify": _verify, "sources": _sources, None: _counts}[args.action]
    data, text, code = made(catalogue, args.id or "")
    write_json(args.json, {"format": 1, **data})
    if args.json != STDOUT:
        print(text)
    return code


Made = tuple[dict[str, Any], str, int]


def _counts(catalogue: Catalogue, _: str) -> Made:
    from estimator.catalogue.verify import count

    counts = count(catalogue)
    rows = [f"  {n:>5}  {kind.replace('_', ' ')}" for kind, n in counts.items()]
    text = "\n".join(["The catalogue holds", *rows, f"read from {', '.join(catalogue.folders)}"])
    return {"counts": counts, "folders": list(catalogue.folders)}, text, 0


def _verify(catalogue: Catalogue, _: str) -> Made:
    from estimator.catalogue.verify import verify

    report = verify(catalogue)
    counted = ", ".join(f"{n} {kind.replace('_', ' ')}" for kind, n in report.counts.items())
    verdict = "It hangs together." if report.clean else f"{len(report.problems)} problems:"
    bullets = [*report.problems, *(f"note: {note}" for note in report.notes)]
    text = "\n".join([*textwrap.wrap(counted, WIDTH), verdict, *(f"  {one}" for one in bullets)])
    data = {"counts": report.counts, "problems": list(report.problems), "notes": list(report.notes)}
    return data, text, 0 if report.clean else 2


def _sources(catalogue: Catalogue, case: str) -> Made:
    if case:
        from estimator.commands.case_sources import case_sources

        return (*case_sources(catalogue, case), 0)
    uses = source_uses(catalogue)
    rows, entries = [], []
    for source in catalogue.sources.values():
        used = uses.get(source.id, 0)
        entries.append({**source.model_dump(mode="json"), "entries": used})
        about = ", ".join(str(x) for x in (source.publisher, source.year, source.where) if x)
        head = f"{source.id} ({source.kind.replace('-', ' ')}, {used} entries): {source.title}"
        rows.append(_hang(f"{head}. {about}" if about else head, "  "))
    return {"sources": entries}, "\n".join(rows), 0


def source_uses(catalogue: Catalogue) -> dict[str, int]:
    """How many places of the catalogue name each source, by its id."""
    count: dict[str, int] = {}
    for kind in KINDS[:-1]:
        for record in getattr(catalogue, kind).values():
            for name in _named_sources(record.model_dump(mode="json")):
                count[name] = count.get(name, 0) + 1
    for settings in (catalogue.settings.prices, catalogue.settings.evidence, catalogue.settings.exposure):
        for name in _named_sources(settings.model_dump(mode="json")):
            count[name] = count.get(name, 0) + 1
    return count


def _named_sources(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, one in value.items():
            if key == "source" and isinstance(one, str) and one:
                yield one
            elif key == "sources" and isinstance(one, Mapping):
                yield from (str(name) for name in one.values())
            else:
                yield from _named_sources(one)
    elif isinstance(value, list):
        for one in value:
            yield from _named_sources(one)


def _show(catalogue: Catalogue, wanted: str) -> Made:
    if wanted in KINDS:
        return _list(catalogue, wanted)
    found = [(kind, getattr(catalogue, kind)[wanted]) for kind in KINDS if wanted in getattr(catalogue, kind)]
    if not found:
        named = {one: getattr(r, "name", "") for kind in KINDS for one, r in getattr(catalogue, kind).items()}
        close = most_alike(wanted, {**dict.fromkeys(KINDS, ""), **named})
        meant = f"; did you mean {close!r}" if close else ""
        text = f"there is nothing of that name{meant}. `estimator catalogue show components` lists the parts"
        raise InputError(Problem("catalogue", None, wanted[:60], text))
    entries, texts = [], []
    for kind, record in found:
        place = catalogue.home.get(f"{kind.removesuffix('s')} {wanted}", "")
        entries.append({"kind": kind, "id": wanted, "file": place, "record": record.model_dump(mode="json")})
        said = record.model_dump(mode="json", exclude_defaults=True)
        texts.append("\n".join([f"{wanted} (in {kind}{', ' + place if place else ''})", *_rows(said, "  ")]))
    return {"entries": entries}, "\n\n".join(texts), 0


def _list(catalogue: Catalogue, kind: str) -> Made:
    records = getattr(catalogue, kind)
    rows, last = [], None
    for record in records.values():
        place = next((getattr(record, a) for a in ("system", "station", "group") if hasattr(record, a)), None)
        if place is not None and place != last:
            rows.append(place)
            last = place
        name = getattr(record, "name", None) or getattr(record, "title", None) or record.text
        rows.append(_hang(f"  {record.id}: {name}", "      "))
    listed = [
        {"id": r.id, "name": getattr(r, "name", None) or getattr(r, "title", "")} for r in records.values()
    ]
    return {"kind": kind, "entries": listed}, "\n".join(rows), 0


def _hang(text: str, indent: str) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _rows(value: Mapping[str, Any], indent: str) -> Iterator[str]:
    for key, one in value.items():
        label = f"{indent}{key.replace('_', ' ')}"
        if isinstance(one, Mapping):
            yield f"{label}:"
            yield from _rows(one, indent + "  ")
        elif isinstance(one, list) and any(isinstance(x, Mapping) for x in one):
            for number, entry in enumerate(one, start=1):
                yield f"{label} {number}:"
                yield from _rows(entry, indent + "    ")
        else:
            said = ", ".join(map(str, one)) if isinstance(one, list) else str(one)
            yield _hang(f"{label}: {said}", indent + "    ")
