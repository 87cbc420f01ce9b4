//! A hostile line: whatever happens to the bytes, nothing wrong is delivered and every loss is counted.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]

mod strategies;

use hingeline_protocol::sizes::{MAX_FRAME, MAX_WIRE};
use hingeline_protocol::*;
use proptest::collection::vec;
use proptest::prelude::*;
use strategies::{device_message, host_message};

fn frame<M: WireMessage>(message: &M) -> Vec<u8> {
    let mut out = [0; MAX_WIRE];
    let used = encode_frame(message, &mut out).unwrap();
    out[..used].to_vec()
}

/// A frame with `content` (version byte and message) whose CRC and COBS are right.
fn frame_of(content: &[u8]) -> Vec<u8> {
    let mut out = vec![0; 2 * content.len() + 16];
    let mut stuffer = cobs::Stuffer::new(&mut out);
    for &byte in content.iter().chain(&frame::check(content).to_le_bytes()) {
        stuffer.push(byte).unwrap();
    }
    let used = stuffer.finish().unwrap();
    out.truncate(used);
    out
}

fn receive<M: WireMessage>(bytes: &[u8]) -> (Vec<M>, FrameCounts) {
    let mut messages = Vec::new();
    let mut decoder = FrameDecoder::<M>::new();
    decoder.feed(bytes, |received| match received {
        Received::Message(message) => messages.push(message),
        Received::OtherMajor(major) => panic!("major {major}"),
    });
    (messages, *decoder.counts())
}

/// Delimiters that end nothing.
fn lone_delimiters(bytes: &[u8]) -> usize {
    let after_zero = bytes.windows(2).filter(|pair| pair == &[0, 0]).count();
    after_zero + usize::from(bytes.first() == Some(&0))
}

/// Bytes after the last delimiter: they wait for the rest of their frame.
fn waiting(bytes: &[u8]) -> usize {
    bytes.iter().rev().take_while(|&&byte| byte != 0).count()
}

/// Whether `part` is `whole` with some elements left out.
fn is_subsequence<M: PartialEq>(part: &[M], whole: &[M]) -> bool {
    let mut rest = whole.iter();
    part.iter().all(|message| rest.any(|other| other == message))
}

/// Every byte is in a delivered frame, in a lone delimiter, waiting, or counted as dropped.
fn every_byte_is_accounted<M: WireMessage>(
    line: &[u8],
    messages: &[M],
    counts: &FrameCounts,
) -> Result<(), TestCaseError> {
    let delivered: usize = messages.iter().map(|message| frame(message).len()).sum();
    prop_assert_eq!(
        counts.dropped_bytes as usize,
        line.len() - delivered - lone_delimiters(line) - waiting(line)
    );
    prop_assert_eq!(counts.frames as usize, messages.len());
    Ok(())
}

