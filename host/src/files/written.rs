//! TOML that the program writes for itself: values to text and back, without the places and hints that people's files need.

use serde::Serialize;
use serde::de::DeserializeOwned;

/// The text of a value.
///
/// # Errors
/// When the value has no form in TOML, as a sentence.
pub fn to_text<T: Serialize>(value: &T) -> Result<String, String> {
    toml::to_string(value).map_err(|e| e.to_string())
}

/// The value in a text.
///
/// # Errors
/// When the text is no such value, as a sentence.
pub fn from_text<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    toml::from_str(text).map_err(|e| e.message().to_owned())
}
