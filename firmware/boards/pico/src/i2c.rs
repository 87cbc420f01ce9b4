//! The two I²C controllers as masters that never wait for longer than a transfer can take. Data sheet: RP2040, 4.3 (I²C, a
//! DesignWare block), 2.19 (GPIO) and 2.14 (resets).

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType as PinErrorType, InputPin, OutputPin};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use hingeline_firmware::Recover;
use hingeline_firmware::bus::nine_clocks;
use rp2040_hal::{Timer, pac};

/// Entries of each FIFO.
const FIFO: usize = 16;
/// A transfer may take so many times as long as its bits, for parts that hold the clock, and so long on top, µs.
const PATIENCE: u64 = 3;
const PATIENCE_US: u64 = 1_000;

/// Which controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// I2C0 on GP4 and GP5.
    First,
    /// I2C1 on GP6 and GP7.
    Second,
}

/// A controller and its pins.
pub struct Controller {
    which: Which,
    clock_hz: u32,
    timer: Timer,
}

impl Controller {
    /// Brings a controller up as a master. Its pins must be given to it by the caller.
    pub fn start(which: Which, system_hz: u32, clock_hz: u32, timer: Timer) -> Self {
        let controller = Self { which, clock_hz, timer };
        // Safety: the resets' register is written nowhere else any more.
        let resets = unsafe { &*pac::RESETS::PTR };
        match which {
            Which::First => resets.reset().modify(|_, w| w.i2c0().set_bit()),
            Which::Second => resets.reset().modify(|_, w| w.i2c1().set_bit()),
        };
        match which {
            Which::First => resets.reset().modify(|_, w| w.i2c0().clear_bit()),
            Which::Second => resets.reset().modify(|_, w| w.i2c1().clear_bit()),
        };
        let is_up = || match which {
            Which::First => resets.reset_done().read().i2c0().bit_is_set(),
            Which::Second => resets.reset_done().read().i2c1().bit_is_set(),
        };
        while !is_up() {}
        controller.set_up(system_hz);
        controller
    }

    fn registers(&self) -> &'static pac::i2c0::RegisterBlock {
        // Safety: each controller belongs to one `Controller`, and both have the same registers.
        unsafe {
            match self.which {
                Which::First => &*pac::I2C0::PTR,
                Which::Second => &*pac::I2C1::PTR,
            }
        }
    }

    fn set_up(&self, system_hz: u32) {
        let registers = self.registers();
        registers.ic_enable().write(|w| w.enable().disabled());
        registers.ic_con().write(|w| {
            w.speed().fast().master_mode().enabled().ic_slave_disable().slave_disabled();
            w.ic_restart_en().enabled().tx_empty_ctrl().enabled()
        });
        // 4.3.14.1: low for three fifths of a period, high for two.
        let period = system_hz / self.clock_hz;
        let low = period * 3 / 5;
        // Data is held for 300 ns after the clock's fall (I²C specification).
        let hold = system_hz / 1_000_000 * 3 / 10 + 1;
        // Safety: counts of these sizes are what the data sheet allows.
        unsafe {
            registers.ic_fs_scl_hcnt().write(|w| w.ic_fs_scl_hcnt().bits((period - low) as u16));
            registers.ic_fs_scl_lcnt().write(|w| w.ic_fs_scl_lcnt().bits(low as u16));
            registers.ic_fs_spklen().write(|w| w.ic_fs_spklen().bits((low / 16).clamp(1, 255) as u8));
            registers.ic_sda_hold().modify(|_, w| w.ic_sda_tx_hold().bits(hold as u16));
        }
        registers.ic_enable().write(|w| w.enable().enabled());
    }

    fn now_us(&self) -> u64 {
        self.timer.get_counter().ticks()
    }

    /// Whether the transfer was given up: no acknowledgement, or the bus was lost.
    fn aborted(&self) -> Result<(), ErrorKind> {
        let registers = self.registers();
        if registers.ic_raw_intr_stat().read().tx_abrt().is_inactive() {
            return Ok(());
        }
        let source = registers.ic_tx_abrt_source().read();
        let nobody = source.abrt_7b_addr_noack().bit_is_set() || source.abrt_txdata_noack().bit_is_set();
        // Reading it lets the next transfer through.
        let _ = registers.ic_clr_tx_abrt().read();
        Err(if nobody { ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown) } else { ErrorKind::Bus })
    }

    /// Waits until `done`, an abort, or `until_us`.
    fn wait(&self, until_us: u64, done: impl Fn(&pac::i2c0::RegisterBlock) -> bool) -> Result<(), ErrorKind> {
        let registers = self.registers();
        while !done(registers) {
            self.aborted()?;
            if self.now_us() >= until_us {
                return Err(ErrorKind::Bus);
            }
        }
        Ok(())
    }

    /// Gives a command to the controller: a byte to write, or none to read one.
    fn command(&self, until_us: u64, byte: Option<u8>, restart: bool, stop: bool) -> Result<(), ErrorKind> {
        self.wait(until_us, |r| r.ic_status().read().tfnf().is_not_full())?;
        self.registers().ic_data_cmd().write(|w| {
            w.restart().bit(restart).stop().bit(stop).cmd().bit(byte.is_none());
            // Safety: eight bits of data.
            unsafe { w.dat().bits(byte.unwrap_or(0)) }
        });
        Ok(())
    }

    fn read_into(&self, until_us: u64, out: &mut [u8], restart: bool, last: bool) -> Result<(), ErrorKind> {
        let count = out.len();
        let mut asked = 0;
        for (taken, at) in out.iter_mut().enumerate() {
            // All that fit are asked for at once, so that the bus does not wait for the processor.
            while asked < count && asked - taken < FIFO {
                self.command(until_us, None, restart && asked == 0, last && asked + 1 == count)?;
                asked += 1;
            }
            self.wait(until_us, |r| r.ic_status().read().rfne().is_not_empty())?;
            *at = self.registers().ic_data_cmd().read().dat().bits();
        }
        Ok(())
    }

    fn run(&self, operations: &mut [Operation<'_>], until_us: u64) -> Result<(), ErrorKind> {
        let count = operations.len();
        let mut before_reads = None;
        for (place, operation) in operations.iter_mut().enumerate() {
            let last = place + 1 == count;
            let reads = matches!(operation, Operation::Read(_));
            let restart = before_reads.is_some_and(|before| before != reads);
            before_reads = Some(reads);
            match operation {
                Operation::Write(bytes) => {
                    for (k, byte) in bytes.iter().enumerate() {
                        self.command(until_us, Some(*byte), restart && k == 0, last && k + 1 == bytes.len())?;
                    }
                }
                Operation::Read(out) => self.read_into(until_us, out, restart, last)?,
            }
        }
        self.wait(until_us, |r| r.ic_raw_intr_stat().read().stop_det().is_active())?;
        self.aborted()
    }

    /// Switches the controller off and on: it lets go of the bus and forgets what it was doing.
    fn begin_anew(&self) {
        let registers = self.registers();
        registers.ic_enable().write(|w| w.enable().disabled());
        let _ = registers.ic_clr_intr().read();
        registers.ic_enable().write(|w| w.enable().enabled());
    }
}

