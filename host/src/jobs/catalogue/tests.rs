//! The history kept up to date with the runs, whatever happens to it.

use super::*;
use crate::history::store::Filter;
use crate::jobs::import;
use crate::jobs::vehicle_folder::tests::{logbook_with_rig, some_time};
use crate::run::Facts;
use std::fs;

const RIG: &str = r#"
format = 1
[[sensor]]
name = "left"
kind = "draw-wire"
chassis = [0, 500, 1000]
axle = [0, 620, 460]
"#;

/// A still of 5 s and a slow bounce of 24 s, read at 20 Hz.
fn table() -> String {
    let mut text = String::from("t_s,phase,left\n");
    for k in 0..580 {
        let t = f64::from(k) * 0.05;
        let (phase, travel) =
            if t < 5.0 { ("still", 0.0) } else { ("bounce", 40.0 * (0.8 * (t - 5.0)).sin()) };
        text += &format!("{t:.2},{phase},{:.2}\n", 553.2 - travel);
    }
    text
}

/// A logbook with so many runs of one vehicle.
fn logbook_with_runs(runs: usize) -> (tempfile::TempDir, Logbook, Vec<PathBuf>) {
    let (dir, vehicle_folder) = logbook_with_rig(RIG);
    let table_file = dir.path().join("readings.csv");
    fs::write(&table_file, table()).unwrap();
    let made = (0..runs).map(|_| {
        let request = import::Request {
            table: table_file.clone(),
            vehicle_folder: vehicle_folder.clone(),
            test: None,
            facts: Facts::default(),
            now: some_time(),
        };
        import::run(&request).map_err(|e| e.to_string()).unwrap().folder
    });
    let made = made.collect();
    let logbook = Logbook::find(Some(dir.path()), Path::new(".")).unwrap();
    (dir, logbook, made)
}

/// Names of the runs in the history, how many were measured for it, and what was said.
fn opened(logbook: &Logbook, rebuild: bool) -> (Vec<String>, usize, Vec<String>) {
    let mut measured = 0;
    let opening = Opening { logbook, stamp: "2026-11-25-141203".into(), rebuild };
    let (names, said) = with(&opening, &mut |p| measured = p.number, |catalogue| {
        let runs = catalogue.store.runs(&Filter::default())?;
        assert!(runs.iter().all(|r| r.facts.problem.is_none()), "{:?}", runs[0].facts.problem);
        Ok(runs.into_iter().map(|r| r.facts.run).collect::<Vec<_>>())
    })
    .map_err(|e| e.to_string())
    .unwrap();
    (names, measured, said)
}

#[test]
fn runs_that_are_lacking_are_measured_and_those_that_are_gone_are_taken_out() {
    let (_dir, logbook, made) = logbook_with_runs(2);
    let (names, measured, said) = opened(&logbook, false);
    assert_eq!((names.len(), measured, said.len()), (2, 2, 0));
    assert_eq!(opened(&logbook, false).1, 0, "nothing is measured twice");
    let header = made[0].join(HEADER);
    let text = fs::read_to_string(&header).unwrap();
    fs::write(&header, text.replace("notes = \"\"", "notes = \"wet grass\"")).unwrap();
    assert_eq!(opened(&logbook, false).1, 1, "a run whose header changed is measured again");
    fs::remove_dir_all(&made[1]).unwrap();
    assert_eq!(opened(&logbook, false).0.len(), 1);
    assert_eq!(opened(&logbook, true).1, 1, "everything is measured anew when that is asked for");
}

#[test]
fn a_damaged_history_is_kept_aside_and_nothing_is_lost() {
    let (_dir, logbook, _) = logbook_with_runs(2);
    let before = opened(&logbook, false).0;
    let path = logbook.folder.join(HISTORY_FILE);
    for damage in ["head", "middle"] {
        let store = Store::open(&path).unwrap();
        drop(store);
        let mut bytes = fs::read(&path).unwrap();
        let from = if damage == "head" { 0 } else { 4096 };
        bytes.iter_mut().skip(from).take(3 * 4096).for_each(|b| *b = 0x5a);
        fs::write(&path, bytes).unwrap();
        let (after, _, said) = opened(&logbook, false);
        assert_eq!(after, before);
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("history-damaged-2026-11-25-141203"), "{said:?}");
        assert!(opened(&logbook, false).2.is_empty());
    }
    let kept = fs::read_dir(&logbook.folder).unwrap().flatten();
    let kept = kept.filter(|e| e.file_name().to_string_lossy().starts_with("history-damaged-")).count();
    assert!(kept >= 2);
}

#[test]
fn what_was_just_measured_is_kept_at_once() {
    let (_dir, logbook, made) = logbook_with_runs(1);
    let request = RunRequest { run: made[0].display().to_string(), ..RunRequest::default() };
    let analysed = analyse::run(&request).map_err(|e| e.to_string()).unwrap();
    keep(&request, &analysed).map_err(|e| e.to_string()).unwrap();
    assert_eq!(opened(&logbook, false).1, 0);
    let other = RunRequest { rig: Some(logbook.folder.join("Bramble/rig.toml")), ..request };
    fs::remove_file(logbook.folder.join(HISTORY_FILE)).unwrap();
    keep(&other, &analysed).map_err(|e| e.to_string()).unwrap();
    assert!(!logbook.folder.join(HISTORY_FILE).exists(), "measured with other files than its own");
}
