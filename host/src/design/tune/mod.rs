//! Tries every combination of bracket holes and named alternatives of an axle against what its builder wants, and ranks them.
//!
//! Axles are independent of each other: each is tried for itself. [`merit`] says who comes before whom, and why.

pub mod brackets;
pub mod front;
pub mod look;
pub mod merit;
mod result;
pub mod search;
mod space;
pub mod sure;
#[cfg(test)]
mod tests;
pub mod variants;

pub use brackets::Bracket;
pub use look::{Extreme, JointPassed, Look, Seen};
pub use merit::{Class, Standing, Wanted, Yardstick};
pub use result::{AxleTuning, Candidate, Hole, Rehung, WishTuning};
pub use search::{Reason, Tick};
pub use space::{Part, Space};
pub use sure::Sureness;

use super::error::DesignError;
use crate::vehicle::numbers::Key;
use crate::vehicle::{Axle, Vehicle, Wish};
use search::Search;

/// What is asked of one axle.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanting {
    /// Limits and weights.
    pub wishes: Vec<(Key, Wish)>,
    /// How many of the best are told.
    pub top: usize,
}

/// Why an axle was not tuned.
#[derive(Debug, Clone, PartialEq)]
pub enum Untuned {
    /// No setting can be hung; what is wrong with the one that the file has in use.
    Design(DesignError),
    /// It was stopped.
    Stopped,
}

/// Tries every setting of `space`.
///
/// # Errors
/// [`Untuned`]
pub fn tune(space: &Space, wanting: &Wanting, tick: Tick) -> Result<AxleTuning, Untuned> {
    let drawn = space.parts().first().and_then(|p| p.vehicle.axles.get(space.axle_index));
    let (wishes, unjudged): (Vec<_>, Vec<_>) =
        wanting.wishes.iter().partition(|(key, _)| drawn.is_some_and(|axle| has(axle, *key)));
    let yardstick =
        Yardstick { wishes: wishes.into_iter().map(|&(key, wish)| Wanted { key, wish }).collect() };
    let number = space.present();
    let looked = result::look(space, number);
    let standing = match &looked {
        Ok(look) => search::judged(&yardstick, look).0,
        Err(_) => Standing::CANNOT_HANG,
    };
    let present = search::Place { standing, moves: 0, number };
    let search = Search { space, yardstick: &yardstick, top: wanting.top.max(1), present };
    let tally = search.run(tick).ok_or(Untuned::Stopped)?;
    if let Err(error) = looked
        && tally.classes[Class::CannotHang as usize] == space.count()
    {
        return Err(Untuned::Design(error));
    }
    let unjudged = unjudged.into_iter().map(|(key, _)| *key).collect();
    Ok(result::told(space, yardstick, tally, number, unjudged))
}

/// Whether the file gives what a number needs, so that a wish on it can be judged.
fn has(axle: &Axle, key: Key) -> bool {
    match key {
        Key::PinionAngle => axle.pinion_rad.is_some(),
        Key::Castor => axle.castor_rad.is_some(),
        Key::HeaveRate | Key::RollRate => !axle.springs.is_empty(),
        Key::BumpSteerHeave | Key::BumpSteerRoll => axle.drag_link.is_some(),
        _ => true,
    }
}

/// How many settings each axle of a vehicle has; `None` for one that has too many to count.
pub fn spaces(vehicle: &Vehicle, apart: bool) -> Vec<Option<Space>> {
    (0..vehicle.axles.len()).map(|k| Space::new(vehicle, k, apart)).collect()
}
