//! What a layout gains and gives up against others, in a builder's words: aspect by aspect, never one score.

use super::questions::Question;
use super::units::{HALF_95, Scale, Units};
use super::words;
use crate::design::CommonStates;
use crate::design::prediction::{AtState, AxlePrediction, Reached};
use crate::vehicle::numbers::Key;
use crate::vehicle::{Axle, Room};

/// An axle that is set beside others at the same end of the vehicle.
#[derive(Debug, Clone, Copy)]
pub struct Contender<'a> {
    /// As predicted.
    pub axle: &'a AxlePrediction,
    /// At the states that all have in common.
    pub common: &'a CommonStates,
    /// As drawn.
    pub drawn: Option<&'a Axle>,
}

/// What one axle gains and gives up.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trade {
    /// Where it is clearly better than another and than none clearly worse.
    pub gains: Vec<Point>,
    /// Where it is clearly worse than another and than none clearly better.
    pub gives_up: Vec<Point>,
}

/// One thing that an axle gains or gives up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Point {
    /// What it answers.
    pub topic: Topic,
    /// In words, such as `steers itself less when flexed`.
    pub words: &'static str,
    /// Its number and those of the others.
    pub numbers: String,
}

impl Point {
    /// The words with their numbers, without a stop.
    pub fn sentence(&self) -> String {
        format!("{}: {}", self.words, self.numbers)
    }
}

/// What an aspect is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topic {
    /// One of the questions that numbers answer.
    Asked(Question),
    /// Whether bushes have to give.
    Binds,
    /// Joints and room.
    Takes,
}

impl Topic {
    /// In the order in which people are told.
    pub fn all() -> impl Iterator<Item = Topic> {
        Question::ALL.into_iter().map(Topic::Asked).chain([Topic::Binds, Topic::Takes])
    }

    /// As asked.
    pub fn text(self) -> &'static str {
        match self {
            Topic::Asked(question) => question.text(),
            Topic::Binds => "What binds?",
            Topic::Takes => "What does it take?",
        }
    }
}

/// One thing that layouts differ in.
struct Aspect {
    topic: Topic,
    /// Said of the one with less.
    less: &'static str,
    /// Said of the one with more.
    more: &'static str,
    /// Whether less is what builders want.
    less_is_better: bool,
    /// What a value is of, behind it.
    at: &'static str,
    scale: Scale,
    /// Less difference than this is not worth a word, SI.
    worth: f64,
    /// Value and u, SI.
    value: fn(&Contender) -> Option<(f64, f64)>,
}

/// What each gains and gives up against all the others, in their order.
pub fn trades(contenders: &[Contender], units: Units) -> Vec<Trade> {
    let mut trades = vec![Trade::default(); contenders.len()];
    for aspect in aspects(units) {
        let values: Vec<Option<(f64, f64)>> = contenders.iter().map(aspect.value).collect();
        for (k, trade) in trades.iter_mut().enumerate() {
            aspect.tell(&values, k, trade);
        }
    }
    for (contender, trade) in contenders.iter().zip(&mut trades) {
        trade.gives_up.extend(overdone(contender));
    }
    trades
}

impl Aspect {
    fn tell(&self, values: &[Option<(f64, f64)>], k: usize, trade: &mut Trade) {
        let Some(Some(own)) = values.get(k).copied() else { return };
        let others: Vec<(f64, f64)> =
            values.iter().enumerate().filter(|(other, _)| *other != k).filter_map(|(_, v)| *v).collect();
        let clear = |less: (f64, f64), more: (f64, f64)| {
            more.0 - less.0 > self.worth.max(HALF_95 * less.1.hypot(more.1))
        };
        let below = others.iter().any(|other| clear(own, *other));
        let above = others.iter().any(|other| clear(*other, own));
        let words = match (below, above) {
            (true, false) => self.less,
            (false, true) => self.more,
            // Level with all, or in between.
            _ => return,
        };
        let better = (words == self.less) == self.less_is_better;
        let list = if better { &mut trade.gains } else { &mut trade.gives_up };
        list.push(Point { topic: self.topic, words, numbers: self.numbers(own, &others) });
    }

    /// `0.28° at 10°, the others 1.05° and 0.97°`
    fn numbers(&self, own: (f64, f64), others: &[(f64, f64)]) -> String {
        let say = |(value, u): (f64, f64)| match self.scale.unit {
            "" => self.scale.column(value, 0),
            _ => self.scale.with_u(value, Some(u)),
        };
        let other = if others.len() == 1 { "the other" } else { "the others" };
        let others: Vec<String> = others.iter().map(|v| say(*v)).collect();
        format!("{}{}, {other} {}", say(own), self.at, words::list(&others))
    }
}

