"""The command line: every verb, its JSON, its exit codes, pipes, interrupts.

The JSON keys are the contract printed in README.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

import estimator
from estimator import cli
from estimator.commands.shell import ProgressBar
from estimator.report.strict_json import plain, to_json
from tests.command_line import CASE, ROOT, refused, run, shell

D_KEYS = {"mean", "sd", "p10", "p50", "p80", "p90", "p95", "worst_fifth", "se"}


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "car.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


# --- assess -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> dict:
    folder = tmp_path_factory.mktemp("assess")
    (folder / "car.toml").write_text(CASE, encoding="utf-8")
    assert run("assess", folder / "car.toml", "--draws", 300, "--seed", 7, "--json", folder / "out.json") == 0
    return json.loads((folder / "out.json").read_text(encoding="utf-8"), parse_constant=pytest.fail)


def test_json_of_assess_has_the_keys_of_the_contract(assessed):
    assert {
        "format", "case", "currency", "price_year", "draws", "seed", "policy", "stops", "warnings", "outlay",
        "comfort", "unlisted", "components", "grid", "evidence",
    } <= set(assessed)  # fmt: skip
    assert (assessed["format"], assessed["case"], assessed["currency"]) == (1, "A saloon of our own", "GBP")
    assert (assessed["draws"], assessed["seed"]) == (300, 7)
    outlay = assessed["outlay"]
    assert {"now", "plan_year", "known", "hidden"} <= set(outlay)
    splits = (outlay, outlay["known"], outlay["hidden"])
    for spread in [s[k] for s in splits for k in ("now", "plan_year")] + [
        assessed["comfort"],
        assessed["unlisted"],
    ]:
        assert set(spread) == D_KEYS
        assert set(spread["se"]) == D_KEYS - {"se"}
    assert {"care", "completeness", "odometer", "presentation", "life"} <= set(assessed["grid"])
    assert set(assessed["grid"]["life"]) == {"mean", "sd"}
    assert {"log_likelihood", "method", "present", "frontier", "ess"} <= set(assessed["evidence"])


def test_json_of_assess_lists_every_part_with_reasons_that_add_up(assessed):
    keys = {
        "id", "name", "system", "need", "p_spent", "p_worn", "p_due", "cost", "share_mean", "share_tail",
        "why",
    }  # fmt: skip
    assert len(assessed["components"]) > 50
    for part in assessed["components"]:
        assert keys <= set(part)
        assert part["cost"] is None or set(part["cost"]) == {"p10", "p50", "p90"}
        assert all(set(step) == {"step", "label", "points"} for step in part["why"])
        assert sum(step["points"] for step in part["why"]) == pytest.approx(part["p_spent"], abs=1e-9)


def test_means_of_found_and_not_seen_yet_add_to_the_total(assessed):
    outlay = assessed["outlay"]
    for when in ("now", "plan_year"):
        parts = outlay["known"][when]["mean"] + outlay["hidden"][when]["mean"]
        assert parts == pytest.approx(outlay[when]["mean"], rel=1e-9)


def test_assess_prints_text_and_with_json_to_the_terminal_only_json(case, capsys):
    assert run("assess", case, "--draws", 50) == 0
    out, err = capsys.readouterr()
    assert "A saloon of our own" in out
    assert "GBP" in out
    assert err == ""  # no progress bar in a pipe
    assert run("assess", case, "--draws", 50, "--json", "-") == 0
    out, err = capsys.readouterr()
    assert json.loads(out, parse_constant=pytest.fail)["draws"] == 50
    assert err == ""


def test_the_fewest_draws_have_no_nan_in_their_json(case, capsys):
    assert run("assess", case, "--draws", 20, "--seed", 0, "--json", "-") == 0
    json.loads(capsys.readouterr().out, parse_constant=pytest.fail)


def test_seed_zero_is_a_seed_and_workers_change_nothing(case, capsys):
    """Same seed, same result; another seed, another one."""
    results = []
    for words in (("--seed", 0), ("--seed", 0, "--workers", 3), ("--seed", 1)):
        assert run("assess", case, "--draws", 12_000, "--json", "-", *words) == 0
        results.append(json.loads(capsys.readouterr().out))
    assert results[0] == results[1]
    assert results[0]["outlay"] != results[2]["outlay"]


# --- the other verbs --------------------------------------------------------------------------------


def test_new_writes_a_case_that_can_be_assessed_and_never_overwrites(tmp_path, capsys):
    target = tmp_path / "mine.toml"
    assert run("new", target, "--viewed", "2026-11-20") == 0
    assert "viewed = 2026-11-20" in target.read_text(encoding="utf-8")
    assert str(target) in capsys.readouterr().out
    assert run("assess", target, "--draws", 20) == 0
    capsys.readouterr()
    target.write_text("mine", encoding="utf-8")
    assert "exists already" in refused(capsys, "new", target)
    assert target.read_text(encoding="utf-8") == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_new_to_the_terminal_and_as_json(tmp_path, capsys):
    assert run("new", "-") == 0
    assert capsys.readouterr().out.startswith("# One car")
    assert run("new", tmp_path / "a.toml", "--json", "-") == 0
    assert json.loads(capsys.readouterr().out) == {"format": 1, "file": str(tmp_path / "a.toml")}
    refused(capsys, "new", "-", "--json", "-")
    refused(capsys, "new", tmp_path / "b.toml", "--json", tmp_path / "b.toml")
    refused(capsys, "new", tmp_path / "b.toml", "--viewed", "20.11.2026")


def test_catalogue_verify_is_clean_and_counts_what_the_contract_names(capsys):
    assert run("catalogue", "verify", "--json", "-") == 0
    data = json.loads(capsys.readouterr().out)
    assert {"components", "checks", "access_steps", "traits", "remedies", "sources"} <= set(data["counts"])
    assert data["problems"] == []
    assert data["counts"]["components"] >= 90
    assert run("catalogue", "verify") == 0
    assert "hangs together" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("universal-joint-front", ("driveline", "remedy 1", "notched")),
        ("under-car", ("axle stands",)),
        ("traits", ("monocoque", "separate-chassis")),
        ("checks", ("walk-round",)),
        ("cautions", ("asbestos",)),
    ],
)
def test_catalogue_show(wanted, words, capsys):
    assert run("catalogue", "show", wanted) == 0
    out = capsys.readouterr().out
    assert all(word in out for word in words)
    assert run("catalogue", "show", wanted, "--json", "-") == 0
    assert json.loads(capsys.readouterr().out)["entries"]


def test_catalogue_sources_count_what_rests_on_each(capsys):
    assert run("catalogue", "sources", "--json", "-") == 0
    used = {s["id"]: s["entries"] for s in json.loads(capsys.readouterr().out)["sources"]}
    assert used["elicited"] > 0
    assert run("catalogue") == 0
    assert "components" in capsys.readouterr().out


def test_catalogue_takes_a_folder_of_ones_own_and_says_when_it_does_not_hang_together(tmp_path, capsys):
    (tmp_path / "extra.toml").write_text(
        '[[step]]\nid = "lamp-out"\nname = "lamp out"\nhours = [0.1, 0.2, 0.3]\nsource = "nobody"\n'
    )
    assert run("catalogue", "verify", "--catalogue", tmp_path) == 2
    out = capsys.readouterr().out
    assert "lamp-out" in out
    assert "nobody" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("catalogue", "show"), "ID"),
        (("catalogue", "show", "universal-joint-frnt"), "universal-joint-front"),
        (("catalogue", "verify", "x"), "show and sources only"),
        (("catalogue", "count"), "invalid choice"),
        (("asess", "x"), "did you mean assess"),
        (("assess",), "CASE"),
        (("assess", "x", "--drws", "3"), "--drws"),
        (("assess", "x", "--draws", "0"), "20 to 2,000,000; found '0'"),
        (("assess", "x", "--draws", "2.5"), "whole number"),
        (("assess", "x", "--draws", "nan"), "whole number"),
        (("assess", "x", "--draws", "9" * 5000), "whole number"),
        (("assess", "x", "--seed", "-1"), "0 to"),
        (("assess", "x", "--workers", "0"), "1 to 64"),
        (("app", "--port", "0"), "1 to 65,535"),
    ],
)
def test_wrong_words_on_the_command_line(words, said, capsys):
    assert said in refused(capsys, *words)


def test_help_of_every_verb_and_of_all(capsys):
    assert run() == 0
    everything = capsys.readouterr().out
    for verb in cli.VERBS:
        assert verb in everything
        assert run(verb, "--help") == 0
        assert "--json" in capsys.readouterr().out
    assert run("--version") == 0
    assert estimator.__version__ in capsys.readouterr().out


def test_help_states_the_defaults_assess_uses():
    from estimator import assess as engine
    from estimator.commands import assess as verb

    assert (verb.DRAWS, verb.SEED, verb.MOST) == (engine.DRAWS, engine.SEED, engine.MOST_DRAWS)


# --- pipes, interrupts, faults ----------------------------------------------------------------------


def test_a_reader_that_goes_away_is_no_fault():
    command = f"{sys.executable} -m estimator catalogue show components"
    script = f"{command} | head -n 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode in (0, 141)
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 1


def test_a_full_disk_is_said():
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "estimator", "catalogue"],
            cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, timeout=120,
        )  # fmt: skip
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr


def test_interrupt_ends_in_130_without_a_traceback(case):
    if os.name != "posix":
        pytest.skip("signals as on POSIX")
    running = subprocess.Popen(
        [sys.executable, "-m", "estimator", "assess", str(case), "--draws", "2000000"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(2.5)  # past the imports; 2,000,000 draws take far longer
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=120)
    assert running.returncode == 130
    assert err.strip() == "stopped"
    assert out == ""


def test_accents_on_a_terminal_without_them(tmp_path):
    path = tmp_path / "car.toml"
    path.write_text(CASE.replace("A saloon", "Größe \u2022 saloon"), encoding="utf-8")
    ascii_only = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    done = shell("assess", path, "--draws", 20, env=ascii_only)
    assert done.returncode == 0, done.stderr
    assert "saloon" in done.stdout


def test_a_fault_of_the_program_is_owned_up_to(case, capsys, monkeypatch):
    from estimator.commands import assess as verb

    def breaks(_: object) -> int:
        raise ZeroDivisionError("by hand")

    monkeypatch.setattr(verb, "run", breaks)
    assert run("assess", case) == 1
    assert "fault in the program" in capsys.readouterr().err
    monkeypatch.setenv(cli.DEBUG, "1")
    with pytest.raises(ZeroDivisionError):
        run("assess", case)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_bar_shows_on_a_terminal_and_takes_itself_away(monkeypatch):
    out, err = Terminal(), Terminal()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    with ProgressBar("working") as bar:
        for share in (0.25, 0.5, 0.5001, 1.0):
            bar(share)
    frames = err.getvalue().split("\r")
    assert [frame[-4:].strip() for frame in frames[1:5]] == ["0%", "25%", "50%", "100%"]
    assert frames[-2:] == [" " * len(max(frames, key=len)), ""]
    assert out.getvalue() == ""


def test_progress_bar_is_silent_when_either_end_is_a_pipe(monkeypatch):
    for out, err in ((io.StringIO(), Terminal()), (Terminal(), io.StringIO())):
        monkeypatch.setattr(sys, "stdout", out)
        monkeypatch.setattr(sys, "stderr", err)
        with ProgressBar("working") as bar:
            bar(0.5)
        assert out.getvalue() == err.getvalue() == ""


# --- the package, JSON -----------------------------------------------------------------------------


def test_public_functions_import_when_asked_for(tmp_path):
    """In a fresh interpreter, in either order of import: the module estimator.assess is the function too."""
    (tmp_path / "car.toml").write_text(CASE)
    script = f"""
