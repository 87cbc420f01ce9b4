//! Which plots a result makes: motion over time, flex steer, the path of the instant centre, every number along the travel.

use super::{Line, Look, Plot, Point};
use crate::judge::DesignedPoint;
use crate::measure::{AlongPoint, AxleAnalysis, Measured};
use crate::show::Units;
use crate::show::rows;
use crate::show::sweeps::Sweeps;
use crate::show::units::{HALF_95, Scale};
use crate::vehicle::Vehicle;
use crate::vehicle::numbers::Key;

/// Height over width of a plot along the travel.
pub(super) const ASPECT: f64 = 0.72;
/// Height over width of a plot over time.
const LOW: f64 = 0.52;
/// Most poses that a plot over time shows per line; more would not be seen.
const POSES: usize = 400;

/// The two ways of a sweep with their looks.
const WAYS: [(&str, Look); 2] = [("measured up", Look::Up), ("measured down", Look::Down)];

/// What a sweep runs over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Over {
    /// Heave.
    Heave,
    /// Articulation.
    Roll,
}

/// What the plots of one axle are made from.
struct Source<'a> {
    axle: &'a AxleAnalysis,
    designed: &'a [Option<DesignedPoint>],
    sweeps: Sweeps,
    units: Units,
    name: String,
}

/// Points that a measured line needs to be worth a plot: fewer say nothing of how a number runs.
pub(super) const LEAST_POINTS: usize = 4;

/// The plots of an axle.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curves {
    /// Those that show something.
    pub plots: Vec<Plot>,
    /// Titles of those with too few measured points.
    pub left_out: Vec<String>,
}

/// Every plot of an axle; `designed` is empty where there is no design beside it.
pub fn of_axle(
    axle: &AxleAnalysis,
    designed: &[Option<DesignedPoint>],
    vehicle: &Vehicle,
    units: Units,
) -> Curves {
    let sweeps = Sweeps::of(&axle.along);
    let name = super::slug(&axle.name);
    let source = Source { axle, designed, sweeps, units, name };
    let track_m = vehicle.axles.get(axle.index).map_or(0.0, |a| a.track_m);
    // What nothing sees stands at zero in the poses, and is no measurement.
    let [heave, roll] = [2, 3].map(|coordinate| axle.seen[coordinate]);
    let mut plots = Vec::new();
    plots.extend((heave && roll).then(|| source.travel(track_m)));
    plots.extend(roll.then(|| source.articulation()));
    plots.push(source.flex_steer());
    plots.extend(source.centre_path());
    for key in Key::ALL {
        for over in [Over::Heave, Over::Roll] {
            plots.extend(source.along(key, over));
        }
    }
    plots.retain(|p| measured_points(p) > 0);
    let (plots, sparse): (Vec<Plot>, Vec<Plot>) =
        plots.into_iter().partition(|p| measured_points(p) >= LEAST_POINTS);
    Curves { plots, left_out: sparse.into_iter().map(|p| p.title).collect() }
}

/// Points of the longest line that is not drawn.
fn measured_points(plot: &Plot) -> usize {
    let measured = plot.lines.iter().filter(|l| l.look != Look::Drawn);
    measured.map(|l| l.pieces.iter().map(Vec::len).sum()).max().unwrap_or(0)
}

