//! When the bell rings: something new became due, and again at growing
//! intervals until it is dealt with or silenced.

use crate::project::{Due, DueKind};
use crate::units::Instant;

/// Minutes between one ring and the next; the last one repeats.
const INTERVALS_MIN: [f64; 4] = [1.0, 2.0, 4.0, 8.0];

type Known = Vec<(DueKind, Option<String>, Option<String>)>;

/// What the bell knows.
#[derive(Debug, Clone, Default)]
pub(super) struct Bell {
    known: Known,
    next: Option<Instant>,
    rings: usize,
}

impl Bell {
    /// Whether to ring now, with this being due.
    pub(super) fn ring<'a>(
        &mut self,
        overdue: impl Iterator<Item = &'a Due>,
        now: Instant,
    ) -> bool {
        let due: Known = overdue
            .filter(|d| !matches!(d.what, DueKind::Dose | DueKind::Filter | DueKind::Bags))
            .map(|d| (d.what, d.piece.clone(), d.tank.clone()))
            .collect();
        let new = due.iter().any(|d| !self.known.contains(d));
        self.known = due;
        if self.known.is_empty() {
            self.next = None;
        }
        if new {
            self.rings = 0;
        } else if self.next.is_none_or(|next| now < next) {
            return false;
        }
        let wait = INTERVALS_MIN[self.rings.min(INTERVALS_MIN.len() - 1)];
        self.rings += 1;
        self.next = Some(now.plus_seconds(wait * 60.0));
        true
    }

    /// No more rings for what is due now.
    pub(super) fn silence(&mut self) {
        self.next = None;
    }

    /// Seconds until the next ring, if one comes by itself.
    pub(super) fn rings_in(&self, now: Instant) -> Option<f64> {
        self.next.map(|next| next.since(now).max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_rings_at_growing_intervals_until_silenced() {
        let begin: Instant = "2026-03-02T19:00:00Z".parse().unwrap();
        let look = Due {
            what: DueKind::Look,
            piece: Some("stem".into()),
            tank: Some("main".into()),
            at: begin,
            say: String::new(),
        };
        let mut bell = Bell::default();
        let rings: Vec<u32> = (0..32)
            .filter(|minute| {
                let now = begin.plus_seconds(f64::from(*minute) * 60.0);
                bell.ring([&look].into_iter(), now)
            })
            .collect();
        assert_eq!(rings, [0, 1, 3, 7, 15, 23, 31]);
        bell.silence();
        assert!(!bell.ring([&look].into_iter(), begin.plus_seconds(9000.0)));
        let other = Due {
            piece: Some("leaf".into()),
            ..look.clone()
        };
        assert!(bell.ring([&look, &other].into_iter(), begin.plus_seconds(9001.0)));
        assert!(!bell.ring([].into_iter(), begin.plus_seconds(9999.0)));
        assert_eq!(bell.rings_in(begin), None);
    }
}
