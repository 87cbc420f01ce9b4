//! The workspace: what stands at its top, that every crate holds to its lints, and that the changelog knows its version.

use crate::sources::root;
use std::fs;
use toml::{Table, Value};

/// What stands at the top of the project beside files whose names begin with a dot.
const TOP: [&str; 11] = [
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "firmware",
    "hardware-notes",
    "host",
    "protocol",
    "tests",
];

fn table(path: &str) -> Table {
    fs::read_to_string(root().join(path)).unwrap().parse().unwrap_or_else(|e| panic!("{path}: {e}"))
}

#[test]
fn the_top_holds_exactly_these_names() {
    let mut names: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && name != "target")
        .collect();
    names.sort();
    assert_eq!(names, TOP);
}

/// How strict a lint's level is.
fn strictness(level: &Value) -> usize {
    let word = level.as_str().or(level.get("level").and_then(Value::as_str)).unwrap_or_default();
    ["allow", "warn", "deny", "forbid"]
        .iter()
        .position(|l| *l == word)
        .unwrap_or_else(|| panic!("no lint level: {level}"))
}

#[test]
fn every_crate_holds_to_the_lints_of_the_workspace() {
    let workspace = table("Cargo.toml");
    let common = workspace["workspace"]["lints"].as_table().unwrap();
    for member in workspace["workspace"]["members"].as_array().unwrap() {
        let path = format!("{}/Cargo.toml", member.as_str().unwrap());
        let own = table(&path).get("lints").cloned().unwrap_or_else(|| panic!("{path} has no [lints]"));
        if own.get("workspace").and_then(Value::as_bool) == Some(true) {
            continue;
        }
        for (tool, lints) in common {
            for (lint, level) in lints.as_table().unwrap() {
                let here = own.get(tool).and_then(|l| l.get(lint)).map_or(0, strictness);
                assert!(here >= strictness(level), "{path}: {tool}::{lint} is laxer than the workspace's");
            }
        }
    }
}

#[test]
fn every_crate_shares_version_edition_and_licence() {
    for member in table("Cargo.toml")["workspace"]["members"].as_array().unwrap() {
        let path = format!("{}/Cargo.toml", member.as_str().unwrap());
        let package = table(&path)["package"].clone();
        for key in ["version", "edition", "rust-version", "license", "publish"] {
            let shared = package.get(key).and_then(|v| v.get("workspace")).and_then(Value::as_bool);
            assert_eq!(shared, Some(true), "{path}: {key} is not the workspace's");
        }
    }
}

#[test]
fn the_changelog_knows_this_version() {
    let version = table("Cargo.toml")["workspace"]["package"]["version"].as_str().unwrap().to_owned();
    let changelog = fs::read_to_string(root().join("CHANGELOG.md")).unwrap();
    let newest = changelog.lines().find_map(|l| l.strip_prefix("## ")).unwrap_or_default();
    assert!(
        newest.starts_with(&version),
        "the newest entry of CHANGELOG.md is {newest:?}, the version is {version}"
    );
}
