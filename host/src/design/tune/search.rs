//! Looks at every setting, on all processors, and keeps only what is told: the best, the front, counts.
//!
//! Settings are cut into chunks of a fixed size whose results are joined in order, so that the answer does not depend on how
//! many processors there are.

use super::front::{Front, Member};
use super::look::{Extreme, Look, Rack};
use super::merit::{Class, Standing, Yardstick, bounds};
use super::space::{At, Space};
use crate::design::error::DesignError;
use rayon::prelude::*;
use std::cmp::Ordering;
use std::collections::HashMap;

/// Settings of one chunk: enough to make up for hanging its first.
const CHUNK: u64 = 256;
/// Chunks that are joined at once.
const ROUND: u64 = 64;
/// Settings between two ticks.
const TICK: u64 = 16;

/// What is told of progress: so many more settings looked at; `false` stops the search.
pub type Tick<'a> = &'a (dyn Fn(u64) -> bool + Sync);

/// Why a setting loses.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reason {
    /// A wish's lower limit (`below`) or upper limit is missed; wishes are counted from 0.
    Limit {
        /// Which wish.
        wish: usize,
        /// Whether it is below its least.
        below: bool,
    },
    /// The setting does not have the number of a wish at all.
    NoNumber {
        /// Which wish.
        wish: usize,
    },
    /// A joint passes its limit.
    Joint {
        /// Its link.
        link: String,
    },
    /// An extreme of the travel is not reached.
    FallsShort {
        /// Which.
        extreme: Extreme,
        /// The member that stops it.
        member: String,
    },
    /// It cannot be hung; why, as a clause.
    CannotHang(String),
}

/// Where a setting stands among others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// By merit.
    pub standing: Standing,
    /// Changes from the present setting.
    pub moves: usize,
    /// Its number.
    pub number: u64,
}

impl Place {
    /// Who comes first; never equal for two settings.
    pub fn compare(&self, other: &Self) -> Ordering {
        let by_merit = self.standing.compare(&other.standing);
        by_merit.then(self.moves.cmp(&other.moves)).then(self.number.cmp(&other.number))
    }
}

/// What is kept of settings that were looked at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    /// How many there are of each [`Class`].
    pub classes: [u64; Class::COUNT],
    /// How many lose for each reason; one setting may lose for several.
    pub reasons: HashMap<Reason, u64>,
    /// Least and greatest value of each wish over all that work.
    pub spans: Vec<Option<[f64; 2]>>,
    /// The best, best first.
    pub best: Vec<Place>,
    /// Those that no other beats in everything.
    pub front: Front,
    /// How many come before the present setting.
    pub ahead_of_present: u64,
}

/// What a search is for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Search<'a> {
    pub space: &'a Space,
    pub yardstick: &'a Yardstick,
    pub top: usize,
    /// Where the present setting stands.
    pub present: Place,
}

/// What a look says of a setting: where it stands and why it loses.
pub(super) fn judged(yardstick: &Yardstick, look: &Look) -> (Standing, Vec<Reason>) {
    let decisive = yardstick.decisive(look);
    let standing = yardstick.standing(&decisive, bounds(look));
    let mut reasons = Vec::new();
    for (extreme, end) in Extreme::ALL.into_iter().zip(&look.ends) {
        if let Err(member) = end {
            reasons.push(Reason::FallsShort { extreme, member: member.clone() });
        }
    }
    reasons.extend(look.joints.iter().map(|j| Reason::Joint { link: j.link.clone() }));
    let worst = yardstick.worst(&decisive).zip(yardstick.points(&decisive));
    for (wish, ((_, value), _)) in worst.enumerate().filter(|(_, (_, points))| *points > 0.0) {
        reasons.push(match value {
            None => Reason::NoNumber { wish },
            Some(value) => {
                let below = yardstick.wishes[wish].wish.min.is_some_and(|min| value < min);
                Reason::Limit { wish, below }
            }
        });
    }
    (standing, reasons)
}

/// Why something cannot be hung, as a clause without the axle's name.
pub(super) fn clause(error: &DesignError, axle: &str) -> String {
    let text = error.to_string();
    let lead = format!("axle \"{axle}\": ");
    text.strip_prefix(&lead).unwrap_or(&text).to_owned()
}

