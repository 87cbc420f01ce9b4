//! What the measured motion says of where brackets really are: a likelihood for every explanation, on the same data.
//!
//! A link keeps its length. Its apparent length between the drawn ends changes over the travel exactly as far as an end is
//! not where it was drawn. The coefficients of those changes, with the covariance of noise and nuisances, are the data;
//! an explanation that is right leaves nothing of them but tolerance.

use super::brackets::Bracket;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Vector3};
use crate::measure::AxleAnalysis;
use crate::measure::links::Line;
use crate::measure::numbers::FREE;
use crate::measure::surface::SurfaceFit;

/// How far a bracket may be off when it is suspected, standard deviation of each coordinate, m.
pub const SUSPECT_M: f64 = 0.020;

/// What no explanation needs to explain, m: the surfaces' own roughness.
const ROUGHNESS_M: f64 = 2e-5;
/// Share of each coefficient's systematic part that linear propagation leaves out: products of two nuisances, such as a
/// heading of 4° with a bias of a fiftieth of gravity.
const SECOND_ORDER: f64 = 0.1;

/// The data and everything that explanations share.
pub struct Evidence<'a> {
    fit: &'a SurfaceFit,
    lines: &'a [Line],
    brackets: &'a [Bracket],
    states: Vec<(f64, f64)>,
    bodies: Vec<PlacedBody>,
    ride: PlacedBody,
    /// Covariance of the coefficients from noise, nuisances and the tolerance of every bracket.
    covariance: DMatrix<f64>,
    /// Per bracket: change of the coefficients per m of its three coordinates.
    pub(super) sensitivities: Vec<DMatrix<f64>>,
}

/// How well an explanation fits.
#[derive(Debug, Clone)]
pub struct Likelihood {
    /// Natural logarithm of the marginal likelihood, up to a constant that all explanations share.
    pub log: f64,
    /// Left-over squared in units of its covariance.
    pub chi_square: f64,
    /// Number of data.
    pub count: usize,
}

impl<'a> Evidence<'a> {
    /// From an analysis whose pose is wholly measured; `None` where link lengths could not be watched.
    pub fn gather(
        analysis: &'a AxleAnalysis,
        lines: &'a [Line],
        brackets: &'a [Bracket],
        centre: Vector3<f64>,
    ) -> Option<Self> {
        let fit = analysis.surfaces.as_ref()?;
        if lines.is_empty() || fit.beta.ncols() != FREE.len() + lines.len() {
            return None;
        }
        let travelling: Vec<_> = analysis.path.iter().filter(|p| p.phase.travels()).collect();
        let states = travelling.iter().map(|p| (p.pose.z_m, p.pose.roll_rad)).collect();
        let bodies = travelling.iter().map(|p| PlacedBody::new(&p.pose, centre)).collect();
        let ride = PlacedBody::new(&crate::geometry::Pose::default(), centre);
        let mut evidence = Self {
            fit,
            lines,
            brackets,
            states,
            bodies,
            ride,
            covariance: DMatrix::zeros(0, 0),
            sensitivities: Vec::new(),
        };
        evidence.sensitivities = brackets.iter().map(|b| evidence.sensitivity(b)).collect();
        evidence.covariance = evidence.shared_covariance();
        Some(evidence)
    }

    fn count(&self) -> usize {
        self.fit.basis.len() * self.lines.len()
    }

    /// Coefficients of the apparent changes of `lines`, line after line.
    fn coefficients(&self, lines: &[Line]) -> DVector<f64> {
        let mut changes = DMatrix::zeros(self.states.len(), lines.len());
        for (column, line) in lines.iter().enumerate() {
            let ride = line.apparent(&self.ride).0;
            for (row, body) in self.bodies.iter().enumerate() {
                changes[(row, column)] = line.apparent(body).0 - ride;
            }
        }
        stacked(&self.fit.project(&self.states, &changes))
    }

    fn sensitivity(&self, bracket: &Bracket) -> DMatrix<f64> {
        let mut all = DMatrix::zeros(self.count(), 3);
        for axis in 0..3 {
            let mut changes = DMatrix::zeros(self.states.len(), self.lines.len());
            for k in &bracket.lines {
                let end = usize::from(bracket.on == crate::vehicle::Side::Axle);
                let ride = self.lines[*k].end_gradients(&self.ride)[end][axis];
                for (row, body) in self.bodies.iter().enumerate() {
                    changes[(row, *k)] = self.lines[*k].end_gradients(body)[end][axis] - ride;
                }
            }
            all.set_column(axis, &stacked(&self.fit.project(&self.states, &changes)));
        }
        all
    }

    fn shared_covariance(&self) -> DMatrix<f64> {
        let mut covariance = self.fit.response_covariance(FREE.len(), self.lines.len());
        let second_order = covariance.diagonal() * SECOND_ORDER.powi(2);
        for (bracket, sensitivity) in self.brackets.iter().zip(&self.sensitivities) {
            covariance += sensitivity * sensitivity.transpose() * bracket.tolerance_m.powi(2);
        }
        for k in 0..covariance.nrows() {
            covariance[(k, k)] += second_order[k] + ROUGHNESS_M.powi(2);
        }
        covariance
    }

    /// Everything as drawn, within tolerance.
    pub fn as_drawn(&self) -> Option<Likelihood> {
        likelihood(&self.coefficients(self.lines), &self.covariance)
    }

    /// Other holes in use: pairs of bracket and hole.
    pub fn with_holes(&self, holes: &[(usize, usize)]) -> Option<Likelihood> {
        let mut lines = self.lines.to_vec();
        for (bracket, hole) in holes {
            lines = self.brackets[*bracket].rehung_lines(&lines, *hole)?;
        }
        likelihood(&self.coefficients(&lines), &self.covariance)
    }

    /// One bracket anywhere near.
    pub fn with_bracket_off(&self, bracket: usize) -> Option<Likelihood> {
        let s = &self.sensitivities[bracket];
        let covariance = &self.covariance + s * s.transpose() * SUSPECT_M.powi(2);
        likelihood(&self.coefficients(self.lines), &covariance)
    }

    /// Where a suspected bracket is: mean offset and its covariance, m.
    pub fn offset(&self, bracket: usize) -> Option<(Vector3<f64>, DMatrix<f64>)> {
        let s = &self.sensitivities[bracket];
        // Apparent lengths change by minus the gradient where the end is really elsewhere.
        let data = -self.coefficients(self.lines);
        let solved = self.covariance.clone().cholesky()?;
        let information = s.tr_mul(&solved.solve(s)) + DMatrix::identity(3, 3) / SUSPECT_M.powi(2);
        let covariance = information.cholesky()?.inverse();
        let mean = &covariance * s.tr_mul(&solved.solve(&data));
        Some((Vector3::new(mean[0], mean[1], mean[2]), covariance))
    }
}

fn stacked(coefficients: &DMatrix<f64>) -> DVector<f64> {
    DVector::from_iterator(coefficients.len(), coefficients.iter().copied())
}

fn likelihood(data: &DVector<f64>, covariance: &DMatrix<f64>) -> Option<Likelihood> {
    let cholesky = covariance.clone().cholesky()?;
    let chi_square = data.dot(&cholesky.solve(data));
    let log_determinant: f64 = cholesky.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
    Some(Likelihood { log: -0.5 * (chi_square + log_determinant), chi_square, count: data.len() })
}
