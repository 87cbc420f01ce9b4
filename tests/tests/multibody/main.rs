//! Lengths, poses, numbers and loads of the built program against a general multibody library, MuJoCo from PyPI.
//!
//! `tests/multibody/compare.py` works the layouts of `tests/data/layouts` out with the library and holds the program to them.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::env;
use std::path::Path;
use std::process::Command;

#[test]
fn a_general_multibody_library_agrees() {
    // The program that `cargo build --workspace` puts two folders above a test.
    let test = env::current_exe().unwrap();
    let program = test.ancestors().nth(2).unwrap().join("hingeline");
    assert!(program.is_file(), "{} is missing: cargo build --workspace makes it", program.display());
    let python = env::var("HINGELINE_PYTHON").unwrap_or_else(|_| "python3".into());
    let compared = Command::new(&python)
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("multibody/compare.py"))
        .arg(&program)
        .env("OPENBLAS_NUM_THREADS", "1")
        .output()
        .unwrap_or_else(|e| panic!("{python}: {e}"));
    let (told, errors) =
        (String::from_utf8_lossy(&compared.stdout), String::from_utf8_lossy(&compared.stderr));
    assert!(
        compared.status.success(),
        "{told}{errors}\nIt needs a Python with numpy and mujoco: run tests/run, which makes one, or \
         `pip install -r tests/oracle/requirements.txt`, or name yours in HINGELINE_PYTHON"
    );
    // A comparison of nothing would agree too.
    assert!(told.lines().filter(|line| line.starts_with("ok ")).count() > 200, "{told}");
}
