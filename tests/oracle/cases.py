"""Layouts that the oracle drives, how they are drawn in vehicle.toml, and how a built vehicle may differ from its drawing.

Points are floor coordinates in mm (x forward, y left, z up), as in the file. The layouts are made-up vehicles of our own.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field

from characteristic import AxleData
from mechanism import Mechanism, Strut

Point = tuple[float, float, float]

TRACK_MM = 1600.0
TYRE_RADIUS_MM = 460.0
WHEELBASE_MM = 2540.0
CG_HEIGHT_MM = 810.0
# Holes of a bracket sit this far apart, one above the other; the drawn point is the middle one.
HOLE_PITCH_MM = 20.0
DRAWN_HOLE = 2


@dataclass
class Element:
    """A link (points ``chassis``, ``axle``) or a wishbone with its apex on the axle (points ``apex``, ``leg 1``, ``leg 2``)."""

    name: str
    kind: str
    points: dict[str, Point]
    mirror: bool = False
    stiffness_n_per_mm: float | None = None

    def mirrored(self) -> Element:
        """The other side's element: y negated, left and right swapped in the name."""
        points = {key: (x, -y, z) for key, (x, y, z) in self.points.items()}
        return Element(self.name.replace("left", "right"), self.kind, points, False, self.stiffness_n_per_mm)

    def spans(self) -> list[tuple[str, str, str]]:
        """(strut name, chassis point, axle point) of each distance that this element holds."""
        if self.kind == "link":
            return [(self.name, "chassis", "axle")]
        return [(f"{self.name} leg 1", "leg 1", "apex"), (f"{self.name} leg 2", "leg 2", "apex")]


@dataclass(frozen=True)
class Case:
    """One axle: its elements as drawn, before mirroring."""

    letter: str
    position: str
    elements: list[Element]

    @property
    def axle_data(self) -> AxleData:
        """Data for the anti numbers, in SI."""
        return AxleData(
            position=self.position,
            wheelbase_m=WHEELBASE_MM / 1000,
            cg_height_m=CG_HEIGHT_MM / 1000,
            tyre_radius_m=TYRE_RADIUS_MM / 1000,
            track_m=TRACK_MM / 1000,
            drive_share=1.0,
            brake_share=0.3 if self.position == "rear" else 0.7,
        )

    def both_sides(self) -> list[Element]:
        """Every element of the axle, mirrored ones included; a copy that may be changed."""
        out: list[Element] = []
        for element in self.elements:
            out.append(copy.deepcopy(element))
            if element.mirror:
                out.append(element.mirrored())
        return out


def _link(name: str, chassis: Point, axle: Point, mirror: bool = True, stiffness: float | None = None) -> Element:
    return Element(name, "link", {"chassis": chassis, "axle": axle}, mirror, stiffness)


def _cases() -> dict[str, Case]:
    s_lower = _link("lower left", (950, 450, 500), (0, 450, 400))
    double = [_link("lower left", (950, 360, 500), (20, 580, 400)), _link("upper left", (800, 450, 660), (30, 120, 620))]
    single = [s_lower, _link("upper left", (800, 420, 660), (30, 100, 640))]
    legs: dict[str, Point] = {"apex": (30, 0, 640), "leg 1": (700, 400, 660), "leg 2": (700, -400, 660)}
    wishbone = [s_lower, Element("upper wishbone", "wishbone", legs)]
    ends: list[tuple[str, Point, Point]] = [
        ("lower left", (-950, 420, 500), (0, 450, 400)),
        ("upper left", (-800, 300, 660), (30, 330, 620)),
        ("panhard", (50, 450, 620), (80, -420, 520)),
    ]
    three_link = [_link(name, a, b, name == "lower left") for name, a, b in ends]
    parallel = [_link(name, a, b, name != "panhard", 5000.0) for name, a, b in ends]
    return {
        "T": Case("T", "rear", double),
        "S": Case("S", "rear", single),
        "W": Case("W", "rear", wishbone),
        "H": Case("H", "front", three_link),
        "P": Case("P", "front", parallel),
    }


CASES = _cases()


@dataclass
class BuildFaults:
    """How the built axle differs from the drawn one.

    ``hardpoint_mm``: (element, point, axis 0..2) -> offset; ``hole``: (element, point) -> hole in use; ``link_length_mm``: strut -> change
    of its length. With ``keep_lengths`` the links keep their drawn lengths when points move, else they are re-made to the drawn ride pose.
    """

    hardpoint_mm: dict[tuple[str, str, int], float] = field(default_factory=dict)
    hole: dict[tuple[str, str], int] = field(default_factory=dict)
    link_length_mm: dict[str, float] = field(default_factory=dict)
    keep_lengths: bool = False


def parse_build_faults(hardpoints: list[str], holes: list[str], lengths: list[str], keep_lengths: bool) -> BuildFaults:
    """Read ``"upper left.chassis.z=-20"``, ``"upper left.chassis=3"`` and ``"upper left=+5"`` (mm; holes counted from 1)."""
    faults = BuildFaults(keep_lengths=keep_lengths)
    for text in hardpoints:
        where, value = text.split("=")
        element, point, axis = where.rsplit(".", 2)
        faults.hardpoint_mm[element, point, "xyz".index(axis)] = float(value)
    for text in holes:
        where, value = text.split("=")
        element, point = where.rsplit(".", 1)
        faults.hole[element, point] = int(value)
    for text in lengths:
        strut, value = text.split("=")
        faults.link_length_mm[strut] = float(value)
    return faults


