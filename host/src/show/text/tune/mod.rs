//! Settings ranked: the answer first, then what to move, then why the others lose.

mod ranking;

use super::page::{Ink, Page};
use super::{Options, parts};
use crate::design::tune::{AxleTuning, Candidate, Class};
use crate::jobs::cautions::UNDER_A_VEHICLE;
use crate::jobs::tune::Tuned;
use crate::show::tuning::{bracket, chance, limits, losses, moves, reason, wish_label};
use crate::show::units::{PLUS_MINUS, Units};
use crate::show::{phrases, words};
use crate::vehicle::numbers::Key;
use ranking::{letter, short};

/// Reasons that are worth a line; the rest is counted together.
const REASONS: usize = 12;
/// Members of the front that are named.
const FRONT: usize = 10;
/// Losers of the ranking whose reasons are told one by one.
const LOSERS: usize = 5;

/// A tuned vehicle as text.
pub fn tuning(tuned: &Tuned, options: &Options) -> String {
    let mut page = Page::new(options);
    for axle in &tuned.axles {
        Telling { vehicle: &tuned.vehicle, file: &tuned.file, axle, units: options.units }.write(&mut page);
    }
    for name in &tuned.without_choice {
        page.gap();
        page.paragraph(&format!("The {name} axle has no bracket with more than one hole."), Ink::Plain);
    }
    page.gap();
    page.paragraph(phrases::ONLY_DRAWN, Ink::Plain);
    page.finish()
}

struct Telling<'a> {
    vehicle: &'a str,
    file: &'a str,
    axle: &'a AxleTuning,
    units: Units,
}

