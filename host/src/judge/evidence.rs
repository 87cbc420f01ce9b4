//! What the measured motion says of where brackets really are: a likelihood for every explanation, on the same data.
//!
//! A link keeps its length. Its apparent length between the drawn ends changes over the travel exactly as far as an end is
//! not where it was drawn. The coefficients of those changes, with the covariance of noise and nuisances, are the data;
//! an explanation that is right leaves nothing of them but tolerance. A sensor that is clipped elsewhere changes them too, in a
//! way of its own; what the run's redundant readings say of that goes into its likelihood.
//!
//! An explanation also says where the errors of the rig are that the readings left open; there the motion is measured anew, so that
//! large ones are not judged to first order.

use super::brackets::Bracket;
use crate::design::Mechanism;
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Pose, Vector3};
use crate::measure::AxleAnalysis;
use crate::measure::links::Line;
use crate::measure::nuisance::{Knowledge, Nuisance, What};
use crate::measure::numbers::FREE;
use crate::measure::surface::SurfaceFit;
use crate::vehicle::Side;
use std::borrow::Cow;

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
/// States at which brackets are moved to see what that does at the most: many more than a surface has terms.
const TRIED: usize = 400;
/// Share of each coefficient's systematic part that linear propagation leaves out: products of two nuisances, such as a
/// heading of 4° with a bias of a fiftieth of gravity.
const SECOND_ORDER: f64 = 0.1;

/// What stays the same wherever the rig's errors are taken to be.
#[derive(Clone, Copy)]
struct Shared<'a> {
    analysis: &'a AxleAnalysis,
    lines: &'a [Line],
    brackets: &'a [Bracket],
    mechanism: &'a Mechanism,
}

/// The data and everything that explanations share.
pub struct Evidence<'a> {
    fit: Cow<'a, SurfaceFit>,
    shared: Shared<'a>,
    states: Vec<(f64, f64)>,
    bodies: Vec<PlacedBody>,
    ride: PlacedBody,
    /// What bushes and joints that give make of the coefficients.
    given: DVector<f64>,
    /// Where the rig's errors are taken to be, in prior standard deviations.
    theta: DVector<f64>,
    /// What the coefficients are measured less for, the motion being measured with the rig's errors elsewhere than the readings
    /// alone put them.
    elsewhere: DVector<f64>,
    /// Covariance of the coefficients from noise, the tolerance of every bracket and the give of bushes.
    own: DMatrix<f64>,
    /// Change of the coefficients for one standard deviation of each nuisance.
    effects: DMatrix<f64>,
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
    /// Where it leaves the nuisances, in prior standard deviations.
    pub theta: DVector<f64>,
}

impl<'a> Evidence<'a> {
    /// From an analysis whose pose is wholly measured; `None` where link lengths could not be watched.
    pub fn gather(
        analysis: &'a AxleAnalysis,
        lines: &'a [Line],
        brackets: &'a [Bracket],
        mechanism: &'a Mechanism,
    ) -> Option<Self> {
        let fit = analysis.surfaces.as_ref()?;
        if lines.is_empty() || fit.beta.ncols() != FREE.len() + lines.len() {
            return None;
        }
        let poses: Vec<Pose> = analysis.path.iter().filter(|p| p.phase.travels()).map(|p| p.pose).collect();
        let shared = Shared { analysis, lines, brackets, mechanism };
        Some(Self::at(shared, &poses, Cow::Borrowed(fit), &analysis.theta))
    }

    /// The same run with its motion measured anew, the rig's errors at `theta`; none where it cannot be.
    pub fn anew(&self, theta: &DVector<f64>) -> Option<Self> {
        let (poses, fit) = self.shared.analysis.anew.as_ref()?.at(theta, self.shared.lines)?;
        Some(Self::at(self.shared, &poses, Cow::Owned(fit), theta))
    }

