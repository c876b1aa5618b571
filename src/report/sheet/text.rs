//! The sheet as text: 80 columns, pages of 60 lines, an empty line under every
//! row so that a pencil has its 8 mm at six lines an inch.

use super::rows::findings;
use super::{Blank, LAMP, Row, Section, Sheet, printed_unit};
use crate::report::safe::{cell, columns, excerpt, fitted, pad, wrapped};
use crate::report::text::{COLUMNS, PRINTED};

/// Lines of a page: Letter has 66 and A4 70 at six an inch, less the margins.
const PAGE: usize = 60;
/// Where the second line of a row begins.
const INDENT: usize = 10;
/// Columns that words need at least.
const WORDS: usize = 11;

/// Lines that stay on one page.
type Block = Vec<String>;

/// The whole sheet.
pub(super) fn print(sheet: &Sheet) -> String {
    let mut blocks = vec![top(sheet)];
    blocks.extend(due(sheet));
    for section in &sheet.sections {
        blocks.extend(section_blocks(section, sheet.degrees));
    }
    blocks.push(remarks());
    blocks.push(led("Findings: ", &findings()));
    blocks.push(Vec::new());
    blocks.extend(sheet.cautions.iter().map(|line| led("! ", line)));
    let pages = paged(blocks);
    let of = pages.len();
    let mut printed = String::new();
    for (n, page) in pages.iter().enumerate() {
        if n > 0 {
            printed.push('\u{c}');
            let name = format!("sheet {}  page {} of {of}  ", sheet.number, n + 1);
            let room = COLUMNS - columns(&name);
            push(&mut printed, &(name + &fitted(&sheet.name, room)));
            push(&mut printed, "");
        }
        for line in page {
            push(&mut printed, line);
        }
    }
    printed
}

fn push(text: &mut String, line: &str) {
    text.push_str(line.trim_end());
    text.push('\n');
}

/// Blocks on pages, none torn that fits on one.
fn paged(blocks: Vec<Block>) -> Vec<Vec<String>> {
    let mut pages: Vec<Vec<String>> = vec![Vec::new()];
    let mut used = 0;
    for block in blocks {
        if used > 0 && used + block.len() > PAGE {
            pages.push(Vec::new());
            // The head of the page and the line under it.
            used = 2;
        }
        used += block.len();
        if let Some(page) = pages.last_mut() {
            page.extend(block);
        }
    }
    pages
}

fn top(sheet: &Sheet) -> Block {
    let room = COLUMNS - columns(&sheet.date) - 1;
    let number = format!("sheet {}", sheet.number);
    vec![
        format!("{} {}", cell(&sheet.name, room), sheet.date),
        format!("Written by {}{number:>44}", "_".repeat(24)),
        String::new(),
        format!(
            "On the screen, t types in its {} rows in this order; an empty one is left out.",
            sheet.rows().count()
        ),
        String::new(),
    ]
}

fn due(sheet: &Sheet) -> Vec<Block> {
    let mut blocks = vec![vec!["Due".to_owned()]];
    if sheet.due.is_empty() {
        blocks.push(vec!["  nothing by the clock".to_owned()]);
    }
    for (clock, say) in &sheet.due {
        blocks.push(led(&format!("  [ ] {} ", cell(clock, 16)), say));
    }
    blocks.push(vec![String::new()]);
    blocks
}

fn section_blocks(section: &Section, degrees: &'static str) -> Vec<Block> {
    let rule = "-".repeat(COLUMNS);
    let mut head = vec![rule];
    head.extend(led("", &format!("{}: {}", section.name, section.stands)));
    for fact in &section.facts {
        head.extend(led("  ", fact));
    }
    for (gate, say) in &section.open {
        head.extend(led(&format!("  [ ] {} ", cell(gate, 14)), say));
    }
    head.push(String::new());
    let mut rows = section.rows.iter().map(|row| row_block(row, degrees));
    // The head stays with its first row.
    head.extend(rows.next().unwrap_or_default());
    std::iter::once(head).chain(rows).collect()
}

