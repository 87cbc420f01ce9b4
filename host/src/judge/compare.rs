//! A run against its design, and a run against another.

use super::brackets::{Bracket, brackets};
use super::evidence::Evidence;
use super::findings::{Explanation, findings, hole_odds};
use super::result::*;
use super::verdict;
use crate::design::{DesignError, Mechanism, tolerance};
use crate::measure::links::lines;
use crate::measure::{Analysis, AxleAnalysis, Measured, Status};
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Side, Vehicle};

/// Sets an analysis beside the vehicle as drawn.
///
/// # Errors
/// Where the drawing itself cannot be predicted.
pub fn against_design(vehicle: &Vehicle, analysis: Analysis) -> Result<Comparison, DesignError> {
    let Analysis { vehicle: name, axles, counts, facts, provenance, mut remarks } = analysis;
    let mut compared = Vec::new();
    for axle in axles {
        let mechanism = Mechanism::new(vehicle, axle.index)?;
        remarks.extend(mechanism.notes().iter().cloned());
        compared.push(axle_against_design(vehicle, &mechanism, axle)?);
    }
    Ok(Comparison { vehicle: name, axles: compared, counts, facts, provenance, remarks })
}

fn axle_against_design(
    vehicle: &Vehicle,
    mechanism: &Mechanism,
    analysis: AxleAnalysis,
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
            (*key, verdict::number(*key, reference, measured, stated, false))
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
    compared.findings = axle_findings(vehicle, &compared, &designed);
    Ok(compared)
}

fn axle_findings(vehicle: &Vehicle, compared: &AxleComparison, designed: &Numbers) -> Vec<Finding> {
    let analysis = &compared.analysis;
    let axle = &vehicle.axles[analysis.index];
    let lines = lines(axle, vehicle.tolerance_m);
    let brackets = brackets(axle, &lines);
    let Some(evidence) = Evidence::gather(analysis, &lines, &brackets, axle.centre()) else {
        return Vec::new();
    };
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
        Explanation::AsDrawn => return Vec::new(),
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
    let Some(evidence) = Evidence::gather(analysis, &lines, &brackets, axle.centre()) else {
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

/// Sets a second run beside a first.
pub fn runs(vehicle: &Vehicle, first: &Analysis, second: &Analysis) -> RunsComparison {
    let mut remarks: Vec<String> = first.remarks.iter().chain(&second.remarks).cloned().collect();
    if first.provenance.vehicle_hash != second.provenance.vehicle_hash {
        remarks.push("the vehicle file changed between the two runs".into());
    }
    if first.provenance.rig_hash != second.provenance.rig_hash {
        remarks.push("the rig file changed between the two runs".into());
    }
    let axles = first
        .axles
        .iter()
        .filter_map(|a| second.axles.iter().find(|b| b.name == a.name).map(|b| (a, b)))
        .map(|(a, b)| AxleRuns { name: a.name.clone(), numbers: axle_runs(vehicle, a, b) })
        .collect();
    RunsComparison {
        vehicle: second.vehicle.clone(),
        first: first.provenance.clone(),
        second: second.provenance.clone(),
        axles,
        remarks,
    }
}

fn axle_runs(
    vehicle: &Vehicle,
    first: &AxleAnalysis,
    second: &AxleAnalysis,
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
            (*key, verdict::number(*key, reference, &measured, stated, true))
        })
        .collect()
}
