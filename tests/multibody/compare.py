#!/usr/bin/env python3
"""Holds the program to a general multibody library: lengths, poses, numbers and loads of the layouts in ``tests/data/layouts``.

    compare.py PROGRAM

Runs ``PROGRAM predict --states --json`` for each layout and works the same states out with MuJoCo. Exits 1 when any value differs by
more than its limit. Radius arms are left out: the library has no bush whose stiffness differs from axis to axis.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from axle_model import HEAVE, PITCH, ROLL, YAW, AxleModel, X, Y

LAYOUTS = ("t", "s", "w", "h", "q", "p")
DATA = Path(__file__).resolve().parent.parent / "data" / "layouts"
STATES = ((0.0, 0.0), (0.08, 0.0), (0.0, 0.2), (-0.06, 0.3), (0.05, -0.25), (-0.1, -0.1))
DRIVE_N, SIDE_N = 8000.0, 5000.0

# Lengths of a metre, each side a sum of a few products.
LENGTH_LIMIT_M = 1e-14
# The program's poses put into the library must keep the lengths: rounding of poses, times a lever of a metre.
CLOSURE_LIMIT_M = 1e-12
# Two Newton's methods, each ended at a step of 1e-11 or less.
POSE_LIMIT = 1e-10
# Of numbers per metre and per radian, each from slopes at poses as close as that; relative to 1 + the value.
NUMBER_LIMIT = 1e-9
# Elastic spans: the library's stiffness comes from differences of forces, good to some 1e-10 of 1e7 N/m.
ELASTIC_NUMBER_LIMIT = 1e-8
# N and N·m of 8000 N: rounding of the geometry, times what a lever of a decimetre makes of it; elastic ones as the stiffness is.
LOAD_LIMIT_N = 1e-8
ELASTIC_LOAD_LIMIT_N = 1e-4
# Of tens of joules, flat at the least.
ENERGY_LIMIT_J = 1e-6


class Summary:
    """Counts checks and prints one line for each."""

    def __init__(self) -> None:
        self.failed = 0

    def hold(self, what: str, found: object, wanted: object, limit: float, relative: bool = False) -> None:
        """Every value found must be a number within ``limit`` of the one wanted."""
        a, b = np.ravel(np.asarray(found, dtype=float)), np.ravel(np.asarray(wanted, dtype=float))
        off = np.abs(a - b) / (1 + np.abs(b) if relative else 1.0)
        good = a.shape == b.shape and a.size > 0 and bool(np.all(off <= limit))
        self.failed += not good
        print(f"{'ok  ' if good else 'FAIL'} {what}: {a.size} values, largest difference {off.max():.3g}, limit {limit:.3g}")


def predicted(program: str, layout: str) -> dict:
    """What the program says of the one axle of a layout."""
    with tempfile.NamedTemporaryFile("w", suffix=".csv") as states:
        states.write("heave_m,roll_rad\n" + "".join(f"{h},{r}\n" for h, r in STATES))
        states.flush()
        command = [program, "predict", str(DATA / f"{layout}.toml"), "--states", states.name, "--json"]
        command += ["--drive", str(DRIVE_N), "--side", str(SIDE_N)]
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return json.loads(told)["vehicles"][0]["axles"][0]


def numbers(model: AxleModel) -> dict[str, float]:
    """Numbers where the model stands, from the library's velocities of the axle."""
    centre = model.data.body("axle").xpos
    velocity, turn = model.twist(HEAVE)
    roll_velocity, roll_turn = model.twist(ROLL)
    return {
        "pitch_per_heave_rad_per_m": turn[1],
        "contact_forward_per_heave": velocity[0] - model.radius_m * turn[1],
        "lateral_per_heave": velocity[1],
        "roll_centre_z_m": centre[2] + roll_velocity[1] / roll_turn[0],
        "roll_axis_rise_rad": math.atan2(roll_turn[2], roll_turn[0]),
        "roll_axis_screw_pitch_m_per_rad": roll_turn @ roll_velocity / (roll_turn @ roll_turn),
    }


def pose_of(state: dict, model: AxleModel, q: np.ndarray) -> np.ndarray:
    """The library's coordinates for the program's pose; cranks as the library found them."""
    out = q.copy()
    out[[X, Y, HEAVE, YAW, PITCH, ROLL]] = [
        state[key] for key in ("x_m", "y_m", "heave_m", "yaw_rad", "pitch_rad", "roll_rad")
    ]
    return out


def compare(summary: Summary, program: str, layout: str) -> None:
    """All checks of one layout."""
    axle, model = predicted(program, layout), AxleModel(DATA / f"{layout}.toml")
    links = axle["links"]
    order = [[link["name"] for link in links].index(span.name) for span in model.spans]
    model.place(np.zeros(model.model.nq))
    summary.hold(f"{layout} lengths (m)", [links[i]["length_m"] for i in order], model.data.ten_length, LENGTH_LIMIT_M)
    number_limit = ELASTIC_NUMBER_LIMIT if model.elastic else NUMBER_LIMIT
    load_limit = ELASTIC_LOAD_LIMIT_N if model.elastic else LOAD_LIMIT_N
    drive, side = (next(case for case in axle["loads"] if case["case"] == name) for name in ("drive", "side"))
    for k, (heave, roll) in enumerate(STATES):
        told, what = axle["states"][k], f"{layout} at {heave:g} m, {roll:g} rad:"
        q = model.solve(heave, roll)
        if not model.elastic:
            model.place(pose_of(told, model, q))
            summary.hold(f"{what} its pose keeps the lengths (m)", model.data.ten_length, model.drawn_m, CLOSURE_LIMIT_M)
        model.place(q)
        summary.hold(f"{what} pose (m, rad)", pose_of(told, model, q), q, POSE_LIMIT)
        energy_j, roll_moment = float(model.data.energy[0]), -model.data.qfrc_passive[ROLL]
        summary.hold(f"{what} strain (J)", told["strain_energy_j"], energy_j, ENERGY_LIMIT_J)
        summary.hold(f"{what} roll moment (N·m)", told["roll_moment_nm"], roll_moment, load_limit)
        wanted = numbers(model)
        summary.hold(f"{what} numbers", [told[key] for key in wanted], list(wanted.values()), number_limit, relative=True)
        for case, force in ((drive, [DRIVE_N, 0, 0]), (side, [0, SIDE_N, 0])):
            tension, left = model.axial_forces(np.array(force, dtype=float))
            found = [links[i]["load"]["states"][k][f"{case['case']}_n"] for i in order]
            found += [case["states"][k][key] for key in ("heave_force_n", "roll_moment_nm")]
            summary.hold(f"{what} {case['case']} loads (N, N·m)", found, [*tension, *left], load_limit)


def main() -> int:
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    summary = Summary()
    for layout in LAYOUTS:
        compare(summary, sys.argv[1], layout)
    print(f"{summary.failed} checks failed")
    return 1 if summary.failed else 0


if __name__ == "__main__":
    sys.exit(main())
