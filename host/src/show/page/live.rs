//! The page of a recording: what to read first, what to record, and then where it is, what sensors say and what the numbers
//! are so far. The live parts come as events; their words are made here.

use super::{Frame, Place, Problem, Setting, run_path};
use crate::jobs::cautions::{CAUTIONS, instruction};
use crate::jobs::record::guide::{AxleNow, AxleResolved, Resolved};
use crate::jobs::record::{Progress, Recorded};
use crate::rig::{Kind, Sensor};
use crate::run::Phase;
use crate::run::plan::Test;
use crate::show::questions::{Question, zero_at_ride};
use crate::show::report::evidence::whole;
use crate::show::units::{PLUS_MINUS, number};
use crate::show::{Units, rows, text, words};
use crate::vehicle::numbers::Key;
use maud::{Markup, html};
use serde::Serialize;

/// Where a recording is, in words for the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Told {
    /// `none`, `begins`, `records`, `over`.
    pub course: &'static str,
    /// The phase, or what has become of the recording.
    pub headline: String,
    /// What to do.
    pub instruction: String,
    /// What the next press does.
    pub next: String,
    /// Time and readings.
    pub counts: String,
    /// What to mind of this vehicle and these sensors.
    pub advice: String,
    /// Where the axles are now.
    pub place: String,
    /// What needs attention.
    pub trouble: String,
    /// The page of the run, once it is over.
    pub page: Option<String>,
    /// Each sensor's name and latest reading.
    pub sensors: Vec<Reading>,
}

/// What a sensor says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// Its name.
    pub name: String,
    /// Its reading with its unit, or that there is none.
    pub reading: String,
    /// Whether it says nothing.
    pub silent: bool,
}

impl Told {
    fn plain(course: &'static str, headline: &str, instruction: &str) -> Self {
        Self {
            course,
            headline: headline.to_owned(),
            instruction: instruction.to_owned(),
            next: String::new(),
            counts: String::new(),
            advice: String::new(),
            place: String::new(),
            trouble: String::new(),
            page: None,
            sensors: Vec::new(),
        }
    }

    /// Nothing is recorded.
    pub fn nothing() -> Self {
        Self::plain("none", "Nothing is being recorded.", "")
    }

    /// The logger is being reached.
    pub fn begins(port: &str) -> Self {
        Self::plain("begins", "Setting up the logger", &format!("Listening on {port}."))
    }

    /// A recording that runs.
    pub fn under_way(progress: &Progress<'_>, now: &[AxleNow], units: Units) -> Self {
        let live = progress.live;
        let phase = progress.phase;
        let seconds = progress.elapsed_s;
        let mut trouble = Vec::new();
        if !progress.linked {
            trouble.push("The logger is gone: check the cable. What was recorded is kept.".to_owned());
        }
        if progress.restarts > 0 {
            trouble.push(format!("The logger restarted {} times.", progress.restarts));
        }
        if progress.damaged_frames > 0 {
            trouble.push(format!(
                "{} frames were damaged on the line and are left out.",
                progress.damaged_frames
            ));
        }
        let next = match progress.next {
            Some(next) => format!("Next: {}", next.words()),
            None => "Next: the end of the test".to_owned(),
        };
        let waits = "Paused. Nothing of this counts until you go on.";
        Self {
            course: if seconds.is_some() { "records" } else { "begins" },
            headline: phase.map_or_else(
                || if seconds.is_some() { "Paused".into() } else { "Setting up the logger".into() },
                |phase| words::capital(phase.words()),
            ),
            instruction: phase
                .map_or(if seconds.is_some() { waits } else { "" }, |phase| instruction(phase, progress.rig))
                .to_owned(),
            next,
            counts: format!("{:.0} s, {} readings, {} lost", live.trail().end_s(), live.received, live.lost),
            advice: String::new(),
            place: words::capital(&text::now(now, units).join("; ")),
            trouble: trouble.join(" "),
            page: None,
            sensors: readings(progress, units),
        }
    }

    /// A recording that ended; `vehicle` is the vehicle's folder in the logbook.
    pub fn over(recorded: &Recorded, vehicle: &str) -> Self {
        let trouble = recorded
            .trouble
            .as_ref()
            .map_or_else(String::new, |t| format!("{}.", words::capital(&t.to_string())));
        Self {
            trouble,
            page: Some(run_path(vehicle, &recorded.name)),
            ..Self::plain(
                "over",
                &format!("Recorded: {}", recorded.name),
                &text::recorded(recorded).replace('\n', " "),
            )
        }
    }

