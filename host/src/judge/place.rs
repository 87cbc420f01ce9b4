//! Says in words where a point seems to be, from where it was thought to be.

use crate::geometry::{DMatrix, Vector3};

/// A coordinate is told when its standard uncertainty is below this, m, and its size beyond two of them.
const TELLING_M: f64 = 0.006;
const WORDS: [(&str, &str); 3] =
    [("further forward", "further back"), ("further left", "further right"), ("higher", "lower")];

/// The coordinates of an offset that the data resolve, "20 ± 4 mm lower and …", with the largest of them and its standard
/// uncertainty, m; none where no coordinate is resolved by itself.
pub fn along_axes(mean: &Vector3<f64>, covariance: &DMatrix<f64>) -> Option<(String, f64, f64)> {
    let told: Vec<(f64, f64, &str)> = (0..3)
        .filter_map(|axis| {
            let (offset, u) = (mean[axis], covariance[(axis, axis)].max(0.0).sqrt());
            let word = if offset > 0.0 { WORDS[axis].0 } else { WORDS[axis].1 };
            (u < TELLING_M && offset.abs() > 2.0 * u).then_some((offset.abs(), u, word))
        })
        .collect();
    let (size, u, _) = told.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let words: Vec<String> = told
        .iter()
        .map(|(offset, u, word)| format!("{:.0} ± {:.0} mm {word}", offset * 1e3, 1.96 * u * 1e3))
        .collect();
    Some((words.join(" and "), size, u))
}

/// The direction along which an offset is most surely not zero, in words, with its size and standard uncertainty, m.
pub fn along_best(mean: &Vector3<f64>, covariance: &DMatrix<f64>) -> (String, f64, f64) {
    let eigen = covariance.clone().symmetric_eigen();
    let candidates = (0..3).map(|k| {
        let v = eigen.eigenvectors.column(k);
        let direction = Vector3::new(v[0], v[1], v[2]);
        (mean.dot(&direction), eigen.eigenvalues[k].max(0.0).sqrt(), direction)
    });
    let best = candidates.max_by(|a, b| (a.0.abs() / a.1).total_cmp(&(b.0.abs() / b.1)));
    let (size, u, direction) = match best {
        Some((size, u, direction)) if size < 0.0 => (-size, u, -direction),
        Some(found) => found,
        None => (0.0, 0.0, Vector3::zeros()),
    };
    let words = format!(
        "{:.0} ± {:.0} mm off along ({:.2} forward, {:.2} left, {:.2} up)",
        size * 1e3,
        1.96 * u * 1e3,
        direction.x,
        direction.y,
        direction.z
    );
    (words, size, u)
}
