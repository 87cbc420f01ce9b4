//! Characteristic numbers from the fitted motion: at ride height and along the travel, each with its u and its budget.

pub use super::excitation::{Excitation, LEAST_HEAVE_M, LEAST_ROLL_RAD};

use super::nuisance::{self, Dearest};
use super::result::{Budget, Measured, Status};
use super::surface::{Functional, SurfaceFit};
use crate::geometry::{DMatrix, Pose};
use crate::vehicle::numbers::{self, AxleFacts, Key, Motion, Numbers};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;

/// Free coordinates in the order of the responses, by place in a pose: x, y, pitch, yaw.
pub const FREE: [usize; 4] = [0, 1, 4, 5];

/// Relative u of the pitch per heave below which a quotient is propagated linearly.
const LINEAR: f64 = 0.05;
/// Relative u above which the instant centre is not resolved.
const RESOLVED: f64 = 1.0 / 3.0;
/// Draws of the Monte Carlo for quotients in between (JCGM 101:2008, 7.2: 1e4 and more suit a 95 % interval here).
const DRAWS: usize = 20_000;
/// Half-width of a 95 % interval in standard deviations.
pub const HALF_95: f64 = 1.959963984540054;

/// The motion at a state as functionals of the coefficients: values, derivatives by heave and by roll of x, y, pitch, yaw.
struct State<'a> {
    fit: &'a SurfaceFit,
    heave_m: f64,
    roll_rad: f64,
    functionals: Vec<Functional>,
}

/// Number of entries of a motion: four values, four derivatives by heave, four by roll.
const ENTRIES: usize = 12;

impl<'a> State<'a> {
    fn new(fit: &'a SurfaceFit, heave_m: f64, roll_rad: f64) -> Self {
        let rows = fit.basis.at(heave_m, roll_rad);
        let functionals = rows
            .iter()
            .flat_map(|row| (0..FREE.len()).map(move |response| fit.functional(response, row)))
            .collect();
        Self { fit, heave_m, roll_rad, functionals }
    }

    fn entries(&self) -> [f64; ENTRIES] {
        std::array::from_fn(|k| self.fit.value(&self.functionals[k]))
    }

    fn motion(&self, entries: &[f64; ENTRIES]) -> Motion {
        let mut pose = Pose::heave_roll(self.heave_m, self.roll_rad).to_array();
        let (mut by_heave, mut by_roll) = ([0.0; 6], [0.0; 6]);
        by_heave[2] = 1.0;
        by_roll[3] = 1.0;
        for (k, coordinate) in FREE.into_iter().enumerate() {
            pose[coordinate] = entries[k];
            by_heave[coordinate] = entries[4 + k];
            by_roll[coordinate] = entries[8 + k];
        }
        Motion { pose: Pose::from_array(pose), by_heave, by_roll }
    }

    /// Derivative of a function of the motion by its entries, central differences.
    fn gradient(&self, at: &[f64; ENTRIES], f: &dyn Fn(&Motion) -> Option<f64>) -> Option<[f64; ENTRIES]> {
        let mut gradient = [0.0; ENTRIES];
        for k in 0..ENTRIES {
            let step = 1e-5;
            let moved = |sign: f64| {
                let mut e = *at;
                e[k] += sign * step;
                f(&self.motion(&e))
            };
            gradient[k] = (moved(1.0)? - moved(-1.0)?) / (2.0 * step);
        }
        Some(gradient)
    }

    fn combine(&self, gradient: &[f64; ENTRIES]) -> Functional {
        let mut sum = DMatrix::zeros(self.fit.basis.len(), self.fit.beta.ncols());
        for (weight, functional) in gradient.iter().zip(&self.functionals) {
            if *weight != 0.0 {
                sum += functional * *weight;
            }
        }
        sum
    }
}

/// The functional of the coefficients that a number is at ride height, to first order.
#[cfg(test)]
pub(super) fn reads(facts: &AxleFacts, fit: &SurfaceFit, key: Key) -> Option<Functional> {
    let state = State::new(fit, 0.0, 0.0);
    let gradient = state.gradient(&state.entries(), &|m| numbers::at_state(facts, m).get(key))?;
    Some(state.combine(&gradient))
}

