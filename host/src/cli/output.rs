//! The screen: where text goes, in which units and whether it may be coloured.

use super::Explain;
use crate::explain::{Failure, Status};
use crate::files::logbook::{Logbook, ScreenUnits};
use crate::jobs::catalogue::Progress;
use crate::jobs::import;
use crate::show::Units;
use crate::show::text::{Options, cut, fitted};
use clap::ValueEnum;
use std::io::{ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Flags of every command that computes.
#[derive(Debug, Clone, clap::Args)]
pub struct Output {
    /// Print JSON (SI units, keys end in their unit) instead of text.
    #[arg(long)]
    pub json: bool,
    /// Units on screen; the logbook's where there is one, else millimetres.
    #[arg(long, value_name = "UNITS")]
    pub units: Option<Inches>,
}

/// Units of length on screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Inches {
    /// Millimetres.
    Mm,
    /// Inches.
    In,
}

/// Columns and rows of a terminal that does not tell its size.
const USUAL: (usize, usize) = (80, 24);

/// The columns that the environment asks for where there is no terminal; a width that is no number says nothing.
fn asked_columns() -> Option<usize> {
    std::env::var("COLUMNS").ok()?.trim().parse().ok().filter(|columns| *columns > 0)
}

/// Where text goes.
#[derive(Debug)]
pub struct Screen {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// Lines of the block of progress that stand on the terminal.
    block: AtomicUsize,
}

