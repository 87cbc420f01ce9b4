//! Plots of a run by itself, without its drawing: the climbs of a ramp, links under a load that turns round, links over the
//! travel up and down, and what each sensor leaves over.

use super::{Line, Look, Plot, Point, slug};
use crate::measure::{
    AxleAnalysis, Direction, LeftOver, LinkMeasured, Load, PosePoint, RampIndex, ResidualPoint,
    SensorResiduals, Turned,
};
use crate::run::Phase;
use crate::show::units::{HALF_95, Scale, number};
use crate::show::{Units, words};

/// Height over width of a plot over time.
const LOW: f64 = 0.52;
/// Height over width of a loop.
const LOOP: f64 = 0.62;
/// Height over width of a sensor's residuals.
const FLAT: f64 = 0.42;
/// A longer pause is a gap, s.
const GAP_S: f64 = 1.0;
/// Most points of a line over time; more would not be seen.
const MOST: usize = 200;

/// The climbs that the run has: articulation and inclination over time, with the moment when the other wheel lifts.
pub fn climbs(axle: &AxleAnalysis, units: Units) -> Vec<Plot> {
    let sides = ["left", "right"].into_iter().zip(&axle.ramp_travel_index);
    sides
        .filter(|(_, index)| !index.profile.is_empty())
        .map(|(side, index)| climb(axle, side, index, units))
        .collect()
}

fn climb(axle: &AxleAnalysis, side: &str, index: &RampIndex, units: Units) -> Plot {
    let angle = units.angle();
    let point = |t_s: f64, [value, u]: [f64; 2]| Point {
        x: t_s,
        y: value * angle.per_si,
        half: Some(HALF_95 * u * angle.per_si),
    };
    let profile = thinned(&index.profile);
    let articulation = profile.iter().filter_map(|p| Some(point(p.t_s, p.articulation_rad?)));
    let inclination = profile.iter().map(|p| point(p.t_s, p.inclination_rad));
    let mut lines = vec![
        Line { name: "articulation".into(), look: Look::First, pieces: parted(articulation) },
        Line { name: "inclination of the axle".into(), look: Look::Second, pieces: parted(inclination) },
    ];
    lines.retain(|l| !l.pieces.is_empty());
    let mut description = format!(
        "Articulation and inclination of the {} axle against time while the {side} wheel climbs the ramp and comes back, with 95 % intervals.",
        axle.name
    );
    match index.lift_t_s {
        Some(lift_s) => {
            let heights: Vec<f64> =
                lines.iter().flat_map(|l| l.pieces.iter().flatten()).map(|p| p.y).collect();
            let ends = [
                heights.iter().copied().fold(f64::INFINITY, f64::min),
                heights.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            ];
            let upwards = ends.map(|y| Point { x: lift_s, y, half: None }).to_vec();
            lines.push(Line {
                name: "the other wheel lifts".into(),
                look: Look::Moment,
                pieces: vec![upwards],
            });
            description += &format!(" The other wheel lifts at {} s.", number(lift_s, 1));
        }
        None => description += " The other wheel did not lift.",
    }
    Plot {
        slug: format!("{}-ramp-{side}", slug(&axle.name)),
        title: format!("{} wheel up the ramp", words::capital(side)),
        description,
        x: "time, s".into(),
        y: "angle, climbing wheel up is positive, °".into(),
        lines,
        rows: Vec::new(),
        aspect: LOW,
    }
}

/// Links while a load is held one way and the other, a plot for each load that the run turned round.
pub fn holds(axle: &AxleAnalysis, load_n: Option<f64>, units: Units) -> Vec<Plot> {
    axle.turned.iter().map(|turned| held(axle, turned, load_n, units)).collect()
}

