//! `export --json`.

use super::{FORMAT, text};
use crate::jobs::export::Exported;
use serde::Serialize;

/// An export as JSON.
pub fn exported(exported: &Exported) -> String {
    let runs = exported.runs.iter().map(|run| Run {
        vehicle: &run.vehicle,
        run: &run.run,
        samples: run.samples,
        poses: run.poses,
        numbers: run.numbers,
        not_measured: run.not_measured.as_deref(),
    });
    let unread =
        exported.unread.iter().map(|run| Unread { vehicle: &run.vehicle, run: &run.run, why: &run.why });
    text(&Document { format: FORMAT, runs: runs.collect(), kept: exported.kept, unread: unread.collect() })
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    runs: Vec<Run<'a>>,
    kept: usize,
    unread: Vec<Unread<'a>>,
}

/// Rows of each table; `not_measured` says why a run has readings only.
#[derive(Serialize)]
struct Run<'a> {
    vehicle: &'a str,
    run: &'a str,
    samples: u64,
    poses: u64,
    numbers: u64,
    not_measured: Option<&'a str>,
}

#[derive(Serialize)]
struct Unread<'a> {
    vehicle: &'a str,
    run: &'a str,
    why: &'a str,
}
