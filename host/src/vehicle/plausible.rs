//! Values that a vehicle file may hold and that no vehicle with a straight axle has: each is told, with where it stands and how to
//! mend it. None is an error: a builder may know better.

use super::{Axle, Vehicle, magnitude};

/// What a value is shown in: how much of it is one SI unit, in metric files and in inch files.
struct Shown {
    metric: (f64, &'static str),
    inch: (f64, &'static str),
}

const LENGTH: Shown = Shown { metric: (1e3, "mm"), inch: (1.0 / 0.0254, "in") };
const MASS: Shown = Shown { metric: (1.0, "kg"), inch: (1.0 / 0.453_592_37, "lb") };
const STIFFNESS: Shown = Shown { metric: (1e-3, "N/mm"), inch: (0.0254 / 4.448_222, "lbf/in") };
const STRESS: Shown = Shown { metric: (1e-6, "MPa"), inch: (1.0 / 6.894_757e6, "ksi") };
const ANGLE: Shown = Shown { metric: (180.0 / std::f64::consts::PI, "°"), inch: (0.0, "") };

/// Between what a value lies, and why; SI. Common practice, no source, where none is named.
struct Usual {
    least: f64,
    most: f64,
    shown: Shown,
    why: &'static str,
}

const TOLERANCE: Usual = Usual {
    least: 0.0,
    most: 0.03,
    shown: LENGTH,
    why: "it says how well each point was measured, which a tape with a plumb bob does within a few millimetres",
};
/// From a light trail buggy to what two axles may carry on the road (18 t: Directive 96/53/EC, annex I; from memory).
const VEHICLE_MASS: Usual =
    Usual { least: 250.0, most: 18_000.0, shown: MASS, why: "vehicles on two axles weigh 250 kg to 18 t" };
const WHEELBASE: Usual =
    Usual { least: 1.0, most: 7.5, shown: LENGTH, why: "wheelbases are 1 m to 7.5 m long" };
const CG_HEIGHT: Usual = Usual {
    least: 0.2,
    most: 2.5,
    shown: LENGTH,
    why: "centres of gravity lie 0.2 m to 2.5 m above the floor",
};
/// The widest vehicle on the road has 2.6 m (the same directive; from memory).
const TRACK: Usual =
    Usual { least: 0.6, most: 2.6, shown: LENGTH, why: "wheel centres are 0.6 m to 2.6 m apart" };
const TYRE_RADIUS: Usual =
    Usual { least: 0.15, most: 1.0, shown: LENGTH, why: "wheel centres stand 0.15 m to 1 m above the floor" };
const TYRE_WIDTH: Usual =
    Usual { least: 0.08, most: 0.8, shown: LENGTH, why: "tyres are 80 mm to 800 mm wide" };
const AXLE_TUBE: Usual =
    Usual { least: 0.03, most: 0.3, shown: LENGTH, why: "axle tubes are 30 mm to 300 mm thick" };
const UNSPRUNG: Usual =
    Usual { least: 20.0, most: 2000.0, shown: MASS, why: "an axle with its wheels weighs 20 kg to 2 t" };
const SWEEP: Usual =
    Usual { least: 0.005, most: 0.6, shown: LENGTH, why: "axles travel 5 mm to 600 mm from ride height" };
const SWEEP_ROLL: Usual =
    Usual { least: 0.008, most: 0.8, shown: ANGLE, why: "axles articulate by half a degree to 45°" };
const POINTING: Usual =
    Usual { least: -0.53, most: 0.53, shown: ANGLE, why: "pinions and kingpins lean by 30° at most" };
const SPRING_RATE: Usual =
    Usual { least: 1e3, most: 2e6, shown: STIFFNESS, why: "springs of vehicles have 1 N/mm to 2000 N/mm" };
const LINK_STIFFNESS: Usual = Usual {
    least: 1e5,
    most: f64::INFINITY,
    shown: STIFFNESS,
    why: "a link on the softest bushes still has more than 100 N/mm",
};
const TUBE: Usual =
    Usual { least: 0.01, most: 0.2, shown: LENGTH, why: "tubes of links are 10 mm to 200 mm thick" };
const PLAY: Usual =
    Usual { least: 0.0, most: 0.02, shown: LENGTH, why: "a joint with 20 mm of play has come apart" };
const YIELD: Usual =
    Usual { least: 100e6, most: 2500e6, shown: STRESS, why: "metals of links yield at 100 MPa to 2500 MPa" };
const MODULUS: Usual = Usual {
    least: 10e9,
    most: 300e9,
    shown: STRESS,
    why: "Young's modulus of steel is 205000 MPa, of aluminium 70000 MPa",
};

/// A value with its key and whose it is.
struct Value {
    key: &'static str,
    of: String,
    si: f64,
    usual: Usual,
}

impl Value {
    fn usual(&self) -> bool {
        (self.usual.least..=self.usual.most).contains(&self.si)
    }
}

/// So many sizes of a vehicle beyond all vehicles are not slips of the hand: the file's unit is another.
const UNIT_IS_WRONG: usize = 3;

/// One sentence for each value of a vehicle that no vehicle has.
pub fn of_vehicle(vehicle: &Vehicle) -> Vec<String> {
    vehicle.axles.iter().flat_map(|axle| remarks(vehicle, axle)).collect()
}

/// One sentence for each value of an axle that no vehicle has; those of the whole vehicle are told with its first axle.
pub fn remarks(vehicle: &Vehicle, axle: &Axle) -> Vec<String> {
    let first = vehicle.axles.first().is_some_and(|first| first.name == axle.name);
    let frame: Vec<Value> = frame(vehicle, axle).into_iter().filter(|value| !value.usual()).collect();
    if frame.len() >= UNIT_IS_WRONG {
        let text = format!(
            "The sizes of \"{}\" are those of no vehicle ({}): check `units` at the head of the file.",
            vehicle.name,
            frame.iter().map(|v| format!("`{}` {}", v.key, said(v))).collect::<Vec<_>>().join(", ")
        );
        return vec![text];
    }
    let told = |value: &&Value| first || value.of != VEHICLE;
    let mut values: Vec<Value> = if first { whole(vehicle) } else { Vec::new() };
    values.extend(of_axle(axle));
    values.retain(|value| !value.usual());
    let mut remarks: Vec<String> = frame.iter().filter(told).map(|value| remark(value, &[])).collect();
    remarks.extend(once(&values));
    // Points are judged by the size of the vehicle, which must make sense first.
    if frame.is_empty() {
        remarks.extend(magnitude::remarks(vehicle, axle));
    }
    remarks
}

const VEHICLE: &str = "[vehicle]";

/// The sizes by which everything else is judged.
fn frame(vehicle: &Vehicle, axle: &Axle) -> Vec<Value> {
    let of_axle = || format!("axle \"{}\"", axle.name);
    let value = |key, of, si, usual| Value { key, of, si, usual };
    vec![
        value("wheelbase", VEHICLE.to_owned(), vehicle.wheelbase_m, WHEELBASE),
        value("cg_height", VEHICLE.to_owned(), vehicle.cg_height_m, CG_HEIGHT),
        value("track", of_axle(), axle.track_m, TRACK),
        value("tyre_radius", of_axle(), axle.tyre_radius_m, TYRE_RADIUS),
    ]
}

fn whole(vehicle: &Vehicle) -> Vec<Value> {
    let value = |key, si, usual| Value { key, of: VEHICLE.to_owned(), si, usual };
    let tolerance = value("tolerance", vehicle.tolerance_m, TOLERANCE);
    vehicle.mass_kg.map(|kg| value("mass", kg, VEHICLE_MASS)).into_iter().chain([tolerance]).collect()
}

fn of_axle(axle: &Axle) -> Vec<Value> {
    let own = |key, si, usual| Value { key, of: format!("axle \"{}\"", axle.name), si, usual };
    let mut values = vec![
        own("tyre_width", axle.tyre_width_m, TYRE_WIDTH),
        own("axle_tube", axle.axle_tube_m, AXLE_TUBE),
        own("sweep.up", axle.sweep.up_m, SWEEP),
        own("sweep.down", axle.sweep.down_m, SWEEP),
        own("sweep.roll", axle.sweep.roll_rad, SWEEP_ROLL),
    ];
    values.extend(axle.pinion_rad.map(|si| own("pinion", si, POINTING)));
    values.extend(axle.castor_rad.map(|si| own("castor", si, POINTING)));
    values.extend(axle.unsprung_mass_kg.map(|si| own("unsprung_mass", si, UNSPRUNG)));
    let springs = axle.springs.iter();
    values.extend(springs.map(|s| Value {
        key: "rate",
        of: format!("spring \"{}\"", s.name),
        si: s.rate_n_per_m,
        usual: SPRING_RATE,
    }));
    values.extend(of_elements(axle));
    values
}

fn of_elements(axle: &Axle) -> Vec<Value> {
    let mut values = Vec::new();
    let mut put = |key, name: &str, si: Option<f64>, usual| {
        values.extend(si.map(|si| Value { key, of: format!("\"{name}\""), si, usual }));
    };
    let located = &axle.locating;
    for link in &located.links {
        put("tolerance", &link.name, link.tolerance_m, TOLERANCE);
        put("stiffness", &link.name, link.stiffness_n_per_m, LINK_STIFFNESS);
        put("play", &link.name, Some(link.play_m), PLAY);
    }
    for wishbone in &located.wishbones {
        put("stiffness", &wishbone.name, wishbone.stiffness_n_per_m, LINK_STIFFNESS);
        put("play", &wishbone.name, Some(wishbone.play_m), PLAY);
    }
    for watts in &located.watts {
        put("stiffness", &watts.name, watts.stiffness_n_per_m, LINK_STIFFNESS);
    }
    let tubes = (located.links.iter().map(|e| (&e.name, e.tube)))
        .chain(located.wishbones.iter().map(|e| (&e.name, e.tube)))
        .chain(located.radius_arms.iter().map(|e| (&e.name, e.tube)))
        .chain(located.watts.iter().map(|e| (&e.name, e.tube)));
    for (name, tube) in tubes.filter_map(|(name, tube)| Some((name, tube?))) {
        put("tube.diameter", name, Some(tube.diameter_m), TUBE);
        put("tube.yield", name, tube.yield_pa, YIELD);
        put("tube.modulus", name, Some(tube.modulus_pa), MODULUS);
    }
    values
}

/// One sentence for each key and value: an element and its mirror image share it.
fn once(values: &[Value]) -> Vec<String> {
    let same = |a: &Value, b: &Value| a.key == b.key && a.si == b.si;
    let is_first = |k: usize, value: &Value| !values.iter().take(k).any(|before| same(before, value));
    let firsts = values.iter().enumerate().filter(|(k, value)| is_first(*k, value));
    firsts
        .map(|(k, value)| {
            let others = values.iter().skip(k + 1).filter(|other| same(value, other));
            remark(value, &others.map(|other| other.of.as_str()).collect::<Vec<_>>())
        })
        .collect()
}

fn remark(value: &Value, also: &[&str]) -> String {
    let also: String = also.iter().map(|of| format!(" and of {of}")).collect();
    format!(
        "Look at `{}` of {}{also}: it is {}, and {}. Check its digits and its unit; leave it if it is true.",
        value.key,
        value.of,
        said(value),
        value.usual.why
    )
}

/// The value in the units of metric files and of inch files.
fn said(value: &Value) -> String {
    let in_unit = |(per_si, unit): (f64, &str)| {
        let shown = value.si * per_si;
        let decimals = if shown.abs() < 10.0 { 2 } else { usize::from(shown.abs() < 1000.0) };
        let digits = format!("{shown:.decimals$}");
        let digits =
            if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.') } else { &digits };
        format!("{digits}{}{unit}", if unit == "°" { "" } else { " " })
    };
    match value.usual.shown.inch {
        (_, "") => in_unit(value.usual.shown.metric),
        inch => format!("{} ({})", in_unit(value.usual.shown.metric), in_unit(inch)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::file::parse;

    fn read(text: &str) -> Vehicle {
        parse(text, "vehicle.toml").unwrap_or_else(|errors| panic!("{}", errors.render(false)))
    }

    fn told(text: &str) -> Vec<String> {
        let vehicle = read(text);
        vehicle.axles.iter().flat_map(|axle| remarks(&vehicle, axle)).collect()
    }

    fn starter() -> String {
        Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble")
    }

    /// The starter with this line in place of the first one that begins with its key.
    fn with(line: &str) -> String {
        let text = starter();
        let key = line.split(" =").next().unwrap();
        let old = text.lines().find(|l| l.split(" =").next() == Some(key)).unwrap_or_else(|| panic!("{key}"));
        text.replacen(old, line, 1)
    }

    #[test]
    fn starters_are_as_vehicles_are() {
        for (_, layout) in Layout::WORDS {
            assert_eq!(told(&layout.vehicle_text("Bramble")), Vec::<String>::new());
        }
    }

    #[test]
    fn every_absurd_value_is_told_once_with_its_key() {
        for (line, key, shown) in [
            ("tolerance = 300", "`tolerance` of [vehicle]", "300 mm (11.8 in)"),
            ("mass = 60", "`mass` of [vehicle]", "60 kg (132.3 lb)"),
            ("mass = 60000", "`mass` of [vehicle]", "60000 kg"),
            ("wheelbase = 254", "`wheelbase` of [vehicle]", "254 mm"),
            ("cg_height = 8100", "`cg_height` of [vehicle]", "8100 mm"),
            ("track = 160", "`track` of axle \"rear\"", "160 mm"),
            ("tyre_radius = 4600", "`tyre_radius` of axle \"rear\"", "4600 mm"),
            ("pinion = 70", "`pinion` of axle \"rear\"", "70°"),
            ("rate = 30000", "`rate` of spring \"coil left\" and of spring \"coil right\"", "30000 N/mm"),
            ("tube = { diameter = 508, wall = 6.35, yield = 350 }", "`tube.diameter`", "508 mm"),
            ("tube = { diameter = 50.8, wall = 6.35, yield = 50 }", "`tube.yield`", "50 MPa (7.25 ksi)"),
        ] {
            let told = told(&with(line));
            assert!(
                matches!(told.as_slice(), [one] if one.contains(key) && one.contains(shown)),
                "{line}: {told:?}"
            );
        }
    }

    #[test]
    fn what_is_at_its_limit_is_left_alone() {
        for line in ["tolerance = 30", "mass = 250", "mass = 18000", "wheelbase = 7500", "tyre_radius = 1000"]
        {
            let told = told(&with(line));
            assert!(!told.iter().any(|t| t.contains(line.split(" =").next().unwrap())), "{line}: {told:?}");
        }
    }

    #[test]
    fn a_whole_vehicle_in_another_unit_is_one_remark() {
        // The sizes of the starter in inches, with `units` left at mm.
        let text = with("wheelbase = 100")
            .replacen("cg_height = 810", "cg_height = 32", 1)
            .replacen("track = 1600", "track = 63", 1)
            .replacen("tyre_radius = 460", "tyre_radius = 18", 1)
            .replacen("tyre_width", "# tyre_width", 1);
        let told = told(&text);
        assert!(matches!(told.as_slice(), [one] if one.contains("`units`")), "{told:?}");
    }
}
