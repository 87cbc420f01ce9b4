//! The measure of merit, all of it: who comes before whom, and what each wish costs.
//!
//! 1. **Class.** First who keeps every limit, reaches every end of the travel and asks no joint for more than it bears; then
//!    who misses limits; then whose joints pass their limit; then who does not reach an end of the travel; last who cannot be
//!    hung at all.
//! 2. **Points missed**, within a class: the sum over wishes of weight × distance outside the limits, in units of [`unit`].
//!    Inside its limits a wish costs nothing, however far inside.
//! 3. **Ease**, among equals: flex steer in units of 1°, sideways movement in units of 10 mm and bind in units of 100 N·m,
//!    summed; each is the largest at the ends of the travel. Without any wish this alone ranks.
//! 4. What is still equal goes by how few brackets move, then by the order of the file.
//!
//! The units are round values of what a builder would notice: common practice, no source. Limits apply at ride height; those
//! on numbers that are zero there by definition (wheelbase change, sideways shift) apply at every end of the travel.

use super::look::Look;
use crate::vehicle::Wish;
use crate::vehicle::numbers::{Key, Unit};
use std::cmp::Ordering;

/// Points for a number that an axle does not have (an instant centre at infinity): worse than any miss in practice.
const NO_NUMBER: f64 = 100.0;

/// One unit of flex steer, rad.
pub const STEER_UNIT_RAD: f64 = 1.0 * DEGREE;
/// One unit of sideways movement, m.
pub const SHIFT_UNIT_M: f64 = 0.010;
/// One unit of bind, N·m.
pub const BIND_UNIT_NM: f64 = 100.0;

const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// Differences below these are rounding of the solver: points, rad, m, N·m.
const SAME_POINTS: f64 = 1e-9;
const SAME: [f64; 3] = [1e-7, 1e-7, 1e-2];

/// How far outside a limit counts one point, SI.
pub fn unit(key: Key) -> f64 {
    match key.unit() {
        Unit::Percent => 10.0,
        Unit::Metre => 0.010,
        Unit::Radian => DEGREE,
        Unit::RadianPerMetre => DEGREE / 0.1,
        Unit::MetrePerRadian => 0.010 / (10.0 * DEGREE),
        // 1° per 10°, 1 mm per 100 mm
        Unit::RadianPerRadian => 0.1,
        Unit::Ratio => 0.01,
        // 5 N/mm, 50 N·m/°
        Unit::NewtonPerMetre => 5_000.0,
        Unit::NewtonMetrePerRadian => 50.0 / DEGREE,
    }
}

/// How good a setting is at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// Keeps every limit, reaches its travel, bears its joints.
    Keeps,
    /// Works, but misses limits.
    Misses,
    /// A joint passes its limit.
    PassesJoints,
    /// Does not reach an end of its travel.
    FallsShort,
    /// Cannot be hung.
    CannotHang,
}

impl Class {
    /// How many there are.
    pub const COUNT: usize = 5;

    /// Whether it works: it reaches its travel and bears its joints.
    pub fn works(self) -> bool {
        self <= Class::Misses
    }
}

/// Where a setting stands. Less is better.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// First.
    pub class: Class,
    /// Weighted points outside the limits.
    pub missed: f64,
    /// Flex steer, sideways movement and bind, in their units.
    pub ease: f64,
}

impl Standing {
    /// Last of all.
    pub const CANNOT_HANG: Standing =
        Standing { class: Class::CannotHang, missed: f64::INFINITY, ease: f64::INFINITY };

    /// Who comes first; `Equal` where nothing but the order of the file can tell.
    pub fn compare(&self, other: &Self) -> Ordering {
        self.class
            .cmp(&other.class)
            .then(self.missed.total_cmp(&other.missed))
            .then(self.ease.total_cmp(&other.ease))
    }
}

/// A wish as it is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Of which number.
    pub key: Key,
    /// Its limits and weight.
    pub wish: Wish,
}

impl Wanted {
    /// Whether its limits apply at the ends of the travel, not at ride height.
    pub fn over_travel(&self) -> bool {
        self.key.zero_at_ride()
    }

    /// How many values it is judged by.
    fn values(&self) -> usize {
        if self.over_travel() { 4 } else { 1 }
    }

    /// Points outside the limits of one value, unweighted.
    fn points_of(&self, value: f64) -> f64 {
        if value.is_nan() {
            // An extreme that is not reached is told as such.
            return if self.over_travel() { 0.0 } else { NO_NUMBER };
        }
        let below = self.wish.min.map_or(0.0, |min| min - value);
        let above = self.wish.max.map_or(0.0, |max| value - max);
        let points = below.max(above).max(0.0) / unit(self.key);
        round(points, SAME_POINTS)
    }
}

/// The quantities that decide, of one setting: of each wish its value at ride height (or its four over the travel), then steer
/// left up and right up, sideways movement in bump and in droop, roll moment left up and right up. NaN where there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Decisive(pub Vec<f64>);

/// Flex steer (rad), sideways movement (m), bind (N·m): each the largest over the travel; NaN where none of it is reached.
pub type Trouble = [f64; 3];

/// What settings are measured by.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Yardstick {
    /// In the order of the file; may be empty.
    pub wishes: Vec<Wanted>,
}

impl Yardstick {
    /// Whether numbers at the ends of the travel are needed.
    pub fn along(&self) -> bool {
        self.wishes.iter().any(Wanted::over_travel)
    }

