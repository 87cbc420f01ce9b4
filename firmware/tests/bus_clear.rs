//! Freeing a stuck bus by clocking it (NXP UM10204, 3.1.16): a part that holds the data line lets go after some clocks.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::cell::{Cell, RefCell};
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use hingeline_firmware::nine_clocks;

/// Two open-drain lines, and a part that holds the data line until so many clocks.
#[derive(Default)]
struct Lines {
    scl: Cell<bool>,
    sda: Cell<bool>,
    held: Cell<u32>,
    clocks: Cell<u32>,
    /// Data changes while the clock is high: `true` = rising, which is a stop.
    marks: RefCell<Vec<bool>>,
}

struct Scl(Rc<Lines>);
struct Sda(Rc<Lines>);
struct NoDelay(u64);

impl ErrorType for Scl {
    type Error = Infallible;
}

impl OutputPin for Scl {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.scl.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        if !self.0.scl.replace(true) {
            self.0.clocks.set(self.0.clocks.get() + 1);
            self.0.held.set(self.0.held.get().saturating_sub(1));
        }
        Ok(())
    }
}

impl ErrorType for Sda {
    type Error = Infallible;
}

impl OutputPin for Sda {
    fn set_low(&mut self) -> Result<(), Infallible> {
        if self.0.sda.replace(false) && self.0.scl.get() {
            self.0.marks.borrow_mut().push(false);
        }
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        if !self.0.sda.replace(true) && self.0.scl.get() {
            self.0.marks.borrow_mut().push(true);
        }
        Ok(())
    }
}

impl InputPin for Sda {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.sda.get() && self.0.held.get() == 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

impl DelayNs for NoDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.0 += u64::from(ns);
    }
}

fn clear(held: u32) -> (bool, Rc<Lines>, u64) {
    let lines = Rc::new(Lines::default());
    lines.scl.set(true);
    lines.sda.set(true);
    lines.held.set(held);
    let mut delay = NoDelay(0);
    let free = nine_clocks(&mut Scl(lines.clone()), &mut Sda(lines.clone()), &mut delay).unwrap();
    (free, lines, delay.0)
}

#[test]
fn frees_what_lets_go() {
    for held in 0..=9 {
        let (free, lines, delay_ns) = clear(held);
        assert!(free, "held for {held}");
        // So many clocks as it took, and one for the stop.
        assert_eq!(lines.clocks.get(), held + 1);
        // The only change of data while the clock is high is a stop, never a start.
        assert_eq!(*lines.marks.borrow(), [true]);
        assert!(delay_ns >= u64::from(held + 1) * 10_000, "100 kHz at most");
    }
}

#[test]
fn gives_up_on_what_does_not() {
    let (free, lines, _) = clear(1000);
    assert!(!free);
    assert_eq!(lines.clocks.get(), 10);
}
