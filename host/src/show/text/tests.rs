//! Texts as a terminal shows them, and what holds for every one of them.

use super::{Options, WIDTH, analysis, comparison, prediction, runs};
use crate::design::Wanted;
use crate::design::loads::LoadCase;
use crate::files::starters::Layout;
use crate::jobs::predict::{Predicted, PredictedVehicle};
use crate::judge::{Finding, FindingKind, Verdict};
use crate::measure::{Measured, Status};
use crate::run::Phase;
use crate::show::{Units, sample};
use crate::vehicle::file::parse;
use crate::vehicle::numbers::Key;

fn all(options: &Options) -> [String; 3] {
    let vehicle = sample::bramble();
    [
        analysis(&sample::analysis(), &vehicle, options),
        comparison(&sample::comparison(), &vehicle, options),
        runs(&sample::runs(), &vehicle, options),
    ]
}

#[test]
fn an_analysis_reads_by_question() {
    let options = Options::default();
    insta::assert_snapshot!(analysis(&sample::analysis(), &sample::bramble(), &options));
}

#[test]
fn a_comparison_says_first_whether_it_moves_as_drawn() {
    let options = Options::default();
    insta::assert_snapshot!(comparison(&sample::comparison(), &sample::bramble(), &options));
}

#[test]
fn a_comparison_in_inches() {
    let options = Options { units: Units::In, ..Options::default() };
    insta::assert_snapshot!(comparison(&sample::comparison(), &sample::bramble(), &options));
}

#[test]
fn two_runs_say_first_whether_anything_changed() {
    insta::assert_snapshot!(runs(&sample::runs(), &sample::bramble(), &Options::default()));
}

#[test]
fn a_run_that_climbed_nothing_says_nothing_of_ramps_and_tells_its_load() {
    let mut rock = sample::analysis();
    let told = |of: &crate::measure::Analysis| analysis(of, &sample::bramble(), &Options::default());
    assert!(told(&rock).contains("ramp travel index") && !told(&rock).contains("as typed in"));
    let axle = &mut rock.axles[0];
    axle.path.iter_mut().for_each(|point| point.phase = Phase::RockForward);
    for index in &mut axle.ramp_travel_index {
        index.index = Measured::without(Status::NotExcited, "the run has no climb on this side");
    }
    rock.facts.load_n = Some(3000.0);
    let text = told(&rock);
    assert!(!text.contains("ramp travel index"), "{text}");
    assert!(text.contains("pulled with 3000 N as typed in."), "{text}");
}

