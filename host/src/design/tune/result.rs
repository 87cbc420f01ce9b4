//! What is told of an axle that was tuned: types that renderers read, and how they are put together.

use super::brackets::Bracket;
use super::look::Look;
use super::merit::{Class, Decisive, Standing, Trouble, Wanted, Yardstick};
use super::search::{Reason, Tally, clause, judged};
use super::space::{At, Space};
use super::sure::{self, Sureness};
use crate::design::error::DesignError;
use crate::vehicle::numbers::Key;
use crate::vehicle::{Position, Sweep};

/// One axle, tuned.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleTuning {
    /// Its name.
    pub name: String,
    /// Front or rear.
    pub position: Position,
    /// How far its travel was to go.
    pub sweep: Sweep,
    /// Settings tried.
    pub combinations: u64,
    /// How many there are of each [`Class`], in its order.
    pub classes: [u64; Class::COUNT],
    /// What they were measured by; empty where the builder wished nothing.
    pub wishes: Vec<WishTuning>,
    /// Wishes on numbers that the file does not give the axle.
    pub unjudged: Vec<Key>,
    /// Names of alternatives that could be fitted.
    pub alternatives: Vec<String>,
    /// Why settings lose, with how many do; the most frequent first.
    pub reasons: Vec<(Reason, u64)>,
    /// The best, best first.
    pub best: Vec<Candidate>,
    /// The setting that the file has in use.
    pub present: Candidate,
    /// Those that no other beats in everything, best first.
    pub front: Vec<Candidate>,
    /// Whether there are more of them.
    pub front_overflowed: bool,
}

/// A wish, and what the settings make of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WishTuning {
    /// The wish.
    pub wanted: Wanted,
    /// Least and greatest value over all settings that work.
    pub span: Option<[f64; 2]>,
}

/// A hole of a bracket.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// The bracket.
    pub bracket: Bracket,
    /// The hole, counted from 0.
    pub hole: usize,
    /// The hole at present, counted from 0; none where an alternative brings the bracket.
    pub now: Option<usize>,
}

impl Hole {
    /// Whether it is of the same bracket.
    pub fn same_bracket(&self, other: &Hole) -> bool {
        let of = |hole: &Hole| (hole.bracket.end, hole.now.is_some());
        of(self) == of(other) && self.bracket.elements == other.bracket.elements
    }
}

/// A member that a setting needs at another length.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehung {
    /// Its name.
    pub name: String,
    /// Between joint centres now, m; none where the present setting has no such member.
    pub now_m: Option<f64>,
    /// Between joint centres then, m.
    pub then_m: f64,
}

/// One setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its number in the order of the file, counted from 0.
    pub number: u64,
    /// Its place, counted from 1; none where it was not counted.
    pub rank: Option<u64>,
    /// Whether it is the one that the file has in use.
    pub is_present: bool,
    /// Alternatives fitted, and elements that they replace.
    pub alternatives: Vec<String>,
    /// Elements taken out for them.
    pub replaced: Vec<String>,
    /// Hole of each bracket that has a choice.
    pub holes: Vec<Hole>,
    /// Where it stands.
    pub standing: Standing,
    /// What it does; none where it cannot be hung.
    pub look: Option<Look>,
    /// Why it cannot be hung.
    pub cannot_hang: Option<String>,
    /// Points outside the limits of each wish, unweighted.
    pub points: Vec<f64>,
    /// Value of each wish, with its place among the decisive quantities.
    pub values: Vec<(usize, Option<f64>)>,
    /// Flex steer (rad), sideways movement (m), bind (N·m): the largest over the travel.
    pub trouble: Trouble,
    /// Why it loses; empty where it keeps all.
    pub reasons: Vec<Reason>,
    /// Members to be made to another length.
    pub rehung: Vec<Rehung>,
    /// What was assumed, and cautions.
    pub notes: Vec<String>,
    /// How sure its place is; none where that was not worked out or cannot be.
    pub sureness: Option<Sureness>,
}

impl Candidate {
    /// Standard uncertainty of a wish's value.
    pub fn u_of_wish(&self, wish: usize) -> Option<f64> {
        let (place, _) = self.values.get(wish)?;
        self.sureness.as_ref()?.u.get(*place).copied()
    }

