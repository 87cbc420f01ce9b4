#!/usr/bin/env python3
"""Check the oracle before it judges anything: worked values, a second solver, brute force, and MuJoCo.

Exits 1 when any check fails. Every line gives the largest error found and what it may be.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable

import numpy as np
from scipy.optimize import least_squares, minimize
from scipy.spatial.transform import Rotation

from cases import CASES, BuildFaults, built_mechanism, parse_build_faults
from characteristic import numbers
from crosscheck import inertial_errors, length_errors
from mechanism import Mechanism
from motion import Motion, drive
from ramp import ramp_travel_index, stand
from rig import GRAVITY_M_PER_S2, World, inertial_truth, make_rig, wire_length_mm
from rotation import Array, Z_AXIS, from_euler, to_euler
from worked_values import RAMP, RIDE, ROLL_MOMENTS_NM, STATES

# The worked values agree to every digit shown: half a unit of the last one, and rounding.
HALF_UNIT = 0.5 + 1e-6
# Two solvers on lengths of 1 m, each converged to rounding.
SOLVER_LIMIT = 1e-9
# An elastic layout's least energy is flat at its bottom: a general minimiser stops short of it.
ELASTIC_LIMIT = 1e-6
# Between grid points the quintic spline strays by h^6 times a sixth derivative: far below what a wire reads (1e-4 m).
SPLINE_CLOSURE_LIMIT_M = 1e-9
# The corner at the lift is rounded over 0.6 % of the drive: the distance is sharp to this, 0.2 points of the index.
LIFT_ROUNDING_M = 6e-4
# Searching a disc's rim in steps of 1e-4 rad misses its lowest point by r (5e-5)^2 / 2 at most.
BRUTE_FORCE_LIMIT_M = 1e-9
# Second derivatives of two different splines of one motion; the noise is 0.02 m/s².
FORCE_LIMIT_M_PER_S2 = 1e-3
RATE_LIMIT_RAD_PER_S = 1e-6
# A central difference over 2 ms: h^2/6 times the rate's second derivative, at most 2 rad/s^3 in the rounded corner.
DIFFERENCED_RATE_LIMIT_RAD_PER_S = 2e-6


class Summary:
    """Counts checks and prints one line for each."""

    def __init__(self) -> None:
        self.failed = 0

    def hold(self, what: str, errors: Iterable[float], limit: float) -> None:
        """Every error must be a number no larger than ``limit``."""
        values = np.abs(np.asarray(list(errors), dtype=float))
        good = values.size > 0 and bool(np.all(values <= limit))
        self.failed += not good
        print(f"{'ok  ' if good else 'FAIL'} {what}: {values.size} values, largest {values.max(initial=0.0):.3g}, limit {limit:.3g}")


def drawn(letter: str) -> Mechanism:
    """The case as drawn."""
    return built_mechanism(CASES[letter], BuildFaults())


def check_ride_numbers(summary: Summary) -> None:
    """Numbers at ride height against the worked table; errors in units of the last digit. Shares are 1 there."""
    for letter, row in RIDE.items():
        data = CASES[letter].axle_data
        found = numbers(drawn(letter), data, 0.0, 0.0)
        anti = found["anti_squat_percent" if data.position == "rear" else "anti_lift_drive_percent"]
        keys = [
            "side_view_instant_centre_x_m", "side_view_instant_centre_z_m", "contact_forward_per_heave",
            "roll_centre_z_m", "roll_axis_rise_rad", "roll_steer_rad_per_rad",
        ]  # fmt: skip
        values = [*(found[key] for key in keys), anti]
        errors = [(float(v or math.nan) - want) / 10.0**-digits for v, (want, digits) in zip(values, row, strict=True)]
        summary.hold(f"{letter} at ride height, last digits", errors, HALF_UNIT)


def check_states(summary: Summary) -> None:
    """Poses and energy at large states against the worked table; errors in units of the last digit."""
    for letter, rows in STATES.items():
        mechanism, errors = drawn(letter), []
        for (heave, roll), (x_mm, y_mm, pitch_deg, yaw_deg, steer_deg, energy_j) in rows.items():
            solved = mechanism.solve(heave, roll)
            q = solved.q[0]
            errors += [(1000 * q[0] - x_mm) / 1e-3, (1000 * q[1] - y_mm) / 1e-3, (math.degrees(q[4]) - pitch_deg) / 1e-4]
            errors += [(math.degrees(q[5]) - yaw_deg) / 1e-4, (math.degrees(solved.steer_rad[0]) - steer_deg) / 1e-4]
            errors.append((mechanism.energy_j(solved)[0] - energy_j) / 1e-3)
        summary.hold(f"{letter} at large states, last digits", errors, HALF_UNIT)
    moments = [
        (drawn("P").roll_moment_nm(drawn("P").solve(*state))[0] - want) / 10.0**-digits
        for state, (want, digits) in ROLL_MOMENTS_NM.items()
    ]
    summary.hold("P roll moment from bushes, last digits", moments, HALF_UNIT)


def check_second_solver(summary: Summary) -> None:
    """The same states from scipy on six unknowns with a rotation vector, instead of Newton on four with Euler angles."""
    for letter in STATES:
        mechanism, errors = drawn(letter), []
        chassis = np.array([s.chassis_m for s in mechanism.struts])
        axle = np.array([s.axle_m for s in mechanism.struts])
        length = np.array([s.length_m for s in mechanism.struts])

        def stretch(six: Array) -> Array:
            turned = Rotation.from_rotvec(six[3:]).apply(axle - mechanism.centre_m)
            return np.linalg.norm(turned + mechanism.centre_m + six[:3] - chassis, axis=1) - length

        def imposed(six: Array, heave: float, roll: float) -> Array:
            return np.array([six[2] - heave, to_euler(Rotation.from_rotvec(six[3:]).as_matrix())[0] - roll])

        for heave, roll in STATES[letter]:
            if mechanism.elastic:
                want = {"type": "eq", "fun": lambda six: imposed(six, heave, roll)}
                start = np.array([0, 0, heave, roll, 0, 0])
                fit = minimize(lambda six: 1e4 * (stretch(six) ** 2).sum(), start, constraints=[want], method="SLSQP",
                               options={"ftol": 1e-16, "maxiter": 500})  # fmt: skip
            else:
                fit = least_squares(lambda six: np.append(stretch(six), imposed(six, heave, roll)),
                                    np.array([0, 0, heave, roll, 0, 0]), xtol=1e-15, ftol=1e-15, gtol=1e-15)  # fmt: skip
            q = mechanism.solve(heave, roll).q[0]
            errors += list(fit.x[:3] - q[:3])
            errors += list((Rotation.from_rotvec(fit.x[3:]).as_matrix() - from_euler(q[3], q[4], q[5])).ravel())
        summary.hold(f"{letter} against a second solver", errors, ELASTIC_LIMIT if mechanism.elastic else SOLVER_LIMIT)


def lowest_along(normal: Array, u: Array, radius_m: float) -> float:
    """Least height above its centre of a disc of normal ``u`` along ``normal``, found by searching its rim."""
    first = np.cross(u, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    angle = np.arange(0.0, 2 * np.pi, 1e-4)[:, None]
    rim = radius_m * (np.cos(angle) * first + np.sin(angle) * np.cross(u, first))
    return float((rim @ normal).min())


def check_ramp(summary: Summary) -> None:
    """Distances along the ramp against worked values, and both wheels resting on their planes by brute force."""
    errors, rests = [], []
    for alpha_deg, inclination, heading_deg, want, digits in RAMP:
        heading, alpha = math.radians(heading_deg), math.radians(alpha_deg)
        level, rise = math.cos(inclination), math.sin(inclination)
        u = np.array([-math.sin(heading) * level, math.cos(heading) * level, rise])
        placed = stand(u, alpha, 1.6, 0.46, 0.46)
        errors.append((float(placed.distance_m) - want) / 10.0**-digits)
        climbing = np.array([placed.x_m, 0.0, placed.z_m])
        on_flat = climbing - 1.6 * u
        normal = np.array([-math.sin(alpha), 0.0, math.cos(alpha)])
        rests += [on_flat[2] + lowest_along(Z_AXIS, u, 0.46), climbing @ normal + lowest_along(normal, u, 0.46)]
    summary.hold("distance along the ramp, last digits", errors, HALF_UNIT)
    summary.hold("both tyres touch, searched (m)", rests, BRUTE_FORCE_LIMIT_M)
    # A wheel just touching ramp and flat stands r tan(angle/2) up the ramp.
    level_stand = stand(np.array([0.0, 1.0, 0.0]), 0.3, 1.6, 0.46, 0.46)
    summary.hold("first touch r tan(a/2) (m)", [float(level_stand.distance_m) - 0.46 * math.tan(0.15)], 1e-12)
    summary.hold("index of the worked distance", [ramp_travel_index(1.46666, 2.54) - 577.424], 2e-3)


def check_motion(summary: Summary, letter: str) -> None:
    """The run of a case: links close between grid points, the axle stands as said, readings obey mechanics and give the poses back."""
    case = CASES[letter]
    mechanism = drawn(letter)
    motion = drive(mechanism, case.axle_data, math.radians(20))
    world = World(motion, mechanism.centre_m)
    t = np.linspace(0.1, motion.phases[-1].end_s - 0.1, 7001)
    if not mechanism.elastic:
        for strut in mechanism.struts:
            span = world.axle_point_in_chassis_m(t, np.array(strut.axle_m)) - np.array(strut.chassis_m)
            stretch = np.linalg.norm(span, axis=1) - strut.length_m
            summary.hold(f"{letter} {strut.name} keeps its length along the run (m)", stretch, SPLINE_CLOSURE_LIMIT_M)
    axle_rotation = motion.chassis_rotation @ motion.axle_rotation
    summary.hold(f"{letter} inclination of the axle", axle_rotation[:, 2, 1] - np.sin(motion.inclination_rad), 1e-12)
    on_flat = [motion.axle_centre_world_m + axle_rotation[:, :, 1] * side * 0.8 for side in (-1, 1)]
    floor = motion.t_s < motion.phases[2].start_s
    rests = np.concatenate([w[floor, 2] - 0.46 for w in on_flat])
    summary.hold(f"{letter} both tyres on the floor while bouncing (m)", rests, 1e-12)
    for side, lift in motion.lifts.items():
        sign = 1.0 if side == "left" else -1.0
        level, rise = math.cos(lift.inclination_rad), math.sin(lift.inclination_rad)
        u = sign * np.array([-math.sin(lift.heading_rad) * level, math.cos(lift.heading_rad) * level, rise])
        again = float(stand(u, math.radians(20), 1.6, 0.46, 0.46).distance_m)
        summary.hold(f"{letter} distance at the {side} lift (m)", [again - lift.distance_m], LIFT_ROUNDING_M)
    check_inertial(summary, letter, motion, world, t)
    check_wires(summary, letter, motion, world)


def check_wires(summary: Summary, letter: str, motion: Motion, world: World) -> None:
    """Six ideal wires give the true poses back: no direction of the axle hides from the ``rich`` and ``wires`` sets."""
    wires = make_rig("wires", "none", CASES[letter].position, 0.01, np.random.default_rng(1)).wires
    chassis, axle = (np.array([getattr(wire, end) for wire in wires]) / 1000 for end in ("chassis_mm", "axle_mm"))
    errors: list[float] = []
    for i in range(500, len(motion.t_s) - 20, 997):
        true = motion.axle_q[i]
        read = np.array([wire_length_mm(world, wire, motion.t_s[i : i + 1])[0] for wire in wires]) / 1000

        def miss(six: Array) -> Array:
            turned = Rotation.from_euler("xyz", six[3:]).apply(axle - world.centre_m)
            return np.linalg.norm(turned + world.centre_m + six[:3] - chassis, axis=1) - read

        start = true + np.array([0.01, -0.01, 0.01, 0.02, -0.02, 0.02])
        errors += list(least_squares(miss, start, xtol=1e-15, ftol=1e-15, gtol=1e-15).x - true)
    summary.hold(f"{letter} poses from six wires (m, rad)", errors, SOLVER_LIMIT)


def check_inertial(summary: Summary, letter: str, motion: Motion, world: World, t: Array) -> None:
    """Rigid-body mechanics: f_B = f_A + w' x r + w x (w x r); the common acceleration cancels; rates integrate to attitudes."""
    rig = make_rig("rich", "planted", CASES[letter].position, 0.01, np.random.default_rng(5))
    for unit in rig.units:
        force, rate = inertial_truth(world, unit, t)
        rotation = world.body_rotation(unit.body)
        r = np.array(unit.at_mm) / 1000 - world.centre_m
        centre = world.body_point(unit.body, world.centre_m).derivative(2)(t)
        body_rate = rate @ unit.mounting.T
        step = 1e-3
        spin_up = (inertial_truth(world, unit, t + step)[1] - inertial_truth(world, unit, t - step)[1]) / (2 * step) @ unit.mounting.T
        lever = np.cross(spin_up, r) + np.cross(body_rate, np.cross(body_rate, r))
        common = np.einsum("nji,nj->ni", rotation(t), centre + GRAVITY_M_PER_S2 * Z_AXIS)
        summary.hold(f"{letter} {unit.name}: lever arm (m/s²)", np.ravel((common + lever) @ unit.mounting - force), FORCE_LIMIT_M_PER_S2)
        turn = Rotation.from_matrix(np.swapaxes(rotation(t - step), 1, 2) @ rotation(t + step)).as_rotvec() / (2 * step)
        summary.hold(f"{letter} {unit.name}: rates (rad/s)", np.ravel(turn - body_rate), DIFFERENCED_RATE_LIMIT_RAD_PER_S)
    ideal = make_rig("rich", "none", CASES[letter].position, 0.01, np.random.default_rng(5))
    chassis, axle = (inertial_truth(world, unit, np.array([1.0, 2.0]))[0] for unit in ideal.units)
    summary.hold(f"{letter} at rest both units read g upward", np.ravel([chassis, axle] - GRAVITY_M_PER_S2 * Z_AXIS), 1e-9)


