"""Open the dashboard in a browser. It runs on this machine only and sends nothing anywhere."""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from estimator.commands.shell import add_json, check_target, whole, write_json
from estimator.problems import InputError, Problem

PACKAGE = Path(__file__).resolve().parent.parent


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port", type=whole(1, 65535), default=8501, metavar="N", help="port on this machine (default 8501)"
    )
    parser.add_argument("--no-browser", action="store_true", help="only serve; do not open a browser")
    add_json(parser)


def app_file() -> Path:
    """The dashboard's first script: inside an installed wheel, else beside the package in a checkout.

    Raises
    ------
    InputError
        If neither is there.
    """
    for path in (PACKAGE / "_app.py", PACKAGE.parent / "app.py"):
        if path.is_file():
            return path
    raise InputError(Problem("app.py", None, "", "the dashboard is missing from this installation"))


def run(args: argparse.Namespace) -> int:
    check_target(args.json)
    script = app_file()
    command = [
        sys.executable, "-m", "streamlit", "run", str(script),
        "--server.port", str(args.port), "--server.headless", "true" if args.no_browser else "false",
        "--server.showEmailPrompt", "false", "--browser.gatherUsageStats", "false",
    ]  # fmt: skip
    write_json(args.json, {"format": 1, "script": str(script), "address": f"http://localhost:{args.port}"})
    return 0 if subprocess.run(command, check=False).returncode == 0 else 2
