//! How a sensor is wired: bus, multiplexer, part, address, channel.

use crate::files::{Example, Item, Reader};
use crate::rig::Input;
use std::ops::Range;

/// Seven-bit addresses that parts may have; those outside are reserved (NXP UM10204, table 4, from memory).
const ADDRESSES: [i64; 2] = [0x08, 0x77];
const GREATEST: i64 = u8::MAX as i64;

/// Reads `input = { … }`.
pub(super) fn input(item: &Item<'_>) -> Option<Input> {
    let mut section = item.section(item.what())?;
    let byte = |item: Item<'_>, least, greatest| u8::try_from(item.whole_within(least, greatest)?).ok();
    let address = |item: Item<'_>| {
        let [least, greatest] = ADDRESSES;
        let address = item.whole_number()?;
        if !(least..=greatest).contains(&address) {
            item.wrong(
                format!("{} is not a bus address", item.what()),
                "write the seven-bit address, from 0x08 to 0x77, as the part's data sheet gives it",
            );
            return None;
        }
        u8::try_from(address).ok()
    };
    let number = |item: Item<'_>| byte(item, 0, GREATEST);
    let bus = section.or("bus", 0, number);
    let (mux_item, channel_item) = (section.get("mux"), section.get("mux_channel"));
    let mux = match (mux_item, channel_item) {
        (Some(mux), Some(channel)) => address(mux).zip(byte(channel, 0, 7)).map(Some),
        (None, None) => Some(None),
        (Some(lone), None) => {
            lone.wrong(format!("{} says no `mux_channel`", section.what()), "add `mux_channel`, 0 to 7");
            None
        }
        (None, Some(lone)) => {
            lone.wrong(
                format!("{} says no `mux`", section.what()),
                "add `mux`, the multiplexer's address, such as 0x70",
            );
            None
        }
    };
    let device = section.require("device", Example::Text("\"ads1115\""), "the part on the bus");
    let device = device.and_then(|i| i.name());
    let at = section.require("address", Example::Text("0x48"), "its bus address").and_then(address);
    let channel = section.or("channel", 0, number);
    let excitation = section.optional("excitation", |item| {
        let excitation = number(item.clone())?;
        if Some(excitation) == channel {
            item.wrong(
                format!("{} is the channel of the sensor itself", item.what()),
                "write the input that the supply is wired to",
            );
        }
        Some(excitation)
    });
    section.finish();
    Some(Input {
        bus: bus?,
        mux: mux?,
        device: device?,
        address: at?,
        channel: channel?,
        excitation: excitation?,
    })
}

/// Notes sensors that are wired to an input that another sensor has.
pub(super) fn each_alone(reader: &Reader<'_>, wired: &[(Input, Range<usize>)]) {
    for (i, (input, span)) in wired.iter().enumerate() {
        let same = |other: &Input| {
            (other.bus, other.mux, other.address, other.channel)
                == (input.bus, input.mux, input.address, input.channel)
        };
        if let Some((_, first)) = wired.iter().take(i).find(|(other, _)| same(other)) {
            reader.problem(
                span.clone(),
                format!(
                    "this sensor is wired to the input of the sensor on line {}",
                    reader.line_of(first.start)
                ),
                "change the bus, mux_channel, address or channel of one of them",
            );
        }
    }
}
