//! A bad line, on purpose: bytes are lost, late, doubled, turned, and the cable is pulled, all drawn from a seed, so that the
//! same badness comes again. It stands between any line and whoever reads it, and counts what it did.

use super::line::{Connect, Line};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::cell::RefCell;
use std::io::{self, ErrorKind};
use std::rc::Rc;
use std::time::Duration;

/// How likely each fault is, for each piece of bytes that comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rates {
    /// The piece is lost.
    pub drop: f64,
    /// The piece comes later, after some reads that bring nothing; what follows waits behind it.
    pub delay: f64,
    /// The piece comes twice.
    pub twice: f64,
    /// One bit of it is turned.
    pub flip: f64,
    /// It is cut somewhere: its end is lost.
    pub cut: f64,
    /// The cable is pulled, and put back some reads later; what is sent meanwhile is lost.
    pub unplug: f64,
}

impl Rates {
    /// A line at which a workshop would despair: of a hundred pieces some eight are hurt, and every few hundred the cable goes.
    pub const BAD: Rates =
        Rates { drop: 0.02, delay: 0.02, twice: 0.015, flip: 0.015, cut: 0.01, unplug: 0.003 };
    /// A line without a fault.
    pub const NONE: Rates = Rates { drop: 0.0, delay: 0.0, twice: 0.0, flip: 0.0, cut: 0.0, unplug: 0.0 };
}

/// Longest delay, and longest time without a cable, in reads.
const LONGEST_READS: u32 = 40;

/// What was done to the bytes that came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Done {
    /// Pieces lost whole.
    pub dropped: u64,
    /// Pieces that came late.
    pub delayed: u64,
    /// Pieces that came twice.
    pub twice: u64,
    /// Bits turned.
    pub flipped: u64,
    /// Pieces cut.
    pub cut: u64,
    /// Times that the cable was pulled.
    pub unplugged: u64,
}

/// The faults of one line, drawn from a seed.
#[derive(Debug, Clone)]
pub struct Faults {
    rates: Rates,
    random: ChaCha8Rng,
    /// Reads that are still to bring nothing.
    late: u32,
    /// Reads until the cable is back.
    out: u32,
    waiting: Vec<u8>,
    done: Done,
}

impl Faults {
    /// The faults of this seed.
    pub fn new(seed: u64, rates: Rates) -> Self {
        Self {
            rates,
            random: ChaCha8Rng::seed_from_u64(seed),
            late: 0,
            out: 0,
            waiting: Vec::new(),
            done: Done::default(),
        }
    }

    /// What was done so far.
    pub fn done(&self) -> Done {
        self.done
    }

    /// Whether the cable is out.
    pub fn is_out(&self) -> bool {
        self.out > 0
    }

    fn happens(&mut self, rate: f64) -> bool {
        self.random.random_bool(rate)
    }

    fn below(&mut self, bound: usize) -> usize {
        if bound == 0 { 0 } else { (self.random.next_u64() % bound as u64) as usize }
    }

    /// Passes a piece on: gives what comes out at the other end now. An empty piece is a read that brought nothing.
    pub fn pass(&mut self, piece: &[u8]) -> Vec<u8> {
        if self.out > 0 {
            self.out -= 1;
            return Vec::new();
        }
        if !piece.is_empty() {
            self.take(piece);
        }
        if self.late > 0 {
            self.late -= 1;
            return Vec::new();
        }
        if self.out > 0 { Vec::new() } else { std::mem::take(&mut self.waiting) }
    }

    fn take(&mut self, piece: &[u8]) {
        let rates = self.rates;
        if self.happens(rates.unplug) {
            self.done.unplugged += 1;
            self.out = 1 + self.below(LONGEST_READS as usize) as u32;
            self.late = 0;
            // What was on its way goes with the cable.
            self.waiting.clear();
            return;
        }
        if self.happens(rates.drop) {
            self.done.dropped += 1;
            return;
        }
        let mut piece = piece.to_vec();
        if self.happens(rates.flip) {
            self.done.flipped += 1;
            let bit = self.below(8 * piece.len());
            if let Some(byte) = piece.get_mut(bit / 8) {
                *byte ^= 1 << (bit % 8);
            }
        }
        if self.happens(rates.cut) {
            self.done.cut += 1;
            let length = self.below(piece.len());
            piece.truncate(length);
        }
        if self.happens(rates.twice) {
            self.done.twice += 1;
            piece.extend_from_within(..);
        }
        if self.happens(rates.delay) {
            self.done.delayed += 1;
            self.late = 1 + self.below(LONGEST_READS as usize) as u32;
        }
        self.waiting.append(&mut piece);
    }
}

