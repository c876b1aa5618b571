//! Spread: where the metal will pile up or be missing. Figures first, then the
//! places to watch, the area by density, what it rests on and what was assumed;
//! the pieces drawn beside them.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, bar, below, line_of, wrapped};
use super::print::{HIDDEN_MARK, MARK, turned, turned_in_short};
use super::{Role, how_to_begin, is_narrow, or_edit, scale};
use crate::field::scene::{BodySpread, Kind, direction_words};
use crate::project::{Tank, Target};
use crate::report::safe::{fitted, pad, pad_left};
use crate::report::spread::over_mean;
use crate::tui::app::{BANDS, Change, Dots, Id, Measure, Model, OfTank, Seen, Showing, band_of};
use crate::units::{A_DM2, CM, UM, clock_span, number};

/// Draws what is known of the tank.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    if model.project.definition.pieces.is_empty() {
        pen.row(area, &Row::plain(how_to_begin(model)));
        return;
    }
    let seen = model.spread_seen();
    let (left, right) = match seen {
        Some(_) if !is_narrow(usize::from(area.width)) => halves(area),
        _ => (area, None),
    };
    let told = Told::of(model, usize::from(left.width));
    let rows = windowed(model, told, usize::from(left.height));
    pen.rows(left, &rows.rows);
    for (line, band) in rows.samples {
        let (glyph, style) = scale::sample(band, pen.theme());
        pen.cell(left, (2, line), glyph, style);
    }
    if let (Some(seen), Some(right)) = (seen, right) {
        let tank = model.spread_tank().map_or("", |tank| &tank.name);
        let rest = Showing::of(tank, seen.first);
        let showing = model.spreads.showing(tank).unwrap_or(&rest);
        scale::in_cells(showing, seen, cell_dots(model, showing), pen, right);
    }
}

/// The figures, and beside them the picture.
fn halves(area: Rect) -> (Rect, Option<Rect>) {
    let left = (area.width * 13 / 20).min(76);
    let right = Rect {
        x: area.x + left + 1,
        width: area.width - left - 1,
        ..area
    };
    (
        Rect {
            width: left,
            ..area
        },
        Some(right),
    )
}

/// Pictures are for the whole screen alone.
fn cell_dots(model: &Model, showing: &Showing) -> Dots {
    match model.prints.dots(showing) {
        Dots::Picture => Dots::Blocks,
        dots => dots,
    }
}

/// Rows; which of them have the sample of a band; which has to be seen.
#[derive(Default)]
struct Told {
    rows: Vec<Row>,
    samples: Vec<(usize, usize)>,
    chosen: usize,
}

impl Told {
    fn of(model: &Model, width: usize) -> Self {
        let mut told = Self::default();
        told.head(model, width);
        let Some(seen) = model.spread_seen() else {
            told.without(model, width);
            return told;
        };
        told.figures(model, seen, width);
        if let Some(body) = model.spread_piece().and_then(|piece| seen.body(piece)) {
            told.probe(model, seen, width);
            told.places(model, body, width);
            told.areas(model, seen, body, width);
        }
        told.rests_on(seen, width);
        told
    }

    fn say(&mut self, role: Role, text: &str, width: usize) {
        let lines = wrapped(text, width).into_iter();
        self.rows.extend(lines.map(|line| Row::of(role, line)));
    }

    /// What is shown, and how the work on it stands.
    fn head(&mut self, model: &Model, width: usize) {
        let tank = model.spread_tank().map_or("no tank", |tank| &tank.name);
        let pieces = match model.spread_seen() {
            Some(seen) => seen.pieces.clone(),
            None => model
                .spread_asked()
                .map_or_else(|_| Vec::new(), |asked| asked.pieces),
        };
        let pieces = match pieces.as_slice() {
            [] => String::new(),
            [one] => format!(": {one}"),
            more => format!(": {} pieces", more.len()),
        };
        let title = format!("where the metal goes in {}{pieces}", fitted(tank, 20));
        self.rows.push(Row::of(Role::Title, fitted(&title, width)));
        if let Some(solving) = &model.spreads.solving {
            let passed = model.now.since(solving.began).max(0.0);
            let left = if solving.done > 0.1 {
                let left = passed / solving.done - passed;
                format!(", about {} left", clock_span(left))
            } else {
                String::new()
            };
            let stop = model.key_of(Id::GiveUp).unwrap_or_default();
            let text = format!(
                "computing: {} ... {:.0} %{left}; {stop} gives up",
                solving.step,
                solving.done * 100.0
            );
            self.say(Role::Soon, &text, width);
        } else if let Some(text) = model.spread_stale_words() {
            self.say(Role::Soon, &text, width);
        }
        if let Some(fault) = model.spread_known().and_then(|known| known.fault.as_ref()) {
            self.say(Role::Alarm, fault, width);
        }
        let without = model.spread_without();
        if !without.is_empty() && model.spread_asked().is_ok() {
            let text = format!(
                "left out for want of a print: {}",
                fitted(&without.join(", "), 200)
            );
            self.say(Role::Soon, &text, width);
        }
    }

