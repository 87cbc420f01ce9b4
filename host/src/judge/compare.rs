//! A run against its design, and a run against another.

use super::brackets::{Bracket, brackets};
use super::built;
use super::evidence::Evidence;
use super::findings::{Explanation, findings, hole_odds, settled};
use super::looseness;
use super::result::*;
use super::sensors;
use super::verdict;
use crate::design::{DesignError, Mechanism, tolerance};
use crate::measure::links::lines;
use crate::measure::{Analysis, AxleAnalysis, Budget, Measured, Status};
use crate::run::Provenance;
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Side, Vehicle};

/// Sets an analysis beside the vehicle as drawn.
///
/// # Errors
/// Where the drawing itself cannot be predicted.
pub fn against_design(vehicle: &Vehicle, analysis: Analysis) -> Result<Comparison, DesignError> {
    let Analysis { vehicle: name, axles, sharing, counts, facts, provenance, mut remarks } = analysis;
    let mut compared = Vec::new();
    for axle in axles {
        let mechanism = Mechanism::new(vehicle, axle.index)?;
        remarks.extend(mechanism.notes().iter().cloned());
        compared.push(axle_against_design(vehicle, &mechanism, axle, facts.load_n)?);
    }
    Ok(Comparison { vehicle: name, axles: compared, sharing, counts, facts, provenance, remarks })
}

fn axle_against_design(
    vehicle: &Vehicle,
    mechanism: &Mechanism,
    analysis: AxleAnalysis,
    load_n: Option<f64>,
) -> Result<AxleComparison, DesignError> {
    let axle = &vehicle.axles[analysis.index];
    let designed = mechanism.numbers(mechanism.ride());
    let designed_u = tolerance::number_u(vehicle, analysis.index)?;
    let numbers = analysis
        .measured
        .iter()
        .map(|(key, measured)| {
            let stated = axle.agree.iter().find(|(k, _)| k == key).map(|(_, limit)| *limit);
            let reference = Quantity { value: designed.get(*key), u: designed_u.get(*key) };
            (*key, verdict::number(*key, reference, measured, stated, None))
        })
        .collect();
    let designed_along = analysis
        .along
        .iter()
        .map(|point| {
            let state = mechanism.solve(point.heave_m, point.roll_rad).ok()?;
            Some(DesignedPoint {
                heave_m: point.heave_m,
                roll_rad: point.roll_rad,
                pose: state.pose,
                numbers: mechanism.numbers(&state),
            })
        })
        .collect();
    let mut compared = AxleComparison {
        name: analysis.name.clone(),
        numbers,
        findings: Vec::new(),
        designed_along,
        analysis,
    };
    compared.findings = sensors::findings(&compared.analysis.suspects);
    let lines = lines(axle, vehicle.tolerance_m);
    if let Some(ride) = &compared.analysis.ride {
        compared.findings.extend(built::findings(ride, &lines, axle.centre()));
    }
    let brackets = axle_findings(vehicle, mechanism, &compared, &designed);
    compared.findings.extend(brackets);
    let loose = looseness::findings(axle, mechanism, &compared.analysis, &lines, load_n);
    compared.findings.extend(loose);
    Ok(compared)
}

fn axle_findings(
    vehicle: &Vehicle,
    mechanism: &Mechanism,
    compared: &AxleComparison,
    designed: &Numbers,
) -> Vec<Finding> {
    let analysis = &compared.analysis;
    let axle = &vehicle.axles[analysis.index];
    let lines = lines(axle, vehicle.tolerance_m);
    let brackets = brackets(axle, &lines);
    let Some(evidence) = Evidence::gather(analysis, &lines, &brackets, mechanism) else {
        return Vec::new();
    };
    let evidence = settled(evidence, &brackets);
    let mut found: Vec<Finding> = findings(&evidence, &brackets)
        .into_iter()
        .map(|(mut finding, explanation)| {
            if let Some(explanation) = explanation {
                finding.explains = explains(vehicle, compared, designed, &evidence, &brackets, &explanation);
            }
            finding
        })
        .collect();
    let share = |f: &Finding| f.explains.iter().map(|e| e.1).sum::<f64>();
    found.sort_by(|a, b| share(b).total_cmp(&share(a)));
    found
}

