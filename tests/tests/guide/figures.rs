//! The guide's pictures: drawings to scale and plots, made by the program itself.

use super::facts;
use super::layouts::{Layout, P, SIZES, Sizes};
use super::page::Answers;
use hingeline::show::Units;
use hingeline::show::drawing::{self, Designed, Size};
use hingeline::show::plot::{self, Line, Look, Plot, Point};

/// Steps of a line along the travel.
const STEPS: i32 = 20;
/// Height over width.
const ASPECT: f64 = 0.72;
/// Articulation of every plot over it, degrees.
const FLEX_DEG: f64 = 20.0;
/// What the lower axis says of articulation.
const OVER_FLEX: &str = "articulation, left wheel up, °";

/// Every picture.
pub fn draw(answers: &mut Answers) {
    side_views(answers);
    let plots = [wishbone(), difference(), triangulation(), length(), sideways(), bind()];
    for plot in plots {
        let svg = plot::svg(&plot).expect("the guide's plots have points");
        answers.files.insert(format!("{}.svg", plot.slug), svg + "\n");
    }
}

/// The two layouts of the question and radius arms, from the side.
fn side_views(answers: &mut Answers) {
    let layouts = [
        ("four-link", SIZES.four_link()),
        ("wishbone", SIZES.wishbone()),
        ("radius-arms", facts::radius_arms(0.0)),
    ];
    for (k, (name, layout)) in layouts.iter().enumerate() {
        let vehicle = layout.vehicle();
        let prediction = hingeline::design::predict(&vehicle).expect("the guide's layouts predict");
        let colour = Look::Layout(k).colour();
        let axle = prediction.axles.first().expect("one axle");
        let shown = Designed::of(&vehicle, 0, axle, (*name).to_owned(), colour);
        let views = drawing::designed(&[shown], Units::Mm, Size::Wide);
        let side = views.first().and_then(|views| views.first()).expect("a side view");
        answers.files.insert(format!("{name}-side.svg"), side.file() + "\n");
    }
    for (name, layout) in layouts.iter().take(2) {
        answers.files.insert(format!("{name}.toml"), layout.text().to_owned());
    }
}

fn line(k: usize, name: &str, ends: [f64; 2], value: impl Fn(f64) -> f64) -> Line {
    let [from, to] = ends;
    let points = (0..=STEPS).map(|step| {
        let x = from + (to - from) * f64::from(step) / f64::from(STEPS);
        Point { x, y: value(x), half: None }
    });
    Line { name: name.to_owned(), look: Look::Layout(k), pieces: vec![points.collect()] }
}

/// Steer over articulation of one layout, degrees.
fn steer(layout: &Layout) -> impl Fn(f64) -> f64 + use<> {
    let axle = layout.axle();
    move |flex_deg| {
        let state = axle.solve(0.0, flex_deg.to_radians()).expect("within reach");
        state.pose.axle_steer_rad().to_degrees()
    }
}

fn over_flex(slug: &str, title: &str, y: &str, lines: Vec<Line>) -> Plot {
    Plot {
        slug: slug.into(),
        title: title.into(),
        description: format!("{title}, from none to {FLEX_DEG:.0}° of articulation."),
        x: OVER_FLEX.into(),
        y: y.into(),
        lines,
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

fn wishbone() -> Plot {
    let lines = [
        ("four-link", SIZES.four_link()),
        ("wishbone", SIZES.wishbone()),
        ("apex at the crossing", SIZES.matched_wishbone()),
    ];
    let lines = lines.iter().enumerate().map(|(k, (name, l))| line(k, name, [0.0, FLEX_DEG], steer(l)));
    over_flex("wishbone-flex-steer", "Flex steer of both layouts", "steer of the axle, °", lines.collect())
}

fn difference() -> Plot {
    let uppers = |from: P, to: P| Sizes { upper: [from, to], ..SIZES };
    let toed = |sizes: Sizes| Sizes { lower: [[0.95, 0.405, 0.50], [0.0, 0.495, 0.40]], ..sizes };
    let falling = uppers([0.80, 0.42, 0.74], [0.03, 0.10, 0.64]);
    let rising = uppers([0.80, 0.42, 0.58], [0.03, 0.10, 0.64]);
    let all = [
        ("as drawn", SIZES),
        ("uppers up to the chassis", falling),
        ("uppers down to it", rising),
        ("short uppers", uppers([0.55, 0.42, 0.66], [0.03, 0.10, 0.64])),
        ("up, lowers toed in", toed(falling)),
        ("down, lowers toed in", toed(rising)),
    ];
    let one = |(k, (name, sizes)): (usize, &(&str, Sizes))| {
        let (four, wishbone) = (steer(&sizes.four_link()), steer(&sizes.wishbone()));
        line(k, name, [0.0, FLEX_DEG], |flex_deg| wishbone(flex_deg) - four(flex_deg))
    };
    let lines = all.iter().enumerate().map(one).collect();
    over_flex(
        "wishbone-difference",
        "How much more the wishbone steers",
        "steer, wishbone less four-link, °",
        lines,
    )
}

fn triangulation() -> Plot {
    let lines = vec![
        line(0, "single triangulated", [0.0, FLEX_DEG], steer(&SIZES.four_link())),
        line(1, "double triangulated", [0.0, FLEX_DEG], steer(&facts::double_triangulated())),
    ];
    over_flex("triangulation", "Flex steer by triangulation", "steer of the axle, °", lines)
}

fn length() -> Plot {
    let at = |as_steep: bool| move |share: f64| steer(&facts::longer(share / 100.0, as_steep))(10.0);
    let ends = [70.0, 200.0];
    Plot {
        slug: "length".into(),
        title: "Flex steer by length of the links".into(),
        description:
            "Steer flexed to 10° against the length of all links, at equal heights and at equal slopes."
                .into(),
        x: "links as long as, %".into(),
        y: "steer flexed to 10°, °".into(),
        lines: vec![
            line(0, "brackets as high as drawn", ends, at(false)),
            line(1, "links as steep as drawn", ends, at(true)),
        ],
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

fn sideways() -> Plot {
    let over = |layout: Layout| {
        let axle = layout.axle();
        move |heave_mm: f64| 1e3 * axle.solve(1e-3 * heave_mm, 0.0).expect("within reach").pose.y_m
    };
    let ends = [-130.0, 100.0];
    Plot {
        slug: "sideways".into(),
        title: "Sideways in bump and droop".into(),
        description:
            "Sideways movement of the axle against heave with a panhard bar and with a Watts linkage.".into(),
        x: "heave, bump is positive, mm".into(),
        y: "to the left, mm".into(),
        lines: vec![
            line(0, "panhard bar", ends, over(facts::with_panhard())),
            line(1, "Watts linkage", ends, over(facts::with_watts())),
        ],
        rows: Vec::new(),
        aspect: ASPECT,
    }
}

fn bind() -> Plot {
    let moment = |uppers: usize, joints: &str| {
        let axle = facts::parallel(uppers, joints).axle();
        move |flex_deg: f64| {
            axle.solve(0.0, flex_deg.to_radians()).expect("within reach").roll_moment_nm.abs()
        }
    };
    let ends = [0.0, FLEX_DEG];
    let lines = vec![
        line(0, "three-link", ends, moment(1, "rubber")),
        line(1, "four-link, rubber", ends, moment(2, "rubber")),
        line(2, "four-link, polyurethane", ends, moment(2, "polyurethane")),
    ];
    over_flex("bind", "What the fourth link adds", "roll moment of bind, N·m", lines)
}
