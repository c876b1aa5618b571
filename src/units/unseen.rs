//! Characters that nobody sees, and texts that nobody reads to their end.

use std::borrow::Cow;

/// Whether a character would act on the terminal or hide, instead of being
/// seen: controls, bidirectional controls (Unicode UAX #9, table 2), zero-width
/// and other format characters, line and paragraph separators, tags.
pub fn is_unseen(character: char) -> bool {
    character.is_control()
        || matches!(character,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{feff}' | '\u{ffa0}'
            | '\u{fff9}'..='\u{fffb}' | '\u{1d173}'..='\u{1d17a}' | '\u{e0000}'..='\u{e0fff}')
}

/// The text, or of one that is longer than `most` bytes its beginning and its
/// end, with a count of the characters left out between them. Costs as much as
/// `most`, however long the text is, but for counting.
pub fn excerpt(text: &str, most: usize) -> Cow<'_, str> {
    if text.len() <= most {
        return Cow::Borrowed(text);
    }
    let half = most / 2;
    let head = &text[..text.floor_char_boundary(half)];
    let tail = &text[text.ceil_char_boundary(text.len() - half)..];
    let between = &text[head.len()..text.len() - tail.len()];
    let count = between.chars().count();
    Cow::Owned(format!(
        "{head}\u{2026} ({count} characters more) \u{2026}{tail}"
    ))
}

#[cfg(test)]
mod tests {
    use super::excerpt;

    #[test]
    fn a_long_text_is_told_by_its_ends() {
        assert_eq!(excerpt("stem", 4), "stem");
        let long = format!("ab{}yz", "\u{9234}".repeat(1_000_000));
        assert_eq!(
            excerpt(&long, 9),
            "ab\u{2026} (1000000 characters more) \u{2026}yz",
            "no character is torn apart"
        );
        assert!(excerpt(&"x".repeat(4_000_000), 500).len() < 560);
    }
}
