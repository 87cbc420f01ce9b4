"""What holds an axle of ``tests/data/layouts``, written as residuals for a general solver; no line is shared with the program.

Unknowns: x, y, pitch, yaw of the axle, then the angle of each Watts crank, then six coordinates (three along, a rotation vector) of
each radius arm. Rigid distances give metres; elastic ones and bushes the root of what they store, so that half the sum of squares is
energy. A bush's shift and the rotation vector of ``R1^T R2`` are resolved in the axes of the body that carries its bolt.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Move = Callable[[Array], Array]
MIRROR = np.array([1.0, -1.0, 1.0])


def turned(roll: float, pitch: float, yaw: float) -> Array:
    """``Rz(yaw) Ry(pitch) Rx(roll)``."""
    (sr, cr), (sp, cp), (sy, cy) = ((math.sin(a), math.cos(a)) for a in (roll, pitch, yaw))
    return np.array(
        [
            [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
            [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
            [-sp, cp * sr, cp * cr],
        ]
    )


def about(vector: Array) -> Array:
    """Rotation matrix of a rotation vector (Rodrigues)."""
    angle = math.sqrt(vector @ vector)
    x, y, z = vector
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    if angle < 1e-8:
        return np.eye(3) + cross
    return np.eye(3) + math.sin(angle) / angle * cross + (1 - math.cos(angle)) / angle**2 * (cross @ cross)


def rotation_vector(matrix: Array) -> Array:
    """Rotation vector of a matrix, for less than half a turn."""
    axial = 0.5 * np.array([matrix[2, 1] - matrix[1, 2], matrix[0, 2] - matrix[2, 0], matrix[1, 0] - matrix[0, 1]])
    sine = math.sqrt(axial @ axial)
    angle = math.atan2(sine, 0.5 * (np.trace(matrix) - 1))
    return axial * (angle / sine if sine > 1e-12 else 1.0)


class Equations:
    """The residuals of one file's axle."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            self.axle = tomllib.load(file)["axle"][0]
        self.centre = np.array([0.0, 0.0, self.axle["tyre_radius"] / 1000])
        self.cranks = self.axle.get("watts", [])
        self.arms = [sided for arm in self.axle.get("radius_arm", []) for sided in self._both_sides(arm)]
        self.unknowns = 4 + len(self.cranks) + 6 * len(self.arms)
        self.fixed: list[tuple[Array, Array, float]] = []
        for link in self.axle.get("link", []):
            root = math.sqrt(link["stiffness"] * 1e3) if "stiffness" in link else 1.0
            ends = self._point(link["chassis"]), self._point(link["axle"])
            self.fixed.append((*ends, root))
            if link.get("mirror"):
                self.fixed.append((ends[0] * MIRROR, ends[1] * MIRROR, root))
        for wishbone in self.axle.get("wishbone", []):
            self.fixed += [(self._point(leg), self._point(wishbone["apex"]), 1.0) for leg in wishbone["legs"]]
        self.chassis, self.on_axle = (np.array([pair[k] for pair in self.fixed]) for k in (0, 1))
        self.roots = np.array([pair[2] for pair in self.fixed])
        self.lengths = np.linalg.norm(self.on_axle - self.chassis, axis=1)

    @staticmethod
    def _point(point_mm: list[float]) -> Array:
        return np.array(point_mm, dtype=float) / 1000

    def _both_sides(self, arm: dict) -> list[tuple[list[tuple[str, Array]], dict]]:
        joints = [("chassis", self._point(arm["chassis"])), *(("axle", self._point(p)) for p in arm["axle"])]
        sides = [joints, [(body, p * MIRROR) for body, p in joints]] if arm.get("mirror") else [joints]
        return [(side, arm["bush"]) for side in sides]

    def residuals(self, unknowns: Array, heave_m: float, roll_rad: float) -> Array:
        """Residuals at the unknowns, heave and roll imposed."""
        x, y, pitch, yaw = unknowns[:4]
        rotation, shift = turned(roll_rad, pitch, yaw), np.array([x, y, heave_m])
        axle = (self.on_axle - self.centre) @ rotation.T + self.centre + shift
        out = [self.roots * (np.sqrt(((axle - self.chassis) ** 2).sum(axis=1)) - self.lengths)]
        for watts, angle in zip(self.cranks, unknowns[4:], strict=False):
            out.append(self._watts(watts, angle, rotation, shift))
        for k, (joints, bush) in enumerate(self.arms):
            at = 4 + len(self.cranks) + 6 * k
            out += self._arm(joints, bush, unknowns[at : at + 6], rotation, shift)
        return np.concatenate(out)

    def _watts(self, watts: dict, angle: float, rotation: Array, shift: Array) -> Array:
        """A crank on the axle that turns about x."""
        pivot = self._point(watts["pivot"])
        tips, ends = np.array(watts["crank"]) / 1000, np.array(watts["ends"]) / 1000
        drawn = np.linalg.norm(tips - ends, axis=1)
        swung = (tips - pivot) @ about(np.array([angle, 0.0, 0.0])).T + pivot
        return np.linalg.norm((swung - self.centre) @ rotation.T + self.centre + shift - ends, axis=1) - drawn

    def _arm(self, joints: list[tuple[str, Array]], bush: dict, six: Array, rotation: Array, shift: Array) -> list[Array]:
        """A radius arm with bolts along y; its reference point is its chassis joint."""
        own, foot = about(six[3:]), joints[0][1]
        out = []
        for body, joint in joints:
            stiff = bush[body]
            across, along = stiff["radial"] * 1e3, stiff["axial"] * 1e3
            cone, torsion = math.degrees(stiff["conical"]), math.degrees(stiff["torsional"])
            here = own @ (joint - foot) + foot + six[:3]
            if body == "chassis":
                moved, turn = here - joint, own
            else:
                moved = rotation.T @ (here - self.centre - shift) - (joint - self.centre)
                turn = rotation.T @ own
            out.append(np.sqrt([across, along, across]) * moved)
            out.append(np.sqrt([cone, torsion, cone]) * rotation_vector(turn))
        return out
