//! What the person types while something runs: whole lines on standard input, and Ctrl-C.

use crate::jobs::record::Command;
use std::io::BufRead;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};

/// Lines as they come.
pub struct Keys {
    lines: Receiver<String>,
    interrupted: Arc<AtomicBool>,
}

impl Keys {
    /// Starts to listen. The thread that waits for lines ends with the program.
    pub fn listen() -> Self {
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines() {
                let Ok(line) = line else { break };
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        let interrupted = Arc::new(AtomicBool::new(false));
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
            // Without the handler the signal ends the program at once, which loses nothing that was recorded.
            let _ = signal_hook::flag::register(signal, interrupted.clone());
        }
        Self { lines, interrupted }
    }

    /// Whether the program was told to end.
    pub fn interrupted(&self) -> bool {
        self.interrupted.load(Ordering::Relaxed)
    }

    /// What was asked for since the last call.
    pub fn pressed(&mut self) -> Option<Command> {
        if self.interrupted() {
            return Some(Command::Stop);
        }
        let line = self.lines.try_recv().ok()?;
        Some(meant(&line))
    }
}

/// The keys of a recording, as people are told of them.
pub const KEYS: &str = "Keys, each with Enter: p pauses, l marks that a wheel lifts, n TEXT notes something, q stops; Enter alone \
goes on to the next phase.";

/// Whether a remark looks like keys that were pressed without Enter in between: "ppln wheel rubs", or `n` without a text.
pub fn looks_like_keys(remark: &str) -> bool {
    remark.split(' ').next().is_some_and(|word| !word.is_empty() && word.chars().all(|c| "plnq".contains(c)))
}

/// What a line asks for. Whatever is no key is kept as a remark: nothing that a person typed is lost.
fn meant(line: &str) -> Command {
    let line = line.trim();
    match line.split_once(' ').map_or((line, ""), |(word, rest)| (word, rest.trim())) {
        ("", _) => Command::Next,
        ("p", "") => Command::Pause,
        ("l", "") => Command::Lift,
        ("q", "") => Command::Stop,
        ("n", note) if !note.is_empty() => Command::Note(note.to_owned()),
        _ => Command::Note(line.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_a_key_or_a_remark_and_never_half_of_each() {
        assert_eq!((meant(""), meant(" p "), meant("q")), (Command::Next, Command::Pause, Command::Stop));
        assert_eq!(meant("n  wheel rubs"), Command::Note("wheel rubs".into()));
        for line in ["ppln wheel rubs", "q is what I typed", "l left one", "n", "pl"] {
            assert_eq!(meant(line), Command::Note(line.into()));
            assert!(looks_like_keys(line), "{line}");
        }
        for line in ["wheel rubs", "pin bent", "left one"] {
            assert!(!looks_like_keys(line), "{line}");
        }
    }
}
