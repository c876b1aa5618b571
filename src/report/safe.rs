//! Text from files and people made safe for a terminal, and laid out by the
//! columns it takes there.
//!
//! A name may hold anything that a file can hold: escape sequences that move
//! the cursor, marks that turn the direction of writing, thousands of accents
//! on one letter. None of it reaches the terminal as such, and none of it is
//! dropped in silence.

use std::borrow::Cow;

use unicode_segmentation::UnicodeSegmentation;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

pub use crate::units::{excerpt, is_unseen};

/// Of a text that is put into one line no more is looked at than this and so
/// much a column, in bytes: a frame is drawn in time whatever a file holds.
const LOOKED_AT: usize = 1024;
const LOOKED_AT_A_COLUMN: usize = 16;

/// Marks on one letter that are shown before the rest is only counted. Written
/// languages need fewer (Hebrew and Tibetan stack up to about five).
const MARKS_SHOWN: usize = 6;

/// The text with every character seen: what acts or hides becomes an escape
/// (`\u{1b}`, `\n`), a heap of marks on one letter becomes the first few and a
/// count, and a mark without a letter gets a dotted circle to stand on.
///
/// Doing it twice changes nothing more.
pub fn plain_text(text: &str) -> Cow<'_, str> {
    if is_plain(text) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len().min(4096));
    let mut marks = 0_usize;
    for character in text.chars() {
        if is_unseen(character) {
            end_of_marks(&mut plain, &mut marks);
            plain.extend(escape(character));
        } else if is_mark(character) {
            if plain.is_empty() {
                plain.push('\u{25cc}');
            }
            marks += 1;
            if marks <= MARKS_SHOWN {
                plain.push(character);
            }
        } else {
            end_of_marks(&mut plain, &mut marks);
            plain.push(character);
        }
    }
    end_of_marks(&mut plain, &mut marks);
    Cow::Owned(plain)
}

/// Whether it is made of letters of one column each: ASCII, and the lines,
/// blocks and shapes up to the black circle (Unicode, U+2500 to U+25CF).
fn is_plain(text: &str) -> bool {
    let plain = |c| matches!(c, ' '..='~' | '\u{2500}'..='\u{25cf}');
    text.chars().all(plain)
}

fn is_mark(character: char) -> bool {
    character.width() == Some(0)
}

fn end_of_marks(plain: &mut String, marks: &mut usize) {
    if *marks > MARKS_SHOWN {
        plain.extend(["[+", &(*marks - MARKS_SHOWN).to_string(), " marks]"]);
    }
    *marks = 0;
}

fn escape(character: char) -> impl Iterator<Item = char> {
    let short = matches!(character, '\n' | '\r' | '\t' | '\0');
    let long = (!short).then(|| character.escape_unicode());
    let short = short.then(|| character.escape_debug());
    short
        .into_iter()
        .flatten()
        .chain(long.into_iter().flatten())
}

/// The columns that a text takes on a terminal.
pub fn columns(text: &str) -> usize {
    if is_plain(text) {
        return text.chars().count();
    }
    text.graphemes(true).map(UnicodeWidthStr::width).sum()
}

/// The text cut to at most so many columns, with `…` where something is left
/// out. A letter with its marks is never torn apart.
pub fn fit(text: &str, most: usize) -> String {
    if columns(text) <= most {
        return text.to_owned();
    }
    let (mut taken, mut before_mark) = (0, 0);
    for (at, letter) in text.grapheme_indices(true) {
        if taken < most {
            before_mark = at;
        }
        taken += letter.width();
        if taken > most {
            let mark = if most > 0 { "\u{2026}" } else { "" };
            return format!("{}{mark}", &text[..before_mark]);
        }
    }
    text.to_owned()
}

/// Text of any origin and length in at most so many columns.
pub fn fitted(text: &str, most: usize) -> String {
    let looked_at = LOOKED_AT + most * LOOKED_AT_A_COLUMN;
    fit(&plain_text(&excerpt(text, looked_at)), most)
}

/// The text with spaces after it up to so many columns; a longer one stays.
pub fn pad(text: &str, least: usize) -> String {
    format!("{text}{}", " ".repeat(least.saturating_sub(columns(text))))
}

/// The text with spaces before it up to so many columns; a longer one stays.
pub fn pad_left(text: &str, least: usize) -> String {
    format!("{}{text}", " ".repeat(least.saturating_sub(columns(text))))
}

/// Text of any origin as a cell of exactly so many columns.
pub fn cell(text: &str, wide: usize) -> String {
    pad(&fitted(text, wide), wide)
}

