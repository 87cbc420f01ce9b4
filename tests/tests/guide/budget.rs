//! The error budget's tables: what `sensors` says of the starter's rig.

use super::page::Answers;
use hingeline::files::starters::Layout;
use hingeline::jobs::sensors::{self, AxleReach, NumberReach, Request};
use hingeline::measure::Budget;
use hingeline::run::Phase;
use hingeline::vehicle::numbers::Key;
use std::fs;

/// The test that the program rehearses where none is named, and the angle of its ramp, rad.
const PLAN: [Phase; 4] = [Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight];
const RAMP_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;

/// A row of the reach: what it is called, and what brings SI to what is shown.
const REACH: [(&str, Key, f64); 6] = [
    ("pitch per bump, rad/m", Key::PitchPerHeave, 1.0),
    ("anti-squat, %", Key::AntiSquat, 1.0),
    ("roll centre, mm", Key::RollCentreZ, 1e3),
    ("roll steer", Key::RollSteer, 1.0),
    ("sideways per bump", Key::LateralPerHeave, 1.0),
    ("instant centre forward, m", Key::SideViewInstantCentreX, 1.0),
];
/// How many of these have their budget told.
const TOLD: usize = 4;

/// A source: its name, its part of a budget, what it is.
type Source = (&'static str, fn(&Budget) -> f64, &'static str);
const SOURCES: [Source; 6] = [
    ("noise", |b| b.noise, "scatter of readings"),
    ("mount", |b| b.mount, "where ends are clipped"),
    ("scale", |b| b.scale, "scales and straightness of wires"),
    ("zero", |b| b.zero, "offsets, biases of units"),
    ("heading", |b| b.heading, "units turned about the vertical"),
    ("model", |b| b.model, "hysteresis, time within a row, what the surface leaves over"),
];

/// Two digits that count.
fn two_digits(value: f64) -> String {
    if value.abs() < 1e-6 {
        return "0".to_owned();
    }
    let decimals = (1.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{value:.decimals$}")
}

fn reach(without: &[&str]) -> AxleReach {
    let folder = tempfile::tempdir().unwrap();
    let layout = Layout::DoubleTriangulatedFourLink;
    let [vehicle, rig] = ["vehicle.toml", "rig.toml"].map(|name| folder.path().join(name));
    fs::write(&vehicle, layout.vehicle_text("Bramble")).unwrap();
    fs::write(&rig, layout.rig_text()).unwrap();
    let without = without.iter().map(|name| (*name).to_owned()).collect();
    let request = Request { vehicle, rig, phases: PLAN.to_vec(), ramp_rad: RAMP_RAD, without, now_us: None };
    sensors::run(&request).map_err(|e| e.to_string()).unwrap().axles.remove(0)
}

fn number(reach: &AxleReach, key: Key) -> &NumberReach {
    reach.numbers.iter().find(|n| n.key == key).unwrap()
}

/// Both tables.
pub fn answer(answers: &mut Answers) {
    let (all, wires) = (reach(&[]), reach(&["chassis unit", "axle unit"]));
    let budgets: Vec<&Budget> =
        REACH[..TOLD].iter().map(|(_, key, _)| number(&all, *key).budget.as_ref().unwrap()).collect();
    let cells = |part: &dyn Fn(&Budget) -> f64| -> Vec<String> {
        budgets.iter().zip(&REACH).map(|(budget, (.., shown))| two_digits(shown * part(budget))).collect()
    };
    let row = |name: String, cells: Vec<String>| [vec![name], cells].concat();
    let mut rows: Vec<Vec<String>> = SOURCES
        .iter()
        .map(|(name, part, what)| row(format!("{name}: {what}"), cells(&|b| part(b))))
        .collect();
    rows.push(row("**all**".to_owned(), cells(&Budget::total)));
    let heads: Vec<&str> =
        std::iter::once("source").chain(REACH[..TOLD].iter().map(|(name, ..)| *name)).collect();
    answers.table("budget", &heads, &rows);

    let u = |reach: &AxleReach, key: Key, shown: f64| {
        number(reach, key).u.map_or_else(|| "not resolved".to_owned(), |u| two_digits(shown * u))
    };
    let rows: Vec<Vec<String>> = REACH
        .iter()
        .map(|(name, key, shown)| vec![(*name).to_owned(), u(&all, *key, *shown), u(&wires, *key, *shown)])
        .collect();
    answers.table("reach", &["", "six wires, two units", "six wires"], &rows);
}
