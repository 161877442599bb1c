"""What the command line costs before and after the work itself, against importing three libraries.

Timed as ratios within one run: the same machine, the same minute.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CASE = ROOT / "data" / "examples" / "small-saloon.toml"
IMPORTS = "import numpy, scipy.special, pandas"
# Runs the command as the shell does and says on its last line how long the assessment itself took.
COMMAND = """
import sys, time
from estimator.cli import main
import estimator.assess as engine
inner, spent = engine.assess, []
def timed(*args, **kwargs):
    start = time.perf_counter()
    try:
        return inner(*args, **kwargs)
    finally:
        spent.append(time.perf_counter() - start)
engine.assess = timed
code = main(sys.argv[1:])
print(spent[0])
sys.exit(code)
"""
BOUND = 2.0
ROUNDS = 3


def wall(*words: str) -> tuple[float, str]:
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, capture_output=True, text=True, timeout=300, check=True
    )
    return time.perf_counter() - start, done.stdout


def test_assess_from_the_shell_costs_little_more_than_its_imports(record_property):
    """Whole process less the assessment inside it, at most twice the three imports (median of three)."""
    words = ("-c", COMMAND, "assess", str(CASE), "--draws", "200")
    wall(*words)  # the first run reads the catalogue and fills the disk's cache
    wall("-c", IMPORTS)
    ratios = []
    for _ in range(ROUNDS):
        imports, _ = wall("-c", IMPORTS)
        whole, printed = wall(*words)
        ratios.append((whole - float(printed.split()[-1])) / imports)
    record_property("startup_ratio", statistics.median(ratios))
    print(f"assess less the assessment: {statistics.median(ratios):.2f} times the imports ({ratios})")
    assert statistics.median(ratios) <= BOUND


def test_help_costs_less_than_the_imports():
    """The overview imports no library at all."""
    wall("-m", "estimator")
    ratio = statistics.median(wall("-m", "estimator")[0] / wall("-c", IMPORTS)[0] for _ in range(ROUNDS))
    assert ratio <= 0.5
