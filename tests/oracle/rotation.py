"""Rotations and poses of the oracle, in arrays of any leading shape.

Axes are those of ISO 8855 (x forward, y left, z up). Angles are in rad. ``R = Rz(yaw) Ry(pitch) Rx(roll)`` takes vectors of the
moving body into the frame it moves in.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

X_AXIS: Array = np.array([1.0, 0.0, 0.0])
Y_AXIS: Array = np.array([0.0, 1.0, 0.0])
Z_AXIS: Array = np.array([0.0, 0.0, 1.0])


def _about(axis: int, angle_rad: ArrayLike) -> Array:
    """Rotation about one coordinate axis (0 x, 1 y, 2 z); shape (..., 3, 3)."""
    angle = np.asarray(angle_rad, dtype=float)
    first, second = (axis + 1) % 3, (axis + 2) % 3
    out = np.zeros(angle.shape + (3, 3))
    out[..., axis, axis] = 1.0
    out[..., first, first] = out[..., second, second] = np.cos(angle)
    out[..., second, first] = np.sin(angle)
    out[..., first, second] = -np.sin(angle)
    return out


def about_x(angle_rad: ArrayLike) -> Array:
    """Rotation about x; shape (..., 3, 3)."""
    return _about(0, angle_rad)


def about_y(angle_rad: ArrayLike) -> Array:
    """Rotation about y; shape (..., 3, 3)."""
    return _about(1, angle_rad)


def about_z(angle_rad: ArrayLike) -> Array:
    """Rotation about z; shape (..., 3, 3)."""
    return _about(2, angle_rad)


def from_euler(roll_rad: ArrayLike, pitch_rad: ArrayLike, yaw_rad: ArrayLike) -> Array:
    """``Rz(yaw) Ry(pitch) Rx(roll)``; shape (..., 3, 3)."""
    return about_z(yaw_rad) @ about_y(pitch_rad) @ about_x(roll_rad)


def to_euler(rotation: Array) -> tuple[Array, Array, Array]:
    """Roll, pitch and yaw (rad) of rotations of shape (..., 3, 3), for |pitch| < 90 degrees."""
    roll = np.arctan2(rotation[..., 2, 1], rotation[..., 2, 2])
    pitch = np.arctan2(-rotation[..., 2, 0], np.hypot(rotation[..., 0, 0], rotation[..., 1, 0]))
    yaw = np.arctan2(rotation[..., 1, 0], rotation[..., 0, 0])
    return roll, pitch, yaw


def axial_vector(skew: Array) -> Array:
    """Vector ``w`` of the skew part of matrices (..., 3, 3), such that ``skew v = w x v``; shape (..., 3)."""
    return 0.5 * np.stack(
        [
            skew[..., 2, 1] - skew[..., 1, 2],
            skew[..., 0, 2] - skew[..., 2, 0],
            skew[..., 1, 0] - skew[..., 0, 1],
        ],
        axis=-1,
    )


def axle_steer(rotation: Array) -> Array:
    """Heading of the wheels' spin axis (rad) for rotations (..., 3, 3) of the axle in the chassis: positive to the left."""
    return np.arctan2(-rotation[..., 0, 1], rotation[..., 1, 1])
