//! Numbers as people type them behind a flag.

use crate::files::with_point;

/// Parses a number; `meant` says what is wanted, such as "the angle in degrees, such as 20".
pub fn number(text: &str, meant: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => Err(match with_point(text) {
            Some(point) => format!("write the fraction with a point: {point}"),
            None => format!("give {meant}"),
        }),
    }
}

/// Parses any number.
pub fn plain(text: &str) -> Result<f64, String> {
    number(text, "a number, such as 3000")
}

/// Parses a number above nothing.
pub fn positive(text: &str) -> Result<f64, String> {
    let meant = "a number above 0";
    number(text, meant)
        .and_then(|number| if number > 0.0 { Ok(number) } else { Err(format!("give {meant}")) })
}

/// Parses a time.
pub fn seconds(text: &str) -> Result<f64, String> {
    let seconds = number(text, "the time in seconds, such as 30")?;
    if seconds > 0.0 { Ok(seconds) } else { Err("a time is longer than 0 seconds".into()) }
}

/// Parses a time that may be nothing.
pub fn wait(text: &str) -> Result<f64, String> {
    let seconds = number(text, "the time in seconds, such as 30")?;
    if seconds >= 0.0 { Ok(seconds) } else { Err("a time is 0 seconds or longer".into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_with_a_number_is_said() {
        assert_eq!(number("2.5", "it"), Ok(2.5));
        assert_eq!(number("2,5", "it").unwrap_err(), "write the fraction with a point: 2.5");
        assert_eq!(number("two", "the angle").unwrap_err(), "give the angle");
        assert!(number("nan", "it").is_err() && number("inf", "it").is_err());
        assert!(positive("0").is_err() && positive("-3").is_err() && positive("3") == Ok(3.0));
        assert!(
            seconds("0").is_err()
                && seconds("-5").unwrap_err().contains("longer than 0")
                && wait("0") == Ok(0.0)
        );
    }
}
