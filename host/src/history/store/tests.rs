//! The database: what goes in comes back, old versions, damage, several programs at once.

use super::*;
use crate::history::quantity::{OfLink, Quantity};
use crate::history::record::{AxleRecord, Entry, RunFacts, RunRecord};
use crate::history::service::{ServiceEvent, Work};
use crate::measure::{Budget, Measured, Status};
use crate::vehicle::numbers::Key;
use proptest::prelude::*;

/// A run of Bramble, `n` weeks after the first.
pub fn record(n: i64) -> RunRecord {
    let budget = Budget { noise: 0.003, mount: 0.04, scale: 0.0, zero: 0.004, heading: 0.0, model: 0.0 };
    let steer = Measured::new(0.1 + 1e-3 * n as f64, budget.total());
    let play = Measured::without(Status::NotMeasured, "needs a rock or shove test");
    let entry = |quantity, measured, budget| Entry { quantity, measured, budget };
    RunRecord {
        facts: RunFacts {
            vehicle: "Bramble".into(),
            run: format!("run-{n:05}"),
            started: "2026-11-25T14:12:03+01:00".into(),
            started_us: n * 604_800_000_000,
            test: Some("ramp".into()),
            rig_basis: "rig".into(),
            program: "0.1.0".into(),
            ..RunFacts::default()
        },
        fingerprint: Fingerprint { header_bytes: 400, header_us: n, data_bytes: (n % 2 == 0).then_some(7) },
        axles: vec![AxleRecord {
            name: "rear".into(),
            chi_square_per_dof: Some(1.1),
            heave_m: [-0.1, 0.1],
            roll_rad: [-0.2, 0.2],
            basis: [("tyre radius".to_owned(), "460.000 mm".to_owned())].into(),
            entries: vec![
                entry(Quantity::Number(Key::RollSteer), steer, Some(budget)),
                entry(Quantity::RampLeft, Measured::new(600.0 + n as f64, 4.0), None),
                entry(Quantity::Link(OfLink::Play, "lower left".into()), play, None),
            ],
        }],
    }
}

fn temporary() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(HISTORY_FILE);
    (dir, path)
}

#[test]
fn a_run_comes_back_as_it_went_in() {
    let (_dir, path) = temporary();
    let mut store = Store::open(&path).unwrap();
    for n in [2, 1, 3] {
        store.put(&record(n)).unwrap();
    }
    store.put(&record(2)).unwrap();
    let runs = store.runs(&Filter::default()).unwrap();
    let names: Vec<&str> = runs.iter().map(|r| r.facts.run.as_str()).collect();
    assert_eq!(names, ["run-00001", "run-00002", "run-00003"]);
    for run in &runs {
        let n = run.facts.started_us / 604_800_000_000;
        let kept = record(n);
        assert_eq!(run.facts, kept.facts);
        let entries: Vec<Entry> = store.entries(&[run.id]).unwrap().into_iter().map(|e| e.2).collect();
        assert_eq!(entries, kept.axles[0].entries);
    }
    assert_eq!(store.known().unwrap().len(), 3);
    assert!(store.known().unwrap().iter().any(|k| k.fingerprint == record(2).fingerprint));
    let latest = Filter { latest: Some(2), since_us: Some(1), ..Filter::default() };
    assert_eq!(store.runs(&latest).unwrap().len(), 2);
    assert_eq!(store.count(&Filter::default()).unwrap(), 3);
    store.take_out("Bramble", "run-00001").unwrap();
    assert_eq!(store.count(&Filter::default()).unwrap(), 2);
    assert!(store.runs(&Filter { vehicle: Some("Thistle".into()), ..Filter::default() }).unwrap().is_empty());
}

#[test]
fn series_hold_what_was_measured_with_its_own_part_apart() {
    let (_dir, path) = temporary();
    let mut store = Store::open(&path).unwrap();
    (1..=5).for_each(|n| store.put(&record(n)).unwrap());
    let series = store.series("Bramble", 0).unwrap();
    let points = |q: &Quantity| &series.iter().find(|s| s.quantity == *q).unwrap().points;
    let steer = points(&Quantity::Number(Key::RollSteer));
    // √(0.003² + 0.004²), the mounts left out.
    assert!(steer.len() == 5 && steer.iter().all(|p| (p.own_u - 0.005).abs() < 1e-12 && p.u > 0.04));
    assert!(points(&Quantity::RampLeft).iter().all(|p| p.own_u == p.u));
    assert!(points(&Quantity::Link(OfLink::Play, "lower left".into())).is_empty());
    assert_eq!(store.bases().unwrap().len(), 1, "facts that stay the same are kept once");
}