    /// What decides of a setting.
    pub fn decisive(&self, look: &Look) -> Decisive {
        let mut all = Vec::with_capacity(4 * self.wishes.len() + 6);
        let ends = || look.ends.iter().map(|end| end.as_ref().ok());
        for wanted in &self.wishes {
            if wanted.over_travel() {
                let at = |seen: Option<&super::look::Seen>| seen.and_then(|s| s.numbers.get(wanted.key));
                all.extend(ends().map(|seen| at(seen).unwrap_or(f64::NAN)));
            } else {
                all.push(look.ride.get(wanted.key).unwrap_or(f64::NAN));
            }
        }
        let [bump, droop, left, right] = look.ends.each_ref().map(|end| end.as_ref().ok());
        let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
        all.extend([left, right].map(|s| or_nan(s.map(|s| s.pose.axle_steer_rad()))));
        all.extend([bump, droop].map(|s| or_nan(s.map(|s| s.pose.y_m))));
        all.extend([left, right].map(|s| or_nan(s.map(|s| s.roll_moment_nm))));
        Decisive(all)
    }

    /// The values of each wish, in order.
    fn by_wish<'a>(&'a self, decisive: &'a Decisive) -> impl Iterator<Item = (&'a Wanted, &'a [f64])> {
        let mut from = 0;
        self.wishes.iter().map(move |wanted| {
            let values = decisive.0.get(from..from + wanted.values()).unwrap_or_default();
            from += wanted.values();
            (wanted, values)
        })
    }

    /// Points outside the limits of each wish, unweighted.
    pub fn points<'a>(&'a self, decisive: &'a Decisive) -> impl Iterator<Item = f64> + 'a {
        self.by_wish(decisive)
            .map(|(wanted, values)| values.iter().map(|v| wanted.points_of(*v)).fold(0.0, f64::max))
    }

    /// The value of each wish: at ride height, or the one over the travel that is worst by its limits (the largest where all
    /// keep them); with its place among the decisive quantities.
    pub fn worst<'a>(&'a self, decisive: &'a Decisive) -> impl Iterator<Item = (usize, Option<f64>)> + 'a {
        let mut from = 0;
        self.by_wish(decisive).map(move |(wanted, values)| {
            let size = |v: &f64| if v.is_nan() { -1.0 } else { v.abs() };
            let worse = |a: &f64, b: &f64| {
                wanted.points_of(*a).total_cmp(&wanted.points_of(*b)).then(size(a).total_cmp(&size(b)))
            };
            let worst = (0..values.len()).max_by(|a, b| worse(&values[*a], &values[*b])).unwrap_or(0);
            let place = from + worst;
            from += values.len();
            (place, values.get(worst).copied().filter(|v| !v.is_nan()))
        })
    }

    /// Flex steer, sideways movement, bind.
    pub fn trouble(&self, decisive: &Decisive) -> Trouble {
        let from: usize = self.wishes.iter().map(Wanted::values).sum();
        let most = |k: usize| {
            let pair = decisive.0.get(from + 2 * k..from + 2 * k + 2).unwrap_or_default();
            round(pair.iter().fold(f64::NAN, |most, v| most.max(v.abs())), SAME[k])
        };
        [most(0), most(1), most(2)]
    }

    /// Where a setting stands by its decisive quantities; `bounds` is the class that reach and joints leave it at best.
    pub fn standing(&self, decisive: &Decisive, bounds: Class) -> Standing {
        let weighted = self.points(decisive).zip(&self.wishes).map(|(points, w)| points * w.wish.weight);
        let missed = weighted.sum::<f64>();
        let units = [STEER_UNIT_RAD, SHIFT_UNIT_M, BIND_UNIT_NM];
        let ease = self.trouble(decisive).iter().zip(units).map(|(value, unit)| value / unit).sum();
        let class = if missed > 0.0 { bounds.max(Class::Misses) } else { bounds };
        Standing { class, missed, ease }
    }

    /// What is traded against one another: points of each wish, then flex steer, sideways movement and bind, which count only
    /// between settings that do equally well by every wish.
    pub fn objectives(&self, decisive: &Decisive) -> Objectives {
        Objectives { points: self.points(decisive).collect(), trouble: self.trouble(decisive) }
    }
}

/// The class that reach and joints leave a setting at best.
pub fn bounds(look: &Look) -> Class {
    if look.ends.iter().any(Result::is_err) {
        Class::FallsShort
    } else if !look.joints.is_empty() {
        Class::PassesJoints
    } else {
        Class::Keeps
    }
}

/// What settings trade against one another; less is better throughout.
#[derive(Debug, Clone, PartialEq)]
pub struct Objectives {
    /// Points outside the limits of each wish.
    pub points: Vec<f64>,
    /// Flex steer, sideways movement, bind.
    pub trouble: Trouble,
}

impl Objectives {
    /// Whether this setting is better in something and worse in nothing. By the wishes first; where two do equally well by each
    /// of them (they keep all limits, say), by flex steer, sideways movement and bind.
    pub fn dominates(&self, other: &Self) -> bool {
        if self.points != other.points {
            return no_worse(&self.points, &other.points);
        }
        self.trouble != other.trouble && no_worse(&self.trouble, &other.trouble)
    }
}

fn no_worse(one: &[f64], other: &[f64]) -> bool {
    one.iter().zip(other).all(|(a, b)| a <= b)
}

fn round(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}
