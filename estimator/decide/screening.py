"""Many cars at once: a list as CSV or as a frame in, a row for each out. What is wrong with one car stops no other.

frame = screen("cars.csv", catalogue)
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from estimator.assess import SEED
from estimator.case import Case, cases_from
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.problems import InputError

if TYPE_CHECKING:
    import pandas as pd

SCREEN_DRAWS = 4_000
COLUMNS = (
    "case", "ok", "error", "currency", "asking", "p50", "p80", "p95", "mean", "known", "fair", "walk_away", "binds",
    "target", "worth_asking", "stops", "open_stops", "warnings",
)  # fmt: skip
_WAITING = 4  # rows handed to each worker ahead of time


def screen(
    cars: str | os.PathLike[str] | pd.DataFrame | Any,
    catalogue: Catalogue | None = None,
    *,
    draws: int = SCREEN_DRAWS,
    seed: int = SEED,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> pd.DataFrame:
    """A row a car, in the order of the list, with COLUMNS; cells are empty where a figure cannot be had.

    Parameters
    ----------
    cars : path of a CSV file, or a frame (a DataFrame, a mapping of columns, a list of mappings), with the keys of
        [car] and [money] as columns and, for more, `folder`, a folder with a case.toml as seen from the CSV file or,
        for a frame, from the current folder.
    draws, seed : Monte Carlo draws of each car, 20 to 2,000,000, and their seed, a whole number >= 0.
    workers : processes; by default the machine's cores. The result does not depend on it.
    progress : called with the number of rows done.

    Returns
    -------
    DataFrame with COLUMNS: ok and error (why a car could not be reckoned); p50, p80, p95, mean and known (found) of the
    first year, asking, fair, target and walk_away in the row's currency with tax; binds (value or budget);
    worth_asking (no stop, and walk_away, at an auction the highest bid, no less than asking; for a car that is owned
    empty, as are walk_away, target and binds); counts of stops (failed), open_stops and warnings.

    Raises
    ------
    InputError
        If the list itself cannot be read, naming line, column, what was found and what is allowed. What is wrong with
        one car stands in its row.
    """
    import pandas as pd

    rows = []
    for row in screened(cars, catalogue, draws=draws, seed=seed, workers=workers):
        rows.append(row)
        if progress is not None:
            progress(len(rows))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def screened(
    cars: str | os.PathLike[str] | pd.DataFrame | Any,
    catalogue: Catalogue | None = None,
    *,
    draws: int = SCREEN_DRAWS,
    seed: int = SEED,
    workers: int | None = None,
) -> Iterator[dict[str, Any]]:
    """The same as an iterator of rows, each as soon as it and those before it are done."""
    known = catalogue or load_catalogue()
    listed = cases_from(cars, known)
    count = workers or os.cpu_count() or 1
    if count == 1:
        for name, case in listed:
            yield _row(name, case, known, draws, seed)
        return
    folder = overlay_of(known)
    with ProcessPoolExecutor(count, initializer=_start, initargs=(folder,)) as pool:
        yield from _in_order(pool, listed, draws=draws, seed=seed, ahead=_WAITING * count)


def overlay_of(catalogue: Catalogue) -> str | None:
    """The user's own folder laid over the catalogue, if any: workers read it themselves."""
    return catalogue.folders[-1] if len(catalogue.folders) > 1 else None


def screened_row(
    case: Case, catalogue: Catalogue, *, draws: int = SCREEN_DRAWS, seed: int = SEED
) -> dict[str, Any]:
    """Figures of one car; prices only where it has a price and a value."""
    from estimator.assess import assess_fully
    from estimator.decide.offer import offered
    from estimator.decide.reference import reference_outlay
    from estimator.decide.sales import is_owned, price_of

    result = assess_fully(case, catalogue, draws=draws, seed=seed, workers=1)
    found, year = result.assessment, result.assessment.total.plan_year
    row = {
        "case": case.name, "ok": True, "error": "", "currency": case.money.currency, "asking": case.money.asking,
        "p50": year.p50, "p80": year.p80, "p95": year.p95, "mean": year.mean, "known": found.known.plan_year.mean,
        "stops": len(found.stops), "open_stops": len(found.open_stops), "warnings": len(found.warnings),
    }  # fmt: skip
    if (price_of(case) is not None or is_owned(case)) and case.money.sound_example is not None:
        prices = offered(result, reference_outlay(case, catalogue, draws=draws, seed=seed))
        row |= {
            "fair": prices.fair,
            "walk_away": prices.walk_away,
            "binds": prices.binds,
            "target": prices.target,
        }
        if prices.walk_away is not None:
            row["worth_asking"] = prices.walk_away >= prices.asking and not found.stops
    return {column: row.get(column) for column in COLUMNS}


def _row(name: str, case: Case | InputError, catalogue: Catalogue, draws: int, seed: int) -> dict[str, Any]:
    if isinstance(case, InputError):
        return _refused(name, case)
    try:
        return screened_row(case, catalogue, draws=draws, seed=seed)
    except (InputError, ValueError, ArithmeticError, MemoryError) as error:
        return _refused(name, error)


def _refused(name: str, error: Exception) -> dict[str, Any]:
    """The row of a car that cannot be reckoned: why, on one line."""
    text = " ".join(str(error).split()) or type(error).__name__
    return {**dict.fromkeys(COLUMNS), "case": name, "ok": False, "error": text}


_CATALOGUE: list[Catalogue] = []  # of a worker process


def _start(folder: str | None) -> None:
    _CATALOGUE[:] = [load_catalogue(Path(folder) if folder else None)]


def _work(name: str, case: Case, draws: int, seed: int) -> dict[str, Any]:
    return _row(name, case, _CATALOGUE[0], draws, seed)


def _in_order(
    pool: Executor, listed: Iterator[tuple[str, Case | InputError]], *, draws: int, seed: int, ahead: int
) -> Iterator[dict[str, Any]]:
    """Rows in the order of the list, a few of them in work at a time."""
    waiting: list[tuple[str, Future[dict[str, Any]] | InputError]] = []

    def hand_out(count: int) -> None:
        for name, case in islice(listed, count):
            ready = case if isinstance(case, InputError) else pool.submit(_work, name, case, draws, seed)
            waiting.append((name, ready))

    hand_out(ahead)
    while waiting:
        name, ready = waiting.pop(0)
        yield _refused(name, ready) if isinstance(ready, InputError) else ready.result()
        hand_out(1)