impl Source<'_> {
    /// Wheel travel over time.
    fn travel(&self, track_m: f64) -> Plot {
        let length = self.units.length();
        let wheel = |side: usize, name: &str, look: Look| {
            self.over_time(name, look, |p| p.pose.wheel_travel_m(track_m)[side] * length.per_si)
        };
        Plot {
            slug: format!("{}-wheel-travel", self.name),
            title: "Wheel travel over the run".into(),
            description: "Travel of the left and the right wheel against time.".into(),
            x: "time, s".into(),
            y: format!("wheel travel, up is bump,{}", length.unit),
            lines: vec![wheel(0, "left wheel", Look::First), wheel(1, "right wheel", Look::Second)],
            rows: Vec::new(),
            aspect: LOW,
        }
    }

    /// Articulation over time.
    fn articulation(&self) -> Plot {
        let angle = self.units.angle();
        Plot {
            slug: format!("{}-articulation", self.name),
            title: "Articulation over the run".into(),
            description: "Articulation of the axle against time, positive with the left wheel up.".into(),
            x: "time, s".into(),
            y: "articulation, left wheel up is positive, °".into(),
            lines: vec![self.over_time("articulation", Look::First, |p| p.pose.roll_rad * angle.per_si)],
            rows: Vec::new(),
            aspect: LOW,
        }
    }

    fn over_time(&self, name: &str, look: Look, value: impl Fn(&crate::measure::PosePoint) -> f64) -> Line {
        /// A longer pause between poses is a gap, s.
        const GAP_S: f64 = 1.0;
        let every = self.axle.path.len().div_ceil(POSES).max(1);
        let mut pieces: Vec<Vec<Point>> = Vec::new();
        let mut last_s = f64::NEG_INFINITY;
        for pose in self.axle.path.iter().step_by(every) {
            let point = Point { x: pose.t_s, y: value(pose), half: None };
            let near = pose.t_s - last_s < GAP_S.max(3.0 * every as f64 * self.step_s());
            match pieces.last_mut() {
                Some(piece) if near => piece.push(point),
                _ => pieces.push(vec![point]),
            }
            last_s = pose.t_s;
        }
        Line { name: name.into(), look, pieces }
    }

    /// Median time between poses, s.
    fn step_s(&self) -> f64 {
        let mut steps: Vec<f64> = self.axle.path.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
        steps.sort_by(f64::total_cmp);
        steps.get(steps.len() / 2).copied().unwrap_or(0.0)
    }

    /// Steer of the axle over articulation.
    fn flex_steer(&self) -> Plot {
        let angle = self.units.angle();
        let lines =
            self.lines(Over::Roll, angle, |p| p.axle_steer_rad.clone(), |d| Some(d.pose.axle_steer_rad()));
        Plot {
            slug: format!("{}-flex-steer", self.name),
            title: "Flex steer".into(),
            description: told("Steer of the axle over articulation", &lines, angle),
            x: Over::Roll.axis(self.units),
            y: "steer of the axle, left is positive, °".into(),
            lines,
            rows: Vec::new(),
            aspect: ASPECT,
        }
    }

    /// A number along the travel.
    fn along(&self, key: Key, over: Over) -> Option<Plot> {
        let scale = self.units.of(key);
        let none = || Measured::without(crate::measure::Status::NotMeasured, "not asked");
        let lines = self.lines(
            over,
            scale,
            |p| p.numbers.get(&key).cloned().unwrap_or_else(none),
            |d| d.numbers.get(key),
        );
        lines.iter().any(|l| l.look != Look::Drawn).then(|| {
            let label = rows::label(key);
            let title = format!("{} over {}", crate::show::words::capital(label), over.word());
            Plot {
                slug: format!("{}-{}-over-{}", self.name, key.as_str().replace('_', "-"), over.word()),
                description: told(&title, &lines, scale),
                title,
                x: over.axis(self.units),
                y: with_unit(label, scale),
                lines,
                rows: Vec::new(),
                aspect: ASPECT,
            }
        })
    }

    /// Where the side-view instant centre goes while the axle moves up and down.
    fn centre_path(&self) -> Option<Plot> {
        let length = self.units.length();
        let keys = [Key::SideViewInstantCentreX, Key::SideViewInstantCentreZ];
        let measured = |k: usize| -> Option<Point> {
            let numbers = &self.axle.along.get(k)?.numbers;
            let [x, z] = keys.map(|key| numbers.get(&key).and_then(Measured::measured));
            Some(Point { x: x?.0 * length.per_si, y: z?.0 * length.per_si, half: None })
        };
        let designed = |k: usize| -> Option<Point> {
            let numbers = &self.designed.get(k)?.as_ref()?.numbers;
            let [x, z] = keys.map(|key| numbers.get(key));
            Some(Point { x: x? * length.per_si, y: z? * length.per_si, half: None })
        };
        let path = |places: &[usize], at: &dyn Fn(usize) -> Option<Point>| -> Vec<Vec<Point>> {
            pieces(places.iter().map(|k| at(*k)))
        };
        let mut lines = vec![Line {
            name: "drawn".into(),
            look: Look::Drawn,
            pieces: path(&self.sweeps.heave[0], &designed),
        }];
        for ((name, look), places) in WAYS.into_iter().zip(&self.sweeps.heave) {
            lines.push(Line { name: name.into(), look, pieces: path(places, &measured) });
        }
        lines.retain(|l| !l.pieces.is_empty());
        lines.iter().any(|l| l.look != Look::Drawn)
            .then(|| Plot {
                slug: format!("{}-instant-centre-path", self.name),
                title: "Path of the side-view instant centre".into(),
                description: format!(
                    "Where the side-view instant centre goes from {} of droop to bump, its distance ahead of the axle to the right and its height upwards.",
                    words_of_range(self.axle, self.units)
                ),
                x: format!("ahead of the axle at ride height,{}", length.unit),
                y: format!("height above the floor,{}", length.unit),
                lines,
                rows: Vec::new(),
                aspect: ASPECT,
            })
    }

    /// Drawn, up and down over a sweep; lines without points are left out.
    fn lines(
        &self,
        over: Over,
        scale: Scale,
        measured: impl Fn(&AlongPoint) -> Measured,
        designed: impl Fn(&DesignedPoint) -> Option<f64>,
    ) -> Vec<Line> {
        let sweeps = match over {
            Over::Heave => &self.sweeps.heave,
            Over::Roll => &self.sweeps.roll,
        };
        let x = |heave_m: f64, roll_rad: f64| match over {
            Over::Heave => heave_m * self.units.length().per_si,
            Over::Roll => roll_rad * self.units.angle().per_si,
        };
        let drawn = sweeps[0].iter().map(|k| {
            let point = self.designed.get(*k)?.as_ref()?;
            let y = designed(point)? * scale.per_si;
            Some(Point { x: x(point.heave_m, point.roll_rad), y, half: None })
        });
        let mut lines = vec![Line { name: "drawn".into(), look: Look::Drawn, pieces: pieces(drawn) }];
        for ((name, look), places) in WAYS.into_iter().zip(sweeps) {
            let points = places.iter().map(|k| {
                let point = self.axle.along.get(*k)?;
                let (value, u) = measured(point).measured()?;
                let half = Some(HALF_95 * u * scale.per_si);
                Some(Point { x: x(point.heave_m, point.roll_rad), y: value * scale.per_si, half })
            });
            lines.push(Line { name: name.into(), look, pieces: pieces(points) });
        }
        lines.retain(|l| !l.pieces.is_empty());
        lines
    }
}

