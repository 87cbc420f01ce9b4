"""The drive: how chassis and axle move through a still period, a bounce and both ramps, slowly enough to be quasi-static.

World frame (m): z up, floor at z = 0, x forward with 0 at the ramp's toe. The chassis heads along x throughout. Prescribed in time are
heave, articulation, the axle's inclination ``a_z = sin(inclination)`` in the world, and the chassis' pitch; the solver gives the rest of
the axle's pose and the chassis' roll follows from the inclination. The wheels stay on floor and ramp, which places the whole in the world.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from characteristic import AxleData
from mechanism import Mechanism
from ramp import stand
from rotation import Array, Y_AXIS, about_x, about_y

GRID_S = 0.005
STILL_S = 8.0
BOUNCE_CYCLE_S, BOUNCE_CYCLES = 8.0, 3
BOUNCE_MIDDLE_M, BOUNCE_AMPLITUDE_M = -0.01, 0.09
WOBBLE_RAD, WOBBLE_PERIOD_S = 0.012, 5.3
EASE_S, PAUSE_S, HOLD_S = 2.0, 1.5, 3.0
# Articulation (rad) at which the mate lifts, left and right; the chassis rolls a third as far the same way.
LIFT_ARTICULATION_RAD = {"left": 0.25, "right": 0.24}
CHASSIS_SHARE = 1.0 / 3.0
# Beyond the lift the axle goes on inclining at this part of its rate; the rest lifts the mate off the flat.
INCLINE_AFTER_LIFT = 0.6
DRIVE_END = 1.12
# Half width of the corner at lift, in units of the drive.
CORNER = 0.006
HOLD_RISE_M = 0.1
TOP_SPEED_M_PER_S = 0.14
# Heave that goes along with articulation, driving up and back down (springs and shocks have friction).
RAMP_HEAVE_M, RAMP_HEAVE_BACK_M = -0.034, 0.006
# The far springs give a little, so that the chassis pitches less than the axle's rise over the wheelbase.
PITCH_SHARE = 0.9
# Sign of articulation and inclination when this side climbs.
SIDES = {"left": 1.0, "right": -1.0}


def ease(x: Array | float) -> Array:
    """Smooth step from 0 to 1 over [0, 1], three times continuously differentiable."""
    t = np.clip(x, 0.0, 1.0)
    return t**4 * (35 - 84 * t + 70 * t**2 - 20 * t**3)


def ease_integral(x: Array) -> Array:
    """Integral of ``ease((1 + t)/2)`` from -1 to x: 0 below -1, growing with slope 1 above 1."""
    t = np.clip((1.0 + x) / 2.0, 0.0, 1.0)
    return 2.0 * t**5 * (7 - 14 * t + 10 * t**2 - 2.5 * t**3) + np.maximum(x - 1.0, 0.0)


def beyond(drive: Array) -> Array:
    """How far the drive is past the lift at 1, with a rounded corner."""
    return CORNER * ease_integral((drive - 1.0) / CORNER)


@dataclass(frozen=True)
class Phase:
    """A named stretch of the run, from ``start_s`` to ``end_s``."""

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Lift:
    """The instant at which the mate is about to lift."""

    t_s: float
    articulation_rad: float
    inclination_rad: float
    heading_rad: float
    distance_m: float


@dataclass(frozen=True)
class Motion:
    """The motion on a time grid of N instants.

    ``axle_q`` (N, 6; m, rad) and ``axle_rotation`` (N, 3, 3): the axle in the chassis. ``chassis_rotation`` (N, 3, 3) takes chassis
    vectors into the world; ``axle_centre_world_m`` (N, 3).
    """

    t_s: Array
    phases: list[Phase]
    inclination_rad: Array
    axle_q: Array
    axle_rotation: Array
    chassis_roll_rad: Array
    chassis_pitch_rad: Array
    chassis_rotation: Array
    axle_centre_world_m: Array
    lifts: dict[str, Lift]


def _inclination_at_lift(side: str) -> float:
    return LIFT_ARTICULATION_RAD[side] * (1.0 + CHASSIS_SHARE)


@dataclass(frozen=True)
class _RampPlan:
    """Moves of the drive: (start time, duration, from, to), relative to the phase's start; the lift is at drive 1."""

    moves: list[tuple[float, float, float, float]]
    length_s: float

    def drive(self, t: Array) -> Array:
        value = np.zeros_like(t)
        for start, duration, a, b in self.moves:
            value = value + (b - a) * ease((t - start) / duration)
        return value

    @property
    def turn_s(self) -> float:
        """When it starts to come back."""
        return self.moves[-1][0]


