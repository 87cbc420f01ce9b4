#!/usr/bin/env python3
"""The solver beside scipy's ``least_squares`` on the same states, in one run: states a second on one core, and how far poses differ.

    python3 tests/benches/beside_scipy.py

Runs the benchmark (``cargo bench --bench solver``), which leaves its states and poses in the target folder, then solves these states
with scipy: method ``lm`` (MINPACK), slopes by differences, each state from the one before. Both are timed by the processor's time.
The program works out every number at each state, scipy the pose alone. Exits 1 when poses differ by more than 1e-6.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

# One core each: small matrices gain nothing from more.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

from equations import Equations  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
LAYOUTS = {
    "t": "double triangulated four-link",
    "s": "single triangulated four-link",
    "w": "wishbone three-link",
    "h": "three-link, panhard bar",
    "q": "three-link, Watts linkage",
    "p": "parallel four-link, elastic",
    "r": "radius arms, elastic",
}
# m and rad: far below what can be measured, far above where a general solver stops on residuals that never vanish.
AGREE = 1e-6
TIGHT = 1e-13


def target_folder() -> Path:
    """Where cargo builds."""
    command = ["cargo", "metadata", "--format-version", "1", "--no-deps"]
    told = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return Path(json.loads(told)["target_directory"])


def per_second(target: Path, group: str, layout: str, states: int) -> float:
    """What the benchmark measured."""
    path = target / "criterion" / group / layout / "new" / "estimates.json"
    return states / (json.loads(path.read_text())["mean"]["point_estimate"] * 1e-9)


def with_scipy(layout: str, poses: np.ndarray) -> tuple[float, float]:
    """States a second, and the largest difference from the program's poses (m, rad)."""
    equations = Equations(ROOT / "tests" / "data" / "layouts" / f"{layout}.toml")
    worst, spent_s = 0.0, 0.0
    unknowns = np.zeros(equations.unknowns)
    # To the first state in small steps, untimed.
    first = poses[0]
    for part in np.linspace(0, 1, 20):
        unknowns = solve(equations, unknowns, first[2] * part, first[3] * part)
    for x, y, heave, roll, pitch, yaw in poses:
        start_s = time.process_time()
        unknowns = solve(equations, unknowns, heave, roll)
        spent_s += time.process_time() - start_s
        worst = max(worst, float(np.abs(unknowns[:4] - [x, y, pitch, yaw]).max()))
    return len(poses) / spent_s, worst


def solve(equations: Equations, start: np.ndarray, heave: float, roll: float) -> np.ndarray:
    """One state."""
    fit = least_squares(
        equations.residuals, start, args=(heave, roll), method="lm", x_scale="jac", xtol=TIGHT, ftol=TIGHT, gtol=TIGHT
    )
    return fit.x


def main() -> int:
    bench = ["cargo", "bench", "--locked", "--package", "hingeline-tests", "--bench", "solver", "--", "--noplot"]
    subprocess.run(bench, cwd=ROOT, check=True, stdout=sys.stderr)
    target = target_folder()
    print(f"{'layout':34}{'in order':>12}{'at random':>12}{'scipy':>10}{'ratio':>8}   poses differ by")
    apart = False
    for layout, name in LAYOUTS.items():
        poses = np.loadtxt(target / "tmp" / "speed" / f"{layout}.csv", delimiter=",", skiprows=1)
        ours, random = (per_second(target, group, layout, len(poses)) for group in ("in_order", "at_random"))
        theirs, worst = with_scipy(layout, poses)
        apart |= not worst <= AGREE
        print(f"{layout.upper()} {name:32}{ours:12,.0f}{random:12,.0f}{theirs:10,.0f}{ours / theirs:8,.0f}   {worst:.1e}")
    print("states per second on one core; the program with all numbers, scipy with the pose alone")
    return 1 if apart else 0


if __name__ == "__main__":
    sys.exit(main())