#[test]
fn what_the_data_leave_open_is_told_by_their_word_and_not_by_a_name() {
    let reason = |undecided| {
        let mut compared = sample::comparison();
        let finding = &mut compared.axles[0].findings[0];
        (finding.undecided, finding.size) = (undecided, None);
        finding.element = "the left or inner travel".into();
        let text = comparison(&compared, &sample::bramble(), &Options::default());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(
        reason(true).contains("Likeliest reason: the left or inner travel; the data do not decide which")
    );
    assert!(!reason(false).contains("do not decide which"), "{}", reason(false));
}

#[test]
fn what_was_found_is_told_where_no_number_differs() {
    let told = |judged: fn(Key) -> Verdict| {
        let mut compared = sample::comparison();
        compared.axles[0].findings.retain(|finding| finding.kind != FindingKind::Play);
        compared.axles[0].numbers.iter_mut().for_each(|(key, number)| number.verdict = judged(*key));
        let text = comparison(&compared, &sample::bramble(), &Options::default());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let none = told(|_| Verdict::Agrees);
    assert!(none.contains("moves as drawn, as far as this run can tell. Yet this was found: "), "{none}");
    let stance = told(|key| if key == Key::PinionAngle { Verdict::Differs } else { Verdict::Agrees });
    assert!(
        stance.contains("it does not sit as drawn: pinion angle differs. Likeliest reason: "),
        "{stance}"
    );
}

#[test]
fn a_link_s_length_is_no_reason_before_what_explains_the_motion() {
    let mut compared = sample::comparison();
    let findings = &mut compared.axles[0].findings;
    findings.retain(|finding| !finding.explains.is_empty());
    let explains = findings[0].text.split_whitespace().next().expect("a sentence").to_owned();
    let length = Finding { kind: FindingKind::Length, explains: Vec::new(), ..findings[0].clone() };
    findings.insert(0, Finding { text: "A link is long".into(), ..length });
    let text = comparison(&compared, &sample::bramble(), &Options::default());
    assert!(text.contains(&format!("Likeliest reason: {explains}")), "{text}");
}

#[test]
fn what_joints_give_as_drawn_is_no_play_in_the_headline() {
    let told = |give_m: f64| {
        let mut analysis = sample::analysis();
        let axle = &mut analysis.axles[0];
        axle.measured
            .values_mut()
            .for_each(|n| *n = Measured::without(Status::NotExcited, "it hardly moved"));
        axle.along.clear();
        for link in &mut axle.links {
            (link.play_m, link.drawn_give_m) = (Measured::new(2e-3, 1e-4), Measured::new(give_m, 3e-4));
        }
        let text = super::analysis(&analysis, &sample::bramble(), &Options::default());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(told(1.8e-3).contains("its links go to and fro no more than their joints should give as drawn"));
    assert!(told(0.4e-3).contains("has most play"), "{}", told(0.4e-3));
}

#[test]
fn two_vehicles_differ_and_have_not_changed() {
    let mut compared = sample::runs();
    compared.first_vehicle = "Thistle".into();
    let text = runs(&compared, &sample::bramble(), &Options::default());
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.starts_with("These are two vehicles, Thistle in the first run and Bramble in the second"),
        "{text}"
    );
    assert!(text.contains("between the two.") && !text.contains("it changed"), "{text}");
}

#[test]
fn lines_fit_a_terminal_and_plus_minus_is_explained_once() {
    for units in [Units::Mm, Units::In] {
        for text in all(&Options { units, ..Options::default() }) {
            for line in text.lines() {
                assert!(line.chars().count() <= WIDTH, "{line}");
                assert_eq!(line, line.trim_end());
            }
            assert_eq!(text.matches("95 %").count(), 1, "{text}");
        }
    }
}

#[test]
fn lines_fit_a_narrow_terminal() {
    for columns in [40, 56, 72] {
        for text in all(&Options { columns, ..Options::default() }) {
            for line in text.lines() {
                assert!(line.chars().count() <= columns, "{columns}: {line}");
                assert_eq!(line, line.trim_end());
            }
        }
    }
}

#[test]
fn a_reason_that_many_numbers_share_is_said_once() {
    use crate::measure::Status;
    let mut analysed = sample::analysis();
    let reason = "the run has no bounce, ramp or obstacle phase with data";
    for measured in analysed.axles[0].measured.values_mut() {
        *measured = Measured::without(Status::NotExcited, reason);
    }
    let text = analysis(&analysed, &sample::bramble(), &Options::default());
    let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(flowing.matches(reason).count(), 1, "{text}");
    assert!(flowing.contains("not excited: as for roll steer"), "{text}");
}

#[test]
fn colours_carry_no_meaning_of_their_own() {
    let plain = all(&Options::default());
    let styled = all(&Options { styled: true, ..Options::default() });
    for (plain, styled) in plain.iter().zip(&styled) {
        assert_ne!(plain, styled);
        assert_eq!(&anstream::adapter::strip_str(styled).to_string(), plain);
    }
}

#[test]
fn what_was_not_measured_says_why() {
    let text = analysis(&sample::analysis(), &sample::bramble(), &Options::default());
    let flowing: Vec<&str> = text.split_whitespace().collect();
    let flowing = flowing.join(" ");
    assert!(
        flowing.contains("not excited: the axle hardly moved up and down by itself: bounce it 23 mm more")
    );
    assert!(flowing.contains("not measured: needs the loads on the wheels, which no sensor of a rig reads"));
}

/// Starters predicted, each under a name of its own.
fn predicted(layouts: &[(&str, Layout)], loads: Vec<LoadCase>) -> Predicted {
    let wanted = Wanted { states: vec![(-0.05, 0.1), (0.1, 4.0)], loads, ..Wanted::default() };
    let vehicles = layouts
        .iter()
        .map(|(name, layout)| {
            let file = format!("{name}/vehicle.toml");
            let vehicle = parse(&layout.vehicle_text("Bramble"), &file).expect("a starter is valid");
            PredictedVehicle::of(&file, vehicle, &wanted).expect("a starter predicts")
        })
        .collect();
    Predicted { vehicles }
}

#[test]
fn a_drawing_reads_by_question_and_loads_stand_apart() {
    let cases = vec![LoadCase::Drive(9000.0), LoadCase::Side(-4000.0)];
    let one = predicted(&[("bramble", Layout::DoubleTriangulatedFourLink)], cases);
    let text = prediction(&one, &Options::default());
    insta::assert_snapshot!(text);
    let (numbers, loads) = text.split_once("forces with 9000 N of drive").expect("the loads");
    assert!(!numbers.contains("buckles") && loads.contains("not a strength certificate"));
}

#[test]
fn a_drawing_that_binds_says_so() {
    let text = prediction(&predicted(&[("fourlink", Layout::FourLink)], Vec::new()), &Options::default());
    let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flowing.contains("so it can only articulate by bending its bushes"), "{text}");
    assert!(flowing.contains("the bushes push back with"), "{text}");
}

#[test]
fn drawings_stand_side_by_side_with_gains_and_losses() {
    let layouts = [
        ("double", Layout::DoubleTriangulatedFourLink),
        ("single", Layout::TriangulatedFourLink),
        ("wishbone", Layout::WishboneThreeLink),
        ("panhard", Layout::FourLink),
    ];
    let text = prediction(&predicted(&layouts, Vec::new()), &Options::default());
    assert!(text.contains("panhard, front axle, as drawn: "), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn predictions_of_every_layout_fit_a_terminal() {
    for units in [Units::Mm, Units::In] {
        let options = Options { units, ..Options::default() };
        let alone =
            Layout::WORDS.map(|(word, layout)| predicted(&[(word, layout)], vec![LoadCase::Brake(5000.0)]));
        let together = predicted(&Layout::WORDS, Vec::new());
        for some in alone.iter().chain([&together]) {
            for line in prediction(some, &options).lines() {
                assert!(line.chars().count() <= WIDTH, "{line}");
            }
        }
    }
}

#[test]
fn lines_that_a_screen_has_no_room_for_hang_under_their_beginning() {
    let long = "hingeline: there is no run \"ten\"\n\n  Name a run folder or a table by its path, or record a run first.\n  hingeline record --port /dev/ttyUSB0 --vehicle Bramble --plan still,bounce";
    let lines = |columns| super::fitted(long, columns).lines().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(lines(200).join("\n"), long);
    let narrow = lines(40);
    let (command, prose) = narrow.split_last().expect("lines");
    assert_eq!(
        command, "  hingeline record --port /dev/ttyUSB0 --vehicle Bramble --plan still,bounce",
        "to be pasted"
    );
    assert!(prose.iter().all(|line| line.chars().count() <= 40), "{prose:?}");
    assert_eq!(prose[2..], ["  Name a run folder or a table by its", "  path, or record a run first."]);
}
