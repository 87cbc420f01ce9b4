//! Other holes without building anew: the points of a mechanism's members move in place, for those who try many.

use super::bodies::End;
use super::{Mechanism, build, just_determined, walk};
use crate::design::error::DesignError;
use crate::vehicle::Axle;

impl Mechanism {
    /// Hangs the members in the holes that `axle` has in use now, and solves the ride pose. `axle` must have the very elements
    /// that this mechanism was built from. `false` where building anew has to tell how well the new holes locate the axle; that
    /// is for any layout but one that is just determined, and is certain to stay so. The mechanism then stands for no state
    /// until it is hung again. Its notes stay those of the holes that it was built with.
    ///
    /// # Errors
    /// [`DesignError::RidePose`] where stated lengths cannot be joined.
    pub fn rehang(&mut self, axle: &Axle) -> Result<bool, DesignError> {
        if !self.just_determined || !self.move_members(axle) {
            return Ok(false);
        }
        let drawn = [0.0; just_determined::ROOM];
        let coordinates = self.rows.bodies.coordinates();
        let certain = match coordinates {
            6 => just_determined::certainly_determined::<4>(&self.rows, &drawn[..6]),
            7 => just_determined::certainly_determined::<5>(&self.rows, &drawn[..7]),
            8 => just_determined::certainly_determined::<6>(&self.rows, &drawn[..8]),
            _ => false,
        };
        if certain {
            let stated_m = self.stated_m(axle);
            self.ride = walk::join(&self.axle, &mut self.rows, true, &stated_m)?;
        }
        Ok(certain)
    }

    /// Puts every member between its points of `axle`; `false` where there is not one for each.
    fn move_members(&mut self, axle: &Axle) -> bool {
        let l = &axle.locating;
        let links = l.links.iter().map(build::link_ends);
        let legs = l.wishbones.iter().flat_map(build::leg_ends);
        let cranked = l.watts.iter().enumerate().flat_map(|(crank, w)| build::watts_ends(w, crank));
        let mut spans = links.chain(legs).chain(cranked);
        for &row in &self.order {
            let (Some(member), Some(ends)) = (self.rows.members.get_mut(row), spans.next()) else {
                return false;
            };
            member.length_m = span_m(&ends);
            member.ends = ends;
        }
        for (crank, watts) in self.rows.bodies.cranks.iter_mut().zip(&l.watts) {
            crank.pivot = watts.pivot.point();
        }
        spans.next().is_none()
    }

    /// Stated length of each member, in the order of rows.
    fn stated_m(&self, axle: &Axle) -> Vec<Option<f64>> {
        let mut stated = vec![None; self.rows.members.len()];
        for (&row, link) in self.order.iter().zip(&axle.locating.links) {
            if let Some(place) = stated.get_mut(row) {
                *place = link.length_m;
            }
        }
        stated
    }
}

fn span_m(ends: &[End; 2]) -> f64 {
    (ends[1].point - ends[0].point).norm()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::cases;
    use crate::geometry::Vector3;
    use crate::vehicle::{Mount, Vehicle};

    fn state(m: &Mechanism) -> [crate::design::State; 3] {
        [(0.0, 0.0), (0.05, 0.1), (-0.06, -0.2)].map(|(h, r)| m.solve(h, r).unwrap())
    }

    fn same(mut vehicle: Vehicle, change: impl Fn(&mut Axle)) {
        let mut hung = Mechanism::new(&vehicle, 0).unwrap();
        change(&mut vehicle.axles[0]);
        assert!(hung.rehang(&vehicle.axles[0]).unwrap());
        let built = Mechanism::new(&vehicle, 0).unwrap();
        assert_eq!(state(&hung), state(&built));
        assert_eq!(hung.ride_shift(), built.ride_shift());
        let members = |m: &Mechanism| m.members().map(|v| v.length_m).collect::<Vec<_>>();
        assert_eq!(members(&hung), members(&built));
    }

    #[test]
    fn hung_elsewhere_is_as_built_there() {
        let up = Vector3::new(0.0, 0.0, 0.02);
        let lift = |mount: &mut Mount| *mount = mount.moved(&up);
        same(cases::t(), |a| lift(&mut a.locating.links[2].chassis));
        same(cases::t(), |a| a.locating.links[0].length_m = Some(0.97));
        same(cases::w(), |a| lift(&mut a.locating.wishbones[0].apex));
        same(cases::w(), |a| lift(&mut a.locating.wishbones[0].legs[1]));
        same(cases::q(), |a| lift(&mut a.locating.watts[0].ends[0]));
        same(cases::q(), |a| lift(&mut a.locating.watts[0].pivot));
    }

    #[test]
    fn what_is_not_certain_is_built_anew() {
        // Elastic and redundant, or with radius arms: never.
        for vehicle in [cases::p(), cases::r(1.0)] {
            let mut m = Mechanism::new(&vehicle, 0).unwrap();
            assert_eq!(m.rehang(&vehicle.axles[0]), Ok(false));
        }
        // All four links parallel in plan: nothing holds the axle sideways.
        let mut vehicle = cases::t();
        let mut m = Mechanism::new(&vehicle, 0).unwrap();
        for link in &mut vehicle.axles[0].locating.links {
            let (chassis, axle) = (link.chassis.point(), link.axle.point());
            link.axle = Mount::fixed(Vector3::new(axle.x, chassis.y, axle.z));
        }
        assert_eq!(m.rehang(&vehicle.axles[0]), Ok(false));
        assert!(matches!(Mechanism::new(&vehicle, 0), Err(DesignError::NotLocated { .. })));
        // And back again.
        assert_eq!(m.rehang(&cases::t().axles[0]), Ok(true));
        assert_eq!(m.ride(), Mechanism::new(&cases::t(), 0).unwrap().ride());
    }
}
