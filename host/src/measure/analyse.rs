//! One run, from recording to results, axle by axle.

use super::anew::Anew;
use super::drag;
use super::envelope::envelope;
use super::give;
use super::instants::{Instant, instants};
use super::knuckle::{self, KnuckleSteer};
use super::links::{Line, lines};
use super::motion::{self, samples, seen, states};
use super::numbers::{self, Excitation, FREE};
use super::observe::Observer;
use super::path::{Path, PathPoint, directions, follow, follow_again};
use super::pitched;
use super::play;
use super::result::*;
use super::ride::{RidePose, ride_pose};
use super::sharing::sharings;
use super::still::stills;
use super::surface::{Samples, SurfaceFit};
use super::suspect::{self, Suspect};
use super::{MeasureError, ramp, residuals};
use crate::geometry::placed::PlacedBody;
use crate::rig::{ForceSensor, Kind, Rig};
use crate::run::{Phase, Recording};
use crate::vehicle::numbers::{AxleFacts, Key};
use crate::vehicle::{Axle, Vehicle};
use std::collections::BTreeMap;

/// States along each way of the travel.
const ALONG: usize = 9;
/// Agreement of the sensors beyond which the person is told, χ² per degree of freedom.
const DISAGREE: f64 = 4.0;

/// Measures a recording: every axle that carries sensors with data.
pub fn analyse(vehicle: &Vehicle, rig: &Rig, recording: &Recording) -> Result<Analysis, MeasureError> {
    if recording.series.iter().flatten().all(|series| series.t_s.is_empty()) {
        return Err(MeasureError::NoReadings);
    }
    let stills = stills(rig, recording)?;
    let (mut instants, step_s) = instants(rig, recording);
    let spans = spans(recording);
    let mut axles = Vec::new();
    for (index, axle) in vehicle.axles.iter().enumerate() {
        if !rig.sensors.iter().any(|s| s.axle == index) {
            continue;
        }
        let observer = Observer::new(rig, index, axle.centre(), &stills, &spans, recording.timing);
        if observer.is_blind() {
            return Err(MeasureError::NoData { axle: axle.name.clone() });
        }
        let (path, suspects, observer) = settled(observer, &mut instants, step_s);
        let ride = ride_pose(axle, index, rig, &stills);
        let run = AxleRun {
            vehicle,
            rig,
            axle,
            index,
            recording,
            instants: &instants,
            step_s,
            observer,
            path,
            ride,
        };
        axles.push(AxleAnalysis { suspects, ..run.result() });
    }
    Ok(Analysis {
        vehicle: vehicle.name.clone(),
        sharing: sharings(&axles),
        axles,
        counts: recording.counts,
        facts: recording.facts.clone(),
        provenance: recording.provenance.clone(),
        remarks: recording.remarks.iter().cloned().chain(kept_only(rig)).collect(),
    })
}

/// What is said of force sensors inside links.
fn kept_only(rig: &Rig) -> impl Iterator<Item = String> {
    rig.sensors.iter().filter_map(|sensor| {
        let Kind::Force(ForceSensor { link: Some(link), .. }) = &sensor.kind else { return None };
        Some(format!(
            "\"{}\" reads the force in \"{link}\": that is kept with the run and exported, and no result uses it; what links give is measured with a force sensor on the strap or the jack, without `link`",
            sensor.name
        ))
    })
}

/// The path, with sensors that seem to be clipped elsewhere than the file says set free, which these are, and the sensors so
/// understood before the run has taught anything.
fn settled(observer: Observer, instants: &mut [Instant], step_s: f64) -> (Path, Vec<Suspect>, Observer) {
    let path = moved(&observer, instants, step_s);
    match suspect::suspects(&observer, instants, step_s, &path) {
        Some((suspects, doubted)) => (moved(&doubted, instants, step_s), suspects, doubted),
        None => (path, Vec::new(), observer),
    }
}

/// Rounds of following every reading through its hysteresis loop: the first knows its width from the file, the next from
/// the run.
const LOOP_ROUNDS: usize = 2;

