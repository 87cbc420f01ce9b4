//! Where each part of the host may look: the arrows of the architecture, and none back.

use crate::sources::{Source, production};
use std::collections::BTreeMap;

/// Each module of `host/src` with the modules that it may use besides itself. Data flows down this table: a module uses only
/// what stands above it. `measure` never sees `design`: the pose is measured without the design.
const MAY_USE: [(&str, &[&str]); 17] = [
    ("explain", &[]),
    ("geometry", &[]),
    ("files", &["explain", "geometry"]),
    ("vehicle", &["explain", "geometry", "files"]),
    ("rig", &["explain", "geometry", "files", "vehicle"]),
    ("design", &["explain", "geometry", "files", "vehicle"]),
    ("run", &["explain", "geometry", "files", "vehicle", "rig", "hingeline_protocol"]),
    ("calibrate", &["explain", "geometry", "vehicle", "rig", "run"]),
    ("measure", &["explain", "geometry", "vehicle", "rig", "run"]),
    ("judge", &["explain", "geometry", "vehicle", "rig", "run", "design", "measure"]),
    ("history", &["explain", "geometry", "files", "vehicle", "run", "measure", "judge"]),
    ("device", &["explain", "files", "vehicle", "rig", "run", "hingeline_protocol"]),
    (
        "virtual_rig",
        &[
            "explain",
            "geometry",
            "vehicle",
            "rig",
            "run",
            "design",
            "device",
            "hingeline_protocol",
            "hingeline_firmware",
        ],
    ),
    (
        "jobs",
        &[
            "explain",
            "geometry",
            "files",
            "vehicle",
            "rig",
            "design",
            "run",
            "calibrate",
            "measure",
            "judge",
            "history",
            "device",
            "virtual_rig",
            "hingeline_protocol",
        ],
    ),
    (
        "show",
        &[
            "explain", "geometry", "files", "vehicle", "rig", "design", "run", "measure", "judge", "history",
            "jobs",
        ],
    ),
    ("serve", &["explain", "files", "vehicle", "run", "history", "device", "jobs", "show"]),
    (
        "cli",
        &[
            "explain",
            "files",
            "vehicle",
            "rig",
            "design",
            "run",
            "calibrate",
            "measure",
            "judge",
            "history",
            "device",
            "jobs",
            "show",
            "serve",
        ],
    ),
];

/// Crates that have one home in the host: text becomes types in `files`, arguments in `cli`, pictures in `show`.
const ONE_HOME: [(&str, &[&str]); 13] = [
    ("toml", &["files"]),
    ("clap", &["cli"]),
    ("indicatif", &["cli"]),
    ("owo_colors", &["cli", "show"]),
    ("parquet", &["jobs"]),
    ("plotters", &["show"]),
    ("maud", &["show"]),
    ("serialport", &["device"]),
    ("rusqlite", &["history"]),
    ("axum", &["serve"]),
    ("tokio", &["serve"]),
    ("hyper", &["serve"]),
    ("qrcode", &["show"]),
];

/// Where clocks are read: the command line, and lines that wait for the other end. Everybody else is given the time.
const CLOCKS: [&str; 5] = [
    "host/src/cli/",
    "host/src/main.rs",
    "host/src/device/line.rs",
    "host/src/device/memory.rs",
    "host/src/device/ports.rs",
];

/// The module of `host/src` that a file belongs to; none for `lib.rs` and `main.rs`, which only name modules.
fn module_of(source: &Source) -> Option<String> {
    let below = source.path.strip_prefix("host/src/")?;
    let first = below.split('/').next()?.trim_end_matches(".rs");
    (!matches!(first, "lib" | "main")).then(|| first.to_owned())
}

/// Steps from the crate's root to the module that a file holds.
fn depth(source: &Source) -> usize {
    let steps = source.path.trim_start_matches("host/src/").matches('/').count() + 1;
    if source.path.ends_with("/mod.rs") { steps - 1 } else { steps }
}

/// Heads of the paths in a piece of code that leave the file's module: what follows `crate::`, enough `super::` to reach the
/// root, and the project's own crates.
fn heads(code: &str, depth: usize) -> Vec<String> {
    let root = format!("{}{{", "super::".repeat(depth));
    let flat: String = code.split_whitespace().collect::<Vec<_>>().join(" ");
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let mut found = Vec::new();
    for start in ["crate::", root.trim_end_matches('{'), "hingeline_protocol", "hingeline_firmware"] {
        for (at, _) in flat.match_indices(start) {
            let before = flat[..at].chars().next_back().unwrap_or(' ');
            if before.is_alphanumeric() || before == '_' || before == ':' {
                continue;
            }
            let rest = &flat[at + start.len()..];
            match rest.strip_prefix('{') {
                _ if !start.ends_with(':') => found.push(start.to_owned()),
                Some(list) => found.extend(top_level_items(list).iter().map(|i| word(i))),
                None => found.push(word(rest)),
            }
        }
    }
    found
}

