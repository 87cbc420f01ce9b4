//! How long `analyse` takes, and how that grows with a run's length.
//!
//! `cargo bench -p hingeline-tests --bench analyse`. A run of still, bounce and both ramps, six wires and two units at 200 Hz, is
//! put end to end with itself, as often as its time makes a quarter of an hour, and four times as often.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, reason = "a bench")]

#[path = "../tests/coverage/record.rs"]
mod record;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use hingeline::files::starters::Layout;
use hingeline::measure::analyse;
use hingeline::rig::Rig;
use hingeline::run::{Phase, Recording};
use hingeline::vehicle::Vehicle;
use std::hint::black_box;
use std::time::Instant;

const RATE_HZ: f64 = 200.0;
const QUARTER_S: f64 = 900.0;

/// A vehicle, its rig, and a recording of one test.
fn once() -> (Vehicle, Rig, Recording) {
    let layout = Layout::DoubleTriangulatedFourLink;
    let vehicle = hingeline::vehicle::file::parse(&layout.vehicle_text("Bramble"), "vehicle.toml").unwrap();
    let mut rig = hingeline::rig::file::parse(layout.rig_text(), "rig.toml", &vehicle).unwrap();
    rig.rate_hz = RATE_HZ;
    rig.sensors.iter_mut().for_each(|sensor| sensor.rate_hz = RATE_HZ);
    let on_ramp = record::of(&vehicle, &[Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight]);
    let recording = record::run(&on_ramp, &rig, 1);
    (vehicle, rig, recording)
}

/// The recording `times` over, one behind the other.
fn over_and_over(once: &Recording, times: usize) -> Recording {
    let long_s = once.phases.last().unwrap().to_s;
    let mut all = once.clone();
    for k in 1..times {
        let later_s = k as f64 * long_s;
        for (series, own) in all.series.iter_mut().flatten().zip(once.series.iter().flatten()) {
            series.t_s.extend(own.t_s.iter().map(|t_s| t_s + later_s));
            series.value.extend(&own.value);
        }
        all.phases.extend(once.phases.iter().map(|span| {
            let mut span = *span;
            (span.from_s, span.to_s) = (span.from_s + later_s, span.to_s + later_s);
            span
        }));
    }
    all
}

fn a_run(c: &mut Criterion) {
    let (vehicle, rig, recording) = once();
    let readings: usize = recording.series.iter().flatten().map(|series| series.value.len()).sum();
    let mut group = c.benchmark_group("analyse");
    group.sample_size(10);
    group.throughput(Throughput::Elements(readings as u64));
    group.bench_function("readings of one test", |b| {
        b.iter(|| black_box(analyse(&vehicle, &rig, &recording).unwrap()));
    });
    group.finish();
}

fn an_hour_against_a_quarter(_: &mut Criterion) {
    // Only where a bench was asked for: tests run each function once.
    if !std::env::args().any(|argument| argument == "--bench") {
        return;
    }
    let (vehicle, rig, recording) = once();
    let times = (QUARTER_S / recording.phases.last().unwrap().to_s).ceil() as usize;
    let seconds = |times: usize| {
        let long = over_and_over(&recording, times);
        let start = Instant::now();
        black_box(analyse(&vehicle, &rig, &long).unwrap());
        start.elapsed().as_secs_f64()
    };
    let [quarter_s, hour_s] = [times, 4 * times].map(|times| seconds(times).min(seconds(times)));
    println!(
        "a quarter of an hour {quarter_s:.2} s, an hour {hour_s:.2} s: {:.2} times as long",
        hour_s / quarter_s
    );
}

criterion_group!(benches, a_run, an_hour_against_a_quarter);
criterion_main!(benches);
