//! Recordings over a line that loses, delays, doubles, turns and cuts what it carries, and whose cable is pulled.

use super::*;
use crate::device::faults::{Done, FaultyConnect, Rates};
use hingeline_protocol::{FrameDecoder, Received};
use std::collections::HashSet;

/// Seeds that are tried; `HINGELINE_LONG=1` tries many more.
const SEEDS: u64 = 16;
const SEEDS_LONG: u64 = 400;

/// Numbers of the blocks that a run's bytes hold.
fn blocks(recorded: &Recorded) -> HashSet<u32> {
    let bytes = std::fs::read(recorded.folder.join("wire.bin")).unwrap();
    let mut decoder = FrameDecoder::<DeviceMessage>::new();
    let heard = bytes.iter().filter_map(|byte| match decoder.push(*byte) {
        Some(Received::Message(DeviceMessage::Samples(block))) => Some(block.sequence),
        _ => None,
    });
    heard.collect()
}

#[test]
fn nothing_is_made_up_and_every_loss_is_counted() {
    let long = std::env::var("HINGELINE_LONG").is_ok();
    let (mut all, mut recordings, mut losses) = (Done::default(), 0, 0);
    for seed in 0..if long { SEEDS_LONG } else { SEEDS } {
        let (_dir, vehicle) = logbook_with_rig(RIG);
        let bench = Bench::new(TestLogger::whole(), |_, _| {});
        let mut connect = FaultyConnect::new(bench.clone(), seed, Rates::BAD);
        let recorded = run(&request(vehicle.clone(), None), &mut connect, &bench, &mut stop_after(20.0));
        let done = connect.done();
        all.unplugged += done.unplugged;
        all.flipped += done.flipped;
        all.delayed += done.delayed;
        // A line on which no session comes about leaves no run.
        let Ok(recorded) = recorded else { continue };
        recordings += 1;
        let recording = read(&recorded, &vehicle);
        let logger = bench.logger.borrow();
        let series = recording.series.iter().flatten();
        for (channel, series) in series.enumerate() {
            assert!(series.t_s.windows(2).all(|w| w[1] > w[0]), "seed {seed}");
            let sent: Vec<&Sent> = logger.sent.iter().filter(|s| usize::from(s.channel) == channel).collect();
            assert!(is_part_of(series, &sent), "seed {seed}: channel {channel} holds what was never sent");
        }
        // Where streaming began once, block numbers say exactly what is missing up to the last that came.
        let starts = logger.heard.iter().filter(|m| matches!(m, HostMessage::Start)).count();
        let Some(last) = blocks(&recorded).into_iter().max().filter(|_| starts == 1) else { continue };
        let sent = logger.sent.iter().filter(|s| s.channel < 15 && s.block <= last).count() as u64;
        assert_eq!(recording.counts.received + recording.counts.lost, sent, "seed {seed}");
        assert_eq!((recorded.received, recorded.lost), (recording.counts.received, recording.counts.lost));
        losses += u64::from(recording.counts.lost > 0);
    }
    assert!(recordings > 8 && losses > 5, "{recordings} recordings, {losses} with losses");
    assert!(all.unplugged > 3 && all.flipped > 20 && all.delayed > 20, "{all:?}");
}