/// For every number that differs: the share of the difference that goes away when the explanation is put into the drawing.
fn explains(
    vehicle: &Vehicle,
    compared: &AxleComparison,
    designed: &Numbers,
    evidence: &Evidence<'_>,
    brackets: &[Bracket],
    explanation: &Explanation,
) -> Vec<(Key, f64)> {
    let index = compared.analysis.index;
    let mut changed = vehicle.clone();
    match explanation {
        Explanation::AsDrawn | Explanation::SensorOff(_) => return Vec::new(),
        Explanation::Holes(holes) => {
            for (bracket, hole) in holes {
                if let Some(point) = brackets[*bracket].mount.holes().get(*hole) {
                    changed = brackets[*bracket].put(&changed, index, point);
                }
            }
        }
        Explanation::BracketOff(bracket) => {
            if let Some((offset, _)) = evidence.offset(*bracket) {
                changed =
                    brackets[*bracket].put(&changed, index, &(brackets[*bracket].mount.point() + offset));
            }
        }
    }
    let Ok(mechanism) = Mechanism::new(&changed, index) else { return Vec::new() };
    let after = mechanism.numbers(mechanism.ride());
    compared
        .numbers
        .iter()
        .filter(|(_, n)| n.verdict == Verdict::Differs)
        .filter_map(|(key, n)| {
            let (measured, _) = n.measured.measured()?;
            let before = measured - designed.get(*key)?;
            Some((*key, 1.0 - (measured - after.get(*key)?).abs() / before.abs()))
        })
        .collect()
}

/// Probability of each hole, per end that has several.
#[derive(Debug, Clone, PartialEq)]
pub struct InUse {
    /// Name of the element.
    pub element: String,
    /// Names of the links (or wishbone legs) that end in it.
    pub links: Vec<String>,
    /// Which body carries the bracket.
    pub end: Side,
    /// By hole, summing to 1.
    pub odds: Vec<f64>,
}

/// Which holes the motion says are in use, for every end that has several.
pub fn holes_in_use(vehicle: &Vehicle, analysis: &AxleAnalysis) -> Vec<InUse> {
    let axle = &vehicle.axles[analysis.index];
    let lines = lines(axle, vehicle.tolerance_m);
    let brackets = brackets(axle, &lines);
    let Ok(mechanism) = Mechanism::new(vehicle, analysis.index) else { return Vec::new() };
    let Some(evidence) = Evidence::gather(analysis, &lines, &brackets, &mechanism) else {
        return Vec::new();
    };
    brackets
        .iter()
        .enumerate()
        .filter(|(_, b)| b.mount.holes().len() > 1)
        .filter_map(|(k, b)| {
            let odds = hole_odds(&evidence, &brackets, k)?;
            let links = b.lines.iter().map(|l| lines[*l].name.clone()).collect();
            Some(InUse { element: b.element.clone(), links, end: b.on, odds })
        })
        .collect()
}

/// Sets a second run beside a first. With one rig and one calibration, and unless the sensors were `refitted` in between, what
/// mounts, scales and headings do to a number they do in both runs alike, and it cancels as far as it is alike. Two vehicles share
/// none of it, whatever their files say.
pub fn runs(vehicle: &Vehicle, first: &Analysis, second: &Analysis, refitted: bool) -> RunsComparison {
    let two_vehicles = first.vehicle != second.vehicle;
    let (one, two) = (&first.provenance, &second.provenance);
    let same_rig = one.rig_hash == two.rig_hash && one.calibration_hash == two.calibration_hash;
    let shared = same_rig && !refitted && !two_vehicles;
    let mut remarks: Vec<String> = first.remarks.iter().chain(&second.remarks).cloned().collect();
    if !two_vehicles {
        remarks.extend(changed_between(one, two));
    }
    if shared {
        remarks.push(
            "both runs have one rig: the errors of its mounts, scales and headings count as the same in both and drop out of \
             the difference. If the sensors were taken off in between, say --refitted"
                .into(),
        );
    }
    let pairs = pairs(first, second, two_vehicles);
    let alone = |of: &Analysis, paired: &dyn Fn(&AxleAnalysis) -> bool| {
        of.axles.iter().filter(|axle| !paired(axle)).map(|axle| axle.name.clone()).collect()
    };
    RunsComparison {
        vehicle: second.vehicle.clone(),
        first_vehicle: first.vehicle.clone(),
        first: one.clone(),
        second: two.clone(),
        unpaired: [
            alone(first, &|axle| pairs.iter().any(|(a, _)| a.name == axle.name)),
            alone(second, &|axle| pairs.iter().any(|(_, b)| b.name == axle.name)),
        ],
        axles: pairs
            .iter()
            .map(|(a, b)| AxleRuns { name: b.name.clone(), numbers: axle_runs(vehicle, a, b, shared) })
            .collect(),
        remarks,
    }
}

/// Axles that both runs measured: of one vehicle by name, of two by the end at which they are, where each measured one there.
fn pairs<'a>(
    first: &'a Analysis,
    second: &'a Analysis,
    two_vehicles: bool,
) -> Vec<(&'a AxleAnalysis, &'a AxleAnalysis)> {
    let at_end = |of: &Analysis, end| of.axles.iter().filter(|axle| axle.position == end).count() == 1;
    let same = |a: &AxleAnalysis, b: &AxleAnalysis| match two_vehicles {
        true => {
            a.position == b.position
                && (a.name == b.name || at_end(first, a.position) && at_end(second, a.position))
        }
        false => a.name == b.name,
    };
    first.axles.iter().filter_map(|a| Some((a, second.axles.iter().find(|b| same(a, b))?))).collect()
}