/// The path, made again once it has shown where every reading stood in its hysteresis loop.
pub(super) fn moved(observer: &Observer, instants: &mut [Instant], step_s: f64) -> Path {
    let mut path = follow(observer, instants, step_s);
    for _ in 0..LOOP_ROUNDS {
        let travelling: Vec<&PathPoint> = path.points.iter().filter(|p| p.phase.travels()).collect();
        let samples = samples(&path.observer, &travelling, seen(&travelling));
        let Some(fit) = SurfaceFit::fit(&samples, path.observer.nuisances(), &path.knowledge) else { break };
        drag::follow(&path.observer, &fit, &path.points, instants);
        path = follow_again(observer, instants, step_s, path);
    }
    path
}

/// Least and greatest reading of each scalar sensor.
fn spans(recording: &Recording) -> Vec<[f64; 2]> {
    recording
        .series
        .iter()
        .map(|channels| {
            let values = channels.first().map_or(&[][..], |c| c.value.as_slice());
            values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(*v), h.max(*v)])
        })
        .collect()
}

struct AxleRun<'a> {
    vehicle: &'a Vehicle,
    rig: &'a Rig,
    axle: &'a Axle,
    index: usize,
    recording: &'a Recording,
    instants: &'a [Instant],
    step_s: f64,
    observer: Observer,
    path: Path,
    ride: Option<RidePose>,
}

