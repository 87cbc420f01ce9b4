//! What each link gives under load. Apart from its play, where several loads were held: the measured slope of its apparent length by the pull, over the force
//! that the drawing says a newton of pull puts along it. What the chassis' brackets give is in it.
//!
//! Where more links hold an axle than need be, they share the pull by their stiffness, which the drawing knows by halves: that
//! uncertainty is in the result. Under one load, where play and give are one jump: what the joints give as drawn.

use super::looseness::{BUSH_U, Give, case};
use crate::design::Mechanism;
use crate::design::loads::applied;
use crate::measure::links::lines;
use crate::measure::{Analysis, AxleAnalysis, LinkMeasured, Load, Measured, Status, Stepped};
use crate::vehicle::{Axle, Bush, Vehicle};

/// Force along a link, at the lightest hold, that surely takes its play up and stands above friction and weight, N.
const LEAST_N: f64 = 150.0;
/// A link that needs a harder pull than this to be loaded is not loaded by this test, N.
const HARDEST_PULL_N: f64 = 20e3;
/// A slope, and a jump, are resolved beyond this many standard uncertainties.
const RESOLVED: f64 = 2.0;

/// The analysis with what links give: the compliance of every link that the drawing can tell the force in, and the play of
/// those without it; what the others' joints give as drawn. An axle whose drawing cannot be solved stays as it was measured.
pub fn with_give(vehicle: &Vehicle, mut analysis: Analysis) -> Analysis {
    let load_n = analysis.facts.load_n;
    for axle in &mut analysis.axles {
        with_drawn_give(vehicle, axle, load_n);
        with_compliance_of(vehicle, axle);
    }
    analysis
}

/// Says of every link's play how much of it the joints give as drawn, under the load that moved the link most.
fn with_drawn_give(vehicle: &Vehicle, analysis: &mut AxleAnalysis, load_n: Option<f64>) {
    let Some(axle) = vehicle.axles.get(analysis.index) else { return };
    let Ok(mechanism) = Mechanism::new(vehicle, analysis.index) else { return };
    let lines = lines(axle, vehicle.tolerance_m);
    let expected: Vec<_> = analysis
        .turned
        .iter()
        .filter_map(|turned| Some((turned, Give::expected(axle, &mechanism, turned.load, load_n, &lines)?)))
        .collect();
    for (k, link) in analysis.links.iter_mut().enumerate() {
        let most = expected.iter().max_by(|a, b| a.0.of(k).0.total_cmp(&b.0.of(k).0));
        if let Some((turned, give)) = most {
            let (mean_m, u_m) = give.of(k);
            link.drawn_give_m = Measured::new(turned.jump_m[k].signum() * mean_m, u_m);
        }
    }
}

fn with_compliance_of(vehicle: &Vehicle, analysis: &mut AxleAnalysis) {
    let Some(axle) = vehicle.axles.get(analysis.index) else { return };
    let AxleAnalysis { stepped, links, index, .. } = analysis;
    let forces: Vec<(&Stepped, Along)> =
        stepped.iter().filter_map(|s| Some((s, Along::of(vehicle, *index, s.load)?))).collect();
    if forces.is_empty() {
        return;
    }
    for (k, link) in links.iter_mut().enumerate() {
        if k >= two_force_members(axle) {
            link.compliance_m_per_n = Measured::without(
                Status::NotMeasured,
                "it is not held by its two ends alone: no single force runs along it",
            );
            continue;
        }
        let told: Vec<Told> = forces.iter().filter_map(|(s, along)| told(s, along, k)).collect();
        let surest = told.iter().min_by(|a, b| a.compliance.1.total_cmp(&b.compliance.1));
        match surest {
            Some(told) => put(link, told),
            None => link.compliance_m_per_n = not_loaded(&forces, k),
        }
    }
}

/// Links and legs of wishbones, which come first among the lines: what bears force along itself only.
fn two_force_members(axle: &Axle) -> usize {
    axle.locating.links.len() + 2 * axle.locating.wishbones.len()
}

/// The force along every member for a newton of pull in the test's first direction, tension +, and its standard uncertainty.
struct Along {
    per_n: Vec<f64>,
    u: Vec<f64>,
}

impl Along {
    /// None where the drawing cannot be solved.
    fn of(vehicle: &Vehicle, index: usize, load: Load) -> Option<Self> {
        let per_n = |vehicle: &Vehicle| -> Option<(usize, Vec<f64>)> {
            let mechanism = Mechanism::new(vehicle, index).ok()?;
            let ride = mechanism.ride();
            let at_rest = mechanism.reactions(ride, &[])?.members_n;
            let forces = applied(&mechanism, ride, case(load, 1.0), None);
            let pulled = mechanism.reactions(ride, &forces)?.members_n;
            Some((mechanism.redundant(), pulled.iter().zip(&at_rest).map(|(n, rest)| n - rest).collect()))
        };
        let (redundant, nominal) = per_n(vehicle)?;
        let mut variance = vec![0.0; nominal.len()];
        let varied = if redundant > 0 { stiffened(vehicle, index) } else { Vec::new() };
        for vehicle in varied {
            let (_, changed) = per_n(&vehicle)?;
            for ((v, n), other) in variance.iter_mut().zip(&nominal).zip(&changed) {
                *v += (other - n).powi(2);
            }
        }
        Some(Self { per_n: nominal, u: variance.into_iter().map(f64::sqrt).collect() })
    }

