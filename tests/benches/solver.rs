//! How many states a second one core solves, each with all its numbers, for every layout.
//!
//! `in_order`: along sweeps of heave at growing articulation, each state from the last. `at_random`: the same states shuffled,
//! each from the nearest node of a grid that was solved before. Either way only the branch of the real axle counts. Poses go to
//! files, for others to be held to (`tests/benches/beside_scipy.py`).

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use hingeline::design::{Follower, Mechanism, State};
use hingeline::vehicle::file::load;
use std::fmt::Write;
use std::fs;
use std::hint::black_box;
use std::path::Path;

#[path = "solver/processor_time.rs"]
mod processor_time;
#[path = "solver/states.rs"]
mod states;

use processor_time::ProcessorTime;

fn mechanism(layout: &str) -> Mechanism {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("data/layouts/{layout}.toml"));
    let vehicle = load(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    Mechanism::new(&vehicle, 0).unwrap_or_else(|e| panic!("{layout}: {e}"))
}

/// Goes to a state and works out its numbers, as the caller would.
fn solve(follower: &mut Follower<'_>, mechanism: &Mechanism, (heave_m, roll_rad): (f64, f64)) -> State {
    let state = follower.go(heave_m, roll_rad).unwrap_or_else(|e| panic!("{e}"));
    black_box(mechanism.numbers(state));
    state.clone()
}

fn in_order(bench: &mut Criterion<ProcessorTime>) {
    let mut group = bench.benchmark_group("in_order");
    let states = states::in_order();
    group.throughput(Throughput::Elements(states.len() as u64));
    for layout in states::LAYOUTS {
        let mechanism = mechanism(layout);
        keep_poses(layout, &mechanism, &states);
        group.bench_with_input(BenchmarkId::from_parameter(layout), &mechanism, |b, m| {
            b.iter(|| {
                let mut follower = Follower::new(m);
                for &(heave_m, roll_rad) in &states {
                    let state = follower.go(heave_m, roll_rad).unwrap_or_else(|e| panic!("{e}"));
                    black_box(m.numbers(state));
                }
            });
        });
    }
    group.finish();
}

fn at_random(bench: &mut Criterion<ProcessorTime>) {
    let mut group = bench.benchmark_group("at_random");
    let states = states::shuffled();
    group.throughput(Throughput::Elements(states.len() as u64));
    for layout in states::LAYOUTS {
        let mechanism = mechanism(layout);
        let mut follower = Follower::new(&mechanism);
        let solved: Vec<State> =
            states::nodes().into_iter().map(|at| solve(&mut follower, &mechanism, at)).collect();
        group.bench_with_input(BenchmarkId::from_parameter(layout), &mechanism, |b, m| {
            b.iter(|| {
                for &at in &states {
                    let near = solved[states::nearest_node(at)].clone();
                    black_box(solve(&mut Follower::from_state(m, near), m, at));
                }
            });
        });
    }
    group.finish();
}

/// Writes states and poses to `speed/LAYOUT.csv` in cargo's folder for such files.
fn keep_poses(layout: &str, mechanism: &Mechanism, states: &[(f64, f64)]) {
    let mut table = "x_m,y_m,heave_m,roll_rad,pitch_rad,yaw_rad\n".to_owned();
    let mut follower = Follower::new(mechanism);
    for &at in states {
        let q = solve(&mut follower, mechanism, at).pose.to_array().map(|v| format!("{v:e}"));
        let _ = writeln!(table, "{}", q.join(","));
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("speed");
    let written =
        fs::create_dir_all(&folder).and_then(|()| fs::write(folder.join(format!("{layout}.csv")), table));
    written.unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
}

criterion_group! {
    name = benches;
    config = Criterion::default().with_measurement(ProcessorTime::new());
    targets = in_order, at_random
}
criterion_main!(benches);
