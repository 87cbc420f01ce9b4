//! How many settings a second `tune` looks at: ride height and four extremes of the travel each, with two wishes.
//!
//! `cargo bench -p hingeline-tests --bench tune` also tries a million settings once and says how long that took; the promise is
//! a minute on two processors for a layout that is just determined.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, reason = "a bench")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use hingeline::design::tune::{AxleTuning, Space, Wanting, tune};
use hingeline::vehicle::{self, Vehicle};
use std::hint::black_box;
use std::time::Instant;

/// A bracket of holes 4 mm apart, one above the other, around a point, mm.
fn bracket([x, y, z]: [f64; 3], holes: usize) -> String {
    let all: Vec<String> = (0..holes)
        .map(|k| format!("[{x}, {y}, {}]", z + 4.0 * (k as f64 - 0.5 * (holes - 1) as f64)))
        .collect();
    format!("{{ holes = [{}], use = 1 }}", all.join(", "))
}

/// A double triangulated four-link whose eight ends have brackets of their own, chassis ends with `chassis` holes each, axle
/// ends with `axle` holes each.
fn four_link(chassis: usize, axle: usize) -> Vehicle {
    let mut text = "format = 1\nname = \"Bramble\"\n[vehicle]\nwheelbase = 2540\ncg_height = 810\n[[axle]]\nname = \"rear\"\n\
        position = \"rear\"\ntrack = 1600\ntyre_radius = 460\nsweep = { up = 90, down = 130, roll = 18 }\n"
        .to_owned();
    for (name, from, to) in [
        ("lower left", [950.0, 360.0, 500.0], [20.0, 580.0, 400.0]),
        ("lower right", [950.0, -360.0, 500.0], [20.0, -580.0, 400.0]),
        ("upper left", [800.0, 450.0, 660.0], [30.0, 120.0, 620.0]),
        ("upper right", [800.0, -450.0, 660.0], [30.0, -120.0, 620.0]),
    ] {
        let (from, to) = (bracket(from, chassis), bracket(to, axle));
        text += &format!(
            "[[axle.link]]\nname = \"{name}\"\nchassis = {from}\naxle = {to}\nmisalignment_limit = 60\n"
        );
    }
    text += "[axle.wish]\nanti_squat_percent = { min = 40, max = 65 }\nroll_steer_rad_per_rad = { min = -0.02, max = 0.02 }\n";
    vehicle::file::parse(&text, "vehicle.toml").expect("a vehicle")
}

fn tuned(vehicle: &Vehicle) -> AxleTuning {
    let space = Space::new(vehicle, 0, false).expect("countable");
    let wanting = Wanting { wishes: vehicle.axles[0].wish.clone(), top: 10 };
    tune(&space, &wanting, &|_| true).expect("tuned")
}

fn settings(c: &mut Criterion) {
    let vehicle = four_link(4, 2);
    let mut group = c.benchmark_group("tune");
    group.sample_size(10);
    group.throughput(Throughput::Elements(4u64.pow(4) * 2u64.pow(4)));
    group
        .bench_function("settings of a just-determined four-link", |b| b.iter(|| black_box(tuned(&vehicle))));
    group.finish();
}

fn a_million(_: &mut Criterion) {
    // Only where a bench was asked for: tests run each function once, without optimisation.
    if !std::env::args().any(|argument| argument == "--bench") {
        return;
    }
    let vehicle = four_link(8, 4);
    let start = Instant::now();
    let axle = tuned(&vehicle);
    let seconds = start.elapsed().as_secs_f64();
    let [keep, miss, joints, travel, loose] = axle.classes;
    println!(
        "{} settings in {seconds:.1} s on {} processors: {keep} keep, {miss} miss, {joints} joints, {travel} travel, {loose} loose",
        axle.combinations,
        std::thread::available_parallelism().map_or(1, usize::from),
    );
}

criterion_group!(benches, settings, a_million);
criterion_main!(benches);
