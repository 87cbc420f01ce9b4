//! Whether there is room to move: how near parts come to boxes that must stay free and to each other.

use super::entries::Entry;
use super::units::Units;
use super::words;
use crate::design::prediction::{Clearance, Nearest, Obstacle};

/// One entry for each box, with what stands in it or else what comes nearest, and one for each two parts that come near each
/// other.
pub fn entries(all: &[Clearance], units: Units) -> Vec<Entry> {
    let mut boxes: Vec<&str> = Vec::new();
    for clearance in all {
        if let Obstacle::KeepOut(name) = &clearance.obstacle
            && !boxes.contains(&name.as_str())
        {
            boxes.push(name);
        }
    }
    let to = |name: &str| -> Vec<&Clearance> {
        all.iter().filter(|c| c.obstacle == Obstacle::KeepOut(name.to_owned())).collect()
    };
    let pairs = all.iter().filter_map(|c| match &c.obstacle {
        Obstacle::Part(other) => Some(pair(c, other, units)),
        Obstacle::KeepOut(_) => None,
    });
    boxes.iter().map(|name| keep_out(name, &to(name), units)).chain(pairs).collect()
}

fn keep_out(name: &str, parts: &[&Clearance], units: Units) -> Entry {
    let fouls: Vec<&&Clearance> = parts.iter().filter(|c| c.nearest().gap_m < 0.0).collect();
    let mut sentences: Vec<String> = fouls.iter().map(|c| stands_in(c, c.nearest(), units)).collect();
    let nearest = parts.iter().min_by(|a, b| a.nearest().gap_m.total_cmp(&b.nearest().gap_m));
    if let (true, Some(clearance)) = (fouls.is_empty(), nearest) {
        let at = clearance.nearest();
        sentences.push(format!("nearest comes {}: {}", clearance.part, gap(at, units)));
    }
    let held_off = |c: &&&Clearance| c.least.gap_m < 0.0 && c.nearest().gap_m >= 0.0;
    sentences.extend(
        parts
            .iter()
            .filter(held_off)
            .map(|c| format!("{}, if nothing ended travel before", stands_in(c, &c.least, units))),
    );
    Entry { label: name.to_owned(), sentences, beyond: !fouls.is_empty() }
}

fn pair(clearance: &Clearance, other: &str, units: Units) -> Entry {
    let at = clearance.nearest();
    let mut sentences = vec![match at.gap_m < 0.0 {
        true => format!("they meet, {} deep, at {}", length(-at.gap_m, units), state(at, units)),
        false => format!("{} apart, at {}", length(at.gap_m, units), state(at, units)),
    }];
    if clearance.least.gap_m < 0.0 && at.gap_m >= 0.0 {
        sentences.push(format!(
            "they would meet at {}, if nothing ended travel before",
            state(&clearance.least, units)
        ));
    }
    let label = format!("{} and {other}", clearance.part);
    Entry { label, sentences, beyond: at.gap_m < 0.0 }
}

fn stands_in(clearance: &Clearance, at: &Nearest, units: Units) -> String {
    format!("{} goes {} into it, at {}", clearance.part, length(-at.gap_m, units), state(at, units))
}

fn gap(at: &Nearest, units: Units) -> String {
    format!("{}, at {}", length(at.gap_m, units), state(at, units))
}

fn length(m: f64, units: Units) -> String {
    let decimals = if units == Units::Mm { 0 } else { 2 };
    units.length().set_to(m, decimals)
}

fn state(at: &Nearest, units: Units) -> String {
    words::state(at.heave_m, at.roll_rad, units)
}

/// What is in the way, in one line for a table; none where the file names no box.
pub fn worst(all: &[Clearance], units: Units) -> Option<String> {
    let boxes = all.iter().filter(|c| matches!(c.obstacle, Obstacle::KeepOut(_)));
    let least = boxes.map(|c| c.nearest().gap_m).reduce(f64::min)?;
    Some(length(least, units))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clearance(part: &str, obstacle: Obstacle, least_m: f64, within_m: Option<f64>) -> Clearance {
        let at = |gap_m| Nearest { gap_m, heave_m: 0.09, roll_rad: -0.2 };
        Clearance {
            part: part.into(),
            diameter_m: 0.05,
            obstacle,
            least: at(least_m),
            within_stops: within_m.map(at),
        }
    }

    fn tank() -> Obstacle {
        Obstacle::KeepOut("tank".into())
    }

    #[test]
    fn the_nearest_part_is_named_and_what_stops_keep_away() {
        let all = [
            clearance("upper", tank(), 0.05, Some(0.08)),
            clearance("lower", tank(), -0.004, Some(0.012)),
            clearance("upper", Obstacle::Part("lower".into()), 0.031, None),
        ];
        let told = entries(&all, Units::Mm);
        assert_eq!(told.len(), 2);
        assert!(!told[0].beyond);
        assert_eq!(
            told[0].sentences,
            [
                "nearest comes lower: 12 mm, at 11.5° right wheel up with 90 mm of bump",
                "lower goes 4 mm into it, at 11.5° right wheel up with 90 mm of bump, if nothing ended travel before",
            ]
        );
        assert_eq!(told[1].label, "upper and lower");
        assert_eq!(told[1].sentences, ["31 mm apart, at 11.5° right wheel up with 90 mm of bump"]);
        assert_eq!(worst(&all, Units::Mm).as_deref(), Some("12 mm"));
        assert_eq!(worst(&all[2..], Units::Mm), None);
    }

    #[test]
    fn what_fouls_is_marked() {
        let all = [clearance("upper", tank(), 0.05, None), clearance("lower", tank(), -0.004, None)];
        let told = entries(&all, Units::In);
        assert!(told[0].beyond);
        assert_eq!(
            told[0].sentences,
            ["lower goes 0.16 in into it, at 11.5° right wheel up with 3.5 in of bump"]
        );
    }
}