fn remarks() -> Block {
    let lines = (0..4).flat_map(|_| [String::new(), "_".repeat(COLUMNS)]);
    std::iter::once("Notes".to_owned())
        .chain(lines)
        .chain([String::new()])
        .collect()
}

fn led(lead: &str, text: &str) -> Block {
    let indent = columns(lead);
    let lines = wrapped(&excerpt(text, PRINTED), COLUMNS - indent)
        .into_iter()
        .enumerate();
    lines
        .map(|(n, line)| {
            let lead = if n == 0 { lead } else { "" };
            format!("{}{line}", pad(lead, indent))
        })
        .collect()
}

/// A stretch of a line: text, or words to be written that take what is left.
struct Part {
    text: String,
    stretches: bool,
}

fn row_block(row: &Row, degrees: &'static str) -> Block {
    let planned = row.planned.as_deref().unwrap_or("");
    let lead = format!("{:>3} {planned:<5} {}", row.number, fitted(&row.say, 30));
    let mut lines = vec![vec![Part {
        text: pad(&lead, INDENT),
        stretches: false,
    }]];
    let mut boxes = Vec::new();
    for blank in row.blanks(degrees) {
        match part(&blank, &row.say) {
            Some(part) => place(&mut lines, part),
            None => boxes.extend(box_lines(&blank)),
        }
    }
    let mut block: Block = lines.iter().map(|line| drawn(line)).collect();
    block.extend(boxes);
    block.push(String::new());
    block
}

/// Room for one blank; a word that only says again what the row is called is
/// left out.
fn part(blank: &Blank, row: &str) -> Option<Part> {
    let fixed = |text: String| {
        let stretches = false;
        Some(Part { text, stretches })
    };
    let words = |label: &str| {
        let stretches = true;
        let text = if label == row {
            String::new()
        } else {
            format!("{label} ")
        };
        Some(Part { text, stretches })
    };
    match blank {
        Blank::Time(label) => fixed(format!("{label} __:__")),
        Blank::Figure(label, unit) => {
            let unit = printed_unit(unit);
            fixed(match *label {
                "volts" | "amps" | "bath" | "mass" | "resistance" => format!("_______ {unit}"),
                label if label == row => format!("_______ {unit}"),
                label => format!("{label} ______ {unit}"),
            })
        }
        Blank::One(_, of) => {
            let of: Vec<&str> = of
                .iter()
                .map(String::as_str)
                .filter(|o| *o != LAMP[0])
                .collect();
            fixed(fitted(&of.join(" / "), COLUMNS - INDENT - 2))
        }
        Blank::Words(label) => words(label),
        Blank::Seen => words("seen"),
        Blank::Boxes(_) => None,
    }
}

fn wide(part: &Part) -> usize {
    columns(&part.text) + if part.stretches { WORDS } else { 0 }
}

fn place(lines: &mut Vec<Vec<Part>>, part: Part) {
    let taken = |line: &Vec<Part>| line.iter().map(|p| wide(p) + 2).sum::<usize>();
    if let Some(line) = lines.last_mut()
        && taken(line) + wide(&part) <= COLUMNS
    {
        line.push(part);
        return;
    }
    let indent = Part {
        text: " ".repeat(INDENT - 2),
        stretches: false,
    };
    lines.push(vec![indent, part]);
}

/// A line with its words stretched over what is left of it.
fn drawn(line: &[Part]) -> String {
    let taken: usize = line.iter().map(|p| columns(&p.text) + 2).sum::<usize>() - 2;
    let stretching = line.iter().filter(|p| p.stretches).count();
    let each = COLUMNS.saturating_sub(taken) / stretching.max(1);
    let parts: Vec<String> = line
        .iter()
        .map(|part| {
            let rule = if part.stretches { each } else { 0 };
            format!("{}{}", part.text, "_".repeat(rule))
        })
        .collect();
    parts.join("  ")
}

/// Boxes with the digits that tick them on the screen, nine at a time.
fn box_lines(blank: &Blank) -> Block {
    let Blank::Boxes(boxes) = blank else {
        return Vec::new();
    };
    let all = boxes.iter().enumerate();
    all.flat_map(|(n, tick)| led(&format!("      {} [ ] ", n % 9 + 1), &tick.say))
        .collect()
}