def _ramp_plan(side: str, axle: AxleData, alpha_rad: float) -> _RampPlan:
    top = _inclination_at_lift(side)
    stops = [0.0]
    while (rise := HOLD_RISE_M * len(stops)) < axle.track_m * math.sin(top) * 0.99:
        stops.append(math.asin(rise / axle.track_m) / top)
    stops.append(DRIVE_END)
    along_ramp = axle.track_m * top / math.sin(alpha_rad)
    # The eased step is fastest in its middle, 35/16 of its mean speed.
    per_drive_s = 35 / 16 * along_ramp / TOP_SPEED_M_PER_S
    moves: list[tuple[float, float, float, float]] = []
    now = PAUSE_S
    for a, b in [*zip(stops, stops[1:]), (DRIVE_END, 0.0)]:
        duration = max(abs(b - a) * per_drive_s, EASE_S)
        moves.append((now, duration, a, b))
        now += duration + HOLD_S
    return _RampPlan(moves, now - HOLD_S + PAUSE_S)


def _bounce(t: Array, length_s: float) -> tuple[Array, Array]:
    """Heave (m) and articulation (rad) of the bounce, t from its start."""
    envelope = ease((t - PAUSE_S) / EASE_S) * ease((length_s - PAUSE_S - t) / EASE_S)
    swing = np.sin(2 * np.pi * (t - PAUSE_S) / BOUNCE_CYCLE_S)
    heave = envelope * (BOUNCE_MIDDLE_M + BOUNCE_AMPLITUDE_M * swing)
    return heave, envelope * WOBBLE_RAD * np.sin(2 * np.pi * t / WOBBLE_PERIOD_S + 0.4)


def _between(t: Array, start: float, end: float) -> Array:
    return (t >= start) & (t < end)


@dataclass(frozen=True)
class _Prescribed:
    """What the run imposes, on the time grid (s, m, rad)."""

    t: Array
    phases: list[Phase]
    plans: dict[str, _RampPlan]
    heave: Array
    roll: Array
    inclination: Array
    mate_lift: Array


def _prescribe(axle: AxleData, alpha_rad: float) -> _Prescribed:
    plans = {side: _ramp_plan(side, axle, alpha_rad) for side in SIDES}
    bounce_s = BOUNCE_CYCLE_S * BOUNCE_CYCLES + 2 * PAUSE_S
    lengths = [("still", STILL_S), ("bounce", bounce_s), *((f"ramp {side}", plans[side].length_s) for side in SIDES)]
    phases: list[Phase] = []
    now = 0.0
    for name, length in lengths:
        # Phases start on whole fiftieths, so that rows at 50 and 100 Hz begin them alike.
        end = round((now + length) * 50) / 50
        phases.append(Phase(name, now, end))
        now = end
    t = np.arange(0.0, now + 10 * GRID_S, GRID_S)
    heave, roll, inclination, mate_lift = (np.zeros_like(t) for _ in range(4))
    inside = _between(t, phases[1].start_s, phases[1].end_s)
    heave[inside], roll[inside] = _bounce(t[inside] - phases[1].start_s, bounce_s)
    for phase, side in zip(phases[2:], SIDES):
        inside = _between(t, phase.start_s, phase.end_s)
        local = t[inside] - phase.start_s
        s = plans[side].drive(local)
        past, sign, top = beyond(s), SIDES[side], _inclination_at_lift(side)
        roll[inside] = sign * LIFT_ARTICULATION_RAD[side] * (s - past)
        inclination[inside] = sign * top * (s - past * (1.0 - INCLINE_AFTER_LIFT))
        mate_lift[inside] = axle.track_m * top * past * (1.0 - INCLINE_AFTER_LIFT)
        returning = ease((local - plans[side].turn_s) / EASE_S)
        friction = RAMP_HEAVE_BACK_M * returning * s * (DRIVE_END - s) * 4 / DRIVE_END**2
        heave[inside] = RAMP_HEAVE_M * (s - past) ** 2 + friction
    return _Prescribed(t, phases, plans, heave, roll, inclination, mate_lift)


