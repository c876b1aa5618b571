//! The charge account of one immersion: which piece got how much.
//!
//! A tank's current is a line through its readings. Between two readings it is
//! linear; after the last one it is carried on as an estimate, frozen once the
//! limit is passed. At each instant the members in the circuit share it: as a
//! field predicts for exactly them, where that was recorded, else by a rule. The
//! integral splits wherever a member enters, leaves, is lifted or is covered, and
//! where the shares of a field begin or cease to hold.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::units::Instant;

/// A current at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// When.
    pub at: Instant,
    /// Amperes.
    pub amps: f64,
}

/// What a piece in the circuit is to the account.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Member {
    /// Conductor area: piece, wires and thieves; any unit, the same for all.
    pub area: Option<f64>,
    /// Whether metal covers all of it: only then does area tell its share.
    pub covered: bool,
    /// Seconds after a reading at which its estimate is frozen.
    pub limit_s: f64,
}

/// The share of a tank's current that each member takes.
pub trait Share {
    /// Fractions that add up to 1, in the members' order, or `None` where
    /// nothing tells them. `company` says whether others hang there too, whose
    /// own readings have been taken off the current that is shared.
    fn shares(&self, members: &[(&str, Member)], company: bool) -> Option<Vec<f64>>;
}

/// Shares by conductor area: a member alone takes all; several covered ones
/// share by area; with an uncovered one among them nothing is known.
#[derive(Debug, Clone, Copy, Default)]
pub struct ShareByArea;

impl Share for ShareByArea {
    fn shares(&self, members: &[(&str, Member)], company: bool) -> Option<Vec<f64>> {
        if members.len() == 1 && !company {
            return Some(vec![1.0]);
        }
        let areas: Option<Vec<f64>> = members
            .iter()
            .map(|(_, m)| m.area.filter(|_| m.covered))
            .collect();
        let areas = areas?;
        let total: f64 = areas.iter().sum();
        (total > 0.0).then(|| areas.iter().map(|a| a / total).collect())
    }
}

/// Shares as a field predicts them, for exactly these members.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct FieldShares {
    /// What each member takes.
    pub members: BTreeMap<String, FieldPart>,
    /// Relative standard uncertainty of a share.
    pub rel: f64,
    /// Whether what is known of the tank is still what the field was asked for.
    /// Where it is not, they count for what lies before a recorded change alone.
    pub stands: bool,
}

/// What one member takes, as a field predicts it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FieldPart {
    /// Of the current that all of them share.
    pub share: f64,
    /// The part of its own current that goes onto its wires and thieves.
    pub wire: f64,
}

impl FieldShares {
    /// Whether they are of these members, all covered.
    fn are_of(&self, members: &BTreeMap<&str, Member>) -> bool {
        let names = members.keys().copied();
        self.members.keys().map(String::as_str).eq(names) && members.values().all(|m| m.covered)
    }

    /// What one of them takes.
    pub fn of(&self, member: &str) -> Option<FieldPart> {
        self.members.get(member).copied()
    }
}

/// Those whose current is not read keep the relation among them.
impl Share for FieldShares {
    fn shares(&self, members: &[(&str, Member)], _company: bool) -> Option<Vec<f64>> {
        let shares: Option<Vec<f64>> = members
            .iter()
            .map(|(name, _)| self.of(name).map(|part| part.share))
            .collect();
        let shares = shares?;
        let total: f64 = shares.iter().sum();
        (total > 0.0).then(|| shares.iter().map(|share| share / total).collect())
    }
}

/// One stay of pieces in a tank with its currents, in order of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Immersion {
    /// When it began.
    pub from: Instant,
    /// When it ended, if it has.
    pub ended: Option<Instant>,
    /// The tank's current.
    pub tank: Vec<Point>,
    /// Currents that were read for one piece alone.
    pub own: BTreeMap<String, Vec<Point>>,
    /// When the tank's current was told anew after a piece's own reading: the
    /// piece, the index of that reading, the instant.
    pub anew: Vec<(String, usize, Instant)>,
    /// Who came into the circuit or left it (`None`), and when.
    pub changes: Vec<(Instant, String, Option<Member>)>,
    /// Since when shares that a field predicts hold, or no longer do (`None`).
    pub predicted: Vec<(Instant, Option<FieldShares>)>,
}

