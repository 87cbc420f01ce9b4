//! Run folders that earlier versions of the program wrote, read as they were read then. `tests/data/runs/README.md` says where
//! each came from.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use hingeline::run::Recording;
use hingeline::run::folder::{RunFolder, verify};
use std::fmt::Write;
use std::path::{Path, PathBuf};

fn folders() -> Vec<PathBuf> {
    let runs = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/runs");
    let mut found: Vec<_> =
        std::fs::read_dir(runs).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()).collect();
    found.sort();
    found
}

fn read(run: &RunFolder) -> Recording {
    let vehicle = hingeline::vehicle::file::load(&run.vehicle_file()).unwrap();
    let rig = hingeline::rig::file::load(&run.rig_file(), &vehicle).unwrap();
    let centres: Vec<_> = vehicle.axles.iter().map(|axle| axle.centre()).collect();
    run.read(&rig, &centres).unwrap()
}

#[test]
fn frozen_runs_say_what_they_said() {
    let mut told = String::new();
    for folder in folders() {
        let run = RunFolder::open(&folder).unwrap();
        let recording = read(&run);
        writeln!(told, "## {}", run.name()).unwrap();
        writeln!(told, "started {}, plan {:?}", run.header.started, run.header.plan).unwrap();
        writeln!(told, "{:?}", recording.counts).unwrap();
        for span in &recording.phases {
            writeln!(told, "{} {:.3} s to {:.3} s", span.phase.words(), span.from_s, span.to_s).unwrap();
        }
        for (k, series) in recording.series.iter().enumerate() {
            for (c, s) in series.iter().enumerate() {
                let (Some(t), Some(first), Some(last)) = (s.t_s.last(), s.value.first(), s.value.last())
                else {
                    continue;
                };
                let mean = s.value.iter().sum::<f64>() / s.value.len() as f64;
                writeln!(
                    told,
                    "{k}.{c}: {} to {t:.4} s, {first:.6} … {last:.6}, mean {mean:.6}",
                    s.t_s.len()
                )
                .unwrap();
            }
        }
        for remark in &recording.remarks {
            writeln!(told, "{remark}").unwrap();
        }
    }
    insta::assert_snapshot!(told);
}

#[test]
fn frozen_runs_are_as_they_were_made() {
    let all = folders();
    assert!(all.len() >= 3);
    for folder in all {
        let checked = verify(&folder).unwrap();
        assert_eq!(checked.found, [], "{}", folder.display());
    }
}
