//! `hingeline serve`: the local web page.

use super::output::{Inches, Screen};
use super::{Ending, Failure};
use crate::serve::{self, Notice, Rim, Stop};
use crate::show::qr;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

/// Serve the logbook as web pages on this computer: runs, recording, a drawing board, wear.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Pages are for this computer alone. With --lan other devices of your network may come in, each with a code that \
opens once. What goes over the network is not encrypted: use a network of your own. Ctrl-C ends it."
)]
pub struct Args {
    /// The port; 0 takes any that is free.
    #[arg(long, value_name = "N", default_value_t = 8480)]
    port: u16,
    /// Let other devices of the network in, each with a code that is shown here and opens once.
    #[arg(long)]
    lan: bool,
    /// Units on pages; the logbook's where nothing is given.
    #[arg(long, value_name = "UNITS")]
    units: Option<Inches>,
}

/// Runs the command: the address stands alone on the first line.
pub fn run(args: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let stop = Stop::default();
    end_on_signals(&stop);
    let request = serve::Request {
        logbook: screen.logbook.clone(),
        units: screen.units(args.units),
        port: args.port,
        lan: args.lan,
    };
    let (lan, told) = (args.lan, Screen::new(None));
    let tell = move |notice| tell(&told, lan, &notice);
    let rim = Rim { now: jiff::ZonedDateTime::now, secret, tell: Box::new(tell) };
    serve::run(&request, rim, &stop)?;
    Ok(Ending::Done)
}

/// Ends the server on Ctrl-C and SIGTERM. Without the handler the signal ends the program at once.
fn end_on_signals(stop: &Stop) {
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    let stop = stop.clone();
    std::thread::spawn(move || {
        for _ in signals.forever() {
            stop.ask();
        }
    });
}

/// 128 bits from the system's source of randomness, in hexadecimal.
fn secret() -> String {
    format!("{:032x}", rand::random::<u128>())
}

fn tell(screen: &Screen, lan: bool, notice: &Notice) {
    match notice {
        Notice::Listening { port } => {
            // A reader of the address that went away has no use for it.
            let _ = screen.print(&format!("http://127.0.0.1:{port}/"));
            screen.tell("Open it in a browser on this computer. Ctrl-C ends it.");
            if lan {
                screen.tell(
                    "Other devices of your network may come in, each with a code that opens once. What goes over the network \
                     is not encrypted, and whoever listens there can read it: use a network of your own.",
                );
            }
        }
        Notice::Invitation { address: Some(address), .. } => {
            screen.tell(&format!("\nFor one more device:\n\n{}\n{address}", qr::terminal(address)));
        }
        Notice::Invitation { address: None, token } => {
            screen.tell(&format!(
                "This computer has no address on a network that it knows of. The next device comes in at \
                 /enter?token={token} behind whatever address it has."
            ));
        }
    }
}
