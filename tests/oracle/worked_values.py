"""Worked values for the cases: from two independent programs (least squares; Newton on SE(3)) that agree to every digit shown.

Track 1.6, tyre radius 0.46, wheelbase 2.54, centre of gravity 0.81 m high, shares 1, torque reacted by the housing.
"""

from __future__ import annotations

# Value and number of decimals shown: instant centre x, z (m); s; roll centre z (m); roll axis rise (rad); roll steer; anti (%).
Digits = tuple[float, int]

RIDE: dict[str, tuple[Digits, ...]] = {
    "T": ((3.9690, 4), (0.8246, 4), (-0.20777, 5), (0.6108, 4), (0.02137, 5), (0.02138, 5), (65.1514, 4)),
    "S": ((3.0171, 4), (0.7176, 4), (-0.23784, 5), (0.6559, 4), (0.10488, 5), (0.10526, 5), (74.5826, 4)),
    "W": ((3.1706, 4), (0.7338, 4), (-0.23142, 5), (0.6368, 4), (0.10488, 5), (0.10526, 5), (72.5691, 4)),
    "H": ((-3.9843, 4), (0.8194, 4), (0.20566, 5), (0.5736, 4), (-0.09281, 5), (-0.09308, 5), (64.4900, 4)),
    "P": ((-3.8803, 4), (0.8085, 4), (0.20835, 5), (0.5732, 4), (-0.07905, 5), (-0.07921, 5), (65.3337, 4)),
}

_STATES = ((0.08, 0.0), (0.0, 0.2), (-0.06, 0.3))
_ROWS: dict[str, tuple[tuple[float, ...], ...]] = {
    "T": (
        (-3.741, 0.000, 1.3289, 0.0000, 0.0000, 0.000),
        (4.260, 30.029, -1.0059, 0.0786, 0.2825, 0.000),
        (17.207, 43.475, -3.1181, 0.7177, 1.6817, 0.000),
    ),
    "S": (
        (-3.275, 0.000, 1.6855, 0.0000, 0.0000, 0.000),
        (4.471, 39.094, -1.2679, 1.0214, 1.2784, 0.000),
        (17.356, 57.290, -3.9926, 1.9805, 3.2144, 0.000),
    ),
    "W": (
        (-3.201, 0.000, 1.7566, 0.0000, 0.0000, 0.000),
        (4.048, 35.323, -1.4779, 0.9737, 1.2732, 0.000),
        (16.607, 52.615, -4.3237, 1.8611, 3.1971, 0.000),
    ),
    "H": (
        (3.662, -5.434, -1.3007, -0.0217, -0.0217, 0.000),
        (-4.603, 18.640, 0.0098, -1.1237, -1.1257, 0.000),
        (-17.895, 44.748, 1.9494, -2.3073, -2.9102, 0.000),
    ),
    "P": (
        (3.643, -5.430, -1.3194, -0.0261, -0.0261, 0.017),
        (-3.908, 18.478, 0.6220, -0.8428, -0.9689, 20.318),
        (-17.045, 44.537, 2.6221, -1.9045, -2.7152, 27.811),
    ),
}
# (heave m, roll rad) -> x mm, y mm, pitch deg, yaw deg, axle steer deg, elastic energy J.
STATES = {letter: dict(zip(_STATES, rows, strict=True)) for letter, rows in _ROWS.items()}

# Case P: roll moment (N·m) from its bushes, and decimals shown.
ROLL_MOMENTS_NM: dict[tuple[float, float], Digits] = dict(
    zip(_STATES, ((-7.80020, 5), (191.537, 3), (151.452, 3)), strict=True)
)

# Ramp angle (deg), inclination (rad), heading (deg), distance along the ramp (m) and its decimals; equal radii 0.46 m, tilted discs.
RAMP: tuple[tuple[float, float, float, float, int], ...] = (
    (20.0, 0.30, 0.0, 1.46666, 5),
    (20.0, 0.30, 3.0, 1.46735, 5),
    (20.0, 0.30, -3.0, 1.46556, 5),
    (30.0, 0.35, 0.0, 1.22522, 5),
    (20.0, 0.10, 0.0, 0.548474, 6),
)