import sys, estimator
assert not {{"numpy", "pandas", "pydantic", "streamlit"}} & set(sys.modules), "import estimator is not free"
from estimator.assess import Assessment
catalogue = estimator.load_catalogue()
case = estimator.load_case({str(tmp_path / "car.toml")!r}, catalogue)
found = estimator.assess(case, catalogue, draws=20)
assert isinstance(found, Assessment)
assert not {{"pandas", "streamlit", "altair", "scipy.stats"}} & set(sys.modules)
import estimator.assess as module
assert module.POLICY and issubclass(estimator.InputError, Exception)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr


def test_version_is_the_one_in_pyproject():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == estimator.__version__
    with pytest.raises(AttributeError):
        estimator.nothing_like_it  # noqa: B018


def test_command_line_imports_nothing_heavy():
    script = "import sys, estimator.cli; print(sorted(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    for heavy in ("numpy", "scipy", "pandas", "streamlit", "altair", "pydantic"):
        assert f"'{heavy}'" not in done.stdout


def test_strict_json():
    import numpy as np

    data = {"a": float("nan"), "b": np.float64(1.5), "c": np.array([1.0, np.inf]), "d": (True, np.int64(3))}
    assert json.loads(to_json(data)) == {"a": None, "b": 1.5, "c": [1.0, None], "d": [True, 3]}
    with pytest.raises(TypeError):
        plain(object())


