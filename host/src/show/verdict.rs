//! The one sentence that comes first, and short judgements that text and report share.

use super::questions::{self, Question};
use super::rows::{self, Answer, Row};
use super::units::{HALF_95, Units};
use super::words;
use crate::judge::{
    AxleComparison, AxleRuns, Finding, FindingKind, NumberComparison, RunsComparison, Verdict,
};
use crate::measure::nuisance::{Dearest, Source};
use crate::measure::{AxleAnalysis, Budget, LinkMeasured, Status};
use crate::vehicle::numbers::Key;
use std::collections::BTreeMap;

/// χ² per degree of freedom beyond which sensors are said to contradict one another.
const CONTRADICT: f64 = 4.0;
/// Names in a list of numbers before "and n more".
const NAMED: usize = 3;

/// What an analysis says first.
pub fn of_analysis(answers: &[Answer], links: &[LinkMeasured], units: Units) -> String {
    let rows = answers.iter().flat_map(|(_, rows)| rows);
    let all = rows.clone().filter(|r| r.key().is_some()).count();
    let measured =
        rows.clone().filter(|r| r.key().is_some() && r.measured.status == Status::Measured).count();
    let steer = rows.clone().find(|r| r.key() == Some(Key::RollSteer) && r.measured.measured().is_some());
    let counted = format!("{measured} of {all} numbers were measured");
    match (steer, play(links, units)) {
        (Some(row), _) => format!("{}; {counted}.", steers(row)),
        (None, Some(play)) if measured == 0 => format!("{play}; its numbers need a bounce or a ramp."),
        (None, _) => format!("{counted}."),
    }
}

/// The play of the link that has most, or below which all stay; none where no load was turned round.
fn play(links: &[LinkMeasured], units: Units) -> Option<String> {
    let length = units.length();
    // What joints give as drawn is no play: with it taken off, the link that stands out most.
    let beyond = |l: &&LinkMeasured| {
        let ((value, u), (give, give_u)) = (l.play_m.measured()?, l.drawn_give_m.measured()?);
        Some((value - give) / u.hypot(give_u))
    };
    if !links.is_empty() && links.iter().all(|l| beyond(&l).is_some_and(|sure| sure < HALF_95)) {
        return Some("its links go to and fro no more than their joints should give as drawn".to_owned());
    }
    let known = links.iter().filter_map(|l| Some((l, l.play_m.value?, l.play_m.u?)));
    let (link, value, u) = known.max_by(|a, b| (a.1 + HALF_95 * a.2).total_cmp(&(b.1 + HALF_95 * b.2)))?;
    Some(match link.play_m.measured() {
        Some(_) => format!("of its links \"{}\" has most play, {}", link.name, length.with_u(value, Some(u))),
        None => format!(
            "no play of its links is resolved: it is {}{} at most",
            super::units::number((value + HALF_95 * u) * length.per_si, 1),
            length.unit
        ),
    })
}

/// What a prediction says first: what the axle does when flexed, where it pivots, how it answers throttle and brake.
pub fn of_prediction(answers: &[Answer]) -> String {
    let rows: Vec<&Row> = answers.iter().flat_map(|(_, rows)| rows).collect();
    let by_key = |key: Key| rows.iter().copied().find(|r| r.key() == Some(key));
    let mut parts: Vec<String> = rows.iter().take(1).map(|row| flexes(row)).collect();
    parts.push(match (by_key(Key::SideViewInstantCentreX), by_key(Key::SideViewInstantCentreZ)) {
        (Some(x), Some(z)) => format!("in bump it turns about a point {}, {}", place(x), place(z)),
        _ => "in bump it does not turn".to_owned(),
    });
    if let Some(row) = by_key(Key::RollCentreZ) {
        parts.push(format!("in roll about {}", place(row)));
    }
    let anti: Vec<String> = Question::Forces
        .keys()
        .iter()
        .filter_map(|key| by_key(*key).map(|row| format!("{} {}", row.label, row.value())))
        .collect();
    parts.extend((!anti.is_empty()).then(|| words::list(&anti)));
    format!("{}.", parts.join("; "))
}

/// The first row of a prediction: flex steer, or roll steer where the axle does not reach that far.
fn flexes(row: &Row) -> String {
    let steers = match row.word {
        Some(words::EITHER_WAY) | None => format!("{}, which may be nothing", row.value()),
        Some(word) => format!("{}, {word}", row.value()),
    };
    match row.label.strip_prefix("steer, ") {
        Some(state) => format!("flexed to {state} it steers itself by {steers}"),
        None => format!("it steers itself by {steers}"),
    }
}

