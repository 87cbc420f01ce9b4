//! The flash chip that the program lies in, as the logger's memory: what memory.x leaves of it. Data sheets: RP2040, 2.8.3.1.3 (flash
//! access functions of the boot ROM), 4.10.13 (the SSI's registers) and 2.19.6.3 (pins of the flash); Winbond W25Q16JV, 8
//! (instructions), which the chips on these boards have in common.
//!
//! A chip that erases or writes cannot be read, and the program lies in it. What is to be done meanwhile lies in RAM, and interrupts
//! are held back: 0.1 ms to write a piece and up to 0.4 ms more until the chip has done it, 45 to 400 ms to erase a sector. The
//! logger erases only while it does not sample.

use core::ptr::{addr_of, addr_of_mut};

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use rp2040_hal::rom_data;

use crate::BOOT2;

/// Where the chip is read, which size of it is used (a power of two), and how much of that is the program's.
const READ_AT: usize = 0x1000_0000;
const CHIP_LOG2: u8 = 21;
const CHIP: usize = 1 << CHIP_LOG2;
const PROGRAM: usize = 512 * 1024;
/// Most bytes that are written at once, and the page that they must not cross (8.2.13).
const PIECE: usize = 64;
const PAGE: usize = 256;
const SECTOR: usize = 4096;

/// Instructions: write enable, read status and its busy bit, page program, sector erase (8.2.1, 8.2.4, 7.1.1, 8.2.13, 8.2.15).
const WRITE_ENABLE: u8 = 0x06;
const READ_STATUS: u8 = 0x05;
const BUSY: u8 = 1;
const PAGE_PROGRAM: u8 = 0x02;
const SECTOR_ERASE: u8 = 0x20;
/// Read JEDEC ID: maker, type, capacity as the power of two (8.2.26). Read unique ID: four bytes, then the eight (8.2.25).
const READ_JEDEC_ID: u8 = 0x9f;
const READ_UNIQUE_ID: u8 = 0x4b;
/// An instruction with its address.
const HEAD: usize = 4;

/// SSI: status with its bits, and data (RP2040 4.10.13).
const SSI_STATUS: *const u32 = 0x1800_0028 as _;
const NOT_FULL: u32 = 1 << 1;
const NOT_EMPTY: u32 = 1 << 3;
const SSI_DATA: *mut u32 = 0x1800_0060 as _;
/// Entries of its FIFO, less two on their way.
const IN_FLIGHT: usize = 14;
/// The chip-select pin's control, and the override that drives it: low, high (RP2040 2.19.6.3, GPIO_QSPI_SS_CTRL, OUTOVER).
const SELECT: *mut u32 = 0x4001_800c as _;
const OVERRIDE: u32 = 0b11 << 8;
const LOW: u32 = 0b10 << 8;
const HIGH: u32 = 0b11 << 8;

/// The second-stage loader, out of the flash: called like a function it sets up reading from the chip again (RP2040 2.8.1.3.1).
static mut LOADER: [u32; 64] = [0; 64];

/// What is to be done with the chip, all of it in RAM or ROM.
struct Order {
    connect: unsafe extern "C" fn(),
    leave_reading: unsafe extern "C" fn(),
    flush_cache: unsafe extern "C" fn(),
    read_again: unsafe extern "C" fn(),
    /// What goes to the chip, and is replaced by what comes back.
    bytes: *mut u8,
    count: usize,
    /// Whether the chip is changed by it: that must be enabled before, and takes its time.
    changes: bool,
}

/// Carries out an order.
///
/// # Safety
/// Interrupts are held back, and the order's functions and bytes do not lie in flash.
#[inline(never)]
#[unsafe(link_section = ".data.in_ram")]
unsafe fn carry_out(order: &Order) {
    // Safety: as the caller promises. Nothing from here to the end touches the flash: what this calls lies in RAM or ROM.
    unsafe {
        (order.connect)();
        (order.leave_reading)();
        if order.changes {
            let mut enable = WRITE_ENABLE;
            exchange(&raw mut enable, 1);
        }
        exchange(order.bytes, order.count);
        while order.changes {
            let mut status = [READ_STATUS, 0];
            exchange((&raw mut status).cast(), 2);
            if status[1] & BUSY == 0 {
                break;
            }
        }
        (order.flush_cache)();
        (order.read_again)();
    }
}

