//! Whether the driveshaft follows the axle: what its slip joint must give, how far its joints bend, how evenly it turns.

use super::entries::Entry;
use super::units::{Units, number};
use super::words;
use crate::design::driveshaft::fluctuation;
use crate::design::loads::ShaftTorque;
use crate::design::prediction::{ShaftPrediction, ShaftWhere};

/// One entry for the slip joint, one for each joint, one for how evenly the shaft turns.
pub fn entries(shaft: &ShaftPrediction, units: Units) -> Vec<Entry> {
    let range = shaft.range();
    let output = joint(
        "joint at transfer case",
        shaft,
        shaft.ride.output_rad,
        &range.output_joint,
        |w| w.at.output_rad,
        units,
    );
    let pinion = joint(
        "joint at pinion",
        shaft,
        shaft.ride.pinion_rad,
        &range.pinion_joint,
        |w| w.at.pinion_rad,
        units,
    );
    vec![slip(shaft, units), output, pinion, evenness(shaft, units)]
}

fn slip(shaft: &ShaftPrediction, units: Units) -> Entry {
    let range = shaft.range();
    let (out, into) = (&range.longest, &range.shortest);
    Entry::plain(
        "slip joint",
        vec![
            format!("must give {} in all", length(range.plunge_m(), units)),
            format!("{} out, at {}", length(out.at.plunge_m, units), place(out, units)),
            format!("{} in, at {}", length(-into.at.plunge_m, units), place(into, units)),
        ],
    )
}

fn joint(
    label: &str,
    shaft: &ShaftPrediction,
    ride_rad: f64,
    worst: &ShaftWhere,
    of: fn(&ShaftWhere) -> f64,
    units: Units,
) -> Entry {
    let angle = |rad: f64| units.angle().set_to(rad, 1);
    let at = format!(
        "{} at ride height, at most {}, at {}",
        angle(ride_rad),
        angle(of(worst)),
        place(worst, units)
    );
    let (beyond, bears) = match shaft.limit_rad {
        Some(limit) if of(worst) > limit => (true, format!("more than the {} it bears", angle(limit))),
        Some(limit) => (false, format!("it bears {}", angle(limit))),
        None => (false, "the file does not say what it bears".to_owned()),
    };
    Entry { label: label.to_owned(), sentences: vec![at, bears], beyond }
}

/// Speed that rises and falls twice a turn, of both joints together.
fn evenness(shaft: &ShaftPrediction, units: Units) -> Entry {
    let told = |rad: f64| {
        let percent = number(100.0 * fluctuation(rad), 1);
        format!("{percent} % (as one joint at {})", units.angle().set_to(rad, 1))
    };
    let worst = &shaft.range().equivalent;
    Entry::plain(
        "speed over a turn varies by",
        vec![
            format!("{} at ride height", told(shaft.ride.equivalent_rad)),
            format!("at most {}, at {}", told(worst.at.equivalent_rad), place(worst, units)),
            "with the yokes in line".to_owned(),
        ],
    )
}

/// Slip and the largest joint angle, for a table.
pub fn needs(shaft: &ShaftPrediction, units: Units) -> [(&'static str, String); 2] {
    let range = shaft.range();
    let bent = range.largest_rad();
    [
        ("slip of the driveshaft", length(range.plunge_m(), units)),
        ("its joints bend at most", units.angle().set_to(bent, 1)),
    ]
}

/// What the shaft's torque does to the axle, as a sentence.
pub fn torque(shaft: &ShaftTorque, units: Units) -> String {
    let force = units.force().set_to(shaft.left_wheel_n.abs(), 0);
    let (down, up) = if shaft.left_wheel_n >= 0.0 { ("left", "right") } else { ("right", "left") };
    let way = if shaft.yaw_nm >= 0.0 { "left" } else { "right" };
    format!(
        "The driveshaft carries {}: it presses the {down} wheel down by {force}, lifts the {up} one by as much, and turns the \
         axle to the {way} with {}; that is in these forces.",
        units.moment().set_to(shaft.torque_nm, 0),
        units.moment().set_to(shaft.yaw_nm.abs(), 0)
    )
}

fn length(m: f64, units: Units) -> String {
    let decimals = if units == Units::Mm { 0 } else { 2 };
    units.length().set_to(m, decimals)
}

fn place(at: &ShaftWhere, units: Units) -> String {
    words::state(at.heave_m, at.roll_rad, units)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::driveshaft::ShaftAt;
    use crate::design::prediction::ShaftRange;

    fn shaft(limit_rad: Option<f64>) -> ShaftPrediction {
        let at = |plunge_m: f64, output_rad: f64| ShaftAt {
            length_m: 0.76 + plunge_m,
            plunge_m,
            output_rad,
            pinion_rad: 0.05,
            output_fluctuation: fluctuation(output_rad),
            pinion_fluctuation: fluctuation(0.05),
            equivalent_rad: output_rad,
        };
        let place = |at| ShaftWhere { heave_m: -0.13, roll_rad: 0.0, at };
        let range = ShaftRange {
            longest: place(at(0.012, 0.1)),
            shortest: place(at(-0.021, 0.1)),
            output_joint: place(at(0.012, 0.4)),
            pinion_joint: place(at(0.012, 0.1)),
            equivalent: place(at(0.012, 0.3)),
        };
        ShaftPrediction {
            limit_rad,
            ride: at(0.0, 0.1),
            states: vec![],
            heave: vec![],
            roll: vec![],
            reach: range,
            within_stops: None,
        }
    }

    #[test]
    fn the_slip_and_what_the_joints_bear_are_told() {
        let told = entries(&shaft(Some(0.38)), Units::Mm);
        assert_eq!(
            told[0].sentences,
            ["must give 33 mm in all", "12 mm out, at 130 mm of droop", "21 mm in, at 130 mm of droop"]
        );
        assert_eq!(
            told[1].sentences,
            ["5.7° at ride height, at most 22.9°, at 130 mm of droop", "more than the 21.8° it bears"]
        );
        assert!(told[1].beyond && !told[0].beyond && !told[2].beyond);
        // 1/cos 0.1 − cos 0.1 = 0.0100; 1/cos 0.3 − cos 0.3 = 0.0914, by hand.
        assert!(told[3].sentences[0].starts_with("1.0 % (as one joint at 5.7°)"), "{told:?}");
        assert!(told[3].sentences[1].starts_with("at most 9.1 % (as one joint at 17.2°)"), "{told:?}");
        assert_eq!(entries(&shaft(None), Units::Mm)[1].sentences[1], "the file does not say what it bears");
    }

    #[test]
    fn torque_says_which_wheel_is_pressed_down() {
        let shaft = ShaftTorque { torque_nm: 897.56, roll_nm: -890.9, yaw_nm: -109.4, left_wheel_n: 556.8 };
        assert_eq!(
            torque(&shaft, Units::Mm),
            "The driveshaft carries 898 N·m: it presses the left wheel down by 557 N, lifts the right one by as much, and \
             turns the axle to the right with 109 N·m; that is in these forces."
        );
    }
}
