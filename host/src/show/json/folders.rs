//! `runs verify --json` and `runs repair --json`.

use super::{FORMAT, text};
use crate::jobs::runs::{Mended, Verified};
use crate::run::folder;
use serde::Serialize;

/// Runs that were looked at.
pub fn verified(verified: &[Verified]) -> String {
    let run = |v: &Verified| {
        let checked = v.checked.as_ref();
        LookedAt {
            vehicle: v.vehicle.clone(),
            run: v.run.clone(),
            frames: checked.map_or(0, |c| c.frames),
            damaged_frames: checked.map_or(0, |c| c.damaged_frames),
            recording: checked.is_ok_and(|c| c.recording),
            found: checked.map_or_else(|_| Vec::new(), |c| found(&c.found)),
            error: checked.err().map(ToString::to_string),
        }
    };
    text(&Document { format: FORMAT, runs: verified.iter().map(run).collect() })
}

/// Runs that were mended.
pub fn mended(mended: &[Mended]) -> String {
    let run = |m: &Mended| {
        let repaired = m.repaired.as_ref();
        Worked {
            vehicle: m.vehicle.clone(),
            run: m.run.clone(),
            done: repaired.map_or_else(|_| Vec::new(), |r| r.done.clone()),
            originals: repaired
                .ok()
                .and_then(|r| r.originals.as_ref())
                .map(|folder| folder.display().to_string()),
            left: repaired.map_or_else(|_| Vec::new(), |r| found(&r.left)),
            error: repaired.err().map(ToString::to_string),
        }
    };
    text(&Document { format: FORMAT, runs: mended.iter().map(run).collect::<Vec<_>>() })
}

#[derive(Serialize)]
struct Document<T> {
    format: u32,
    runs: Vec<T>,
}

#[derive(Serialize)]
struct LookedAt {
    vehicle: String,
    run: String,
    frames: u64,
    damaged_frames: u64,
    recording: bool,
    found: Vec<Found>,
    error: Option<String>,
}

#[derive(Serialize)]
struct Worked {
    vehicle: String,
    run: String,
    done: Vec<String>,
    originals: Option<String>,
    left: Vec<Found>,
    error: Option<String>,
}

#[derive(Serialize)]
struct Found {
    file: &'static str,
    kind: &'static str,
    text: String,
}

fn found(found: &[folder::Found]) -> Vec<Found> {
    found.iter().map(|f| Found { file: f.file(), kind: f.kind(), text: f.to_string() }).collect()
}
