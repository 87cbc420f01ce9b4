//! The layouts that the guide compares, as vehicle files in metres: one place for their points.

use hingeline::design::{Mechanism, State};
use hingeline::vehicle::Vehicle;
use std::fmt::Write as _;

/// A point, m.
pub type P = [f64; 3];

/// The vehicle that carries every layout of the guide.
const HEAD: &str = "format = 1\nname = \"NAME\"\n\n[vehicle]\nwheelbase = 2540\ncg_height = 810\n\n[[axle]]\nname = \"END\"\n\
    position = \"END\"\ntrack = 1600\ntyre_radius = 460\ndrive_share = 1.0\nbrake_share = 0.3\n\
    sweep = { up = 100, down = 130, roll = 20 }\n";

/// A vehicle file that grows element by element.
pub struct Layout(String);

fn point(p: P) -> String {
    let [x, y, z] = p.map(|m| 1e3 * m);
    format!("[{x}, {y}, {z}]")
}

impl Layout {
    /// A rear axle that nothing holds.
    pub fn rear(name: &str) -> Self {
        Self(HEAD.replace("NAME", name).replace("END", "rear"))
    }

    /// A front axle that nothing holds.
    pub fn front(name: &str) -> Self {
        Self(HEAD.replace("NAME", name).replace("END", "front"))
    }

    /// A link, with more keys where it has some.
    pub fn link(mut self, name: &str, chassis: P, axle: P, keys: &str) -> Self {
        let (chassis, axle) = (point(chassis), point(axle));
        let _ = writeln!(
            self.0,
            "\n[[axle.link]]\nname = \"{name}\"\nchassis = {chassis}\naxle = {axle}\n{keys}"
        );
        self
    }

    /// A link on the left and its mirror image.
    pub fn pair(self, name: &str, chassis: P, axle: P, keys: &str) -> Self {
        self.link(&format!("{name} left"), chassis, axle, &format!("mirror = true\n{keys}"))
    }

    /// A wishbone with its apex on the axle.
    pub fn wishbone(mut self, apex: P, leg: P) -> Self {
        let other = [leg[0], -leg[1], leg[2]];
        let (apex, legs) = (point(apex), format!("[{}, {}]", point(leg), point(other)));
        let _ = writeln!(
            self.0,
            "\n[[axle.wishbone]]\nname = \"upper wishbone\"\napex_on = \"axle\"\napex = {apex}\nlegs = {legs}"
        );
        self
    }

    /// A Watts linkage on the axle, its links as long as `reach_m` less nothing: from the crank's ends out to both sides.
    pub fn watts(mut self, pivot: P, half_crank_m: f64, reach_m: f64) -> Self {
        let [x, _, z] = pivot;
        let at = |y: f64, dz: f64| point([x, y, z + dz]);
        let _ = writeln!(
            self.0,
            "\n[[axle.watts]]\nname = \"watts\"\npivot_on = \"axle\"\npivot = {}\ncrank = [{}, {}]\nends = [{}, {}]",
            point(pivot),
            at(0.0, half_crank_m),
            at(0.0, -half_crank_m),
            at(reach_m, half_crank_m),
            at(-reach_m, -half_crank_m),
        );
        self
    }

    /// A radius arm on the left and its mirror image, on rubber bushes with bolts across.
    pub fn radius_arms(mut self, chassis: P, axle: [P; 2]) -> Self {
        let (chassis, axle) = (point(chassis), axle.map(point));
        let _ = writeln!(
            self.0,
            "\n[[axle.radius_arm]]\nname = \"arm left\"\nchassis = {chassis}\naxle = [{}, {}]\nbolt = \"y\"\n\
             bush = {{ chassis = \"rubber\", axle = \"rubber\" }}\nmirror = true",
            axle[0], axle[1]
        );
        self
    }

    /// The file.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// What the file draws.
    pub fn vehicle(&self) -> Vehicle {
        hingeline::vehicle::file::parse(&self.0, "layout.toml").unwrap_or_else(|e| panic!("{}\n{e}", self.0))
    }

    /// Its one axle, ready to be moved.
    pub fn axle(&self) -> Mechanism {
        Mechanism::new(&self.vehicle(), 0).expect("the guide's layouts are located")
    }

    /// A state of its axle.
    pub fn at(&self, heave_m: f64, roll_rad: f64) -> State {
        self.axle().solve(heave_m, roll_rad).expect("the guide asks for states within reach")
    }

    /// Flex steer at an articulation with the left wheel up, rad.
    pub fn flex_steer_rad(&self, roll_rad: f64) -> f64 {
        self.at(0.0, roll_rad).pose.axle_steer_rad()
    }
}

/// The sizes of a single-triangulated four-link, and of the wishbone three-link that is set beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sizes {
    /// Lower link, left, m.
    pub lower: [P; 2],
    /// Upper link, left, m.
    pub upper: [P; 2],
}

/// The four-link of the comparison.
pub const SIZES: Sizes =
    Sizes { lower: [[0.95, 0.45, 0.50], [0.0, 0.45, 0.40]], upper: [[0.80, 0.42, 0.66], [0.03, 0.10, 0.64]] };

impl Sizes {
    /// The single-triangulated four-link.
    pub fn four_link(&self) -> Layout {
        let [from, to] = self.upper;
        self.lowers("single-triangulated four-link").pair("upper", from, to, "")
    }

    /// The wishbone of the same size: the same chassis joints, its apex where the uppers' axle joints are, in the middle.
    pub fn wishbone(&self) -> Layout {
        let [from, [x, _, z]] = self.upper;
        self.lowers("wishbone three-link").wishbone([x, 0.0, z], from)
    }

    /// The wishbone whose apex stands where the four-link's uppers would cross if they were drawn on.
    pub fn matched_wishbone(&self) -> Layout {
        let [from, _] = self.upper;
        self.lowers("matched wishbone").wishbone(self.crossing(), from)
    }

    /// Where the uppers' lines meet in the centre plane, m.
    pub fn crossing(&self) -> P {
        let [a, b] = self.upper;
        let share = a[1] / (a[1] - b[1]);
        [0, 1, 2].map(|k| a[k] + share * (b[k] - a[k]))
    }

    fn lowers(&self, name: &str) -> Layout {
        let [from, to] = self.lower;
        Layout::rear(name).pair("lower", from, to, "")
    }
}