/// Above 100 % an axle does more than cancel its own load transfer.
fn overdone(contender: &Contender) -> Option<Point> {
    let above = |key: Key| contender.axle.ride.numbers.get(key).filter(|percent| *percent > 100.0);
    let (key, does) = [
        (Key::AntiSquat, "rises under throttle"),
        (Key::AntiLiftDrive, "pulls down under throttle"),
        (Key::AntiDive, "rises under brakes"),
        (Key::AntiLiftBrake, "pulls down under brakes"),
    ]
    .into_iter()
    .find(|(key, _)| above(*key).is_some())?;
    let numbers = format!("{} is above 100 %", key.label());
    Some(Point { topic: Topic::Asked(Question::Forces), words: does, numbers })
}

fn aspects(units: Units) -> Vec<Aspect> {
    let mut all = motion(units);
    all.extend(forces());
    all.extend(effort(units));
    all
}

fn motion(units: Units) -> Vec<Aspect> {
    let (length, angle) = (units.length(), units.angle());
    vec![
        Aspect {
            topic: Topic::Asked(Question::Steer),
            less: "steers itself less when flexed",
            more: "steers itself more when flexed",
            less_is_better: true,
            at: " at 10°",
            scale: angle,
            worth: 1e-3,
            value: flex_steer,
        },
        Aspect {
            topic: Topic::Asked(Question::Sideways),
            less: "moves less sideways in bump and droop",
            more: "moves more sideways in bump and droop",
            less_is_better: true,
            at: bump_words(units),
            scale: length,
            worth: 5e-4,
            value: sideways,
        },
        Aspect {
            topic: Topic::Asked(Question::Angles),
            less: "turns the pinion less in bump",
            more: "turns the pinion more in bump",
            less_is_better: true,
            at: "",
            scale: units.of(Key::PitchPerHeave),
            worth: 0.03,
            value: |c| number(c, Key::PitchPerHeave).map(|(value, u)| (value.abs(), u)),
        },
        Aspect {
            topic: Topic::Binds,
            less: "flexes more freely",
            more: "binds more when flexed",
            less_is_better: true,
            at: " at 10°",
            scale: units.moment(),
            worth: 5.0,
            value: bind,
        },
    ]
}

fn forces() -> Vec<Aspect> {
    const PERCENT: Scale = Scale { unit: " %", per_si: 1.0 };
    let anti = |less, more, value| Aspect {
        topic: Topic::Asked(Question::Forces),
        less,
        more,
        less_is_better: false,
        at: "",
        scale: PERCENT,
        worth: 3.0,
        value,
    };
    vec![
        anti("squats more under throttle", "resists squat more", |c| number(c, Key::AntiSquat)),
        anti("lifts more under throttle", "resists lift under throttle more", |c| {
            number(c, Key::AntiLiftDrive)
        }),
        anti("dives more under brakes", "resists dive more", |c| number(c, Key::AntiDive)),
        anti("lifts more under brakes", "resists lift under brakes more", |c| number(c, Key::AntiLiftBrake)),
    ]
}

fn effort(units: Units) -> Vec<Aspect> {
    const COUNT: Scale = Scale { unit: "", per_si: 1.0 };
    let length = units.length();
    let need = |less, more, less_is_better, scale, worth, value| Aspect {
        topic: Topic::Takes,
        less,
        more,
        less_is_better,
        at: "",
        scale,
        worth,
        value,
    };
    vec![
        need("has fewer joints that wear", "has more joints that wear", true, COUNT, 0.5, joints),
        need(
            "needs less room along the vehicle",
            "needs more room along the vehicle",
            true,
            length,
            0.02,
            |c| room(c, |r| r.reach_m),
        ),
        need("needs less height", "needs more height", true, length, 0.01, |c| room(c, |r| r.highest_m)),
        need(
            "hangs lower under the chassis",
            "keeps its links higher off the ground",
            false,
            length,
            0.01,
            |c| room(c, |r| r.lowest_chassis_m),
        ),
        need("bends its driveshaft less", "bends its driveshaft more", true, units.angle(), 0.02, shaft_bend),
    ]
}

/// Whichever joint of the driveshaft bends further.
fn shaft_bend(contender: &Contender) -> Option<(f64, f64)> {
    Some((contender.axle.driveshaft.as_ref()?.range().largest_rad(), 0.0))
}

fn bump_words(units: Units) -> &'static str {
    match units {
        Units::Mm => " within 100 mm",
        Units::In => " within 3.9 in",
    }
}

