//! Arbitrary messages of every kind, shared by the property tests.
#![allow(dead_code, clippy::unwrap_used, reason = "each test uses its own part of these")]

use heapless::{String, Vec};
use hingeline_protocol::sizes::{MAX_PAYLOAD, MAX_STORED};
use hingeline_protocol::*;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

fn text<const N: usize>() -> impl Strategy<Value = String<N>> {
    vec(any::<char>(), 0..=N).prop_map(|letters| {
        let mut text = String::new();
        for letter in letters {
            if text.push(letter).is_err() {
                break;
            }
        }
        text
    })
}

fn bytes<const N: usize>() -> impl Strategy<Value = Vec<u8, N>> {
    vec(any::<u8>(), 0..=N).prop_map(|bytes| Vec::from_slice(&bytes).unwrap())
}

fn code<T: From<u8> + core::fmt::Debug>() -> impl Strategy<Value = T> {
    any::<u8>().prop_map(T::from)
}

fn mux_port() -> impl Strategy<Value = MuxPort> {
    any::<(u8, u8)>().prop_map(|(address, channel)| MuxPort { address, channel })
}

fn identity() -> impl Strategy<Value = Identity> {
    (
        any::<(u8, u8)>(),
        (text(), text(), bytes(), text()),
        any::<(u32, u64)>(),
        code(),
        any::<(u8, u8, bool, u32)>(),
    )
        .prop_map(
            |(
                (major, minor),
                (firmware, board, unique_id, build),
                (boot_count, uptime_us),
                reset_cause,
                (buses, channels, streaming, stored),
            )| Identity {
                major,
                minor,
                firmware,
                board,
                unique_id,
                build,
                boot_count,
                uptime_us,
                reset_cause,
                buses,
                channels,
                streaming,
                stored,
            },
        )
}

fn channel() -> impl Strategy<Value = Channel> {
    (
        any::<(u8, u8, u8)>(),
        (text(), code(), code(), code()),
        any::<(f32, f32, i32, i32)>(),
        option::of(any::<u8>()),
        any::<(u8, u32, u32)>(),
    )
        .prop_map(
            |(
                (index, count, sensor_index),
                (sensor, component, quantity, unit),
                (scale, offset, raw_min, raw_max),
                ratio_to,
                (group, slot_us, period_us),
            )| Channel {
                index,
                count,
                sensor_index,
                sensor,
                component,
                quantity,
                unit,
                scale,
                offset,
                raw_min,
                raw_max,
                ratio_to,
                group,
                slot_us,
                period_us,
            },
        )
}

fn block() -> impl Strategy<Value = SampleBlock> {
    (any::<(u32, u8, u32, u64)>(), any::<(u32, u64, u8)>(), bytes::<MAX_PAYLOAD>()).prop_map(
        |((sequence, group, first_scan, first_time_us), (period_us, mask, scans), payload)| SampleBlock {
            sequence,
            group,
            first_scan,
            first_time_us,
            period_us,
            mask,
            scans,
            payload,
        },
    )
}

pub fn event_kind() -> impl Strategy<Value = EventKind> {
    prop_oneof![
        (any::<u8>(), code()).prop_map(|(sensor, reason)| EventKind::SensorLost { sensor, reason }),
        any::<u8>().prop_map(|sensor| EventKind::SensorFound { sensor }),
        any::<(u8, u32)>().prop_map(|(channel, count)| EventKind::Saturated { channel, count }),
        any::<u32>().prop_map(|scans| EventKind::Overrun { scans }),
        any::<u32>().prop_map(|messages| EventKind::QueueFull { messages }),
        code().prop_map(|cause| EventKind::Booted { cause }),
        any::<u16>().prop_map(|millivolts| EventKind::SupplyLow { millivolts }),
        code().prop_map(|press| EventKind::Button { press }),
        Just(EventKind::Still),
        any::<u8>().prop_map(|bus| EventKind::BusRecovered { bus }),
        any::<u8>().prop_map(|bus| EventKind::BusStuck { bus }),
        Just(EventKind::Started),
        Just(EventKind::Stopped),
        Just(EventKind::StoreFull),
    ]
}

fn status() -> impl Strategy<Value = Status> {
    (any::<(u64, bool, u32)>(), any::<(u32, u32, u32, u32, u32)>()).prop_map(
        |(
            (uptime_us, streaming, sensors_lost),
            (overrun_scans, dropped_messages, bus_errors, refused_frames, unknown_kinds),
        )| Status {
            uptime_us,
            streaming,
            sensors_lost,
            overrun_scans,
            dropped_messages,
            bus_errors,
            refused_frames,
            unknown_kinds,
        },
    )
}

/// Any message from the logger.
pub fn device_message() -> impl Strategy<Value = DeviceMessage> {
    prop_oneof![
        identity().prop_map(DeviceMessage::Identity),
        channel().prop_map(DeviceMessage::Channel),
        block().prop_map(DeviceMessage::Samples),
        (any::<u64>(), event_kind())
            .prop_map(|(time_us, kind)| DeviceMessage::Event(Event { time_us, kind })),
        (any::<u8>(), code(), any::<u32>()).prop_map(|(to, outcome, detail)| DeviceMessage::Reply(Reply {
            to,
            outcome,
            detail
        })),
        any::<(u64, u64)>().prop_map(|(host_us, device_us)| DeviceMessage::Pong(Pong { host_us, device_us })),
        (any::<(u8, u64, u64)>(), option::of(mux_port()))
            .prop_map(|((bus, low, high), mux)| DeviceMessage::BusScan(BusScan { bus, mux, low, high })),
        (any::<(u32, u32, u32)>(), bytes::<MAX_STORED>()).prop_map(
            |((index, total, boot_count), message)| {
                DeviceMessage::Stored(StoredRecord { index, total, boot_count, message })
            }
        ),
        status().prop_map(DeviceMessage::Status),
        text().prop_map(|place| DeviceMessage::LastWords(LastWords { place })),
    ]
}

fn sensor_config() -> impl Strategy<Value = SensorConfig> {
    (
        any::<u8>(),
        (text(), text()),
        (any::<u8>(), option::of(mux_port()), any::<u8>()),
        (any::<u8>(), option::of(any::<u8>()), code()),
        any::<(u16, u16, u16, u16)>(),
    )
        .prop_map(
            |(
                index,
                (name, part),
                (bus, mux, address),
                (input, excitation, component),
                (every, full_scale_mv, full_scale_g, full_scale_dps),
            )| SensorConfig {
                index,
                name,
                part,
                bus,
                mux,
                address,
                input,
                excitation,
                component,
                every,
                full_scale_mv,
                full_scale_g,
                full_scale_dps,
            },
        )
}

/// Any message from the host.
pub fn host_message() -> impl Strategy<Value = HostMessage> {
    prop_oneof![
        Just(HostMessage::Identify),
        Just(HostMessage::ClearSensors),
        sensor_config().prop_map(HostMessage::SetSensor),
        any::<(u32, u8)>()
            .prop_map(|(period_us, scans_per_block)| HostMessage::SetRate { period_us, scans_per_block }),
        Just(HostMessage::Start),
        Just(HostMessage::Stop),
        Just(HostMessage::Still),
        any::<u64>().prop_map(|host_us| HostMessage::Ping { host_us }),
        any::<u8>().prop_map(|bus| HostMessage::ScanBus { bus }),
        any::<(u32, u32)>().prop_map(|(first, count)| HostMessage::FetchStored { first, count }),
        Just(HostMessage::EraseStored),
    ]
}
