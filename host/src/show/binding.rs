//! Whether an axle has to bend its bushes to articulate, in a builder's words: for a vehicle file, and for a drawing that a hand moves.

use super::units::Units;
use super::words;
use crate::design::common_states::Flexed;
use crate::design::prediction::Reached;
use crate::vehicle::Axle;

/// Less roll moment than this at a state is no bind, N·m: rounding of a layout that moves freely.
pub const FREE_NM: f64 = 1e-6;

/// What is known of an axle's bind.
#[derive(Debug, Clone, Copy)]
pub struct Binding<'a> {
    /// How often the axle is held beyond what is needed.
    pub redundant: usize,
    /// As drawn.
    pub drawn: Option<&'a Axle>,
    /// Articulated by the angle at which every axle is told, left and right wheel up.
    pub flex: &'a [Flexed],
    /// Units of people.
    pub units: Units,
}

impl Binding<'_> {
    /// Whether bushes have to give for the axle to articulate.
    pub fn elastic(&self) -> bool {
        let flexed = self.flex.iter().filter_map(|f| f.at.outcome.as_ref().ok());
        flexed.map(|r| r.roll_moment_nm.abs()).fold(0.0, f64::max) > FREE_NM
    }

    /// How often it is held beyond what is needed.
    pub fn times(&self) -> String {
        match self.redundant {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        }
    }

    /// That the axle cannot articulate but for the give of its bushes, in one sentence; nothing where it can.
    pub fn in_roll(&self) -> Option<String> {
        if self.redundant == 0 || !self.elastic() {
            return None;
        }
        let arms = self.drawn.is_some_and(|axle| axle.locating.radius_arms.len() > 1);
        let why = match arms {
            true => "its radius arms and the axle are one rigid piece".to_owned(),
            false => format!("its links hold it {} more than need be", self.times()),
        };
        let flexed = self.flex.iter().find_map(|f| Some((f.at.roll_rad, f.at.outcome.as_ref().ok()?)));
        let push = flexed.map(|(roll_rad, reached)| {
            format!(
                ", which {} at {}",
                push(roll_rad, reached, self.units),
                words::articulation(roll_rad, self.units)
            )
        });
        let push = push.unwrap_or_default();
        Some(format!("It binds in roll: {why}, so that it articulates only by the give of its bushes{push}."))
    }
}

/// Which way bushes push, and how hard.
pub fn push(roll_rad: f64, reached: &Reached, units: Units) -> String {
    let way = if reached.roll_moment_nm * roll_rad < 0.0 { "on" } else { "back" };
    format!("push {way} with {}", units.moment().with_u(reached.roll_moment_nm.abs(), None))
}