impl AxleRun<'_> {
    fn result(self) -> AxleAnalysis {
        let facts = AxleFacts::of(self.vehicle, self.axle);
        let lines = lines(self.axle, self.vehicle.tolerance_m);
        let travelling: Vec<&PathPoint> = self.path.points.iter().filter(|p| p.phase.travels()).collect();
        let seen = seen(&travelling);
        let states = states(&travelling);
        let excitation = Excitation::of(&states, seen);
        let samples = samples(&self.path.observer, &travelling, seen);
        let fit = motion::fitted(&self.path.observer, &travelling, &samples, &self.path.knowledge, &lines);
        let travel = travel(&states);

        let steer = knuckle::fit(&self.path, self.instants, self.axle, self.step_s);
        let (measured, budget, dearest) = match &fit {
            Some(fit) => {
                let mut at = numbers::at_state(&facts, fit, &excitation, 0.0, 0.0);
                steered(&mut at.numbers, &mut at.budget, &steer, (0.0, 0.0), &excitation);
                pitched::at_ride(&mut at, self.ride.as_ref(), &facts);
                (at.numbers, at.budget, at.dearest)
            }
            None => (nothing_moved(&facts), BTreeMap::new(), BTreeMap::new()),
        };
        let along = fit
            .as_ref()
            .map(|fit| self.along(&facts, fit, &excitation, &samples, &travel, &steer))
            .unwrap_or_default();
        let turned = play::turned(&self.path, self.instants, &lines, self.step_s);
        let links = self.links(&lines, fit.as_ref(), seen, &states, &turned);
        let chi_square_per_dof = suspect::agreement(&self.path.points);
        let path = pose_points(&self.path.points);
        AxleAnalysis {
            envelope: envelope(self.axle, &path),
            name: self.axle.name.clone(),
            index: self.index,
            position: self.axle.position,
            measured,
            budget,
            dearest,
            along,
            ramp_travel_index: self.climbed(),
            links,
            turned,
            stepped: give::stepped(&self.path, self.instants, &lines, self.rig, self.index, self.step_s),
            suspects: Vec::new(),
            sensors: self.rig.sensors.iter().map(|s| s.name.clone()).collect(),
            anew: Some(Anew::new(&self.observer, &self.path, self.instants)),
            theta: self.path.theta.clone(),
            fit: FitQuality {
                chi_square_per_dof,
                surface_residual: std::array::from_fn(|k| fit.as_ref().map_or(0.0, |f| f.residual_rms[k])),
            },
            travel,
            seen,
            remarks: [remarks(chi_square_per_dof, self.ride.as_ref()), misnamed(&self.path.points)].concat(),
            ride: self.ride,
            residuals: residuals::residuals(&self.path, self.instants, self.rig),
            path,
            surfaces: fit,
        }
    }

    fn climbed(&self) -> [RampIndex; 2] {
        ramp::indices(self.vehicle, self.axle, self.recording, self.instants, &self.path)
    }

    /// Numbers along heave at rest roll and along roll at the heave that went with it, each way apart.
    fn along(
        &self,
        facts: &AxleFacts,
        fit: &SurfaceFit,
        excitation: &Excitation,
        samples: &Samples,
        travel: &Travel,
        steer: &Result<KnuckleSteer, &'static str>,
    ) -> Vec<AlongPoint> {
        let travelling: Vec<PathPoint> =
            self.path.points.iter().filter(|p| p.phase.travels()).cloned().collect();
        let ways = directions(&travelling);
        let mut points = Vec::new();
        for direction in [Direction::Up, Direction::Down] {
            let keep: Vec<bool> = ways.iter().map(|w| *w == direction).collect();
            let part = samples.filtered(&keep);
            let Some(half) = SurfaceFit::with_basis(fit.basis.clone(), &part, &fit.nuisances, &fit.knowledge)
            else {
                continue;
            };
            for (heave_m, roll_rad) in self.states_along(travel, excitation) {
                let here = Excitation::near(&samples.states, travel, heave_m, roll_rad, excitation.seen);
                let mut at = numbers::at_state(facts, &half, &here, heave_m, roll_rad);
                steered(&mut at.numbers, &mut at.budget, steer, (heave_m, roll_rad), &here);
                pitched::along(&mut at, self.ride.as_ref(), self.axle.position);
                points.push(AlongPoint {
                    heave_m,
                    roll_rad,
                    direction,
                    axle_steer_rad: at.axle_steer_rad,
                    pose: at.pose,
                    numbers: at.numbers,
                });
            }
        }
        points
    }

    fn states_along(&self, travel: &Travel, excitation: &Excitation) -> Vec<(f64, f64)> {
        let mut states = Vec::new();
        let grid = |[low, high]: [f64; 2]| {
            (0..ALONG)
                .map(move |k| low + (high - low) * k as f64 / (ALONG - 1) as f64)
                .filter(|v| v.is_finite())
        };
        let bounce =
            self.path.points.iter().filter(|p| p.phase == Phase::Bounce).map(|p| p.estimate.pose.z_m);
        let heave = bounce.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)]);
        if excitation.heave_m > 0.0 && heave[1] > heave[0] {
            states.extend(grid(heave).map(|h| (h, 0.0)));
        }
        if travel.roll_rad[1] - travel.roll_rad[0] > 0.02 {
            states.extend(grid(travel.roll_rad).map(|roll| (self.heave_at(roll), roll)));
        }
        states
    }

    /// Mean heave of the travel's poses near an articulation.
    fn heave_at(&self, roll_rad: f64) -> f64 {
        let ramp = |p: &&PathPoint| p.phase.travels() && p.phase != Phase::Bounce;
        let near = self.path.points.iter().filter(ramp).map(|p| {
            let away = (p.estimate.pose.roll_rad - roll_rad) / 0.02;
            ((-0.5 * away * away).exp(), p.estimate.pose.z_m)
        });
        let (weight, sum) = near.fold((0.0, 0.0), |(w, s), (weight, z)| (w + weight, s + weight * z));
        if weight > 1e-6 { sum / weight } else { 0.0 }
    }

    fn links(
        &self,
        lines: &[Line],
        fit: Option<&SurfaceFit>,
        seen: [bool; 6],
        states: &[(f64, f64)],
        turned: &[Turned],
    ) -> Vec<LinkMeasured> {
        let whole = seen.iter().all(|s| *s);
        lines
            .iter()
            .enumerate()
            .map(|(k, line)| {
                let (apparent_m, apparent_u_m) = if whole {
                    self.path.points.iter().map(|p| self.apparent_change(line, p)).unzip()
                } else {
                    (Vec::new(), Vec::new())
                };
                let change = match (whole, fit) {
                    _ if states.is_empty() => Measured::without(
                        Status::NotExcited,
                        "the axle did not travel: a bounce or a ramp would",
                    ),
                    (false, _) => {
                        Measured::without(Status::NotMeasured, "needs all six coordinates of the axle")
                    }
                    (true, None) => Measured::without(Status::NotExcited, "the axle did not move"),
                    (true, Some(fit)) => largest_change(fit, FREE.len() + k, states),
                };
                LinkMeasured {
                    name: line.name.clone(),
                    nominal_m: line.nominal_m(),
                    length_m: self.length(line),
                    play_m: play::of_line(&self.path, turned, k),
                    drawn_give_m: Measured::without(Status::NotMeasured, "the drawing does not tell"),
                    compliance_m_per_n: give::why_not(&self.path, self.rig, self.index),
                    apparent_change_m: change,
                    apparent_m,
                    apparent_u_m,
                }
            })
            .collect()
    }

    /// Length as built, where the still's own place is known.
    fn length(&self, line: &Line) -> Measured {
        match self.ride.as_ref().map(|ride| ride.length(line, self.axle.centre())) {
            Some(Some((length_m, u))) => Measured::new(length_m, u),
            Some(None) => Measured::without(
                Status::NotMeasured,
                "too little was measured by hand at ride height to tell it",
            ),
            None => Measured::without(
                Status::NotMeasured,
                "wires zeroed at ride height see changes of length only: tape ride marks, measure the pinion and thrust angle",
            ),
        }
    }

    /// Change of an apparent length at a pose, `u(ℓ) = √(gᵀΣg)`, m.
    fn apparent_change(&self, line: &Line, point: &PathPoint) -> (f64, f64) {
        let body = PlacedBody::new(&point.estimate.pose, self.path.observer.centre());
        let (length, gradient) = line.apparent(&body);
        let variance = gradient.dot(&(&point.estimate.covariance * gradient));
        (length - line.nominal_m(), variance.max(0.0).sqrt())
    }
}

