//! The buses behind a serial line: both ends against each other, and against damage.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]

use embedded_hal::i2c::{ErrorKind, I2c, NoAcknowledgeSource};
use hingeline_firmware::Recover;
use hingeline_firmware::far_bus::{
    ANSWER_WITHIN_US, Answer, Became, Body, FarBus, Line, MAX_BYTES, MAX_FRAME, Question, Reader, What,
};
use proptest::prelude::*;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;

/// A line to a peer within the test, which answers every question by a function.
struct Wire<F> {
    now_us: u64,
    reader: Reader,
    waiting: VecDeque<u8>,
    answer: F,
    asked: Rc<RefCell<Vec<Question>>>,
}

impl<F: FnMut(&Question) -> Option<Answer>> Line for Wire<F> {
    fn now_us(&mut self) -> u64 {
        self.now_us += 10;
        self.now_us
    }

    fn put(&mut self, byte: u8) {
        if let Some(question) = self.reader.push::<Question>(byte) {
            self.waiting.extend((self.answer)(&question).iter().flat_map(|answer| answer.frame()));
            self.asked.borrow_mut().push(question);
        }
    }

    fn get(&mut self) -> Option<u8> {
        self.waiting.pop_front()
    }

    fn wait_until(&mut self, until_us: u64) {
        self.now_us = self.now_us.max(until_us);
    }
}

type Asked = Rc<RefCell<Vec<Question>>>;

fn far_bus<F: FnMut(&Question) -> Option<Answer>>(bus: u8, answer: F) -> (FarBus<Wire<F>>, Asked) {
    let asked = Asked::default();
    let wire =
        Wire { now_us: 0, reader: Reader::new(), waiting: VecDeque::new(), answer, asked: asked.clone() };
    (FarBus::new(wire, bus), asked)
}

fn answer(question: &Question, became: Became, read: &[u8]) -> Option<Answer> {
    let read = heapless::Vec::from_slice(read).unwrap();
    Some(Answer { number: question.number, bus: question.bus, became, took_us: 300, read })
}

#[test]
fn a_transfer_reaches_the_peer_and_comes_back() {
    let (mut bus, asked) = far_bus(2, |q| answer(q, Became::Done, &[7, 8][..usize::from(q.wanted)]));
    let mut read = [0; 2];
    bus.write_read(0x48, &[1, 2, 3], &mut read).unwrap();
    assert_eq!(read, [7, 8]);
    bus.write(0x70, &[4]).unwrap();
    let asked = asked.borrow();
    assert_eq!(
        (asked[0].bus, asked[0].address, &asked[0].written[..], asked[0].wanted),
        (2, 0x48, &[1, 2, 3][..], 2)
    );
    assert_eq!((asked[1].address, &asked[1].written[..], asked[1].wanted), (0x70, &[4][..], 0));
    // The first took as long as a bus would have taken.
    assert!(asked[1].start_us >= asked[0].start_us + 300);
}

#[test]
fn what_a_bus_says_is_what_a_driver_hears() {
    let (mut bus, _) = far_bus(0, |q| answer(q, Became::NoAcknowledge, &[]));
    let nobody = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown));
    assert_eq!(bus.write(0x48, &[0]), nobody);
    let (mut bus, _) = far_bus(0, |q| answer(q, Became::BusTrouble, &[]));
    assert_eq!(bus.read(0x48, &mut [0]), Err(ErrorKind::Bus));
    assert!(!bus.recover());
    let (mut bus, asked) = far_bus(3, |q| answer(q, Became::Done, &[]));
    assert!(bus.recover());
    assert_eq!((asked.borrow()[0].what, asked.borrow()[0].bus), (What::Recover, 3));
    // An answer without the bytes that were asked for is none.
    assert_eq!(bus.read(0x48, &mut [0]), Err(ErrorKind::Bus));
    assert_eq!(bus.write(0x48, &[0; MAX_BYTES + 1]), Err(ErrorKind::Other));
}

