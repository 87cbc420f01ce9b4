//! What pages say, over the logbook as it is on the disk.

use super::{Served, wait_for};
use std::fs;

/// Imports a still of the starter's sensors as a run of Bramble; gives its name.
fn still(served: &Served) -> String {
    use crate::jobs::import;
    let vehicle = crate::vehicle::file::load(&served.folder.path().join("Bramble/vehicle.toml")).unwrap();
    let rig = crate::rig::file::load(&served.folder.path().join("Bramble/rig.toml"), &vehicle).unwrap();
    let mut table = String::from("t_s,phase");
    for sensor in &rig.sensors {
        for suffix in sensor.channel_suffixes() {
            let dot = if suffix.is_empty() { "" } else { "." };
            table += &format!(",{}{dot}{suffix}", sensor.name);
        }
    }
    table.push('\n');
    let columns = table.matches(',').count() - 1;
    for k in 0..600 {
        table += &format!("{:.2},still{}\n", f64::from(k) * 0.01, ",100".repeat(columns));
    }
    let path = served.folder.path().join("readings.csv");
    fs::write(&path, table).unwrap();
    let request = import::Request {
        table: path,
        vehicle_folder: served.folder.path().join("Bramble"),
        test: crate::run::plan::Test::parse("still"),
        facts: crate::run::Facts { notes: "<b>odd</b> & \"quoted\"".into(), ..Default::default() },
        now: (served.app.rim.now)(),
    };
    import::run(&request).unwrap().name
}

#[test]
fn runs_are_listed_filtered_and_shown() {
    let served = Served::new();
    let (first, second) = (still(&served), still(&served));
    wait_for(async {
        let (status, list) = served.get("/").await;
        assert_eq!(status, 200, "{list}");
        assert!(list.contains("2 runs") && list.contains(&format!("/run/Bramble/{first}")), "{list}");
        assert!(list.contains("&lt;b&gt;odd") && !list.contains("<b>odd"), "notes are text");
        assert!(list.find(&second) < list.find(&format!("/run/Bramble/{first}\"")), "the latest first");
        for (query, says) in [
            ("vehicle=Bramble&test=still", "2 runs"),
            ("test=ramp", "No run fits"),
            ("since=2026-11-25&until=2026-11-26", "2 runs"),
            ("since=2026-11-26", "No run fits"),
            ("skip=1", "here numbers 2 to 2"),
            ("skip=9", "none on this page"),
        ] {
            let (status, list) = served.get(&format!("/?{query}")).await;
            assert!(status == 200 && list.contains(says), "{query}: {list}");
        }
        for (query, status) in
            [("since=soon", 400), ("skip=-1", 400), ("test=jump", 400), ("vehicle=Nobody", 404)]
        {
            assert_eq!(served.get(&format!("/?{query}")).await.0, status, "{query}");
        }
        let (status, run) = served.get(&format!("/run/Bramble/{first}")).await;
        assert!(status == 200 && run.contains("Set beside an earlier run") && run.contains(&second), "{run}");
        assert!(run.contains("Before anyone goes near a lifted or moving vehicle"));
        let (status, report) = served.get(&format!("/run/Bramble/{first}/report.html")).await;
        assert!(status == 200 && report.contains("base64,"), "one file with its font");
        let both = format!("/compare?vehicle=Bramble&first={first}&second={second}");
        let (status, compared) = served.get(&both).await;
        assert!(status == 200 && compared.contains("First run") && compared.contains(&second), "{compared}");
        let (status, wear) = served.get("/wear").await;
        assert!(status == 200 && wear.contains("/wear/Bramble"), "{wear}");
        let (status, wear) = served.get("/wear/Bramble").await;
        assert!(status == 200 && wear.contains("2 runs in the history"), "{wear}");
    });
}

#[test]
fn mistakes_in_files_are_shown_with_their_lines() {
    let served = Served::new();
    let run = still(&served);
    let copy = served.folder.path().join("Bramble/runs").join(&run).join("rig.toml");
    fs::write(&copy, "format = 1\nrates = 3\n").unwrap();
    wait_for(async {
        let (status, page) = served.get(&format!("/run/Bramble/{run}")).await;
        assert!(status == 422 && page.contains("rates") && page.contains("<pre"), "{status} {page}");
        let (status, list) = served.get("/").await;
        assert!(status == 200 && list.contains("Not measured"), "{list}");
    });
}
