"""The codebook names every table and key there is, and its examples work."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from estimator.catalogue import records, settings
from estimator.catalogue.load import TABLES, data_folder, load_catalogue

CODEBOOK = (data_folder() / "README.md").read_text(encoding="utf-8")
NAMED = {
    word for code in re.findall(r"`([^`\n]+)`", CODEBOOK) for word in re.findall(r"[A-Za-z_][\w-]*", code)
}
MODELS = [
    model
    for module in (records, settings)
    for _, model in inspect.getmembers(module, inspect.isclass)
    if issubclass(model, BaseModel) and model.__module__ == module.__name__
]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_is_explained(model: type[BaseModel]) -> None:
    keys = {field.alias or name for name, field in model.model_fields.items()}
    assert keys - NAMED == set()


def test_every_table_is_explained() -> None:
    for table in TABLES:
        assert f"`[[{table}]]`" in CODEBOOK
    for name in ("prices.toml", "evidence.toml", "exposure.toml"):
        assert f"## `{name}`" in CODEBOOK


def test_every_word_of_a_choice_is_explained() -> None:
    """Words allowed under need, noticed, exposure, needs, and the kinds of checks, remedies and sources."""
    for choice in (records.Need, records.Noticed, records.Exposure, records.RemedyKind, records.Condition):
        assert set(choice.__args__) <= NAMED  # type: ignore[attr-defined]
    for model, key in ((records.Check, "kind"), (records.Source, "kind"), (records.Remedy, "supplier")):
        assert set(model.model_fields[key].annotation.__args__) <= NAMED  # type: ignore[union-attr]


def test_examples_of_own_figures_load(tmp_path: Path) -> None:
    blocks = re.findall(r"```toml\n# my-figures/(\S+)\n(.*?)```", CODEBOOK, re.DOTALL)
    assert [name for name, _ in blocks] == ["prices.toml", "mine.toml"]
    for name, text in blocks:
        (tmp_path / name).write_text(text, encoding="utf-8")
    ours, theirs = load_catalogue(), load_catalogue(tmp_path)
    assert theirs.settings.prices.currency["GBP"].labour_rate == (60, 85, 120)
    assert set(theirs.sources) - set(ours.sources) == {"my-workshop"}
