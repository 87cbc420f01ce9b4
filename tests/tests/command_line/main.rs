//! The built program as a user or a script meets it: exit status, standard output, standard error, files left behind.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, reason = "tests")]

mod broken_files;
mod calibrate;
mod device;
mod give;
mod journey;
mod newcomers;
mod over_time;
mod recording;
mod reports;
mod screens;
mod serve;
mod slips;
mod tables;
mod ten_thousand;
mod tune;
mod worked_values;
mod worn_joint;

use hingeline_tests::program;
use std::path::Path;
use std::process::{Command, Output};

/// The program, in a folder, without colours and without a terminal.
fn hingeline(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(program())
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .env_remove("COLUMNS")
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program starts")
}

/// Standard output of a run that must end well.
fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = hingeline(folder, arguments);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "hingeline {}: {:?}\n{errors}",
        arguments.join(" "),
        output.status.code()
    );
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// Standard output of a run that must end well, as JSON.
fn json(folder: &Path, arguments: &[&str]) -> serde_json::Value {
    let text = done(folder, arguments);
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("hingeline {}: {e}\n{text}", arguments.join(" ")))
}
