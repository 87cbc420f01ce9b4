//! Tells the person, or the program, who watches a recording what is new.

use super::keys::{KEYS, looks_like_keys};
use super::output::Screen;
use crate::jobs::cautions::instruction;
use crate::jobs::record::guide::{AxleNow, AxleResolved};
use crate::jobs::record::{Command, Progress};
use crate::run::Phase;
use crate::show::{Units, json, text};
use std::time::{Duration, Instant};

/// How often a block of progress is drawn on a terminal.
const REDRAW: Duration = Duration::from_millis(250);
/// How often a line is written for a program.
const FOR_PROGRAMS: Duration = Duration::from_secs(1);
/// How often a line is written where there is no terminal.
const PLAIN: Duration = Duration::from_secs(10);

/// How to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    /// A block of lines in place of the last.
    Terminal,
    /// A line now and then.
    Lines,
    /// JSON, a line for each thing.
    Json,
}

/// What the guide says beside the progress.
#[derive(Debug, Clone, Default)]
pub struct View {
    /// Where the axles are now.
    pub now: Vec<AxleNow>,
    /// How well things are resolved so far.
    pub resolved: Vec<AxleResolved>,
    /// Whether that is news.
    pub news: bool,
}

/// Tells the person what to do when that changes, and where the recording is.
pub struct Teller<'a> {
    screen: &'a Screen,
    manner: Manner,
    units: Units,
    told: Option<Option<Phase>>,
    drawn: Option<Instant>,
    linked: bool,
    paused: bool,
    stopping: bool,
}

impl<'a> Teller<'a> {
    /// Nothing told yet; with `json` for a program.
    pub fn new(screen: &'a Screen, units: Units, json: bool) -> Self {
        let manner = match (json, screen.draws()) {
            (true, _) => Manner::Json,
            (false, true) => Manner::Terminal,
            (false, false) => Manner::Lines,
        };
        Self { screen, manner, units, told: None, drawn: None, linked: true, paused: false, stopping: false }
    }

    /// Tells what is new.
    pub fn tell(&mut self, progress: &Progress<'_>, view: &View) {
        if progress.linked != self.linked {
            self.linked = progress.linked;
            self.say(if self.linked {
                "The logger is back."
            } else {
                "The logger is gone: check the cable. Waiting for it; what was recorded is kept."
            });
        }
        if progress.elapsed_s.is_some() && self.told != Some(progress.phase) {
            self.told = Some(progress.phase);
            if let Some(phase) = progress.phase {
                self.paused = false;
                let next = progress.next.map_or("Enter ends the test.".to_owned(), |n| {
                    format!("Enter goes on to: {}.", n.words())
                });
                self.say(&format!("\n{}: {} {next}", phase.words(), instruction(phase, progress.rig)));
            }
        }
        let every = match self.manner {
            Manner::Terminal => REDRAW,
            Manner::Lines => PLAIN,
            Manner::Json => FOR_PROGRAMS,
        };
        let due = self.drawn.is_none_or(|drawn| drawn.elapsed() >= every);
        if due {
            self.drawn = Some(Instant::now());
            self.draw(progress, view);
        }
        if view.news && self.manner == Manner::Json {
            // A reader that went away is no reason to stop recording.
            let _ = self.screen.print(&json::resolved(&view.resolved));
        }
    }

    fn draw(&self, progress: &Progress<'_>, view: &View) {
        let columns = self.screen.size().0.saturating_sub(1);
        let mut lines = vec![text::recording(progress)];
        lines.extend(text::now(&view.now, self.units));
        match self.manner {
            Manner::Json => {
                let _ = self.screen.print(&json::progress(progress, &view.now));
            }
            Manner::Lines if progress.elapsed_s.is_some() => {
                lines.extend(text::resolved(&view.resolved, self.units, columns));
                self.screen.tell(&lines.join("\n"));
            }
            Manner::Lines => {}
            Manner::Terminal => {
                lines.push("p pauses, l: wheel lifts, n TEXT notes, q stops, each with Enter".to_owned());
                lines.extend(text::resolved(&view.resolved, self.units, columns));
                self.screen.redraw_block(&lines);
            }
        }
    }

    /// Says what a key did.
    pub fn heard(&mut self, command: &Command, progress: &Progress<'_>) {
        if !self.stopping {
            self.screen.typed();
        }
        let at = progress
            .elapsed_s
            .map_or(String::new(), |_| format!(" at {:.0} s", progress.live.trail().end_s()));
        let begins = progress.next.map_or("ends the test".to_owned(), |n| format!("begins: {}", n.words()));
        match command {
            Command::Next => {}
            Command::Pause if progress.phase.is_none() && self.paused => {
                self.say(&format!("It is paused already. Enter {begins}."));
            }
            Command::Pause => {
                self.paused = true;
                self.say(&format!("Paused{at}: what moves now does not count. Enter {begins}."));
            }
            Command::Lift => self.say(&format!("Marked{at}: a wheel lifts.")),
            Command::Note(text) if looks_like_keys(text) => self.say(&format!(
                "Noted{at}, as a remark only: \"{text}\". If keys were meant, press each again, with Enter. {KEYS}"
            )),
            Command::Note(text) => self.say(&format!("Noted{at}: {text}")),
            Command::Stop if self.stopping => {}
            Command::Stop => {
                self.stopping = true;
                self.say("Stopping; the last readings are on their way.");
            }
        }
    }

    fn say(&self, text: &str) {
        self.clear();
        self.screen.tell(&text::wrapped_to(self.screen.size().0, text));
    }

    fn clear(&self) {
        if self.manner == Manner::Terminal {
            self.screen.redraw_block(&[]);
        }
    }

    /// Leaves the block of progress behind.
    pub fn end(&self) {
        self.clear();
    }
}
