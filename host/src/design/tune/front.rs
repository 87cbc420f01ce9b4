//! The settings that no other beats in everything, kept while they stream past.

use super::merit::{Objectives, Standing};

/// Most settings that are kept; a front that needs more gives up its last by merit and says so.
pub const ROOM: usize = 1000;

/// One of the front.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// The setting's number.
    pub number: u64,
    /// Where it stands.
    pub standing: Standing,
    /// What it trades.
    pub objectives: Objectives,
}

/// The front of what has passed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Front {
    members: Vec<Member>,
    /// Whether it had to give up members.
    pub overflowed: bool,
}

impl Front {
    /// Takes a setting in, unless one of the front dominates it, and lets go those that it dominates.
    pub fn offer(&mut self, member: Member) {
        if let Some(by) = self.members.iter().position(|m| m.objectives.dominates(&member.objectives)) {
            // Who dominates one is likely to dominate the next.
            self.members.swap(0, by);
            return;
        }
        self.members.retain(|m| !member.objectives.dominates(&m.objectives));
        self.members.push(member);
        if self.members.len() > ROOM {
            self.overflowed = true;
            let order =
                |a: &Member, b: &Member| a.standing.compare(&b.standing).then(a.number.cmp(&b.number));
            let last = (0..self.members.len()).max_by(|a, b| order(&self.members[*a], &self.members[*b]));
            last.into_iter().for_each(|k| {
                self.members.swap_remove(k);
            });
        }
    }

    /// Takes in another front.
    pub fn merge(&mut self, other: Front) {
        self.overflowed |= other.overflowed;
        other.members.into_iter().for_each(|m| self.offer(m));
    }

    /// Best first.
    pub fn into_members(mut self) -> Vec<Member> {
        self.members.sort_by(|a, b| a.standing.compare(&b.standing).then(a.number.cmp(&b.number)));
        self.members
    }
}
