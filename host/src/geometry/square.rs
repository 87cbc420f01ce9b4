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

/// A symmetric positive definite matrix in `A = L·D·Lᵀ`.
#[derive(Debug, Clone, Copy)]
pub struct Definite<const N: usize> {
    /// `L` below its diagonal of ones.
    lower: [[f64; N]; N],
    pivots: [f64; N],
}

impl<const N: usize> Definite<N> {
    /// Factors `a`; `None` if it is not positive definite.
    pub fn new(a: &[[f64; N]; N]) -> Option<Self> {
        let mut left = *a;
        let (mut lower, mut pivots) = ([[0.0; N]; N], [0.0; N]);
        for k in 0..N {
            // Also none for what is not a number.
            let pivot = (left[k][k] > 0.0).then_some(left[k])?;
            pivots[k] = pivot[k];
            for i in k + 1..N {
                let factor = pivot[i] / pivot[k];
                lower[i][k] = factor;
                for j in k + 1..N {
                    left[i][j] -= factor * pivot[j];
                }
            }
        }
        Some(Self { lower, pivots })
    }

    /// The solution `X` of `A·X = B` for `M` right-hand sides, given by rows.
    pub fn solve<const M: usize>(&self, b: &[[f64; M]; N]) -> [[f64; M]; N] {
        let mut x = *b;
        for k in 1..N {
            for j in 0..k {
                let (known, factor) = (x[j], self.lower[k][j]);
                x[k].iter_mut().zip(known).for_each(|(x, known)| *x -= factor * known);
            }
        }
        for (row, pivot) in x.iter_mut().zip(&self.pivots) {
            row.iter_mut().for_each(|x| *x /= pivot);
        }
        for k in (0..N).rev() {
            for j in k + 1..N {
                let (known, factor) = (x[j], self.lower[j][k]);
                x[k].iter_mut().zip(known).for_each(|(x, known)| *x -= factor * known);
            }
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

    proptest! {
        #[test]
        fn definite_matrices_agree_with_a_general_library(
            a in prop::array::uniform25(-1.0..1.0f64),
            b in prop::array::uniform10(-1.0..1.0f64),
            lift in 0.0..4.0f64,
        ) {
            let square = Matrix5::from_row_slice(&a);
            let library = square + square.transpose() + Matrix5::identity() * lift;
            let least = library.symmetric_eigenvalues().min();
            prop_assume!(least.abs() > 1e-3);
            let own = Definite::new(&std::array::from_fn(|i| std::array::from_fn(|j| library[(i, j)])));
            prop_assert_eq!(own.is_some(), least > 0.0);
            if let Some(own) = own {
                let right: [[f64; 2]; 5] = std::array::from_fn(|i| [b[2 * i], b[2 * i + 1]]);
                let x = own.solve(&right);
                for side in 0..2 {
                    let column = |rows: &[[f64; 2]; 5]| Vector5::from_fn(|i, _| rows[i][side]);
                    prop_assert!((library * column(&x) - column(&right)).norm() < 1e-13 * (1.0 + column(&x).norm()));
                }
            }
        }
    }

    #[test]
    fn a_singular_matrix_has_no_factors() {
        assert!(Factored::new([[1.0, 2.0], [2.0, 4.0]]).is_none());
    }
}