/// The items of a `{a, b::{c, d}, e}` whose brace is already open.
fn top_level_items(list: &str) -> Vec<String> {
    let (mut items, mut item, mut open) = (Vec::new(), String::new(), 0);
    for c in list.chars() {
        match c {
            '}' if open == 0 => break,
            ',' if open == 0 => items.push(std::mem::take(&mut item)),
            _ => {
                open += i32::from(c == '{') - i32::from(c == '}');
                item.push(c);
            }
        }
    }
    items.push(item);
    items.iter().map(|i| i.trim().to_owned()).filter(|i| !i.is_empty()).collect()
}

#[test]
fn arrows_point_one_way() {
    let allowed: BTreeMap<&str, &[&str]> = MAY_USE.into_iter().collect();
    let known = |name: &str| allowed.contains_key(name) || name.starts_with("hingeline_");
    let mut wrong = Vec::new();
    for source in production("host/src") {
        let Some(module) = module_of(&source) else { continue };
        let Some(may_use) = allowed.get(module.as_str()) else {
            panic!("{}: the module {module} has no row in MAY_USE: say what it may use", source.path);
        };
        for head in heads(&source.text, depth(&source)) {
            if known(&head) && head != module && !may_use.contains(&head.as_str()) {
                wrong.push(format!("{}: {module} uses {head}", source.path));
            }
        }
    }
    assert!(wrong.is_empty(), "against the arrows:\n{}", wrong.join("\n"));
}

#[test]
fn the_table_of_arrows_has_no_circle() {
    for (row, (module, may_use)) in MAY_USE.iter().enumerate() {
        for used in may_use.iter().filter(|u| !u.starts_with("hingeline_")) {
            assert!(
                MAY_USE[..row].iter().any(|(earlier, _)| earlier == used),
                "{module} uses {used}, which does not stand above it"
            );
        }
    }
}

#[test]
fn measuring_never_sees_the_design() {
    let row = MAY_USE.iter().find(|(module, _)| *module == "measure").unwrap();
    assert!(!row.1.iter().any(|used| ["design", "judge", "jobs", "show", "cli"].contains(used)));
}

#[test]
fn a_crate_with_one_home_stays_there() {
    let mut wrong = Vec::new();
    for source in production("host/src") {
        let home = module_of(&source).unwrap_or_else(|| "cli".into());
        for (name, homes) in ONE_HOME {
            let named =
                source.text.contains(&format!("{name}::")) && !source.text.contains(&format!("_{name}::"));
            if named && !homes.contains(&home.as_str()) {
                wrong.push(format!("{}: {name} belongs in {}", source.path, homes.join(" or ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn clocks_are_read_at_the_rim() {
    let reads = ["Instant::now", "SystemTime::now", "Zoned::now", "Timestamp::now"];
    let mut wrong = Vec::new();
    for source in production("host/src") {
        let at_the_rim = CLOCKS.iter().any(|place| source.path.starts_with(place));
        if !at_the_rim && reads.iter().any(|read| source.text.contains(read)) {
            wrong.push(source.path);
        }
    }
    assert!(wrong.is_empty(), "time is an argument; these read a clock: {wrong:?}");
}

#[test]
fn the_wire_and_the_logger_know_nothing_of_a_computer() {
    for folder in ["protocol/src", "firmware/src"] {
        for source in production(folder) {
            for (line, text) in source.text.lines().enumerate() {
                let outside =
                    text.contains("std::") && !text.contains("core::") || text.contains("extern crate");
                assert!(!outside, "{}:{}: no_std code reaches for {text}", source.path, line + 1);
            }
        }
    }
}

#[test]
fn heads_are_found_however_they_are_written() {
    let code = "use crate::design::State;\nuse crate::{\n    geometry::{Pose, pose},\n    run,\n};\nlet x = super::super::judge::f();\nuse hingeline_protocol::Message;";
    let mut found = heads(code, 2);
    found.sort();
    assert_eq!(found, ["design", "geometry", "hingeline_protocol", "judge", "run"]);
    assert!(!heads(code, 3).contains(&"judge".to_owned()));
}