impl ErrorType for Controller {
    type Error = ErrorKind;
}

impl I2c for Controller {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let bytes: usize = operations
            .iter()
            .map(|operation| match operation {
                Operation::Write(bytes) => bytes.len(),
                Operation::Read(bytes) => bytes.len(),
            })
            .sum();
        if bytes == 0 {
            // This controller cannot address without a byte to follow.
            return Err(ErrorKind::Other);
        }
        let registers = self.registers();
        registers.ic_enable().write(|w| w.enable().disabled());
        // Safety: seven bits of address.
        registers.ic_tar().write(|w| unsafe { w.ic_tar().bits(u16::from(address & 0x7f)) });
        registers.ic_enable().write(|w| w.enable().enabled());
        let _ = registers.ic_clr_intr().read();
        let bits_us = (bytes as u64 + 2) * 9_000_000 / u64::from(self.clock_hz.max(1));
        let until_us = self.now_us().saturating_add(PATIENCE * bits_us + PATIENCE_US);
        let result = self.run(operations, until_us);
        if result.is_err() {
            // After an abort the controller stops the bus by itself; in other trouble it is begun anew.
            let _ = self.wait(until_us, |r| r.ic_raw_intr_stat().read().stop_det().is_active());
            self.begin_anew();
        }
        result
    }
}

impl Recover for Controller {
    fn recover(&mut self) -> bool {
        let (sda, scl) = match self.which {
            Which::First => (4, 5),
            Which::Second => (6, 7),
        };
        let (mut scl, mut sda) = (BarePin::take(scl), BarePin::take(sda));
        // Bare pins cannot fail.
        let Ok(freed) = nine_clocks(&mut scl, &mut sda, &mut Waiter(self.timer));
        scl.give_back();
        sda.give_back();
        self.begin_anew();
        freed
    }
}

/// Waits by the timer.
struct Waiter(Timer);

impl DelayNs for Waiter {
    fn delay_ns(&mut self, ns: u32) {
        let until_us = self.0.get_counter().ticks() + u64::from(ns / 1000) + 1;
        while self.0.get_counter().ticks() < until_us {}
    }
}

/// A pin driven by hand like an open drain: low, or let go.
struct BarePin {
    number: usize,
}

impl BarePin {
    /// Takes the pin from its controller.
    fn take(number: usize) -> Self {
        let pin = Self { number };
        // Safety: write-to-set and write-to-clear registers, of this pin only.
        unsafe {
            let sio = &*pac::SIO::PTR;
            sio.gpio_oe_clr().write(|w| w.bits(1 << number));
            sio.gpio_out_clr().write(|w| w.bits(1 << number));
        }
        pin.serve(pac::io_bank0::gpio::gpio_ctrl::FUNCSEL_A::SIO);
        pin
    }

    /// Gives it back.
    fn give_back(self) {
        self.serve(pac::io_bank0::gpio::gpio_ctrl::FUNCSEL_A::I2C);
    }

    fn serve(&self, whom: pac::io_bank0::gpio::gpio_ctrl::FUNCSEL_A) {
        // Safety: this pin belongs to this bus only.
        let bank = unsafe { &*pac::IO_BANK0::PTR };
        bank.gpio(self.number).gpio_ctrl().modify(|_, w| w.funcsel().variant(whom));
    }
}

impl PinErrorType for BarePin {
    type Error = core::convert::Infallible;
}

impl OutputPin for BarePin {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        // Safety: a write-to-set register, of this pin only.
        unsafe { (*pac::SIO::PTR).gpio_oe_set().write(|w| w.bits(1 << self.number)) };
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        // Safety: a write-to-clear register, of this pin only.
        unsafe { (*pac::SIO::PTR).gpio_oe_clr().write(|w| w.bits(1 << self.number)) };
        Ok(())
    }
}

impl InputPin for BarePin {
    fn is_high(&mut self) -> Result<bool, Self::Error> {
        // Safety: reading changes nothing.
        Ok(unsafe { (*pac::SIO::PTR).gpio_in().read().bits() } >> self.number & 1 == 1)
    }

    fn is_low(&mut self) -> Result<bool, Self::Error> {
        self.is_high().map(|high| !high)
    }
}