/// Which kind of motion excites a number: heave, roll.
pub fn needs(key: Key) -> (bool, bool) {
    match key {
        Key::SideViewInstantCentreX
        | Key::SideViewInstantCentreZ
        | Key::SideViewDirection
        | Key::PitchPerHeave
        | Key::ContactForwardPerHeave
        | Key::AntiSquat
        | Key::AntiLiftBrake
        | Key::AntiLiftDrive
        | Key::AntiDive
        | Key::LateralPerHeave
        | Key::BumpSteerHeave
        | Key::HeaveRate => (true, false),
        Key::RollCentreZ
        | Key::RollAxisRise
        | Key::RollAxisScrewPitch
        | Key::RollSteer
        | Key::BumpSteerRoll
        | Key::RollRate => (false, true),
        _ => (false, false),
    }
}

/// All numbers that a motion has, at one state.
pub struct AtState {
    /// By key.
    pub numbers: BTreeMap<Key, Measured>,
    /// Where each u comes from.
    pub budget: BTreeMap<Key, Budget>,
    /// What to know better first, at ride height.
    pub dearest: BTreeMap<Key, Dearest>,
    /// Steer of the axle, rad.
    pub axle_steer_rad: Measured,
    /// The pose there.
    pub pose: Pose,
}

/// The numbers at a state of the travel.
pub fn at_state(
    facts: &AxleFacts,
    fit: &SurfaceFit,
    excitation: &Excitation,
    heave_m: f64,
    roll_rad: f64,
) -> AtState {
    let state = State::new(fit, heave_m, roll_rad);
    let entries = state.entries();
    let motion = state.motion(&entries);
    let all = numbers::at_state(facts, &motion);
    let (mut found, mut budgets, mut dearest) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    let at_ride = heave_m == 0.0 && roll_rad == 0.0;
    for key in Key::ALL.into_iter().filter(|k| k.applies_to(facts.position)) {
        let (measured, budget) = number(&state, &entries, facts, excitation, &all, key, at_ride);
        if let Some(budget) = budget {
            budgets.insert(key, budget);
            let gradient = state.gradient(&entries, &|m| numbers::at_state(facts, m).get(key));
            if let Some(gradient) = gradient.filter(|_| at_ride && measured.measured().is_some()) {
                let effects = fit.effects(&state.combine(&gradient));
                let own = budget.noise.hypot(excitation.lean_u(&gradient[4..8]));
                dearest.extend(
                    nuisance::dearest(own, &fit.nuisances, &fit.knowledge, &effects).map(|d| (key, d)),
                );
            }
        }
        found.insert(key, measured);
    }
    let steer = scalar(&state, &entries, excitation, at_ride, &|m| Some(m.pose.axle_steer_rad()));
    AtState { numbers: found, budget: budgets, dearest, axle_steer_rad: steer.0, pose: motion.pose }
}

fn number(
    state: &State<'_>,
    entries: &[f64; ENTRIES],
    facts: &AxleFacts,
    excitation: &Excitation,
    all: &Numbers,
    key: Key,
    at_ride: bool,
) -> (Measured, Option<Budget>) {
    if let Some(why) = beyond_motion(key) {
        return (Measured::without(Status::NotMeasured, why), None);
    }
    if let Some(reason) = lacking(key, excitation) {
        return (reason, None);
    }
    if matches!(key, Key::SideViewInstantCentreX | Key::SideViewInstantCentreZ) {
        return instant_centre(state, entries, facts, excitation, key, at_ride);
    }
    if key == Key::SideViewDirection {
        // The direction is asked for where the centre is too far away to be found.
        let (centre, _) =
            instant_centre(state, entries, facts, excitation, Key::SideViewInstantCentreX, at_ride);
        if centre.status != Status::NotResolved {
            return (Measured::without(Status::NotMeasured, "the instant centre is not at infinity"), None);
        }
        return scalar(state, entries, excitation, at_ride, &|m| {
            Some((-m.pose.twist(m.by_heave).velocity.x).atan())
        });
    }
    if all.get(key).is_none() {
        return (Measured::without(Status::NotMeasured, absent(key)), None);
    }
    scalar(state, entries, excitation, at_ride, &|m| numbers::at_state(facts, m).get(key))
}

/// Why the axle's motion never tells a number, however far it goes.
pub(super) fn beyond_motion(key: Key) -> Option<&'static str> {
    match key {
        Key::HeaveRate | Key::RollRate => {
            Some("needs the loads on the wheels, which no sensor of a rig reads")
        }
        Key::BumpSteerHeave | Key::BumpSteerRoll => Some("needs a sensor at the knuckle"),
        _ => None,
    }
}

fn absent(key: Key) -> &'static str {
    match key {
        Key::PinionAngle => "the file gives no pinion angle at ride height",
        Key::Castor => "the file gives no castor at ride height",
        _ => "this state has no such number",
    }
}

