//! The command line: each command parses its flags, runs its job and renders the result. Nothing computes here.

mod analyse;
mod calibrate;
mod compare;
mod completions;
mod dates;
mod demo;
mod device;
mod export;
mod files;
mod history;
mod import;
mod init;
mod keys;
mod new;
mod numbers;
mod output;
mod ports;
mod predict;
mod record;
mod report;
mod report_files;
mod runs;
mod sensors;
mod serve;
mod service;
mod simulate;
mod target;
mod teller;
mod tune;
mod wear;

use crate::explain::{Explain, Failure, Status};
use clap::{FromArgMatches, Parser, Subcommand};
use output::{OutputError, Screen};
use std::path::PathBuf;
use std::process::ExitCode;

/// Measures how a straight axle really moves, and sets it beside its design.
#[derive(Debug, Parser)]
#[command(name = "hingeline", version, max_term_width = 100, arg_required_else_help = true)]
#[command(
    after_help = "Lifted and flexed vehicles hurt people. This program advises; it does not certify a vehicle as \
safe. Follow local rules and ask qualified people."
)]
struct Cli {
    /// The logbook folder, instead of the nearest one above the working folder.
    #[arg(long, global = true, value_name = "DIR")]
    logbook: Option<PathBuf>,

    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Init(init::Args),
    New(new::Args),
    Predict(predict::Args),
    Tune(tune::Args),
    Sensors(sensors::Args),
    Ports(ports::Args),
    Device(device::Args),
    Calibrate(calibrate::Args),
    Record(record::Args),
    Import(import::Args),
    Analyse(analyse::Args),
    Compare(compare::Args),
    Report(report::Args),
    Export(export::Args),
    History(history::Args),
    Runs(runs::Args),
    Service(service::Args),
    Wear(wear::Args),
    Serve(serve::Args),
    Simulate(simulate::Args),
    Demo(demo::Args),
    Completions(completions::Args),
}

/// How a command ended well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ending {
    /// Done.
    Done,
    /// Something was done and kept, and then something failed; the person has been told.
    Failed(Status),
    /// Done, and the finding that the caller asked to be told of is there.
    Found,
}

/// Runs the program with the process' arguments.
pub fn main() -> ExitCode {
    let cli = match parse() {
        Ok(cli) => cli,
        Err(told) => return told_by_clap(&told),
    };
    let screen = Screen::new(cli.logbook);
    let result = match cli.command {
        Command::Init(args) => init::run(&args, &screen),
        Command::New(args) => new::run(&args, &screen),
        Command::Predict(args) => predict::run(&args, &screen),
        Command::Tune(args) => tune::run(&args, &screen),
        Command::Ports(args) => ports::run(&args, &screen),
        Command::Device(args) => device::run(&args, &screen),
        Command::Calibrate(args) => calibrate::run(&args, &screen),
        Command::Record(args) => record::run(&args, &screen),
        Command::Import(args) => import::run(&args, &screen),
        Command::Analyse(args) => analyse::run(&args, &screen),
        Command::Compare(args) => compare::run(&args, &screen),
        Command::Sensors(args) => sensors::run(&args, &screen),
        Command::Report(args) => report::run(&args, &screen),
        Command::Export(args) => export::run(&args, &screen),
        Command::History(args) => history::run(&args, &screen),
        Command::Runs(args) => runs::run(&args, &screen),
        Command::Service(args) => service::run(&args, &screen),
        Command::Serve(args) => serve::run(&args, &screen),
        Command::Wear(args) => wear::run(&args, &screen),
        Command::Simulate(args) => simulate::run(&args, &screen),
        Command::Demo(args) => demo::run(&args, &screen),
        Command::Completions(args) => completions::run(&args, &screen),
    };
    match result {
        Ok(Ending::Done) => ExitCode::SUCCESS,
        Ok(Ending::Failed(status)) => ExitCode::from(status.code()),
        Ok(Ending::Found) => ExitCode::from(Status::Finding.code()),
        Err(failure) => {
            screen.complain(failure.as_ref());
            ExitCode::from(failure.status().code())
        }
    }
}

/// The command line, parsed.
fn parse() -> Result<Cli, clap::Error> {
    let matches = command().try_get_matches()?;
    Cli::from_arg_matches(&matches).map_err(|error| error.format(&mut command()))
}

/// Help that was asked for, or what is wrong with the command line.
fn told_by_clap(told: &clap::Error) -> ExitCode {
    match told.print() {
        // A reader that went away (`| head`) is no error.
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            let failure = OutputError::from(error);
            Screen::new(None).complain(&failure);
            ExitCode::from(failure.status().code())
        }
        _ if told.use_stderr() => ExitCode::from(Status::BadInput.code()),
        _ => ExitCode::SUCCESS,
    }
}

/// The command line as clap sees it.
fn command() -> clap::Command {
    numbers_taken(<Cli as clap::CommandFactory>::command())
}

/// Lets every flag take a number below 0, so that what is wrong with it is said by the flag and not that `-2` is no flag.
fn numbers_taken(command: clap::Command) -> clap::Command {
    let takes = |arg: &clap::Arg| {
        arg.get_long().is_some() && arg.get_action().takes_values() && !arg.is_allow_hyphen_values_set()
    };
    command
        .mut_args(|arg| if takes(&arg) { arg.allow_negative_numbers(true) } else { arg })
        .mut_subcommands(numbers_taken)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        command().debug_assert();
    }

    #[test]
    fn a_number_below_nothing_is_answered_by_its_flag() {
        for (line, said) in [
            ("predict x --ramp-angle -20", "a ramp's angle is between 0 and 60 degrees"),
            ("sensors x --ramp-angle -20", "a ramp's angle is between 0 and 60 degrees"),
            ("predict x --ramp-angle 2,5", "write the fraction with a point: 2.5"),
            ("import x --vehicle y --load -300", "give the load in newtons"),
            ("import x --vehicle y --taped-left -5", "give a number above 0"),
            ("record --port x --vehicle y --seconds -5", "a time is longer than 0 seconds"),
            ("record --port x --vehicle y --reconnect -5", "a time is 0 seconds or longer"),
        ] {
            let words = std::iter::once("hingeline").chain(line.split(' '));
            let error = command().try_get_matches_from(words).unwrap_err().to_string();
            assert!(error.contains(said), "{line}: {error}");
        }
        // A force may be one backwards.
        assert!(command().try_get_matches_from("hingeline predict x --drive -20".split(' ')).is_ok());
    }

    #[test]
    fn every_flag_and_command_says_what_it_is_for() {
        fn check(command: &clap::Command) {
            assert!(command.get_about().is_some(), "{} says nothing", command.get_name());
            for argument in
                command.get_arguments().filter(|a| a.get_id() != "help" && a.get_id() != "version")
            {
                assert!(
                    argument.get_help().is_some(),
                    "{} {} says nothing",
                    command.get_name(),
                    argument.get_id()
                );
            }
            command.get_subcommands().for_each(check);
        }
        check(&command());
    }
}