    fn at(&self, link: usize) -> Option<(f64, f64)> {
        Some((*self.per_n.get(link)?, *self.u.get(link)?))
    }
}

/// The vehicle with one elastic part of the axle at a time stiffer by the standard uncertainty of a stiffness.
fn stiffened(vehicle: &Vehicle, index: usize) -> Vec<Vehicle> {
    let mut varied = Vec::new();
    let mut with = |change: &dyn Fn(&mut Axle) -> Option<()>| {
        let mut other = vehicle.clone();
        if other.axles.get_mut(index).and_then(change).is_some() {
            varied.push(other);
        }
    };
    let Some(axle) = vehicle.axles.get(index) else { return Vec::new() };
    let more = 1.0 + BUSH_U;
    for k in 0..axle.locating.links.len() {
        with(&|axle| {
            let link = axle.locating.links.get_mut(k)?;
            link.stiffness_n_per_m = Some(more * link.end_stiffness_n_per_m()?);
            Some(())
        });
    }
    for k in 0..axle.locating.wishbones.len() {
        with(&|axle| {
            let wishbone = axle.locating.wishbones.get_mut(k)?;
            wishbone.stiffness_n_per_m = Some(more * wishbone.leg_stiffness_n_per_m()?);
            Some(())
        });
    }
    for k in 0..axle.locating.radius_arms.len() {
        with(&|axle| stiffen(&mut axle.locating.radius_arms.get_mut(k)?.chassis_bush, more));
        with(&|axle| stiffen(&mut axle.locating.radius_arms.get_mut(k)?.axle_bush, more));
    }
    for k in 0..axle.locating.watts.len() {
        with(&|axle| {
            let watts = axle.locating.watts.get_mut(k)?;
            watts.stiffness_n_per_m = Some(more * watts.stiffness_n_per_m?);
            Some(())
        });
    }
    varied
}

fn stiffen(bush: &mut Bush, more: f64) -> Option<()> {
    let it = &mut bush.stiffness;
    for stiffness in [
        &mut it.radial_n_per_m,
        &mut it.axial_n_per_m,
        &mut it.torsional_nm_per_rad,
        &mut it.conical_nm_per_rad,
    ] {
        *stiffness *= more;
    }
    Some(())
}

/// What one test says of one link, each with its standard uncertainty.
struct Told {
    /// m/N.
    compliance: (f64, f64),
    /// m; none where the pull did not turn round.
    play: Option<(f64, f64)>,
}

/// None where the pull hardly loads the link.
fn told(stepped: &Stepped, along: &Along, link: usize) -> Option<Told> {
    let (per_n, per_n_u) = along.at(link)?;
    if per_n.abs() * lightest_n(stepped) < LEAST_N {
        return None;
    }
    let value = stepped.per_pull_m_per_n.get(link)? / per_n;
    let own_u = stepped.per_pull_u_m_per_n.get(link)? / per_n.abs();
    let relative = stepped.pull_u.hypot(per_n_u / per_n);
    // Looseness opens a link one way: longer when it is drawn, shorter when it is pressed.
    let jump = stepped.jump_m.as_ref().and_then(|jump| Some(per_n.signum() * jump.get(link)?));
    Some(Told {
        compliance: (value, own_u.hypot(value * relative)),
        play: jump.zip(stepped.jump_u_m.get(link).copied()),
    })
}

fn lightest_n(stepped: &Stepped) -> f64 {
    stepped.pulls_n.iter().map(|n| n.abs()).fold(f64::INFINITY, f64::min)
}

fn put(link: &mut LinkMeasured, told: &Told) {
    let (value, u) = told.compliance;
    let resolved = value >= RESOLVED * u;
    link.compliance_m_per_n =
        measured(told.compliance, "no more than the sensors' hysteresis and noise could make");
    let Some((play_m, u)) = told.play.filter(|_| resolved) else { return };
    link.play_m = measured(
        (play_m.abs(), u),
        "apart from what it gives, no more than the sensors' hysteresis and noise could make",
    );
    link.drawn_give_m = Measured::without(Status::NotMeasured, "its play is without what it gives");
    if play_m < 0.0 {
        link.play_m.status = Status::NotResolved;
        link.play_m.why = Some("no play shows beside what it gives under load".into());
    }
}

fn measured((value, u): (f64, f64), why: &str) -> Measured {
    if value >= RESOLVED * u {
        return Measured::new(value, u);
    }
    Measured { value: Some(value), u: Some(u), status: Status::NotResolved, why: Some(why.into()) }
}