    /// Nothing was computed yet: what it would rest on.
    fn without(&mut self, model: &Model, width: usize) {
        let asked = match model.spread_asked() {
            Ok(asked) => asked,
            Err(why) => return self.say(Role::Strong, &why, width),
        };
        if model.spreads.solving.is_none() {
            let key = model.key_of(Id::Compute).unwrap_or_default();
            let text = format!(
                "{key} computes it from the print, the tank and the bath: seconds, and nothing waits"
            );
            self.say(Role::Strong, &text, width);
        }
        let assumed = format!("? assumed: {}", asked.assumed_in_short().join(", "));
        self.say(Role::Soon, &assumed, width);
        let edit = or_edit(model);
        let Some(tank) = model.spread_tank() else {
            return;
        };
        let is_loose = |name: &&String| {
            let piece = asked.definition.piece(name);
            piece.is_some_and(|piece| piece.hangs.is_none())
        };
        let loose = asked.pieces.iter().find(is_loose);
        let missing = [
            (tank.inside.is_none()).then(|| {
                format!(
                    "tank `{}` has no inside size: inside: (\"45cm\", \"32cm\", \"45cm\"), fill: \"42cm\"",
                    tank.name
                )
            }),
            (tank.anodes.iter().all(|anode| anode.plate.is_none())).then(|| {
                "no anode has a place: plate: (at: (\"0cm\", \"16cm\", \"20cm\"), facing: (1, 0, 0), size: \
                 (\"20cm\", \"30cm\"))"
                    .to_owned()
            }),
            (tank.bath.conductivity_s_m.is_none())
                .then(|| "the bath has no conductivity: conductivity_s_m: 25".to_owned()),
            loose.map(|piece| {
                let [x, y, z] = middle_cm(tank);
                format!("`{piece}` has no place: hangs: (at: (\"{x}cm\", \"{y}cm\", \"{z}cm\"))")
            }),
        ];
        let missing: Vec<String> = missing.into_iter().flatten().collect();
        if !missing.is_empty() {
            let text = format!("taken as usual unless project.ron{edit}, tells it:");
            self.say(Role::Plain, &text, width);
        }
        for text in missing {
            self.say(Role::Soon, &format!("? {text}"), width);
        }
    }

    /// The tank's figures, each piece's, and what a change did.
    fn figures(&mut self, model: &Model, seen: &Seen, width: usize) {
        let (spread, flows) = (&seen.spread, &seen.spread.flows);
        let ohm = format!(
            "predicted {} ohm +-{} %",
            number(spread.resistance_ohm, 3),
            number(flows.error_resistance * 100.0, 2)
        );
        let drive = format!(
            "{} V drive {} A",
            number(spread.volts, 3),
            number(spread.amps, 3)
        );
        if ohm.len() + drive.len() + 2 <= width {
            let row = Row::of(Role::Strong, ohm).and(Role::Plain, format!("  {drive}"));
            self.rows.push(row);
        } else {
            self.rows.push(Row::of(Role::Strong, ohm));
            self.rows.push(Row::plain(drive));
        }
        let assumed = format!("? assumed: {}", seen.in_short.join(", "));
        self.say(Role::Soon, &assumed, width);
        self.table(model, seen, width);
        let known = model.spread_known();
        let changes = known.map_or(&[][..], |known| &known.changes);
        for change in changes {
            self.say(Role::Good, &change_words(change), width);
        }
    }

