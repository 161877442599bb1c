"""Check single files against the record classes: python -m estimator.catalogue.lint FILE..."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

from pydantic import BaseModel, ValidationError

from estimator.catalogue.records import AccessStep, Caution, Check, Component, Group, Kit, Source, Tool, Trait

TABLES: dict[str, type[BaseModel]] = {
    "component": Component, "step": AccessStep, "check": Check, "group": Group, "trait": Trait,
    "kit": Kit, "tool": Tool, "caution": Caution, "source": Source,
}  # fmt: skip


def problems_in(path: Path) -> tuple[int, list[str]]:
    """How many records the file holds, and what is wrong with them."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    shared = {k: data[k] for k in ("system", "station") if k in data}
    found, count = [], 0
    for table, rows in data.items():
        if table in shared:
            continue
        if table not in TABLES:
            found.append(f"{path}: unknown table {table!r}")
            continue
        for row in rows:
            count += 1
            try:
                TABLES[table].model_validate({**shared, **row})
            except ValidationError as error:
                for e in error.errors():
                    where = ".".join(str(p) for p in e["loc"])
                    value = str(e.get("input"))[:60]
                    found.append(f"{path}: {row.get('id', '?')}.{where}: {e['msg']}; found {value!r}")
    return count, found


def main() -> int:
    bad = 0
    for name in sys.argv[1:]:
        count, found = problems_in(Path(name))
        print(f"{name}: {count} records, {len(found)} problems")
        print("\n".join(found))
        bad += len(found)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
