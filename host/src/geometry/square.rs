//! Small square systems on the stack, for solving that must not allocate.

/// A square matrix in `P·A = L·U`, factored by Gaussian elimination with partial pivoting.
#[derive(Debug, Clone, Copy)]
pub struct Factored<const N: usize> {
    lu: [[f64; N]; N],
    order: [usize; N],
    /// Sign of the determinant.
    pub sign: f64,
}

impl<const N: usize> Factored<N> {
    /// Factors `a`, given by rows; `None` if a pivot vanishes.
    pub fn new(a: [[f64; N]; N]) -> Option<Self> {
        let mut lu = a;
        let mut order = std::array::from_fn(|k| k);
        let mut sign = 1.0;
        for k in 0..N {
            let pivot = (k..N).max_by(|&i, &j| lu[i][k].abs().total_cmp(&lu[j][k].abs()))?;
            if lu[pivot][k] == 0.0 || !lu[pivot][k].is_finite() {
                return None;
            }
            if pivot != k {
                lu.swap(pivot, k);
                order.swap(pivot, k);
                sign = -sign;
            }
            if lu[k][k] < 0.0 {
                sign = -sign;
            }
            let upper = lu[k];
            for row in lu.iter_mut().skip(k + 1) {
                let factor = row[k] / upper[k];
                row[k] = factor;
                for j in k + 1..N {
                    row[j] -= factor * upper[j];
                }
            }
        }
        Some(Self { lu, order, sign })
    }

    /// The solution `x` of `A·x = b`.
    pub fn solve(&self, b: &[f64; N]) -> [f64; N] {
        let mut x = self.order.map(|k| b[k]);
        for k in 1..N {
            for j in 0..k {
                x[k] -= self.lu[k][j] * x[j];
            }
        }
        for k in (0..N).rev() {
            for j in k + 1..N {
                x[k] -= self.lu[k][j] * x[j];
            }
            x[k] /= self.lu[k][k];
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Matrix5, Vector5};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn agrees_with_a_general_library(a in prop::array::uniform25(-1.0..1.0f64), b in prop::array::uniform5(-1.0..1.0f64)) {
            let library = Matrix5::from_row_slice(&a);
            let determinant = library.determinant();
            prop_assume!(determinant.abs() > 1e-3);
            let own = Factored::new(std::array::from_fn(|i| std::array::from_fn(|j| a[5 * i + j]))).unwrap();
            let x = Vector5::from(own.solve(&b));
            // A residual of rounding size, whatever the condition of the matrix.
            prop_assert!((library * x - Vector5::from(b)).norm() < 1e-13 * (1.0 + x.norm()));
            prop_assert_eq!(own.sign, determinant.signum());
        }
    }

    #[test]
    fn a_singular_matrix_has_no_factors() {
        assert!(Factored::new([[1.0, 2.0], [2.0, 4.0]]).is_none());
    }
}
