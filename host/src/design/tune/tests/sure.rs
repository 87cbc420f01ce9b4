//! What is said of sureness against draws of the points through the whole solver, without any derivative.

use super::super::look::Rack;
use super::super::merit::bounds;
use super::super::space::Space;
use super::super::{Class, Standing, Yardstick};
use super::{LOWER, drawn, four_link, tuned};
use crate::design::tolerance::number_u;
use crate::geometry::Vector3;
use crate::vehicle::numbers::Key;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Draws through the solver.
const DRAWS: usize = 3000;
/// Three standard deviations of a share of [`DRAWS`] at the worst (0.027) and of the stated one (0.015), together.
const MATCH: f64 = 0.031;

/// Holes so close together that the tolerance matters: 4 mm apart, points known to 3 mm.
const CLOSE: &str = "{ holes = [[800, 450, 652], [800, 450, 656], [800, 450, 660]], use = 2 }";

#[test]
fn stated_probabilities_are_those_of_the_solver() {
    let wish =
        "[axle.wish]\nanti_squat_percent = { min = 64, max = 69 }\nroll_centre_z_m = { max = 0.608 }\n";
    let vehicle = drawn(&four_link(LOWER, CLOSE, wish));
    let axle = tuned(&vehicle);
    let space = Space::new(&vehicle, 0, false).unwrap();
    let wishes = axle.wishes.iter().map(|w| w.wanted).collect();
    let yardstick = Yardstick { wishes };
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let (mut behind, mut best) = (vec![0.0; axle.best.len()], vec![0.0; axle.best.len()]);
    let mut kept = vec![vec![0.0; 2]; axle.best.len()];
    for _ in 0..DRAWS {
        let mut real = vehicle.clone();
        for spot in vehicle.axles[0].spots() {
            let mut draw = || -> f64 { StandardNormal.sample(&mut random) };
            let offset = Vector3::new(draw(), draw(), draw()) * vehicle.tolerance_m;
            real.axles[0].move_spot(spot, &offset);
        }
        let mut rack = Rack::new(real, 0, &space.parts()[0].brackets).unwrap();
        let standings: Vec<Standing> = axle
            .best
            .iter()
            .zip(&mut kept)
            .map(|(candidate, kept)| {
                let holes: Vec<usize> = candidate.holes.iter().map(|h| h.hole).collect();
                let look = rack.look(&holes, false).unwrap();
                assert_eq!(bounds(&look), Class::Keeps);
                let decisive = yardstick.decisive(&look);
                for (count, points) in kept.iter_mut().zip(yardstick.points(&decisive)) {
                    *count += f64::from(u8::from(points == 0.0));
                }
                yardstick.standing(&decisive, Class::Keeps)
            })
            .collect();
        let first = (0..standings.len()).min_by(|a, b| standings[*a].compare(&standings[*b])).unwrap();
        best[first] += 1.0;
        for (count, standing) in behind.iter_mut().zip(&standings) {
            *count += f64::from(u8::from(standings[0].compare(standing).is_lt()));
        }
    }
    let share = |count: f64| count / DRAWS as f64;
    let mut open = 0;
    for (k, candidate) in axle.best.iter().enumerate() {
        let sure = candidate.sureness.as_ref().unwrap();
        assert!((sure.best - share(best[k])).abs() < MATCH, "{k}: {} {}", sure.best, share(best[k]));
        if k > 0 {
            let found = share(behind[k]);
            assert!((sure.behind_first - found).abs() < MATCH, "{k}: {} {found}", sure.behind_first);
            open += usize::from(found > 0.5 && found < 0.97);
        }
        for (stated, found) in sure.kept.iter().zip(&kept[k]) {
            assert!((stated - share(*found)).abs() < MATCH, "{k}: {stated} {}", share(*found));
        }
    }
    assert!(open > 0, "every comparison is clear: the test says nothing");
    assert!((axle.best[0].sureness.as_ref().unwrap().behind_first - 0.5).abs() < 1e-12, "level with itself");
}

#[test]
fn what_is_common_to_two_settings_does_not_blur_which_is_better() {
    // Anti-squat of neighbouring holes differs by less than its own u, yet the order is all but certain.
    let wish = "[axle.wish]\nanti_squat_percent = { max = 20 }\n";
    let axle = tuned(&drawn(&four_link("[950, 360, 500]", CLOSE, wish)));
    let (one, two) = (&axle.best[0], &axle.best[1]);
    let difference = (one.values[0].1.unwrap() - two.values[0].1.unwrap()).abs();
    let apart = one.u_of_wish(0).unwrap().hypot(two.u_of_wish(0).unwrap());
    assert!(difference < apart, "{difference} {apart}");
    assert!(two.sureness.as_ref().unwrap().behind_first > 0.999);
}

#[test]
fn uncertainties_are_those_of_predict() {
    let wish = "[axle.wish]\nanti_squat_percent = { max = 20 }\nroll_centre_z_m = { max = 0.5 }\n";
    let axle = tuned(&drawn(&four_link("[950, 360, 500]", CLOSE, wish)));
    for candidate in &axle.best {
        let upper = CLOSE.replace("use = 2", &format!("use = {}", candidate.holes[0].hole + 1));
        let u = number_u(&drawn(&four_link("[950, 360, 500]", &upper, "")), 0).unwrap();
        for (k, key) in [Key::AntiSquat, Key::RollCentreZ].into_iter().enumerate() {
            let (one, other) = (candidate.u_of_wish(k).unwrap(), u.get(key).unwrap());
            // Two differences of the same solver: rounding over a step of 1e-5 m.
            assert!((one - other).abs() < 1e-5 * other, "{key:?}: {one} {other}");
        }
    }
}