/// How much pull would do.
fn not_loaded(forces: &[(&Stepped, Along)], link: usize) -> Measured {
    let needed = forces.iter().filter_map(|(stepped, along)| {
        let per_n = along.at(link)?.0.abs();
        Some((stepped.load, lightest_n(stepped), per_n, LEAST_N / per_n))
    });
    let Some((load, lightest_n, per_n, needed_n)) = needed.min_by(|a, b| a.3.total_cmp(&b.3)) else {
        return Measured::without(Status::NotMeasured, "the drawing does not say which force runs along it");
    };
    let other = match load {
        Load::Rock => "shove",
        Load::Shove => "rock",
    };
    let has_n = per_n * lightest_n;
    let why = if needed_n > HARDEST_PULL_N {
        format!("the {} puts no more than {has_n:.0} N along it: try a {other}", load.word())
    } else {
        format!(
            "the lightest pull of the {} puts {has_n:.0} N along it, and it takes {LEAST_N:.0} N: a lightest pull of {:.1} kN would do, or try a {other}",
            load.word(),
            1e-3 * needed_n
        )
    };
    Measured::without(Status::NotExcited, why)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::geometry::DVector;

    /// Six digits are printed of the worked values.
    const PRINTED: f64 = 6e-6;

    /// Held at one, two and three kilonewtons both ways; every link gives `c` and has `play_m`.
    fn stepped(along: &Along, c: f64, play_m: f64) -> Stepped {
        let per_pull = DVector::from_iterator(along.per_n.len(), along.per_n.iter().map(|n| n * c));
        let jump = DVector::from_iterator(along.per_n.len(), along.per_n.iter().map(|n| n.signum() * play_m));
        Stepped {
            load: Load::Rock,
            pulls_n: vec![1e3, 2e3, 3e3, -1e3, -2e3, -3e3],
            per_pull_u_m_per_n: DVector::zeros(per_pull.len()),
            jump_u_m: DVector::from_element(per_pull.len(), 1e-5),
            per_pull_m_per_n: per_pull,
            jump_m: Some(jump),
            pull_u: 0.01,
        }
    }

    /// Forces computed by a program that shares no code with this one, for 8 kN.
    #[test]
    fn forces_along_links_are_the_worked_ones_and_their_doubt_comes_from_sharing() {
        let along = Along::of(&cases::t(), 0, Load::Rock).expect("located");
        for (n, printed) in along.per_n.iter().zip([-11586.6, -11586.6, 7857.77, 7857.77]) {
            assert!((8000.0 * n / printed - 1.0).abs() < PRINTED, "{n}");
        }
        assert!(along.u.iter().all(|u| *u == 0.0), "nothing is shared where just enough links hold the axle");
        let shared = Along::of(&cases::p(), 0, Load::Rock).expect("located");
        for (n, printed) in shared.per_n.iter().zip([11297.3, 11288.3, -7244.47, -7232.20]) {
            assert!((8000.0 * n / printed - 1.0).abs() < PRINTED, "{n}");
        }
        assert!(shared.u.iter().any(|u| *u > 0.0), "{:?}", shared.u);
        for (u, n) in shared.u.iter().zip(&shared.per_n).take(4) {
            assert!(*u < 0.3 * n.abs(), "a link's share of a rock is known to a third: {u} of {n}");
        }
        assert!(shared.u[4] < 0.01, "a panhard bar shares no rock: {:?}", shared.u);
    }

    #[test]
    fn the_pull_that_is_not_quite_known_is_in_the_compliance() {
        let along = Along::of(&cases::t(), 0, Load::Rock).expect("located");
        let told = told(&stepped(&along, 2e-7, 5e-4), &along, 0).expect("it is loaded");
        let (value, u) = told.compliance;
        assert!((value / 2e-7 - 1.0).abs() < 1e-12 && (u / 2e-9 - 1.0).abs() < 1e-12, "{value} {u}");
        let (play_m, u) = told.play.expect("both ways");
        assert!((play_m - 5e-4).abs() < 1e-15 && u == 1e-5);
    }

    #[test]
    fn a_link_that_the_pull_hardly_loads_says_what_would() {
        let along = Along::of(&cases::p(), 0, Load::Rock).expect("located");
        let stepped = stepped(&along, 2e-7, 0.0);
        assert!(told(&stepped, &along, 4).is_none(), "a panhard bar has nothing to do with a rock");
        let said = not_loaded(&[(&stepped, along)], 4);
        assert_eq!(said.status, Status::NotExcited);
        assert!(said.why.is_some_and(|w| w.contains("try a shove")));
        let along = Along::of(&cases::t(), 0, Load::Rock).expect("located");
        let gentle = Stepped { pulls_n: vec![50.0, 100.0], ..stepped };
        let said = not_loaded(&[(&gentle, along)], 2).why.expect("why");
        // 7857.77 N of 8 kN: 150 N along it take 153 N.
        assert!(said.contains("49 N along it") && said.contains("0.2 kN would do"), "{said}");
    }
}