def _chassis_attitude(given: _Prescribed, axle: AxleData, spin_axis: Array) -> tuple[Array, Array]:
    """Chassis roll and pitch (rad, (N,)) that give the axle, of direction ``spin_axis`` (N, 3) in the chassis, its inclination."""
    rise = axle.track_m / 2 * np.sin(np.abs(given.inclination)) + given.mate_lift - given.heave
    pitch = PITCH_SHARE * rise / axle.wheelbase_m * (1.0 if axle.position == "rear" else -1.0)
    # a_z = -sin(pitch) a_x + cos(pitch) (sin(roll) a_y + cos(roll) a_z), solved for the chassis' roll.
    in_plane = np.hypot(spin_axis[:, 1], spin_axis[:, 2])
    wanted = (np.sin(given.inclination) + np.sin(pitch) * spin_axis[:, 0]) / np.cos(pitch)
    return np.arcsin(wanted / in_plane) - np.arctan2(spin_axis[:, 2], spin_axis[:, 1]), pitch


def _lifts(given: _Prescribed, direction: Array, distance: Array) -> dict[str, Lift]:
    """The lift of each side, read off the grid where the drive passes 1 on its way up."""
    heading = np.arctan2(-direction[:, 0], direction[:, 1])
    out: dict[str, Lift] = {}
    for phase, side in zip(given.phases[2:], SIDES):
        up = _between(given.t, phase.start_s, phase.start_s + given.plans[side].turn_s)
        at = float(np.interp(1.0, given.plans[side].drive(given.t[up] - phase.start_s), given.t[up]))
        values = (float(np.interp(at, given.t, row)) for row in (given.roll, given.inclination, heading, distance))
        out[side] = Lift(at, *values)
    return out


def drive(mechanism: Mechanism, axle: AxleData, alpha_rad: float) -> Motion:
    """The whole run on a grid of ``GRID_S``, with a few grid steps to spare at its end. ``mechanism`` is drawn at its own ride pose."""
    given = _prescribe(axle, alpha_rad)
    states = mechanism.solve(given.heave, given.roll)
    roll, pitch = _chassis_attitude(given, axle, states.rotation[:, :, 1])
    chassis = about_y(pitch) @ about_x(roll)
    direction = np.einsum("nij,nj->ni", chassis, states.rotation[:, :, 1])
    sign = np.where(given.t < given.phases[3].start_s, SIDES["left"], SIDES["right"])
    # From the wheel on the flat to the climbing one; on the floor both wheels stand on the flat just before the ramp.
    u = sign[:, None] * direction
    radius = axle.tyre_radius_m
    placed = stand(u, alpha_rad, axle.track_m, radius, radius, given.mate_lift)
    centre = -axle.track_m / 2 * u
    centre[:, 0] += placed.x_m
    centre[:, 2] += placed.z_m
    # The tyre on the flat keeps its place sideways.
    centre[:, 1] = (u[:, 1] - sign) * axle.track_m / 2
    centre[given.t < given.phases[2].start_s, 0] = stand(Y_AXIS, alpha_rad, axle.track_m, radius, radius).x_m
    return Motion(
        t_s=given.t,
        phases=given.phases,
        inclination_rad=given.inclination,
        axle_q=states.q,
        axle_rotation=states.rotation,
        chassis_roll_rad=roll,
        chassis_pitch_rad=pitch,
        chassis_rotation=chassis,
        axle_centre_world_m=centre,
        lifts=_lifts(given, direction, placed.distance_m),
    )
