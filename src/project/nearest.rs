//! "Did you mean …?"

/// `; did you mean X?` for the nearest of the known words, if one is near.
pub(crate) fn nearest<'a>(found: &str, known: impl Iterator<Item = &'a str>) -> String {
    known
        .map(|word| (strsim::damerau_levenshtein(found, word), word))
        .min()
        .filter(|(distance, word)| *distance <= word.chars().count().max(3) / 2)
        .map_or_else(String::new, |(_, word)| format!("; did you mean `{word}`?"))
}
