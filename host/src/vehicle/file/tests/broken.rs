//! Broken vehicle files, each with its exact message.

use super::super::parse;
use super::{BRAMBLE, SHORTEST};

/// The messages for [`BRAMBLE`] with `from` replaced by `to`.
fn broken(from: &str, to: &str) -> String {
    assert!(BRAMBLE.contains(from), "{from}");
    said(&BRAMBLE.replacen(from, to, 1))
}

fn said(text: &str) -> String {
    match parse(text, "vehicle.toml") {
        Ok(_) => "no error".to_owned(),
        Err(errors) => format!("{errors}\n\n{}", errors.render(false)),
    }
}

macro_rules! says {
    ($($name:ident: $from:expr => $to:expr;)*) => { $(
        #[test]
        fn $name() {
            insta::assert_snapshot!(broken($from, $to));
        }
    )* };
}

says! {
    unknown_key: "tyre_radius = 460" => "tyre_radius = 460\ncolour = \"green\"";
    misspelt_key: "tyre_radius" => "tire_radius";
    misspelt_section: "[[axle.bump_stop]]" => "[[axle.bumpstop]]";
    missing_key: "track = 1600\n" => "";
    missing_end: "axle = [20, 580, 400]\n" => "";
    missing_vehicle: "[vehicle]" => "[car]";
    number_in_quotes: "track = 1600" => "track = \"1600\"";
    word_for_a_flag: "mirror = true" => "mirror = \"yes\"";
    zero_tyre_radius: "tyre_radius = 460" => "tyre_radius = 0";
    not_a_number: "cg_height = 810" => "cg_height = nan";
    infinite: "cg_height = 810" => "cg_height = inf";
    wrong_scale: "wheelbase = 2540" => "wheelbase = 254000";
    position_word: "position = \"rear\"" => "position = \"reer\"";
    unit_word: "length = \"mm\"" => "length = \"cm\"";
    point_of_two: "[950, 360, 500]" => "[950, 360]";
    point_with_text: "[950, 360, 500]" => "[950, \"left\", 500]";
    link_of_no_length: "axle = [20, 580, 400]" => "axle = [950, 360, 500]";
    hole_that_is_not_there: "use = 2" => "use = 4";
    hole_zero: "use = 2" => "use = 0";
    holes_without_use: ", use = 2" => "";
    points_for_a_bracket: "{ holes = [[800, 450, 640], [800, 450, 660], [800, 450, 680]], use = 2 }" => "[[800, 450, 640], [800, 450, 660]]";
    negative_play: "play = 0.4" => "play = -0.4";
    joint_kind: "\"polyurethane\"]" => "\"polyurethan\"]";
    bolt_that_points_nowhere: "[0.4, 0.9, 0]" => "[0, 0, 0]";
    thick_wall: "wall = 6.35" => "wall = 26";
    mirror_without_a_side: "name = \"lower left\"" => "name = \"lower\"";
    same_name: "name = \"upper left\"" => "name = \"lower left\"";
    mirror_onto_another: "name = \"upper left\"" => "name = \"lower right\"";
    length_far_from_drawn: "length = 838" => "length = 383";
    shock_past_open: "open = 560" => "open = 400";
    shock_upside_down: "closed = 340" => "closed = 640";
    angle_that_was_not_drawn: "castor = 5.0" => "";
    angle_surer_than_sure: "thrust_u = 0.1" => "thrust_u = 0";
    strap_too_short: "length = 570" => "length = 370";
    box_inside_out: "[[-700, 50, 500], [-300, 300, 750]]" => "[[-700, 300, 500], [-300, 50, 750]]";
    wish_for_no_number: "anti_squat_percent" => "antisquat_percent";
    wish_of_the_other_axle: "anti_squat_percent" => "anti_dive_percent";
    wish_upside_down: "min = 40, max = 80" => "min = 80, max = 40";
    wish_without_limits: "{ max = 0.05 }" => "{ weight = 3 }";
    replaces_nothing: "replaces = [\"upper left\"" => "replaces = [\"uper left\"";
    share_beyond_one: "brake_share = 0.3" => "brake_share = 30";
    tyre_wider_than_high: "tyre_width = 265" => "tyre_width = 2650";
    axle_tube_of_nothing: "axle_tube = 89" => "axle_tube = 0";
    shaft_with_a_negative_limit: "limit = 22" => "limit = -22";
    shaft_without_gears: "final_drive = 4.1" => "final_drive = 0";
    shaft_that_turns_neither_way: "\"anticlockwise\"" => "\"anticlockwize\"";
    shaft_in_words: "diameter = 63" => "diameter = \"63 mm\"";
    single_brackets: "[[axle]]" => "[axle]";
    newer_format: "format = 1" => "format = 2";
    format_zero: "format = 1" => "format = 0";
    no_format: "format = 1\n" => "";
    unclosed_quote: "name = \"rear\"" => "name = \"rear";
    unquoted_word: "position = \"rear\"" => "position = rear";
    key_twice: "track = 1600" => "track = 1600\ntrack = 1650";
    broken_header: "[[axle.link]]" => "[[axle.link]";
    header_with_a_space: "[[axle.bump_stop]]" => "[[axle.bump stop]]";
    header_without_a_name: "[[axle.strap]]" => "[[axle.]]";
    header_without_brackets: "[[axle.strap]]" => "axle.strap]]";
    header_with_something_before_it: "[[axle]]" => "{[[axle]]";
    header_with_three_brackets: "[[axle]]" => "[[[axle]]";
    header_of_mixed_brackets: "[[axle.strap]]" => "[[axle.strap}}";
}