proptest! {
    #[test]
    fn pieces_of_any_size(sent in vec(device_message(), 1..5), cuts in vec(any::<prop::sample::Index>(), 0..20)) {
        let line: Vec<u8> = sent.iter().flat_map(frame).collect();
        let mut cuts: Vec<usize> = cuts.iter().map(|cut| cut.index(line.len())).collect();
        cuts.extend([0, line.len()]);
        cuts.sort();
        let mut decoder = FrameDecoder::<DeviceMessage>::new();
        let mut messages = Vec::new();
        for pair in cuts.windows(2) {
            decoder.feed(&line[pair[0]..pair[1]], |received| messages.push(received));
        }
        prop_assert_eq!(messages, sent.iter().cloned().map(Received::Message).collect::<Vec<_>>());
        prop_assert_eq!(*decoder.counts(), FrameCounts { frames: sent.len() as u32, ..FrameCounts::default() });
    }

    /// A receiver that joins in the middle of a frame gets all that follow, and no complaint about the line.
    #[test]
    fn joined_inside(first in device_message(), rest in vec(device_message(), 1..4), at in any::<prop::sample::Index>()) {
        let head = frame(&first);
        // At 0 it would be whole; at its delimiter nothing is left of it.
        let at = 1 + at.index(head.len() - 2);
        let line: Vec<u8> = head[at..].iter().copied().chain(rest.iter().flat_map(frame)).collect();
        let (messages, counts) = receive::<DeviceMessage>(&line);
        prop_assert_eq!(&messages, &rest);
        prop_assert_eq!((counts.joined_inside, counts.refused()), (1, 0));
        every_byte_is_accounted(&line, &messages, &counts)?;
    }

    /// Bits flip. A CRC of 32 bits finds every such error of a short frame; the frames that were not hit all arrive.
    #[test]
    fn bits_flip(sent in vec(host_message(), 3..6), flips in vec((any::<prop::sample::Index>(), 0_u8..8), 1..4)) {
        let frames: Vec<Vec<u8>> = sent.iter().map(frame).collect();
        let clean: Vec<u8> = frames.concat();
        let mut line = clean.clone();
        for (at, bit) in &flips {
            line[at.index(clean.len())] ^= 1_u8 << bit;
        }
        let mut expected = Vec::new();
        let mut start = 0;
        let mut before_is_whole = true;
        for (bytes, message) in frames.iter().zip(&sent) {
            let range = start..start + bytes.len();
            let untouched = line[range.clone()] == clean[range];
            if untouched && before_is_whole {
                expected.push(message.clone());
            }
            // A frame that lost its delimiter swallows the next.
            before_is_whole = line[start + bytes.len() - 1] == 0;
            start += bytes.len();
        }
        let (messages, counts) = receive::<HostMessage>(&line);
        prop_assert!(is_subsequence(&messages, &sent), "{:?} out of {:?}", messages, sent);
        prop_assert!(is_subsequence(&expected, &messages), "lost {:?} of {:?}", messages, expected);
        if messages.len() < sent.len() {
            prop_assert!(counts.refused() + counts.joined_inside > 0 || waiting(&line) > 0);
        }
        every_byte_is_accounted(&line, &messages, &counts)?;
    }

    /// Bytes are lost or doubled.
    #[test]
    fn bytes_vanish_or_double(sent in vec(host_message(), 2..5), at in any::<prop::sample::Index>(), double: bool) {
        let mut line: Vec<u8> = sent.iter().flat_map(frame).collect();
        let at = at.index(line.len());
        if double { line.insert(at, line[at]); } else { line.remove(at); }
        let (messages, counts) = receive::<HostMessage>(&line);
        prop_assert!(is_subsequence(&messages, &sent));
        prop_assert!(messages.len() + 2 >= sent.len());
        if messages.len() < sent.len() {
            prop_assert!(counts.refused() + counts.joined_inside > 0 || waiting(&line) > 0);
        }
        every_byte_is_accounted(&line, &messages, &counts)?;
    }

    /// Pure noise between two frames: the second still arrives.
    #[test]
    fn noise_between_frames(first in host_message(), noise in vec(any::<u8>(), 0..2000), second in host_message()) {
        let mut line = frame(&first);
        line.extend(&noise);
        line.push(0);
        line.extend(frame(&second));
        let (messages, counts) = receive::<HostMessage>(&line);
        prop_assert_eq!(&messages, &[first, second]);
        every_byte_is_accounted(&line, &messages, &counts)?;
    }

    /// A kind that a newer version added is skipped and counted, whatever its content.
    #[test]
    fn unknown_kinds(kind in HostMessage::KINDS as u8..0x80, content in vec(any::<u8>(), 0..100), next in host_message()) {
        let mut body = vec![MAJOR, kind];
        body.extend(content);
        let mut line = frame_of(&body);
        line.extend(frame(&next));
        let (messages, counts) = receive::<HostMessage>(&line);
        prop_assert_eq!(&messages, &[next]);
        prop_assert_eq!((counts.unknown_kinds, counts.refused()), (1, 0));
    }

    /// So is an event kind inside a known message.
    #[test]
    fn unknown_event_kinds(kind in 14_u8..0x80, content in vec(any::<u8>(), 0..20)) {
        let mut body = vec![MAJOR, 3, 0x05, kind];
        body.extend(content);
        let (messages, counts) = receive::<DeviceMessage>(&frame_of(&body));
        prop_assert!(messages.is_empty());
        prop_assert_eq!((counts.unknown_kinds, counts.refused()), (1, 0));
    }

    /// Another major version is refused by its number, whatever the rest of the frame means there.
    #[test]
    fn other_major(major in any::<u8>().prop_filter("ours", |major| *major != MAJOR), content in vec(any::<u8>(), 0..100)) {
        let mut body = vec![major];
        body.extend(content);
        let mut decoder = FrameDecoder::<HostMessage>::new();
        let mut received = Vec::new();
        decoder.feed(&frame_of(&body), |what| received.push(what));
        prop_assert_eq!(received, vec![Received::OtherMajor(major)]);
        prop_assert_eq!(decoder.counts().other_major, 1);
    }

    /// Bytes after a message are refused: a sender with one field more than this version is not half understood.
    #[test]
    fn left_over_bytes(message in host_message(), extra in vec(any::<u8>(), 1..10)) {
        let mut body = vec![0; 256];
        body[0] = MAJOR;
        let used = message.encode(&mut body[1..]).unwrap();
        body.truncate(1 + used);
        body.extend(extra);
        let (messages, counts) = receive::<HostMessage>(&frame_of(&body));
        prop_assert!(messages.is_empty());
        prop_assert_eq!((counts.left_over, counts.refused()), (1, 1));
    }

    /// After a frame that does not fit, the good frame that follows is not lost.
    #[test]
    fn overflow_keeps_the_next(excess in 1_usize..2000, next in device_message()) {
        let mut line = frame_of(&vec![MAJOR; MAX_FRAME - 4 + excess]);
        line.extend(frame(&next));
        // A lone delimiter first, so that the receiver is in step.
        line.insert(0, 0);
        let (messages, counts) = receive::<DeviceMessage>(&line);
        prop_assert_eq!(&messages, &[next]);
        prop_assert_eq!((counts.oversize, counts.refused()), (1, 1));
        every_byte_is_accounted(&line, &messages, &counts)?;
    }
}

