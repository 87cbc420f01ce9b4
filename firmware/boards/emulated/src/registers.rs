//! The controller's registers that this board uses, by address. Data sheet: LM3S6965 (register maps of its chapters), and
//! for SysTick and the interrupt controller the ARMv7-M Architecture Reference Manual.

/// A 32-bit register.
#[derive(Clone, Copy)]
pub struct Register(usize);

impl Register {
    /// The register at `address`, which must be one of the controller's.
    const fn at(address: usize) -> Self {
        Self(address)
    }

    /// Reads it.
    pub fn read(self) -> u32 {
        // Safety: every register here is one of the controller's, word-aligned, and reading it breaks no memory.
        unsafe { (self.0 as *const u32).read_volatile() }
    }

    /// Writes it.
    pub fn write(self, value: u32) {
        // Safety: as above; no register here makes the controller write to memory.
        unsafe { (self.0 as *mut u32).write_volatile(value) }
    }
}

/// SysTick: control and status, reload value, current value.
pub const SYST_CSR: Register = Register::at(0xe000_e010);
pub const SYST_RVR: Register = Register::at(0xe000_e014);
pub const SYST_CVR: Register = Register::at(0xe000_e018);
/// Interrupt control and state; SysTick's pending bit.
pub const ICSR: Register = Register::at(0xe000_ed04);
pub const PENDSTSET: u32 = 1 << 26;
/// Enables interrupts 0 to 31.
pub const NVIC_ISER0: Register = Register::at(0xe000_e100);

/// Interrupts by number.
pub const UART0_IRQ: u32 = 5;
pub const TIMER0A_IRQ: u32 = 19;

/// General-purpose timer 0: configuration, mode, control, interrupt mask and clear, load.
pub const TIMER0_CFG: Register = Register::at(0x4003_0000);
pub const TIMER0_TAMR: Register = Register::at(0x4003_0004);
pub const TIMER0_CTL: Register = Register::at(0x4003_000c);
pub const TIMER0_IMR: Register = Register::at(0x4003_0018);
pub const TIMER0_ICR: Register = Register::at(0x4003_0024);
pub const TIMER0_TAILR: Register = Register::at(0x4003_0028);

/// The watchdog: load, control, interrupt clear, lock.
pub const WDT_LOAD: Register = Register::at(0x4000_0000);
pub const WDT_CTL: Register = Register::at(0x4000_0008);
pub const WDT_ICR: Register = Register::at(0x4000_000c);

/// Run-mode clock gating of the peripherals.
pub const RCGC0: Register = Register::at(0x400f_e100);
pub const RCGC1: Register = Register::at(0x400f_e104);

/// A serial port (PL011).
#[derive(Clone, Copy)]
pub struct Uart(usize);

pub const UART0: Uart = Uart(0x4000_c000);
pub const UART1: Uart = Uart(0x4000_d000);

impl Uart {
    const fn register(self, offset: usize) -> Register {
        Register::at(self.0 + offset)
    }

    /// Data (UARTDR).
    pub const fn data(self) -> Register {
        self.register(0x00)
    }

    /// Flags (UARTFR).
    pub const fn flags(self) -> Register {
        self.register(0x18)
    }

    /// Baud rate divisor, whole and 64ths (UARTIBRD, UARTFBRD).
    pub const fn divisor(self) -> [Register; 2] {
        [self.register(0x24), self.register(0x28)]
    }

    /// Line control (UARTLCRH).
    pub const fn line(self) -> Register {
        self.register(0x2c)
    }

    /// Control (UARTCTL).
    pub const fn control(self) -> Register {
        self.register(0x30)
    }

    /// Interrupt mask (UARTIM).
    pub const fn interrupts(self) -> Register {
        self.register(0x38)
    }
}

/// UARTFR: the receive FIFO is empty, the transmit FIFO is full.
pub const RX_EMPTY: u32 = 1 << 4;
pub const TX_FULL: u32 = 1 << 5;
