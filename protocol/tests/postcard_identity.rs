//! The wire equals what the `postcard`, `crc` and `cobs` crates write and read, over every message.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]

mod strategies;

use hingeline_protocol::sizes::{MAX_MESSAGE, MAX_WIRE};
use hingeline_protocol::*;
use proptest::prelude::*;
use serde::Serialize;
use strategies::{device_message, host_message};

/// The frame as the three crates build it.
fn frame_by_crates<M: Serialize>(message: &M) -> Vec<u8> {
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let mut plain = [0; 2 * MAX_MESSAGE];
    let plain = postcard::to_slice_crc32(&(MAJOR, message), &mut plain, crc.digest()).unwrap();
    let mut stuffed = vec![0; ::cobs::max_encoding_length(plain.len())];
    let length = ::cobs::encode(plain, &mut stuffed);
    stuffed.truncate(length);
    stuffed.push(0);
    stuffed
}

/// Undoes the crates' framing of our frame.
fn open_by_crates<M: serde::de::DeserializeOwned>(frame: &[u8]) -> M {
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let mut plain = vec![0; frame.len()];
    let length = ::cobs::decode(&frame[..frame.len() - 1], &mut plain).unwrap().frame_size();
    let ((major, message), rest) =
        postcard::take_from_bytes_crc32::<(u8, M)>(&plain[..length], crc.digest()).unwrap();
    assert_eq!((major, rest.len()), (MAJOR, 0));
    message
}

fn check_both_ways<M>(message: &M) -> Result<(), TestCaseError>
where
    M: WireMessage + serde::de::DeserializeOwned + PartialEq + core::fmt::Debug + Clone,
{
    let mut ours = [0; MAX_MESSAGE];
    let used = message.encode(&mut ours).unwrap();
    let mut theirs = [0; MAX_MESSAGE];
    prop_assert_eq!(&ours[..used], &*postcard::to_slice(message, &mut theirs).unwrap());
    prop_assert_eq!(&M::decode(&ours[..used]).unwrap(), message);

    let mut frame = [0; MAX_WIRE];
    let used = encode_frame(message, &mut frame).unwrap();
    prop_assert_eq!(&open_by_crates::<M>(&frame[..used]), message);
    let theirs = frame_by_crates(message);
    let mut received = Vec::new();
    let mut decoder = FrameDecoder::<M>::new();
    decoder.feed(&theirs, |message| received.push(message));
    prop_assert_eq!(received, vec![Received::Message(message.clone())]);

    // One byte of room too few is an error, never a cut frame.
    let full = Err(WriteError::Full);
    prop_assert_eq!(encode_frame(message, &mut frame[..used - 1]), full);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn device_messages_are_postcard(message in device_message()) {
        check_both_ways(&message)?;
    }

    #[test]
    fn host_messages_are_postcard(message in host_message()) {
        check_both_ways(&message)?;
    }

    /// Our reader accepts what postcard accepts, and reads the same.
    #[test]
    fn reader_agrees_on_any_bytes(kind in 0_u8..16, rest in proptest::collection::vec(any::<u8>(), 0..80)) {
        let mut bytes = vec![kind];
        bytes.extend(rest);
        let theirs = postcard::take_from_bytes::<HostMessage>(&bytes);
        match (HostMessage::decode(&bytes), theirs) {
            (Ok(ours), Ok((theirs, rest))) => {
                prop_assert_eq!(ours, theirs);
                prop_assert!(rest.is_empty());
            }
            (Err(DecodeError::LeftOver), Ok((_, rest))) => prop_assert!(!rest.is_empty()),
            (Err(DecodeError::Unknown), Err(postcard::Error::SerdeDeCustom)) => {}
            (Err(DecodeError::Malformed), Err(error)) => prop_assert_ne!(error, postcard::Error::SerdeDeCustom),
            (ours, theirs) => prop_assert!(false, "{ours:?} but {theirs:?}"),
        }
    }

    /// So does it on a valid message with one byte changed or cut: the neighbourhood where readers differ.
    #[test]
    fn reader_agrees_near_messages(message in host_message(), at in any::<prop::sample::Index>(),
        value in prop_oneof![0_u8..4, any::<u8>()], cut: bool) {
        let mut buffer = [0; MAX_MESSAGE];
        let used = message.encode(&mut buffer).unwrap();
        let at = at.index(used);
        let bytes = if cut { &mut buffer[..at] } else { &mut buffer[..used] };
        if let Some(byte) = bytes.get_mut(at) {
            *byte = value;
        }
        let ours = HostMessage::decode(bytes).ok();
        let theirs = postcard::take_from_bytes::<HostMessage>(bytes)
            .ok().filter(|(_, rest)| rest.is_empty()).map(|(message, _)| message);
        prop_assert_eq!(ours, theirs);
    }
}
