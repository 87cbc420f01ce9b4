//! Dates as people type them, in the zone of their clock.

use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

/// An instant with its text.
#[derive(Debug, Clone)]
pub struct Moment {
    /// RFC 3339 with the zone's offset, to the second.
    pub text: String,
    /// µs since 1970.
    pub us: i64,
    /// Whether only the day was given.
    pub whole_day: bool,
}

impl Moment {
    fn of(time: &ZonedDateTime, whole_day: bool) -> Self {
        let text = time.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
        Self { text, us: time.timestamp().as_microsecond(), whole_day }
    }
}

/// Now.
pub fn now() -> Moment {
    Moment::of(&ZonedDateTime::now(), false)
}

/// Now, for the name of a file.
pub fn stamp() -> String {
    ZonedDateTime::now().strftime("%Y-%m-%d-%H%M%S").to_string()
}

/// Parses a day or a time.
pub fn moment(text: &str) -> Result<Moment, String> {
    zoned(text).map(|(time, whole_day)| Moment::of(&time, whole_day))
}

/// Clocks of two computers that both keep time differ by less, µs.
const CLOCKS_DIFFER_US: i64 = 3_600_000_000;

/// Parses a day or a time that has been.
pub fn past(text: &str) -> Result<Moment, String> {
    let moment = moment(text)?;
    let now = now();
    if moment.us > now.us + CLOCKS_DIFFER_US {
        let today: String = now.text.chars().take(16).collect();
        return Err(format!(
            "that is in the future: by this computer's clock it is {}",
            today.replace('T', " ")
        ));
    }
    Ok(moment)
}

/// Parses a day or a time into a time, and whether it was only a day.
pub fn zoned(text: &str) -> Result<(ZonedDateTime, bool), String> {
    let here = TimeZone::system();
    let wrong = || "write it as 2026-11-25, or with the time as 2026-11-25T14:00".to_owned();
    if let Ok(day) = text.parse::<Date>() {
        // `Date` also reads the day of a longer text: only a bare day is a whole day.
        if text.len() == day.to_string().len() {
            return Ok((day.to_zoned_datetime(here).map_err(|_| wrong())?, true));
        }
    }
    if let Ok(instant) = text.parse::<Timestamp>() {
        return Ok((instant.to_zoned_datetime(here), false));
    }
    let time = text.parse::<DateTime>().map_err(|_| wrong())?;
    Ok((time.to_zoned_datetime(here).map_err(|_| wrong())?, false))
}

/// Parses a day into the instant at which it begins, µs since 1970.
pub fn day(text: &str) -> Result<i64, String> {
    moment(text).map(|m| m.us)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_and_times_are_told_apart() {
        assert!(moment("2026-11-25").unwrap().whole_day);
        let time = moment("2026-11-25T14:00").unwrap();
        assert!(!time.whole_day && time.text.starts_with("2026-11-25T14:00:00"));
        let day = day("2026-11-25").unwrap();
        assert_eq!(time.us - day, 14 * 3_600_000_000);
        assert_eq!(moment("1970-01-01T01:00:00+01:00").unwrap().us, 0);
        assert!(past("2099-01-01").unwrap_err().contains("in the future") && past("2026-01-05").is_ok());
        assert!(past(&now().text).is_ok());
        assert!(moment("25.11.2026").is_err() && moment("soon").is_err());
    }
}
