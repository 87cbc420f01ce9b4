//! How long history, wear and the first page in a browser take on a logbook of ten thousand runs of one vehicle, beside what the
//! system itself takes to say of each run whether it has changed.
//!
//! Only with `HINGELINE_LONG` set: ten thousand folders take a while to make. A release build is held to 100 ms; says what it was with
//! `HINGELINE_LONG=1 cargo test --release -p hingeline-tests --test command_line ten_thousand -- --nocapture`.

use super::serve::Server;
use super::{done, program};
use hingeline::files::starters::Layout;
use hingeline::history::comparable::basis;
use hingeline::history::quantity::{OfLink, Quantity};
use hingeline::history::record::{AxleRecord, Entry, Fingerprint, RunFacts, RunRecord};
use hingeline::history::store::Store;
use hingeline::measure::{Budget, Measured};
use hingeline::vehicle::numbers::Key;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const RUNS: usize = 10_000;
/// What a command may take in a release build; a build for tests is let be five times slower.
const MOST_MS: f64 = if cfg!(debug_assertions) { 500.0 } else { 100.0 };
/// The same as a multiple of what the system takes to look at every run's header, so that a slow machine accuses nobody.
const MOST_TIMES: f64 = if cfg!(debug_assertions) { 25.0 } else { 5.0 };
/// How much longer the last thousand insertions may take than the first: flat, but for a B-tree's depth and a busy machine.
const FLAT: f64 = 2.5;

fn record(at: &Path, n: usize, vehicle: &hingeline::vehicle::Vehicle) -> RunRecord {
    let name = format!("2026-{n:06}-rock");
    let folder = at.join("Bramble/runs").join(&name);
    fs::create_dir_all(&folder).expect("made");
    fs::write(folder.join("run.toml"), "format = 1\n").expect("written");
    let meta = fs::metadata(folder.join("run.toml")).expect("there");
    let changed = meta.modified().expect("a time").duration_since(std::time::UNIX_EPOCH).expect("after 1970");
    // A number without a pattern that repeats, for scatter.
    let scatter = ((n as f64 * 0.618_033_988_75).fract() - 0.5) * 3.0;
    let budget =
        Budget { noise: 0.002, mount: 0.01, scale: 0.002, zero: 0.002, heading: 0.001, model: 0.001 };
    let axle = &vehicle.axles[0];
    let mut entries: Vec<Entry> = Key::ALL
        .into_iter()
        .filter(|k| k.applies_to(axle.position))
        .map(|key| Entry {
            quantity: Quantity::Number(key),
            measured: Measured::new(0.1 + 0.003 * scatter, budget.total()),
            budget: Some(budget),
        })
        .collect();
    entries.extend(axle.locating.links.iter().map(|link| Entry {
        quantity: Quantity::Link(OfLink::Play, link.name.clone()),
        measured: Measured::new(2e-4 + 8e-5 * scatter, 8e-5),
        budget: None,
    }));
    RunRecord {
        facts: RunFacts {
            vehicle: "Bramble".into(),
            run: name,
            started: "2026-11-25T14:12:03+01:00".into(),
            started_us: n as i64 * 3_600_000_000,
            test: Some("rock".into()),
            program: "0.1.0".into(),
            ..RunFacts::default()
        },
        fingerprint: Fingerprint {
            header_bytes: meta.len(),
            header_us: changed.as_micros() as i64,
            data_bytes: None,
        },
        axles: vec![AxleRecord {
            name: axle.name.clone(),
            chi_square_per_dof: Some(1.0),
            heave_m: [-0.1, 0.1],
            roll_rad: [-0.2, 0.2],
            basis: basis(vehicle, axle, None),
            entries,
        }],
    }
}

/// The quickest of five, ms: what the program needs when nothing else is in its way.
fn quickest_ms(at: &Path, arguments: &[&str]) -> f64 {
    let once = || {
        let start = Instant::now();
        let status = Command::new(program())
            .args(arguments)
            .current_dir(at)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .status()
            .expect("the program starts");
        assert!(status.success());
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..5).map(|_| once()).fold(f64::INFINITY, f64::min)
}

/// The quickest of five, ms: every run's header looked at, and whether it has readings, which nothing that lists runs can do
/// without.
fn reference_ms(at: &Path) -> f64 {
    let once = || {
        let start = Instant::now();
        let runs = fs::read_dir(at.join("Bramble/runs")).expect("runs").flatten();
        let sizes = runs.filter_map(|run| {
            let _ = fs::metadata(run.path().join("wire.bin"));
            Some(fs::metadata(run.path().join("run.toml")).ok()?.len())
        });
        assert!(sizes.sum::<u64>() > RUNS as u64);
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..5).map(|_| once()).fold(f64::INFINITY, f64::min)
}

/// The quickest of five, ms: the first page of the list in a browser, asked for over HTTP.
fn quickest_page_ms(at: &Path) -> f64 {
    let server = Server::start(at);
    let once = || {
        let start = Instant::now();
        assert!(server.get("/").contains("10000 runs"));
        start.elapsed().as_secs_f64() * 1e3
    };
    let quickest = (0..5).map(|_| once()).fold(f64::INFINITY, f64::min);
    server.end();
    quickest
}

#[test]
fn ten_thousand_runs_are_listed_and_judged_at_once() {
    if std::env::var_os("HINGELINE_LONG").is_none() {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    let text = Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble");
    let vehicle = hingeline::vehicle::file::parse(&text, "vehicle.toml").expect("a starter");
    let mut store = Store::open(&at.join("history.db")).expect("opens");
    let mut thousands = Vec::new();
    for thousand in 0..RUNS / 1000 {
        let mut spent = Duration::ZERO;
        for n in 0..1000 {
            let record = record(at, thousand * 1000 + n, &vehicle);
            let start = Instant::now();
            store.put(&record).expect("put in");
            spent += start.elapsed();
        }
        thousands.push(spent.as_secs_f64());
    }
    drop(store);
    let reference = reference_ms(at);
    let history = quickest_ms(at, &["history"]);
    let wear = quickest_ms(at, &["wear", "Bramble"]);
    let page = quickest_page_ms(at);
    let (first, last) = (thousands[0], thousands[thousands.len() - 1]);
    let times = |ms: f64| ms / reference;
    let told = format!(
        "history {history:.0} ms, wear {wear:.0} ms, page {page:.0} ms: {:.1}, {:.1} and {:.1} times the {reference:.0} ms of looking at \
         each run's header; insertion {first:.2} ms, then {last:.2} ms",
        times(history),
        times(wear),
        times(page)
    );
    println!("{told}");
    assert!([history, wear, page].into_iter().all(|ms| times(ms) < MOST_TIMES), "{told}");
    assert!(history < MOST_MS && wear < MOST_MS && page < MOST_MS && last < FLAT * first, "{told}");
}