/// What a person who cannot see the plot should know: each line's ends.
pub(super) fn told(what: &str, lines: &[Line], scale: Scale) -> String {
    let mut text = format!("{what}.");
    for line in lines {
        let points = || line.pieces.iter().flatten();
        if let (Some(first), Some(last)) = (points().next(), points().last()) {
            let show = |v: f64| scale.set_to(v / scale.per_si, 2);
            text += &format!(
                " {}: from {} at the left to {} at the right.",
                crate::show::words::capital(&line.name),
                show(first.y),
                show(last.y)
            );
        }
    }
    if lines.iter().flat_map(|l| l.pieces.iter().flatten()).any(|p| p.half.is_some()) {
        text += " Bands are 95 % intervals.";
    }
    text
}

/// What runs up, with its unit.
pub(super) fn with_unit(label: &str, scale: Scale) -> String {
    format!("{label},{}{}", if scale.unit.starts_with(' ') { "" } else { " " }, scale.unit)
}

impl Over {
    pub fn word(self) -> &'static str {
        match self {
            Over::Heave => "heave",
            Over::Roll => "articulation",
        }
    }

    pub fn axis(self, units: Units) -> String {
        match self {
            Over::Heave => format!("heave, bump is positive,{}", units.length().unit),
            Over::Roll => "articulation, left wheel up is positive, °".into(),
        }
    }
}

/// Consecutive points; a state without one parts them.
pub(super) fn pieces(points: impl Iterator<Item = Option<Point>>) -> Vec<Vec<Point>> {
    let mut pieces: Vec<Vec<Point>> = vec![Vec::new()];
    for point in points {
        match point {
            Some(point) => {
                if let Some(last) = pieces.last_mut() {
                    last.push(point);
                }
            }
            None => pieces.push(Vec::new()),
        }
    }
    pieces.retain(|p| !p.is_empty());
    pieces
}

fn words_of_range(axle: &AxleAnalysis, units: Units) -> String {
    let decimals = if units == Units::Mm { 0 } else { 1 };
    units.length().set_to(-axle.travel.heave_m[0], decimals)
}