impl Telling<'_> {
    fn write(&self, page: &mut Page) {
        page.gap();
        page.paragraph(&self.headline(), Ink::Strong);
        page.paragraph(&format!("{PLUS_MINUS} {}.", phrases::FROM_TOLERANCE), Ink::Faint);
        self.wanted(page);
        self.brackets(page);
        self.ranking(page);
        self.best(page);
        self.present(page);
        self.losers(page);
        self.front(page);
        self.remarks(page);
    }

    /// What was assumed of any that is told.
    fn remarks(&self, page: &mut Page) {
        let mut all: Vec<String> = Vec::new();
        for note in std::iter::once(&self.axle.present).chain(&self.axle.best).flat_map(|c| &c.notes) {
            if !all.contains(note) {
                all.push(note.clone());
            }
        }
        parts::remarks(page, &all);
    }

    fn headline(&self) -> String {
        let axle = self.axle;
        let count = grouped(axle.combinations);
        let [keep, miss, ..] = axle.classes;
        let found = match (axle.wishes.is_empty(), keep, miss) {
            (true, 0, _) => "none reaches its travel with its joints within their limits".to_owned(),
            (true, keep, _) => format!("{} work", grouped(keep)),
            (false, 0, 0) => "none works".to_owned(),
            (false, 0, miss) => format!("none keeps every limit, {} miss some", grouped(miss)),
            (false, keep, _) => {
                format!("{} keep{} every limit", grouped(keep), if keep == 1 { "s" } else { "" })
            }
        };
        let first = match axle.best.first() {
            Some(best) if best.is_present => " The present setting is the best of them.".to_owned(),
            _ => String::new(),
        };
        format!("{}, {} axle: {count} combinations tried, {found}.{first}", self.vehicle, axle.name)
    }

    fn wanted(&self, page: &mut Page) {
        page.heading("What is wanted?");
        if self.axle.wishes.is_empty() {
            page.paragraph(
                "The file wishes nothing, so settings are ranked by ease: least flex steer, sideways movement and bind. \
                 To say what you want, write limits into the file, such as",
                Ink::Plain,
            );
            let key = match self.axle.position {
                crate::vehicle::Position::Rear => "anti_squat_percent",
                crate::vehicle::Position::Front => "anti_dive_percent",
            };
            page.item("", "[axle.wish]");
            page.item("", &format!("{key} = {{ min = 40, max = 90, weight = 1 }}"));
        }
        for (k, wish) in self.axle.wishes.iter().enumerate() {
            let scale = self.units.of(wish.wanted.key);
            let mut sentences = vec![limits(&wish.wanted, self.units)];
            if wish.wanted.wish.weight != 1.0 {
                sentences[0] += &format!(", weighs {}", wish.wanted.wish.weight);
            }
            if let Some([least, greatest]) = wish.span {
                let told = std::iter::once(&self.axle.present).chain(&self.axle.best);
                let u = told.filter_map(|candidate| candidate.u_of_wish(k)).reduce(f64::min);
                let (least, greatest) = (scale.as_known(least, u), scale.as_known(greatest, u));
                let greatest = format!("{greatest}{}", scale.unit);
                sentences.push(format!("the holes give {least} to {greatest}"));
            }
            page.entry('·', Ink::Plain, &wish_label(&wish.wanted), &sentences);
        }
        for key in &self.axle.unjudged {
            let why = "the file does not give what it needs; not judged".to_owned();
            page.entry('?', Ink::Bad, key.label(), &[why]);
        }
        if !self.axle.wishes.is_empty() {
            page.paragraph(&self.merit(), Ink::Faint);
        }
    }

    fn merit(&self) -> String {
        let mut scales: Vec<String> = Vec::new();
        for wish in &self.axle.wishes {
            let one = point(wish.wanted.key, self.units);
            if !scales.contains(&one) {
                scales.push(one);
            }
        }
        format!(
            "Limits apply at ride height. Outside them {} cost{} one point, times the weight; inside they cost nothing. \
             Equals are ranked by ease: flex steer, sideways movement and bind.",
            words::list(&scales),
            if scales.len() == 1 { "s" } else { " each" }
        )
    }

    fn brackets(&self, page: &mut Page) {
        page.heading("What can be moved?");
        for (k, hole) in self.lettered().into_iter().enumerate() {
            let now = match hole.now {
                Some(now) => format!("{} holes, now in {}", hole.bracket.holes, now + 1),
                None => format!("{} holes, with an alternative", hole.bracket.holes),
            };
            page.item(&letter(k), &format!("{}: {now}", bracket(hole)));
        }
        for name in &self.axle.alternatives {
            page.item("+", &format!("alternative \"{name}\""));
        }
    }

    fn best(&self, page: &mut Page) {
        let Some(best) = self.axle.best.first() else { return };
        page.heading("How sure is the first?");
        for sentence in self.sure(best) {
            page.item("·", &sentence);
        }
        page.paragraph(
            "The tolerance of the points decides that. Holes of one bracket share its error, which changes little in their order.",
            Ink::Faint,
        );
        if best.is_present {
            return;
        }
        page.heading("How to get there");
        for (k, step) in moves(best, self.units).iter().enumerate() {
            page.item(&format!("{}.", k + 1), step);
        }
        page.paragraph(
            &format!("Then write it into {} and let hingeline predict tell the rest.", self.file),
            Ink::Plain,
        );
        page.paragraph(UNDER_A_VEHICLE, Ink::Plain);
    }

    fn sure(&self, best: &Candidate) -> Vec<String> {
        let Some(sure) = &best.sureness else {
            return vec!["That cannot be said: a state beside it is out of reach.".to_owned()];
        };
        let mut all = Vec::new();
        for (wish, kept) in self.axle.wishes.iter().zip(&sure.kept) {
            all.push(format!(
                "{}: within {} in {}",
                words::capital(&wish_label(&wish.wanted)),
                limits(&wish.wanted, self.units),
                chance(*kept)
            ));
        }
        if self.axle.wishes.len() > 1 {
            all.push(format!("Every limit is kept in {}", chance(sure.kept_all)));
        }
        all.extend(self.surer(sure.kept_all));
        let others = self.axle.best.iter().skip(1).take(3).filter_map(|c| {
            let behind = c.sureness.as_ref()?.behind_first;
            Some(format!("number {} in {}", c.rank?, chance(behind)))
        });
        let others: Vec<String> = others.collect();
        if !others.is_empty() {
            all.push(format!("It really comes before {}", words::list(&others)));
            all.push(format!(
                "It really is the best of these {} in {}",
                self.axle.best.len(),
                chance(sure.best)
            ));
        }
        all
    }

    /// One of the best that is clearly surer to keep every limit than the first.
    fn surer(&self, first: f64) -> Option<String> {
        /// Less is not worth giving up a better place.
        const CLEARLY: f64 = 0.1;
        let kept = |c: &&Candidate| c.sureness.as_ref().map_or(0.0, |s| s.kept_all);
        let surest = self.axle.best.iter().max_by(|a, b| kept(a).total_cmp(&kept(b)))?;
        (!self.axle.wishes.is_empty() && kept(&surest) > first + CLEARLY).then(|| {
            let rank = surest.rank.unwrap_or_default();
            format!("Surest to keep every limit of these is number {rank}, in {}", chance(kept(&surest)))
        })
    }

    fn present(&self, page: &mut Page) {
        let now = &self.axle.present;
        page.heading("Where does the present setting stand?");
        let rank = now.rank.map(grouped).unwrap_or_default();
        let lead = format!("Number {rank} of {}: {}.", grouped(self.axle.combinations), self.code(now));
        page.paragraph(&lead, Ink::Plain);
        for loss in losses(self.axle, now, self.units) {
            page.item("−", &loss);
        }
        let compared = self.axle.best.first().filter(|best| !best.is_present);
        if let (Some(_), Some(sure)) = (compared, &now.sureness) {
            page.item("·", &format!("The first really is better in {}", chance(sure.behind_first)));
        }
    }

    fn losers(&self, page: &mut Page) {
        if self.axle.reasons.is_empty() {
            return;
        }
        page.heading("Why do the others lose?");
        let losers: Vec<&Candidate> =
            self.axle.best.iter().filter(|c| !c.reasons.is_empty() && !c.is_present).take(LOSERS).collect();
        for candidate in losers {
            let label = format!("{} {}", candidate.rank.unwrap_or_default(), self.code(candidate));
            page.entry('−', Ink::Plain, &label, &losses(self.axle, candidate, self.units));
        }
        page.paragraph(&format!("Of all {} combinations:", grouped(self.axle.combinations)), Ink::Plain);
        let width = self.axle.reasons.iter().map(|(_, count)| grouped(*count).len()).max().unwrap_or(0);
        for (why, count) in self.axle.reasons.iter().take(REASONS) {
            page.item(&format!("{:>width$}", grouped(*count)), &reason(self.axle, why, self.units));
        }
        if self.axle.reasons.len() > REASONS {
            page.item("…", &format!("and {} rarer reasons", self.axle.reasons.len() - REASONS));
        }
        let lost = self.axle.combinations - self.axle.classes[Class::Keeps as usize];
        if self.axle.reasons.iter().map(|(_, count)| count).sum::<u64>() > lost {
            page.paragraph("One combination may lose for several reasons.", Ink::Faint);
        }
        self.travel(page);
    }

    fn travel(&self, page: &mut Page) {
        if self.axle.classes[Class::FallsShort as usize] == 0 {
            return;
        }
        let sweep = &self.axle.sweep;
        let [bump, droop] = [sweep.up_m, -sweep.down_m].map(|z| words::state(z, 0.0, self.units));
        let articulation = self.units.angle().set_to(sweep.roll_rad, 1);
        page.paragraph(
            &format!("Full travel is the file's sweep: {bump}, {droop}, {articulation} of articulation to each side."),
            Ink::Faint,
        );
    }

    fn front(&self, page: &mut Page) {
        let front = &self.axle.front;
        if front.len() < 2 {
            return;
        }
        page.heading("What can be traded?");
        let [keep, ..] = self.axle.classes;
        let over = if self.axle.wishes.is_empty() {
            "flex steer, sideways movement and bind"
        } else if keep > 0 {
            "flex steer, sideways movement and bind, among those that keep every limit"
        } else {
            "the wishes"
        };
        let more = if self.axle.front_overflowed { "More than " } else { "" };
        let count = grouped(front.len() as u64);
        page.paragraph(
            &format!(
                "{more}{count} combinations are beaten by no other in everything: each that gains in one loses in another. Traded are {over}."
            ),
            Ink::Plain,
        );
        for candidate in front.iter().take(FRONT) {
            page.entry('·', Ink::Plain, &self.code(candidate), &[self.traded(candidate)]);
        }
        if front.len() > FRONT {
            let rest = front.len() - FRONT;
            page.item("…", &format!("and {} more; --json has them all", grouped(rest as u64)));
        }
    }

    fn traded(&self, candidate: &Candidate) -> String {
        let [keep, ..] = self.axle.classes;
        if keep == 0 && !self.axle.wishes.is_empty() {
            let each = self.axle.wishes.iter().zip(&candidate.values).map(|(wish, (_, value))| {
                let scale = self.units.of(wish.wanted.key);
                let value = value.map_or_else(|| "none".into(), |v| scale.with_u(v, None));
                format!("{} {value}", short(wish.wanted.key))
            });
            return each.collect::<Vec<_>>().join(", ");
        }
        let columns = self.ease_columns();
        let each = columns
            .iter()
            .map(|c| format!("{} {}", c.heading, c.scale.set_to(candidate.trouble[c.which], c.decimals)));
        each.collect::<Vec<_>>().join(", ")
    }
}

/// What costs a point.
fn point(key: Key, units: Units) -> String {
    let scale = units.of(key);
    let unit = crate::design::tune::merit::unit(key);
    let text = scale.with_u(unit, None);
    match text.split_once('.') {
        Some((whole, rest)) if rest.trim_start_matches('0').starts_with([' ', '°']) => {
            format!("{whole}{}", rest.trim_start_matches('0'))
        }
        _ => text,
    }
}

/// A count with blanks between thousands.
fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut out = String::new();
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push('\u{a0}');
        }
        out.push(digit);
    }
    out
}
