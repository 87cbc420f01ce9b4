//! "Did you mean": the known word nearest to what was typed.

/// The word of `known` that `typed` was probably meant to be, if any is near enough.
pub(crate) fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = typed.to_lowercase().replace(['-', ' '], "_");
    known
        .into_iter()
        .map(|word| (strsim::osa_distance(&folded, &word.to_lowercase().replace(['-', ' '], "_")), word))
        .min_by_key(|(distance, _)| *distance)
        // A third of the word may be wrong: two letters of six. That catches slips, and not words as short as units.
        .filter(|(distance, word)| 3 * distance <= word.chars().count())
        .map(|(_, word)| word)
}

/// Words as a list for a sentence: `` `a`, `b` or `c` ``, quoted as the file writes them.
pub(super) fn one_of<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    let quoted: Vec<String> = words.into_iter().map(|w| format!("\"{w}\"")).collect();
    match quoted.as_slice() {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_caught_and_other_words_are_not() {
        let known = ["track", "tyre_radius", "position", "drive_share"];
        assert_eq!(nearest("trak", known), Some("track"));
        assert_eq!(nearest("tire_radius", known), Some("tyre_radius"));
        assert_eq!(nearest("Tyre-Radius", known), Some("tyre_radius"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest("cm", ["mm", "in"]), None);
        assert_eq!(nearest("x", []), None);
    }

    #[test]
    fn lists_read_as_a_sentence() {
        assert_eq!(one_of(["a"]), "\"a\"");
        assert_eq!(one_of(["a", "b", "c"]), "\"a\", \"b\" or \"c\"");
    }
}