/// A way to open a line, with faults on every line that it opens: they go on where the last one left off.
pub struct FaultyConnect<C> {
    inner: C,
    faults: Rc<RefCell<Faults>>,
}

impl<C> FaultyConnect<C> {
    /// Faults of this seed on the lines of `inner`.
    pub fn new(inner: C, seed: u64, rates: Rates) -> Self {
        Self { inner, faults: Rc::new(RefCell::new(Faults::new(seed, rates))) }
    }

    /// What was done so far.
    pub fn done(&self) -> Done {
        self.faults.borrow().done()
    }
}

impl<C: Connect> Connect for FaultyConnect<C> {
    fn connect(&mut self) -> io::Result<Box<dyn Line>> {
        let mut faults = self.faults.borrow_mut();
        if faults.is_out() {
            // A try takes as long as a read.
            faults.pass(&[]);
            return Err(ErrorKind::NotFound.into());
        }
        let line = self.inner.connect()?;
        Ok(Box::new(FaultyLine { line, faults: self.faults.clone(), rest: Vec::new() }))
    }

    fn name(&self) -> &str {
        self.inner.name()
    }
}

/// A line with faults on what it brings; what is sent the other way passes, as long as there is a cable.
struct FaultyLine {
    line: Box<dyn Line>,
    faults: Rc<RefCell<Faults>>,
    /// Bytes that did not fit the reader's buffer.
    rest: Vec<u8>,
}

impl Line for FaultyLine {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize> {
        let mut faults = self.faults.borrow_mut();
        if self.rest.is_empty() {
            let count = self.line.read(buffer, timeout)?;
            self.rest = faults.pass(buffer.get(..count).unwrap_or_default());
        }
        if faults.is_out() {
            return Err(ErrorKind::BrokenPipe.into());
        }
        let count = self.rest.len().min(buffer.len());
        for (to, from) in buffer.iter_mut().zip(self.rest.drain(..count)) {
            *to = from;
        }
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.faults.borrow().is_out() { Err(ErrorKind::BrokenPipe.into()) } else { self.line.write(bytes) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passed(seed: u64, rates: Rates) -> (Vec<u8>, Done) {
        let mut faults = Faults::new(seed, rates);
        let mut out = Vec::new();
        for k in 0..2000_u32 {
            out.extend(faults.pass(&k.to_le_bytes()));
        }
        for _ in 0..LONGEST_READS {
            out.extend(faults.pass(&[]));
        }
        (out, faults.done())
    }

    #[test]
    fn a_good_line_passes_everything_and_a_seed_tells_the_faults() {
        let all: Vec<u8> = (0..2000_u32).flat_map(u32::to_le_bytes).collect();
        assert_eq!(passed(1, Rates::NONE), (all, Done::default()));
        assert_eq!(passed(7, Rates::BAD), passed(7, Rates::BAD));
        assert_ne!(passed(7, Rates::BAD).0, passed(8, Rates::BAD).0);
        let done = passed(7, Rates::BAD).1;
        let each = [done.dropped, done.delayed, done.twice, done.flipped, done.cut, done.unplugged];
        assert!(each.iter().all(|count| *count > 0), "{done:?}");
    }

    #[test]
    fn delays_keep_the_order_and_lose_nothing() {
        let rates = Rates { delay: 0.3, ..Rates::NONE };
        let (out, done) = passed(3, rates);
        assert_eq!(out, passed(3, Rates::NONE).0);
        assert!(done.delayed > 50, "{done:?}");
    }
}
