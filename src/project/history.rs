//! What happened, in the order it was written down; cheap to copy and to add to.

use std::collections::BTreeMap;
use std::ops::Index;
use std::sync::Arc;

use super::{Event, Subject, What};

/// So many events share one piece of memory.
const CHUNK: usize = 256;

/// Events in the order they were written down. A copy shares them: whoever
/// records and whoever shows keep one history between them.
#[derive(Debug, Clone, Default)]
pub struct History {
    /// Of [`CHUNK`] events each.
    full: Vec<Arc<Vec<Event>>>,
    /// Of fewer.
    open: Arc<Vec<Event>>,
    /// The places of the events of each piece.
    of_pieces: BTreeMap<String, Arc<Vec<usize>>>,
}

impl History {
    /// How many events there are.
    pub fn len(&self) -> usize {
        self.full.len() * CHUNK + self.open.len()
    }

    /// Whether nothing has happened.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// From the first to the last.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &Event> + Clone {
        self.full.iter().chain([&self.open]).flat_map(|c| c.iter())
    }

    /// From a place on to the last.
    pub(super) fn iter_from(&self, place: usize) -> impl Iterator<Item = &Event> {
        (place..self.len()).filter_map(|at| self.get(at))
    }

    /// The place of the event of a sequence; they are counted as they were
    /// written down.
    pub(super) fn place_of(&self, sequence: u64) -> Option<usize> {
        let first = self.first()?.sequence;
        let at = usize::try_from(sequence.checked_sub(first)?).ok()?;
        let is_it = self.get(at)?.sequence == sequence;
        is_it.then_some(at)
    }

    /// The event at a place, from 0.
    pub fn get(&self, at: usize) -> Option<&Event> {
        let chunk = self.full.get(at / CHUNK).unwrap_or(&self.open);
        let is_there = at < self.len();
        chunk.get(at % CHUNK).filter(|_| is_there)
    }

    /// The first event.
    pub fn first(&self) -> Option<&Event> {
        self.get(0)
    }

    /// The last event.
    pub fn last(&self) -> Option<&Event> {
        self.iter().next_back()
    }

    /// The events of a piece, from the first to the last.
    pub fn of_piece(&self, piece: &str) -> impl DoubleEndedIterator<Item = &Event> {
        let places = self.of_pieces.get(piece);
        let places = places.into_iter().flat_map(|places| places.iter());
        places.filter_map(|at| self.get(*at))
    }

    /// The events as a list of their own.
    pub fn to_vec(&self) -> Vec<Event> {
        self.iter().cloned().collect()
    }

    /// Adds what happened next.
    pub(super) fn push(&mut self, event: Event) {
        match (event.what.subject(), &event.what) {
            (Subject::Piece(piece), _) => self.note(piece),
            (
                _,
                What::Reading {
                    piece: Some(own), ..
                },
            ) => self.note(own),
            (Subject::Pieces(pieces), _) => pieces.iter().for_each(|piece| self.note(piece)),
            _ => {}
        }
        let open = Arc::make_mut(&mut self.open);
        open.push(event);
        if open.len() == CHUNK {
            open.shrink_to_fit();
            self.full.push(std::mem::take(&mut self.open));
        }
    }

    /// The next event is of this piece.
    fn note(&mut self, piece: &str) {
        let next = self.len();
        match self.of_pieces.get_mut(piece).map(Arc::make_mut) {
            Some(places) if places.last() == Some(&next) => {}
            Some(places) => places.push(next),
            None => {
                self.of_pieces
                    .insert(piece.to_owned(), Arc::new(vec![next]));
            }
        }
    }
}

impl Extend<Event> for History {
    fn extend<I: IntoIterator<Item = Event>>(&mut self, events: I) {
        events.into_iter().for_each(|event| self.push(event));
    }
}

impl FromIterator<Event> for History {
    fn from_iter<I: IntoIterator<Item = Event>>(events: I) -> Self {
        let mut history = Self::default();
        history.extend(events);
        history
    }
}

impl From<Vec<Event>> for History {
    fn from(events: Vec<Event>) -> Self {
        events.into_iter().collect()
    }
}

impl Index<usize> for History {
    type Output = Event;

    fn index(&self, at: usize) -> &Event {
        let chunk = self.full.get(at / CHUNK).unwrap_or(&self.open);
        &chunk[at % CHUNK]
    }
}

impl PartialEq for History {
    fn eq(&self, other: &Self) -> bool {
        let same = |(a, b): (&Arc<Vec<Event>>, &Arc<Vec<Event>>)| Arc::ptr_eq(a, b) || a == b;
        self.len() == other.len()
            && self.full.iter().zip(&other.full).all(same)
            && same((&self.open, &other.open))
    }
}

impl PartialEq<[Event]> for History {
    fn eq(&self, other: &[Event]) -> bool {
        self.len() == other.len() && self.iter().eq(other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::project::What;
    use crate::units::Instant;

    fn event(sequence: u64) -> Event {
        let at = Instant::from_unix_ms(sequence.cast_signed());
        let piece = "bell".to_owned();
        Event {
            sequence,
            at,
            recorded: at,
            who: "Ada".to_owned(),
            what: What::Coat { piece },
            reason: None,
            overridden: Vec::new(),
        }
    }

    #[test]
    fn a_history_reads_as_the_list_it_was_made_of() {
        for count in [0, 1, 255, 256, 257, 512, 1000] {
            let list: Vec<Event> = (1..=count).map(event).collect();
            let history = History::from(list.clone());
            assert_eq!(history.to_vec(), list);
            assert_eq!(history.len(), list.len());
            assert_eq!(history.is_empty(), list.is_empty());
            assert_eq!(
                (history.first(), history.last()),
                (list.first(), list.last())
            );
            assert!(history.iter().rev().eq(list.iter().rev()));
            for at in 0..list.len() + 300 {
                assert_eq!(history.get(at), list.get(at), "{at} of {count}");
            }
            assert!(history == *list);
        }
    }

    #[test]
    fn the_events_of_a_piece_are_those_that_concern_it() {
        let bell = |sequence| event(sequence);
        let with = |sequence, what| Event {
            what,
            ..event(sequence)
        };
        let names = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect();
        let own = r#"Reading(tank:"main",volts:"0.3V",amps:"1A",piece:Some("rim"))"#;
        let both = What::Wipe {
            pieces: names(&["rim", "bell", "rim"]),
        };
        let history: History = [
            bell(1),
            with(2, ron::from_str(own).unwrap()),
            with(3, both),
            with(4, What::Undo { sequence: 1 }),
        ]
        .into_iter()
        .collect();
        for piece in ["bell", "rim", "none"] {
            let of: Vec<&Event> = history.of_piece(piece).collect();
            let concerned = history.iter().filter(|e| e.what.concerns(piece));
            assert_eq!(of, concerned.collect::<Vec<_>>(), "{piece}");
        }
        assert_eq!(history.of_piece("rim").count(), 2);
    }

    #[test]
    fn a_copy_stays_as_it_is_and_shares_what_is_whole() {
        let mut history: History = (1..=700).map(event).collect();
        let copy = history.clone();
        history.push(event(701));
        assert_eq!((copy.len(), history.len()), (700, 701));
        assert_ne!(copy, history);
        assert!(
            Arc::ptr_eq(&copy.full[1], &history.full[1]),
            "one memory for both"
        );
        let other: History = (2..=702).map(event).collect();
        assert_ne!(history, other);
    }
}