# --- the dashboard ----------------------------------------------------------------------------------


def test_app_serves_the_dashboard_on_this_machine_until_it_is_stopped(tmp_path):
    if os.name != "posix":
        pytest.skip("signals as on POSIX")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    running = subprocess.Popen(
        [sys.executable, "-m", "estimator", "app", "--port", str(port), "--no-browser"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + 90
        while time.monotonic() < deadline and running.poll() is None:
            with contextlib.suppress(OSError):
                answer = urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=5)
                if answer.status == 200:
                    break
            time.sleep(0.2)
        assert running.poll() is None
    finally:
        os.killpg(running.pid, signal.SIGINT)  # what Ctrl-C does: to the command and what it started
        _, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Traceback" not in err


def test_assess_says_what_the_odometer_may_have_turned(tmp_path, capsys):
    """Common practice: a five-digit odometer of a car of fifty years may have gone round; who buys it must be told."""
    case = tmp_path / "car.toml"
    case.write_text(
        'format = 1\n[car]\nviewed = 2026-11-20\nbuilt = 1976-05-01\nodometer = 62000\nunit = "miles"\n'
        'odometer_digits = 5\n[money]\ncurrency = "GBP"\n',
        encoding="utf-8",
    )
    assert run("assess", case, "--draws", 200) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The odometer: " in said
    assert "turned over once" in said
