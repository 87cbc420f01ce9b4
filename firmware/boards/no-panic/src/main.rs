//! Proof by linking: the whole logger with every panic going to a symbol that does not exist.
//!
//! If any panic can be reached the link fails and names that symbol. It is no board: buses, time and line are memory that
//! the compiler may know nothing about. `firmware/check-cortex-m.sh` builds it.
#![no_std]
#![no_main]

use core::ptr::{addr_of, addr_of_mut};

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::{self, NorFlash, NorFlashErrorKind, ReadNorFlash};
use hingeline_firmware::panel::Button;
use hingeline_firmware::store::Store;
use hingeline_firmware::{Board, Logger, MAX_BUSES, Recover, serial};
use hingeline_protocol::{Press, ResetCause};

unsafe extern "C" {
    /// Does not exist.
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // Safety: this never links, so it never runs.
    unsafe { a_panic_can_be_reached() }
}

/// Whatever comes from outside.
static mut OUTSIDE: [u8; 64] = [0; 64];

fn outside(at: usize) -> u8 {
    // Safety: one thread; the place is inside the array.
    unsafe { addr_of!(OUTSIDE).cast::<u8>().add(at & 63).read_volatile() }
}

fn give(at: usize, byte: u8) {
    // Safety: as above.
    unsafe { addr_of_mut!(OUTSIDE).cast::<u8>().add(at & 63).write_volatile(byte) }
}

fn now_us() -> u64 {
    u64::from_le_bytes([0, 1, 2, 3, 4, 5, 6, 7].map(outside))
}

struct Anything;

impl ErrorType for Anything {
    type Error = ErrorKind;
}

impl I2c for Anything {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        give(8, address);
        for operation in operations {
            match operation {
                Operation::Write(bytes) => bytes.iter().for_each(|&byte| give(9, byte)),
                Operation::Read(out) => out.iter_mut().for_each(|byte| *byte = outside(10)),
            }
        }
        match outside(11) {
            0 => Ok(()),
            1 => Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown)),
            _ => Err(ErrorKind::Bus),
        }
    }
}

impl Recover for Anything {
    fn recover(&mut self) -> bool {
        outside(12) == 0
    }
}

impl nor_flash::ErrorType for Anything {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Anything {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        give(34, offset as u8);
        bytes.iter_mut().for_each(|byte| *byte = outside(35));
        if outside(36) == 0 { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }

    fn capacity(&self) -> usize {
        usize::from(outside(37)) << 12
    }
}

impl NorFlash for Anything {
    const WRITE_SIZE: usize = 8;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        give(38, from as u8);
        give(39, to as u8);
        if outside(40) == 0 { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        give(41, offset as u8);
        bytes.iter().for_each(|&byte| give(42, byte));
        if outside(43) == 0 { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }
}

impl embedded_io::ErrorType for Anything {
    type Error = embedded_io::ErrorKind;
}

impl Read for Anything {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Self::Error> {
        out.iter_mut().for_each(|byte| *byte = outside(28));
        Ok(usize::from(outside(29)))
    }
}

impl ReadReady for Anything {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(outside(30) != 0)
    }
}

impl Write for Anything {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        bytes.iter().for_each(|&byte| give(31, byte));
        Ok(usize::from(outside(32)))
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        Err(embedded_io::ErrorKind::Other)
    }
}

impl WriteReady for Anything {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(outside(33) != 0)
    }
}

#[unsafe(no_mangle)]
extern "C" fn _start() -> ! {
    let mut bus_clock_hz = [0; MAX_BUSES];
    bus_clock_hz.iter_mut().for_each(|clock| *clock = u32::from(outside(13)) * 1000);
    let board = Board {
        name: "proof",
        firmware: env!("CARGO_PKG_VERSION"),
        build: "proof",
        unique_id: [outside(14); 16],
        unique_id_length: outside(15),
        boot_count: u32::from(outside(16)),
        reset_cause: ResetCause::from(outside(17)),
        last_words: "",
        bus_clock_hz,
    };
    let mut logger = match Store::open(&mut Anything) {
        Ok(store) => Logger::with_store(board, store, now_us()),
        Err(_) => Logger::new(board, now_us()),
    };
    let mut button = Button::new();
    let mut buses = [Anything, Anything];
    let mut line = [0; 64];
    loop {
        line.iter_mut().enumerate().for_each(|(at, byte)| *byte = outside(at));
        let length = usize::from(outside(18));
        logger.feed(now_us(), line.get(..length).unwrap_or(&[]));
        let wake_us = logger.step(now_us(), &mut buses);
        give(19, wake_us as u8);
        give(19, logger.step_store(now_us(), &mut Anything) as u8);
        if let Some(press) = button.step(now_us(), outside(44) != 0) {
            logger.button(now_us(), press);
        }
        give(45, u8::from(logger.light().is_on(now_us())) + button.wake_us() as u8);
        if serial::exchange(&mut logger, now_us(), &mut Anything).is_err() {
            give(19, 1);
        }
        let taken = logger.take_output(&mut line);
        line.iter().take(taken).for_each(|&byte| give(20, byte));
        if outside(21) != 0 {
            logger.button(now_us(), Press::from(outside(22)));
            logger.supply_low(now_us(), u16::from(outside(23)));
        }
        let kept = logger.configuration().clone();
        if outside(24) != 0 && logger.configure(kept).is_err() {
            give(25, 1);
        }
        give(26, u8::from(logger.is_alive(now_us())) + u8::from(logger.is_streaming()));
        #[cfg(feature = "seeded-panic")]
        give(27, line[length]);
    }
}
