//! The search against what is worked out otherwise: each setting as a file of its own, definitions, draws through the solver.

mod files;
mod fronts;
mod ranking;
mod spaces;
mod sure;

use super::{AxleTuning, Space, Untuned, Wanting, tune};
use crate::vehicle::{self, Vehicle};

/// A vehicle with one rear axle of these elements and fittings.
fn text(elements: &str) -> String {
    format!(
        "format = 1\nname = \"Bramble\"\n[vehicle]\nwheelbase = 2540\ncg_height = 810\n[[axle]]\nname = \"rear\"\n\
         position = \"rear\"\ntrack = 1600\ntyre_radius = 460\nsweep = {{ up = 90, down = 130, roll = 18 }}\n{elements}"
    )
}

fn parsed(text: &str) -> Vehicle {
    vehicle::file::parse(text, "vehicle.toml").unwrap_or_else(|e| panic!("{e:?}\n{text}"))
}

fn drawn(elements: &str) -> Vehicle {
    parsed(&text(elements))
}

/// A double triangulated four-link; `lower` and `upper` are the chassis ends, `more` goes into the axle.
fn four_link(lower: &str, upper: &str, more: &str) -> String {
    format!(
        "[[axle.link]]\nname = \"lower left\"\nchassis = {lower}\naxle = [20, 580, 400]\nmirror = true\n\
         [[axle.link]]\nname = \"upper left\"\nchassis = {upper}\naxle = [30, 120, 620]\nmirror = true\n{more}"
    )
}

const LOWER: &str = "{ holes = [[950, 360, 480], [950, 360, 500]], use = 2 }";
const UPPER: &str = "{ holes = [[800, 450, 640], [800, 450, 660], [800, 450, 680]], use = 2 }";

fn tuned_top(vehicle: &Vehicle, apart: bool, top: usize) -> Result<AxleTuning, Untuned> {
    let space = Space::new(vehicle, 0, apart).expect("few settings");
    let wanting = Wanting { wishes: vehicle.axles[0].wish.clone(), top };
    tune(&space, &wanting, &|_| true)
}

fn tuned(vehicle: &Vehicle) -> AxleTuning {
    tuned_top(vehicle, false, 1000).unwrap_or_else(|e| panic!("{e:?}"))
}
