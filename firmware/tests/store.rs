//! The store against a flash that loses its power anywhere.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]

mod nor;

use hingeline_firmware::Configuration;
use hingeline_firmware::store::settings::SLOT_BYTES;
use hingeline_firmware::store::{PIECE, Store, StoreError};
use hingeline_protocol::{Component, SensorConfig};
use nor::{Nor, SECTOR};

/// Sectors of the flash: two for the settings, four for the log.
const SECTORS: usize = 6;

fn configuration(sensors: u8, period_us: u32) -> Configuration {
    let sensor = |index| SensorConfig {
        index,
        name: "a wire with a name as long as any".get(..32).unwrap().try_into().unwrap(),
        part: "a part of 16 let".try_into().unwrap(),
        bus: 0,
        mux: None,
        address: 0x48,
        input: 0,
        excitation: Some(3),
        component: Component::Length,
        every: 1,
        full_scale_mv: 4096,
        full_scale_g: 0,
        full_scale_dps: 0,
    };
    Configuration { sensors: (0..sensors).map(sensor).collect(), period_us, scans_per_block: 0 }
}

/// Opens the memory and settles it.
fn opened(flash: &mut Nor) -> Result<Store, StoreError> {
    let mut store = Store::open(flash)?;
    while !store.is_settled() {
        store.settle(flash)?;
    }
    Ok(store)
}

/// Every record, as (boot, index, message).
fn records(store: &Store, flash: &mut Nor) -> Vec<(u32, u32, Vec<u8>)> {
    let mut cursor = store.log.cursor();
    std::iter::from_fn(|| store.log.next(flash, &mut cursor).unwrap())
        .map(|r| (r.boot_count, r.index, r.message.to_vec()))
        .collect()
}

/// A message that tells its number, of a length of its own.
fn message(number: usize) -> Vec<u8> {
    (0..(number * 97) % 557).map(|k| (number + k) as u8).collect()
}

#[test]
fn what_is_kept_comes_back_after_any_boot() {
    let mut flash = Nor::new(SECTORS, 1);
    let mut store = opened(&mut flash).unwrap();
    assert_eq!((store.boot_count(), store.log.total()), (1, 0));
    assert_eq!(store.configuration(), &Configuration::new());
    let full = configuration(32, 5000);
    store.keep_configuration(&mut flash, &full).unwrap();
    (0..20).for_each(|k| store.log.append(&mut flash, 1, &message(k)).unwrap());
    for boot in 2..6 {
        let again = opened(&mut flash).unwrap();
        assert_eq!((again.boot_count(), again.log.total()), (boot, 20));
        assert_eq!(again.configuration(), &full);
        let expected: Vec<_> = (0..20).map(|k| (1, k as u32, message(k))).collect();
        assert_eq!(records(&again, &mut flash), expected);
    }
    // Saving what is saved costs nothing.
    let mut store = opened(&mut flash).unwrap();
    flash.power_on(Some(0));
    store.keep_configuration(&mut flash, &full).unwrap();
}

#[test]
fn a_full_log_says_so_and_keeps_what_it_has() {
    let mut flash = Nor::new(SECTORS, 2);
    let mut store = opened(&mut flash).unwrap();
    let mut count = 0;
    while store.log.has_room() {
        store.log.append(&mut flash, 1, &[7; 500]).unwrap();
        count += 1;
    }
    assert_eq!(store.log.append(&mut flash, 1, &[7; 556]), Err(StoreError::Full));
    let mut again = opened(&mut flash).unwrap();
    assert_eq!((again.log.total(), records(&again, &mut flash).len()), (count, count as usize));
    assert!(!again.log.has_room());
    erase(&mut again, &mut flash).unwrap();
    assert!(again.log.has_room() && again.log.total() == 0);
    assert_eq!(opened(&mut flash).unwrap().log.total(), 0);
}

fn erase(store: &mut Store, flash: &mut Nor) -> Result<(), StoreError> {
    let sectors = store.begin_erasing(flash)?;
    (0..=sectors).rev().try_for_each(|sector| store.erase_next(flash, sector))
}

/// Cuts the power at every step of `work`, and once more at every step of the boot that follows; then checks.
fn cut_everywhere(flash: &Nor, work: impl Fn(&mut Nor), check: impl Fn(&Store, &mut Nor, &str)) {
    let mut whole = flash.clone();
    whole.power_on(None);
    work(&mut whole);
    for first in 0..whole.steps {
        let mut torn = flash.clone();
        torn.power_on(Some(first));
        work(&mut torn);
        assert!(!torn.powered, "the power was to fail at step {first}");
        let mut boot = torn.clone();
        boot.power_on(None);
        let store = opened(&mut boot).unwrap();
        let steps = boot.steps;
        check(&store, &mut boot, &format!("cut at {first}"));
        // Two torn writes in a row: some second cuts, evenly among all.
        for second in (first % 7..steps).step_by(7) {
            let mut twice = torn.clone();
            twice.power_on(Some(second));
            assert!(opened(&mut twice).is_err());
            twice.power_on(None);
            let store = opened(&mut twice).unwrap();
            check(&store, &mut twice, &format!("cut at {first}, then at {second}"));
        }
    }
}

#[test]
fn a_configuration_is_the_old_or_the_new_one_wherever_power_fails_twice() {
    let (old, new) = (configuration(3, 5000), configuration(4, 10_000));
    for seed in 1..6 {
        let mut flash = Nor::new(SECTORS, seed);
        let mut store = opened(&mut flash).unwrap();
        store.keep_configuration(&mut flash, &old).unwrap();
        let before = store.boot_count();
        let work = |flash: &mut Nor| store.clone().keep_configuration(flash, &new).unwrap_or_default();
        cut_everywhere(&flash, work, |store, _, place| {
            let kept = store.configuration();
            assert!(kept == &old || kept == &new, "{place}: {kept:?}");
            assert!(store.boot_count() > before && store.boot_count() <= before + 2, "{place}");
        });
    }
}

