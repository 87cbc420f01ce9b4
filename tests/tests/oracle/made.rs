//! Has the oracle make a run, and puts the run through the program as a builder would.

use hingeline::jobs::compare;
use hingeline::jobs::source::Request;
use hingeline::judge::{AxleComparison, Comparison};
use serde_json::Value;
use std::env;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// Angle of the ramp, degrees: also told to the program, as a builder would.
const RAMP_DEG: f64 = 20.0;

/// A run, its truth, and what the program says of it.
pub struct Made {
    /// What it was made with, for messages.
    pub name: String,
    /// `truth.json`.
    pub truth: Value,
    /// The program's comparison of the run with the drawing.
    pub comparison: Comparison,
}

impl Made {
    /// The one axle.
    pub fn axle(&self) -> &AxleComparison {
        &self.comparison.axles[0]
    }

    /// True number at ride height; none where the axle has no such number.
    pub fn true_number(&self, key: &str) -> Option<f64> {
        self.truth["axles"][0]["ride"][key].as_f64()
    }
}

/// A Python that carries what the oracle needs.
fn python() -> &'static str {
    static PYTHON: OnceLock<String> = OnceLock::new();
    PYTHON.get_or_init(|| {
        let python = env::var("HINGELINE_PYTHON").unwrap_or_else(|_| "python3".into());
        let found = Command::new(&python).args(["-c", "import numpy, scipy"]).output();
        assert!(
            found.is_ok_and(|output| output.status.success()),
            "the oracle needs a Python with numpy and scipy, and {python} is none: run tests/run, which makes one, or \
             `pip install -r tests/oracle/requirements.txt`, or name yours in HINGELINE_PYTHON"
        );
        python
    })
}

/// A run of `case` with the sensors of `rig`, sensor `faults` (`none` or `planted`), a seed, and further arguments.
pub fn make(case: &str, rig: &str, faults: &str, seed: u64, more: &[&str]) -> Made {
    let folder = TempDir::new().unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("oracle/make_run.py");
    let made = Command::new(python())
        .arg(script)
        .args(["--case", case, "--rig", rig, "--faults", faults, "--seed", &seed.to_string()])
        .args(["--ramp-angle", &RAMP_DEG.to_string(), "--out"])
        .arg(folder.path())
        .args(more)
        // Small matrices: further threads only get in each other's way.
        .env("OPENBLAS_NUM_THREADS", "1")
        .output()
        .unwrap();
    let name = format!("{case}, {rig} rig, faults {faults}, seed {seed} {}", more.join(" "));
    assert!(made.status.success(), "{name}: {}", String::from_utf8_lossy(&made.stderr));
    let truth = serde_json::from_slice(&fs::read(folder.path().join("truth.json")).unwrap()).unwrap();
    let request = Request {
        run: folder.path().join("run.csv").to_string_lossy().into_owned(),
        ramp_angle_rad: Some(RAMP_DEG.to_radians()),
        ..Request::default()
    };
    let compared = compare::with_design(&request).unwrap_or_else(|e| panic!("{name}: {e}"));
    Made { name, truth, comparison: compared.comparison }
}
