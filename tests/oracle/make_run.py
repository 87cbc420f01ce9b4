#!/usr/bin/env python3
"""Make a run for the program under test: vehicle.toml, rig.toml, run.csv, and truth.json that says what is true.

The readings come from the oracle's own solver and motion; nothing here is shared with the program. The seed fixes noise and planted faults.
"""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from cases import CASES, BuildFaults, Case, built_mechanism, parse_build_faults, vehicle_toml
from characteristic import numbers
from mechanism import Mechanism
from motion import GRID_S, Motion, drive
from ramp import ramp_travel_index
from rig import INERTIAL_CHANNELS, Rig, World, make_rig, readings, rig_toml
from rotation import Array

# Heave (m) and articulation (rad) of the states beside ride height at which truth.json gives every number.
STATES = [(h, 0.0) for h in (-0.08, -0.04, 0.04, 0.06)] + [(0.0, r) for r in (-0.2, -0.1, 0.1, 0.2)] + [(-0.03, 0.24), (-0.03, -0.23)]
POSE_EVERY_S = 1.0


def arguments() -> argparse.ArgumentParser:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--case", choices=sorted(CASES), required=True)
    parser.add_argument("--rig", choices=["rich", "standard", "wires"], default="rich")
    parser.add_argument("--faults", choices=["none", "planted"], default="none")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, choices=[50.0, 100.0, 200.0], default=100.0, help="rows per second")
    parser.add_argument("--ramp-angle", type=float, default=20.0, help="degrees")
    parser.add_argument("--hardpoint", action="append", default=[], help='"upper left.chassis.z=-20", mm off the drawing')
    parser.add_argument("--hole", action="append", default=[], help='"upper left.chassis=3", the hole really in use')
    parser.add_argument("--link-length", action="append", default=[], help='"upper left=+5", mm longer than drawn')
    parser.add_argument("--keep-lengths", action="store_true", help="moved points keep the drawn links instead of new ones")
    parser.add_argument("--brackets", action="store_true", help="draw three holes for upper links (as --hole does)")
    return parser


def number_tables(mechanism: Mechanism, case: Case) -> dict[str, Any]:
    """Numbers by key at ride height, and at ``STATES`` with the whole pose."""
    axle = case.axle_data
    states = []
    for heave, roll in STATES:
        solved = mechanism.solve(heave, roll)
        x, y, z, roll_rad, pitch, yaw = solved.q[0]
        states.append(
            {
                "heave_m": z,
                "roll_rad": roll_rad,
                "x_m": x,
                "y_m": y,
                "pitch_rad": pitch,
                "yaw_rad": yaw,
                "axle_steer_rad": solved.steer_rad[0],
                **numbers(mechanism, axle, heave, roll),
            }
        )
    return {"ride": numbers(mechanism, axle, 0.0, 0.0), "states": states}


def links_truth(drawn: Mechanism, built: Mechanism) -> list[dict[str, Any]]:
    """Each link as drawn and as built (m)."""
    return [
        {
            "name": before.name,
            "drawn_length_m": before.length_m,
            "length_m": after.length_m,
            "chassis_m": after.chassis_m,
            "axle_m": after.axle_m,
        }
        for before, after in zip(drawn.struts, built.struts)
    ]


def ramp_truth(motion: Motion, wheelbase_m: float, angle_deg: float) -> dict[str, Any]:
    """Ramp travel index of each side at the lift of the mate; tyre radii are the file's tyre radius."""
    sides = {
        side: {**asdict(lift), "index": ramp_travel_index(lift.distance_m, wheelbase_m)}
        for side, lift in motion.lifts.items()
    }
    return {"angle_rad": math.radians(angle_deg), "angle_deg": angle_deg, **sides}