    /// The largest wheelbase change of either wheel over the travel, m; NaN where it cannot be hung.
    pub fn wheelbase_change_m(&self) -> f64 {
        let ends = self.look.iter().flat_map(|l| &l.ends).filter_map(|end| end.as_ref().ok());
        let keys = [Key::WheelbaseChangeLeft, Key::WheelbaseChangeRight];
        let changes = ends.flat_map(|seen| keys.map(|key| seen.numbers.get(key))).flatten();
        changes.map(f64::abs).fold(f64::NAN, f64::max)
    }

    /// Standard uncertainties of flex steer, sideways movement and bind.
    pub fn u_of_trouble(&self) -> Option<Trouble> {
        let u = &self.sureness.as_ref()?.u;
        let [left, right, bump, droop, bind_left, bind_right] = *u.last_chunk::<6>()?;
        // Of two that are level within their u, the larger u.
        let larger = |one: Option<f64>, other: Option<f64>, [a, b]: [f64; 2]| {
            if one.unwrap_or(0.0).abs() + a >= other.unwrap_or(0.0).abs() + b { a } else { b }
        };
        let [at_bump, at_droop, at_left, at_right] =
            self.look.as_ref()?.ends.each_ref().map(|end| end.as_ref().ok());
        let steer = |s: Option<&super::Seen>| s.map(|s| s.pose.axle_steer_rad());
        let shift = |s: Option<&super::Seen>| s.map(|s| s.pose.y_m);
        let moment = |s: Option<&super::Seen>| s.map(|s| s.roll_moment_nm);
        Some([
            larger(steer(at_left), steer(at_right), [left, right]),
            larger(shift(at_bump), shift(at_droop), [bump, droop]),
            larger(moment(at_left), moment(at_right), [bind_left, bind_right]),
        ])
    }
}

/// What setting `number` does, with numbers along the travel.
pub(super) fn look(space: &Space, number: u64) -> Result<Look, DesignError> {
    let none = || DesignError::NoAxle { vehicle: String::new(), index: space.axle_index };
    let at = space.at(number).ok_or_else(none)?;
    space.rack(at.part).ok_or_else(none)?.look(&at.holes(), true)
}

/// Puts together what a search found.
pub(super) fn told(
    space: &Space,
    yardstick: Yardstick,
    tally: Tally,
    present: u64,
    unjudged: Vec<Key>,
) -> AxleTuning {
    let telling = Telling { space, yardstick: &yardstick, present };
    let mut best: Vec<Candidate> = tally.best.iter().filter_map(|p| telling.candidate(p.number)).collect();
    for (k, candidate) in best.iter_mut().enumerate() {
        candidate.rank = Some(k as u64 + 1);
    }
    let mut now = telling.candidate(present);
    if let Some(now) = &mut now {
        now.rank = Some(tally.ahead_of_present + 1);
    }
    let told = best.iter().position(|c| c.is_present);
    telling.be_sure(best.iter_mut().chain(now.iter_mut().filter(|_| told.is_none())).collect());
    if let (Some(now), Some(same)) = (&mut now, told.and_then(|k| best.get(k))) {
        now.sureness.clone_from(&same.sureness);
    }
    let known = |number: u64| best.iter().chain(&now).find(|c| c.number == number).cloned();
    let front_overflowed = tally.front.overflowed;
    let members = tally.front.into_members();
    let front = members.iter().filter_map(|m| known(m.number).or_else(|| telling.candidate(m.number)));
    let front = front.collect();
    let mut reasons: Vec<(Reason, u64)> = tally.reasons.into_iter().collect();
    reasons.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let drawn = space.parts().first().and_then(|p| p.vehicle.axles.get(space.axle_index));
    let spans = tally.spans.into_iter().chain(std::iter::repeat(None));
    let wishes = yardstick.wishes.iter().zip(spans);
    AxleTuning {
        name: drawn.map(|a| a.name.clone()).unwrap_or_default(),
        position: drawn.map_or(Position::Rear, |a| a.position),
        sweep: drawn.map_or(Sweep { up_m: 0.0, down_m: 0.0, roll_rad: 0.0 }, |a| a.sweep),
        combinations: space.count(),
        classes: tally.classes,
        wishes: wishes.map(|(wanted, span)| WishTuning { wanted: *wanted, span }).collect(),
        unjudged,
        alternatives: space.alternatives(),
        reasons,
        best,
        present: now.unwrap_or_else(|| telling.nothing()),
        front,
        front_overflowed,
    }
}

