//! Text of files and of the keyboard, made harmless for a terminal.

use unicode_segmentation::UnicodeSegmentation as _;
use unicode_width::UnicodeWidthStr as _;

/// What stands for a character that must not be drawn.
const STAND_IN: char = '\u{fffd}';

/// Whether a terminal might obey it, reorder by it, or draw nothing for it.
fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}'
            | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
            | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

/// The text with control, bidirectional and invisible format characters
/// replaced by a stand-in.
pub fn safe(text: &str) -> String {
    text.chars()
        .map(|c| if is_unsafe(c) { STAND_IN } else { c })
        .collect()
}

/// Safe text of at most `width` columns, cut between graphemes.
pub fn plain_words(text: &str, width: usize) -> String {
    let text = safe(text);
    if text.width() <= width {
        return text;
    }
    let mut out = String::new();
    let mut used = 0;
    for grapheme in text.graphemes(true) {
        if used + grapheme.width() + 1 > width {
            break;
        }
        used += grapheme.width();
        out.push_str(grapheme);
    }
    if width > 0 {
        out.push('\u{2026}');
    }
    out
}

/// Safe text of exactly `width` columns.
pub fn padded(text: &str, width: usize) -> String {
    let cut = plain_words(text, width);
    let used = cut.width();
    cut + &" ".repeat(width.saturating_sub(used))
}

/// How many columns a text takes.
pub fn columns(text: &str) -> usize {
    text.width()
}

/// Breaks a text into lines of at most `width` columns, between words.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let mut lines = vec![String::new()];
    for word in safe(text).split_whitespace() {
        let line = lines.last().map_or(0, |l| l.width());
        if line > 0 && line + 1 + word.width() > width {
            lines.push(String::new());
        }
        for piece in pieces_of(word, width) {
            let last = lines.len() - 1;
            let room = width - lines[last].width().min(width);
            let gap = usize::from(!lines[last].is_empty());
            if piece.width() + gap > room && !lines[last].is_empty() {
                lines.push(piece);
            } else {
                if gap == 1 {
                    lines[last].push(' ');
                }
                lines[last].push_str(&piece);
            }
        }
    }
    lines
}

/// A word in pieces of at most `width` columns.
fn pieces_of(word: &str, width: usize) -> Vec<String> {
    let mut pieces = vec![String::new()];
    for grapheme in word.graphemes(true) {
        let last = pieces.len() - 1;
        if pieces[last].width() + grapheme.width() > width && !pieces[last].is_empty() {
            pieces.push(grapheme.to_owned());
        } else {
            pieces[last].push_str(grapheme);
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_a_terminal_obeys_is_left() {
        let text = "a\u{1b}[31m\u{202e}b\u{200b}\tc\u{9b}";
        assert!(!safe(text).chars().any(is_unsafe));
        assert_eq!(safe("Blatt \u{6728} e\u{301}"), "Blatt \u{6728} e\u{301}");
    }

    #[test]
    fn names_in_any_script_line_up() {
        for name in [
            "stem",
            "\u{6728}\u{306e}\u{8449}",
            "e\u{301}te\u{301}",
            "a very long name indeed",
            "",
        ] {
            for width in 0..20 {
                assert_eq!(columns(&padded(name, width)), width, "{name} {width}");
            }
        }
    }

    #[test]
    fn lines_break_between_words_and_never_overflow() {
        let text = "in the bath without current its paint soaks \u{6728}\u{306e}\u{8449}aaaaaaaaaaaaaaaaaaaaaaa";
        for width in 2..30 {
            let lines = wrapped(text, width);
            assert!(
                lines.iter().all(|l| columns(l) <= width),
                "{width} {lines:?}"
            );
            let joined: String = lines.concat().chars().filter(|c| *c != ' ').collect();
            assert_eq!(joined, text.replace(' ', ""));
        }
    }
}