/// Writing to the screen failed.
#[derive(Debug, thiserror::Error)]
#[error("cannot write the output: {0}")]
pub struct OutputError(#[from] std::io::Error);

impl Explain for OutputError {
    fn status(&self) -> Status {
        Status::Device
    }
}

impl Screen {
    /// The process' own screen.
    pub fn new(logbook: Option<PathBuf>) -> Self {
        Self { logbook, block: AtomicUsize::new(0) }
    }

    /// How to render: units and colour.
    pub fn options(&self, output: &Output) -> Options {
        let units = self.units(output.units);
        Options { units, styled: self.styled_stdout(), columns: self.columns() }
    }

    /// Columns of the terminal on standard output; where there is none those of COLUMNS, or a usual one's.
    pub fn columns(&self) -> usize {
        terminal_size::terminal_size_of(std::io::stdout())
            .map(|(columns, _)| usize::from(columns.0))
            .or_else(asked_columns)
            .unwrap_or(USUAL.0)
    }

    /// Columns of the terminal on standard error, or of COLUMNS; none where neither says how wide lines may be.
    fn told_columns(&self) -> Option<usize> {
        terminal_size::terminal_size_of(std::io::stderr())
            .map(|(columns, _)| usize::from(columns.0))
            .or_else(asked_columns)
    }

    /// The units asked for, else the logbook's, else millimetres.
    pub fn units(&self, asked: Option<Inches>) -> Units {
        match asked {
            Some(Inches::Mm) => Units::Mm,
            Some(Inches::In) => Units::In,
            None => match Logbook::find(self.logbook.as_deref(), Path::new(".")) {
                Ok(Logbook { screen: ScreenUnits::Inches, .. }) => Units::In,
                _ => Units::Mm,
            },
        }
    }

    /// Whether standard output is a terminal that may be coloured (NO_COLOR and friends are heeded).
    pub fn styled_stdout(&self) -> bool {
        anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never
    }

    /// Prints a result. A reader that went away (`| head`) is no error.
    pub fn print(&self, text: &str) -> Result<(), Failure> {
        let mut out = std::io::stdout().lock();
        let newline = if text.ends_with('\n') { "" } else { "\n" };
        match write!(out, "{text}{newline}").and_then(|()| out.flush()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(OutputError(error).into()),
            _ => Ok(()),
        }
    }

    /// Tells the person something beside the result, on standard error, on lines that the screen has room for.
    pub fn tell(&self, text: &str) {
        self.tell_as_it_is(&self.fitted(text));
    }

    /// Tells what is laid out already. If even that fails there is nobody to tell.
    fn tell_as_it_is(&self, text: &str) {
        let _ = writeln!(std::io::stderr().lock(), "{text}");
    }

    /// Tells the person something to heed beside the result.
    pub fn remark(&self, text: &str) {
        self.tell(&format!("hingeline: {text}"));
    }

    /// Text on lines that the screen has room for, where it is known how much it has.
    fn fitted(&self, text: &str) -> String {
        self.told_columns().map_or_else(|| text.to_owned(), |columns| fitted(text, columns))
    }

    /// Whether progress may be drawn over itself on standard error: a terminal that understands cursor codes.
    pub fn draws(&self) -> bool {
        std::io::stderr().is_terminal() && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
    }

    /// Columns and rows of the terminal on standard error.
    pub fn size(&self) -> (usize, usize) {
        terminal_size::terminal_size_of(std::io::stderr())
            .map(|(columns, rows)| (usize::from(columns.0), usize::from(rows.0)))
            .unwrap_or_else(|| (asked_columns().unwrap_or(USUAL.0), USUAL.1))
    }

    /// Puts a line in place of the last one on a terminal.
    pub fn redraw(&self, line: &str) {
        // One column stays empty, so that the line never wraps.
        let columns = self.size().0.saturating_sub(1);
        let short: String = line.chars().take(columns).collect();
        let mut out = std::io::stderr().lock();
        let _ = write!(out, "\r{short:<columns$}\r{short}");
        let _ = out.flush();
    }

    /// Says on a terminal which run the history is measuring.
    pub fn redraw_measuring(&self, progress: Progress<'_>) {
        self.redraw_run("Measuring", progress);
    }

    /// Says on a terminal what is being done to which run.
    pub fn redraw_run(&self, doing: &str, progress: Progress<'_>) {
        if self.draws() {
            let Progress { vehicle, run, number, of } = progress;
            self.redraw(&format!("{doing} run {number} of {of}: {vehicle}/{run}"));
        }
    }

    /// Says on a terminal how much of a table was read.
    pub fn redraw_reading(&self, progress: import::Progress) {
        const MEGABYTE: u64 = 1_000_000;
        if self.draws() {
            let import::Progress { read, of } = progress;
            self.redraw(&format!("Reading the table: {} of {} MB", read / MEGABYTE, of / MEGABYTE));
        }
    }

    /// Puts a block of lines in place of the last one on a terminal; no lines take it away.
    ///
    /// A line that would wrap is cut, and lines that the screen has no room for are left out: the cursor could not come back.
    pub fn redraw_block(&self, lines: &[String]) {
        let (columns, rows) = self.size();
        let room = rows.saturating_sub(2).max(1);
        let lines: Vec<String> =
            lines.iter().take(room).map(|line| cut(line, columns.saturating_sub(1))).collect();
        let mut out = std::io::stderr().lock();
        let up = self.block.swap(lines.len(), Ordering::Relaxed);
        let mut text = String::new();
        if up > 0 {
            // Up to the first line of the block, and everything below it away.
            text.push_str(&format!("\r\x1b[{up}A\x1b[J"));
        }
        for line in &lines {
            text.push_str(line);
            text.push('\n');
        }
        let _ = out.write_all(text.as_bytes());
        let _ = out.flush();
    }

    /// A person has typed a line: the terminal has moved on by one.
    pub fn typed(&self) {
        if self.block.load(Ordering::Relaxed) > 0 {
            self.block.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// Takes the line of progress away.
    pub fn redraw_end(&self) {
        if self.draws() {
            self.redraw("");
        }
    }

    /// Explains a failure: one sentence, then what to do next.
    pub fn complain(&self, failure: &dyn Explain) {
        let styled = anstream::AutoStream::choice(&std::io::stderr()) != anstream::ColorChoice::Never;
        match (failure.report(styled), failure.hint()) {
            // A file's lines with what is underlined in them stay as they are.
            (Some(report), _) => self.tell_as_it_is(&report),
            (None, Some(hint)) => self.tell(&format!("hingeline: {failure}\n\n  {hint}")),
            (None, None) => self.tell(&format!("hingeline: {failure}")),
        }
    }
}