def check_planted(summary: Summary) -> None:
    """Planted geometry does what it says: holes and points keep the ride pose, a longer link shifts it and the links still close."""
    hole = built_mechanism(CASES["T"], parse_build_faults([], ["upper left.chassis=3"], [], False))
    point = built_mechanism(CASES["T"], parse_build_faults(["upper left.chassis.z=20"], [], [], False))
    summary.hold("hole 3 is the point 20 mm higher", hole.solve(0.05, 0.1).q[0] - point.solve(0.05, 0.1).q[0], 1e-12)
    summary.hold("a new hole keeps the ride pose", hole.ride_shift(), 1e-12)
    longer = built_mechanism(CASES["H"], parse_build_faults([], [], ["panhard=10"], False))
    summary.hold("a panhard 10 mm longer moves the axle to its right", [longer.ride_shift()[1] + 0.01], 3e-4)
    redrawn = longer.redrawn_at_ride()
    summary.hold("re-drawn at ride, no shift is left", redrawn.ride_shift(), 1e-12)


def check_with_mujoco(summary: Summary) -> None:
    """Lengths and inertial readings against a general multibody library."""
    for letter in STATES:
        mechanism = drawn(letter)
        if not mechanism.elastic:
            summary.hold(f"{letter} lengths in MuJoCo (m)", length_errors(mechanism, list(STATES[letter])), 1e-12)
    for letter in ("T", "H"):
        case, mechanism = CASES[letter], drawn(letter)
        motion = drive(mechanism, case.axle_data, math.radians(20))
        world = World(motion, mechanism.centre_m)
        rig = make_rig("rich", "planted", case.position, 0.01, np.random.default_rng(3))
        times = np.arange(9.0, motion.phases[-1].end_s - 1, 2.31)
        forces, rates = inertial_errors(world, rig.units, times)
        summary.hold(f"{letter} specific force in MuJoCo (m/s²)", forces, FORCE_LIMIT_M_PER_S2)
        summary.hold(f"{letter} rates in MuJoCo (rad/s)", rates, RATE_LIMIT_RAD_PER_S)


def main() -> int:
    """Run every check; 0 when all hold."""
    summary = Summary()
    check_ride_numbers(summary)
    check_states(summary)
    check_second_solver(summary)
    check_ramp(summary)
    for letter in ("T", "W", "H", "P"):
        check_motion(summary, letter)
    check_planted(summary)
    check_with_mujoco(summary)
    print("all checks hold" if summary.failed == 0 else f"{summary.failed} checks failed")
    return 1 if summary.failed else 0


if __name__ == "__main__":
    sys.exit(main())