/// Charge that one lead carried, in coulombs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Delivered {
    /// Between readings.
    pub measured: f64,
    /// Carried on after a last reading.
    pub estimated: f64,
    /// The part of both that was shared with others by rule.
    pub shared: f64,
    /// The part of both while the shares of a field held.
    pub by_field: ByField,
    /// Half-width of what lies between readings, added up linearly.
    pub bound: f64,
    /// Since when a share is not known, if it ever was not.
    pub unknown_since: Option<Instant>,
}

impl Delivered {
    /// Adds another account of the same lead.
    pub fn add(&mut self, other: &Self) {
        self.measured += other.measured;
        self.estimated += other.estimated;
        self.shared += other.shared;
        self.by_field = self.by_field.and(other.by_field);
        self.bound += other.bound;
        self.unknown_since = earlier(self.unknown_since, other.unknown_since);
    }

    /// Measured and estimated.
    pub fn total(&self) -> f64 {
        self.measured + self.estimated
    }
}

/// Charge that went where a field predicts, in coulombs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct ByField {
    /// Through the lead.
    pub through: f64,
    /// The part of it that landed on wires and thieves.
    pub on_wires: f64,
    /// Its standard uncertainty by that of the shares.
    pub doubt: f64,
}

impl ByField {
    /// Both of one lead together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            through: self.through + other.through,
            on_wires: self.on_wires + other.on_wires,
            doubt: self.doubt + other.doubt,
        }
    }
}

/// What an immersion delivered.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Settled {
    /// To each piece.
    pub pieces: BTreeMap<String, Delivered>,
    /// By the tank's supply.
    pub tank: Delivered,
}

/// The current in one lead at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lead {
    /// Amperes, where the share is known.
    pub amps: Option<f64>,
    /// When the reading was made that it rests on.
    pub read_at: Instant,
}

/// A line's current over one short interval that no point divides.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    mean: f64,
    half: f64,
    /// The reading it is carried on from, where no later one closes it.
    carried_since: Option<Instant>,
    /// Whether something in it is an estimate though its readings close it.
    estimated: bool,
}

impl Stretch {
    fn of(points: &[Point], from: Instant, to: Instant) -> Option<Self> {
        let next = points.partition_point(|p| p.at <= from);
        let last = points.get(next.checked_sub(1)?)?;
        match points.get(next) {
            Some(end) => {
                let middle = f64::midpoint(from.since(last.at), to.since(last.at));
                let slope = (end.amps - last.amps) / end.at.since(last.at);
                Some(Self {
                    mean: last.amps + slope * middle,
                    half: (end.amps - last.amps).abs() / 2.0,
                    carried_since: None,
                    estimated: false,
                })
            }
            None => Some(Self {
                mean: last.amps,
                half: 0.0,
                carried_since: Some(last.at),
                estimated: true,
            }),
        }
    }

    /// Whether an estimate of age `to` is still told under this limit.
    fn alive(&self, to: Instant, limit_s: f64) -> bool {
        self.carried_since
            .is_none_or(|since| to.since(since) <= limit_s + 1e-6)
    }
}

/// The readings after which a piece's estimate was frozen, its own ones apart:
/// it does not thaw when a longer limit comes to hold.
type Frozen = BTreeSet<(String, bool, Instant)>;

impl Immersion {
    /// An immersion that begins now.
    pub fn begun(from: Instant) -> Self {
        Self {
            from,
            ended: None,
            tank: Vec::new(),
            own: BTreeMap::new(),
            anew: Vec::new(),
            changes: Vec::new(),
            predicted: Vec::new(),
        }
    }

