"""An axle of ``tests/data/layouts`` as a model of MuJoCo, a general multibody library.

The axle hangs on six joints, in the order in which its coordinates turn it: x, y, z, yaw, pitch, roll. Every link and every leg of a
wishbone is a spatial tendon between two sites, elastic where the file gives a stiffness; a Watts crank is a hinged body. Positions,
lengths, their derivatives, passive forces and energy are the library's own; only linear systems are solved here.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import mujoco
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# The six coordinates in the library's order, and where the free ones stand; cranks follow behind and are free too.
X, Y, HEAVE, YAW, PITCH, ROLL = range(6)
AXLE_FREE = [X, Y, YAW, PITCH]
# A Newton step this small (m, rad) is the last.
STEP_LIMIT = 1e-13
MAX_ITERATIONS = 60
# Walking from ride height in equal parts keeps every state on the branch of the real axle.
PARTS = 12
# Central differences of forces of 1e4 N over this (m, rad) give stiffness of 1e7 N/m to some 1e-7.
DIFFERENCE_STEP = 1e-5


@dataclass(frozen=True)
class Span:
    """One distance: a body and a point (m, floor coordinates at ride height) for each end."""

    name: str
    ends: tuple[tuple[str, Array], tuple[str, Array]]
    stiffness_n_per_m: float | None


@dataclass(frozen=True)
class Crank:
    """A Watts crank: the body that carries it, its pivot (m) and axis."""

    on: str
    pivot: Array
    axis: Array


def _metres(point_mm: list[float]) -> Array:
    return np.array(point_mm, dtype=float) / 1000


def _read(axle: dict) -> tuple[list[Span], list[Crank]]:
    spans: list[Span] = []
    for link in axle.get("link", []):
        stiffness = link["stiffness"] * 1e3 if "stiffness" in link else None
        ends = _metres(link["chassis"]), _metres(link["axle"])
        spans.append(Span(link["name"], (("chassis", ends[0]), ("axle", ends[1])), stiffness))
        if link.get("mirror"):
            left, right = (p * np.array([1, -1, 1]) for p in ends)
            spans.append(Span(link["name"].replace("left", "right"), (("chassis", left), ("axle", right)), stiffness))
    for wishbone in axle.get("wishbone", []):
        other = "chassis" if wishbone["apex_on"] == "axle" else "axle"
        for k, leg in enumerate(wishbone["legs"], 1):
            ends = ((other, _metres(leg)), (wishbone["apex_on"], _metres(wishbone["apex"])))
            spans.append(Span(f"{wishbone['name']} leg {k}", ends, None))
    cranks: list[Crank] = []
    for watts in axle.get("watts", []):
        other = "chassis" if watts["pivot_on"] == "axle" else "axle"
        for k, (tip, end) in enumerate(zip(watts["crank"], watts["ends"], strict=True), 1):
            ends = ((f"crank{len(cranks)}", _metres(tip)), (other, _metres(end)))
            spans.append(Span(f"{watts['name']} link {k}", ends, None))
        axis = np.eye(3)["xyz".index(watts["axis"])]
        cranks.append(Crank(watts["pivot_on"], _metres(watts["pivot"]), axis))
    return spans, cranks


def _numbers(values: Array) -> str:
    return " ".join(f"{v:.17g}" for v in values)


def _xml(spans: list[Span], cranks: list[Crank], centre_m: Array) -> str:
    origin = {"chassis": np.zeros(3), "axle": centre_m}
    sites: dict[str, list[str]] = {"chassis": [], "axle": []}
    for k, crank in enumerate(cranks):
        origin[f"crank{k}"], sites[f"crank{k}"] = crank.pivot, []
    tendons = []
    for i, span in enumerate(spans):
        for side, (body, point) in enumerate(span.ends):
            sites[body].append(f'<site name="s{i}{side}" pos="{_numbers(point - origin[body])}"/>')
        elastic = ""
        if span.stiffness_n_per_m is not None:
            drawn_m = float(np.linalg.norm(span.ends[1][1] - span.ends[0][1]))
            elastic = f' stiffness="{span.stiffness_n_per_m:.17g}" springlength="{drawn_m:.17g}"'
        tendons.append(f'<spatial name="t{i}"{elastic}><site site="s{i}0"/><site site="s{i}1"/></spatial>')
    mass = '<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>'
    bodies = {"chassis": "", "axle": ""}
    for k, crank in enumerate(cranks):
        place, hinge = _numbers(crank.pivot - origin[crank.on]), f'<joint name="crank{k}" axis="{_numbers(crank.axis)}"/>'
        bodies[crank.on] += f'<body name="crank{k}" pos="{place}">{hinge}{mass}{"".join(sites[f"crank{k}"])}</body>'
    slides = "".join(f'<joint type="slide" axis="{a}"/>' for a in ("1 0 0", "0 1 0", "0 0 1"))
    hinges = "".join(f'<joint axis="{a}"/>' for a in ("0 0 1", "0 1 0", "1 0 0"))
    axle = f'<body name="axle" pos="{_numbers(centre_m)}">{slides}{hinges}{mass}{"".join(sites["axle"])}{bodies["axle"]}</body>'
    return (
        '<mujoco><compiler angle="radian"/><option gravity="0 0 0"><flag energy="enable"/></option>'
        f"<worldbody>{''.join(sites['chassis'])}{axle}{bodies['chassis']}</worldbody>"
        f"<tendon>{''.join(tendons)}</tendon></mujoco>"
    )


class AxleModel:
    """The model of one file, with its state."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            vehicle = tomllib.load(file)
        axle = vehicle["axle"][0]
        self.front = axle["position"] == "front"
        self.track_m, self.radius_m = axle["track"] / 1000, axle["tyre_radius"] / 1000
        self.centre_m = np.array([0.0, 0.0, self.radius_m])
        self.spans, cranks = _read(axle)
        self.elastic = any(s.stiffness_n_per_m is not None for s in self.spans)
        self.model = mujoco.MjModel.from_xml_string(_xml(self.spans, cranks, self.centre_m))
        self.data = mujoco.MjData(self.model)
        self.free = AXLE_FREE + list(range(6, 6 + len(cranks)))
        self.drawn_m = np.array([np.linalg.norm(s.ends[1][1] - s.ends[0][1]) for s in self.spans])

    def place(self, q: Array) -> None:
        """Put the mechanism at coordinates ``q`` (m, rad) in the library's order."""
        self.data.qpos[:] = q
        mujoco.mj_forward(self.model, self.data)

    def slopes(self) -> Array:
        """Derivative of every length by every coordinate, (spans, coordinates)."""
        full = np.zeros((self.model.ntendon, self.model.nv))
        for row in range(self.model.ntendon):
            first = self.model.ten_J_rowadr[row]
            held = slice(first, first + self.model.ten_J_rownnz[row])
            full[row, self.model.ten_J_colind[held]] = self.data.ten_J[held]
        return full

    def _stiffness(self, q: Array) -> Array:
        """Derivative of what the elastic tendons resist with, (coordinates, coordinates)."""
        columns = []
        for k in range(self.model.nv):
            forces = []
            for sign in (1, -1):
                moved = q.copy()
                moved[k] += sign * DIFFERENCE_STEP
                self.place(moved)
                forces.append(self.data.qfrc_passive.copy())
            columns.append((forces[1] - forces[0]) / (2 * DIFFERENCE_STEP))
        self.place(q)
        return np.array(columns).T

    def _settle(self, q: Array) -> None:
        """Newton's method on the lengths, or on the passive forces, heave and roll held; ``q`` is moved in place."""
        stiffness = self._stiffness(q)[np.ix_(self.free, self.free)] if self.elastic else None
        for _ in range(MAX_ITERATIONS):
            self.place(q)
            if stiffness is not None:
                step = np.linalg.solve(stiffness, self.data.qfrc_passive[self.free])
            else:
                step = -np.linalg.solve(self.slopes()[:, self.free], self.data.ten_length - self.drawn_m)
            q[self.free] += step
            if np.abs(step).max() < STEP_LIMIT:
                self.place(q)
                return
        raise ValueError("the mechanism does not close")

    def solve(self, heave_m: float, roll_rad: float) -> Array:
        """Coordinates at a state, reached from ride height."""
        q = np.zeros(self.model.nq)
        for part in range(1, PARTS + 1):
            q[HEAVE], q[ROLL] = heave_m * part / PARTS, roll_rad * part / PARTS
            self._settle(q)
        return q

    def twist(self, along: int) -> tuple[Array, Array]:
        """Velocity of the axle centre and angular velocity per unit of heave or roll, where the mechanism stands."""
        rates = np.zeros(self.model.nv)
        rates[along] = 1.0
        if self.elastic:
            held = self._stiffness(self.data.qpos.copy())
        else:
            held = self.slopes()
        rows = self.free if self.elastic else slice(None)
        rates[self.free] = -np.linalg.solve(held[rows][:, self.free], held[rows][:, along])
        move, turn = np.zeros((3, self.model.nv)), np.zeros((3, self.model.nv))
        axle = self.data.body("axle")
        mujoco.mj_jac(self.model, self.data, move, turn, axle.xpos, axle.id)
        return move @ rates, turn @ rates

    def axial_forces(self, force_n: Array) -> tuple[Array, Array]:
        """Tension of every span (N) under a total force, half at each contact patch, and what is left on heave and roll.

        To first order in what elastic spans deflect under it; what the state itself strains is in the tension.
        """
        axle = self.data.body("axle")
        spin = axle.xmat.reshape(3, 3)[:, 1]
        up = np.array([0.0, 0.0, 1.0]) - spin * spin[2]
        up /= np.linalg.norm(up)
        work = np.zeros(self.model.nv)
        for side in (0.5, -0.5):
            at = axle.xpos + spin * side * self.track_m - up * self.radius_m
            mujoco.mj_applyFT(self.model, self.data, 0.5 * force_n, np.zeros(3), at, axle.id, work)
        slopes = self.slopes()
        if self.elastic:
            stiffness = self._stiffness(self.data.qpos.copy())
            moved = np.linalg.solve(stiffness[np.ix_(self.free, self.free)], work[self.free])
            k = np.array([s.stiffness_n_per_m for s in self.spans])
            tension = k * (self.data.ten_length - self.drawn_m + slopes[:, self.free] @ moved)
            left = work - stiffness[:, self.free] @ moved
        else:
            tension = np.linalg.solve(slopes[:, self.free].T, work[self.free])
            left = work - slopes.T @ tension
        return tension, left[[HEAVE, ROLL]]
