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
        let line = line.trim();
        match line.split_once(' ').map_or((line, ""), |(word, rest)| (word, rest.trim())) {
            ("", _) => Some(Command::Next),
            ("p", _) => Some(Command::Pause),
            ("l", _) => Some(Command::Lift),
            ("q", _) => Some(Command::Stop),
            ("n", note) if !note.is_empty() => Some(Command::Note(note.to_owned())),
            _ => Some(Command::Note(line.to_owned())),
        }
    }
}