    /// Records that shares which a field predicts hold from now on, or that none
    /// do any more.
    pub fn predict(&mut self, at: Instant, shares: Option<FieldShares>) {
        if self.predicted.last().map_or(&None, |(_, last)| last) != &shares {
            self.predicted.push((at, shares));
        }
    }

    /// The shares of a field that hold at an instant for the members in the
    /// circuit.
    pub fn predicted_at(
        &self,
        at: Instant,
        members: &BTreeMap<&str, Member>,
    ) -> Option<&FieldShares> {
        let next = self.predicted.partition_point(|(from, _)| *from <= at);
        let shares = self.predicted.get(next.checked_sub(1)?)?.1.as_ref()?;
        let is_open = next == self.predicted.len() && self.ended.is_none();
        ((shares.stands || !is_open) && shares.are_of(members)).then_some(shares)
    }

    /// Records that a piece came in, changed or left; a repetition is dropped.
    pub fn change(&mut self, at: Instant, piece: &str, member: Option<Member>) {
        let before = self
            .changes
            .iter()
            .rev()
            .find(|(_, p, _)| p == piece)
            .and_then(|(_, _, m)| *m);
        if before != member {
            self.changes.push((at, piece.to_owned(), member));
        }
    }

    /// Adds what is known of the tank's current. A set point changes what
    /// flows through every lead, so it ages the pieces' own readings, even
    /// those of the same instant; a reading ages the earlier ones.
    pub fn tell(&mut self, point: Point, set: bool) {
        for (piece, points) in &self.own {
            if points.last().is_some_and(|own| set || own.at < point.at) {
                self.anew.push((piece.clone(), points.len() - 1, point.at));
            }
        }
        self.tank.push(point);
    }

    /// Closes what has been told of the tank's current with what it still is:
    /// nothing new, so that the pieces' own readings stay as they are.
    pub fn close(&mut self, point: Point) {
        self.tank.push(point);
    }

    /// The members in the circuit after all changes.
    pub fn members(&self) -> BTreeMap<&str, Member> {
        let mut members = BTreeMap::new();
        for (_, piece, member) in &self.changes {
            apply(&mut members, piece, *member);
        }
        members
    }

    /// What was delivered from the beginning to `until`.
    ///
    /// Within [`Member::limit_s`] after the last reading the tail is an
    /// estimate; past it nothing more is added.
    pub fn settle(&self, until: Instant, share: &dyn Share) -> Settled {
        let mut settled = Settled::default();
        let mut members: BTreeMap<&str, Member> = BTreeMap::new();
        let mut changes = self.changes.iter().peekable();
        let mut frozen = Frozen::new();
        let mut ever_hung = false;
        let instants = self.instants(until);
        for pair in instants.windows(2) {
            let [from, to] = *pair else { continue };
            while let Some((_, piece, member)) = changes.next_if(|(at, _, _)| *at <= from) {
                apply(&mut members, piece, *member);
                ever_hung = true;
            }
            self.settle_interval((from, to), &members, share, (&mut settled, &mut frozen));
            if !(members.is_empty() && ever_hung) {
                self.settle_tank((from, to), &members, &mut settled.tank);
            }
        }
        settled
    }

    /// Every instant at which something changes, up to `until`.
    fn instants(&self, until: Instant) -> Vec<Instant> {
        let end = self.ended.map_or(until, |ended| ended.min(until));
        let limits: BTreeSet<i64> = self
            .changes
            .iter()
            .filter_map(|(_, _, m)| m.map(|m| (m.limit_s * 1000.0) as i64))
            .chain([TANK_LIMIT_MS])
            .collect();
        let mut all = BTreeSet::from([self.from, end]);
        all.extend(self.changes.iter().map(|(at, _, _)| *at));
        all.extend(self.predicted.iter().map(|(at, _)| *at));
        for point in self.tank.iter().chain(self.own.values().flatten()) {
            all.insert(point.at);
            all.extend(
                limits
                    .iter()
                    .map(|ms| Instant::from_unix_ms(point.at.unix_ms() + ms)),
            );
        }
        all.into_iter()
            .filter(|at| (self.from..=end).contains(at))
            .collect()
    }