/// Sends bytes to the chip and puts what comes back in their place.
///
/// # Safety
/// The chip is not being read, and there are so many bytes.
#[inline(always)]
unsafe fn exchange(bytes: *mut u8, count: usize) {
    let (mut sent, mut got) = (0, 0);
    // Safety: as the caller promises; these registers are nobody else's meanwhile.
    unsafe {
        SELECT.write_volatile(SELECT.read_volatile() & !OVERRIDE | LOW);
        while got < count {
            let status = SSI_STATUS.read_volatile();
            if sent < count && sent - got < IN_FLIGHT && status & NOT_FULL != 0 {
                SSI_DATA.write_volatile(u32::from(bytes.add(sent).read_volatile()));
                sent += 1;
            }
            if got < sent && status & NOT_EMPTY != 0 {
                bytes.add(got).write_volatile(SSI_DATA.read_volatile() as u8);
                got += 1;
            }
        }
        SELECT.write_volatile(SELECT.read_volatile() & !OVERRIDE | HIGH);
    }
}

/// The memory.
pub struct Flash {
    unique_id: [u8; 8],
}

impl Flash {
    /// Takes the chip; none if it is smaller than these boards' are. To be called once, at start-up.
    pub fn start() -> Option<Self> {
        let words = BOOT2.as_chunks::<4>().0.iter().map(|word| u32::from_le_bytes(*word));
        // Safety: nobody else knows of it, and nobody writes to it any more.
        let loader = unsafe { &mut *addr_of_mut!(LOADER) };
        loader.iter_mut().zip(words).for_each(|(at, word)| *at = word);
        let mut jedec = [READ_JEDEC_ID, 0, 0, 0];
        order(&mut jedec, false);
        let [_, _, _, capacity_log2] = jedec;
        if !(CHIP_LOG2..32).contains(&capacity_log2) {
            return None;
        }
        let mut bytes = [READ_UNIQUE_ID, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
        order(&mut bytes, false);
        let [_, _, _, _, _, unique_id @ ..] = bytes;
        Some(Self { unique_id })
    }

    /// What the chip calls itself: no other of its maker's has this number.
    pub const fn unique_id(&self) -> [u8; 8] {
        self.unique_id
    }

    /// An instruction with the place of an offset in the memory.
    fn head(instruction: u8, offset: u32) -> [u8; HEAD] {
        let [_, high, middle, low] = (PROGRAM as u32 + offset).to_be_bytes();
        [instruction, high, middle, low]
    }
}

/// Gives bytes to the chip, which are replaced by its answer.
fn order(bytes: &mut [u8], changes: bool) {
    // Safety: the loader was copied by `start`, which is called before anything else here; it is code for this controller, and bit
    // 0 says so.
    let read_again = unsafe {
        let at = addr_of!(LOADER).cast::<u8>().wrapping_add(1).cast::<()>();
        core::mem::transmute::<*const (), unsafe extern "C" fn()>(at)
    };
    let order = Order {
        connect: rom_data::connect_internal_flash::ptr(),
        leave_reading: rom_data::flash_exit_xip::ptr(),
        flush_cache: rom_data::flash_flush_cache::ptr(),
        read_again,
        bytes: bytes.as_mut_ptr(),
        count: bytes.len(),
        changes,
    };
    // Safety: interrupts are held back; functions and bytes lie in ROM and RAM: every slice that comes here is on the stack.
    cortex_m::interrupt::free(|_| unsafe { carry_out(&order) });
}

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        let from = (READ_AT + PROGRAM + offset as usize) as *const u8;
        // Safety: within the chip, as was checked, whose every byte can be read; what changes it goes through calls that hide it.
        unsafe { core::ptr::copy_nonoverlapping(from, bytes.as_mut_ptr(), bytes.len()) };
        Ok(())
    }

    fn capacity(&self) -> usize {
        CHIP - PROGRAM
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        (from..to).step_by(SECTOR).for_each(|at| order(&mut Self::head(SECTOR_ERASE, at), true));
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        let (mut at, mut rest) = (offset, bytes);
        while !rest.is_empty() {
            let room = (PAGE - at as usize % PAGE).min(PIECE);
            let (piece, after) = rest.split_at_checked(room).unwrap_or((rest, &[]));
            let mut all = [0; HEAD + PIECE];
            let sent = Self::head(PAGE_PROGRAM, at);
            all.iter_mut().zip(sent.iter().chain(piece)).for_each(|(at, byte)| *at = *byte);
            order(all.get_mut(..HEAD + piece.len()).unwrap_or(&mut []), true);
            at += piece.len() as u32;
            rest = after;
        }
        Ok(())
    }
}