fn number(contender: &Contender, key: Key) -> Option<(f64, f64)> {
    let value = contender.axle.ride.numbers.get(key)?;
    Some((value, contender.axle.ride_u.get(key).unwrap_or(0.0)))
}

/// Whichever side steers more.
fn flex_steer(contender: &Contender) -> Option<(f64, f64)> {
    let sides = contender.common.flex.iter().filter_map(|flexed| {
        let reached = flexed.at.outcome.as_ref().ok()?;
        let u = flexed.u.as_ref().map_or(0.0, |u| u.axle_steer_rad);
        Some((reached.axle_steer_rad.abs(), u))
    });
    sides.max_by(|a, b| a.0.total_cmp(&b.0))
}

fn most<'a>(states: impl Iterator<Item = &'a AtState>, of: fn(&Reached) -> f64) -> Option<f64> {
    states.filter_map(|at| at.outcome.as_ref().ok()).map(|r| of(r).abs()).reduce(f64::max)
}

/// Its u is what the sideways movement per bump makes of it over that travel.
fn sideways(contender: &Contender) -> Option<(f64, f64)> {
    let value = most(contender.common.bump.iter(), |r| r.pose.y_m)?;
    let u = contender.axle.ride_u.get(Key::LateralPerHeave).unwrap_or(0.0);
    Some((value, u * crate::design::common_states::BUMP_M))
}

fn bind(contender: &Contender) -> Option<(f64, f64)> {
    most(contender.common.flex.iter().map(|f| &f.at), |r| r.roll_moment_nm).map(|moment| (moment, 0.0))
}

fn joints(contender: &Contender) -> Option<(f64, f64)> {
    contender.drawn.map(|axle| (axle.locating.joints() as f64, 0.0))
}

fn room(contender: &Contender, of: fn(&Room) -> f64) -> Option<(f64, f64)> {
    contender.drawn.and_then(|axle| axle.locating.room()).map(|room| (of(&room), 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const METRES: Scale = Scale { unit: " m", per_si: 1.0 };

    fn aspect(less_is_better: bool) -> Aspect {
        Aspect {
            topic: Topic::Takes,
            less: "is shorter",
            more: "is longer",
            less_is_better,
            at: "",
            scale: METRES,
            worth: 0.1,
            value: |_| None,
        }
    }

    fn told(values: &[Option<(f64, f64)>], less_is_better: bool) -> Vec<Trade> {
        (0..values.len())
            .map(|k| {
                let mut trade = Trade::default();
                aspect(less_is_better).tell(values, k, &mut trade);
                trade
            })
            .collect()
    }

    fn said(points: &[Point]) -> Vec<String> {
        points.iter().map(Point::sentence).collect()
    }

    #[test]
    fn the_ends_of_a_field_are_told_and_the_middle_is_not() {
        let all = told(&[Some((1.0, 0.0)), Some((2.0, 0.0)), Some((2.05, 0.0))], true);
        assert_eq!(said(&all[0].gains), ["is shorter: 1.000 m, the others 2.000 m and 2.050 m"]);
        assert!(all[0].gives_up.is_empty());
        // The two long ones are level with each other, and both longer than the short one.
        assert_eq!(said(&all[1].gives_up), ["is longer: 2.000 m, the others 1.000 m and 2.050 m"]);
        assert_eq!(said(&all[2].gives_up), ["is longer: 2.050 m, the others 1.000 m and 2.000 m"]);
        let middle = told(&[Some((1.0, 0.0)), Some((2.0, 0.0)), Some((3.0, 0.0))], true);
        assert_eq!(middle[1], Trade::default());
        let wanted_long = told(&[Some((1.0, 0.0)), Some((2.0, 0.0))], false);
        assert_eq!(said(&wanted_long[0].gives_up), ["is shorter: 1.000 m, the other 2.000 m"]);
        assert_eq!(said(&wanted_long[1].gains), ["is longer: 2.000 m, the other 1.000 m"]);
    }

    #[test]
    fn a_difference_within_its_half_width_is_nothing() {
        // 1.96·√(0.4² + 0.3²) = 0.98
        let all = told(&[Some((1.0, 0.4)), Some((1.97, 0.3))], true);
        assert_eq!(all, [Trade::default(), Trade::default()]);
        assert_eq!(told(&[Some((1.0, 0.4)), Some((1.99, 0.3))], true)[0].gains.len(), 1);
        assert_eq!(told(&[Some((1.0, 0.0)), None], true)[0], Trade::default());
    }
}