/// Puts in what a unit at the knuckle says, where the axle has such numbers.
fn steered(
    numbers: &mut BTreeMap<Key, Measured>,
    budgets: &mut BTreeMap<Key, Budget>,
    steer: &Result<KnuckleSteer, &'static str>,
    (heave_m, roll_rad): (f64, f64),
    excitation: &Excitation,
) {
    let found = match steer {
        Ok(steer) => steer.at(heave_m, roll_rad, excitation),
        Err(why) => knuckle::without(why),
    };
    for (key, measured, budget) in found {
        if let Some(number) = numbers.get_mut(&key) {
            *number = measured;
            budgets.extend(budget.map(|b| (key, b)));
        }
    }
}

/// Greatest difference of an apparent length between two states of the travel.
fn largest_change(fit: &SurfaceFit, response: usize, states: &[(f64, f64)]) -> Measured {
    let read = |(heave, roll): &(f64, f64)| {
        let functional = fit.functional(response, &fit.basis.at(*heave, *roll)[0]);
        (fit.value(&functional), functional)
    };
    let values = states.iter().map(|s| (read(s).0, s));
    let (low, high) = values.fold((None, None), |(low, high): (Option<(f64, _)>, Option<(f64, _)>), v| {
        (
            if low.is_none_or(|l| v.0 < l.0) { Some(v) } else { low },
            if high.is_none_or(|h| v.0 > h.0) { Some(v) } else { high },
        )
    });
    match (low, high) {
        (Some((_, low)), Some((_, high))) => {
            let functional = read(high).1 - read(low).1;
            Measured::new(fit.value(&functional), fit.covariance(&functional, &functional).max(0.0).sqrt())
        }
        _ => Measured::without(Status::NotExcited, "the axle did not move"),
    }
}

fn travel(states: &[(f64, f64)]) -> Travel {
    let range = |f: fn(&(f64, f64)) -> f64| {
        states.iter().map(f).fold([0.0_f64, 0.0_f64], |[l, h], v| [l.min(v), h.max(v)])
    };
    Travel { heave_m: range(|s| s.0), roll_rad: range(|s| s.1) }
}

fn nothing_moved(facts: &AxleFacts) -> BTreeMap<Key, Measured> {
    Key::ALL
        .into_iter()
        .filter(|k| k.applies_to(facts.position))
        .map(|k| {
            let still = "the run has no bounce, ramp or obstacle phase with data";
            let found = match numbers::beyond_motion(k) {
                Some(why) => Measured::without(Status::NotMeasured, why),
                None => Measured::without(Status::NotExcited, still),
            };
            (k, found)
        })
        .collect()
}

