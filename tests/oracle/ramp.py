"""Where an axle stands with one wheel on a ramp and the other on the flat.

Level frame (m): z up, x forward up the ramp, origin at the ramp's toe; the ramp rises by ``alpha`` (rad) about y. Wheels are thin
discs at right angles to the axle. ``u`` (..., 3) is the unit vector from the wheel on the flat to the climbing wheel.

Derivation: a disc of normal ``u`` rests on a plane of normal ``m`` with its centre ``r sqrt(1 - (m.u)^2)`` above it, because its lowest
point lies along the part of ``-m`` that is in the disc. On the flat m = z; on the ramp m = n = (-sin a, 0, cos a). The climbing
wheel's centre is ``track u`` from the other's, which gives its height; its distance from the ramp then gives its x.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rotation import Array


@dataclass(frozen=True)
class Stand:
    """Climbing wheel's centre x and z (m), and distance ``d`` (m) from the toe along the ramp to its contact; each of u's leading shape."""

    x_m: Array
    z_m: Array
    distance_m: Array


def stand(
    u: Array,
    alpha_rad: float,
    track_m: float,
    radius_climbing_m: float,
    radius_flat_m: float,
    mate_lift_m: ArrayLike = 0.0,
) -> Stand:
    """Place the axle of direction ``u`` on ramp and flat; ``mate_lift_m`` is how far the other tyre is off the flat."""
    sin_a, cos_a = np.sin(alpha_rad), np.cos(alpha_rad)
    normal = np.array([-sin_a, 0.0, cos_a])
    up_ramp = np.array([cos_a, 0.0, sin_a])
    z_m = mate_lift_m + radius_flat_m * np.sqrt(1.0 - u[..., 2] ** 2) + track_m * u[..., 2]
    tilt = u @ normal
    in_disc = np.sqrt(1.0 - tilt**2)
    x_m = (cos_a * z_m - radius_climbing_m * in_disc) / sin_a
    # Contact = centre - r (n - (n.u) u)/|...|; along the ramp n drops out.
    distance = x_m * cos_a + z_m * sin_a + radius_climbing_m * tilt * (u @ up_ramp) / in_disc
    return Stand(x_m, z_m, distance)


def ramp_travel_index(distance_m: float, wheelbase_m: float) -> float:
    """1000 d / wheelbase (common practice, no source)."""
    return 1000.0 * distance_m / wheelbase_m
