"""Reading the catalogue: an own folder over ours, one message a fault, and the copy kept between runs."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

from estimator.catalogue import cache
from estimator.catalogue.load import data_folder, load_catalogue, read_catalogue
from estimator.files import InputError
from tests.catalogue.small import PART, copy_of_ours, write


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache folder of the test's own."""
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setattr(cache.platformdirs, "user_cache_dir", lambda *_, **__: str(folder))
    monkeypatch.delenv("ESTIMATOR_NO_CACHE", raising=False)
    return folder


def faults(folder: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_catalogue(folder)
    return str(caught.value).splitlines()


# --- an own folder over ours ------------------------------------------------------------------------------


def test_an_entry_of_ours_is_replaced_and_a_new_one_added(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(PART.replace('["fan-off"]', "[]").replace("puller", "hub-puller"))
    own = (tmp_path / "own.toml").read_text().replace('cautions = ["hot"]', "")
    added = own.replace('id = "water-pump"', 'id = "second-water-pump"').split("[[component]]", 1)[1]
    (tmp_path / "own.toml").write_text(own + "[[component]]" + added)
    ours, theirs = load_catalogue(), load_catalogue(tmp_path)
    assert theirs.components["water-pump"].hours == (1, 1.5, 2)
    assert theirs.components["water-pump"] != ours.components["water-pump"]
    assert set(theirs.components) - set(ours.components) == {"second-water-pump"}
    untouched = set(ours.components) - {"water-pump"}
    assert all(theirs.components[one] == ours.components[one] for one in untouched)
    assert theirs.home["component water-pump"] == str(tmp_path / "own.toml")


def test_single_keys_of_prices_are_overridden_and_the_rest_kept(tmp_path: Path) -> None:
    (tmp_path / "prices.toml").write_text("market_sd = 0.3\n[currency.GBP]\nlabour_rate = [20, 25, 30]\n")
    ours, theirs = load_catalogue().settings.prices, load_catalogue(tmp_path).settings.prices
    assert theirs.market_sd == 0.3
    assert theirs.currency["GBP"].labour_rate == (20, 25, 30)
    assert theirs.currency["GBP"].tax == ours.currency["GBP"].tax
    assert theirs.currency["EUR"] == ours.currency["EUR"]
    assert theirs.index == ours.index


def test_a_figure_of_ours_out_of_range_in_the_own_folder_is_refused_there(tmp_path: Path) -> None:
    (tmp_path / "prices.toml").write_text("# mine\nmarket_sd = 30\n")
    (found,) = faults(tmp_path)
    assert found.startswith(f"{tmp_path / 'prices.toml'}: line 2, market_sd: ")


def test_an_empty_own_folder_changes_nothing(tmp_path: Path) -> None:
    assert load_catalogue(tmp_path).components == load_catalogue().components


def test_what_is_no_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file.toml").write_text("x = 1")
    for path in (tmp_path / "nowhere", tmp_path / "file.toml"):
        assert faults(path) == [f"{path}: is not a folder; --catalogue takes a folder of TOML files"]


# --- faults -----------------------------------------------------------------------------------------------


def test_every_fault_is_named_with_file_line_and_key_all_at_once(tmp_path: Path) -> None:
    """By hand: lines counted in the text below."""
    (tmp_path / "a.toml").write_text(
        '[[tool]]\nid = "press"\nname = "press"\nbuy = [10, 20]\n'  # line 4: two figures, three are wanted
        '[[tool]]\nid = "Pull er"\nname = "puller"\nbuy = 5\nprize = 3\n'  # line 6: id; line 9: unknown key
    )
    (tmp_path / "b.toml").write_text('# b\n[[wheel]]\nid = "x"\n')  # line 2: no such table
    found = faults(tmp_path)
    assert [text.split(": ")[0] for text in found] == [str(tmp_path / "a.toml")] * 3 + [
        str(tmp_path / "b.toml")
    ]
    assert "line 4, tool[1].buy" in found[0]
    assert "line 6, tool[2].id" in found[1]
    assert "line 9, tool[2].prize" in found[2]
    assert '"price"' not in found[2]  # a tool has no price: buy and hire are what is allowed
    assert "buy" in found[2]
    assert "line 2, wheel: unknown table" in found[3]


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("b10 = 12, b50 = 25", "b10 = 25, b50 = 12", "b10 must be below b50, found 25 and 12"),
        ("b10 = 12, b50 = 25", "b10 = 25, b50 = 25.5", "claims more than anybody knows"),
        ("life_km =", "life_mk =", 'unknown key "life_mk" (did you mean "life_km"?)'),
        ('when = "front-drive"', 'when = "front-drive,"', "cannot read ''"),
        ("price = [40, 60, 110]", "price = [60, 40, 110]", "low <= likely <= high"),
        ("last_resort = true", "last_resort = false", "exactly one remedy must be the last resort"),
        ('need = "to-drive"', 'need = "drive"', "is none of the words allowed here"),
        ("deferral_years = 0.5", "deferral_years = nan", "must be an ordinary number"),
        ("spent = 0.7, worn = 0.3", "spent = 0.3, worn = 0.7", "needs spent > 0 and spent >= worn"),
        ('leak = 0.05\nharmless = "an', 'leak = 0\nharmless = "an', "some harmless cause always exists"),
    ],
)
def test_records_that_cannot_be_are_refused(tmp_path: Path, old: str, new: str, wanted: str) -> None:
    with pytest.raises(InputError) as caught:
        read_catalogue(write(tmp_path, replace=(old, new)))
    (found,) = str(caught.value).splitlines()
    assert wanted in found
    assert "line " in found


