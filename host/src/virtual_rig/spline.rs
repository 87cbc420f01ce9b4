//! Smooth curves through the states that were solved, so that the virtual vehicle's motion has accelerations.

/// A natural cubic spline through rows of `N` values; twice continuously differentiable.
#[derive(Debug, Clone, PartialEq)]
pub struct Spline<const N: usize> {
    knots: Vec<f64>,
    values: Vec<[f64; N]>,
    /// Second derivatives at the knots.
    bends: Vec<[f64; N]>,
}

impl<const N: usize> Spline<N> {
    /// Through `rows` of a strictly rising parameter and values; `None` where there are fewer than two, or they do not rise.
    pub fn through(rows: Vec<(f64, [f64; N])>) -> Option<Self> {
        let rises = rows.windows(2).all(|w| matches!(w, [a, b] if b.0 > a.0));
        if rows.len() < 2 || !rises {
            return None;
        }
        let (knots, values): (Vec<f64>, Vec<[f64; N]>) = rows.into_iter().unzip();
        let bends = bends(&knots, &values);
        Some(Self { knots, values, bends })
    }

    /// First and last parameter.
    pub fn ends(&self) -> [f64; 2] {
        let at = |k: usize| self.knots.get(k).copied().unwrap_or(0.0);
        [at(0), at(self.knots.len() - 1)]
    }

    /// The values at `at`, held at the ends beyond them.
    pub fn at(&self, at: f64) -> [f64; N] {
        let [first, last] = self.ends();
        let at = at.clamp(first, last);
        let after = self.knots.partition_point(|k| *k < at).clamp(1, self.knots.len() - 1);
        let (lo, hi) = (after - 1, after);
        let width = self.knots[hi] - self.knots[lo];
        let b = (at - self.knots[lo]) / width;
        let a = 1.0 - b;
        let (ca, cb) = ((a * a * a - a) * width * width / 6.0, (b * b * b - b) * width * width / 6.0);
        std::array::from_fn(|n| {
            a * self.values[lo][n] + b * self.values[hi][n] + ca * self.bends[lo][n] + cb * self.bends[hi][n]
        })
    }
}

/// Second derivatives of the natural spline by the tridiagonal elimination (any numerical analysis text).
fn bends<const N: usize>(knots: &[f64], values: &[[f64; N]]) -> Vec<[f64; N]> {
    let count = knots.len();
    let mut upper = vec![0.0; count];
    let mut right = vec![[0.0; N]; count];
    for k in 1..count - 1 {
        let (before, after) = (knots[k] - knots[k - 1], knots[k + 1] - knots[k]);
        let pivot = 2.0 * (before + after) - before * upper[k - 1];
        upper[k] = after / pivot;
        right[k] = std::array::from_fn(|n| {
            let turn = (values[k + 1][n] - values[k][n]) / after - (values[k][n] - values[k - 1][n]) / before;
            (6.0 * turn - before * right[k - 1][n]) / pivot
        });
    }
    for k in (1..count - 1).rev() {
        right[k] = std::array::from_fn(|n| right[k][n] - upper[k] * right[k + 1][n]);
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_passes_through_its_rows_and_follows_a_sine_between() {
        let knots: Vec<f64> = (0..=60).map(|k| f64::from(k) * 0.1 + 0.02 * f64::from(k % 3)).collect();
        let rows = knots.iter().map(|t| (*t, [t.sin(), 2.0 * t])).collect();
        let spline = Spline::through(rows).expect("rows rise");
        for t in &knots {
            assert_eq!(spline.at(*t)[0], t.sin());
        }
        // Error of a cubic spline: 5/384·h⁴·max|f⁗| = 4e-6 with h = 0.13; the natural ends cost more, so stay inside.
        for k in 0..200 {
            let t = 1.5 + 0.015 * f64::from(k);
            assert!((spline.at(t)[0] - t.sin()).abs() < 4e-6);
            assert!((spline.at(t)[1] - 2.0 * t).abs() < 1e-12, "a straight line stays one");
        }
    }

    #[test]
    fn rows_that_do_not_rise_make_no_curve() {
        assert!(Spline::through(vec![(0.0, [1.0]), (0.0, [2.0])]).is_none());
        assert!(Spline::<1>::through(vec![(0.0, [1.0])]).is_none());
    }
}
