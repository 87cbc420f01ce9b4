//! `hingeline service`

use super::dates::{Moment, now, past};
use super::output::{Output, Screen};
use super::{Ending, Failure};
use crate::history::service::Work;
use crate::jobs::service;
use crate::show::{json, text};
use crate::vehicle::Side;
use clap::ValueEnum;

/// Enter what was done to a vehicle, so that its baselines begin anew where they should; or list it.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The vehicle, by its folder in the logbook.
    #[arg(value_name = "VEHICLE")]
    vehicle: String,
    /// In your words; without it and without a flag the record is listed.
    #[arg(value_name = "TEXT")]
    text: Option<String>,
    /// This element, or the joint at one of its ends, was replaced: "lower left" or "lower left:chassis".
    #[arg(long, value_name = "ELEMENT[:END]", value_parser = replaced)]
    replaced: Vec<Replaced>,
    /// The joints of this element were greased.
    #[arg(long, value_name = "ELEMENT")]
    greased: Vec<String>,
    /// The bolts of this element were tightened to their torque.
    #[arg(long, value_name = "ELEMENT")]
    retorqued: Vec<String>,
    /// Somebody looked at this element and found it sound: its charts begin anew, its baseline stays.
    #[arg(long, value_name = "ELEMENT")]
    checked: Vec<String>,
    /// An end of this element was hung elsewhere; --end says which.
    #[arg(long, value_name = "ELEMENT", requires = "end")]
    moved: Option<String>,
    /// Which end was moved.
    #[arg(long, value_name = "END", requires = "moved")]
    end: Option<End>,
    /// The hole that it is in now, counted from 1.
    #[arg(long, value_name = "N", requires = "moved", value_parser = clap::value_parser!(u32).range(1..100))]
    hole: Option<u32>,
    /// Other tyres.
    #[arg(long)]
    tyre: bool,
    /// Another tyre pressure.
    #[arg(long)]
    pressure: bool,
    /// Another ride height: springs, spacers, load.
    #[arg(long)]
    ride_height: bool,
    /// The sensors were taken off and clipped on again.
    #[arg(long)]
    refitted: bool,
    /// The axle, of tyres, pressure or ride height; all axles where none is given.
    #[arg(long, value_name = "NAME")]
    axle: Option<String>,
    /// When: 2026-11-25, or 2026-11-25T14:00; now where nothing is given.
    #[arg(long, value_name = "DATE", value_parser = past)]
    date: Option<Moment>,
    #[command(flatten)]
    output: Output,
}

/// An end of an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum End {
    /// On the chassis.
    Chassis,
    /// On the axle.
    Axle,
}

impl End {
    fn side(self) -> Side {
        match self {
            End::Chassis => Side::Chassis,
            End::Axle => Side::Axle,
        }
    }
}

/// An element, or the joint at one of its ends.
#[derive(Debug, Clone)]
struct Replaced {
    element: String,
    end: Option<Side>,
}

/// Parses `ELEMENT[:END]`.
fn replaced(text: &str) -> Result<Replaced, String> {
    let (element, end) = match text.rsplit_once(':') {
        None => (text, None),
        Some((element, end)) => {
            let end = <End as ValueEnum>::from_str(end.trim(), true);
            (element, Some(end.map_err(|_| "after the colon stands chassis or axle".to_owned())?.side()))
        }
    };
    let element = element.trim();
    if element.is_empty() {
        return Err("name the element, as vehicle.toml calls it".into());
    }
    Ok(Replaced { element: element.to_owned(), end })
}

impl Args {
    fn work(&self) -> Vec<Work> {
        let mut work: Vec<Work> =
            self.replaced.iter().map(|r| Work::Replaced { element: r.element.clone(), end: r.end }).collect();
        work.extend(self.greased.iter().map(|e| Work::Greased { element: e.clone() }));
        work.extend(self.retorqued.iter().map(|e| Work::Retorqued { element: e.clone() }));
        work.extend(self.checked.iter().map(|e| Work::Checked { element: e.clone() }));
        work.extend(self.moved.iter().zip(self.end).map(|(element, end)| Work::Moved {
            element: element.clone(),
            end: end.side(),
            hole: self.hole,
        }));
        let axle = || self.axle.clone();
        work.extend(self.tyre.then(|| Work::Tyre { axle: axle() }));
        work.extend(self.pressure.then(|| Work::Pressure { axle: axle() }));
        work.extend(self.ride_height.then(|| Work::RideHeight { axle: axle() }));
        work.extend(self.refitted.then_some(Work::Refitted));
        if work.is_empty() && self.text.is_some() {
            work.push(Work::Note);
        }
        work
    }
}

/// Runs the command.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let date = args.date.clone().unwrap_or_else(now);
    let record = service::run(&service::Request {
        logbook: screen.logbook.clone(),
        vehicle: args.vehicle.clone(),
        text: args.text.clone().unwrap_or_default(),
        work: args.work(),
        date: (date.text, date.us),
    })?;
    let page = if args.output.json {
        json::service(&record)
    } else {
        text::service(&record, &screen.options(&args.output))
    };
    screen.print(&page)?;
    if date.whole_day && !record.added.is_empty() {
        screen.tell(
            "Runs of that day count as after it; give the time, as in 2026-11-25T14:00, where that is wrong.",
        );
    }
    Ok(Ending::Done)
}