/// Text of any origin in lines of at most so many columns, broken between
/// words; a word that is longer than a line is cut into pieces.
pub fn wrapped(text: &str, most: usize) -> Vec<String> {
    let most = most.max(2);
    let mut lines = vec![String::new()];
    let mut taken = 0;
    for word in plain_text(text).split_whitespace() {
        let wide = columns(word);
        if taken > 0 && taken + 1 + wide > most {
            lines.push(String::new());
            taken = 0;
        } else if taken > 0 {
            push(&mut lines, " ");
            taken += 1;
        }
        if taken + wide <= most {
            push(&mut lines, word);
            taken += wide;
            continue;
        }
        for letter in word.graphemes(true) {
            if taken + letter.width() > most {
                lines.push(String::new());
                taken = 0;
            }
            push(&mut lines, letter);
            taken += letter.width();
        }
    }
    lines
}

fn push(lines: &mut [String], text: &str) {
    if let Some(line) = lines.last_mut() {
        line.push_str(text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_or_hides_is_shown_as_an_escape() {
        assert_eq!(plain_text("\u{1b}[31mstem\u{7}"), r"\u{1b}[31mstem\u{7}");
        assert_eq!(plain_text("a\0b\nc\td\re"), r"a\0b\nc\td\re");
        assert_eq!(plain_text("\u{9b}2J"), r"\u{9b}2J");
        // The right-to-left override that turns `exe.mets` into `stem.exe`.
        assert_eq!(plain_text("\u{202e}exe.mets"), r"\u{202e}exe.mets");
        assert_eq!(plain_text("st\u{200b}em\u{feff}"), r"st\u{200b}em\u{feff}");
        assert!(matches!(plain_text("frond-1"), Cow::Borrowed(_)));
    }

    #[test]
    fn letters_of_every_script_stay_as_they_are() {
        for name in [
            "벨",
            "鈴",
            "Glöckchen",
            "פעמון",
            "جرس",
            "e\u{301}tude",
            "नमस्ते",
        ] {
            assert_eq!(plain_text(name), name);
        }
    }

    #[test]
    fn a_heap_of_marks_is_counted_not_drawn() {
        let heap = format!("a{}b", "\u{301}".repeat(5000));
        let plain = plain_text(&heap);
        assert_eq!(plain, format!("a{}[+4994 marks]b", "\u{301}".repeat(6)));
        assert_eq!(plain_text(&plain), plain);
        assert_eq!(plain_text("\u{301}x"), "\u{25cc}\u{301}x");
        assert_eq!(columns(&plain), "a[+4994 marks]b".len());
    }

    #[test]
    fn columns_count_what_a_terminal_draws() {
        // Unicode UAX #11: ideographs and Hangul syllables are wide.
        assert_eq!(columns("stem"), 4);
        assert_eq!(columns("벨"), 2);
        assert_eq!(columns("鈴鈴"), 4);
        assert_eq!(columns("e\u{301}"), 1);
        for shape in '\u{2500}'..='\u{25cf}' {
            assert_eq!(shape.width(), Some(1), "{shape}");
            assert_eq!(columns(&shape.to_string()), 1);
        }
        // The same syllable in its parts: one letter, two columns.
        assert_eq!(columns("\u{1107}\u{1166}\u{11af}"), 2);
    }

    #[test]
    fn a_cell_has_exactly_its_columns() {
        let names = [
            "stem",
            "벨벨벨벨벨벨",
            "鈴x鈴x鈴x鈴",
            "e\u{301}e\u{301}",
            "",
            "פעמון",
            "\u{1b}[2J",
        ];
        for name in names {
            for wide in 0..14 {
                assert_eq!(columns(&cell(name, wide)), wide, "{name} in {wide}");
            }
        }
        assert_eq!(fit("crozier", 5), "croz\u{2026}");
        assert_eq!(fit("鈴鈴鈴", 4), "鈴\u{2026}");
        assert_eq!(pad_left("7", 3), "  7");
    }

    #[test]
    fn lines_break_between_words_and_long_words_are_cut() {
        assert_eq!(wrapped("lift stem out now", 9), ["lift stem", "out now"]);
        assert_eq!(wrapped("鈴鈴鈴", 4), ["鈴鈴", "鈴"]);
        let long = wrapped(&"x".repeat(25), 10);
        assert_eq!(
            long.iter().map(String::len).collect::<Vec<_>>(),
            [10, 10, 5]
        );
        assert_eq!(wrapped("", 10), [""]);
    }
}
