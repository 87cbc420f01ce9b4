//! What a recording has shown so far, thinned so that it never grows beyond a few megabytes: enough to judge live how well
//! things are resolved. The run itself keeps every byte.

use crate::rig::Rig;
use crate::run::channels::Target;
use crate::run::{Phase, PhaseSpan, Recording, Series, Timing};
use std::collections::VecDeque;

/// Readings of a channel that are kept a second.
const RATE_HZ: f64 = 25.0;
/// Readings of a channel that are kept at the most: eleven minutes of all of them; of longer tests every second one goes.
const MOST: usize = 1 << 14;
/// Latest readings of a channel that are kept beside those: more than a second of them.
const RECENT: usize = 32;
/// Time that is put between what came before a restart of the logger and what comes after, s.
const RESTART_S: f64 = 1.0;

/// One channel's part of the trail.
#[derive(Debug, Clone)]
struct Kept {
    series: Series,
    step_s: f64,
    /// The latest readings, however long the test is.
    recent: VecDeque<(f64, f64)>,
}

/// Thinned readings of every channel of a rig.
#[derive(Debug, Clone)]
pub struct Trail {
    channels: Vec<Vec<Kept>>,
    first_us: Option<u64>,
    /// Where the present boot's first reading stands, s.
    base_s: f64,
    end_s: f64,
}

impl Trail {
    /// Nothing yet.
    pub fn new(rig: &Rig) -> Self {
        let empty = Kept { series: Series::default(), step_s: 1.0 / RATE_HZ, recent: VecDeque::new() };
        Self {
            channels: rig.sensors.iter().map(|s| vec![empty.clone(); s.channel_suffixes().len()]).collect(),
            first_us: None,
            base_s: 0.0,
            end_s: 0.0,
        }
    }

    /// Time of the latest reading, s since the first.
    pub fn end_s(&self) -> f64 {
        self.end_s
    }

    /// The logger restarted: its clock begins anew.
    pub(super) fn restarted(&mut self) {
        self.first_us = None;
        self.base_s = self.end_s + RESTART_S;
    }

    /// Takes a reading, SI, at a device time.
    pub fn take(&mut self, target: Target, time_us: u64, value: f64) {
        let first_us = *self.first_us.get_or_insert(time_us);
        let t_s = self.base_s + time_us.saturating_sub(first_us) as f64 * 1e-6;
        self.end_s = self.end_s.max(t_s);
        let Some(kept) = self.channels.get_mut(target.sensor).and_then(|s| s.get_mut(target.channel)) else {
            return;
        };
        // A reading that is due comes a little early as often as late.
        let due = |last: Option<f64>, step_s: f64| last.is_none_or(|last| t_s >= last + 0.9 * step_s);
        if due(kept.recent.back().map(|(t, _)| *t), 1.0 / RATE_HZ) {
            kept.recent.push_back((t_s, value));
            if kept.recent.len() > RECENT {
                kept.recent.pop_front();
            }
        }
        if !due(kept.series.t_s.last().copied(), kept.step_s) {
            return;
        }
        kept.series.t_s.push(t_s);
        kept.series.value.push(value);
        if kept.series.t_s.len() > MOST {
            for values in [&mut kept.series.t_s, &mut kept.series.value] {
                let mut place = 0;
                values.retain(|_| {
                    place += 1;
                    place % 2 == 1
                });
            }
            kept.step_s *= 2.0;
        }
    }

    /// The trail as a recording with these phases, times as here.
    pub fn recording(&self, rig: &Rig, phases: &[PhaseSpan]) -> Recording {
        let mut recording = Recording::empty(rig);
        recording.timing = Timing::Own;
        recording.phases = phases.to_vec();
        recording.series =
            self.channels.iter().map(|all| all.iter().map(|kept| kept.series.clone()).collect()).collect();
        recording.counts.received = recording.series.iter().flatten().map(|s| s.t_s.len() as u64).sum();
        recording
    }

    /// The last `seconds` of the readings, at most a second, whatever the phase.
    pub fn latest(&self, rig: &Rig, phase: Phase, seconds: f64) -> Recording {
        let from_s = self.end_s - seconds;
        let mut recording = Recording::empty(rig);
        recording.phases = vec![PhaseSpan { phase, from_s, to_s: self.end_s }];
        for (all, out) in self.channels.iter().zip(&mut recording.series) {
            for (kept, series) in all.iter().zip(out) {
                (series.t_s, series.value) =
                    kept.recent.iter().copied().filter(|(t_s, _)| *t_s >= from_s).unzip();
            }
        }
        recording
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::test_rig::two_wires;

    #[test]
    fn eight_hours_leave_no_more_than_ten_minutes_do() {
        let rig = two_wires();
        let mut trail = Trail::new(&rig);
        let target = Target { sensor: 1, channel: 0 };
        for k in 0..8 * 3600 * 200_u64 {
            trail.take(target, 5_000_000 + k * 5_000, k as f64);
        }
        let series = &trail.recording(&rig, &[]).series[1][0];
        assert!((MOST / 2..=MOST).contains(&series.t_s.len()), "{}", series.t_s.len());
        assert!((trail.end_s() - 8.0 * 3600.0).abs() < 0.1);
        // What is kept is what was read, in order, over the whole time.
        assert!(series.t_s.windows(2).all(|w| w[1] > w[0]) && series.t_s[0] == 0.0);
        assert!(series.t_s.iter().zip(&series.value).all(|(t, v)| (t * 200.0 - v).abs() < 1e-6));
        assert!(trail.end_s() - series.t_s[series.t_s.len() - 1] < 10.0);
        // Where things are now is seen as finely as at the start.
        let latest = &trail.latest(&rig, Phase::Bounce, 0.45).series[1][0];
        assert!(latest.t_s.len() >= 10 && latest.t_s.windows(2).all(|w| w[1] - w[0] < 0.05), "{latest:?}");
    }

    #[test]
    fn times_go_on_over_a_restart() {
        let rig = two_wires();
        let mut trail = Trail::new(&rig);
        let target = Target { sensor: 0, channel: 0 };
        trail.take(target, 9_000_000, 1.0);
        trail.take(target, 9_500_000, 2.0);
        trail.restarted();
        trail.take(target, 1_000, 3.0);
        let latest = trail.latest(&rig, Phase::Bounce, 1.2);
        assert_eq!((latest.series[0][0].t_s.as_slice(), trail.end_s()), (&[0.5, 1.5][..], 1.5));
    }
}