    fn settle_interval(
        &self,
        (from, to): (Instant, Instant),
        members: &BTreeMap<&str, Member>,
        share: &dyn Share,
        (settled, frozen): (&mut Settled, &mut Frozen),
    ) {
        let mut rest = Stretch::of(&self.tank, from, to);
        let mut read = Vec::new();
        let mut unread = Vec::new();
        for (piece, member) in members {
            let alone = members.len() == 1;
            match self.own_stretch(piece, (member, alone), (from, to), frozen) {
                Some(own) => {
                    read.push((*piece, *member, own));
                    rest = rest.map(|rest| less(rest, own));
                }
                None => unread.push((*piece, *member)),
            }
        }
        let predicted = self.predicted_at(from, members);
        let mut credit = |piece: &str, member: &Member, own, stretch: &Stretch, (part, shared)| {
            if thawed(frozen, (piece, own), stretch, (to, member.limit_s)) {
                let entry = settled.pieces.entry(piece.to_owned()).or_default();
                let field = predicted.and_then(|shares| Some((shares.of(piece)?, shares.rel)));
                entry.credit(stretch, to.since(from) * part, shared, field);
            }
        };
        for (piece, member, own) in &read {
            credit(piece, member, true, own, (1.0, false));
        }
        let Some(rest) = rest.filter(|r| r.mean > 0.0 && !unread.is_empty()) else {
            return;
        };
        let share = predicted.map_or(share, |predicted| predicted);
        match share.shares(&unread, members.len() > unread.len()) {
            Some(shares) => {
                let several = unread.len() > 1;
                for ((piece, member), part) in unread.iter().zip(shares) {
                    credit(piece, member, false, &rest, (part, several));
                }
            }
            None => {
                for (piece, _) in &unread {
                    let entry = settled.pieces.entry((*piece).to_owned()).or_default();
                    entry.unknown_since.get_or_insert(from);
                }
            }
        }
    }

    /// A piece's own current, while its readings tell it: between two of them,
    /// and after the last one until its estimate is frozen or the tank's
    /// current is told anew. Then a piece that is covered or alone takes its
    /// share of that again; an uncovered one in company has nothing better than
    /// its frozen estimate.
    fn own_stretch(
        &self,
        piece: &str,
        (member, alone): (&Member, bool),
        (from, to): (Instant, Instant),
        frozen: &mut Frozen,
    ) -> Option<Stretch> {
        let points = self.own.get(piece)?;
        let own = Stretch::of(points, from, to)?;
        let stale = own.carried_since.is_some() && {
            let last = points.partition_point(|p| p.at <= from) - 1;
            let told_anew = |(name, index, at): &(String, usize, Instant)| {
                name == piece && *index == last && *at <= from
            };
            self.anew.iter().any(told_anew)
                || !thawed(frozen, (piece, true), &own, (to, member.limit_s))
        };
        (!(stale && (member.covered || alone))).then_some(own)
    }

    fn settle_tank(
        &self,
        (from, to): (Instant, Instant),
        members: &BTreeMap<&str, Member>,
        tank: &mut Delivered,
    ) {
        let of_pieces = members
            .keys()
            .filter_map(|piece| Stretch::of(self.own.get(*piece)?, from, to));
        let Some(stretch) = Stretch::of(&self.tank, from, to).or_else(|| of_pieces.reduce(plus))
        else {
            return;
        };
        let coulombs = stretch.mean * to.since(from);
        if stretch.carried_since.is_none() {
            tank.measured += coulombs;
        } else if stretch.alive(to, TANK_LIMIT_MS as f64 / 1000.0) {
            tank.estimated += coulombs;
        }
    }