/// What motion a number still lacks; none where there is enough.
pub(super) fn lacking(key: Key, excitation: &Excitation) -> Option<Measured> {
    let (heave, roll) = needs(key);
    if heave && excitation.heave_m < LEAST_HEAVE_M {
        let more_mm = 2.0 * 3f64.sqrt() * (LEAST_HEAVE_M - excitation.heave_m) * 1e3;
        let why = format!("the axle hardly moved up and down by itself: bounce it {more_mm:.0} mm more");
        return Some(Measured::without(Status::NotExcited, why));
    }
    if roll && excitation.roll_rad < LEAST_ROLL_RAD {
        let more = 2.0 * 3f64.sqrt() * (LEAST_ROLL_RAD - excitation.roll_rad).to_degrees();
        let why = format!("the axle hardly articulated: {more:.1}° more from side to side will do");
        return Some(Measured::without(Status::NotExcited, why));
    }
    None
}

/// A function of the motion with linear propagation, or `not measured` where it hangs on a coordinate that nothing sees.
fn scalar(
    state: &State<'_>,
    entries: &[f64; ENTRIES],
    excitation: &Excitation,
    at_ride: bool,
    f: &dyn Fn(&Motion) -> Option<f64>,
) -> (Measured, Option<Budget>) {
    let (Some(value), Some(gradient)) = (f(&state.motion(entries)), state.gradient(entries, f)) else {
        return (Measured::without(Status::NotMeasured, "this state has no such number"), None);
    };
    if let Some(blind) = hangs_on_unseen(&gradient, excitation, at_ride) {
        return (Measured::without(Status::NotMeasured, blind), None);
    }
    let functional = state.combine(&gradient);
    let noise = state.fit.noise_covariance(&functional, &functional).max(0.0).sqrt();
    let effects = state.fit.effects(&functional);
    let mut budget = nuisance::budget(noise, &state.fit.nuisances, &state.fit.knowledge, &effects);
    budget.model = budget.model.hypot(excitation.lean_u(&gradient[4..8]));
    (Measured::new(value, budget.total()), Some(budget))
}

/// Names the unseen coordinate that a number needs. At ride height the pose itself is zero by definition, so only its
/// derivatives count there.
fn hangs_on_unseen(gradient: &[f64; ENTRIES], excitation: &Excitation, at_ride: bool) -> Option<String> {
    const NAMES: [&str; 6] =
        ["fore and aft", "sideways", "up and down", "in articulation", "in pitch", "in yaw"];
    let blind = |coordinate: usize| {
        format!("the sensors do not see the axle move {}", NAMES.get(coordinate).copied().unwrap_or("there"))
    };
    if let Some(k) = [2, 3].into_iter().find(|k| !excitation.seen[*k]) {
        return Some(blind(k));
    }
    let first = if at_ride { 4 } else { 0 };
    (first..ENTRIES)
        .find(|k| gradient[*k].abs() > 1e-9 && !excitation.seen[FREE[k % 4]])
        .map(|k| blind(FREE[k % 4]))
}

/// The side-view instant centre: a quotient, so linear only where its divisor is well known.
fn instant_centre(
    state: &State<'_>,
    entries: &[f64; ENTRIES],
    facts: &AxleFacts,
    excitation: &Excitation,
    key: Key,
    at_ride: bool,
) -> (Measured, Option<Budget>) {
    let pitch = |m: &Motion| Some(m.pose.twist(m.by_heave).omega.y);
    let forward = |m: &Motion| Some(m.pose.twist(m.by_heave).velocity.x);
    let (slope, _) = scalar(state, entries, excitation, at_ride, &pitch);
    let Some((p, u_p)) = slope.measured() else {
        return (slope, None);
    };
    let f = |m: &Motion| numbers::at_state(facts, m).get(key);
    let relative = if p == 0.0 { f64::INFINITY } else { u_p / p.abs() };
    if relative < LINEAR {
        return scalar(state, entries, excitation, at_ride, &f);
    }
    if relative > RESOLVED {
        let why = format!(
            "the pitch per bump is {p:.3} ± {:.3} rad/m: too near zero to place a centre",
            HALF_95 * u_p
        );
        return (Measured::without(Status::NotResolved, why), None);
    }
    let (Some(gp), Some(gx)) = (state.gradient(entries, &pitch), state.gradient(entries, &forward)) else {
        return (Measured::without(Status::NotMeasured, "this state has no such number"), None);
    };
    let (gp, gx) = (state.combine(&gp), state.combine(&gx));
    let v_x = forward(&state.motion(entries)).unwrap_or(0.0);
    let cov =
        [state.fit.covariance(&gp, &gp), state.fit.covariance(&gp, &gx), state.fit.covariance(&gx, &gx)];
    let pose = state.motion(entries).pose;
    let place = |p: f64, v_x: f64| match key {
        Key::SideViewInstantCentreX => pose.x_m + 1.0 / p,
        _ => facts.tyre_radius_m + pose.z_m - v_x / p,
    };
    let (median, half_width) = quotient(p, v_x, cov, place);
    (Measured::new(median, half_width / HALF_95), None)
}