/// `3969 ± 41 mm ahead of the axle`: the word says which side, so the number needs no sign.
fn place(row: &Row) -> String {
    let value = row.measured.value.unwrap_or_default();
    match row.word {
        Some(words::EITHER_WAY) | None => row.value(),
        Some(word) => format!("{} {word}", row.scale.with_u(value.abs(), row.measured.u)),
    }
}

fn steers(row: &Row) -> String {
    match row.word {
        Some(words::EITHER_WAY) | None => {
            format!("it steers itself by {} of articulation, which may be nothing", row.value())
        }
        Some(word) => format!("it steers itself by {} of articulation, {word}", row.value()),
    }
}

/// Counts of verdicts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Within the limit.
    pub agrees: usize,
    /// Beyond it.
    pub differs: usize,
    /// Undecided.
    pub not_resolved: usize,
    /// Without a value on one side.
    pub not_measured: usize,
}

impl Tally {
    /// Counts the verdicts of numbers.
    pub fn of(numbers: &BTreeMap<Key, NumberComparison>) -> Self {
        let count = |verdict| told(numbers).filter(|(_, n)| n.verdict == verdict).count();
        Self {
            agrees: count(Verdict::Agrees),
            differs: count(Verdict::Differs),
            not_resolved: count(Verdict::NotResolved),
            not_measured: count(Verdict::NotMeasured),
        }
    }

    /// `3 differ, 5 agree and 2 are not resolved.`
    pub fn sentence(&self) -> String {
        let parts = [
            (self.differs, "differs", "differ"),
            (self.agrees, "agrees", "agree"),
            (self.not_resolved, "is not resolved", "are not resolved"),
            (self.not_measured, "is not measured", "are not measured"),
        ];
        let told: Vec<String> = parts
            .into_iter()
            .filter(|(n, ..)| *n > 0)
            .map(|(n, one, many)| format!("{n} {}", if n == 1 { one } else { many }))
            .collect();
        let all = parts.iter().map(|(n, ..)| n).sum::<usize>();
        format!("Of {all} numbers {}.", words::list(&told))
    }
}

/// Numbers that people are told of, by question: those that are zero by definition say nothing, nor does the side-view
/// direction while there is an instant centre.
fn told(numbers: &BTreeMap<Key, NumberComparison>) -> impl Iterator<Item = (Key, &NumberComparison)> {
    let centre = numbers.get(&Key::SideViewInstantCentreX).is_some_and(|n| n.measured.value.is_some());
    Question::ALL
        .into_iter()
        .flat_map(|question| question.keys())
        .filter(move |key| !(questions::zero_at_ride(**key) || centre && **key == Key::SideViewDirection))
        .filter_map(|key| numbers.get(key).map(|n| (*key, n)))
}

/// What a comparison with the design says first, in one sentence: what is loose, and how it moves.
pub fn of_comparison(axle: &AxleComparison) -> String {
    let tally = Tally::of(&axle.numbers);
    let compared = tally.differs + tally.agrees + tally.not_resolved > 0;
    match (joints(axle), compared) {
        (Some(joints), true) => format!("{joints}; {}", as_drawn(axle, tally)),
        (Some(joints), false) => format!("{joints}."),
        (None, _) => as_drawn(axle, tally),
    }
}

/// What a run that rocked or shoved the axle says of its joints.
fn joints(axle: &AxleComparison) -> Option<String> {
    let loose: Vec<&Finding> = axle.findings.iter().filter(|f| f.kind == FindingKind::Play).collect();
    let surely: Vec<String> =
        loose.iter().filter(|f| f.size.is_some()).map(|f| format!("\"{}\"", f.element)).collect();
    match (loose.first(), surely.len()) {
        (None, _) if axle.analysis.turned.is_empty() => None,
        (None, _) => Some("no joint is loose, as far as this run can tell".to_owned()),
        (Some(group), 0) => Some(format!("something is loose, {}", group.element)),
        (Some(_), 1) => Some(format!("{} is loose", words::list(&surely))),
        (Some(_), _) => Some(format!("{} are loose", words::list(&surely))),
    }
}

fn as_drawn(axle: &AxleComparison, tally: Tally) -> String {
    match (tally.differs, tally.agrees, tally.not_resolved) {
        (0, 0, 0) => "nothing could be compared with the drawing.".to_owned(),
        (0, 0, _) => "the run does not decide whether it moves as drawn.".to_owned(),
        (0, agrees, open) if agrees < open => {
            "nothing differs from the drawing, but most numbers are not resolved.".to_owned()
        }
        (0, agrees, open) if agrees + open < tally.not_measured => {
            "too little was measured to say whether it moves as drawn.".to_owned()
        }
        (0, ..) => "it moves as drawn, as far as this run can tell.".to_owned(),
        _ if only_stance_differs(&axle.numbers) => {
            format!("it does not sit as drawn: {}.", differing(&axle.numbers))
        }
        _ => format!("it does not move as drawn: {}.", differing(&axle.numbers)),
    }
}

