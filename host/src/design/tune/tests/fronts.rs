//! The front against its definition.

use super::super::front::{Front, Member};
use super::super::merit::{Class, Objectives, Standing};
use proptest::prelude::*;

fn member(number: u64, points: Vec<f64>, trouble: [f64; 3]) -> Member {
    let standing = Standing { class: Class::Misses, missed: points.iter().sum(), ease: trouble.iter().sum() };
    Member { number, standing, objectives: Objectives { points, trouble } }
}

/// By the definition, written out anew: no worse in everything and better in something, by the wishes unless they are level.
fn beats(a: &Member, b: &Member) -> bool {
    let (a, b) = (&a.objectives, &b.objectives);
    let pairs: Vec<(f64, f64)> = match a.points == b.points {
        false => a.points.iter().copied().zip(b.points.iter().copied()).collect(),
        true => a.trouble.iter().copied().zip(b.trouble).collect(),
    };
    pairs.iter().all(|(a, b)| a <= b) && pairs.iter().any(|(a, b)| a < b)
}

proptest! {
    /// Few distinct values, so that ties are frequent.
    #[test]
    fn it_is_everything_that_nothing_beats(
        values in prop::collection::vec((prop::collection::vec(0u8..4, 2), prop::array::uniform3(0u8..4)), 1..60),
        cut in 0usize..60,
    ) {
        let members: Vec<Member> = values.iter().enumerate().map(|(k, (points, trouble))| {
            member(k as u64, points.iter().map(|v| f64::from(*v)).collect(), trouble.map(f64::from))
        }).collect();
        let wanted: Vec<u64> = members.iter()
            .filter(|m| !members.iter().any(|other| beats(other, m)))
            .map(|m| m.number)
            .collect();
        let fill = |members: &[Member]| {
            let mut front = Front::default();
            members.iter().cloned().for_each(|m| front.offer(m));
            front
        };
        let cut = cut.min(members.len());
        let mut merged = fill(&members[..cut]);
        merged.merge(fill(&members[cut..]));
        let reversed: Vec<Member> = members.iter().rev().cloned().collect();
        for front in [fill(&members), fill(&reversed), merged] {
            prop_assert!(!front.overflowed);
            let mut found: Vec<u64> = front.into_members().iter().map(|m| m.number).collect();
            found.sort_unstable();
            prop_assert_eq!(&found, &wanted);
        }
    }
}

#[test]
fn a_front_that_is_too_long_says_so_and_keeps_the_best() {
    let mut front = Front::default();
    let count = super::super::front::ROOM + 50;
    for k in 0..count {
        // Each gains in one what it loses in the other; the sum rises.
        let at = k as f64;
        front.offer(member(k as u64, vec![at, -0.5 * at], [0.0; 3]));
    }
    assert!(front.overflowed);
    let kept: Vec<u64> = front.into_members().iter().map(|m| m.number).collect();
    assert_eq!(kept, (0..super::super::front::ROOM as u64).collect::<Vec<_>>());
}
