//! `predict`: vehicle files become what their axles do as designed, side by side.

use crate::design::file::load_states;
use crate::design::loads::LoadCase;
use crate::design::{CommonStates, DesignError, Prediction, Wanted, common_states, predict_wanted};
use crate::explain::{Explain, Status};
use crate::files::LoadError;
use crate::vehicle::{self, Vehicle};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What was asked for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Request {
    /// Vehicle files.
    pub vehicles: Vec<PathBuf>,
    /// A table of states to solve (headings `heave_m,roll_rad`).
    pub states: Option<PathBuf>,
    /// Total drive force to work out loads for, N.
    pub drive_n: Option<f64>,
    /// Total brake force, N.
    pub brake_n: Option<f64>,
    /// Total side force, to the left, N.
    pub side_n: Option<f64>,
    /// Whether a drive force brings the torque of the driveshaft along.
    pub shaft_torque: bool,
    /// Turns of the pinion per turn of the wheels, where it is not what the file says.
    pub final_drive: Option<f64>,
    /// Angle of the ramp for the ramp travel index, rad, where it is not 20°.
    pub ramp_rad: Option<f64>,
}

impl Request {
    fn loads(&self) -> Vec<LoadCase> {
        let cases = [
            self.drive_n.map(LoadCase::Drive),
            self.brake_n.map(LoadCase::Brake),
            self.side_n.map(LoadCase::Side),
        ];
        cases.into_iter().flatten().collect()
    }
}

/// Vehicles as designed, in the order asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Predicted {
    /// One per file.
    pub vehicles: Vec<PredictedVehicle>,
}

/// One vehicle file, predicted.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedVehicle {
    /// The file, as the caller named it.
    pub file: String,
    /// As drawn.
    pub drawn: Vehicle,
    /// What it says.
    pub prediction: Prediction,
    /// Its axles, in file order, at the states that all vehicles have in common.
    pub common: Vec<CommonStates>,
}

/// Why there is no prediction.
#[derive(Debug, Error)]
pub enum PredictError {
    /// No file was named.
    #[error("no vehicle file was named")]
    NoVehicle,
    /// A file is missing or wrong.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// An axle cannot be predicted.
    #[error("{file}: {source}")]
    Design {
        /// The vehicle file.
        file: String,
        /// What is wrong with the design.
        source: DesignError,
    },
}

impl Explain for PredictError {
    fn status(&self) -> Status {
        match self {
            PredictError::Load(error) => error.status(),
            PredictError::NoVehicle | PredictError::Design { .. } => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            PredictError::NoVehicle => Some("hingeline predict NAME/vehicle.toml".into()),
            PredictError::Load(error) => error.hint(),
            PredictError::Design { source, .. } => source.hint(),
        }
    }

    fn report(&self, styled: bool) -> Option<String> {
        match self {
            PredictError::Load(error) => error.report(styled),
            PredictError::NoVehicle | PredictError::Design { .. } => None,
        }
    }
}

/// Does what was asked.
///
/// # Errors
/// [`PredictError`]; states that the links cannot reach are results.
pub fn run(request: &Request) -> Result<Predicted, PredictError> {
    if request.vehicles.is_empty() {
        return Err(PredictError::NoVehicle);
    }
    let states = request.states.as_deref().map(load_states).transpose()?.unwrap_or_default();
    let wanted = Wanted {
        states,
        loads: request.loads(),
        shaft_torque: request.shaft_torque,
        final_drive: request.final_drive,
        ramp_rad: request.ramp_rad,
    };
    let vehicles = request.vehicles.iter().map(|path| one(path, &wanted)).collect::<Result<_, _>>()?;
    Ok(Predicted { vehicles })
}

fn one(path: &Path, wanted: &Wanted) -> Result<PredictedVehicle, PredictError> {
    let file = path.display().to_string();
    let drawn = vehicle::file::load(path)?;
    PredictedVehicle::of(&file, drawn, wanted).map_err(|source| PredictError::Design { file, source })
}