    fn at(shared: Shared<'a>, poses: &[Pose], fit: Cow<'a, SurfaceFit>, theta: &DVector<f64>) -> Self {
        let Shared { analysis, lines, brackets, mechanism } = shared;
        let centre = mechanism.centre();
        let effects = fit.response_effects(FREE.len(), lines.len());
        let mut evidence = Self {
            shared,
            states: poses.iter().map(|pose| (pose.z_m, pose.roll_rad)).collect(),
            bodies: poses.iter().map(|pose| PlacedBody::new(pose, centre)).collect(),
            ride: PlacedBody::new(&Pose::default(), centre),
            given: DVector::zeros(fit.basis.len() * lines.len()),
            theta: theta.clone(),
            elsewhere: &effects * (theta - &analysis.theta),
            own: DMatrix::zeros(0, 0),
            effects,
            sensor_ends: sensor_ends(&fit.nuisances),
            covariance: DMatrix::zeros(0, 0),
            sensitivities: Vec::new(),
            fit,
        };
        evidence.sensitivities = brackets.iter().map(|b| evidence.sensitivity(b)).collect();
        if mechanism.redundant() > 0 {
            evidence.given = evidence.given(mechanism);
        }
        evidence.own = evidence.own_covariance();
        evidence.covariance = evidence.with_knowledge(&evidence.fit.knowledge);
        evidence
    }

    /// Where the rig's errors are taken to be, in prior standard deviations.
    pub fn theta(&self) -> &DVector<f64> {
        &self.theta
    }

    /// Name of the sensor that an end belongs to, by place in `sensor_ends`.
    pub fn sensor_name(&self, end: usize) -> String {
        self.shared.analysis.sensors.get(self.sensor_ends[end].sensor).cloned().unwrap_or_default()
    }

    fn count(&self) -> usize {
        self.fit.basis.len() * self.shared.lines.len()
    }

    /// Coefficients of the apparent changes of `lines`, line after line.
    fn coefficients(&self, lines: &[Line]) -> DVector<f64> {
        let bodies: Vec<&PlacedBody> = self.bodies.iter().collect();
        stacked(&self.fit.project(&changes(lines, &bodies, &self.ride))) - &self.given - &self.elsewhere
    }