fn held(axle: &AxleAnalysis, turned: &Turned, load_n: Option<f64>, units: Units) -> Plot {
    let length = units.length();
    let (what, ways) = match turned.load {
        Load::Rock => ("rocked forth and back", ["forward", "back"]),
        Load::Shove => ("shoved to the left and to the right", ["to the left", "to the right"]),
    };
    let line = |k: usize, look: Look| Line {
        name: format!("load held {}", ways[k]),
        look,
        pieces: turned.held_m[k]
            .iter()
            .zip(&turned.held_u_m[k])
            .enumerate()
            .map(|(row, (m, u))| {
                let half = Some(HALF_95 * u * length.per_si);
                vec![Point { x: m * length.per_si, y: row as f64, half }]
            })
            .collect(),
    };
    let jumped = |row: usize| {
        let (jump_m, u) = turned.of(row);
        length.with_u(jump_m, Some(u))
    };
    let names: Vec<String> = axle.links.iter().map(|l| words::capital(&l.name)).collect();
    let rows: Vec<String> =
        names.iter().enumerate().map(|(k, name)| format!("{name}: {}", jumped(k))).collect();
    let under = load_n.map_or_else(String::new, |n| format!(" by {}", units.force().set_to(n, 0)));
    let title = format!("Links while the axle is {what}{under}");
    Plot {
        slug: format!("{}-{}", slug(&axle.name), turned.load.word()),
        description: format!(
            "{title}: change of each link's apparent length since the still, with 95 % intervals. From one way to the other they change by: {}.",
            rows.join("; ")
        ),
        title,
        x: format!("change of length since the still,{}", length.unit),
        y: String::new(),
        lines: vec![line(0, Look::Up), line(1, Look::Down)],
        rows,
        aspect: LOOP,
    }
}

/// Two ways that an axle travels, by what they run over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Travel {
    Heave,
    Roll,
}

/// Every link's change of length over the travel, up and down apart: over articulation on a ramp, over heave in a bounce.
pub fn loops(axle: &AxleAnalysis, units: Units) -> Vec<Plot> {
    let over = |link| {
        [Travel::Roll, Travel::Heave].into_iter().filter_map(move |over| one_loop(axle, link, over, units))
    };
    axle.links.iter().flat_map(over).collect()
}

fn one_loop(axle: &AxleAnalysis, link: &LinkMeasured, over: Travel, units: Units) -> Option<Plot> {
    let length = units.length();
    let (across, word, name) = match over {
        Travel::Roll => {
            (units.angle(), "articulation", "articulation, left wheel up is positive, °".to_owned())
        }
        Travel::Heave => (length, "heave", format!("heave, bump is positive,{}", length.unit)),
    };
    let ways = [(Direction::Up, "going", Look::Up), (Direction::Down, "coming back", Look::Down)];
    let lines: Vec<Line> = ways
        .into_iter()
        .map(|(way, name, look)| Line {
            name: name.into(),
            look,
            pieces: vec![course(axle, link, over, way, across, length)],
        })
        .filter(|l| l.pieces.iter().any(|p| p.len() >= super::figures::LEAST_POINTS))
        .collect();
    let [going, back] = lines.as_slice() else { return None };
    let gap = widest_gap(going, back);
    Some(Plot {
        slug: format!("{}-{}-over-{word}", slug(&axle.name), slug(&link.name)),
        title: format!("{} over {word}", words::capital(&link.name)),
        description: format!(
            "Change of the apparent length of {} over {word}, going and coming back apart, with 95 % intervals. The two ways are at most {} apart.",
            link.name,
            length.set_to(gap / length.per_si, 2)
        ),
        x: name,
        y: format!("change of length,{}", length.unit),
        lines,
        rows: Vec::new(),
        aspect: LOOP,
    })
}

/// Means of a link's apparent change over stretches of the travel, one way.
fn course(
    axle: &AxleAnalysis,
    link: &LinkMeasured,
    over: Travel,
    way: Direction,
    across: Scale,
    length: Scale,
) -> Vec<Point> {
    /// Stretches that the travel is cut into.
    const STRETCHES: usize = 24;
    let travels = |p: &PosePoint| match over {
        Travel::Roll => matches!(p.phase, Phase::RampLeft | Phase::RampRight),
        Travel::Heave => p.phase == Phase::Bounce,
    };
    let state = |p: &PosePoint| if over == Travel::Roll { p.pose.roll_rad } else { p.pose.z_m };
    let seen = axle.path.iter().zip(link.apparent_m.iter().zip(&link.apparent_u_m));
    let all: Vec<(f64, f64, f64, Direction)> = seen
        .filter(|(p, _)| travels(p))
        .filter_map(|(p, (m, u))| Some((state(p), *m, *u, p.direction?)))
        .collect();
    let low = all.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let high = all.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let wide = (high - low).max(f64::MIN_POSITIVE) / STRETCHES as f64;
    let mut stretches = vec![Vec::new(); STRETCHES];
    for (x, m, u, direction) in all {
        let at = (((x - low) / wide) as usize).min(STRETCHES - 1);
        if direction == way
            && let Some(stretch) = stretches.get_mut(at)
        {
            stretch.push([x, m, u]);
        }
    }
    let mean = |of: &[[f64; 3]], k: usize| of.iter().map(|p| p[k]).sum::<f64>() / of.len() as f64;
    let full = stretches.iter().filter(|s| !s.is_empty());
    full.map(|s| Point {
        x: mean(s, 0) * across.per_si,
        y: mean(s, 1) * length.per_si,
        // What is not known of the rig is the same at every pose, so it does not average away.
        half: Some(HALF_95 * mean(s, 2) * length.per_si),
    })
    .collect()
}

