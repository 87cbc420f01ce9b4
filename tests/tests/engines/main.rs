//! What `export` writes, read back by two query engines from PyPI, DuckDB and Polars, that share no code with the program.
//!
//! `tests/engines/read_back.py` makes the runs, exports them and compares.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use hingeline_tests::program;
use std::env;
use std::path::Path;
use std::process::Command;

#[test]
fn two_engines_read_what_was_measured() {
    let python = env::var("HINGELINE_PYTHON").unwrap_or_else(|_| "python3".into());
    let read = Command::new(&python)
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("engines/read_back.py"))
        .arg(program())
        .env("OPENBLAS_NUM_THREADS", "1")
        .output()
        .unwrap_or_else(|e| panic!("{python}: {e}"));
    let (told, errors) = (String::from_utf8_lossy(&read.stdout), String::from_utf8_lossy(&read.stderr));
    assert!(
        read.status.success(),
        "{told}{errors}\nIt needs a Python with duckdb and polars: run tests/run, which makes one, or \
         `pip install -r tests/oracle/requirements.txt`, or name yours in HINGELINE_PYTHON"
    );
    // A reading of nothing would succeed too.
    assert!(told.lines().filter(|line| line.starts_with("ok ")).count() > 50, "{told}");
}