/// Every single bit of a frame flipped, one after the other: the frame before and the one after arrive, the hit one
/// never does, and it is counted.
#[test]
fn no_single_flip_gets_through() {
    let block = SampleBlock {
        sequence: 7,
        group: 0,
        first_scan: 140,
        first_time_us: 1_000_000,
        period_us: 5000,
        mask: 0xfff,
        scans: 20,
        payload: heapless::Vec::from_slice(&[0; 300]).unwrap(),
    };
    let before = frame(&DeviceMessage::Pong(Pong { host_us: 1, device_us: 2 }));
    let hit = frame(&DeviceMessage::Samples(block));
    for bit in 0..8 * (hit.len() - 1) {
        let mut damaged = hit.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        let line = [&before[..], &damaged, &before].concat();
        let (messages, counts) = receive::<DeviceMessage>(&line);
        assert_eq!(messages.len(), 2, "bit {bit}");
        assert!(counts.bad_crc + counts.bad_cobs > 0, "bit {bit}");
        assert_eq!(counts.dropped_bytes as usize, hit.len() - lone_delimiters(&line), "bit {bit}");
    }
}

/// KINDS is the number of variants: one above is unknown, the last is not.
#[test]
fn kinds_are_counted() {
    for kind in 0..=0x7f_u8 {
        let unknown = |result: bool| assert_eq!(result, u32::from(kind) >= HostMessage::KINDS, "{kind}");
        unknown(HostMessage::decode(&[kind]) == Err(DecodeError::Unknown));
        let unknown = |result: bool| assert_eq!(result, u32::from(kind) >= DeviceMessage::KINDS, "{kind}");
        unknown(DeviceMessage::decode(&[kind]) == Err(DecodeError::Unknown));
    }
}