#[test]
fn migrating_twice_changes_nothing_and_an_old_database_is_carried_forward() {
    let (_dir, path) = temporary();
    let mut connection = Connection::open(&path).unwrap();
    // As the first version made it.
    connection.execute_batch(schema::MIGRATIONS[0]).unwrap();
    connection.pragma_update(None, "user_version", 1).unwrap();
    connection.pragma_update(None, "application_id", schema::APPLICATION).unwrap();
    let put = "INSERT INTO run (vehicle, name, started, started_us, notes, design_hash, rig_hash, data_hash, rig_basis, program,
         received, lost, excluded, header_bytes, header_us) VALUES ('Bramble', 'old', '', 1, '', '', '', '', '', '', 1, 0, 0, 1, 1)";
    connection.execute_batch(put).unwrap();
    let shape = |connection: &Connection| -> Vec<String> {
        let mut statement =
            connection.prepare("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name").unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    schema::migrate(&mut connection).unwrap();
    let once = shape(&connection);
    assert_eq!(schema::version(&connection).unwrap(), schema::MIGRATIONS.len());
    schema::migrate(&mut connection).unwrap();
    assert_eq!(shape(&connection), once);
    drop(connection);
    let (_other, fresh) = temporary();
    assert_eq!(shape(&Store::open(&fresh).unwrap().connection), once, "an old one ends as a new one begins");
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.runs(&Filter::default()).unwrap()[0].facts.run, "old");
    store.set_services("Bramble", &[]).unwrap();
}

#[test]
fn a_newer_database_is_refused_and_left_alone() {
    let (_dir, path) = temporary();
    Store::open(&path).unwrap().connection.pragma_update(None, "user_version", 99).unwrap();
    let error = Store::open(&path).unwrap_err();
    assert!(matches!(error, StoreError::Newer { found: 99, .. }), "{error}");
    assert!(!error.is_damage());
}

#[test]
fn damage_is_told_and_what_is_set_aside_is_kept() {
    let (dir, path) = temporary();
    std::fs::write(
        &path,
        "this was never a database, and is longer than a header of a hundred bytes: ".repeat(9),
    )
    .unwrap();
    assert!(Store::open(&path).unwrap_err().is_damage());
    let kept = set_aside(&path, "2026-11-25-141203").unwrap();
    assert_eq!(kept, dir.path().join("history-damaged-2026-11-25-141203.db"));
    assert!(std::fs::read_to_string(&kept).unwrap().starts_with("this was never"));
    let mut store = Store::open(&path).unwrap();
    store.put(&record(1)).unwrap();
    drop(store);
    assert_eq!(
        set_aside(&path, "2026-11-25-141203").unwrap().file_name().unwrap(),
        "history-damaged-2026-11-25-141203-1.db"
    );
    let other = Connection::open(&path).unwrap();
    other.execute_batch("CREATE TABLE t (x); PRAGMA user_version = 1").unwrap();
    drop(other);
    assert!(Store::open(&path).unwrap_err().is_damage(), "some other program's database");
}

#[test]
fn readers_go_on_while_a_run_is_put_in() {
    let (_dir, path) = temporary();
    let mut writer = Store::open(&path).unwrap();
    writer.put(&record(1)).unwrap();
    let reader = Store::open(&path).unwrap();
    let transaction =
        writer.connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).unwrap();
    transaction.execute("DELETE FROM measurement", []).unwrap();
    assert_eq!(reader.series("Bramble", 0).unwrap().iter().map(|s| s.points.len()).sum::<usize>(), 2);
    transaction.rollback().unwrap();
}

#[test]
fn service_records_are_mirrored() {
    let (_dir, path) = temporary();
    let mut store = Store::open(&path).unwrap();
    let event = ServiceEvent { date: "2026-11-25".into(), at_us: 5, text: "t".into(), work: Work::Refitted };
    store.set_services("Bramble", &[event.clone(), event]).unwrap();
    assert_eq!(store.services("Bramble").unwrap().len(), 2);
    store.set_services("Bramble", &[]).unwrap();
    assert!(store.services("Bramble").unwrap().is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn whatever_happens_to_its_bytes_nothing_panics(at in 0.0..1.0f64, bytes in prop::collection::vec(any::<u8>(), 1..400), cut in any::<bool>()) {
        let (_dir, path) = temporary();
        let mut store = Store::open(&path).unwrap();
        (1..=4).for_each(|n| store.put(&record(n)).unwrap());
        store.connection.pragma_update_and_check(None, "wal_checkpoint", "TRUNCATE", |_| Ok(())).unwrap();
        drop(store);
        let mut content = std::fs::read(&path).unwrap();
        let from = (at * content.len() as f64) as usize;
        if cut {
            content.truncate(from);
        } else {
            for (place, byte) in content.iter_mut().skip(from).zip(bytes) {
                *place = byte;
            }
        }
        std::fs::write(&path, content).unwrap();
        // Read and written, or told as damage (or as newer, where the version itself was hit).
        let used = Store::open(&path).and_then(|mut store| {
            store.check()?;
            store.put(&record(9))?;
            store.series("Bramble", 0)?;
            store.runs(&Filter::default()).map(|_| ())
        });
        if let Err(error) = used {
            prop_assert!(error.is_damage() || matches!(error, StoreError::Newer { .. }), "{error:?}");
        }
    }
}