def pose_truth(motion: Motion, row_s: Array) -> list[dict[str, Any]]:
    """True poses and attitudes at some rows' times."""
    out = []
    for t in row_s[:: round(POSE_EVERY_S / (row_s[1] - row_s[0]))]:
        i = round(t / GRID_S)
        x, y, z, roll, pitch, yaw = motion.axle_q[i]
        rotation = motion.axle_rotation[i]
        out.append(
            {
                "t_s": t,
                "phase": phase_at(motion, t),
                "x_m": x,
                "y_m": y,
                "heave_m": z,
                "roll_rad": roll,
                "pitch_rad": pitch,
                "yaw_rad": yaw,
                "axle_steer_rad": math.atan2(-rotation[0, 1], rotation[1, 1]),
                "chassis_roll_rad": motion.chassis_roll_rad[i],
                "chassis_pitch_rad": motion.chassis_pitch_rad[i],
                "inclination_rad": motion.inclination_rad[i],
            }
        )
    return out


def phase_at(motion: Motion, t_s: float) -> str:
    """Name of the phase at a time."""
    return next(phase.name for phase in motion.phases if phase.start_s <= t_s + 1e-9 < phase.end_s)


def planted_truth(rig: Rig, faults: BuildFaults, drawn: Mechanism, built: Mechanism) -> dict[str, Any]:
    """What was planted in the sensors and in the built axle."""
    x, y, _, _, pitch, yaw = built.ride_shift()
    return {
        "wires": [asdict(wire) for wire in rig.wires],
        "units": [asdict(unit) for unit in rig.units],
        "hardpoint_mm": {f"{e}.{p}.{'xyz'[a]}": by for (e, p, a), by in faults.hardpoint_mm.items()},
        "hole": {f"{e}.{p}": hole for (e, p), hole in faults.hole.items()},
        "link_length_mm": faults.link_length_mm,
        "ride_shift": {"x_m": x, "y_m": y, "pitch_rad": pitch, "yaw_rad": yaw},
        "links": links_truth(drawn, built),
    }


def plain(value: Any) -> Any:
    """Arrays and numpy numbers as JSON knows them."""
    return value.tolist() if isinstance(value, (np.ndarray, np.generic)) else str(value)


def write_csv(path: Path, motion: Motion, row_s: Array, columns: dict[str, Array]) -> None:
    """One row per instant: t_s, phase, then every column; decimals finer than the quantum of each sensor."""
    decimals = [6 if name.rpartition(".")[2] in INERTIAL_CHANNELS else 3 for name in columns]
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(",".join(["t_s", "phase", *columns]) + "\n")
        for t, row in zip(row_s, np.column_stack(list(columns.values()))):
            cells = (f"{value:.{places}f}" for value, places in zip(row, decimals))
            file.write(f"{t:.4f},{phase_at(motion, t)},{','.join(cells)}\n")


def main() -> None:
    """Write the four files."""
    parser = arguments()
    args = parser.parse_args()
    case = CASES[args.case]
    rng = np.random.default_rng(args.seed)
    drawn = built_mechanism(case, BuildFaults())
    try:
        faults = parse_build_faults(args.hardpoint, args.hole, args.link_length, args.keep_lengths)
        built = built_mechanism(case, faults)
        true = built.redrawn_at_ride()
        motion = drive(true, case.axle_data, math.radians(args.ramp_angle))
    except ValueError as error:
        parser.error(str(error))
    end_s = motion.phases[-1].end_s
    row_s = np.arange(round(end_s * args.rate)) / args.rate
    rig = make_rig(args.rig, args.faults, case.position, 1 / args.rate, rng)
    columns = readings(World(motion, true.centre_m), rig, row_s, rng)
    truth = {
        "format": 1,
        "case": args.case,
        "seed": args.seed,
        "rate_hz": args.rate,
        "phases": [asdict(phase) for phase in motion.phases],
        "axles": [{"name": case.position, **number_tables(true, case), "drawn": number_tables(drawn, case)}],
        "ramp_travel_index": ramp_truth(motion, case.axle_data.wheelbase_m, args.ramp_angle),
        "poses": pose_truth(motion, row_s),
        "planted": planted_truth(rig, faults, drawn, built),
    }
    args.out.mkdir(parents=True, exist_ok=True)
    (args.out / "vehicle.toml").write_text(vehicle_toml(case, args.brackets or bool(args.hole)), encoding="utf-8")
    (args.out / "rig.toml").write_text(rig_toml(rig, case.position, args.rate), encoding="utf-8")
    write_csv(args.out / "run.csv", motion, row_s, columns)
    (args.out / "truth.json").write_text(json.dumps(truth, indent=1, default=plain) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
