"""Characteristic numbers of an axle at one state, from the twists of the oracle's own solver.

Keys and units are those of the program under test; the formulas are textbook vehicle dynamics and screw theory, written afresh.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mechanism import Mechanism

# Below this pitch per heave (rad/m) the side-view instant centre counts as infinitely far.
PARALLEL_RAD_PER_M = 1e-6


@dataclass(frozen=True)
class AxleData:
    """What the anti numbers need of the vehicle (m; shares of 1). Torque is reacted by the axle housing."""

    position: str
    wheelbase_m: float
    cg_height_m: float
    tyre_radius_m: float
    track_m: float
    drive_share: float
    brake_share: float


def numbers(mechanism: Mechanism, axle: AxleData, heave_m: float, roll_rad: float) -> dict[str, float | None]:
    """Numbers by key (SI, chassis frame) at heave (m) and articulation (rad)."""
    x_c, _, z_c = mechanism.centre_m + mechanism.solve(heave_m, roll_rad).shift_m[0]
    heave = mechanism.twist(heave_m, roll_rad, "heave")
    roll = mechanism.twist(heave_m, roll_rad, "roll")
    pitch_rate = float(heave.angular[1])
    centre_x: float | None = None
    centre_z: float | None = None
    direction: float | None = None
    if abs(pitch_rate) < PARALLEL_RAD_PER_M:
        direction = math.atan(-heave.velocity[0])
    else:
        centre_x = x_c + 1.0 / pitch_rate
        centre_z = z_c - heave.velocity[0] / pitch_rate
    # The contact patch is r below the centre and turns with the housing: its forward velocity is v + w x (-r z).
    contact = float(heave.velocity[0] - axle.tyre_radius_m * pitch_rate)
    lever = 100.0 * contact * axle.wheelbase_m / axle.cg_height_m
    out: dict[str, float | None] = {
        "side_view_instant_centre_x_m": centre_x,
        "side_view_instant_centre_z_m": centre_z,
        "side_view_direction_rad": direction,
        "pitch_per_heave_rad_per_m": pitch_rate,
        "contact_forward_per_heave": contact,
        "roll_centre_z_m": float(z_c + roll.velocity[1] / roll.angular[0]),
        "roll_axis_rise_rad": math.atan2(roll.angular[2], roll.angular[0]),
        "roll_axis_screw_pitch_m_per_rad": float(roll.angular @ roll.velocity / (roll.angular @ roll.angular)),
        "roll_steer_rad_per_rad": roll.steer_rate,
        "lateral_per_heave": float(heave.velocity[1]),
    }
    if axle.position == "rear":
        out["anti_squat_percent"] = -lever * axle.drive_share
        out["anti_lift_brake_percent"] = -lever * axle.brake_share
    else:
        out["anti_lift_drive_percent"] = lever * axle.drive_share
        out["anti_dive_percent"] = lever * axle.brake_share
    return {key: None if value is None else float(np.float64(value)) for key, value in out.items()}
