"""Every kind of wrong input through the command line: exit 2, the file named, no traceback, nothing lost.

By hand: each row is a slip a person makes, the line it stands on and what the message must say.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from estimator.commands.shell import write_text
from estimator.problems import InputError
from tests.command_line import CASE, refused, run, shell


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


WORK = '[[work]]\ndate = 2009-03-20\ncomponent = "water-pump"\n'
FINDING = '[[finding]]\ncheck = "tyre-tread"\n'
SLIPS = [
    ("wrong TOML", "odometer = 68400", "odometer = 68,400", 6, "decimals with a point"),
    ("unknown key", "odometer =", "odometr =", 6, "odometer"),
    ("unknown trait", "live-axle", "live-axel", 8, "live-axle"),
    ("impossible traits", '"monocoque"', '"monocoque", "separate-chassis"', 8, "separate-chassis"),
    ("viewed before built", "2026-11-20", "1960-01-01", None, "1971"),
    ("date in the future", "", WORK.replace("2009", "2031"), 15, "2031"),
    ("unknown component", "", WORK.replace("water-pump", "water-pmup"), 16, "water-pump"),
    ("component it does not have", "", WORK.replace("water-pump", "propeller"), 16, "propeller"),
    ("unknown check", "", '[[finding]]\ncheck = "no-such-check"\nresult = "present"\n', 15, "no-such-check"),
    ("negative reading", "68400", "-5", 6, "-5"),
    ("absurd reading", "68400", "68400000", 6, "68400000"),
    ("NaN", "asking = 6500", "asking = nan", 11, "nan"),
    ("infinity", "asking = 6500", "asking = inf", 11, "inf"),
    ("share outside 0 to 1", "", "[[coverage]]\nfrom = 1996\nto = 2001\ncompleteness = 1.4\n", 17, "1.4"),
    ("range out of order", "[6000, 8000, 9500]", "[9000, 8000, 9500]", 12, "low, likely, high"),
    ("a word for a number", "68400", '"many"', 6, "many"),
]


@pytest.mark.parametrize(("what", "old", "new", "line", "said"), SLIPS, ids=[s[0] for s in SLIPS])
def test_slips_in_a_case_file(what, old, new, line, said, tmp_path, capsys):
    path = tmp_path / "slip.toml"
    assert old in CASE
    path.write_text(CASE.replace(old, new, 1) if old else CASE + "\n" + new, encoding="utf-8")
    message = refused(capsys, "assess", path, "--draws", 20)
    assert str(path) in message
    assert said in message
    if line is not None:
        assert f"line {line}" in message


def test_every_fault_of_a_file_is_said_at_once(tmp_path, capsys):
    path = tmp_path / "slips.toml"
    path.write_text(CASE.replace("live-axle", "live-axel").replace("6500", "-1") + "\n[wrok]\n")
    assert len(refused(capsys, "assess", path).splitlines()) >= 3


def test_work_on_a_part_the_car_cannot_have(tmp_path, capsys):
    """A car with one prop shaft has no centre bearing: by hand from the traits."""
    path = tmp_path / "car.toml"
    path.write_text(CASE + "\n" + WORK.replace("water-pump", "centre-bearing"))
    message = refused(capsys, "assess", path)
    assert "centre-bearing" in message
    assert f"{path}: line 16" in message


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.toml", b"", "empty"),
        ("blank.toml", b" \n\n", "empty"),
        ("photo.toml", bytes(range(256)) * 50, "binary"),
        ("latin.toml", CASE.replace("saloon", "s\xe4loon").encode("latin-1"), "UTF-8"),
        ("wide.toml", CASE.encode("utf-16"), "UTF-16"),
        ("huge.toml", b"# note\n" * 7_200_000, "too large"),
    ],
)
def test_files_that_are_no_case_file(name, content, said, tmp_path, capsys):
    path = tmp_path / name
    path.write_bytes(content)
    message = refused(capsys, "assess", path)
    assert str(path) in message
    assert said in message


def test_missing_file_folder_and_impossible_names(tmp_path, case, capsys):
    assert "no such file" in refused(capsys, "assess", tmp_path / "nothing.toml")
    assert "car.toml" in refused(capsys, "assess", tmp_path / "carr.toml")  # the one that is meant
    assert "folder" in refused(capsys, "assess", tmp_path)
    refused(capsys, "assess", tmp_path / ("x" * 5000))
    refused(capsys, "assess", "a\0b.toml")


def test_file_that_may_not_be_read(case):
    if os.geteuid() == 0:
        pytest.skip("root may read everything")
    case.chmod(0)
    done = shell("assess", case)
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert "may not be read" in done.stderr


@pytest.mark.parametrize("target", ["missing/out.json", ".", "car.toml", "a\0b"])
def test_output_that_cannot_be_written_is_refused_before_the_work(target, case, capsys):
    message = refused(capsys, "assess", case, "--json", case.parent / target)
    assert case.parent.name in message
    assert case.read_text(encoding="utf-8") == CASE


def test_output_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    target = tmp_path / "out.json"
    target.write_text("old")

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(InputError, match="No space left"):
        write_text(str(target), "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out.json"]


def test_catalogue_folder_that_is_not_one(case, tmp_path, capsys):
    for wrong in (tmp_path / "nowhere", case):
        message = refused(capsys, "assess", case, "--catalogue", wrong)
        assert str(wrong) in message
        assert "not a folder" in message


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[component]\n", "not valid TOML"),
        ("[[parts]]\nid = 1\n", "unknown table"),
        ('[[trait]]\nid = "x"\nname = "X"\ngroup = "shell"\nshare = [[1970, 1.5]]\n', "1.5"),
        ('[[component]]\nid = "x"\nlife_years = { b10 = 20.0, b50 = 10.0 }\n', "b10 must be below b50"),
        ("[life]\ncommon_sd = nan\n", "common_sd"),
    ],
)
def test_wrong_catalogue_of_ones_own(text, said, case, tmp_path, capsys):
    folder = tmp_path / "own"
    folder.mkdir()
    name = "evidence.toml" if text.startswith("[life]") else "own.toml"
    (folder / name).write_text(text)
    message = refused(capsys, "assess", case, "--catalogue", folder)
    assert str(folder / name) in message
    assert said in message


IMPOSSIBLE = """\
[[check]]
id = "impossible-sign"
name = "a sign that cannot be"
station = "walk-round"
kind = "look"
do = "look"
present = "there"
absent = "not there"
minutes = 1
who = { newcomer = 1.0, handy = 1.0 }
leak = 1e-300
harmless = "nothing"
source = "elicited"
links = [{ component = "water-pump", spent = 1e-300 }]
"""


def test_evidence_of_probability_zero_names_the_finding(tmp_path, capsys):
    """A sign whose every cause has chance 1e-300: 1 - (1 - 1e-300) is 0 in double precision."""
    own = tmp_path / "own"
    own.mkdir()
    (own / "impossible.toml").write_text(IMPOSSIBLE)
    path = tmp_path / "car.toml"
    path.write_text(CASE + '\n[[finding]]\ncheck = "impossible-sign"\nresult = "present"\n')
    message = refused(capsys, "assess", path, "--catalogue", own, "--draws", 20)
    assert "impossible-sign" in message
    assert "probability is zero" in message


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan", "--do", "nosuch"), "car.toml: --do nosuch: is no part of this car; it has "),
        (
            ("plan", "--leave", "water pomp"),
            '--leave water pomp: is no part of this car (did you mean "water-pump"?); it',
        ),
        (
            ("plan", "--do", "radiator", "--leave", "radiator"),
            "--do radiator: is both to be done and to be left",
        ),
        (("next", "--station", "x"), 'car.toml: --station: there is no "x"'),
        (("next", "--minutes", "1,5"), "must be a number, 0 or more, decimals with a point; found '1,5'"),
    ],
)
def test_what_is_wrong_with_a_flag_names_the_file_and_the_flag(words, said, tmp_path, capsys):
    """The car has a name; what is opened to mend a fault is the file, or the line typed."""
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    error = refused(capsys, words[0], path, *words[1:]).replace(str(path), "car.toml")
    assert said in error
    assert "A saloon of our own" not in error


def test_a_sum_that_is_missing_names_the_file(tmp_path, capsys):
    path = tmp_path / "car.toml"
    path.write_text(CASE.replace("asking = 6500\n", ""), encoding="utf-8")
    assert refused(capsys, "offer", path).startswith(f"{path}: money.asking: is needed")


def test_a_day_ahead_of_the_clock_is_said_and_the_result_is_the_same_on_every_day(
    tmp_path, capsys, monkeypatch
):
    """Second method: the JSON of two days, byte for byte; stderr tells the first from the second."""
    path, made, told = tmp_path / "car.toml", [], []
    path.write_text(CASE.replace("viewed = 2026-11-20", "viewed = 2028-11-20"), encoding="utf-8")
    for day in ("2026-11-25", "2029-01-01"):
        monkeypatch.setenv("ESTIMATOR_TODAY", day)
        assert run("assess", path, "--draws", 40, "--json", "-") == 0
        out, err = capsys.readouterr()
        made.append(out)
        told.append(err)
    assert made[0] == made[1]
    assert told[0].startswith(f"{path}: car.viewed: has not come yet (today is 2026-11-25)")
    assert told[1] == ""


def test_cars_compared_are_named_by_file_unless_two_have_one_name(tmp_path, capsys):
    """By hand: what is missing is in the second file; under one name a message must not point at the first."""
    first, second = tmp_path / "first.toml", tmp_path / "second.toml"
    first.write_text(CASE, encoding="utf-8")
    poor = CASE.replace("asking = 6500\n", "")
    second.write_text(poor.replace("A saloon of our own", "Another"), encoding="utf-8")
    assert refused(capsys, "compare", first, second).startswith(f"{second}: money.asking: is needed")
    second.write_text(poor, encoding="utf-8")
    assert refused(capsys, "compare", first, second).startswith(
        "A saloon of our own: money.asking: is needed"
    )