    /// A recording that came to nothing.
    pub fn failed(problem: &Problem) -> Self {
        // It may begin with a name, which keeps its letters.
        let sentence = format!("Why: {}.", problem.sentence.trim_end_matches('.'));
        let details = problem.details.clone().unwrap_or_default();
        let hint = problem.hint.clone().unwrap_or(details);
        Self { trouble: sentence, ..Self::plain("over", "Nothing was recorded", &hint) }
    }
}

/// What every sensor says; one that has fallen silent says nothing, whatever it said last.
fn readings(progress: &Progress<'_>, units: Units) -> Vec<Reading> {
    let silent = progress.live.silent();
    let sensors = progress.rig.sensors.iter().zip(&progress.live.latest).enumerate();
    let said = |(k, (sensor, latest)): (usize, (&Sensor, &Vec<Option<f64>>))| {
        let latest = if silent.contains(&k) { &[][..] } else { latest.as_slice() };
        reading(sensor, latest, units)
    };
    sensors.map(said).collect()
}

/// The latest reading of a sensor, SI in.
fn reading(sensor: &Sensor, latest: &[Option<f64>], units: Units) -> Reading {
    let first = latest.first().copied().flatten();
    let decimals = if units == Units::Mm { 1 } else { 3 };
    let said = match sensor.kind {
        Kind::DrawWire(_) | Kind::Range(_) => first.map(|m| units.length().set_to(m, decimals)),
        Kind::Angle(_) => first.map(|rad| units.angle().set_to(rad, 2)),
        Kind::Force(_) => first.map(|n| units.force().set_to(n, 0)),
        Kind::Inertial(_) => inertial(latest),
    };
    Reading {
        name: sensor.name.clone(),
        silent: said.is_none(),
        reading: said.unwrap_or_else(|| "nothing".into()),
    }
}

/// An inertial unit by the size of what it feels: a still one feels 9.81 m/s² and turns by nothing.
fn inertial(latest: &[Option<f64>]) -> Option<String> {
    let all: Option<Vec<f64>> = latest.iter().copied().collect();
    let all = all.filter(|all| all.len() == 6)?;
    let size = |part: &[f64]| part.iter().map(|v| v * v).sum::<f64>().sqrt();
    let (accel, gyro) = all.split_at(3);
    Some(format!("{} m/s², turning by {}°/s", number(size(accel), 2), number(size(gyro).to_degrees(), 1)))
}

/// What the readings so far make of the numbers, how well, and what would help.
pub fn numbers_so_far(axles: &[AxleResolved], units: Units) -> String {
    html! {
        @for axle in axles {
            h3 { (words::capital(&axle.name)) " axle" }
            table role="table" {
                caption.hidden { "Numbers so far" }
                thead role="rowgroup" { tr role="row" {
                    @for name in ["Number", "So far", "What would help"] { th role="columnheader" scope="col" { (name) } }
                } }
                @for question in Question::ALL {
                    @let numbers = told_of(axle, question);
                    @if !numbers.is_empty() {
                        tbody.group role="rowgroup" {
                            tr role="row" { th role="rowheader" colspan="3" scope="rowgroup" { (question.text()) } }
                            @for number in numbers { (so_far(number, units)) }
                        }
                    }
                }
            }
        }
    }
    .into_string()
}

/// The numbers that answer a question at ride height; a direction only where there is one.
fn told_of(axle: &AxleResolved, question: Question) -> Vec<&Resolved> {
    let of = |key: &Key| axle.numbers.iter().find(|number| number.key == *key);
    let told = |number: &&Resolved| {
        let direction = number.key == Key::SideViewDirection && number.measured.value.is_none();
        !direction && !zero_at_ride(number.key)
    };
    question.keys().iter().filter_map(of).filter(told).collect()
}

fn so_far(number: &Resolved, units: Units) -> Markup {
    let known = number.measured.measured();
    let value = known.map_or_else(
        || number.measured.status.word().to_owned(),
        |(value, u)| units.of(number.key).with_u(value, Some(u)),
    );
    html! {
        tr role="row" data-settled=(known.is_some()) {
            th role="rowheader" scope="row" { (words::capital(rows::label(number.key))) }
            td role="cell" data-name="so far" { span { (whole(&value)) } }
            td role="cell" data-name="what helps" { span { (words::capital(&text::said(number, units))) } }
        }
    }
}

