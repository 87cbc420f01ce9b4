//! Published vectors: CRC, COBS, postcard's numbers.
#![allow(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]

use hingeline_protocol::cobs::{Stuffer, Unstuffer};
use hingeline_protocol::frame::check;
use hingeline_protocol::*;

/// CRC-32 of "123456789": the check value of the catalogue of parametrised CRC algorithms (CRC-32/ISO-HDLC).
#[test]
fn crc_of_the_nine_digits() {
    assert_eq!(check(b"123456789"), 0xCBF4_3926);
}

/// The examples of the Wikipedia article on COBS (from S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing",
/// IEEE/ACM Transactions on Networking 7(2), 1999).
#[test]
fn cobs_examples() {
    let counting = |first: u8, last: u8| (first..=last).collect::<Vec<u8>>();
    let examples: [(Vec<u8>, Vec<u8>); 8] = [
        (vec![0], vec![1, 1]),
        (vec![0, 0], vec![1, 1, 1]),
        (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
        (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
        (counting(1, 0xfe), [vec![0xff], counting(1, 0xfe)].concat()),
        (counting(0, 0xfe), [vec![1, 0xff], counting(1, 0xfe)].concat()),
        (counting(1, 0xff), [vec![0xff], counting(1, 0xfe), vec![2, 0xff]].concat()),
        ([counting(2, 0xff), vec![0]].concat(), [vec![0xff], counting(2, 0xff), vec![1, 1]].concat()),
    ];
    for (plain, stuffed) in examples {
        let mut out = [0xaa; 300];
        let mut stuffer = Stuffer::new(&mut out);
        plain.iter().for_each(|&byte| stuffer.push(byte).unwrap());
        let used = stuffer.finish().unwrap();
        assert_eq!(&out[..used], [&stuffed[..], &[0]].concat(), "{plain:02x?}");
        let mut unstuffer = Unstuffer::new();
        let back: Vec<u8> = stuffed.iter().filter_map(|&byte| unstuffer.push(byte)).collect();
        assert!(unstuffer.is_whole());
        assert_eq!(back, plain);
    }
}

/// Numbers of postcard's specification of its wire format, read out of the messages that carry them: u16 as a sensor's
/// `every`, f32 as a channel's scale.
#[test]
fn postcard_numbers() {
    let config = |every| SensorConfig {
        index: 0,
        name: Default::default(),
        part: Default::default(),
        bus: 0,
        mux: None,
        address: 0,
        input: 0,
        excitation: None,
        component: Component::Length,
        every,
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    };
    let mut out = [0; 64];
    for (every, bytes) in
        [(127, &[0x7f][..]), (128, &[0x80, 0x01]), (16383, &[0xff, 0x7f]), (65535, &[0xff, 0xff, 0x03])]
    {
        let used = HostMessage::SetSensor(config(every)).encode(&mut out).unwrap();
        assert_eq!(&out[used - 3 - bytes.len()..used - 3], bytes);
        assert_eq!(HostMessage::decode(&out[..used]).unwrap(), HostMessage::SetSensor(config(every)));
    }
    // 80 80 80 00 is refused as a u16: longer than its longest form.
    let used = HostMessage::SetSensor(config(0)).encode(&mut out).unwrap();
    let bytes = [&out[..used - 4], &[0x80, 0x80, 0x80, 0], &out[used - 3..used]].concat();
    assert_eq!(HostMessage::decode(&bytes), Err(DecodeError::Malformed));

    // f32: −32.005859375 is 00 06 00 C2. The range after it: i32 −1 → 01, 64 → 80 01.
    let channel = Channel {
        index: 0,
        count: 1,
        sensor_index: 0,
        sensor: Default::default(),
        component: Component::Length,
        quantity: Quantity::Voltage,
        unit: Unit::Volt,
        scale: -32.005_86,
        offset: 0.0,
        raw_min: -1,
        raw_max: 64,
        ratio_to: None,
        group: 0,
        slot_us: 0,
        period_us: 0,
    };
    let used = DeviceMessage::Channel(channel).encode(&mut out).unwrap();
    assert_eq!(&out[8..used - 4], [0x00, 0x06, 0x00, 0xc2, 0, 0, 0, 0, 0x01, 0x80, 0x01]);
}