impl PredictedVehicle {
    /// Predicts what a file draws.
    ///
    /// # Errors
    /// The [`DesignError`] of the first axle that cannot be predicted.
    pub fn of(file: &str, drawn: Vehicle, wanted: &Wanted) -> Result<Self, DesignError> {
        let prediction = predict_wanted(&drawn, wanted)?;
        let common = (0..drawn.axles.len()).map(|k| common_states(&drawn, k)).collect::<Result<_, _>>()?;
        Ok(Self { file: file.to_owned(), drawn, prediction, common })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::starters::Layout;
    use crate::show::json;
    use crate::vehicle::numbers::Key;
    use serde_json::Value;

    fn predicted(layout: Layout, states: Option<&str>) -> Result<Predicted, PredictError> {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("vehicle.toml");
        std::fs::write(&file, layout.vehicle_text("Bramble")).unwrap();
        let states = states.map(|text| {
            let path = folder.path().join("states.csv");
            std::fs::write(&path, text).unwrap();
            path
        });
        run(&Request { vehicles: vec![file], states, drive_n: Some(8000.0), ..Request::default() })
    }

    #[test]
    fn every_starter_predicts_and_reaches_its_sweeps() {
        for (word, layout) in Layout::WORDS {
            let result = predicted(layout, None).unwrap_or_else(|e| panic!("{word}: {e}"));
            let axle = &result.vehicles[0].prediction.axles[0];
            for at in axle.sweeps.heave.iter().chain(&axle.sweeps.roll) {
                assert!(at.outcome.is_ok(), "{word}: {at:?}");
            }
            let ride = &axle.ride;
            for key in [Key::ContactForwardPerHeave, Key::RollCentreZ, Key::RollSteer, Key::LateralPerHeave] {
                assert!(ride.numbers.get(key).is_some(), "{word}: {key:?}");
                assert!(axle.ride_u.get(key).is_some_and(|u| u > 0.0), "{word}: {key:?}");
            }
        }
    }

    #[test]
    fn json_has_every_key_and_says_what_was_not_reached() {
        let states = Some("heave_m,roll_rad\n-0.05,0.1\n0.1,4\n");
        let text = json::prediction(&predicted(Layout::DoubleTriangulatedFourLink, states).unwrap());
        assert!(text.ends_with("}\n"));
        let json: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(json["format"], 1);
        let axle = &json["vehicles"][0]["axles"][0];
        assert_eq!((&axle["mobility"], &axle["redundant"]), (&Value::from(2), &Value::from(0)));
        let states = axle["states"].as_array().unwrap();
        assert_eq!(states.len(), 2);
        let (reached, blocked) = (&states[0], &states[1]);
        assert_eq!((&reached["reached"], &blocked["reached"]), (&Value::from(true), &Value::from(false)));
        assert_eq!((&reached["heave_m"], &blocked["roll_rad"]), (&Value::from(-0.05), &Value::from(4.0)));
        assert!(reached["pitch_rad"].is_number() && reached["stopped_by"].is_null());
        assert!(blocked["pitch_rad"].is_null() && blocked["stopped_by"].is_string());
        for at in [&axle["ride"], &axle["ride_u"], reached, blocked, &axle["sweeps"]["roll"][0]] {
            for key in Key::ALL {
                assert!(at.get(key.as_str()).is_some(), "{}", key.as_str());
            }
        }
        assert!(axle["ride"]["castor_rad"].is_null() && blocked["roll_centre_z_m"].is_null());
        let link = &axle["links"][0];
        assert!(link["length_m"].as_f64().unwrap() > 0.5);
        assert!(link["misalignment"]["chassis_rad"].is_number() && link["load"]["drive_n"].is_number());
        assert!(link["load"]["brake_n"].is_null());
        for key in ["clearances", "driveshaft", "articulation", "ramp_travel_index"] {
            assert!(axle.get(key).is_some(), "{key}");
        }
        let shaft = &axle["driveshaft"];
        assert!(shaft["ride"]["output_joint_rad"].is_number() && shaft["states"][0]["plunge_m"].is_number());
        assert!(shaft["states"][1]["plunge_m"].is_null() && shaft["within_stops"]["plunge_m"].is_number());
        let clearance = &axle["clearances"][0];
        assert_eq!((&clearance["keep_out"], &clearance["other_part"]), (&"fuel tank".into(), &Value::Null));
        assert!(clearance["least"]["gap_m"].as_f64() <= clearance["within_stops"]["gap_m"].as_f64());
        assert_eq!(axle["articulation"]["left"]["name"], "bump stop left");
        assert!(axle["ramp_travel_index"]["left"]["value"].is_null(), "one axle alone");
        let left_over = &axle["loads"][0];
        assert!(
            left_over["drive_induced_roll_nm"].is_number()
                && left_over["shaft_torque"]["torque_nm"].is_null()
        );
        let there = |of: &str| link[of]["states"].as_array().unwrap().len();
        assert_eq!((there("misalignment"), there("load")), (2, 2));
    }

    #[test]
    fn the_torque_of_a_driveshaft_is_told_where_the_gearing_is_known() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("vehicle.toml");
        let starter = Layout::DoubleTriangulatedFourLink.vehicle_text("Bramble");
        let request = Request {
            vehicles: vec![file.clone()],
            drive_n: Some(8000.0),
            shaft_torque: true,
            ..Request::default()
        };
        std::fs::write(&file, &starter).unwrap();
        let torque_nm = |request: &Request| {
            let load = &run(request).unwrap().vehicles[0].prediction.axles[0].loads[0];
            load.shaft.map(|shaft| shaft.torque_nm)
        };
        // F·r/i
        assert!((torque_nm(&request).unwrap() - 8000.0 * 0.46 / 4.1).abs() < 1e-9);
        let geared = Request { final_drive: Some(5.0), ..request.clone() };
        assert!((torque_nm(&geared).unwrap() - 8000.0 * 0.46 / 5.0).abs() < 1e-9);
        assert_eq!(torque_nm(&Request { shaft_torque: false, ..request.clone() }), None);
        std::fs::write(&file, starter.replace("final_drive", "# final_drive")).unwrap();
        assert!(torque_nm(&geared).is_some());
        let error = run(&request).unwrap_err();
        assert!(error.to_string().contains("axle \"rear\": its final drive is not known"), "{error}");
        assert!(error.hint().unwrap().contains("final_drive = 4.1"));
    }

    #[test]
    fn errors_say_which_file_and_where() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("vehicle.toml");
        let error = run(&Request { vehicles: vec![file.clone()], ..Request::default() }).unwrap_err();
        assert!(matches!(error, PredictError::Load(LoadError::Missing { .. })));
        // A parallel four-link and panhard bar whose joints are not known cannot give way.
        let rigid: Vec<_> = Layout::FourLink
            .vehicle_text("Bramble")
            .lines()
            .filter(|l| !l.starts_with("joints"))
            .map(str::to_owned)
            .collect();
        std::fs::write(&file, rigid.join("\n")).unwrap();
        let error = run(&Request { vehicles: vec![file.clone()], ..Request::default() }).unwrap_err();
        assert!(
            matches!(&error, PredictError::Design { source: DesignError::Overconstrained { .. }, .. }),
            "{error}"
        );
        assert!(error.to_string().starts_with(&file.display().to_string()), "{error}");
        let error = predicted(Layout::ThreeLink, Some("heave_m,roll_rad\n0,x\n")).unwrap_err();
        assert!(error.to_string().contains("states.csv:2:3: \"x\" is not a number"), "{error}");
    }
}