#[test]
fn records_before_a_cut_stay_and_none_is_made_up() {
    let mut flash = Nor::new(SECTORS, 11);
    let mut store = opened(&mut flash).unwrap();
    let before: Vec<_> = (0..14).map(|k| (1, k as u32, message(k))).collect();
    (0..14).for_each(|k| store.log.append(&mut flash, 1, &message(k)).unwrap());
    let work = |flash: &mut Nor| {
        let mut store = store.clone();
        for k in 14..17 {
            if store.log.append(flash, 1, &message(k)).is_err() || !flash.powered {
                return;
            }
        }
    };
    cut_everywhere(&flash, work, |store, flash, place| {
        let found = records(store, flash);
        assert!(found.len() >= 14 && found[..14] == before, "{place}");
        for (k, record) in found.iter().enumerate().skip(14) {
            assert_eq!(record, &(1, k as u32, message(k)), "{place}");
        }
        assert_eq!(store.log.total() as usize, found.len(), "{place}");
        // And it goes on from there.
        let mut after = store.clone();
        (100..103).for_each(|k| after.log.append(flash, 9, &message(k)).unwrap());
        let more = records(&after, flash);
        assert_eq!(more.len(), found.len() + 3, "{place}");
        assert_eq!(&more[..found.len()], &found, "{place}");
        assert_eq!(opened(flash).unwrap().log.total() as usize, more.len(), "{place}");
    });
}

#[test]
fn an_erasure_that_was_begun_is_ended_and_brings_nothing_back() {
    let mut flash = Nor::new(SECTORS, 5);
    let mut store = opened(&mut flash).unwrap();
    (0..30).for_each(|k| store.log.append(&mut flash, 1, &message(k)).unwrap());
    let before = records(&store, &mut flash);
    let work = |flash: &mut Nor| erase(&mut store.clone(), flash).unwrap_or_default();
    cut_everywhere(&flash, work, |store, flash, place| {
        let found = records(store, flash);
        assert!(found.is_empty() || found == before, "{place}: {} records", found.len());
        assert_eq!(store.log.total() as usize, found.len(), "{place}");
        let mut after = store.clone();
        after.log.append(flash, 2, &message(5)).unwrap();
        assert_eq!(records(&after, flash).last().unwrap().2, message(5), "{place}");
    });
}

#[test]
fn a_sector_that_takes_nothing_costs_no_record() {
    let mut flash = Nor::new(SECTORS, 3);
    let mut store = opened(&mut flash).unwrap();
    flash.dead_sector = Some(3);
    (0..20).for_each(|k| store.log.append(&mut flash, 1, &message(k)).unwrap());
    let expected: Vec<_> = (0..20).map(|k| (1, k as u32, message(k))).collect();
    assert_eq!(records(&store, &mut flash), expected);
    let again = opened(&mut flash).unwrap();
    assert_eq!((again.log.total(), records(&again, &mut flash)), (20, expected));
}

#[test]
fn a_flash_that_does_not_suit_is_refused() {
    assert_eq!(opened(&mut Nor::new(2, 1)).err(), Some(StoreError::Unsuitable));
    let mut dead = Nor::new(SECTORS, 1);
    dead.powered = false;
    assert_eq!(opened(&mut dead).err(), Some(StoreError::Broken));
    assert_eq!(SECTOR % PIECE, 0);
}

#[test]
fn a_boot_reads_a_piece_of_each_sector_and_little_else() {
    const MANY: usize = 64;
    let mut flash = Nor::new(MANY, 4);
    let mut store = opened(&mut flash).unwrap();
    for records in [0, 3, 150] {
        (0..records).for_each(|k| store.log.append(&mut flash, 1, &message(k)).unwrap());
        flash.power_on(None);
        let again = Store::open(&mut flash).unwrap();
        assert!(again.is_settled() && again.log.total() == store.log.total());
        // Both settings and the new ones read back; the last sector for its end, and for the number of its last record.
        let most = 3 * SLOT_BYTES + MANY * PIECE + 2 * SECTOR;
        assert!(flash.bytes_read <= most as u64, "{} bytes after {records} records", flash.bytes_read);
    }
}

#[test]
fn a_memory_that_was_never_used_is_made_empty_wherever_power_fails() {
    // The first piece of the fourth sector is empty, and the rest is not.
    let places =
        [[5 * SECTOR + 2000, 3 * SECTOR], [2 * SECTOR, 4 * SECTOR + PIECE], [4 * SECTOR - 1, SECTOR]];
    for flash in places.map(|at| Nor::empty_but(SECTORS, &at)).into_iter().chain([Nor::new(SECTORS, 8)]) {
        let mut fresh = flash.clone();
        let unsettled = Store::open(&mut fresh).unwrap();
        assert!(
            !unsettled.is_settled()
                && unsettled.log.total() == 0
                && records(&unsettled, &mut fresh).is_empty()
        );
        let work = |flash: &mut Nor| drop(opened(flash));
        cut_everywhere(&flash, work, |store, flash, place| {
            assert!(flash.bytes[2 * SECTOR..].iter().all(|&byte| byte == 0xff), "{place}");
            let mut store = store.clone();
            (0..30).for_each(|k| store.log.append(flash, 1, &message(k)).unwrap());
            assert_eq!(records(&store, flash).len(), 30, "{place}");
        });
    }
}