/// Whether all that differs says how the axle sits and nothing of how it moves.
fn only_stance_differs(numbers: &BTreeMap<Key, NumberComparison>) -> bool {
    let mut differing = told(numbers).filter(|(_, n)| n.verdict == Verdict::Differs);
    differing.all(|(key, _)| matches!(key, Key::PinionAngle | Key::Castor))
}

/// The finding that explains most; where no number differs, what is not as drawn all the same.
pub fn likeliest_reason(axle: &AxleComparison) -> Option<String> {
    let first = axle.findings.iter().find(|f| f.kind != FindingKind::Play)?;
    // How long a link is says how the axle sits: what explains how it moves comes before that.
    let explains = || axle.findings.iter().find(|f| f.kind != FindingKind::Play && !f.explains.is_empty());
    let finding = Some(first).filter(|f| f.kind != FindingKind::Length).or_else(explains).unwrap_or(first);
    let opening =
        if Tally::of(&axle.numbers).differs > 0 { "Likeliest reason" } else { "Yet this was found" };
    // Where the data do not decide, what they leave open is a list, which stands under "Why".
    if finding.undecided {
        return Some(format!("{opening}: {}; the data do not decide which (see Why).", finding.element));
    }
    Some(format!("{opening}: {}.", finding.text.trim_end_matches('.')))
}

/// A finding's own sentence.
pub fn reason(finding: &Finding) -> String {
    format!("{}.", words::capital(finding.text.trim_end_matches('.')))
}

/// What a finding explains when it alone is put into the drawing, greatest first; none where it explains nothing.
pub fn explains(finding: &Finding) -> Option<String> {
    /// Less than this share is not worth a word.
    const WORTH_A_WORD: f64 = 0.05;
    let mut shares: Vec<(Key, f64)> =
        finding.explains.iter().copied().filter(|(_, share)| *share >= WORTH_A_WORD).collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    let told: Vec<String> = shares
        .iter()
        .take(NAMED)
        .map(|(key, share)| format!("{:.0} % of the difference in {}", 100.0 * share, rows::label(*key)))
        .collect();
    (!told.is_empty()).then(|| format!("Put into the drawing by itself it explains {}.", words::list(&told)))
}

/// What a comparison of two runs says first; of two vehicles nothing has changed, they differ.
pub fn of_runs(axle: &AxleRuns, two_vehicles: bool) -> String {
    let tally = Tally::of(&axle.numbers);
    match (tally.differs, tally.agrees, tally.not_resolved) {
        (0, 0, 0) => nothing_in_common(axle),
        (0, 0, _) if two_vehicles => "the runs do not decide whether the two differ.".to_owned(),
        (0, 0, _) => "the runs do not decide whether anything changed.".to_owned(),
        (0, agrees, open) if agrees < open => {
            let what = if two_vehicles { "differs" } else { "changed" };
            format!("nothing {what} for certain, but most numbers are not resolved.")
        }
        (0, ..) if two_vehicles => "no difference between the two, as far as the runs can tell.".to_owned(),
        (0, ..) => "no change between the runs, as far as they can tell.".to_owned(),
        _ if two_vehicles => format!("{} between the two.", differing(&axle.numbers)),
        _ => format!("it changed between the runs: {}.", differing(&axle.numbers)),
    }
}

/// Which of two runs has no number, and what gives them.
fn nothing_in_common(axle: &AxleRuns) -> String {
    let measured = |of: fn(&NumberComparison) -> Option<f64>| axle.numbers.values().any(|n| of(n).is_some());
    let without = match (measured(|n| n.designed.value), measured(|n| n.measured.value)) {
        (false, false) => "neither measured any",
        (false, true) => "the first measured none",
        (true, false) => "the second measured none",
        (true, true) => "each measured others",
    };
    format!("the runs have no number in common: {without}. A bounce and a ramp give them all.")
}

