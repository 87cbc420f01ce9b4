//! The table of readings: every one at its own time.

use super::columns::{Batch, Column};
use super::file::{ROWS_AT_ONCE, TableFile, TableFileError};
use crate::rig::{Kind, Rig, Sensor};
use crate::run::{PhaseSpan, Recording};
use crate::vehicle::Vehicle;

/// Columns of the readings. `component` is `ax` … `gz` of an inertial unit, else none; units are written as UCUM does.
pub const COLUMNS: &[Column] = &[
    Column::number("t_s"),
    Column::text("sensor"),
    Column::text("component").or_none(),
    Column::text("axle"),
    Column::text("phase").or_none(),
    Column::number("value"),
    Column::text("unit"),
];

/// Writes every reading, sensor by sensor in order of time; how many there were.
///
/// # Errors
/// Where the disk does not take them.
pub fn write(
    files: &mut [TableFile],
    vehicle: &Vehicle,
    rig: &Rig,
    recording: &Recording,
) -> Result<u64, TableFileError> {
    let mut batch = Batch::new(COLUMNS);
    let mut count = 0;
    for (sensor, channels) in rig.sensors.iter().zip(&recording.series) {
        let axle = vehicle.axles.get(sensor.axle).map_or("", |axle| axle.name.as_str());
        for (component, series) in sensor.channel_suffixes().iter().zip(channels) {
            let mut phases = Phases::of(recording);
            for (t_s, value) in series.t_s.iter().zip(&series.value) {
                batch.push([
                    (*t_s).into(),
                    sensor.name.as_str().into(),
                    (!component.is_empty()).then_some(*component).into(),
                    axle.into(),
                    phases.at(*t_s).into(),
                    (*value).into(),
                    unit(sensor, component).into(),
                ]);
                if batch.rows() == ROWS_AT_ONCE {
                    flush(files, &mut batch)?;
                }
            }
            count += series.t_s.len() as u64;
        }
    }
    flush(files, &mut batch)?;
    Ok(count)
}

fn flush(files: &mut [TableFile], batch: &mut Batch<'_>) -> Result<(), TableFileError> {
    files.iter_mut().try_for_each(|file| file.write(batch))?;
    batch.clear();
    Ok(())
}

fn unit(sensor: &Sensor, component: &str) -> &'static str {
    match sensor.kind {
        Kind::DrawWire(_) | Kind::Range(_) => "m",
        Kind::Angle(_) => "rad",
        Kind::Force(_) => "N",
        Kind::Inertial(_) if component.starts_with('a') => "m/s2",
        Kind::Inertial(_) => "rad/s",
    }
}

/// The phases of a run, asked for at times that rise.
struct Phases<'a> {
    left: &'a [PhaseSpan],
}

impl<'a> Phases<'a> {
    fn of(recording: &'a Recording) -> Self {
        Self { left: &recording.phases }
    }

    /// The words of the phase that `t_s` lies in.
    fn at(&mut self, t_s: f64) -> Option<&'static str> {
        while let [first, rest @ ..] = self.left
            && first.to_s < t_s
        {
            self.left = rest;
        }
        self.left.first().filter(|span| span.from_s <= t_s).map(|span| span.phase.words())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::Phase;

    #[test]
    fn each_time_has_the_phase_that_it_lies_in() {
        let span = |phase, from_s, to_s| PhaseSpan { phase, from_s, to_s };
        let spans =
            [span(Phase::Still, 1.0, 2.0), span(Phase::Bounce, 2.5, 3.0), span(Phase::Bounce, 3.0, 4.0)];
        let mut phases = Phases { left: &spans };
        let found = [0.0, 1.0, 2.0, 2.2, 2.5, 3.5, 4.0, 4.1].map(|t| phases.at(t).unwrap_or("-"));
        assert_eq!(found, ["-", "still", "still", "-", "bounce", "bounce", "bounce", "-"]);
    }
}
