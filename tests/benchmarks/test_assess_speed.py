"""Work per draw of the whole path, and its memory, as ratios within one run."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest

from estimator.assess import assess_fully
from estimator.catalogue.load import load_catalogue
from tests.cars import saloon

PRESENT = [
    "take-up", "vibration-band", "coast-neutral-through-same-band", "hum-drive-coast-float",
    "pinion-seal-case-wet", "car-rocked-in-gear-slack", "oil-leaks-mapped-from-top-down",
    "tap-press-sill-bottoms-arch-lips", "arch-lip-inner-seam-finger", "knock-over-small-sharp-edge",
]  # fmt: skip


def _case(catalogue):
    kept = [c for c in PRESENT if c in catalogue.checks]
    assert len(kept) == 10
    return saloon("".join(f'[[finding]]\ncheck = "{c}"\nresult = "present"\n' for c in kept))


def _seconds(work, repeats: int = 3) -> float:
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


@pytest.mark.slow
def test_slope_of_assess_over_draws():
    """Between 20,000 and 100,000 draws: at most 4 times one uniform and one normal per component and draw."""
    catalogue = load_catalogue()
    case = _case(catalogue)
    parts = len(assess_fully(case, catalogue, draws=1000).prepared.car.parts)
    few = _seconds(lambda: assess_fully(case, catalogue, draws=20_000))
    many = _seconds(lambda: assess_fully(case, catalogue, draws=100_000))
    rng = np.random.default_rng(0)

    def numbers():
        for _ in range(16):
            rng.random((5_000, parts))
            rng.standard_normal((5_000, parts))

    unit = _seconds(numbers)
    ratio = (many - few) / unit
    print(f"assess slope: {ratio:.2f} times one uniform and one normal per component and draw")
    assert ratio <= 4.0


@pytest.mark.slow
def test_peak_memory_at_a_hundred_thousand_draws():
    """Peak resident memory of a whole process below 700 MB (bytes are machine-independent enough to state)."""
    code = (
        "import resource\n"
        "from estimator.assess import assess\n"
        "from tests.benchmarks.test_assess_speed import _case\n"
        "from estimator.catalogue.load import load_catalogue\n"
        "c = load_catalogue()\n"
        "assess(_case(c), c, draws=100_000)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    peak_mb = float(done.stdout.split()[-1])
    print(f"peak memory: {peak_mb:.0f} MB")
    assert peak_mb < 700