def bracket(point: Point) -> list[Point]:
    """The three holes of a bracket whose middle hole is the drawn point."""
    x, y, z = point
    return [(x, y, z + HOLE_PITCH_MM * step) for step in (-1, 0, 1)]


def _offset(point: Point, axis: int, by: float) -> Point:
    moved = list(point)
    moved[axis] += by
    return (moved[0], moved[1], moved[2])


def _is_bracket(element: Element, point: str) -> bool:
    """Whether this point is the kind that is drawn as holes on demand."""
    return element.kind == "link" and element.name.startswith("upper") and point == "chassis"


def _named(elements: list[Element], name: str, point: str) -> Element:
    """The element of that name, which must have that point."""
    for element in elements:
        if element.name == name and point in element.points:
            return element
    known = [f"{element.name}.{key}" for element in elements for key in element.points]
    raise ValueError(f"no such point: {name}.{point}; there are {known}")


def built_mechanism(case: Case, faults: BuildFaults) -> Mechanism:
    """The mechanism of the built axle in the drawing's coordinates; with no faults, the drawn one."""
    drawn = case.both_sides()
    built = copy.deepcopy(drawn)
    for (name, point), hole in faults.hole.items():
        element = _named(built, name, point)
        if not _is_bracket(element, point) or hole not in (1, 2, 3):
            raise ValueError(f"{name}.{point} has no hole {hole}: only an upper link's chassis end has holes 1 to 3")
        element.points[point] = bracket(element.points[point])[hole - 1]
    for (name, point, axis), by in faults.hardpoint_mm.items():
        element = _named(built, name, point)
        element.points[point] = _offset(element.points[point], axis, by)
    struts: list[Strut] = []
    for before, after in zip(drawn, built):
        length_source = before if faults.keep_lengths else after
        for strut_name, chassis, axle in after.spans():
            length = math.dist(length_source.points[chassis], length_source.points[axle])
            length += faults.link_length_mm.get(strut_name, 0.0)
            k = after.stiffness_n_per_mm
            struts.append(
                Strut(
                    strut_name,
                    _metres(after.points[chassis]),
                    _metres(after.points[axle]),
                    length / 1000,
                    None if k is None else k * 1000,
                )
            )
    unknown = set(faults.link_length_mm) - {s.name for s in struts}
    if unknown:
        raise ValueError(f"no such link: {sorted(unknown)}; there are {[s.name for s in struts]}")
    return Mechanism((0.0, 0.0, TYRE_RADIUS_MM / 1000), struts)


def _metres(point: Point) -> Point:
    x, y, z = point
    return (x / 1000, y / 1000, z / 1000)


def _toml_point(point: Point) -> str:
    return "[" + ", ".join(f"{value:g}" for value in point) + "]"


def _toml_end(element: Element, point: str, holes: bool) -> str:
    if not holes:
        return f"{point} = {_toml_point(element.points[point])}"
    choices = ", ".join(_toml_point(hole) for hole in bracket(element.points[point]))
    return f"{point} = {{ holes = [{choices}], use = {DRAWN_HOLE} }}"


def vehicle_toml(case: Case, brackets: bool) -> str:
    """The drawn vehicle. With ``brackets`` each upper link's chassis end is drawn as three holes, the middle one in use."""
    data = case.axle_data
    lines = [
        "format = 1",
        'name = "Bramble"',
        'units = { length = "mm", angle = "deg" }',
        "",
        "[vehicle]",
        f"wheelbase = {WHEELBASE_MM:g}",
        f"cg_height = {CG_HEIGHT_MM:g}",
        "mass = 1900",
        "tolerance = 3.0",
        "",
        "[[axle]]",
        f'name = "{case.position}"',
        f'position = "{case.position}"',
        f"track = {TRACK_MM:g}",
        f"tyre_radius = {TYRE_RADIUS_MM:g}",
        f"drive_share = {data.drive_share:g}",
        f"brake_share = {data.brake_share:g}",
        'torque_on = { drive = "housing", brake = "housing" }',
        "sweep = { up = 90, down = 130, roll = 18 }",
    ]
    for element in case.elements:
        lines += ["", f"[[axle.{element.kind}]]", f'name = "{element.name}"']
        if element.kind == "link":
            holes = brackets and _is_bracket(element, "chassis")
            lines += [_toml_end(element, "chassis", holes), _toml_end(element, "axle", False)]
        else:
            legs = ", ".join(_toml_point(element.points[leg]) for leg in ("leg 1", "leg 2"))
            lines += ['apex_on = "axle"', _toml_end(element, "apex", False), f"legs = [{legs}]"]
        if element.stiffness_n_per_mm is not None:
            lines.append(f"stiffness = {element.stiffness_n_per_mm:g}")
        if element.mirror:
            lines.append("mirror = true")
    return "\n".join(lines) + "\n"
