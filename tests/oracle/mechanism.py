"""The oracle's own solver: an axle held by distances between chassis points and axle points.

Frames: floor coordinates at ride height (m), where the chassis frame and the axle frame coincide. An axle point ``p`` lies at
``R (p - c) + c + (x, y, z)``. Heave ``z`` and articulation ``roll`` are imposed; x, y, pitch and yaw follow.

Rigid layouts (four distances) are solved by Newton's method. Layouts with more distances than free coordinates minimise
``E = 1/2 sum k r^2`` by Gauss-Newton, which converges fast because the deflections are small against the links.
All states of a call are solved together, walking from ride height so that each stays on the branch of the real axle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rotation import Array, about_z, axial_vector, axle_steer, from_euler

# Walking from ride height to the target in equal parts: at most 0.03 rad of roll a part for the states used here.
CONTINUATION_PARTS = 12
# Steps are of the order of machine precision (1e-16) on lengths of 1 m when Newton has converged.
STEP_LIMIT = 1e-13
MAX_ITERATIONS = 60
# Rigid links close to a few rounding errors of 1 m.
CLOSURE_LIMIT_M = 1e-12
# Central difference of eighth order: h = 2e-3 leaves h^8 = 3e-22 of truncation and 1e-13 of rounding.
DIFFERENCE_STEP = 2e-3
DIFFERENCE_OFFSETS = np.array([-4, -3, -2, -1, 1, 2, 3, 4], dtype=float)
DIFFERENCE_WEIGHTS = np.array([1 / 280, -4 / 105, 1 / 5, -4 / 5, 4 / 5, -1 / 5, 4 / 105, -1 / 280])


class Unreachable(ValueError):
    """The links do not reach a demanded state."""


@dataclass(frozen=True)
class Strut:
    """One distance between a chassis point and an axle point (m, floor coordinates). ``stiffness_n_per_m`` None = rigid."""

    name: str
    chassis_m: tuple[float, float, float]
    axle_m: tuple[float, float, float]
    length_m: float
    stiffness_n_per_m: float | None = None


@dataclass(frozen=True)
class States:
    """Solved states, one per row: ``q`` (N, 6) = x, y, z (m), roll, pitch, yaw (rad); ``rotation`` (N, 3, 3); ``residual_m`` (N, struts)."""

    q: Array
    rotation: Array
    residual_m: Array

    @property
    def shift_m(self) -> Array:
        """Translation of the axle centre from ride height, (N, 3)."""
        return self.q[:, :3]

    @property
    def steer_rad(self) -> Array:
        """Axle steer, (N,)."""
        return axle_steer(self.rotation)


@dataclass(frozen=True)
class Twist:
    """Velocity of the axle centre (m per unit) and angular velocity (rad per unit), in the chassis frame, per unit of imposed motion."""

    velocity: Array
    angular: Array
    steer_rate: float


class Mechanism:
    """An axle, its centre ``c`` (m) at ride height and the struts that hold it."""

    def __init__(self, centre_m: ArrayLike, struts: list[Strut]) -> None:
        self.centre_m: Array = np.asarray(centre_m, dtype=float)
        self.struts = struts
        self._chassis = np.array([s.chassis_m for s in struts], dtype=float)
        self._arm = np.array([s.axle_m for s in struts], dtype=float) - self.centre_m
        self._length = np.array([s.length_m for s in struts], dtype=float)
        stiffness = [s.stiffness_n_per_m for s in struts]
        self.elastic = any(k is not None for k in stiffness)
        if self.elastic and None in stiffness:
            raise ValueError("either every strut is rigid or every strut has a stiffness")
        if not self.elastic and len(struts) != 4:
            raise ValueError("a rigid layout needs exactly four distances")
        self._stiffness = np.array([k or 1.0 for k in stiffness])

    def _closure(self, q: Array) -> tuple[Array, Array, Array]:
        """Residuals (N, S) in m, their derivatives by all six coordinates (N, S, 6), and R (N, 3, 3)."""
        rotation = from_euler(q[:, 3], q[:, 4], q[:, 5])
        arm = np.einsum("nij,sj->nsi", rotation, self._arm)
        span = arm + self.centre_m + q[:, None, :3] - self._chassis
        length = np.linalg.norm(span, axis=2)
        unit = span / length[..., None]
        roll_axis = rotation[:, :, 0]
        pitch_axis = about_z(q[:, 5])[:, :, 1]
        moment = np.cross(arm, unit)
        jacobian = np.empty(unit.shape[:2] + (6,))
        jacobian[..., :3] = unit
        jacobian[..., 3] = np.einsum("nsi,ni->ns", moment, roll_axis)
        jacobian[..., 4] = np.einsum("nsi,ni->ns", moment, pitch_axis)
        jacobian[..., 5] = moment[..., 2]
        return length - self._length, jacobian, rotation

    def _settle(self, q: Array) -> None:
        """Move the free coordinates of ``q`` (N, 6) in place to closure or least energy at its heave and roll."""
        free = [0, 1, 4, 5]
        for _ in range(MAX_ITERATIONS):
            residual, jacobian, _ = self._closure(q)
            j_free = jacobian[:, :, free]
            if self.elastic:
                weighted = j_free * (self._stiffness / self._stiffness.max())[None, :, None]
                normal = np.einsum("nsa,nsb->nab", weighted, j_free)
                gradient = np.einsum("nsa,ns->na", weighted, residual)
                step = np.linalg.solve(normal, gradient[..., None])[..., 0]
            else:
                step = np.linalg.solve(j_free, residual[..., None])[..., 0]
            q[:, free] -= step
            if np.abs(step).max() < STEP_LIMIT:
                return
        raise Unreachable("the links do not reach every demanded state")

    def solve(self, heave_m: ArrayLike, roll_rad: ArrayLike) -> States:
        """States at the given heaves (m) and articulations (rad), arrays of one common shape (N,) or scalars."""
        heave, roll = np.broadcast_arrays(np.atleast_1d(heave_m), np.atleast_1d(roll_rad))
        q = np.zeros((heave.size, 6))
        for part in range(CONTINUATION_PARTS + 1):
            q[:, 2] = heave * part / CONTINUATION_PARTS
            q[:, 3] = roll * part / CONTINUATION_PARTS
            self._settle(q)
        residual, _, rotation = self._closure(q)
        if not self.elastic and np.abs(residual).max() > CLOSURE_LIMIT_M:
            raise Unreachable("the links do not close at every demanded state")
        return States(q, rotation, residual)

    def energy_j(self, states: States) -> Array:
        """Elastic energy of each state (J), zero for a rigid layout; shape (N,)."""
        if not self.elastic:
            return np.zeros(len(states.q))
        return 0.5 * (self._stiffness * states.residual_m**2).sum(axis=1)

    def roll_moment_nm(self, states: States) -> Array:
        """dE/droll (N·m) at constant heave: by the envelope theorem only the explicit derivative by roll counts; shape (N,)."""
        if not self.elastic:
            return np.zeros(len(states.q))
        residual, jacobian, _ = self._closure(states.q)
        return (self._stiffness * residual * jacobian[..., 3]).sum(axis=1)

    def twist(self, heave_m: float, roll_rad: float, along: str) -> Twist:
        """Heave twist (``along="heave"``, per m) or roll twist (``along="roll"``, per rad), by differences of solved states."""
        offset = DIFFERENCE_OFFSETS * DIFFERENCE_STEP
        is_heave = along == "heave"
        around = self.solve(heave_m + offset * is_heave, roll_rad + offset * (not is_heave))
        here = self.solve(heave_m, roll_rad)
        weights = DIFFERENCE_WEIGHTS / DIFFERENCE_STEP
        rotation_rate = np.einsum("n,nij->ij", weights, around.rotation)
        return Twist(
            velocity=weights @ around.shift_m,
            angular=axial_vector(rotation_rate @ here.rotation[0].T),
            steer_rate=float(weights @ around.steer_rad),
        )

    def ride_shift(self) -> Array:
        """``q`` (6,) at heave 0 and roll 0: zero unless lengths disagree with the points."""
        return self.solve(0.0, 0.0).q[0]

    def redrawn_at_ride(self) -> Mechanism:
        """The same mechanism in the floor coordinates that a builder measures on the built vehicle at its own ride pose.

        Axle points are carried to where they sit at heave 0 and roll 0, and x counts from the wheel centreline as it then is.
        """
        q0 = self.ride_shift()
        rotation = from_euler(q0[3], q0[4], q0[5])
        back = np.array([q0[0], 0.0, 0.0])
        carried = self._arm @ rotation.T + self.centre_m + q0[:3] - back
        struts = [
            Strut(s.name, _triple(a - back), _triple(b), s.length_m, s.stiffness_n_per_m)
            for s, a, b in zip(self.struts, self._chassis, carried)
        ]
        return Mechanism(self.centre_m, struts)


def _triple(point: Array) -> tuple[float, float, float]:
    return (float(point[0]), float(point[1]), float(point[2]))
