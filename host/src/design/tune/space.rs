//! Everything that can be set on one axle, numbered: alternatives, then holes.

use super::brackets::{Bracket, brackets, holes_of, number_in_use, settings};
use super::look::Rack;
use super::variants::{names, variants};
use crate::vehicle::Vehicle;

/// The axle with some alternatives in place, and its brackets that have a choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The alternatives, by name; none for the axle as it stands.
    pub alternatives: Vec<String>,
    /// Names of the elements that they replace.
    pub replaced: Vec<String>,
    /// Names of the elements that they bring.
    pub brought: Vec<String>,
    /// Brackets to choose a hole of.
    pub brackets: Vec<Bracket>,
    /// Number of its first setting.
    pub first: u64,
    /// How many settings it has.
    pub count: u64,
    /// The vehicle with this axle, in the holes that the file has in use.
    pub(super) vehicle: Vehicle,
}

/// Every setting of one axle.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    pub(super) axle_index: usize,
    parts: Vec<Part>,
}

/// A setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct At<'a> {
    pub part: &'a Part,
    /// Counted within its part.
    pub number: u64,
}

impl Part {
    /// Whether a bracket is one that the axle has at present, rather than one that an alternative brings.
    pub fn has_now(&self, bracket: &Bracket) -> bool {
        !bracket.elements.iter().any(|name| self.brought.contains(name))
    }
}

impl At<'_> {
    /// The hole of each bracket, counted from 0.
    pub fn holes(&self) -> Vec<usize> {
        holes_of(&self.part.brackets, self.number)
    }
}

impl Space {
    /// The settings of an axle; with `apart` each side of a mirrored pair for itself. `None` if there is no such axle, or if
    /// the settings are too many to be counted with 64 bits.
    pub fn new(vehicle: &Vehicle, axle_index: usize, apart: bool) -> Option<Self> {
        let drawn = vehicle.axles.get(axle_index)?;
        let mut parts = Vec::new();
        let mut first = 0_u64;
        for variant in variants(drawn) {
            let taken = || variant.alternatives.iter().filter_map(|k| drawn.alternatives.get(*k));
            let alternatives = taken().map(|a| a.name.clone()).collect();
            let replaced = taken().flat_map(|a| a.replaces.iter().cloned()).collect();
            let brought = taken().flat_map(|a| names(&a.locating).map(str::to_owned)).collect();
            let brackets = brackets(&variant.axle, apart);
            let count = settings(&brackets)?;
            let mut vehicle = vehicle.clone();
            *vehicle.axles.get_mut(axle_index)? = variant.axle;
            parts.push(Part { alternatives, replaced, brought, brackets, first, count, vehicle });
            first = first.checked_add(count)?;
        }
        Some(Self { axle_index, parts })
    }

    /// The axle with each set of alternatives.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Names of all alternatives.
    pub(super) fn alternatives(&self) -> Vec<String> {
        let mut names: Vec<String> = self.parts.iter().flat_map(|p| p.alternatives.iter().cloned()).collect();
        names.sort();
        names.dedup();
        names
    }

    /// How many settings there are.
    pub fn count(&self) -> u64 {
        self.parts.iter().map(|p| p.count).sum()
    }

    /// The setting that the file has in use.
    pub fn present(&self) -> u64 {
        self.parts.first().map_or(0, |p| number_in_use(&p.brackets))
    }

    /// The part that a setting belongs to.
    pub(super) fn part_of(&self, number: u64) -> usize {
        self.parts.partition_point(|p| p.first <= number).saturating_sub(1)
    }

    pub(super) fn at(&self, number: u64) -> Option<At<'_>> {
        let part = self.parts.get(self.part_of(number))?;
        let number = number.checked_sub(part.first).filter(|n| *n < part.count)?;
        Some(At { part, number })
    }

    /// How much a builder has to change to get from the present setting to this one: brackets that move, alternatives fitted.
    pub(super) fn moves(&self, number: u64) -> usize {
        self.at(number).map_or(0, |at| {
            let moved = |(hole, b): &(&usize, &Bracket)| **hole != b.in_use && at.part.has_now(b);
            let brackets = at.holes().iter().zip(&at.part.brackets).filter(moved).count();
            brackets + at.part.alternatives.len()
        })
    }

    /// A rack for a part.
    pub(super) fn rack(&self, part: &Part) -> Option<Rack> {
        Rack::new(part.vehicle.clone(), self.axle_index, &part.brackets)
    }
}
