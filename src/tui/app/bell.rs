//! When a notice goes out: something new became due, and again at growing
//! intervals until it is dealt with or silenced.

use crate::project::{Due, DueKind, DueName, Silence};
use crate::units::Instant;

/// Minutes between one ring and the next; the last one repeats.
const INTERVALS_MIN: [f64; 4] = [1.0, 2.0, 4.0, 8.0];

/// What the bell knows.
#[derive(Debug, Clone, Default)]
pub(super) struct Bell {
    silences: Vec<Silence>,
    known: Vec<DueName>,
    next: Option<Instant>,
    rings: u32,
}

impl Bell {
    /// What to ring for now, most urgent first, and which ring it is, from 1;
    /// `None` while there is nothing to ring for. However many rings went by
    /// unheard, as while the computer slept, one is given.
    pub(super) fn ring<'a>(
        &mut self,
        overdue: impl Iterator<Item = &'a Due>,
        now: Instant,
    ) -> Option<(Vec<Due>, u32)> {
        let due: Vec<Due> = overdue.filter(|d| self.rings_for(d)).cloned().collect();
        let names: Vec<DueName> = due.iter().map(Due::name).collect();
        let new = names.iter().any(|name| !self.known.contains(name));
        self.known = names;
        if due.is_empty() {
            self.next = None;
            return None;
        }
        if new {
            self.rings = 0;
        } else if self.next.is_some_and(|next| waits(now, next)) {
            return None;
        }
        let wait = INTERVALS_MIN[(self.rings as usize).min(INTERVALS_MIN.len() - 1)];
        self.rings += 1;
        self.next = Some(now.plus_seconds(wait * 60.0));
        Some((due, self.rings))
    }

    /// Upkeep of a bath can wait for the end of the evening.
    fn rings_for(&self, due: &Due) -> bool {
        !matches!(due.what, DueKind::Dose | DueKind::Filter | DueKind::Bags)
            && !self.silences.iter().any(|silence| silence.holds(due))
    }

    /// No more rings for what is due now; `None` where nothing rings.
    pub(super) fn silence<'a>(
        &mut self,
        overdue: impl Iterator<Item = &'a Due>,
        who: &str,
        now: Instant,
    ) -> Option<Silence> {
        let rings = overdue.filter(|d| self.rings_for(d));
        let of: Vec<_> = rings.map(|d| (d.name(), d.at)).collect();
        self.known.clear();
        self.next = None;
        if of.is_empty() {
            return None;
        }
        let who = who.to_owned();
        let silence = Silence { at: now, who, of };
        self.silences.push(silence.clone());
        Some(silence)
    }

    /// The silences that hold, whoever said them; those that are new.
    pub(super) fn heed(&mut self, silences: Vec<Silence>) -> Vec<Silence> {
        let known = |s: &Silence| self.silences.contains(s);
        let new: Vec<Silence> = silences.into_iter().filter(|s| !known(s)).collect();
        self.silences.extend(new.iter().cloned());
        new
    }

    /// Seconds until the next ring, if one comes by itself.
    pub(super) fn rings_in(&self, now: Instant) -> Option<f64> {
        self.next.map(|next| next.since(now).max(0.0))
    }
}

