//! Spread: where the metal will pile up or be missing. Figures first, then the
//! places to watch, the area by density, what it rests on and what was assumed;
//! the pieces drawn beside them.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, bar, below, line_of, wrapped};
use super::print::{HIDDEN_MARK, MARK, turned, turned_in_short};
use super::{Role, how_to_begin, is_narrow, or_edit, scale};
use crate::field::scene::{BodySpread, Kind, direction_words};
use crate::project::{Flow, Tank, Target};
use crate::report::safe::{fitted, pad, pad_left};
use crate::report::spread::over_mean;
use crate::tui::app::{
    BANDS, Change, Dots, Fixture, Id, Measure, Model, OfTank, Seen, Showing, Solving, SpreadWork,
    band_of,
};
use crate::tui::picture::Image;
use crate::units::{A_DM2, CM, Length, clock_span, number};

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
        let signs = fixture_signs(seen, usize::from(right.width));
        let (place, under) = above(right, signs.len());
        scale::in_cells(showing, seen, cell_dots(model, showing), pen, place);
        pen.rows(under, &signs);
    }
}

/// A place without its last lines, and these.
fn above(area: Rect, lines: usize) -> (Rect, Rect) {
    let lines = u16::try_from(lines).unwrap_or(u16::MAX);
    let high = area.height.saturating_sub(lines);
    let place = Rect {
        height: high,
        ..area
    };
    (place, below(area, usize::from(high)))
}