/// How far two lines are apart at the most where both are, by straight lines between their points.
fn widest_gap(one: &Line, other: &Line) -> f64 {
    let points = |line: &Line| line.pieces.iter().flatten().copied().collect::<Vec<Point>>();
    let (one, other) = (points(one), points(other));
    let at = |x: f64| {
        let pair = other.windows(2).find(|w| w[0].x <= x && x <= w[1].x)?;
        let share = if pair[1].x > pair[0].x { (x - pair[0].x) / (pair[1].x - pair[0].x) } else { 0.0 };
        Some(pair[0].y + share * (pair[1].y - pair[0].y))
    };
    one.iter().filter_map(|p| Some((p.y - at(p.x)?).abs())).fold(0.0, f64::max)
}

/// What each sensor leaves over against time, with the band that its stated uncertainty allows; sensors that nothing checks
/// are left out.
pub fn residuals(axle: &AxleAnalysis, units: Units) -> Vec<Plot> {
    axle.residuals.iter().filter_map(|s| Some(left_over(axle, s, s.beyond()?, units))).collect()
}

fn left_over(axle: &AxleAnalysis, sensor: &SensorResiduals, beyond: f64, units: Units) -> Plot {
    let scale = match sensor.quantity {
        LeftOver::Length => units.length(),
        LeftOver::Angle => units.angle(),
        LeftOver::Acceleration => Scale { unit: " m/s²", per_si: 1.0 },
    };
    // Of a stretch the reading that strays most for its u stands for it, so that nothing is hidden.
    let stray = |p: &ResidualPoint| p.residual.abs() / p.u.max(f64::MIN_POSITIVE);
    let each = sensor.points.len().div_ceil(MOST).max(1);
    let most =
        sensor.points.chunks(each).filter_map(|c| c.iter().max_by(|a, b| stray(a).total_cmp(&stray(b))));
    let shown: Vec<&ResidualPoint> = most.collect();
    let at = |p: &ResidualPoint| Point { x: p.t_s, y: p.residual * scale.per_si, half: None };
    let allowed = shown.iter().map(|p| Point { x: p.t_s, y: 0.0, half: Some(HALF_95 * p.u * scale.per_si) });
    let mut lines = vec![
        Line { name: "allowed".into(), look: Look::Allowed, pieces: parted(allowed) },
        Line { name: "left over".into(), look: Look::First, pieces: parted(shown.iter().map(|p| at(p))) },
    ];
    let out: Vec<Point> = shown.iter().filter(|p| p.is_beyond()).map(|p| at(p)).collect();
    if !out.is_empty() {
        lines.push(Line {
            name: "beyond".into(),
            look: Look::Beyond,
            pieces: out.into_iter().map(|p| vec![p]).collect(),
        });
    }
    let share = percent(beyond);
    Plot {
        slug: format!("{}-residuals-{}", slug(&axle.name), slug(&sensor.name)),
        title: format!("{}: {share} % beyond", words::capital(&sensor.name)),
        description: format!(
            "What the readings of {} leave over against time. {share} % of {} instants lie beyond the band that is allowed in 95 %.",
            sensor.name,
            sensor.points.len()
        ),
        x: "time, s".into(),
        y: format!("read less expected,{}", scale.unit),
        lines,
        rows: Vec::new(),
        aspect: FLAT,
    }
}

/// A share for people: whole, and never nothing where there is something.
pub fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.01 { "under 1".into() } else { number(100.0 * share, 0) }
}

/// Every so manyth, [`MOST`] at the most.
fn thinned<T: Copy>(all: &[T]) -> Vec<T> {
    all.iter().step_by(all.len().div_ceil(MOST).max(1)).copied().collect()
}

/// Points over time, parted where there is a gap.
fn parted(points: impl Iterator<Item = Point>) -> Vec<Vec<Point>> {
    let points: Vec<Point> = points.collect();
    let mut steps: Vec<f64> = points.windows(2).map(|w| w[1].x - w[0].x).collect();
    steps.sort_by(f64::total_cmp);
    let usual = steps.get(steps.len() / 2).copied().unwrap_or(0.0);
    points.chunk_by(|a, b| b.x - a.x < GAP_S.max(3.0 * usual)).map(<[Point]>::to_vec).collect()
}