    fn table(&mut self, model: &Model, seen: &Seen, width: usize) {
        let (is_short, name) = (width < 46, if width < 46 { 10 } else { 12 });
        let unit = model.project.definition.units.density();
        let (mean, range) = if is_short {
            (String::new(), "")
        } else {
            (pad_left(unit.symbol, 7), "  5-95 %")
        };
        let head = format!("  {} share{mean}  least  most{range}", pad("", name));
        self.rows.push(Row::of(Role::Title, fitted(&head, width)));
        let bodies = seen.spread.bodies.iter();
        let cathodes: Vec<&BodySpread> = bodies.filter(|body| body.kind.is_cathode()).collect();
        let chosen = model.spread_piece();
        let at = cathodes.iter().position(|body| chosen == Some(&body.name));
        let first = at.unwrap_or(0).saturating_sub(MOST / 2);
        let first = first.min(cathodes.len().saturating_sub(MOST));
        for body in cathodes.iter().skip(first).take(MOST) {
            let share = format!("{} %", number(body.share * 100.0, 2));
            let mut line = format!(
                "{} {}",
                pad(&fitted(&body.name, name), name),
                pad_left(&share, 6)
            );
            if !is_short {
                let mean = A_DM2.of(body.mean_a_dm2).to(unit);
                line.push_str(&pad_left(&number(mean, 3), 7));
            }
            line.push_str(&pad_left(&times(body.min_over_mean), 7));
            line.push_str(&pad_left(&times(body.max_over_mean), 6));
            if !is_short {
                line = format!("{line}  {}-{}", number(body.p05, 2), number(body.p95, 2));
            }
            let is_chosen = chosen == Some(&body.name);
            let lead = if is_chosen { "> " } else { "  " };
            let role = if is_chosen { Role::Strong } else { Role::Plain };
            self.rows.push(Row::of(role, format!("{lead}{line}")));
        }
        let left = cathodes.len().saturating_sub(MOST);
        if left > 0 {
            self.say(Role::Soon, &format!("  {left} more: Left Right"), width);
        }
    }

    /// What is at the probe.
    fn probe(&mut self, model: &Model, seen: &Seen, width: usize) {
        let tank = model.spread_tank().map_or("", |tank| &tank.name);
        let Some(showing) = model.spreads.showing(tank) else {
            return;
        };
        for row in probe_rows(model, seen, showing, width) {
            self.rows.push(row);
        }
    }

    fn places(&mut self, model: &Model, body: &BodySpread, width: usize) {
        let places = model.spread_places();
        let title = format!("places to watch on {} (Up Down)", fitted(&body.name, 16));
        self.rows.push(Row::of(Role::Title, fitted(&title, width)));
        if places.is_empty() {
            self.say(Role::Plain, "  none: it is even", width);
        }
        for (n, place) in places.iter().enumerate() {
            let is_chosen = n == model.spreads.place;
            if is_chosen {
                self.chosen = self.rows.len();
            }
            let text = format!(
                "  {} {}  {}",
                pad(&place.what, 7),
                pad_left(&figure(model, body, place.over_mean), 6),
                body.direction(place.at_mm)
            );
            self.rows
                .push(Row::plain(fitted(&text, width)).chosen(is_chosen));
        }
    }

    /// The area by density or thickness: the histogram, and the legend of the
    /// picture.
    fn areas(&mut self, model: &Model, seen: &Seen, body: &BodySpread, width: usize) {
        let Some(shares) = seen.shares(&body.name) else {
            return;
        };
        let mean = model.target_mean(&body.name).map(|mean| mean.to(UM));
        let is_thickness = model.spreads.measure == Measure::Thickness;
        let title = if is_thickness {
            "area by um at the target charge"
        } else {
            "area by density over the mean"
        };
        self.rows.push(Row::of(Role::Title, fitted(title, width)));
        let most = shares.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        let room = width.saturating_sub(36).clamp(4, 24);
        for (band, share) in shares.iter().enumerate().rev() {
            let words = match mean {
                Some(mean) if is_thickness => thick_words(band, mean),
                _ => BANDS[band].1.to_owned(),
            };
            let percent = match share * 100.0 {
                share if share > 0.0 && share < 1.0 => "<1 %".to_owned(),
                share => format!("{share:.0} %"),
            };
            let filled = bar(room, share / most, 0.0).replace('\u{b7}', " ");
            let target = target_words(model, body, band);
            let line = format!(
                "    {} {} {filled} {target}",
                pad(&words, 12),
                pad_left(&percent, 5)
            );
            self.samples.push((self.rows.len(), band));
            self.rows.push(Row::plain(fitted(line.trim_end(), width)));
        }
    }

    fn rests_on(&mut self, seen: &Seen, width: usize) {
        let flows = &seen.spread.flows;
        let text = format!(
            "{} panels; residual {:.0e}; charge balances to {} %; a zone within {} %, by a solve with a quarter \
             of the panels",
            flows.panels,
            flows.residual,
            number(flows.balance.abs() * 100.0, 2),
            number(flows.error_zones * 100.0, 2)
        );
        self.say(Role::Plain, &text, width);
        for assumed in &seen.assumed {
            self.say(Role::Soon, &format!("? assumed: {assumed}"), width);
        }
    }
}

/// Of many pieces so many around the chosen one have their row.
const MOST: usize = 8;

