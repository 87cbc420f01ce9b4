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

/// What to do about a name that nothing has: the one that was probably meant, else those that there are; nothing where there is
/// none.
pub(crate) fn did_you_mean<S: AsRef<str>>(typed: &str, known: &[S]) -> Option<String> {
    if let Some(near) = nearest(typed, known.iter().map(AsRef::as_ref)) {
        return Some(format!("Did you mean \"{near}\"?"));
    }
    let all: Vec<&str> = known.iter().map(AsRef::as_ref).collect();
    (!all.is_empty()).then(|| format!("There are: {}.", all.join(", ")))
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
    fn a_name_that_nothing_has_is_answered() {
        let known = ["Bramble", "Thistle"];
        assert_eq!(did_you_mean("brambel", &known).unwrap(), "Did you mean \"Bramble\"?");
        assert_eq!(did_you_mean("Gorse", &known).unwrap(), "There are: Bramble, Thistle.");
        assert_eq!(did_you_mean::<&str>("Gorse", &[]), None);
    }

    #[test]
    fn lists_read_as_a_sentence() {
        assert_eq!(one_of(["a"]), "\"a\"");
        assert_eq!(one_of(["a", "b", "c"]), "\"a\", \"b\" or \"c\"");
    }
}