/// Whether the next ring is still to come. One that lies further off than any
/// interval was set by a clock that has been put back since.
fn waits(now: Instant, next: Instant) -> bool {
    let longest = INTERVALS_MIN.into_iter().fold(0.0, f64::max) * 60.0;
    let left = next.since(now);
    left > 0.0 && left <= longest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn begin() -> Instant {
        "2026-03-02T19:00:00Z".parse().unwrap()
    }

    fn minutes(minutes: f64) -> Instant {
        begin().plus_seconds(minutes * 60.0)
    }

    fn look(piece: &str, at: Instant) -> Due {
        Due {
            what: DueKind::Look,
            piece: Some(piece.into()),
            tank: Some("main".into()),
            at,
            say: format!("look at {piece}"),
        }
    }

    /// The number of a ring at this instant, and how many things it is for.
    fn ring(bell: &mut Bell, due: &[Due], at: Instant) -> Option<(u32, usize)> {
        let rung = bell.ring(due.iter(), at);
        rung.map(|(due, number)| (number, due.len()))
    }

    #[test]
    fn it_rings_at_growing_intervals() {
        let (mut bell, due) = (Bell::default(), [look("stem", begin())]);
        let rings: Vec<(u32, u32)> = (0..32)
            .filter_map(|minute| {
                let rung = ring(&mut bell, &due, minutes(f64::from(minute)));
                rung.map(|(number, _)| (minute, number))
            })
            .collect();
        let wanted = [(0, 1), (1, 2), (3, 3), (7, 4), (15, 5), (23, 6), (31, 7)];
        assert_eq!(rings, wanted);
    }

    #[test]
    fn several_things_ring_once_and_a_new_one_begins_anew() {
        let mut bell = Bell::default();
        let mut due = vec![look("stem", begin()), look("leaf", begin())];
        assert_eq!(ring(&mut bell, &due, begin()), Some((1, 2)));
        assert_eq!(ring(&mut bell, &due, minutes(1.0)), Some((2, 2)));
        due.push(look("crozier", minutes(1.5)));
        assert_eq!(ring(&mut bell, &due, minutes(1.5)), Some((1, 3)));
    }

    #[test]
    fn after_a_night_of_sleep_it_rings_once() {
        let (mut bell, due) = (Bell::default(), [look("stem", begin())]);
        assert_eq!(ring(&mut bell, &due, begin()), Some((1, 1)));
        assert_eq!(ring(&mut bell, &due, minutes(600.0)), Some((2, 1)));
        assert_eq!(ring(&mut bell, &due, minutes(600.1)), None);
        assert_eq!(ring(&mut bell, &due, minutes(602.0)), Some((3, 1)));
    }

    #[test]
    fn a_clock_that_is_put_back_does_not_silence_it() {
        let (mut bell, due) = (Bell::default(), [look("stem", begin())]);
        assert_eq!(ring(&mut bell, &due, minutes(120.0)), Some((1, 1)));
        assert_eq!(ring(&mut bell, &due, minutes(60.0)), Some((2, 1)));
        assert_eq!(ring(&mut bell, &due, minutes(61.0)), None);
    }

    #[test]
    fn what_is_silenced_stays_so_until_it_is_due_anew() {
        let (mut bell, stem) = (Bell::default(), look("stem", begin()));
        assert_eq!(bell.silence([].iter(), "Ana", begin()), None);
        ring(&mut bell, std::slice::from_ref(&stem), begin());
        let said = bell.silence([&stem].into_iter(), "Ana", minutes(2.0));
        let said = said.unwrap();
        assert_eq!(
            (said.who.as_str(), said.of),
            ("Ana", vec![(stem.name(), begin())])
        );
        assert_eq!(bell.rings_in(minutes(2.0)), None);
        assert_eq!(
            ring(&mut bell, std::slice::from_ref(&stem), minutes(90.0)),
            None
        );
        let both = [stem, look("leaf", minutes(90.0))];
        let rung = bell.ring(both.iter(), minutes(90.0)).unwrap();
        assert_eq!(rung.0, both[1..], "only for the new one");
        let again = look("stem", minutes(100.0));
        assert_eq!(ring(&mut bell, &[again], minutes(100.0)), Some((1, 1)));
    }

    #[test]
    fn a_silence_said_elsewhere_holds_here_and_is_news_once() {
        let (mut bell, due) = (Bell::default(), [look("stem", begin())]);
        ring(&mut bell, &due, begin());
        let said = Silence {
            at: minutes(0.5),
            who: "Bo".into(),
            of: vec![(due[0].name(), begin())],
        };
        assert_eq!(bell.heed(vec![said.clone()]).len(), 1);
        assert_eq!(bell.heed(vec![said]), []);
        assert_eq!(ring(&mut bell, &due, minutes(1.0)), None);
        assert_eq!(bell.rings_in(minutes(1.0)), None);
    }

    #[test]
    fn nothing_due_nothing_rings() {
        let (mut bell, due) = (Bell::default(), [look("stem", begin())]);
        ring(&mut bell, &due, begin());
        assert_eq!(ring(&mut bell, &[], minutes(1.0)), None);
        assert_eq!(bell.rings_in(minutes(1.0)), None);
        let dose = Due {
            what: DueKind::Dose,
            ..look("stem", begin())
        };
        assert_eq!(ring(&mut bell, &[dose], minutes(1.0)), None);
    }
}
