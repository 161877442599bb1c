"""What every careful buyer of any old car looks at: data/usual.toml, or the list of a user's own folder."""

from __future__ import annotations

from pathlib import Path

from estimator.catalogue.load import USUAL, Catalogue, data_folder
from estimator.catalogue.records import Identifier, Record
from estimator.files import InputError, check_model, read_toml
from estimator.problems import nearest, shown


class Usual(Record):
    """checks : ids, in walking order; each holds for the cars it fits."""

    source: str
    checks: tuple[Identifier, ...]


def usual_checks(catalogue: Catalogue) -> tuple[str, ...]:
    """Ids of the checks every buyer makes, in walking order: the list of the last folder that has one, else ours.

    Raises
    ------
    InputError
        Naming file, line and key of what is wrong, and ids of checks that do not exist.
    """
    folders = [Path(f) for f in catalogue.folders if (Path(f) / USUAL).is_file()]
    document = read_toml((folders[-1] if folders else data_folder()) / USUAL)
    made, faults = check_model(document, Usual)
    if made is None or faults:
        raise InputError(faults)
    for place, one in enumerate(made.checks):
        if one not in catalogue.checks:
            close = nearest(one, catalogue.checks)
            meant = f"; did you mean {close}?" if close else ""
            raise InputError(document.problem(("checks", place), f"there is no check {shown(one)}{meant}"))
    return made.checks