def test_an_id_stands_once_in_a_folder(tmp_path: Path) -> None:
    tool = '[[tool]]\nid = "puller"\nname = "another"\nbuy = 5\n'
    with pytest.raises(InputError) as caught:
        read_catalogue(write(tmp_path, more=tool + tool))
    found = str(caught.value).splitlines()
    assert len(found) == 2
    assert found[0].startswith(f"{tmp_path / 'more.toml'}: line 6, tool[2].id: ")
    assert "stands twice: already in this file" in found[0]
    assert found[1].startswith(f"{tmp_path / 'rest.toml'}: ")
    assert f"stands twice: already in {tmp_path / 'more.toml'}" in found[1]


def test_a_missing_settings_file_is_named(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / "prices.toml").unlink()
    with pytest.raises(InputError, match=r"prices\.toml: this file is missing"):
        read_catalogue(folder)


def test_example_cases_are_no_catalogue(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / "examples").mkdir()
    (folder / "examples" / "case.toml").write_text("format = 1\n")
    assert len(read_catalogue(folder).components) == 1


# --- what is kept between runs ------------------------------------------------------------------------------


def _again(folder: Path | None = None) -> object:
    from estimator.catalogue import load

    load._load.cache_clear()
    return load.load_catalogue(folder)


def test_the_kept_copy_is_the_catalogue(own_cache: Path, tmp_path: Path) -> None:
    first = _again(tmp_path)
    assert len(list(own_cache.glob("catalogue-*.pickle"))) == 1
    second = _again(tmp_path)
    assert second == first
    assert second is not first


def test_a_changed_file_is_read_anew(own_cache: Path, tmp_path: Path) -> None:
    own = tmp_path / "prices.toml"
    own.write_text("market_sd = 0.3\n")
    assert _again(tmp_path).settings.prices.market_sd == 0.3  # type: ignore[attr-defined]
    own.write_text("market_sd = 0.4\n")
    os.utime(own, ns=(1, 1))  # same size, another time
    assert _again(tmp_path).settings.prices.market_sd == 0.4  # type: ignore[attr-defined]


def test_a_spoilt_copy_is_as_if_there_were_none(own_cache: Path, tmp_path: Path) -> None:
    first = _again(tmp_path)
    (kept,) = own_cache.glob("catalogue-*.pickle")
    for spoilt in (b"", b"rubbish", pickle.dumps({"not": "it"})[:10]):
        kept.write_bytes(spoilt)
        assert _again(tmp_path) == first


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners of files here")
def test_a_copy_others_may_write_is_not_trusted(own_cache: Path) -> None:
    cache.keep("s", {"a": 1})
    assert cache.recall("s") == {"a": 1}
    (kept,) = own_cache.glob("catalogue-s.pickle")
    kept.chmod(0o666)
    assert cache.recall("s") is None


def test_the_copy_can_be_switched_off(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ESTIMATOR_NO_CACHE", "1")
    _again()
    assert not list(own_cache.iterdir())


def test_old_copies_go(own_cache: Path) -> None:
    for number in range(cache.KEPT + 4):
        cache.keep(f"n{number}", number)
    assert len(list(own_cache.iterdir())) == cache.KEPT


def test_our_folder_read_from_elsewhere_is_the_same(tmp_path: Path) -> None:
    """The program runs from a checkout and from an installed wheel alike: paths do not enter the records."""
    assert read_catalogue(copy_of_ours(tmp_path)).components == read_catalogue(data_folder()).components
