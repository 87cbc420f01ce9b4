//! The button and the light on their own.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]

use hingeline_firmware::panel::{Button, LONG_US, Light};
use hingeline_protocol::Press;
use proptest::prelude::*;

/// Presses with the time, ms, at which they are told, of levels that change at these times, ms.
fn presses(changes_ms: &[u64], step_us: u64) -> Vec<(u64, Press)> {
    let mut button = Button::new();
    (0..10_000_000 / step_us)
        .map(|k| k * step_us)
        .filter_map(|now_us| {
            let down = changes_ms.iter().filter(|ms| **ms * 1000 <= now_us).count() % 2 == 1;
            button.step(now_us, down).map(|press| (now_us / 1000, press))
        })
        .collect()
}

#[test]
fn short_when_let_go_long_while_held() {
    for step_us in [500, 1000, 5000] {
        assert_eq!(presses(&[100, 400], step_us), [(420, Press::Short)]);
        assert_eq!(presses(&[100, 4000], step_us), [(100 + LONG_US / 1000, Press::Long)]);
        let both = [(420, Press::Short), (2000, Press::Long), (3120, Press::Short)];
        assert_eq!(presses(&[100, 400, 1000, 2500, 3000, 3100], step_us), both);
    }
}

#[test]
fn a_contact_bounces_and_is_pressed_once() {
    let bouncing = [100, 102, 105, 109, 112, 400, 403, 404, 410, 415];
    assert_eq!(presses(&bouncing, 500), [(435, Press::Short)]);
    assert_eq!(presses(&[100, 110, 500, 515], 500), [], "two sparks are no press");
}

#[test]
fn a_button_that_hangs_at_boot_is_no_press() {
    assert_eq!(presses(&[0], 1000), []);
    assert_eq!(presses(&[0, 3000, 4000, 4200], 1000), [(4220, Press::Short)]);
}

#[test]
fn it_says_when_to_look_again() {
    let mut button = Button::new();
    assert_eq!(button.wake_us(), u64::MAX);
    button.step(1000, false);
    assert_eq!(button.wake_us(), 21_000);
    button.step(21_000, false);
    button.step(100_000, true);
    assert_eq!(button.wake_us(), 120_000);
    button.step(120_000, true);
    assert_eq!(button.wake_us(), 100_000 + LONG_US);
    assert_eq!(button.step(100_000 + LONG_US, true), Some(Press::Long));
    assert_eq!(button.wake_us(), u64::MAX);
}

#[test]
fn every_light_can_be_told_from_every_other() {
    let all =
        [Light::Ready, Light::Unable, Light::Recording, Light::Still, Light::SensorMissing, Light::Full];
    let seen = all.map(|light| (0..60).map(|k| light.is_on(k * 100_000 + 50_000)).collect::<Vec<_>>());
    for (a, first) in seen.iter().enumerate() {
        assert!(first.iter().any(|on| *on), "{:?} is never on", all[a]);
        for (b, second) in seen.iter().enumerate().skip(a + 1) {
            let apart = first.iter().zip(second).filter(|(x, y)| x != y).count();
            assert!(apart >= 3, "{:?} looks like {:?}", all[a], all[b]);
        }
    }
}

proptest! {
    #[test]
    fn levels_of_any_kind_give_no_more_presses_than_they_could(
        steps in proptest::collection::vec((1_u64..200_000, any::<bool>()), 1..200),
    ) {
        let mut button = Button::new();
        let (mut now_us, mut count) = (0, 0);
        for (step_us, down) in steps {
            now_us += step_us;
            count += u64::from(button.step(now_us, down).is_some());
        }
        // A press takes two levels that last.
        prop_assert!(count <= now_us / 40_000 + 1);
    }
}
