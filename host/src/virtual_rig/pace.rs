//! Whether a logger keeps up with a rig's rate, told before one is there: the firmware's own rehearsal, on the virtual logger's buses.

use super::logger::board;
use crate::device::setup::Setup;
use crate::rig::Rig;
use hingeline_firmware::Configuration;
use hingeline_firmware::rehearsal::shortest_period_us;
use hingeline_firmware::table::Table;

/// The greatest whole rate that is kept, Hz, where a logger would refuse the one that the rig file asks for; none where it is kept,
/// no sensor is wired, or the rig has another fault for which it is refused first.
pub fn rate_kept_instead_hz(rig: &Rig) -> Option<f64> {
    let setup = Setup::of(rig).ok().filter(|setup| !setup.sensors.is_empty())?;
    let sensors = heapless::Vec::from_slice(&setup.sensors).ok()?;
    let config = Configuration { sensors, period_us: setup.period_us, ..Configuration::new() };
    let mut table = Table::build(&config, &board(0)).ok()?;
    let kept_us = shortest_period_us(&mut table, setup.period_us);
    (kept_us > setup.period_us).then(|| (1e6 / f64::from(kept_us)).floor())
}

/// The same as a sentence for whoever wrote the rig file.
pub fn warning(rig: &Rig) -> Option<String> {
    let kept_hz = rate_kept_instead_hz(rig)?;
    Some(format!(
        "A logger refuses this rig at {} Hz: its buses do not keep up. Set rate_hz in rig.toml to {kept_hz:.0} or less.",
        rig.rate_hz
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_rig::scenario;

    fn rig(rate_hz: u32) -> Rig {
        let vehicle = crate::vehicle::file::parse(scenario::VEHICLE, "vehicle.toml").unwrap();
        let text = scenario::RIG.replace("rate_hz = 100", &format!("rate_hz = {rate_hz}"));
        crate::rig::file::parse(&text, "rig.toml", &vehicle).unwrap()
    }

    #[test]
    fn what_is_offered_is_kept_and_what_is_kept_is_not_warned_of() {
        assert_eq!(warning(&rig(100)), None);
        let kept_hz =
            rate_kept_instead_hz(&rig(180)).expect("two units on a slow bus hold up the converters");
        assert!((100.0..180.0).contains(&kept_hz), "{kept_hz}");
        assert!(warning(&rig(180)).unwrap().contains(&format!("to {kept_hz:.0} or less")));
        assert_eq!(rate_kept_instead_hz(&rig(kept_hz as u32)), None);
    }

    #[test]
    fn a_rig_for_tables_has_no_logger_to_keep_up() {
        let mut unwired = rig(1000);
        unwired.sensors.iter_mut().for_each(|sensor| sensor.input = None);
        assert_eq!(warning(&unwired), None);
    }
}