/// What of its files a vehicle has not kept from one run to the other.
fn changed_between(one: &Provenance, two: &Provenance) -> Vec<String> {
    let mut remarks = Vec::new();
    if one.vehicle_hash != two.vehicle_hash {
        remarks.push("the vehicle file changed between the two runs".into());
    }
    if one.rig_hash != two.rig_hash {
        remarks.push("the rig file changed between the two runs".into());
    } else if one.calibration_hash != two.calibration_hash {
        remarks.push("the sensors were calibrated anew between the two runs".into());
    }
    remarks
}

fn axle_runs(
    vehicle: &Vehicle,
    first: &AxleAnalysis,
    second: &AxleAnalysis,
    shared: bool,
) -> std::collections::BTreeMap<Key, NumberComparison> {
    let agree = vehicle.axles.get(second.index).map_or(&[][..], |a| a.agree.as_slice());
    second
        .measured
        .iter()
        .map(|(key, measured)| {
            let reference = first.measured.get(key).and_then(Measured::measured);
            let reference = Quantity { value: reference.map(|r| r.0), u: reference.map(|r| r.1) };
            let stated = agree.iter().find(|(k, _)| k == key).map(|(_, limit)| *limit);
            let measured = if measured.status == Status::FromDesign {
                Measured::without(Status::NotMeasured, "taken from the drawing")
            } else {
                measured.clone()
            };
            let budgets = first.budget.get(key).zip(second.budget.get(key)).filter(|_| shared);
            let us = [reference.u.unwrap_or(0.0), measured.u.unwrap_or(0.0)];
            let u = difference_u(us, budgets.map(|(a, b)| [a, b]));
            (*key, verdict::number(*key, reference, &measured, stated, Some(u)))
        })
        .collect()
}

/// Standard uncertainty of the difference of two runs' values, from their own and, where they share a rig, their budgets: each
/// shared line counts with what it does differently in the two (JCGM 100:2008, 5.2.2 with a correlation of 1).
fn difference_u(us: [f64; 2], budgets: Option<[&Budget; 2]>) -> f64 {
    let Some(budgets) = budgets else { return us[0].hypot(us[1]) };
    // A quotient's u comes from a Monte Carlo, not from the lines of its budget: they then give the shares.
    let scale = |k: usize| {
        let total = budgets[k].total();
        if total > 0.0 { us[k] / total } else { 0.0 }
    };
    let scales = [scale(0), scale(1)];
    let line = |of: fn(&Budget) -> f64| [of(budgets[0]) * scales[0], of(budgets[1]) * scales[1]];
    let apart = [line(|b| b.noise), line(|b| b.zero), line(|b| b.model)].map(|[a, b]| a.hypot(b));
    let alike = [line(|b| b.mount), line(|b| b.scale), line(|b| b.heading)].map(|[a, b]| a - b);
    apart.iter().chain(&alike).map(|u| u * u).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_two_runs_share_drops_out_of_their_difference() {
        let budget = Budget { noise: 0.3, mount: 4.0, scale: 1.0, zero: 0.4, heading: 2.0, model: 0.0 };
        let u = budget.total();
        let shared = difference_u([u, u], Some([&budget, &budget]));
        // √2 · √(0.3² + 0.4²)
        assert!((shared - 0.5 * std::f64::consts::SQRT_2).abs() < 1e-12, "{shared}");
        assert!((difference_u([u, u], None) - u * std::f64::consts::SQRT_2).abs() < 1e-12);
        // A second run that feels the mounts by a quarter more.
        let more = Budget { mount: 5.0, ..budget };
        let u = [budget.total(), more.total()];
        assert!((difference_u(u, Some([&budget, &more])) - 1.5f64.sqrt()).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn sharing_never_makes_a_difference_less_sure(a in prop::array::uniform6(0.0..3.0f64), b in prop::array::uniform6(0.0..3.0f64)) {
            let of = |p: [f64; 6]| Budget { noise: p[0], mount: p[1], scale: p[2], zero: p[3], heading: p[4], model: p[5] };
            let (a, b) = (of(a), of(b));
            let us = [a.total(), b.total()];
            let shared = difference_u(us, Some([&a, &b]));
            prop_assert!(shared <= difference_u(us, None) + 1e-12);
            let own = a.own_and_shared()[0].hypot(b.own_and_shared()[0]);
            prop_assert!(shared >= own - 1e-12);
        }
    }
}
