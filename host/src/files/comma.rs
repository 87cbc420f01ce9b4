//! Fractions written with a comma, as much of the world writes them and TOML does not: told for what they are.

use std::ops::Range;

/// The number with a decimal point, where `text` is one with a decimal comma and nothing else.
pub(crate) fn with_point(text: &str) -> Option<String> {
    let text = text.trim();
    let (place, number) = first_in(text)?;
    let before = text.get(..place.start)?;
    (place.end == text.len() && before.is_empty()).then_some(number)
}

/// The first number with a decimal comma in `text`: where it stands, and how it is written with a point. A comma between two
/// numbers has a blank behind it in a file that people write, so `1, 2` is none.
pub(super) fn first_in(text: &str) -> Option<(Range<usize>, String)> {
    let bytes = text.as_bytes();
    let digit = |k: usize| bytes.get(k).is_some_and(u8::is_ascii_digit);
    let comma = (1..bytes.len()).find(|k| bytes.get(*k) == Some(&b',') && digit(k - 1) && digit(k + 1))?;
    let whole = (0..comma).rev().take_while(|k| digit(*k)).last()?;
    let signed = whole.checked_sub(1).filter(|k| matches!(bytes.get(*k), Some(b'-' | b'+')));
    let start = signed.unwrap_or(whole);
    let end = (comma + 1..bytes.len()).take_while(|k| digit(*k)).last()? + 1;
    // 1,2,3 is a list, and 1.5,2 are two numbers.
    let point_before = whole.checked_sub(1).is_some_and(|k| bytes.get(k) == Some(&b'.'));
    let goes_on = matches!(bytes.get(end), Some(b'.')) || bytes.get(end) == Some(&b',') && digit(end + 1);
    (!point_before && !goes_on)
        .then(|| (start..end, text.get(start..end).unwrap_or_default().replace(',', ".")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_is_told_from_a_comma_between_numbers() {
        for (text, number) in
            [("2,5", Some("2.5")), (" -0,75 ", Some("-0.75")), ("2.5", None), ("2, 5", None)]
        {
            assert_eq!(with_point(text).as_deref(), number, "{text}");
        }
        for text in ["1,2,3", "1.5,2", "2,5 mm", "x2,5", "", ",", "5,", ",5"] {
            assert_eq!(with_point(text), None, "{text}");
        }
        let text = "up = 90,5, down = 130";
        let (place, number) = first_in(text).unwrap();
        assert_eq!((&text[place], number.as_str()), ("90,5", "90.5"));
        assert_eq!(first_in("[0, 480, 820]"), None);
    }
}