/// What stands before everything else where two vehicles are set side by side, or runs without an axle in common.
pub fn before_runs(runs: &RunsComparison) -> Option<String> {
    let (first, second) = (&runs.first_vehicle, &runs.vehicle);
    let two = runs.of_two_vehicles();
    let vehicles = format!("These are two vehicles, {first} in the first run and {second} in the second");
    if !runs.axles.is_empty() {
        return two.then(|| format!("{vehicles}: what differs is between them and no change."));
    }
    let of = |whose: &str, names: &[String]| match names {
        [] => format!("{whose} measured no axle"),
        names => format!("{whose} measured {} axle", words::list(names)),
    };
    let [a, b] = &runs.unpaired;
    let measured = format!("{} and {}", of("the first", a), of("the second", b));
    Some(match two {
        true => format!(
            "{vehicles}, and nothing of them can be compared: {measured}, which are not at the same end. Give two runs \
             of axles at one end; hingeline predict sets the drawings of both vehicles side by side."
        ),
        false => format!("Nothing can be compared: {measured}. Give two runs with sensors on the same axle."),
    })
}

fn differing(numbers: &BTreeMap<Key, NumberComparison>) -> String {
    let names: Vec<&str> = told(numbers)
        .filter(|(_, n)| n.verdict == Verdict::Differs)
        .map(|(key, _)| rows::label(key))
        .collect();
    let verb = if names.len() == 1 { "differs" } else { "differ" };
    let shown = match names.get(..NAMED) {
        Some(first) if names.len() > NAMED + 1 => {
            let more = format!("{} more", names.len() - NAMED);
            let mut all = first.to_vec();
            all.push(&more);
            words::list(&all)
        }
        _ => words::list(&names),
    };
    format!("{shown} {verb}")
}

/// What χ² per degree of freedom says of the sensors.
pub fn sensors(chi_square_per_dof: f64) -> String {
    let chi = format!("χ² per degree of freedom {chi_square_per_dof:.2}, 1 is as stated");
    if chi_square_per_dof > CONTRADICT {
        format!("They contradict one another beyond their stated uncertainties ({chi}).")
    } else {
        format!("They agree with one another within their stated uncertainties ({chi}).")
    }
}

/// The greatest part of a number's uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Which number.
    pub key: Key,
    /// Its whole budget.
    pub budget: Budget,
    /// What to know better first: in words, and the half-width of the 95 % interval that would be left, SI.
    pub first: Option<(String, f64)>,
}

/// Better knowledge that leaves more than this of a ± is not worth a word.
const WORTHWHILE: f64 = 0.9;

/// What to know better, by the names of the rig's sensors.
pub fn dearest_words(dearest: &Dearest, sensors: &[String]) -> String {
    let what = match dearest.source {
        Source::Mount => "where it is clipped",
        Source::Scale => "its scale",
        Source::Zero => "its zero",
        Source::Heading => "its heading",
        Source::Model => "its hysteresis",
    };
    match dearest.sensor.and_then(|k| sensors.get(k)) {
        Some(name) => format!("{name}: {what}"),
        None => "the slope of the floor under the still".into(),
    }
}

/// By number, in the order of the questions.
pub fn limits(axle: &AxleAnalysis) -> Vec<Limit> {
    Question::ALL
        .into_iter()
        .flat_map(|question| question.keys())
        .filter(|key| !questions::zero_at_ride(**key))
        .filter_map(|key| {
            let budget = *axle.budget.get(key)?;
            let first = axle.dearest.get(key).filter(|d| d.u < WORTHWHILE * budget.total());
            let first = first.map(|d| (dearest_words(d, &axle.sensors), HALF_95 * d.u));
            Some(Limit { key: *key, budget, first })
        })
        .filter(|limit| limit.budget.total() > 0.0)
        .collect()
}

impl Limit {
    /// Half-width of the 95 % interval, SI.
    pub fn half_width(&self) -> f64 {
        HALF_95 * self.budget.total()
    }

    /// Each source with its share of the variance, greatest first.
    pub fn shares(&self) -> Vec<(&'static str, f64)> {
        let b = &self.budget;
        let variance = b.total().powi(2);
        let mut shares: Vec<(&'static str, f64)> = [
            ("sensor mounts", b.mount),
            ("noise", b.noise),
            ("scales", b.scale),
            ("zeros", b.zero),
            ("unit headings", b.heading),
            ("hysteresis and fit", b.model),
        ]
        .map(|(name, u)| (name, u * u / variance))
        .to_vec();
        shares.sort_by(|a, b| b.1.total_cmp(&a.1));
        shares
    }

    /// `scales 62 %, sensor mounts 30 %`: the two greatest sources with their share of the variance.
    pub fn part_words(&self) -> String {
        let told: Vec<String> = self
            .shares()
            .iter()
            .take(2)
            .map(|(name, share)| format!("{name} {:.0} %", 100.0 * share))
            .collect();
        told.join(", ")
    }
}

/// A length for a sentence, with its ±.
pub fn length(value: f64, u: Option<f64>, units: Units) -> String {
    units.length().with_u(value, u)
}
