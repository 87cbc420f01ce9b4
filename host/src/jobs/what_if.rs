//! A drawn axle with some of its points moved, solved quickly enough to follow a hand on a slider. No file is changed.

use crate::design::common_states::Flexed;
use crate::design::predict::states;
use crate::design::prediction::AtState;
use crate::design::tolerance::{known_at, number_u};
use crate::design::{DesignError, Mechanism};
use crate::explain::Explain;
use crate::geometry::Vector3;
use crate::vehicle::numbers::{FLEX_RAD, Numbers};
use crate::vehicle::{Axle, Spot, Vehicle};

/// How far a point may be moved along each coordinate, m: beyond that it is another bracket, and another drawing.
pub const MOST_M: f64 = 0.15;
/// Steps from ride height to each end of the travel.
const STEPS: i32 = 4;
/// Coordinates that agree to this are the same, m.
const SAME_M: f64 = 1e-9;

/// A point that a hand may move, with its twin on the other side where both are alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Handle {
    /// The point.
    pub spot: Spot,
    /// The same point of the element on the other side.
    pub twin: Option<Spot>,
    /// Name of the element, and of the one on the other side.
    pub elements: Vec<String>,
    /// Where it is drawn, m.
    pub drawn_m: Vector3<f64>,
    /// Every hole of its bracket, m; one where there is no choice.
    pub holes_m: Vec<Vector3<f64>>,
    /// Which hole the file has in use, counted from 0.
    pub in_use: usize,
}

/// Every point of an axle that a hand may move, in file order. Mirrored points that stand where a mirror puts them move together.
pub fn handles(axle: &Axle) -> Vec<Handle> {
    let mut found: Vec<Handle> = Vec::new();
    for spot in axle.spots() {
        let (Some(at), Some(name)) = (axle.place(spot), axle.element(spot)) else { continue };
        let twins = &axle.locating.twins;
        let left = twins.iter().find(|[_, right]| right == name).map(|[left, _]| left);
        let twin = left.and_then(|left| {
            found.iter_mut().find(|h| {
                h.twin.is_none()
                    && h.elements.first() == Some(left)
                    && h.spot.words() == spot.words()
                    && (h.drawn_m - mirrored(&at)).norm() < SAME_M
            })
        });
        match twin {
            Some(handle) => {
                handle.twin = Some(spot);
                handle.elements.push(name.to_owned());
            }
            None => found.push(Handle {
                spot,
                twin: None,
                elements: vec![name.to_owned()],
                drawn_m: at,
                holes_m: axle.mount(spot).map_or_else(|| vec![at], |m| m.holes().to_vec()),
                in_use: axle.mount(spot).map_or(0, |m| m.in_use()),
            }),
        }
    }
    found
}

fn mirrored(p: &Vector3<f64>) -> Vector3<f64> {
    Vector3::new(p.x, -p.y, p.z)
}

/// What is done to one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Its handle, counted from 0 in the order of [`handles`].
    pub handle: usize,
    /// The hole that is used, counted from 0.
    pub hole: usize,
    /// How far the bracket is moved from where it is drawn, m.
    pub offset_m: [f64; 3],
}

/// What is asked.
#[derive(Debug, Clone)]
pub struct Request<'a> {
    /// As drawn.
    pub vehicle: &'a Vehicle,
    /// Which axle, counted from 0.
    pub axle_index: usize,
    /// What is done to its points.
    pub changes: Vec<Change>,
    /// The state to show: heave m, roll rad.
    pub shown: (f64, f64),
    /// Whether to work out how well the numbers are known, which takes longer than a hand waits.
    pub with_u: bool,
}

/// An axle with its points moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// The vehicle with the points moved.
    pub vehicle: Vehicle,
    /// Which axle, counted from 0.
    pub axle_index: usize,
    /// How often it is held beyond what is needed.
    pub redundant: usize,
    /// At ride height.
    pub ride: Numbers,
    /// Standard uncertainties of these; empty where they were not asked for.
    pub ride_u: Numbers,
    /// Articulated by the angle at which every axle is told, left and right wheel up.
    pub flex: Vec<Flexed>,
    /// From full droop to full bump.
    pub heave: Vec<AtState>,
    /// From right wheel up to left wheel up.
    pub roll: Vec<AtState>,
    /// The state to show.
    pub shown: AtState,
}

