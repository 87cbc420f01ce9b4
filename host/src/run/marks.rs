//! What people and the recorder note while a run records: one JSON object per line, appended only.

use super::{Phase, PhaseSpan};
use serde::{Deserialize, Serialize};

/// An instant on both clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Instant {
    /// Which boot of the logger its time counts from.
    pub boot: u32,
    /// Device time, µs since that boot.
    pub device_us: u64,
    /// Host time, µs since the recording began.
    pub host_us: u64,
}

/// One line of the marks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "mark", rename_all = "kebab-case")]
pub enum Mark {
    /// A phase begins, and the one before ends.
    Phase {
        /// When.
        at: Instant,
        /// Which.
        phase: Phase,
    },
    /// The phase ends; nothing that counts happens until the next begins.
    Pause {
        /// When.
        at: Instant,
    },
    /// A wheel has just lifted, seen by a person.
    Lift {
        /// When.
        at: Instant,
    },
    /// A person's remark.
    Note {
        /// When.
        at: Instant,
        /// Its words.
        text: String,
    },
    /// Nothing could be received.
    Gap {
        /// From, host time, µs.
        from_host_us: u64,
        /// To, host time, µs.
        to_host_us: u64,
    },
    /// The recording ended.
    End {
        /// When.
        at: Instant,
        /// Why, as a part of a sentence.
        why: String,
    },
    /// The run is closed: how many bytes of readings it has, and their BLAKE3, hex.
    Seal {
        /// Bytes of `wire.bin`.
        wire_bytes: u64,
        /// Their hash.
        wire_hash: String,
    },
}

impl Mark {
    fn at(&self) -> Option<Instant> {
        match self {
            Mark::Phase { at, .. } | Mark::Pause { at } | Mark::Lift { at } => Some(*at),
            Mark::Note { at, .. } | Mark::End { at, .. } => Some(*at),
            Mark::Gap { .. } | Mark::Seal { .. } => None,
        }
    }

    /// Its line in the file.
    pub fn line(&self) -> String {
        serde_json::to_string(self).map(|text| text + "\n").unwrap_or_default()
    }
}

/// Marks from a file's bytes, and how many lines made no sense: a crash may have cut the last one.
pub fn parse(bytes: &[u8]) -> (Vec<Mark>, usize) {
    let mut bad = 0;
    let marks = bytes
        .split(|b| *b == b'\n')
        .filter(|line| !line.is_empty())
        .filter_map(|line| serde_json::from_slice(line).inspect_err(|_| bad += 1).ok())
        .collect();
    (marks, bad)
}

/// Spans of phases from marks. `place` gives an instant's time in the recording, s; the last phase runs to `end_s`.
pub fn spans(marks: &[Mark], end_s: f64, place: impl Fn(Instant) -> f64) -> Vec<PhaseSpan> {
    let mut spans: Vec<PhaseSpan> = Vec::new();
    let mut open: Option<(Phase, f64)> = None;
    let mut close = |open: Option<(Phase, f64)>, to_s: f64| {
        if let Some((phase, from_s)) = open
            && to_s > from_s
        {
            spans.push(PhaseSpan { phase, from_s, to_s });
        }
    };
    for mark in marks {
        let Some(at) = mark.at() else { continue };
        match mark {
            Mark::Phase { phase, .. } => {
                close(open, place(at));
                open = Some((*phase, place(at)));
            }
            Mark::Pause { .. } | Mark::End { .. } => {
                close(open, place(at));
                open = None;
            }
            Mark::Lift { .. } | Mark::Note { .. } | Mark::Gap { .. } | Mark::Seal { .. } => {}
        }
    }
    close(open, end_s);
    spans
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: u64) -> Instant {
        Instant { boot: 3, device_us: seconds * 1_000_000, host_us: seconds * 1_000_000 + 7 }
    }

    fn some() -> Vec<Mark> {
        vec![
            Mark::Phase { at: at(1), phase: Phase::Still },
            Mark::Phase { at: at(5), phase: Phase::RampLeft },
            Mark::Lift { at: at(8) },
            Mark::Pause { at: at(9) },
            Mark::Note { at: at(10), text: "tyre\nrubs".into() },
            Mark::Gap { from_host_us: 10, to_host_us: 20 },
            Mark::Phase { at: at(12), phase: Phase::RampRight },
            Mark::Seal { wire_bytes: 7, wire_hash: "ab".into() },
        ]
    }

    #[test]
    fn marks_come_back_from_a_file_cut_at_any_byte() {
        let bytes: Vec<u8> = some().iter().flat_map(|m| m.line().into_bytes()).collect();
        for cut in 0..=bytes.len() {
            let (marks, bad) = parse(&bytes[..cut]);
            assert_eq!(marks, some()[..marks.len()]);
            let whole_lines = bytes[..cut].iter().filter(|b| **b == b'\n').count();
            assert!(marks.len() >= whole_lines && bad <= 1, "cut at {cut}");
        }
    }

    #[test]
    fn phases_last_until_the_next_mark_that_ends_them() {
        let spans = spans(&some(), 20.0, |at| at.device_us as f64 * 1e-6);
        let told: Vec<_> = spans.iter().map(|s| (s.phase.words(), s.from_s, s.to_s)).collect();
        assert_eq!(told, [("still", 1.0, 5.0), ("ramp left", 5.0, 9.0), ("ramp right", 12.0, 20.0)]);
    }
}
