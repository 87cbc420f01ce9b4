//! `hingeline tune`

use super::numbers::number;
use super::output::{Output, Screen};
use super::{Ending, Failure};
use crate::files::nearest;
use crate::jobs::tune::{self, Request};
use crate::show::{json, text};
use crate::vehicle::Wish;
use crate::vehicle::numbers::Key;
use indicatif::{ProgressBar, ProgressStyle};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Try every combination of bracket holes and alternatives, and rank them by what you want of the numbers.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A vehicle file, or a vehicle of the logbook by name.
    #[arg(value_name = "VEHICLE")]
    vehicle: String,
    /// Tune only the axle of this name.
    #[arg(long, value_name = "NAME")]
    axle: Option<String>,
    /// How many of the best to tell.
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=1000))]
    top: u16,
    /// A wish beside those of the file, SI: KEY=MIN..MAX, one limit may be left out, @WEIGHT behind it if you like;
    /// may be given several times.
    #[arg(long, value_name = "KEY=MIN..MAX[@WEIGHT]", value_parser = wish)]
    wish: Vec<(Key, Wish)>,
    /// Let the two sides of mirrored elements sit in different holes.
    #[arg(long)]
    apart: bool,
    #[command(flatten)]
    output: Output,
}

/// Fewer combinations are tried before a bar could be drawn.
const WORTH_A_BAR: u64 = 2000;

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let plan = tune::plan(&Request {
        vehicle: args.vehicle.clone(),
        logbook: screen.logbook.clone(),
        axle: args.axle.clone(),
        wishes: args.wish.clone(),
        top: usize::from(args.top),
        apart: args.apart,
    })?;
    let stop = Arc::new(AtomicBool::new(false));
    // Without the handler the signal ends the program at once, which loses nothing.
    let _ = signal_hook::flag::register(signal_hook::consts::SIGINT, stop.clone());
    let bar = bar(plan.combinations());
    let tuned = plan.run(&|more| {
        bar.inc(more);
        !stop.load(Ordering::Relaxed)
    });
    bar.finish_and_clear();
    let tuned = tuned?;
    let page = if args.output.json {
        json::tuning(&tuned)
    } else {
        text::tuning(&tuned, &screen.options(&args.output))
    };
    screen.print(&page)?;
    Ok(Ending::Done)
}

/// Progress on a terminal, nothing in a pipe.
fn bar(combinations: u64) -> ProgressBar {
    if combinations < WORTH_A_BAR {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(combinations);
    match ProgressStyle::with_template("{bar:30} {human_pos} of {human_len} combinations, {eta} left") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}

/// Parses a wish.
fn wish(text: &str) -> Result<(Key, Wish), String> {
    let shape = "write KEY=MIN..MAX or KEY=MIN..MAX@WEIGHT, such as anti_squat_percent=40..80@2";
    let (name, rest) = text.split_once('=').ok_or(shape)?;
    let key = Key::parse(name.trim()).ok_or_else(|| match nearest(name, Key::ALL.map(Key::as_str)) {
        Some(near) => format!("there is no number called {name}; did you mean {near}?"),
        None => format!("there is no number called {name}; predict --json lists them"),
    })?;
    let (limits, weight) = rest.split_once('@').unwrap_or((rest, "1"));
    let (min, max) = limits.split_once("..").ok_or(shape)?;
    let value = |text: &str| -> Result<f64, String> {
        number(text, &format!("a number where \"{text}\" stands, which is not a number"))
    };
    let limit = |text: &str| if text.trim().is_empty() { Ok(None) } else { value(text).map(Some) };
    let (min, max, weight) = (limit(min)?, limit(max)?, value(weight)?);
    match (min, max) {
        (None, None) => return Err("give a least value, a greatest, or both".into()),
        (Some(min), Some(max)) if min > max => return Err(format!("{min} is above {max}: swap the two")),
        _ => {}
    }
    if weight <= 0.0 {
        return Err("a weight is above 0".into());
    }
    Ok((key, Wish { min, max, weight }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wishes_are_read_with_both_limits_or_one() {
        let (key, both) = wish("anti_squat_percent=40..80@2").unwrap();
        assert_eq!((key, both), (Key::AntiSquat, Wish { min: Some(40.0), max: Some(80.0), weight: 2.0 }));
        let (_, least) = wish("roll_steer_rad_per_rad=-0.06..").unwrap();
        assert_eq!(least, Wish { min: Some(-0.06), max: None, weight: 1.0 });
        let (_, most) = wish("roll_centre_z_m=..1e-1").unwrap();
        assert_eq!(most, Wish { min: None, max: Some(0.1), weight: 1.0 });
    }

    #[test]
    fn a_wish_that_says_nothing_is_refused_in_words() {
        let said = |text: &str| wish(text).unwrap_err();
        assert!(said("anti_squat_percnt=40..80").contains("did you mean anti_squat_percent?"));
        assert!(said("anti_squat_percent=..").contains("least"));
        assert!(said("anti_squat_percent=80..40").contains("swap"));
        assert!(said("anti_squat_percent=40").contains("MIN..MAX"));
        assert!(said("anti_squat_percent=40..80@0").contains("above 0"));
        assert!(said("anti_squat_percent=a..80").contains("not a number"));
        for comma in ["roll_centre_z_m=0,5..0.7", "roll_centre_z_m=0.3..0,5", "roll_centre_z_m=0.3..0.7@0,5"]
        {
            assert!(said(comma).contains("write the fraction with a point: 0.5"), "{comma}");
        }
    }
}