/// Why nothing was tried.
#[derive(Debug, thiserror::Error)]
pub enum WhatIfError {
    /// There is no such point or hole.
    #[error("the axle has no such point or hole")]
    NoPoint,
    /// Too far, or no number.
    #[error("a point can be moved by {} mm along each coordinate, no further", MOST_M * 1e3)]
    TooFar,
    /// The axle cannot be solved so.
    #[error(transparent)]
    Design(#[from] DesignError),
}

impl Explain for WhatIfError {
    fn hint(&self) -> Option<String> {
        match self {
            WhatIfError::Design(error) => error.hint(),
            WhatIfError::NoPoint | WhatIfError::TooFar => None,
        }
    }
}

/// Moves the points and solves the axle.
///
/// # Errors
/// [`WhatIfError`]; a state that the links cannot reach is an answer.
pub fn run(request: &Request<'_>) -> Result<Tried, WhatIfError> {
    let index = request.axle_index;
    let vehicle = moved(request)?;
    let mechanism = Mechanism::new(&vehicle, index)?;
    let Some(axle) = vehicle.axles.get(index) else { return Err(WhatIfError::NoPoint) };
    let to = |end_m: f64, end_rad: f64| {
        let share = |k: i32| f64::from(k) / f64::from(STEPS);
        states(&mechanism, (0..=STEPS).map(|k| (share(k) * end_m, share(k) * end_rad)))
    };
    let both = |low: Vec<AtState>, high: Vec<AtState>| -> Vec<AtState> {
        low.into_iter().skip(1).rev().chain(high).collect()
    };
    let sweep = axle.sweep;
    let heave = both(to(-sweep.down_m, 0.0), to(sweep.up_m, 0.0));
    let roll = both(to(0.0, -sweep.roll_rad), to(0.0, sweep.roll_rad));
    let at = |heave_m: f64, roll_rad: f64| {
        let outcome = states(&mechanism, [(heave_m, roll_rad)]);
        outcome.into_iter().next().ok_or(WhatIfError::NoPoint)
    };
    let flexed = |roll_rad: f64| -> Result<Flexed, WhatIfError> {
        let at = at(0.0, roll_rad)?;
        let reached = at.outcome.is_ok() && request.with_u;
        let u = reached.then(|| known_at(&vehicle, index, 0.0, roll_rad).ok()).flatten();
        Ok(Flexed { at, u })
    };
    let flex = vec![flexed(FLEX_RAD)?, flexed(-FLEX_RAD)?];
    let shown = at(request.shown.0, request.shown.1)?;
    let ride = mechanism.numbers(mechanism.ride());
    let ride_u = if request.with_u { number_u(&vehicle, index)? } else { Numbers::default() };
    let redundant = mechanism.redundant();
    Ok(Tried { axle_index: index, redundant, ride, ride_u, flex, heave, roll, shown, vehicle })
}

fn moved(request: &Request<'_>) -> Result<Vehicle, WhatIfError> {
    let mut vehicle = request.vehicle.clone();
    let axle = vehicle.axles.get_mut(request.axle_index).ok_or(WhatIfError::NoPoint)?;
    let handles = handles(axle);
    for change in &request.changes {
        let handle = handles.get(change.handle).ok_or(WhatIfError::NoPoint)?;
        if change.offset_m.iter().any(|m| m.is_nan() || m.abs() > MOST_M + SAME_M) {
            return Err(WhatIfError::TooFar);
        }
        if change.hole >= handle.holes_m.len() {
            return Err(WhatIfError::NoPoint);
        }
        let offset = Vector3::from(change.offset_m);
        for (spot, offset) in [(Some(handle.spot), offset), (handle.twin, mirrored(&offset))]
            .into_iter()
            .filter_map(|(s, o)| Some((s?, o)))
        {
            if let Some(mount) = axle.mount_mut(spot) {
                mount.use_hole(change.hole);
            }
            axle.move_spot(spot, &offset);
        }
    }
    Ok(vehicle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::vehicle::file::parse;
    use crate::vehicle::numbers::Key;

    fn starter(layout: Layout) -> Vehicle {
        parse(&layout.vehicle_text("Bramble"), "vehicle.toml").unwrap()
    }

    fn request(vehicle: &Vehicle, changes: Vec<Change>) -> Request<'_> {
        Request { vehicle, axle_index: 0, changes, shown: (0.0, 0.0), with_u: false }
    }

    #[test]
    fn nothing_moved_is_what_predict_says() {
        for (word, layout) in Layout::WORDS {
            let vehicle = starter(layout);
            let whole = Request { with_u: true, ..request(&vehicle, Vec::new()) };
            let (tried, predicted) = (run(&whole).unwrap(), crate::design::predict(&vehicle).unwrap());
            let axle = &predicted.axles[0];
            assert_eq!(tried.ride, axle.ride.numbers, "{word}");
            assert_eq!(tried.redundant, axle.redundant, "{word}");
            assert_eq!(tried.ride_u, axle.ride_u, "{word}");
            assert_eq!(tried.vehicle, vehicle, "{word}");
            let ends = |states: &[AtState]| [states[0].heave_m, states[states.len() - 1].heave_m];
            assert_eq!(ends(&tried.heave), ends(&axle.sweeps.heave), "{word}");
        }
    }

    #[test]
    fn a_moved_point_is_the_file_edited_by_hand() {
        let text = Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble");
        let vehicle = parse(&text, "vehicle.toml").unwrap();
        let all = handles(&vehicle.axles[0]);
        let k = all
            .iter()
            .position(|h| h.elements[0] == "lower left" && h.spot.words() == "chassis end")
            .unwrap();
        let handle = &all[k];
        assert_eq!(handle.elements, ["lower left", "lower right"], "both sides move");
        let offset_m = [0.02, -0.01, 0.03];
        let tried =
            run(&request(&vehicle, vec![Change { handle: k, hole: handle.in_use, offset_m }])).unwrap();
        let mut by_hand = vehicle.clone();
        for link in by_hand.axles[0].locating.links.iter_mut().filter(|l| l.name.starts_with("lower")) {
            let side = link.chassis.point().y.signum();
            link.chassis = link.chassis.moved(&Vector3::new(0.02, -0.01 * side, 0.03));
        }
        assert_eq!(tried.vehicle, by_hand);
        let numbers = crate::design::predict(&by_hand).unwrap().axles[0].ride.numbers.clone();
        assert_eq!(tried.ride, numbers);
        let before = run(&request(&vehicle, Vec::new())).unwrap().ride;
        assert_ne!(tried.ride.get(Key::AntiSquat), before.get(Key::AntiSquat));
    }

    #[test]
    fn another_hole_is_the_file_with_that_hole_in_use() {
        let vehicle = starter(Layout::DoubleTriangulatedFourLink);
        let all = handles(&vehicle.axles[0]);
        let k = all.iter().position(|h| h.holes_m.len() > 1).expect("the starter has a bracket with holes");
        let hole = (all[k].in_use + 1) % all[k].holes_m.len();
        let change = Change { handle: k, hole, offset_m: [0.0; 3] };
        let tried = run(&request(&vehicle, vec![change])).unwrap();
        for spot in [Some(all[k].spot), all[k].twin].into_iter().flatten() {
            assert_eq!(tried.vehicle.axles[0].mount(spot).unwrap().in_use(), hole);
        }
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let vehicle = starter(Layout::FourLink);
        let change = |handle, hole, x| vec![Change { handle, hole, offset_m: [x, 0.0, 0.0] }];
        for (changes, says) in [
            (change(999, 0, 0.0), "no such point"),
            (change(0, 99, 0.0), "no such point"),
            (change(0, 0, f64::NAN), "150 mm"),
            (change(0, 0, f64::INFINITY), "150 mm"),
            (change(0, 0, 0.2), "150 mm"),
        ] {
            let error = run(&request(&vehicle, changes)).unwrap_err();
            assert!(error.to_string().contains(says), "{error}");
        }
    }
}