/// The middle of a tank, or of one that is usual, in cm.
fn middle_cm(tank: &Tank) -> [String; 3] {
    let usual = [45.0, 32.0, 40.0];
    let inside = tank
        .inside
        .map_or(usual, |sides| sides.map(|side| side.to(CM)));
    inside.map(|side| number(side / 2.0, 2))
}

/// `0.34x`.
fn times(over_mean: f64) -> String {
    format!("{}x", number(over_mean, 2))
}

/// What the screen tells of a place: how much of the mean, or how thick.
fn figure(model: &Model, body: &BodySpread, over_mean: f64) -> String {
    let mean = model.target_mean(&body.name);
    match (model.spreads.measure, mean) {
        (Measure::Thickness, Some(mean)) => {
            let unit = model.project.definition.units.thickness();
            format!("{} {}", number(mean.to(unit) * over_mean, 2), unit.symbol)
        }
        _ => times(over_mean),
    }
}

/// What the target of a piece says of a band: its mean, and the least that is
/// wanted.
fn target_words(model: &Model, body: &BodySpread, band: usize) -> String {
    let definition = &model.project.definition;
    let Some(piece) = definition.piece(&body.name) else {
        return String::new();
    };
    let target = definition.target_of(piece);
    let mean = target.mean().to(UM);
    let mut words = Vec::new();
    if band == band_of(1.0) {
        words.push(format!("< mean {} um", number(mean, 2)));
    }
    if let Target::Minimum(least) = target
        && band == band_of(least.to(UM) / mean)
    {
        words.push(format!("< least wanted {} um", number(least.to(UM), 2)));
    }
    words.join("  ")
}

/// `24 to 38` of a band, um.
fn thick_words(band: usize, mean: f64) -> String {
    let from = number(BANDS[band].0 * mean, 2);
    match BANDS.get(band + 1) {
        None => format!("over {from}"),
        Some((to, _)) if band == 0 => format!("under {}", number(to * mean, 2)),
        Some((to, _)) => format!("{from} to {}", number(to * mean, 2)),
    }
}

fn change_words(change: &Change) -> String {
    let arrow = |[old, new]: [f64; 2]| format!("{} -> {}", times(old), times(new));
    format!(
        "{}: the change made least/mean {}, most/mean {}",
        change.piece,
        arrow(change.least),
        arrow(change.most)
    )
}

/// What is at the probe, as far as there is one.
fn probe_rows(model: &Model, seen: &Seen, showing: &Showing, width: usize) -> Vec<Row> {
    let at = showing
        .marker
        .and_then(|marker| Some((marker, seen.at(marker.facet)?)));
    let Some((marker, (body, cell))) = at else {
        return Vec::new();
    };
    let is_seen = showing.sees_marker(&seen.scene);
    let over = over_mean(body, cell);
    let unit = model.project.definition.units.density();
    let density = format!(
        "{} {}, {} the mean",
        number(A_DM2.of(cell.i_a_dm2).to(unit), 3),
        unit.symbol,
        times(over)
    );
    let thick = model
        .target_mean(&body.name)
        .filter(|_| body.kind == Kind::Piece);
    let thick = thick.map_or_else(String::new, |mean| {
        let unit = model.project.definition.units.thickness();
        let thick = number(mean.to(unit) * over, 2);
        format!(", {thick} {} at the target charge", unit.symbol)
    });
    let [x, y, z] = marker.at_mm.map(|mm| format!("{mm:.0}"));
    let place = direction_words(body.box_mm, marker.at_mm);
    let behind = if is_seen { "" } else { "; behind what is seen" };
    let text = format!(
        "{}: predicted {density}{thick}; {place}, x {x} y {y} z {z} mm in the tank{behind}",
        fitted(&body.name, 16)
    );
    let sign = if is_seen { MARK } else { HIDDEN_MARK };
    let lines = wrapped(&text, width.saturating_sub(2))
        .into_iter()
        .enumerate();
    lines
        .map(|(n, line)| {
            let lead = if n == 0 {
                format!("{sign} ")
            } else {
                "  ".to_owned()
            };
            Row::of(Role::Key, lead).and(Role::Plain, line)
        })
        .collect()
}

/// The rows that fit, down to the one that must be seen.
fn windowed(model: &Model, told: Told, height: usize) -> Told {
    if told.rows.len() <= height || height < 2 {
        return told;
    }
    let shown = height - 1;
    let last = told.rows.len() - shown;
    let first = if model.scroll > 0 {
        model.scroll.min(last)
    } else {
        (told.chosen + 1).saturating_sub(shown).min(last)
    };
    let sign = format!("{last} more lines: PgUp PgDn");
    let rows = told.rows.into_iter().skip(first).take(shown);
    let samples = told.samples.into_iter();
    let samples = samples.filter(|(line, _)| (first..first + shown).contains(line));
    Told {
        rows: rows.chain([Row::of(Role::Soon, sign)]).collect(),
        samples: samples.map(|(line, band)| (line - first, band)).collect(),
        chosen: 0,
    }
}