struct Telling<'a> {
    space: &'a Space,
    yardstick: &'a Yardstick,
    present: u64,
}

impl Telling<'_> {
    fn candidate(&self, number: u64) -> Option<Candidate> {
        let at = self.space.at(number)?;
        let holes = at.holes();
        let brackets = at.part.brackets.iter();
        let hole = |(bracket, hole): (&Bracket, &usize)| Hole {
            bracket: bracket.clone(),
            hole: *hole,
            now: at.part.has_now(bracket).then_some(bracket.in_use),
        };
        let mut candidate = Candidate {
            number,
            is_present: number == self.present,
            alternatives: at.part.alternatives.clone(),
            replaced: at.part.replaced.clone(),
            holes: brackets.zip(&holes).map(hole).collect(),
            ..self.nothing()
        };
        match look(self.space, number) {
            Ok(look) => {
                let decisive: Decisive = self.yardstick.decisive(&look);
                (candidate.standing, candidate.reasons) = judged(self.yardstick, &look);
                candidate.points = self.yardstick.points(&decisive).collect();
                candidate.values = self.yardstick.worst(&decisive).collect();
                candidate.trouble = self.yardstick.trouble(&decisive);
                candidate.look = Some(look);
                let (lengths, notes) = self.built(&at);
                candidate.rehung = self.rehung(lengths);
                candidate.notes = notes;
            }
            Err(error) => {
                let axle = at.part.vehicle.axles.get(self.space.axle_index);
                let why = clause(&error, axle.map_or("", |a| a.name.as_str()));
                candidate.reasons = vec![Reason::CannotHang(why.clone())];
                candidate.cannot_hang = Some(why);
            }
        }
        Some(candidate)
    }

    fn nothing(&self) -> Candidate {
        Candidate {
            number: self.present,
            rank: None,
            is_present: false,
            alternatives: Vec::new(),
            replaced: Vec::new(),
            holes: Vec::new(),
            standing: Standing::CANNOT_HANG,
            look: None,
            cannot_hang: None,
            points: vec![f64::NAN; self.yardstick.wishes.len()],
            values: vec![(0, None); self.yardstick.wishes.len()],
            trouble: [f64::NAN; 3],
            reasons: Vec::new(),
            rehung: Vec::new(),
            notes: Vec::new(),
            sureness: None,
        }
    }

    /// Members whose length is another than at present.
    fn rehung(&self, then: Vec<(String, f64)>) -> Vec<Rehung> {
        /// Less is not worth turning a joint on its thread.
        const SAME_M: f64 = 5e-5;
        let now = self.space.at(self.present).map(|now| self.built(&now).0).unwrap_or_default();
        let find = |name: &str| now.iter().find(|(n, _)| n == name).map(|(_, length)| *length);
        then.into_iter()
            .map(|(name, then_m)| Rehung { now_m: find(&name), name, then_m })
            .filter(|r| r.now_m.is_none_or(|now| (now - r.then_m).abs() > SAME_M))
            .collect()
    }

    /// Names and lengths of the members, and notes, of a setting built anew.
    fn built(&self, at: &At) -> (Vec<(String, f64)>, Vec<String>) {
        let Some(mut rack) = self.space.rack(at.part) else { return Default::default() };
        let Ok(mechanism) = rack.hang(&at.holes()) else { return Default::default() };
        let lengths = mechanism.members().map(|v| (v.name.to_owned(), v.length_m)).collect();
        (lengths, mechanism.notes().to_vec())
    }

    /// Works out how sure the places of some settings are, the best of them first.
    fn be_sure(&self, mut candidates: Vec<&mut Candidate>) {
        let linear: Vec<_> = candidates
            .iter()
            .map(|c| self.space.at(c.number).and_then(|at| sure::linear(self.space, self.yardstick, &at)))
            .collect();
        // Without the first there is nothing to be set against.
        if linear.first().is_none_or(Option::is_none) {
            return;
        }
        let known: Vec<_> = linear.iter().flatten().cloned().collect();
        let mut sureness = sure::sureness(self.yardstick, &known).into_iter();
        for (candidate, _) in candidates.iter_mut().zip(&linear).filter(|(_, linear)| linear.is_some()) {
            candidate.sureness = sureness.next();
        }
    }
}