    /// Change of the coefficients per m of a bracket's three coordinates, by central differences.
    fn sensitivity(&self, bracket: &Bracket) -> DMatrix<f64> {
        const STEP_M: f64 = 1e-4;
        let every = self.states.len().div_ceil(TRIED).max(1);
        let bodies: Vec<&PlacedBody> = self.bodies.iter().step_by(every).collect();
        let states: Vec<(f64, f64)> = self.states.iter().step_by(every).copied().collect();
        let mut all = DMatrix::zeros(self.count(), 3);
        for axis in 0..3 {
            let moved = |sign: f64| {
                let offset = Vector3::from_fn(|k, _| if k == axis { sign * STEP_M } else { 0.0 });
                changes(&bracket.moved_lines(self.shared.lines, &offset), &bodies, &self.ride)
            };
            let by_metre = (moved(1.0) - moved(-1.0)) / (2.0 * STEP_M);
            if let Some(coefficients) = self.fit.basis.fit(&states, &by_metre) {
                all.set_column(axis, &stacked(&coefficients));
            }
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
        let bodies: Vec<&PlacedBody> = solved.iter().map(|s| &s.1).collect();
        let changes = changes(self.shared.lines, &bodies, &self.ride);
        self.fit.basis.fit(&states, &changes).map_or_else(|| DVector::zeros(self.count()), |c| stacked(&c))
    }

    fn own_covariance(&self) -> DMatrix<f64> {
        let mut covariance = self.fit.response_noise(FREE.len(), self.shared.lines.len());
        for (bracket, sensitivity) in self.shared.brackets.iter().zip(&self.sensitivities) {
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
        self.likelihood_as_read(self.shared.lines, &self.covariance)
    }

    /// Other holes in use: pairs of bracket and hole.
    pub fn with_holes(&self, holes: &[(usize, usize)]) -> Option<Likelihood> {
        let mut lines = self.shared.lines.to_vec();
        for (bracket, hole) in holes {
            lines = self.shared.brackets[*bracket].rehung_lines(&lines, *hole)?;
        }
        self.likelihood_as_read(&lines, &self.covariance)
    }

    /// One bracket anywhere near.
    pub fn with_bracket_off(&self, bracket: usize) -> Option<Likelihood> {
        let s = &self.sensitivities[bracket];
        let covariance = &self.covariance + s * s.transpose() * SUSPECT_M.powi(2);
        self.likelihood_as_read(self.shared.lines, &covariance)
    }

    /// One end of one sensor anywhere near: what the run then knows of the nuisances, and the factor by which its redundant
    /// readings favour that, as a logarithm.
    fn with_end_open(&self, end: &SensorEnd) -> Option<(DVector<f64>, Knowledge, f64)> {
        let ratio = (end.u_m.hypot(SENSOR_OFF_M) / end.u_m).powi(2);
        let known = self.fit.knowledge.clone().cholesky()?;
        let mut normal = known.inverse();
        // All that the run taught, as a pull on the nuisances, does not depend on what was known before.
        let read = &self.shared.analysis.theta;
        let pull = &normal * read;
        for k in end.columns {
            normal[(k, k)] -= 1.0 - 1.0 / ratio;
        }
        let open = normal.cholesky()?;
        let theta = open.solve(&pull);
        let log_det = |l: DMatrix<f64>| 2.0 * l.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let favours = 0.5 * (pull.dot(&theta) - pull.dot(read))
            - 0.5 * (log_det(open.l()) + log_det(known.l()))
            - 1.5 * ratio.ln();
        Some((theta, open.inverse(), favours))
    }

    /// One end of one sensor anywhere near, by place in `sensor_ends`.
    pub fn with_sensor_off(&self, end: usize) -> Option<Likelihood> {
        let (theta, knowledge, favours) = self.with_end_open(&self.sensor_ends[end])?;
        let data =
            self.coefficients(self.shared.lines) + &self.effects * (&theta - &self.shared.analysis.theta);
        let links = self.likelihood(&data, &self.with_knowledge(&knowledge), (&theta, &knowledge))?;
        Some(Likelihood { log: links.log + favours, ..links })
    }

    /// Where a suspected bracket is: mean offset and its covariance, m.
    pub fn offset(&self, bracket: usize) -> Option<(Vector3<f64>, DMatrix<f64>)> {
        let s = &self.sensitivities[bracket];
        // Apparent lengths change by minus the gradient where the end is really elsewhere.
        let data = -self.coefficients(self.shared.lines);
        let solved = self.covariance.clone().cholesky()?;
        let information = s.tr_mul(&solved.solve(s)) + DMatrix::identity(3, 3) / SUSPECT_M.powi(2);
        let covariance = information.cholesky()?.inverse();
        let mean = &covariance * s.tr_mul(&solved.solve(&data));
        Some((Vector3::new(mean[0], mean[1], mean[2]), covariance))
    }

    /// How well an explanation fits that leaves `data` of the coefficients; the readings put the nuisances at `theta` with covariance
    /// `knowledge`.
    fn likelihood(
        &self,
        data: &DVector<f64>,
        covariance: &DMatrix<f64>,
        (theta, knowledge): (&DVector<f64>, &Knowledge),
    ) -> Option<Likelihood> {
        let cholesky = covariance.clone().cholesky()?;
        let weighed = cholesky.solve(data);
        let chi_square = data.dot(&weighed);
        let log_determinant: f64 = cholesky.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
        Some(Likelihood {
            log: -0.5 * (chi_square + log_determinant),
            chi_square,
            count: data.len(),
            theta: theta - knowledge * self.effects.tr_mul(&weighed),
        })
    }

    /// The same with the nuisances as the readings alone put them.
    fn likelihood_as_read(&self, lines: &[Line], covariance: &DMatrix<f64>) -> Option<Likelihood> {
        let read = (&self.shared.analysis.theta, &self.fit.knowledge);
        self.likelihood(&self.coefficients(lines), covariance, read)
    }
}

/// How far the apparent lengths of lines are from those at ride height, bodies × lines, m.
fn changes(lines: &[Line], bodies: &[&PlacedBody], ride: &PlacedBody) -> DMatrix<f64> {
    let mut changes = DMatrix::zeros(bodies.len(), lines.len());
    for (column, line) in lines.iter().enumerate() {
        let at_ride = line.apparent(ride).0;
        for (row, body) in bodies.iter().enumerate() {
            changes[(row, column)] = line.apparent(body).0 - at_ride;
        }
    }
    changes
}

fn stacked(coefficients: &DMatrix<f64>) -> DVector<f64> {
    DVector::from_iterator(coefficients.len(), coefficients.iter().copied())
}
