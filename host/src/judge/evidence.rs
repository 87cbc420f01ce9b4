//! What the measured motion says of where brackets really are: a likelihood for every explanation, on the same data.
//!
//! A link keeps its length. Its apparent length between the drawn ends changes over the travel exactly as far as an end is
//! not where it was drawn. The coefficients of those changes, with the covariance of noise and nuisances, are the data;
//! an explanation that is right leaves nothing of them but tolerance. A sensor that is clipped elsewhere changes them too, in a
//! way of its own; what the run's redundant readings say of that goes into its likelihood.

use super::brackets::Bracket;
use crate::design::Mechanism;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Vector3};
use crate::measure::AxleAnalysis;
use crate::measure::links::Line;
use crate::measure::nuisance::{Knowledge, Nuisance, What};
use crate::measure::numbers::FREE;
use crate::measure::surface::SurfaceFit;
use crate::vehicle::Side;

/// How far a bracket may be off when it is suspected, standard deviation of each coordinate, m.
const SUSPECT_M: f64 = 0.020;

/// How far the end of a sensor may be off when it is suspected, standard deviation of each coordinate, m.
const SENSOR_OFF_M: f64 = 0.030;

/// What no explanation needs to explain, m: the surfaces' own roughness.
const ROUGHNESS_M: f64 = 2e-5;
/// What bushes give is known to this part of itself.
const GIVE_U: f64 = 0.5;
/// States at which a mechanism that gives is solved at the most.
const SOLVED: usize = 150;
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
    /// What bushes and joints that give make of the coefficients.
    given: DVector<f64>,
    /// Covariance of the coefficients from noise, the tolerance of every bracket and the give of bushes.
    own: DMatrix<f64>,
    /// Change of the coefficients for one standard deviation of each nuisance.
    effects: DMatrix<f64>,
    theta: &'a DVector<f64>,
    names: &'a [String],
    /// Ends of sensors that may be elsewhere.
    pub(super) sensor_ends: Vec<SensorEnd>,
    /// Covariance of the coefficients with the nuisances as the run knows them.
    covariance: DMatrix<f64>,
    /// Per bracket: change of the coefficients per m of its three coordinates.
    pub(super) sensitivities: Vec<DMatrix<f64>>,
}

/// One end of one sensor, and its three nuisances.
#[derive(Debug, Clone)]
pub struct SensorEnd {
    /// The sensor, by place in the rig.
    pub sensor: usize,
    /// Which body the end is on.
    pub on: Side,
    columns: [usize; 3],
    /// How well its place is known, m.
    u_m: f64,
}

