//! The sheet as one HTML file: no script, nothing fetched, black on white, for
//! A4 or Letter by the printer's own setting.

use std::fmt::Write as _;

use super::rows::findings;
use super::{Blank, LAMP, Row, Section, Sheet, Tick, printed_unit};
use crate::report::safe::{excerpt, plain_text};
use crate::report::text::PRINTED;

/// Rows are over 9 mm tall for a pencil in a wet hand; nothing is told by colour.
const STYLE: &str = "
@page { margin: 12mm 11mm; }
* { box-sizing: border-box; margin: 0; padding: 0; }
html { color: #000; background: #fff; font: 11pt/1.3 \"DejaVu Sans\", Verdana, Arial, sans-serif; }
body { max-width: 188mm; margin: 0 auto; padding: 4mm 0; }
header { border-bottom: 0.7mm solid #000; padding-bottom: 2mm; margin-bottom: 3mm; }
h1 { font-size: 17pt; line-height: 1.2; }
h2 { font-size: 12.5pt; border-bottom: 0.3mm solid #000; padding: 0 0 0.7mm; margin-bottom: 1.2mm; break-after: avoid; page-break-after: avoid; }
h2 b { font-weight: 700; } h2 span { font-weight: 400; }
.top { display: flex; justify-content: space-between; align-items: flex-end; gap: 6mm; }
.sheet { border: 0.5mm solid #000; padding: 1mm 2.5mm; font-weight: 700; white-space: nowrap; }
.by { flex: 1; border-bottom: 0.3mm solid #000; height: 9mm; padding-top: 4mm; }
section { margin-top: 5mm; }
.head { break-inside: avoid; page-break-inside: avoid; }
.fact { font-size: 10pt; }
.tick { display: flex; gap: 2mm; align-items: flex-start; min-height: 6mm; padding: 0.6mm 0; break-inside: avoid; page-break-inside: avoid; }
.tick i { flex: none; width: 4.6mm; height: 4.6mm; border: 0.35mm solid #000; }
.tick u { flex: none; text-decoration: none; width: 4mm; text-align: right; font-size: 10pt; }
.tick b { flex: none; min-width: 15mm; }
.ticks { flex: 1 1 100%; columns: 2; column-gap: 5mm; padding-top: 1.5mm; font-size: 10pt; }
.ticks .tick { break-inside: avoid; }
.row { display: flex; align-items: flex-start; column-gap: 2mm; padding: 0 0 1mm; border-bottom: 0.1mm solid #000; break-inside: avoid; page-break-inside: avoid; }
.fact + .row { margin-top: 1.5mm; }
.blanks { flex: 1; display: flex; flex-wrap: wrap; align-items: flex-end; gap: 1mm 2.5mm; }
.n { flex: none; width: 8mm; text-align: right; font-weight: 700; padding-top: 3.6mm; }
.p { flex: none; width: 12mm; padding-top: 3.6mm; font-weight: 700; }
.s { flex: none; width: 27mm; padding-top: 3.6mm; overflow-wrap: anywhere; }
.b { position: relative; border: 0.25mm solid #000; border-top: 0; height: 9.5mm; flex: none; width: 24mm; text-align: right; padding: 4mm 1mm 0; }
.b small { position: absolute; left: 1mm; top: 0; font-size: 8.5pt; line-height: 1.1; }
.b.time { width: 21mm; text-align: center; padding-right: 0; }
.b.words { flex: 1 1 25mm; }
.b.seen { flex-grow: 3; }
.one { padding-top: 4mm; white-space: normal; }
.one span { border: 0.2mm solid #000; border-radius: 3mm; padding: 0.3mm 1.5mm; margin-right: 0.5mm; white-space: nowrap; }
.notes div { border-bottom: 0.25mm solid #000; height: 9mm; }
.small { font-size: 9.5pt; } .small li { margin-left: 5mm; }
@media screen { body { padding: 8mm; } }
";

/// The whole file.
pub(super) fn print(sheet: &Sheet) -> String {
    let mut page = String::from("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n");
    let name = escaped(&sheet.name);
    let head = [
        "<meta charset=\"utf-8\"/>\n".to_owned(),
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n".to_owned(),
        format!("<title>{name}: sheet {}</title>\n", sheet.number),
        format!("<style>{STYLE}</style>\n</head>\n<body>\n"),
        format!("<header>\n<div class=\"top\"><h1><bdi>{name}</bdi></h1>"),
        format!("<div class=\"sheet\">sheet {}</div></div>\n", sheet.number),
        format!("<div class=\"top\"><div>{}</div>", escaped(&sheet.date)),
        "<div class=\"by\">Written by</div></div>\n</header>\n".to_owned(),
        format!(
            "<p class=\"fact\">On the screen, <b>t</b> types in its {} rows in this order; an \
             empty one is left out.</p>\n",
            sheet.rows().count()
        ),
    ];
    page.extend(head);
    due(&mut page, sheet);
    for section in &sheet.sections {
        block(&mut page, section, sheet.degrees);
    }
    let lines = "<div></div>".repeat(6);
    let tail = [
        format!("<section class=\"notes\"><h2><b>Notes</b></h2>{lines}</section>\n"),
        "<section class=\"small\"><h2><b>Findings</b></h2>".to_owned(),
        format!("<p>{}</p></section>\n", escaped(&findings())),
        "<section class=\"small\"><h2><b>Mind</b></h2><ul>\n".to_owned(),
    ];
    page.extend(tail);
    for line in &sheet.cautions {
        add(&mut page, format_args!("<li>{}</li>\n", escaped(line)));
    }
    page.push_str("</ul></section>\n</body>\n</html>\n");
    page
}

fn add(page: &mut String, text: std::fmt::Arguments<'_>) {
    // A string takes whatever is written into it.
    let _never_fails = page.write_fmt(text);
}

/// Text of any origin: what acts or hides is seen, what is markup is text.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in plain_text(&excerpt(text, PRINTED)).chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

fn due(page: &mut String, sheet: &Sheet) {
    page.push_str("<section class=\"due\"><h2><b>Due</b></h2>\n");
    if sheet.due.is_empty() {
        page.push_str("<p>nothing by the clock</p>\n");
    }
    for (clock, say) in &sheet.due {
        let (clock, say) = (escaped(clock), escaped(say));
        add(
            page,
            format_args!(
                "<div class=\"tick\"><i></i><b>{clock}</b> <span><bdi>{say}</bdi></span></div>\n"
            ),
        );
    }
    page.push_str("</section>\n");
}

/// A section; its head stays with its first row.
fn block(page: &mut String, section: &Section, degrees: &'static str) {
    let (name, stands) = (escaped(&section.name), escaped(&section.stands));
    add(
        page,
        format_args!(
            "<section>\n<div class=\"head\"><h2><b><bdi>{name}</bdi></b>: <span>{stands}</span></h2>\n"
        ),
    );
    for fact in &section.facts {
        let fact = escaped(fact);
        add(
            page,
            format_args!("<p class=\"fact\"><bdi>{fact}</bdi></p>\n"),
        );
    }
    for (gate, say) in &section.open {
        let (gate, say) = (escaped(gate), escaped(say));
        add(
            page,
            format_args!(
                "<div class=\"tick fact\"><i></i><b>{gate}</b> <span>{say}</span></div>\n"
            ),
        );
    }
    let mut rows = section.rows.iter();
    rows.by_ref()
        .take(1)
        .for_each(|row| one_row(page, row, degrees));
    page.push_str("</div>\n");
    rows.for_each(|row| one_row(page, row, degrees));
    page.push_str("</section>\n");
}

fn one_row(page: &mut String, row: &Row, degrees: &'static str) {
    let planned = row.planned.as_deref().unwrap_or("");
    let (number, say) = (row.number, escaped(&row.say));
    add(
        page,
        format_args!(
            "<div class=\"row\" id=\"row-{number}\"><span class=\"n\">{number}</span>\
             <span class=\"p\">{planned}</span><span class=\"s\"><bdi>{say}</bdi></span>\
             <div class=\"blanks\">"
        ),
    );
    for blank in row.blanks(degrees) {
        one_blank(page, &blank);
    }
    page.push_str("</div></div>\n");
}

fn one_blank(page: &mut String, blank: &Blank) {
    match blank {
        Blank::Time(label) => add(
            page,
            format_args!("<span class=\"b time\"><small>{label}</small>:</span>"),
        ),
        Blank::Figure(label, unit) => add(
            page,
            format_args!(
                "<span class=\"b\"><small>{label}</small>{}</span>",
                printed_unit(unit)
            ),
        ),
        Blank::One(_, of) => {
            page.push_str("<span class=\"one\">");
            for choice in of.iter().filter(|choice| *choice != LAMP[0]) {
                add(page, format_args!("<span>{}</span>", escaped(choice)));
            }
            page.push_str("</span>");
        }
        Blank::Words(label) => words(page, label, ""),
        Blank::Seen => words(page, "seen", " seen"),
        Blank::Boxes(boxes) => ticks(page, boxes),
    }
}

fn words(page: &mut String, label: &str, class: &str) {
    add(
        page,
        format_args!("<span class=\"b words{class}\"><small>{label}</small></span>"),
    );
}

/// Boxes with the digits that tick them on the screen, nine at a time.
fn ticks(page: &mut String, boxes: &[Tick]) {
    page.push_str("<div class=\"ticks\">");
    for (n, tick) in boxes.iter().enumerate() {
        let (digit, say) = (n % 9 + 1, escaped(&tick.say));
        add(
            page,
            format_args!("<div class=\"tick\"><u>{digit}</u><i></i><span>{say}</span></div>"),
        );
    }
    page.push_str("</div>");
}
