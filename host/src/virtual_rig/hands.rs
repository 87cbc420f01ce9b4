//! A builder's hands on the sensors before the test: plugs in each other's sockets, and each sensor moved in turn.

use std::f64::consts::PI;

/// Before the first movement: the logger's host looks its sensors over, s.
const FIRST_S: f64 = 6.0;
/// From one movement to the next, and how long one lasts, s.
const EVERY_S: f64 = 3.5;
const LASTS_S: f64 = 1.2;
/// How far a wire is pulled or a target moved, m; how far a magnet is turned, rad: both are taken from one number, as a sensor's
/// value is in one or the other.
const FAR: f64 = 0.12;
/// A knock, m/s², and how quickly it rings, Hz.
const KNOCK_M_PER_S2: f64 = 8.0;
const RINGS_HZ: f64 = 4.0;
/// After the last movement, s.
const REST_S: f64 = 1.5;

/// What the hands do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Hands {
    /// Two sensors whose plugs are in each other's sockets.
    pub swapped: Option<(usize, usize)>,
    /// How many sensors are moved, one after another, before the test begins.
    pub moves: usize,
}

impl Hands {
    /// How long all movements take, s; the test begins then.
    pub fn seconds(&self) -> f64 {
        if self.moves == 0 { 0.0 } else { FIRST_S + EVERY_S * self.moves as f64 + REST_S }
    }

    /// The sensor whose plug is in the socket of this one.
    pub fn plugged(&self, socket: usize) -> usize {
        match self.swapped {
            Some((a, b)) if socket == a => b,
            Some((a, b)) if socket == b => a,
            _ => socket,
        }
    }

    /// How far into its movement a sensor is at a time of the test, 0…1; none when it rests.
    fn into(&self, sensor: usize, test_s: f64) -> Option<f64> {
        let since_s = test_s + self.seconds() - FIRST_S - EVERY_S * sensor as f64;
        (sensor < self.moves && (0.0..LASTS_S).contains(&since_s)).then(|| since_s / LASTS_S)
    }

    /// What a scalar sensor's value is off by, m or rad.
    pub fn off(&self, sensor: usize, test_s: f64) -> f64 {
        self.into(sensor, test_s).map_or(0.0, |part| FAR * (PI * part).sin())
    }

    /// What an inertial unit feels of the knocks beside it, m/s² along its z axis.
    pub fn knock(&self, sensor: usize, test_s: f64) -> f64 {
        self.into(sensor, test_s)
            .map_or(0.0, |part| KNOCK_M_PER_S2 * (2.0 * PI * RINGS_HZ * LASTS_S * part).sin())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_sensor_moves_alone_and_all_rest_when_the_test_begins() {
        let hands = Hands { swapped: Some((0, 2)), moves: 3 };
        let steps = (0..(hands.seconds() * 100.0) as i32).map(|k| f64::from(k) * 0.01 - hands.seconds());
        let mut moved = [0.0_f64; 3];
        for t_s in steps {
            let off: Vec<f64> = (0..3).map(|k| hands.off(k, t_s)).collect();
            assert!(off.iter().filter(|x| x.abs() > 0.0).count() <= 1);
            moved.iter_mut().zip(off).for_each(|(most, off)| *most = most.max(off));
        }
        assert!(moved.iter().all(|most| *most > 0.99 * FAR));
        assert_eq!((hands.off(0, 0.0), hands.off(2, 5.0), hands.knock(2, 0.0)), (0.0, 0.0, 0.0));
        assert_eq!([0, 1, 2].map(|k| hands.plugged(k)), [2, 1, 0]);
    }
}
