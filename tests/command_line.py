"""Running the command line in a test: in this process, or as the shell does."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from estimator import cli

ROOT = Path(__file__).resolve().parent.parent
CASE = """\
format = 1
[car]
name = "A saloon of our own"
viewed = 2026-11-20
built = 1971-05-01
odometer = 68400
unit = "miles"
traits = ["monocoque", "front-engine-rear-drive", "one-piece-prop-shaft", "live-axle", "carburettor"]
[money]
currency = "GBP"
asking = 6500
sound_example = [6000, 8000, 9500]
"""


def run(*words: object) -> int:
    """The exit code of one command, argparse's own included."""
    try:
        return cli.main([str(word) for word in words])
    except SystemExit as stopped:
        return int(stopped.code or 0)


def shell(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "estimator", *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=300,
        **options,  # type: ignore[call-overload]
    )


def refused(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """stderr of a command that must end in 2, without a traceback and with nothing on stdout."""
    code = run(*words)
    out, err = capsys.readouterr()
    assert code == 2
    assert "Traceback" not in err
    assert out == ""
    assert err.strip()
    return err