#[test]
fn all_errors_at_once() {
    let text = BRAMBLE
        .replace("wheelbase = 2540", "wheelbase = -1")
        .replace("position = \"rear\"", "position = \"back\"")
        .replace("mass_share = 0.52", "mass_share = 52\nwieght = 3")
        .replace("rate = 30", "rate = \"30\"")
        .replace("cg_height = 810", "cg_height = 81O");
    insta::assert_snapshot!(said(&text));
}

#[test]
fn help_is_in_the_units_of_the_file() {
    let text = SHORTEST
        .replace("name = \"Bramble\"", "name = \"Bramble\"\nunits = { length = \"in\" }")
        .replace("wheelbase = 2540", "wheelbase = \"100 1/x\"")
        .replace("track = 1600\n", "")
        .replace("chassis = [950, 360, 500]\n", "");
    insta::assert_snapshot!(said(&text));
}

#[test]
fn an_empty_file() {
    insta::assert_snapshot!(said(""));
}

#[test]
fn an_empty_list_of_axles() {
    insta::assert_snapshot!(said(
        "format = 1\nname = \"x\"\naxle = []\n[vehicle]\nwheelbase = 2\ncg_height = 1\n"
    ));
}

#[test]
fn errors_are_data_too() {
    let text = SHORTEST.replace("track = 1600", "track = 0");
    let errors = parse(&text, "vehicle.toml").unwrap_err();
    insta::assert_snapshot!(serde_json::to_string_pretty(&errors).unwrap());
    let error = &errors.errors[0];
    assert_eq!(&text[error.span.clone()], "0");
}
/// Whatever slips into a header, the keys below it are not blamed on the section above.
#[test]
fn a_broken_header_has_no_echo() {
    let lines: Vec<&str> = BRAMBLE.lines().collect();
    let mut broken = 0;
    for (i, line) in lines.iter().enumerate().filter(|(_, l)| l.starts_with('[')) {
        for (at, slip) in (0..line.len()).flat_map(|at| [" ", "[", "]", "=", "{", "#"].map(|slip| (at, slip)))
        {
            let mut changed = lines.clone();
            let header = format!("{}{slip}{}", &line[..at], &line[at..]);
            changed[i] = &header;
            let Err(errors) = parse(&changed.join("\n"), "vehicle.toml") else { continue };
            if errors.errors.iter().any(|e| e.message == "this section header cannot be read") {
                broken += 1;
                assert_eq!(errors.errors.len(), 1, "{header}\n{}", errors.render(false));
            }
        }
    }
    assert!(broken > 200, "only {broken} headers were broken");
}

#[test]
fn a_list_that_is_not_closed_is_told_once() {
    for (closed, open) in [
        ("axle = [20, 580, 400]", "axle = [20, 580, 400"),
        ("axle = [20, 580, 400]", "axle = [20, 580 400"),
        ("axle = [20, 580, 400]", "axle = [20, 580, 400   # to the bolt's middle ]"),
    ] {
        let starter = crate::files::starters::Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble");
        assert!(starter.contains(closed));
        let line = 1 + starter[..starter.find(closed).unwrap()].lines().count() - 1;
        let errors = parse(&starter.replacen(closed, open, 1), "vehicle.toml").unwrap_err().errors;
        let told: Vec<_> = errors.iter().map(|e| (e.line, e.message.as_str())).collect();
        assert_eq!(told, [(line + 1, "the list on this line is not closed")], "{open}");
    }
}

/// A list over several lines is none that was left open, whatever else is wrong below it.
#[test]
fn a_list_of_several_lines_is_not_taken_for_an_open_one() {
    for list in ["[\n\n  # the holes\n  [1, 2, 3],\n]", "[\n  { at = 1 },\n  { at = 2 },\n]"] {
        let errors =
            parse(&format!("format = 1\nlist = {list}\nname = Bramble\n"), "vehicle.toml").unwrap_err();
        assert!(errors.errors.iter().all(|e| !e.message.contains("not closed")), "{}", errors.render(false));
    }
}

#[test]
fn a_slip_in_a_long_list_is_no_header() {
    let text = BRAMBLE.replace(
        "box = [[-700, 50, 500], [-300, 300, 750]]",
        "box = [\n  [-700, 50, 500],\n  [-300 300, 750]\n]",
    );
    insta::assert_snapshot!(said(&text));
}