/// Draws the pieces in the place of the screen.
pub(super) fn picture(model: &Model, showing: &Showing, pen: &mut Pen<'_>, area: Rect) {
    let Some(seen) = model.spread_seen() else {
        return draw(model, pen, area);
    };
    let width = usize::from(area.width);
    let short = is_narrow(width);
    let what = if short {
        "over the mean"
    } else {
        "current density over the mean"
    };
    let turned = if short {
        turned_in_short(showing)
    } else {
        turned(showing)
    };
    let title = Row::of(Role::Strong, what).and(Role::Plain, format!("  {turned}"));
    pen.rule(line_of(area, 0), &title);
    let (place, told) = laid_out(model, showing, seen, area);
    match model.prints.dots(showing) {
        // The shell draws there.
        Dots::Picture => pen.clear(place),
        dots => scale::in_cells(showing, seen, dots, pen, place),
    }
    let under = below(area, usize::from(1 + place.height));
    pen.rows(under, &told);
    legend(model, pen, line_of(under, 0));
}

/// Where the picture is, and the rows under it; the first is the legend's.
fn laid_out(model: &Model, showing: &Showing, seen: &Seen, area: Rect) -> (Rect, Vec<Row>) {
    let width = usize::from(area.width);
    let mut rows = vec![Row::default()];
    let known = model.spread_known();
    rows.extend(stands(model, known));
    let probe = probe_rows(model, seen, showing, width);
    if probe.is_empty() && model.spread_places().is_empty() {
        rows.push(Row::plain("* sets a probe"));
    } else if probe.is_empty() {
        rows.push(Row::plain(
            "* sets a probe, 0 moves it to the places to watch",
        ));
    }
    rows.extend(probe);
    rows.truncate(usize::from(area.height.saturating_sub(1) / 2).max(1));
    let lines = u16::try_from(rows.len()).unwrap_or(0) + 1;
    let place = Rect {
        height: area.height.saturating_sub(lines),
        ..below(area, 1)
    };
    (place, rows)
}

/// Where the terminal's own picture belongs in the body of the screen.
pub(super) fn place(model: &Model, showing: &Showing, area: Rect) -> Option<Rect> {
    let seen = model.spread_seen()?;
    let (place, _) = laid_out(model, showing, seen, area);
    let is_picture = model.prints.dots(showing) == Dots::Picture;
    (is_picture && !place.is_empty()).then_some(place)
}

/// That it is computed again, or stale.
fn stands(model: &Model, known: Option<&OfTank>) -> Option<Row> {
    if let Some(solving) = &model.spreads.solving {
        let text = format!(
            "computing: {} ... {:.0} %",
            solving.step,
            solving.done * 100.0
        );
        return Some(Row::of(Role::Soon, text));
    }
    if let Some(fault) = known.and_then(|known| known.fault.as_ref()) {
        return Some(Row::of(Role::Alarm, fault.clone()));
    }
    let text = model.spread_stale_words()?;
    Some(Row::of(Role::Soon, text))
}

/// The bands beside one another: a sample, and from how much it is.
fn legend(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let mean = model
        .spread_piece()
        .and_then(|piece| model.target_mean(piece));
    let mut x = 0;
    for (band, (from, _)) in BANDS.iter().enumerate() {
        let words = match (model.spreads.measure, mean) {
            (Measure::Thickness, Some(mean)) => number(mean.to(UM) * from, 2),
            _ => format!("{from}"),
        };
        let words = if band == 0 { "less".to_owned() } else { words };
        let place = Rect {
            x: area.x + x,
            width: area.width.saturating_sub(x),
            ..area
        };
        pen.row(place, &Row::plain(format!("  {words}")));
        let (glyph, style) = scale::sample(band, pen.theme());
        pen.cell(place, (0, 0), glyph, style);
        let taken = words.len()
            + if is_narrow(usize::from(area.width)) {
                2
            } else {
                5
            };
        x += u16::try_from(taken).unwrap_or(0);
    }
    let unit = match model.spreads.measure {
        Measure::Thickness => "um",
        Measure::Density => "x",
    };
    let place = Rect {
        x: area.x + x.min(area.width),
        width: area.width.saturating_sub(x),
        ..area
    };
    pen.row(place, &Row::plain(unit));
}