/// How far from its drawn place a taped axle may sit before it is remarked on, m.
const OFF_M: f64 = 0.010;

fn remarks(chi_square_per_dof: Option<f64>, ride: Option<&RidePose>) -> Vec<String> {
    let contradict = chi_square_per_dof.filter(|chi| *chi > DISAGREE).map(|chi| {
        format!(
            "the sensors contradict one another (χ² per degree of freedom {chi:.1}): check that each is clipped where rig.toml says, and that its scale is right"
        )
    });
    let off = ride.map(RidePose::off).filter(|(off_m, u)| *off_m > OFF_M && *off_m > 2.0 * u).map(|(off_m, u)| {
        format!(
            "at ride height the axle sits {:.0} ± {:.0} mm from where it was drawn, by what was measured by hand: look at the ride height, or at the drawing",
            1e3 * off_m,
            1e3 * numbers::HALF_95 * u
        )
    });
    let slip = ride.and_then(|ride| ride.contradicts.as_ref()).map(|which| {
        format!("what was measured by hand at ride height contradicts itself: {which}; measure that again")
    });
    contradict.into_iter().chain(off).chain(slip).collect()
}

/// Articulation that any ramp makes, rad.
const RAMP_FLEX_RAD: f64 = 0.05;
/// Heave beyond which a phase that does not articulate was a bounce, m.
const BOUNCE_M: f64 = 0.03;

/// Ramps on which the axle went up and down and hardly articulated: phases with the wrong name.
fn misnamed(points: &[PathPoint]) -> Vec<String> {
    let range = |values: &mut dyn Iterator<Item = f64>| {
        let [low, high] = values.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)]);
        high - low
    };
    let found = [Phase::RampLeft, Phase::RampRight].into_iter().filter(|phase| {
        let poses =
            || points.iter().filter(|p| p.phase == *phase && p.estimate.seen[2] && p.estimate.seen[3]);
        range(&mut poses().map(|p| p.estimate.pose.roll_rad)) < RAMP_FLEX_RAD
            && range(&mut poses().map(|p| p.estimate.pose.z_m)) > BOUNCE_M
    });
    found
        .map(|phase| {
            format!("in \"{}\" the axle went up and down and hardly articulated: it looks like a bounce under another name", phase.words())
        })
        .collect()
}

fn pose_points(points: &[PathPoint]) -> Vec<PosePoint> {
    points.iter().zip(directions(points)).map(|(point, way)| pose_point(point, way)).collect()
}

fn pose_point(point: &PathPoint, way: Direction) -> PosePoint {
    let PathPoint { t_s, phase, estimate, .. } = point;
    PosePoint {
        t_s: *t_s,
        phase: *phase,
        pose: estimate.pose,
        u: std::array::from_fn(|k| estimate.seen[k].then(|| estimate.covariance[(k, k)].max(0.0).sqrt())),
        chi_square: estimate.chi_square,
        redundancy: estimate.redundancy,
        direction: phase.travels().then_some(way),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;

    #[test]
    fn a_force_sensor_inside_a_link_is_said_to_be_kept_only() {
        let text = Layout::TriangulatedFourLink.vehicle_text("Bramble");
        let vehicle = crate::vehicle::file::parse(&text, "vehicle.toml").expect("a starter");
        let of = |place: &str| {
            let rig = format!(
                "format = 1\n[[sensor]]\nname = \"cell\"\nkind = \"force\"\naxle_name = \"rear\"\n{place}scale = 1\n"
            );
            let rig = crate::rig::file::parse(&rig, "rig.toml", &vehicle).expect("a rig");
            kept_only(&rig).collect::<Vec<_>>()
        };
        assert!(of("").is_empty(), "one on the strap is measured with");
        let told = of("link = \"lower left\"\n");
        assert!(
            matches!(told.as_slice(), [one] if one.starts_with("\"cell\" reads the force in \"lower left\"")),
            "{told:?}"
        );
    }
}