/// `A anode S shield`, as far as they are there, in as many rows as that takes;
/// a sign stays beside its word.
fn fixture_signs(seen: &Seen, width: usize) -> Vec<Row> {
    let is_there = |sort: &Fixture| seen.fixtures.iter().any(|(fixture, _)| fixture == sort);
    let signs = Fixture::NAMED.into_iter().filter(is_there);
    let signs = signs.filter_map(|sort| Some(format!("{} {}", sort.letter()?, sort.word())));
    let mut rows: Vec<String> = Vec::new();
    for sign in signs {
        match rows.last_mut() {
            Some(row) if row.len() + 1 + sign.len() <= width => *row = format!("{row} {sign}"),
            _ => rows.push(sign),
        }
    }
    rows.into_iter().map(Row::plain).collect()
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
        let asked = model.spread_pieces();
        let pieces: Vec<&str> = match (model.spread_seen(), &asked) {
            (Some(seen), _) => seen.pieces.iter().map(String::as_str).collect(),
            (None, Ok(asked)) => asked.clone(),
            (None, Err(_)) => Vec::new(),
        };
        let pieces = match pieces.as_slice() {
            [] => String::new(),
            [one] => format!(": {one}"),
            more => format!(": {} pieces", more.len()),
        };
        let title = format!("where the metal goes in {}{pieces}", fitted(tank, 20));
        self.rows.push(Row::of(Role::Title, fitted(&title, width)));
        if let Some(solving) = &model.spreads.solving {
            let keys = [Id::Undo, Id::GiveUp].map(|id| model.key_of(id));
            let keys: Vec<String> = keys.into_iter().flatten().collect();
            let text = format!(
                "{}; {} gives up",
                progress(model, solving),
                keys.join(" or ")
            );
            self.say(Role::Soon, &text, width);
        } else if let Some(text) = model.spread_stale_words() {
            self.say(Role::Soon, &text, width);
        }
        if let Some(fault) = model.spread_known().and_then(|known| known.fault.as_ref()) {
            self.say(Role::Alarm, fault, width);
        }
        if let Some(text) = moved_words(model) {
            self.say(Role::Soon, &text, width);
        }
        let without = model.spread_without();
        if !without.is_empty() && asked.is_ok() {
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
        self.rests_in_short(model, &asked.assumed_in_short(), asked.flow, width);
        let missing = model.spread_tank().map(|tank| untold(tank, &asked));
        let missing = missing.unwrap_or_default();
        if !missing.is_empty() {
            let edit = or_edit(model);
            let text = format!("taken as usual unless project.ron{edit}, tells it:");
            self.say(Role::Plain, &text, width);
        }
        for text in missing {
            self.say(Role::Soon, &format!("? {text}"), width);
        }
    }

    /// The current that was taken because it flows, and what was assumed.
    fn rests_in_short(
        &mut self,
        model: &Model,
        assumed: &[&str],
        flow: Option<Flow>,
        width: usize,
    ) {
        if let Some(flow) = flow {
            let said = model.project.definition.flow_words(flow);
            self.say(Role::Plain, &format!("= {said}"), width);
        }
        if !assumed.is_empty() {
            let assumed = format!("? assumed: {}", assumed.join(", "));
            self.say(Role::Soon, &assumed, width);
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
        self.rests_in_short(model, &seen.in_short, seen.flow, width);
        self.table(model, seen, width);
        let change = model.spread_piece().zip(model.spread_known());
        if let Some(change) = change.and_then(|(piece, known)| known.change(piece)) {
            self.say(Role::Good, &change_words(&change), width);
        }
    }

    fn table(&mut self, model: &Model, seen: &Seen, width: usize) {
        let is_short = width < 46;
        let name = match width {
            0..46 => 10,
            46..60 => 12,
            _ => 18,
        };
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
                pad(&body_name(&body.name, name), name),
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
        let unit = model.project.definition.units.thickness();
        let mean = model.target_mean(&body.name).map(|mean| mean.to(unit));
        let is_thickness = model.spreads.measure == Measure::Thickness;
        let title = if is_thickness {
            format!("area by {} at the target charge", unit.symbol)
        } else {
            "area by density over the mean".to_owned()
        };
        self.rows.push(Row::of(Role::Title, fitted(&title, width)));
        let before = model
            .spread_known()
            .and_then(|known| known.before.as_ref()?.shares(&body.name));
        let most = shares.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        let room = width.saturating_sub(36).clamp(4, 24);
        for (band, share) in shares.iter().enumerate().rev() {
            let words = match mean {
                Some(mean) if is_thickness => thick_words(band, mean),
                _ => BANDS[band].1.to_owned(),
            };
            let filled = bar(room, share / most, 0.0).replace('\u{b7}', " ");
            let was = before.map_or_else(String::new, |before| {
                format!("was {} ", pad_left(&percent(before[band]), 4))
            });
            let target = target_words(model, body, band);
            let line = format!(
                "    {} {} {was}{filled} {target}",
                pad(&words, 12),
                pad_left(&percent(*share), 5)
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

/// What was turned or moved since the evenness of a piece was set: as long as
/// `project.ron` does not tell it, it would be computed as it hung before.
fn moved_words(model: &Model) -> Option<String> {
    let (definition, state) = (&model.project.definition, model.project.state());
    let seen = model.spread_seen().filter(|_| !model.is_spread_stale())?;
    let pieces = seen.pieces.iter().filter_map(|name| definition.piece(name));
    let mut moved = pieces.filter_map(|piece| {
        let of = piece.evenness.as_ref()?.of.as_ref()?;
        let pieces = of.pieces.iter().filter_map(|name| state.piece(name));
        let pieces = pieces.filter_map(|piece| piece.moved.as_ref());
        let tank = state.tank(&of.tank).and_then(|tank| tank.moved.as_ref());
        pieces.chain(tank).find(|moved| moved.at > of.at)
    });
    let moved = moved.next()?;
    let key = model.key_of(Id::Actions).unwrap_or_default();
    Some(format!(
        "stale: {}, since it was set: tell project.ron how it hangs now ({key}), then compute and set it",
        moved.why
    ))
}

/// How far the work is, and how long still.
fn progress(model: &Model, solving: &Solving) -> String {
    let passed = model.now.since(solving.began).max(0.0);
    let left = if solving.done > 0.1 {
        let left = passed / solving.done - passed;
        format!(", about {} left", clock_span(left))
    } else {
        String::new()
    };
    format!(
        "computing: {} ... {:.0} %{left}",
        solving.step,
        solving.done * 100.0
    )
}

/// What `project.ron` does not tell of a scene, each with what would do.
fn untold(tank: &Tank, asked: &SpreadWork) -> Vec<String> {
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
        (!tank.has_placed_anode()).then(|| {
            "no anode has a place: plate: (at: (\"0cm\", \"16cm\", \"20cm\"), facing: (1, 0, 0), size: \
             (\"20cm\", \"30cm\"))"
                .to_owned()
        }),
        (tank.bath.conductivity_s_m.is_none() && tank.bath.acid_copper().is_none())
            .then(|| "the bath has no conductivity: conductivity_s_m: 25".to_owned()),
        loose.map(|piece| {
            let [x, y, z] = middle_cm(tank);
            format!("`{piece}` has no place: hangs: (at: (\"{x}cm\", \"{y}cm\", \"{z}cm\"))")
        }),
    ];
    missing.into_iter().flatten().collect()
}

/// The name of a body in so many columns. A wire's own name, after its piece's,
/// stays whole: a piece may have several.
fn body_name(name: &str, width: usize) -> String {
    match name.rsplit_once(' ') {
        Some((piece, lead)) if name.chars().count() > width => {
            let room = width.saturating_sub(lead.chars().count() + 1);
            if room < 2 {
                return fitted(lead, width);
            }
            format!("{} {lead}", fitted(piece, room))
        }
        _ => fitted(name, width),
    }
}

/// A share of an area in full percent.
fn percent(share: f64) -> String {
    match share * 100.0 {
        share if share > 0.0 && share < 1.0 => "<1 %".to_owned(),
        share => format!("{share:.0} %"),
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
    let mean = definition.mean_of(piece);
    let shown = |thickness: Length| {
        let unit = definition.units.thickness();
        format!("{} {}", number(thickness.to(unit), 2), unit.symbol)
    };
    let mut words = Vec::new();
    if band == band_of(1.0) {
        words.push(format!("< mean {}", shown(mean)));
    }
    if let Target::Minimum(least) = target
        && band == band_of(least / mean)
    {
        words.push(format!("< least wanted {}", shown(least)));
    }
    words.join("  ")
}

/// `24 to 38` of a band, in the unit of the mean.
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
    // A place is told by what is around it too, as in the list.
    let watched = seen.place_at(&marker);
    let over = watched.map_or_else(|| over_mean(body, cell), |place| place.over_mean);
    let unit = model.project.definition.units.density();
    let density = format!(
        "{} {}, {} the mean",
        number(A_DM2.of(over * body.mean_a_dm2).to(unit), 3),
        unit.symbol,
        times(over)
    );
    let what = watched.map_or("this triangle", |place| place.what.as_str());
    let thick = model
        .target_mean(&body.name)
        .filter(|_| body.kind == Kind::Piece);
    let thick = thick.map_or_else(String::new, |mean| {
        let unit = model.project.definition.units.thickness();
        let thick = number(mean.to(unit) * over, 2);
        format!(", {thick} {} at the target charge", unit.symbol)
    });
    let at_mm = watched.map_or(marker.at_mm, |place| place.at_mm);
    let [x, y, z] = at_mm.map(|mm| format!("{mm:.0}"));
    let place = direction_words(body.box_mm, at_mm);
    let behind = if is_seen { "" } else { "; behind what is seen" };
    let text = format!(
        "{}, {what}: predicted {density}{thick}; {place}, x {x} y {y} z {z} mm in the tank{behind}",
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
    let what = match (model.spreads.measure, short) {
        (Measure::Thickness, false) => "thickness at the target charge",
        (Measure::Thickness, true) => "thickness",
        (Measure::Density, false) => "current density over the mean",
        (Measure::Density, true) => "over the mean",
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
        dots => in_cells(model, (showing, seen), dots, pen, place),
    }
    let under = below(area, usize::from(1 + place.height));
    pen.rows(under, &told);
    legend(model, pen, line_of(under, 0));
}

/// What there is now; left of it what was before the last change, if that is to
/// be seen.
fn in_cells(
    model: &Model,
    (showing, seen): (&Showing, &Seen),
    dots: Dots,
    pen: &mut Pen<'_>,
    area: Rect,
) {
    let Some(before) = model.spread_before().filter(|_| area.width >= BESIDE) else {
        return scale::in_cells(showing, seen, dots, pen, area);
    };
    let [left, right] = side_by_side(area);
    let unmarked = showing.unmarked();
    for (place, showing, seen, word) in [
        (left, &unmarked, before.as_ref(), "before"),
        (right, showing, seen, "now"),
    ] {
        pen.row(line_of(place, 0), &Row::of(Role::Title, word));
        scale::in_cells(showing, seen, dots, pen, below(place, 1));
    }
}

/// From so many columns on there is room for two pictures.
const BESIDE: u16 = 50;

/// Two halves with a column between them.
fn side_by_side(area: Rect) -> [Rect; 2] {
    let width = area.width.saturating_sub(1) / 2;
    let half = Rect { width, ..area };
    let right = Rect {
        x: area.x + area.width - width,
        ..half
    };
    [half, right]
}

/// Rows for the bands of the legend, and for the signs of what stands beside
/// pieces: on the same row if they fit there, else on their own if there is room.
fn legend_rows(model: &Model, seen: &Seen, width: u16) -> Vec<Row> {
    let (words, symbol) = legend_words(model);
    let words: usize = words
        .iter()
        .map(|words| words.len() + legend_apart(width))
        .sum();
    let used = words + symbol.len() + 3;
    let width = usize::from(width);
    let signs = fixture_signs(seen, width);
    match signs.as_slice() {
        [one] if used + one.width() <= width => {
            vec![Row::plain(" ".repeat(used)).join(one.clone())]
        }
        _ if is_narrow(width) => vec![Row::default()],
        _ => [vec![Row::default()], signs].concat(),
    }
}

/// Where the picture is, and the rows under it; the first is the legend's.
fn laid_out(model: &Model, showing: &Showing, seen: &Seen, area: Rect) -> (Rect, Vec<Row>) {
    let width = usize::from(area.width);
    let mut rows = legend_rows(model, seen, area.width);
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

/// The terminal's own picture: what was before and what is now side by side, if
/// that is to be seen.
pub(super) fn image(model: &Model, showing: &Showing, size: (usize, usize)) -> Option<Image> {
    let seen = model.spread_seen()?;
    let Some(before) = model.spread_before() else {
        return Some(scale::image(showing, seen, size));
    };
    let half = (size.0 / 2, size.1);
    let unmarked = showing.unmarked();
    let left = scale::image(&unmarked, before, half);
    let right = scale::image(showing, seen, half);
    let lines = left
        .dots
        .chunks(half.0.max(1))
        .zip(right.dots.chunks(half.0.max(1)));
    Some(Image {
        width: 2 * half.0,
        dots: lines.flat_map(|(a, b)| [a, b].concat()).collect(),
    })
}

/// That it is computed again, or stale.
fn stands(model: &Model, known: Option<&OfTank>) -> Option<Row> {
    if let Some(solving) = &model.spreads.solving {
        return Some(Row::of(Role::Soon, progress(model, solving)));
    }
    if let Some(fault) = known.and_then(|known| known.fault.as_ref()) {
        return Some(Row::of(Role::Alarm, fault.clone()));
    }
    let text = model.spread_stale_words()?;
    Some(Row::of(Role::Soon, text))
}

/// The bands beside one another: a sample, and from how much it is.
fn legend(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let (words, symbol) = legend_words(model);
    let apart = legend_apart(area.width);
    let mut x = 0;
    let place = |x: usize| {
        let x = u16::try_from(x).unwrap_or(u16::MAX).min(area.width);
        Rect {
            x: area.x + x,
            width: area.width - x,
            ..area
        }
    };
    for (band, words) in words.iter().enumerate() {
        pen.row(place(x), &Row::plain(format!("  {words}")));
        let (glyph, style) = scale::sample(band, pen.theme());
        pen.cell(place(x), (0, 0), glyph, style);
        x += words.len() + apart;
    }
    pen.row(place(x), &Row::plain(symbol));
}

/// From how much each band is, and in what.
fn legend_words(model: &Model) -> (Vec<String>, &'static str) {
    let mean = model
        .spread_piece()
        .and_then(|piece| model.target_mean(piece));
    let unit = model.project.definition.units.thickness();
    let from = BANDS.iter().skip(1).map(|(from, _)| *from);
    let from = from.map(|from| match (model.spreads.measure, mean) {
        (Measure::Thickness, Some(mean)) => number(mean.to(unit) * from, 2),
        _ => format!("{from}"),
    });
    let symbol = match model.spreads.measure {
        Measure::Thickness => unit.symbol,
        Measure::Density => "x",
    };
    (
        ["less".to_owned()].into_iter().chain(from).collect(),
        symbol,
    )
}

/// Columns from the end of a band's words to the next band's: its sample too.
fn legend_apart(width: u16) -> usize {
    if is_narrow(usize::from(width)) { 2 } else { 5 }
}
