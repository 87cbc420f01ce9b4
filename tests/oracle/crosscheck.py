"""Lengths and inertial readings in MuJoCo, a general multibody library, as a third opinion for self_check.py.

Chassis and axle are two free bodies whose positions, velocities and accelerations are imposed; the library's own kinematics and its
own accelerometer and gyro models say what the sensors read.
"""

from __future__ import annotations

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

from mechanism import Mechanism
from rig import GRAVITY_M_PER_S2, Unit, World, inertial_truth
from rotation import Array

FREE_BODY = """<body name="{name}"><freejoint/><inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>{sites}</body>"""
# Rates of change of body rates, by central difference: the error is far below the limits of self_check.py.
STEP_S = 1e-4


def _site(name: str, position_m: Array, rotation: Array) -> str:
    x, y, z, w = Rotation.from_matrix(rotation).as_quat()
    place = " ".join(f"{value:.17g}" for value in position_m)
    return f'<site name="{name}" pos="{place}" quat="{w:.17g} {x:.17g} {y:.17g} {z:.17g}"/>'


def _model(bodies: dict[str, list[str]], sensors: str) -> mujoco.MjModel:
    inside = "".join(FREE_BODY.format(name=name, sites="".join(sites)) for name, sites in bodies.items())
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="0 0 -{GRAVITY_M_PER_S2}"/><worldbody>{inside}</worldbody><sensor>{sensors}</sensor></mujoco>'
    )


def length_errors(mechanism: Mechanism, states: list[tuple[float, float]]) -> list[float]:
    """Length of every strut at the solved states (heave m, roll rad), minus what it must be (m)."""
    sites = [_site(f"a{i}", np.array(s.axle_m) - mechanism.centre_m, np.eye(3)) for i, s in enumerate(mechanism.struts)]
    model = _model({"axle": sites}, "")
    data = mujoco.MjData(model)
    errors: list[float] = []
    for heave, roll in states:
        solved = mechanism.solve(heave, roll)
        data.qpos[:3] = mechanism.centre_m + solved.shift_m[0]
        data.qpos[3:7] = np.roll(Rotation.from_matrix(solved.rotation[0]).as_quat(), 1)
        mujoco.mj_kinematics(model, data)
        ends = np.array([data.site(f"a{i}").xpos for i in range(len(sites))])
        for end, strut in zip(ends, mechanism.struts):
            errors.append(float(np.linalg.norm(end - strut.chassis_m) - strut.length_m))
    return errors


def inertial_errors(world: World, units: list[Unit], times_s: Array) -> tuple[list[float], list[float]]:
    """Specific force (m/s²) and rate (rad/s) of the oracle minus MuJoCo's, every axis of every unit at every time."""
    sites = {u.body: [_site(u.name, np.array(u.at_mm) / 1000 - world.centre_m, u.mounting)] for u in units}
    sensors = "".join(f'<accelerometer site="{u.name}"/><gyro site="{u.name}"/>' for u in units)
    model = _model(sites, sensors)
    data = mujoco.MjData(model)
    forces: list[float] = []
    rates: list[float] = []
    for t in times_s:
        for i, unit in enumerate(units):
            at = np.array([t - STEP_S, t, t + STEP_S])
            centre = world.body_point(unit.body, world.centre_m)
            turned = Rotation.from_matrix(world.body_rotation(unit.body)(at))
            to_body = turned[1].inv()
            before, after = (to_body * turned[0]).as_rotvec(), (to_body * turned[2]).as_rotvec()
            data.qpos[7 * i : 7 * i + 3] = centre(t)
            data.qpos[7 * i + 3 : 7 * i + 7] = np.roll(turned[1].as_quat(), 1)
            # A free joint's linear part is in the world, its angular part in the body.
            data.qvel[6 * i : 6 * i + 3] = centre.derivative(1)(t)
            data.qvel[6 * i + 3 : 6 * i + 6] = (after - before) / (2 * STEP_S)
            data.qacc[6 * i : 6 * i + 3] = centre.derivative(2)(t)
            data.qacc[6 * i + 3 : 6 * i + 6] = (after + before) / STEP_S**2
        mujoco.mj_inverse(model, data)
        for i, unit in enumerate(units):
            force, rate = inertial_truth(world, unit, np.array([t]))
            forces += list(force[0] - data.sensordata[6 * i : 6 * i + 3])
            rates += list(rate[0] - data.sensordata[6 * i + 3 : 6 * i + 6])
    return forces, rates