    /// The current in each member's lead at `now`, carried on from the last
    /// readings; members whose current nothing has told are left out.
    pub fn leads(&self, now: Instant, share: &dyn Share) -> BTreeMap<String, Lead> {
        let mut leads = BTreeMap::new();
        let mut unread = Vec::new();
        let mut rest = last(&self.tank, now);
        for (piece, member) in self.members() {
            let alone = self.members().len() == 1;
            let own = self
                .own_stretch(piece, (&member, alone), (now, now), &mut Frozen::new())
                .and_then(|_| last(self.own.get(piece)?, now));
            match own {
                Some((amps, read_at)) => {
                    leads.insert(
                        piece.to_owned(),
                        Lead {
                            amps: Some(amps),
                            read_at,
                        },
                    );
                    rest = rest.map(|(all, at)| ((all - amps).max(0.0), at));
                }
                None => unread.push((piece, member)),
            }
        }
        if let Some((amps, read_at)) = rest.filter(|_| !unread.is_empty()) {
            let members = self.members();
            let predicted = self.predicted_at(now, &members);
            let share = predicted.map_or(share, |predicted| predicted);
            let shares = share.shares(&unread, members.len() > unread.len());
            for (index, (piece, _)) in unread.iter().enumerate() {
                let part = match &shares {
                    Some(shares) => shares.get(index).map(|part| amps * part),
                    None => (amps <= 0.0).then_some(0.0),
                };
                leads.insert(
                    (*piece).to_owned(),
                    Lead {
                        amps: part,
                        read_at,
                    },
                );
            }
        }
        leads
    }

    /// The tank's current at `now`, carried on from its last reading, or the
    /// sum of what was read for single pieces.
    pub fn current(&self, now: Instant) -> Option<f64> {
        last(&self.tank, now).map(|(amps, _)| amps).or_else(|| {
            self.members()
                .keys()
                .filter_map(|piece| last(self.own.get(*piece)?, now))
                .map(|(amps, _)| amps)
                .reduce(|a, b| a + b)
        })
    }

    /// When the tank's or any piece's current was last read.
    pub fn last_read(&self) -> Option<Instant> {
        self.tank
            .iter()
            .chain(self.own.values().flatten())
            .map(|p| p.at)
            .max()
    }
}

/// Seconds after which a tank's own ampere-hour count stops estimating.
const TANK_LIMIT_MS: i64 = 3_600_000;

fn apply<'a>(members: &mut BTreeMap<&'a str, Member>, piece: &'a str, member: Option<Member>) {
    match member {
        Some(member) => members.insert(piece, member),
        None => members.remove(piece),
    };
}

fn last(points: &[Point], now: Instant) -> Option<(f64, Instant)> {
    let next = points.partition_point(|p| p.at <= now);
    points.get(next.checked_sub(1)?).map(|p| (p.amps, p.at))
}

/// The earlier of two instants, or the one there is.
fn earlier(a: Option<Instant>, b: Option<Instant>) -> Option<Instant> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// What is left of a tank's current when a piece's own is taken off. It is as
/// fresh as the tank's readings, and an estimate if either is.
fn less(all: Stretch, own: Stretch) -> Stretch {
    Stretch {
        mean: (all.mean - own.mean).max(0.0),
        half: all.half + own.half,
        carried_since: all.carried_since,
        estimated: all.estimated || own.estimated,
    }
}

fn plus(a: Stretch, b: Stretch) -> Stretch {
    Stretch {
        mean: a.mean + b.mean,
        half: a.half + b.half,
        carried_since: earlier(a.carried_since, b.carried_since),
        estimated: a.estimated || b.estimated,
    }
}

/// Whether a piece's estimate still goes on, from its own reading or the
/// tank's; once it does not, it is frozen.
fn thawed(
    frozen: &mut Frozen,
    (piece, own): (&str, bool),
    stretch: &Stretch,
    (to, limit_s): (Instant, f64),
) -> bool {
    let Some(since) = stretch.carried_since else {
        return true;
    };
    let key = (piece.to_owned(), own, since);
    if stretch.alive(to, limit_s) {
        return !frozen.contains(&key);
    }
    frozen.insert(key);
    false
}