/// What a person may type in about a test: the field, what it asks.
const TYPED: [(&str, &str); 4] = [
    ("ramp_angle_deg", "Ramp angle, °"),
    ("taped_left_mm", "Taped up the ramp, left wheel, mm"),
    ("taped_right_mm", "Taped up the ramp, right wheel, mm"),
    ("load_n", "Load of a rock or shove, N"),
];

/// A vehicle and the names of its sensors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rigged {
    /// The vehicle's folder.
    pub name: String,
    /// Its sensors.
    pub sensors: Vec<String>,
}

/// The page of a recording. `ports` are those of this computer, with what they say of themselves.
pub fn record(vehicles: &[Rigged], ports: &[(String, String)], setting: &Setting) -> String {
    let body = html! {
        h1 { "Record a test" }
        noscript { p { "Recording from this page needs scripts, which this browser does not run. hingeline record does the same." } }
        p.caution-line #lag role="status" hidden {}
        section #live aria-labelledby="headline" hidden { (at_work()) }
        section #setup aria-labelledby="setup-title" { (setup(vehicles, ports)) }
        section #so-far aria-labelledby="so-far-title" hidden {
            h2 #so-far-title { "The numbers so far" }
            p.note { (PLUS_MINUS) " It shrinks as the run goes on; enough is what a verdict needs." }
            div #numbers {}
        }
    };
    let scripts = &["/assets/record.js"];
    Frame { wide: true, scripts, ..Frame::new(setting, Place::Record, "Record") }.page(&body)
}

fn at_work() -> Markup {
    html! {
        div aria-live="assertive" {
            h2.phase #headline { "Nothing is being recorded." }
            p.instruction #instruction {}
        }
        p.caution-line #trouble role="alert" {}
        p #next {}
        p.note #advice {}
        div.keys role="group" aria-label="While it records" {
            button.main type="button" data-do="next" { "Next" }
            button type="button" data-do="pause" { "Pause" }
            button type="button" data-do="lift" { "A wheel lifts" }
            button.stop type="button" data-do="stop" { "Stop" }
        }
        form.filter #note-form { label { "Remark" input type="text" name="text" maxlength="400" autocomplete="off"; } button type="submit" { "Note it" } }
        p #place {}
        p #counts {}
        dl.readings #sensors aria-label="Latest readings" {}
        p #after hidden { a #run-page href="/" { "The run beside its drawing" } }
    }
}

fn setup(vehicles: &[Rigged], ports: &[(String, String)]) -> Markup {
    html! {
        h2 #setup-title { "Before you start" }
        @if vehicles.is_empty() { p { "The logbook has no vehicle yet. hingeline new LAYOUT NAME makes one." } }
        div.caution { ul { @for caution in CAUTIONS { li { (caution) } } } }
        form #start {
            label.tick { input type="checkbox" name="read" required; " Everybody here has read this, and nobody is in danger." }
            div.filter {
                label { "Vehicle" select name="vehicle" required { @for vehicle in vehicles { option value=(vehicle.name) { (vehicle.name) } } } }
                label { "Logger's port" input type="text" name="port" list="ports" required autocomplete="off" spellcheck="false"
                    value=(ports.first().map_or("", |p| p.0.as_str())); }
                datalist #ports { @for (path, words) in ports { option value=(path) { (words) } } }
                label { "Test" select name="test" {
                    @for words in Test::WORDS.split(", ") { option value=(words) selected[words == "ramp"] { (words) } }
                } }
                label { "Or phases of your own, with commas between" input type="text" name="plan" autocomplete="off"; }
                @for (name, words) in TYPED { label { (words) input type="number" name=(name) min="0" step="any"; } }
                label { "Notes" input type="text" name="notes" maxlength="400" autocomplete="off"; }
            }
            @for (k, vehicle) in vehicles.iter().enumerate().filter(|(_, vehicle)| !vehicle.sensors.is_empty()) {
                fieldset.without data-vehicle=(vehicle.name) hidden[k > 0] {
                    legend { "Sensors that are not there today" }
                    @for name in &vehicle.sensors {
                        label.tick { input type="checkbox" name="without" value=(name); " " (name) }
                    }
                }
            }
            p.note { "Phases: " (Phase::WORDS.iter().map(|(words, _)| *words).collect::<Vec<_>>().join(", ")) "." }
            p { button.main type="submit" { "Start" } }
            p.caution-line #refused role="alert" {}
        }
    }
}
