"""Running costs: ours load, a user's own figures lie over them, nonsense is refused by key."""

from __future__ import annotations

from pathlib import Path

import pytest

from estimator.catalogue.load import load_catalogue
from estimator.catalogue.running import running_settings
from estimator.problems import InputError


def test_ours_load_and_thirst_goes_by_the_build():
    catalogue = load_catalogue()
    running = running_settings(catalogue)
    four, eight, diesel = (
        running.litres(catalogue, frozenset({t, f}), year=1975)[1]
        for t, f in (
            ("four-cylinder", "carburettor"), ("eight-cylinder", "carburettor"), ("four-cylinder", "diesel")
        )
    )  # fmt: skip
    assert diesel < four < eight
    assert running.storage.of("dry-garage")[1] > running.storage.of("outdoors")[1]


def test_own_figures_lie_over_ours_key_by_key(tmp_path: Path):
    (tmp_path / "running.toml").write_text("[insurance]\nprice = [400, 500, 600]\n", encoding="utf-8")
    ours, own = (running_settings(load_catalogue(folder)) for folder in (None, tmp_path))
    assert own.insurance.price == (400, 500, 600)
    assert own.insurance.growth == ours.insurance.growth
    assert own.fuel == ours.fuel


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[insurance]\nprice = [400, 300, 600]\n", "insurance.price"),
        ("[money]\ndiscount = -1\n", "discount"),
        ("[money]\ndiscunt = 0.1\n", "discunt"),
        ("[value]\nchange = [-2, 0, 0.1]\n", "change"),
        ('[fuel]\nprice = "dear"\n', "fuel"),
    ],
)
def test_nonsense_is_refused_by_key(tmp_path: Path, text: str, key: str):
    (tmp_path / "running.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=key):
        running_settings(load_catalogue(tmp_path))