impl Delivered {
    fn credit(
        &mut self,
        stretch: &Stretch,
        seconds: f64,
        shared: bool,
        field: Option<(FieldPart, f64)>,
    ) {
        let coulombs = stretch.mean * seconds;
        if stretch.estimated {
            self.estimated += coulombs;
        } else {
            self.measured += coulombs;
            self.bound += stretch.half * seconds;
        }
        match field {
            Some((part, rel)) => {
                self.by_field.through += coulombs;
                self.by_field.on_wires += coulombs * part.wire;
                self.by_field.doubt += if shared { coulombs * rel } else { 0.0 };
            }
            None if shared => self.shared += coulombs,
            None => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn t(minutes: f64) -> Instant {
        Instant::from_unix_ms(1_800_000_000_000).plus_seconds(minutes * 60.0)
    }

    fn read(minutes: f64, amps: f64) -> Point {
        Point {
            at: t(minutes),
            amps,
        }
    }

    #[expect(clippy::unnecessary_wraps, reason = "as changes take it")]
    fn covered(area: f64) -> Option<Member> {
        Some(Member {
            area: Some(area),
            covered: true,
            limit_s: 3600.0,
        })
    }

    #[expect(clippy::unnecessary_wraps, reason = "as changes take it")]
    fn bare(area: f64) -> Option<Member> {
        Some(Member {
            area: Some(area),
            covered: false,
            limit_s: 1800.0,
        })
    }

    fn ah(coulombs: f64) -> f64 {
        coulombs / 3600.0
    }

    #[test]
    fn a_lift_splits_the_integral_but_not_the_line() {
        // By hand: 1 A at 0 min, 2 A at 60 min, so 1 + m/60 A. Out from 20 to
        // 40 min. Whole line: 1.5 Ah; the part from 20 to 40: 1.5 A * 1/3 h = 0.5 Ah.
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", bare(6.0));
        i.tank = vec![read(0.0, 1.0), read(60.0, 2.0)];
        i.change(t(20.0), "stem", None);
        i.change(t(40.0), "stem", bare(6.0));
        let stem = i.settle(t(60.0), &ShareByArea).pieces["stem"];
        assert!((ah(stem.measured) - 1.0).abs() < 1e-9);
        assert!((ah(stem.bound) - 0.5 * 40.0 / 60.0).abs() < 1e-9);
        assert!(stem.estimated == 0.0);
    }

    #[test]
    fn the_tail_is_estimated_and_frozen_at_the_limit() {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", bare(6.0));
        i.tank = vec![read(0.0, 2.0)];
        for (until, wanted) in [(15.0, 0.5), (30.0, 1.0), (31.0, 1.0), (600.0, 1.0)] {
            let stem = i.settle(t(until), &ShareByArea).pieces["stem"];
            assert!(
                (ah(stem.estimated) - wanted).abs() < 1e-9,
                "{until}: {}",
                ah(stem.estimated)
            );
            assert!(stem.measured == 0.0);
        }
    }

    #[test]
    fn an_uncovered_piece_in_company_makes_shares_unknown_until_it_is_read() {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", covered(6.0));
        i.tank = vec![read(0.0, 4.0), read(60.0, 4.0)];
        i.change(t(20.0), "base", bare(3.0));
        let blind = i.settle(t(60.0), &ShareByArea);
        assert_eq!(blind.pieces["stem"].unknown_since, Some(t(20.0)));
        i.own
            .insert("base".into(), vec![read(20.0, 1.0), read(60.0, 1.0)]);
        let seen = i.settle(t(60.0), &ShareByArea);
        assert_eq!(seen.pieces["stem"].unknown_since, None);
        // 4 A alone for 20 min, then 3 A for 40 min.
        assert!((ah(seen.pieces["stem"].measured) - (4.0 / 3.0 + 2.0)).abs() < 1e-9);
        assert!((ah(seen.pieces["base"].measured) - 2.0 / 3.0).abs() < 1e-9);
    }

    #[test]
    fn covered_pieces_share_by_area() {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", covered(6.0));
        i.change(t(0.0), "base", covered(3.0));
        i.tank = vec![read(0.0, 3.0), read(60.0, 3.0)];
        let s = i.settle(t(60.0), &ShareByArea);
        assert!((ah(s.pieces["stem"].measured) - 2.0).abs() < 1e-9);
        assert!((ah(s.pieces["base"].measured) - 1.0).abs() < 1e-9);
        assert!((ah(s.pieces["base"].shared) - 1.0).abs() < 1e-9);
    }

    #[expect(clippy::unnecessary_wraps, reason = "as changes take it")]
    fn predicted(stem: f64, base: f64, stands: bool) -> Option<FieldShares> {
        let part = |share, wire| FieldPart { share, wire };
        Some(FieldShares {
            members: BTreeMap::from([
                ("base".to_owned(), part(base, 0.0)),
                ("stem".to_owned(), part(stem, 0.1)),
            ]),
            rel: 0.04,
            stands,
        })
    }

    /// Two covered pieces of 6 and 3 at 3 A for two hours.
    fn two() -> Immersion {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", covered(6.0));
        i.change(t(0.0), "base", covered(3.0));
        i.tank = vec![read(0.0, 3.0), read(120.0, 3.0)];
        i
    }

    #[test]
    fn the_shares_of_a_field_hold_between_their_instants_alone() {
        let mut i = two();
        i.predict(t(30.0), predicted(0.7, 0.3, true));
        i.predict(t(90.0), None);
        let s = i.settle(t(120.0), &ShareByArea);
        // By hand, 3 A: an hour by area, 2/3 and 1/3 of 3 Ah; an hour by the
        // field, 0.7 and 0.3 of 3 Ah.
        let (stem, base) = (s.pieces["stem"], s.pieces["base"]);
        assert!((ah(stem.measured) - (2.0 + 2.1)).abs() < 1e-9);
        assert!((ah(base.measured) - (1.0 + 0.9)).abs() < 1e-9);
        assert!((ah(stem.shared) - 2.0).abs() < 1e-9);
        assert!((ah(stem.by_field.through) - 2.1).abs() < 1e-9);
        assert!((ah(stem.by_field.on_wires) - 0.21).abs() < 1e-9);
        assert!((ah(stem.by_field.doubt) - 0.084).abs() < 1e-9);
        let lead = |minutes| i.leads(t(minutes), &ShareByArea)["stem"].amps.unwrap();
        assert!((lead(45.0) - 2.1).abs() < 1e-9);
        assert!((lead(15.0) - 2.0).abs() < 1e-9 && (lead(95.0) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_field_for_others_or_for_bare_pieces_tells_no_share() {
        let mut third = two();
        third.predict(t(0.0), predicted(0.7, 0.3, true));
        third.change(t(0.0), "rim", covered(3.0));
        let s = third.settle(t(120.0), &ShareByArea);
        assert!((ah(s.pieces["stem"].measured) - 3.0).abs() < 1e-9);
        assert!(s.pieces["stem"].by_field == ByField::default());
        let mut bare_base = two();
        bare_base.predict(t(0.0), predicted(0.7, 0.3, true));
        bare_base.change(t(60.0), "base", bare(3.0));
        let s = bare_base.settle(t(120.0), &ShareByArea);
        assert_eq!(s.pieces["stem"].unknown_since, Some(t(60.0)));
        assert!((ah(s.pieces["stem"].measured) - 2.1).abs() < 1e-9);
    }

    #[test]
    fn a_piece_with_its_own_reading_leaves_the_rest_in_relation() {
        let mut i = two();
        i.change(t(0.0), "rim", covered(3.0));
        i.own
            .insert("rim".into(), vec![read(0.0, 1.0), read(120.0, 1.0)]);
        let mut shares = predicted(0.56, 0.24, true).unwrap();
        let part = FieldPart {
            share: 0.2,
            wire: 0.0,
        };
        shares.members.insert("rim".into(), part);
        i.predict(t(0.0), Some(shares));
        let s = i.settle(t(120.0), &ShareByArea);
        // 2 A are left for two hours: 0.56 and 0.24 of 0.8.
        assert!((ah(s.pieces["stem"].measured) - 2.8).abs() < 1e-9);
        assert!((ah(s.pieces["rim"].measured) - 2.0).abs() < 1e-9);
        assert!(s.pieces["rim"].by_field.doubt == 0.0);
    }

    #[test]
    fn shares_of_another_scene_count_up_to_a_recorded_change_alone() {
        let mut i = two();
        i.predict(t(0.0), predicted(0.7, 0.3, false));
        let stem = |i: &Immersion| ah(i.settle(t(120.0), &ShareByArea).pieces["stem"].measured);
        assert!((stem(&i) - 4.0).abs() < 1e-9);
        i.predict(t(60.0), None);
        assert!((stem(&i) - (2.1 + 2.0)).abs() < 1e-9);
    }

    #[test]
    fn a_tank_whose_pieces_are_all_lifted_passes_nothing() {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", covered(6.0));
        i.tank = vec![read(0.0, 3.0), read(60.0, 3.0)];
        i.change(t(30.0), "stem", None);
        let s = i.settle(t(60.0), &ShareByArea);
        assert!((ah(s.tank.measured) - 1.5).abs() < 1e-9);
    }

    #[test]
    fn a_covered_piece_shares_again_once_its_own_reading_is_stale() {
        let mut i = Immersion::begun(t(0.0));
        i.change(t(0.0), "stem", covered(6.0));
        i.change(t(0.0), "base", covered(3.0));
        i.own
            .insert("base".into(), vec![read(0.0, 0.6), read(50.0, 0.6)]);
        i.tank = vec![read(0.0, 3.0)];
        i.tell(read(60.0, 3.0), false);
        i.tell(read(120.0, 3.0), false);
        let s = i.settle(t(120.0), &ShareByArea);
        // 0.6 A of its own for 50 min, carried on for 10 min until the tank is
        // read, then 3 A * 3/9 for an hour.
        assert!((ah(s.pieces["base"].measured) - 1.5).abs() < 1e-9);
        assert!((ah(s.pieces["base"].estimated) - 0.1).abs() < 1e-9);
        assert!((ah(s.pieces["stem"].measured + s.pieces["stem"].estimated) - 4.4).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn shares_add_up_and_splitting_changes_nothing(
            currents in prop::collection::vec(0.0..6.0_f64, 2..8),
            areas in prop::collection::vec(0.5..9.0_f64, 1..5),
            enters in prop::collection::vec(0.0..100.0_f64, 1..5),
            cut in 1.0..99.0_f64,
        ) {
            let mut i = Immersion::begun(t(0.0));
            i.tank = currents.iter().enumerate().map(|(n, a)| read(n as f64 * 20.0, *a)).collect();
            let end = t((currents.len() - 1) as f64 * 20.0);
            let mut changes: Vec<_> = areas.iter().zip(&enters).enumerate()
                .map(|(n, (a, e))| (t(*e), format!("p{n}"), covered(*a))).collect();
            changes.push((t(0.0), "always".into(), covered(2.0)));
            changes.sort_by_key(|c| c.0);
            for (at, name, member) in changes { i.change(at, &name, member); }
            let s = i.settle(end, &ShareByArea);
            let sum: f64 = s.pieces.values().map(|d| d.measured).sum();
            prop_assert!((sum - s.tank.measured).abs() <= 1e-6 * (1.0 + s.tank.measured));
            // A change that changes nothing splits the interval and no more.
            let mut split = i.clone();
            split.changes.push((t(cut), "always".into(), covered(2.0)));
            split.changes.sort_by_key(|c| c.0);
            let t = split.settle(end, &ShareByArea);
            for (name, d) in &s.pieces {
                prop_assert!((t.pieces[name].measured - d.measured).abs() <= 1e-6 * (1.0 + d.measured));
            }
        }
    }
}
