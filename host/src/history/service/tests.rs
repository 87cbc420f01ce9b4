//! Which baselines each kind of work ends.

use super::*;
use crate::files::starters::Layout;

fn vehicle() -> Vehicle {
    let text = Layout::TriangulatedFourLink.vehicle_text("Bramble");
    crate::vehicle::file::parse(&text, "vehicle.toml").unwrap()
}

fn link(of: OfLink, name: &str) -> Quantity {
    Quantity::Link(of, name.into())
}

/// Effects on: play of lower left, play of upper left, apparent change of upper left, roll steer, roll centre, ramp index.
fn effects(work: &Work) -> [Effect; 6] {
    let vehicle = vehicle();
    [
        link(OfLink::Play, "lower left"),
        link(OfLink::Play, "upper left"),
        link(OfLink::ApparentChange, "upper left"),
        Quantity::Number(Key::RollSteer),
        Quantity::Number(Key::RollCentreZ),
        Quantity::RampLeft,
    ]
    .map(|quantity| work.effect(&vehicle.axles[0], &quantity))
}

#[test]
fn each_kind_of_work_ends_exactly_the_baselines_it_should() {
    use Effect::{BaselineAnew as Anew, ChartsAnew, None as Nothing, Shown};
    let element = || "lower left".to_owned();
    let replaced = Work::Replaced { element: element(), end: Some(Side::Chassis) };
    let moved = Work::Moved { element: element(), end: Side::Chassis, hole: Some(3) };
    for (work, expected) in [
        (replaced, [Anew, Nothing, Anew, Anew, Anew, Anew]),
        (moved, [Anew, Nothing, Anew, Anew, Anew, Anew]),
        (Work::Retorqued { element: element() }, [Anew, Nothing, Nothing, Nothing, Nothing, Nothing]),
        (Work::Greased { element: element() }, [Shown, Nothing, Nothing, Nothing, Nothing, Nothing]),
        (Work::Checked { element: element() }, [ChartsAnew, Nothing, Nothing, Nothing, Nothing, Nothing]),
        (Work::Tyre { axle: None }, [Nothing, Nothing, Nothing, Nothing, Anew, Anew]),
        (Work::Pressure { axle: Some("rear".into()) }, [Nothing, Nothing, Nothing, Nothing, Anew, Anew]),
        (Work::Pressure { axle: Some("front".into()) }, [Nothing; 6]),
        (Work::RideHeight { axle: None }, [Nothing, Nothing, Anew, Anew, Anew, Anew]),
        (Work::Refitted, [Nothing, Nothing, Anew, Anew, Anew, Anew]),
        (Work::Note, [Nothing; 6]),
    ] {
        assert_eq!(effects(&work), expected, "{work:?}");
    }
}

#[test]
fn a_line_belongs_to_the_longest_name_it_begins_with() {
    let elements = [("upper", ElementKind::Locating), ("upper left", ElementKind::Locating)];
    assert_eq!(element_of("upper left", &elements), Some("upper left"));
    assert_eq!(element_of("upper leg 1", &elements), Some("upper"));
    assert_eq!(element_of("uppermost", &elements), None);
}

#[test]
fn names_that_are_not_there_are_told_with_those_that_are() {
    let vehicle = vehicle();
    let unknown = Work::Greased { element: "lower lft".into() }.unknown_name(&vehicle).unwrap();
    assert!(unknown.there.contains(&"lower left".to_owned()));
    assert_eq!(Work::Greased { element: "lower left".into() }.unknown_name(&vehicle), None);
    assert!(Work::Tyre { axle: Some("third".into()) }.unknown_name(&vehicle).is_some());
}

#[test]
fn what_has_no_play_is_not_said_to_begin_any_anew() {
    let all = [
        ("lower left", ElementKind::Locating),
        ("coil left", ElementKind::Spring),
        ("strap left", ElementKind::TravelEnd),
    ];
    let replaced = |name: &str| Work::Replaced { element: name.to_owned(), end: None }.consequence(&all);
    assert!(replaced("lower left").starts_with("The play of lower left"));
    let coil = replaced("coil left");
    assert!(
        coil.starts_with("Every number of its axle") && coil.ends_with("the play of the links goes on."),
        "{coil}"
    );
    assert!(replaced("strap left").starts_with("The ramp travel index"));
    assert_eq!(Work::Retorqued { element: "coil left".to_owned() }.consequence(&all), "No baseline ends.");
}
