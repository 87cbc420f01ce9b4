//! Instants as files write them: a day, or a time with its zone's offset.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// µs since 1970 of an RFC 3339 time. Without an offset it is UTC, without a time the beginning of the day.
pub fn instant_us(text: &str) -> Option<i64> {
    let whole = text.parse::<Timestamp>().ok();
    let day = || text.parse::<DateTime>().ok()?.to_zoned_datetime(TimeZone::UTC).ok().map(|z| z.timestamp());
    whole.or_else(day).map(Timestamp::as_microsecond)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_and_times_are_instants() {
        assert_eq!(instant_us("1970-01-02"), Some(86_400_000_000));
        assert_eq!(instant_us("1970-01-01T01:00:00+01:00"), Some(0));
        assert_eq!(instant_us("25.11.2026"), None);
    }
}