/// Median and half-width of the 95 % interval of a function of (p, v_x) by Monte Carlo (JCGM 101:2008, clause 7; the seed is
/// fixed so that a report can be made again).
fn quotient(p: f64, v_x: f64, [pp, px, xx]: [f64; 3], place: impl Fn(f64, f64) -> f64) -> (f64, f64) {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(101);
    let spread_p = pp.max(0.0).sqrt();
    let along = if spread_p > 0.0 { px / spread_p } else { 0.0 };
    let own = (xx - along * along).max(0.0).sqrt();
    let mut draws: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let (a, b): (f64, f64) = (StandardNormal.sample(&mut rng), StandardNormal.sample(&mut rng));
            place(p + spread_p * a, v_x + along * a + own * b)
        })
        .collect();
    draws.sort_by(f64::total_cmp);
    let quantile = |q: f64| draws[((DRAWS - 1) as f64 * q).round() as usize];
    (quantile(0.5), 0.5 * (quantile(0.975) - quantile(0.025)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fieller's interval for a quotient of correlated normals (Fieller 1954, from memory): roots of
    /// (x − t p)² = k²(σxx − 2 t σpx + t² σpp).
    fn fieller(p: f64, x: f64, [pp, px, xx]: [f64; 3]) -> (f64, f64) {
        let k2 = HALF_95 * HALF_95;
        let (a, b, c) = (p * p - k2 * pp, x * p - k2 * px, x * x - k2 * xx);
        let root = (b * b - a * c).sqrt();
        ((b - root) / a, (b + root) / a)
    }

    #[test]
    fn monte_carlo_quotient_agrees_with_fieller() {
        // Twenty thousand draws place a 2.5 % quantile to about 2 % of the interval.
        const SAMPLING: f64 = 0.03;
        let (p, x) = (0.25, 0.05);
        let cov = [0.03_f64.powi(2), 0.4 * 0.03 * 0.004, 0.004_f64.powi(2)];
        let (low, high) = fieller(p, x, cov);
        let (_, half) = quotient(p, x, cov, |p, x| x / p);
        assert!(
            (half - 0.5 * (high - low)).abs() < SAMPLING * (high - low),
            "{half} against {}",
            0.5 * (high - low)
        );
    }

    /// JCGM 101:2008, 9.2.2 (clause from memory; value recomputed): the sum of four standard normal quantities, here as two of
    /// variance 2, has the 95 % interval ±3.92.
    #[test]
    fn monte_carlo_gives_the_additive_example_of_jcgm_101() {
        /// Three standard deviations of a quantile of so many draws, on both sides.
        const SAMPLING: f64 = 0.06;
        let (median, half) = quotient(0.0, 0.0, [2.0, 0.0, 2.0], |a, b| a + b);
        assert!(median.abs() < SAMPLING && (half - 3.92).abs() < SAMPLING, "{median} ± {half}");
    }

    /// JCGM 101:2008, 9.4 (clause from memory): the comparison loss of two reflection coefficients that are zero within 0.005,
    /// x₁² + x₂², is exponential with the mean 50e-6; linear propagation gives zero for its u. Quantiles by the closed form.
    #[test]
    fn monte_carlo_gives_the_comparison_loss_of_jcgm_101_where_linear_propagation_fails() {
        /// As above, relative.
        const SAMPLING: f64 = 0.04;
        let quantile = |q: f64| -50e-6 * (1.0_f64 - q).ln();
        let (median, half) = quotient(0.0, 0.0, [25e-6, 0.0, 25e-6], |a, b| a * a + b * b);
        let expected = 0.5 * (quantile(0.975) - quantile(0.025));
        assert!((median / quantile(0.5) - 1.0).abs() < SAMPLING, "{median}");
        assert!((half / expected - 1.0).abs() < SAMPLING, "{half} against {expected}");
    }
}