impl Search<'_> {
    /// Looks at every setting; `None` if `tick` stopped it.
    pub fn run(&self, tick: Tick) -> Option<Tally> {
        let count = self.space.count();
        let mut all = self.nothing();
        let mut from = 0;
        while from < count {
            let to = count.min(from + CHUNK * ROUND);
            let chunks: Vec<u64> = (from..to).step_by(CHUNK as usize).collect();
            let tallies: Vec<Option<Tally>> =
                chunks.into_par_iter().map(|first| self.chunk(first, to.min(first + CHUNK), tick)).collect();
            for tally in tallies {
                self.merge(&mut all, tally?);
            }
            from = to;
        }
        Some(all)
    }

    fn nothing(&self) -> Tally {
        Tally { spans: vec![None; self.yardstick.wishes.len()], ..Tally::default() }
    }

    fn chunk(&self, first: u64, end: u64, tick: Tick) -> Option<Tally> {
        let mut tally = self.nothing();
        let mut rack: Option<(usize, Rack)> = None;
        let mut untold = 0;
        for number in first..end {
            let part = self.space.part_of(number);
            if rack.as_ref().is_none_or(|(of, _)| *of != part) {
                let fresh = self.space.parts().get(part).and_then(|p| self.space.rack(p));
                rack = fresh.map(|fresh| (part, fresh));
            }
            if let (Some((_, rack)), Some(at)) = (&mut rack, self.space.at(number)) {
                self.count(&mut tally, rack, at, number);
            }
            untold += 1;
            if untold == TICK || number + 1 == end {
                if !tick(untold) {
                    return None;
                }
                untold = 0;
            }
        }
        Some(tally)
    }

    fn count(&self, tally: &mut Tally, rack: &mut Rack, at: At, number: u64) {
        let moves = self.space.moves(number);
        let standing = match rack.look(&at.holes(), self.yardstick.along()) {
            Ok(look) => self.count_look(tally, &look, number),
            Err(error) => {
                let why = clause(&error, &rack.axle().name);
                *tally.reasons.entry(Reason::CannotHang(why)).or_default() += 1;
                Standing::CANNOT_HANG
            }
        };
        tally.classes[standing.class as usize] += 1;
        let place = Place { standing, moves, number };
        tally.ahead_of_present += u64::from(place.compare(&self.present).is_lt());
        self.keep(tally, place);
    }

    fn count_look(&self, tally: &mut Tally, look: &Look, number: u64) -> Standing {
        let (standing, reasons) = judged(self.yardstick, look);
        for reason in reasons {
            *tally.reasons.entry(reason).or_default() += 1;
        }
        if standing.class.works() {
            let decisive = self.yardstick.decisive(look);
            for (span, (_, value)) in tally.spans.iter_mut().zip(self.yardstick.worst(&decisive)) {
                widen(span, value.map(|v| [v, v]));
            }
            let objectives = self.yardstick.objectives(&decisive);
            tally.front.offer(Member { number, standing, objectives });
        }
        standing
    }

    fn keep(&self, tally: &mut Tally, place: Place) {
        let at = tally.best.partition_point(|other| other.compare(&place).is_lt());
        if at < self.top {
            tally.best.insert(at, place);
            tally.best.truncate(self.top);
        }
    }

    fn merge(&self, all: &mut Tally, more: Tally) {
        for (sum, count) in all.classes.iter_mut().zip(more.classes) {
            *sum += count;
        }
        for (reason, count) in more.reasons {
            *all.reasons.entry(reason).or_default() += count;
        }
        for (span, other) in all.spans.iter_mut().zip(more.spans) {
            widen(span, other);
        }
        more.best.into_iter().for_each(|place| self.keep(all, place));
        all.front.merge(more.front);
        all.ahead_of_present += more.ahead_of_present;
    }
}

fn widen(span: &mut Option<[f64; 2]>, other: Option<[f64; 2]>) {
    *span = match (*span, other) {
        (Some([a, b]), Some([c, d])) => Some([a.min(c), b.max(d)]),
        (one, other) => one.or(other),
    };
}
