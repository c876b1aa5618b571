//! The history as a table for spreadsheets.

use std::fmt::Display;

use serde_json::Value;

use super::json;
use super::safe::plain_text;
use crate::project::Project;

const HEAD: &str =
    "sequence,at,recorded,who,piece,tank,what,text,override,overridden,undone,back_dated";

/// Every event or those of one piece, one row each under a row of names; the
/// instants are those of RFC 3339, `what` is the word that records it.
///
/// Fields are quoted as RFC 4180 has it; the lines end as the terminal's do.
pub fn history(project: &Project, piece: Option<&str>) -> String {
    let history = json::history(project, piece);
    let events = history["events"].as_array().map_or(&[][..], Vec::as_slice);
    let rows = events.iter().map(row);
    std::iter::once(HEAD.to_owned())
        .chain(rows)
        .fold(String::new(), |table, row| table + &row + "\n")
}

fn row(event: &Value) -> String {
    let pieces = match &event["piece"] {
        Value::Null => &event["pieces"],
        piece => piece,
    };
    let texts = [
        &event["who"],
        pieces,
        &event["tank"],
        &event["kind"],
        &event["what"],
        &event["override"],
        &event["overridden"],
    ];
    let cells = ["sequence", "at", "recorded"]
        .map(|key| plain(&event[key]))
        .into_iter()
        .chain(texts.map(|text| field(&plain(text))))
        .chain(["undone", "back_dated"].map(|key| plain(&event[key])));
    cells.collect::<Vec<_>>().join(",")
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(texts) => texts.iter().map(plain).collect::<Vec<_>>().join(", "),
        other => (other as &dyn Display).to_string(),
    }
}

/// Text of any origin as one field: what is unseen becomes an escape, so that
/// it stays in its row; what a spreadsheet would take for a formula gets an
/// apostrophe before it, which makes it text there. The characters are those
/// of OWASP, "CSV Injection" and ASVS 5.0, 1.2.10; tab, carriage return and NUL
/// are escapes by then. The wide forms are the same signs typed in a Japanese
/// or Chinese input mode.
pub(super) fn field(text: &str) -> String {
    let plain = plain_text(text);
    let lead = if plain.starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']) {
        "'"
    } else {
        ""
    };
    if lead.is_empty() && !plain.contains([',', '"', ' ', ';']) {
        return plain.into_owned();
    }
    format!("\"{lead}{}\"", plain.replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::field;

    #[test]
    fn a_field_is_text_and_nothing_else() {
        // RFC 4180, 2.6 and 2.7.
        assert_eq!(field("stem"), "stem");
        assert_eq!(field("stem, base"), "\"stem, base\"");
        assert_eq!(field("the \"old\" wire"), "\"the \"\"old\"\" wire\"");
        // A semicolon parts fields where the comma is the decimal sign.
        assert_eq!(field("a;=1"), "\"a;=1\"");
        // OWASP, CSV Injection.
        assert_eq!(field("=cmd|'/c calc'!A1"), "\"'=cmd|'/c calc'!A1\"");
        assert_eq!(field("-2+3"), "\"'-2+3\"");
        assert_eq!(field("＝1"), "\"'＝1\"");
        assert_eq!(field("\t=1"), r"\t=1");
        assert_eq!(field("\r\n=1"), r"\r\n=1");
    }
}