#[test]
fn frames_are_as_described() {
    let question = Question {
        number: 7,
        bus: 2,
        what: What::Recover,
        address: 0x48,
        wanted: 2,
        start_us: 0x01_0203,
        written: heapless::Vec::from_slice(&[9]).unwrap(),
    };
    // The last byte from a bitwise CRC-8 of polynomial 0x07, made apart.
    assert_eq!(question.frame()[..], [0xa5, 1, 7, 5, 0x48, 2, 3, 2, 1, 0, 0, 9, 0xf1]);
    let answer = answer(&question, Became::BusTrouble, &[0xfe]).unwrap();
    assert_eq!(answer.frame()[..], [0x5a, 1, 7, 2 << 2 | 2, 0x2c, 1, 0xfe, 0xc4]);
}

#[test]
fn silence_ends_and_a_late_answer_is_nobodys() {
    let mut late = None;
    let (mut bus, asked) = far_bus(1, move |q| {
        let now = answer(q, Became::Done, &[q.number]);
        // The answer to each question comes with the next one.
        let before = late.take();
        late = now.clone();
        if q.number == 1 { None } else { before.filter(|_| q.number == 2).or(now) }
    });
    let mut byte = [0];
    assert_eq!(bus.read(0x36, &mut byte), Err(ErrorKind::Bus));
    assert_eq!(bus.read(0x36, &mut byte), Err(ErrorKind::Bus), "only the first one's answer came");
    assert!(asked.borrow()[1].start_us >= ANSWER_WITHIN_US);
    bus.read(0x36, &mut byte).unwrap();
    assert_eq!(byte, [3]);
}

proptest! {
    #[test]
    fn any_question_and_answer_come_through_after_any_noise(
        noise in proptest::collection::vec(any::<u8>(), 0..40),
        bytes in proptest::collection::vec(any::<u8>(), 0..=MAX_BYTES),
        (number, bus, address, wanted) in any::<(u8, u8, u8, u8)>(),
        start_us in 0_u64..1 << 40,
    ) {
        let question = Question {
            number, bus: bus % 64, what: What::Transfer, address, wanted, start_us,
            written: heapless::Vec::from_slice(&bytes).unwrap(),
        };
        let answer = Answer {
            number, bus: bus % 64, became: Became::Done, took_us: 9, read: question.written.clone(),
        };
        let mut reader = Reader::new();
        let heard: Vec<Question> = question.frame().iter().filter_map(|b| reader.push(*b)).collect();
        prop_assert_eq!(&heard, std::slice::from_ref(&question));
        let mut reader = Reader::new();
        let heard: Vec<Answer> = answer.frame().iter().filter_map(|b| reader.push(*b)).collect();
        prop_assert_eq!(heard, [answer]);
        // Noise may swallow what follows, and a check of eight bits lets one frame in 256 of it through. But when as many bytes as
        // the longest frame has are past, the reader has found its way, and hears what is asked and nothing else.
        let mut reader = Reader::new();
        noise.iter().for_each(|b| drop(reader.push::<Question>(*b)));
        let settle = MAX_FRAME.div_ceil(question.frame().len());
        (0..settle).flat_map(|_| question.frame()).for_each(|b| drop(reader.push::<Question>(b)));
        let again: Vec<Question> =
            (0..20).flat_map(|_| question.frame()).filter_map(|b| reader.push(b)).collect();
        prop_assert!(again.iter().all(|q| q == &question) && again.len() >= 19);
    }

    #[test]
    fn no_single_flip_gets_through(
        bytes in proptest::collection::vec(any::<u8>(), 0..20),
        place in any::<proptest::sample::Index>(),
        bit in 0_u8..8,
    ) {
        let question = Question {
            number: 1, bus: 0, what: What::Transfer, address: 0x48, wanted: 2, start_us: 77,
            written: heapless::Vec::from_slice(&bytes).unwrap(),
        };
        let mut frame = question.frame();
        // A flip in the length makes the reader wait for more, or end early: both fail the check or go on.
        let place = place.index(frame.len());
        frame[place] ^= 1_u8 << bit;
        let mut reader = Reader::new();
        let heard = frame.iter().filter_map(|b| reader.push::<Question>(*b)).count();
        prop_assert!(heard == 0 || place == 1);
    }
}