/// Ends whose place is known far better than a wrong bolt would put it.
fn sensor_ends(nuisances: &[Nuisance]) -> Vec<SensorEnd> {
    let first = |(k, n): (usize, &Nuisance)| {
        let on = match n.what {
            What::ChassisEnd(0) => Side::Chassis,
            What::AxleEnd(0) => Side::Axle,
            _ => return None,
        };
        let known = n.u > 0.0 && n.u < 0.5 * SENSOR_OFF_M;
        let end = SensorEnd { sensor: n.sensor?, on, columns: [k, k + 1, k + 2], u_m: n.u };
        known.then_some(end)
    };
    nuisances.iter().enumerate().filter_map(first).collect()
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
        mechanism: &Mechanism,
    ) -> Option<Self> {
        let fit = analysis.surfaces.as_ref()?;
        if lines.is_empty() || fit.beta.ncols() != FREE.len() + lines.len() {
            return None;
        }
        let centre = mechanism.centre();
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
            given: DVector::zeros(fit.basis.len() * lines.len()),
            own: DMatrix::zeros(0, 0),
            effects: fit.response_effects(FREE.len(), lines.len()),
            theta: &analysis.theta,
            names: &analysis.sensors,
            sensor_ends: sensor_ends(&fit.nuisances),
            covariance: DMatrix::zeros(0, 0),
            sensitivities: Vec::new(),
        };
        evidence.sensitivities = brackets.iter().map(|b| evidence.sensitivity(b)).collect();
        if mechanism.redundant() > 0 {
            evidence.given = evidence.given(mechanism);
        }
        evidence.own = evidence.own_covariance();
        evidence.covariance = evidence.with_knowledge(&fit.knowledge);
        Some(evidence)
    }

    /// Name of the sensor that an end belongs to, by place in `sensor_ends`.
    pub fn sensor_name(&self, end: usize) -> String {
        self.names.get(self.sensor_ends[end].sensor).cloned().unwrap_or_default()
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
        stacked(&self.fit.project(&self.states, &changes)) - &self.given
    }

    /// Change of the coefficients per m of a bracket's three coordinates, by central differences.
    fn sensitivity(&self, bracket: &Bracket) -> DMatrix<f64> {
        const STEP_M: f64 = 1e-4;
        let mut all = DMatrix::zeros(self.count(), 3);
        for axis in 0..3 {
            let moved = |sign: f64| {
                let offset = Vector3::from_fn(|k, _| if k == axis { sign * STEP_M } else { 0.0 });
                self.coefficients(&bracket.moved_lines(self.lines, &offset))
            };
            all.set_column(axis, &((moved(1.0) - moved(-1.0)) / (2.0 * STEP_M)));
        }
        all
    }

    /// Coefficients of what the drawn mechanism's own give changes the apparent lengths by: bushes of radius arms, joints of
    /// layouts with a link too many. Solved at some of the run's states.
    fn given(&self, mechanism: &Mechanism) -> DVector<f64> {
        let every = self.states.len().div_ceil(SOLVED).max(1);
        let solved: Vec<((f64, f64), PlacedBody)> = self
            .states
            .iter()
            .step_by(every)
            .filter_map(|state| {
                let pose = mechanism.solve(state.0, state.1).ok()?.pose;
                Some((*state, PlacedBody::new(&pose, mechanism.centre())))
            })
            .collect();
        let states: Vec<(f64, f64)> = solved.iter().map(|s| s.0).collect();
        let changes = DMatrix::from_fn(solved.len(), self.lines.len(), |row, column| {
            self.lines[column].apparent(&solved[row].1).0 - self.lines[column].apparent(&self.ride).0
        });
        self.fit.basis.fit(&states, &changes).map_or_else(|| DVector::zeros(self.count()), |c| stacked(&c))
    }

    fn own_covariance(&self) -> DMatrix<f64> {
        let mut covariance = self.fit.response_noise(FREE.len(), self.lines.len());
        for (bracket, sensitivity) in self.brackets.iter().zip(&self.sensitivities) {
            covariance += sensitivity * sensitivity.transpose() * bracket.tolerance_m.powi(2);
        }
        covariance += &self.given * self.given.transpose() * GIVE_U.powi(2);
        for k in 0..covariance.nrows() {
            covariance[(k, k)] += ROUGHNESS_M.powi(2) + (GIVE_U * self.given[k]).powi(2);
        }
        covariance
    }

    /// Covariance of the coefficients with the nuisances known to `knowledge`.
    fn with_knowledge(&self, knowledge: &Knowledge) -> DMatrix<f64> {
        let systematic = &self.effects * knowledge * self.effects.transpose();
        let mut covariance = &self.own + &systematic;
        for k in 0..covariance.nrows() {
            covariance[(k, k)] += SECOND_ORDER.powi(2) * systematic[(k, k)];
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

    /// One end of one sensor anywhere near: what the run then knows of the nuisances, and the factor by which its redundant
    /// readings favour that, as a logarithm.
    fn with_end_open(&self, end: &SensorEnd) -> Option<(DVector<f64>, Knowledge, f64)> {
        let ratio = (end.u_m.hypot(SENSOR_OFF_M) / end.u_m).powi(2);
        let known = self.fit.knowledge.clone().cholesky()?;
        let mut normal = known.inverse();
        // All that the run taught, as a pull on the nuisances, does not depend on what was known before.
        let pull = &normal * self.theta;
        for k in end.columns {
            normal[(k, k)] -= 1.0 - 1.0 / ratio;
        }
        let open = normal.cholesky()?;
        let theta = open.solve(&pull);
        let log_det = |l: DMatrix<f64>| 2.0 * l.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let favours = 0.5 * (pull.dot(&theta) - pull.dot(self.theta))
            - 0.5 * (log_det(open.l()) + log_det(known.l()))
            - 1.5 * ratio.ln();
        Some((theta, open.inverse(), favours))
    }

    /// One end of one sensor anywhere near, by place in `sensor_ends`.
    pub fn with_sensor_off(&self, end: usize) -> Option<Likelihood> {
        let (theta, knowledge, favours) = self.with_end_open(&self.sensor_ends[end])?;
        let data = self.coefficients(self.lines) + &self.effects * (theta - self.theta);
        let links = likelihood(&data, &self.with_knowledge(&knowledge))?;
        Some(Likelihood { log: links.log + favours, ..links })
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
