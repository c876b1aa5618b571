//! Sets that grow together (Tarjan 1975).

/// Numbers from 0 in disjoint sets.
#[derive(Debug)]
pub(super) struct Sets {
    above: Vec<u32>,
}

impl Sets {
    /// Each number in a set of its own.
    pub(super) fn new(count: usize) -> Self {
        Self {
            above: (0..count as u32).collect(),
        }
    }

    /// The number that stands for the set of this one.
    pub(super) fn find(&mut self, mut at: u32) -> u32 {
        while self.above[at as usize] != at {
            let above = self.above[at as usize];
            self.above[at as usize] = self.above[above as usize];
            at = above;
        }
        at
    }

    /// Makes one set of two; says whether they were two.
    pub(super) fn join(&mut self, a: u32, b: u32) -> bool {
        let (a, b) = (self.find(a), self.find(b));
        // The lower number stands for the set, whatever the order of joining.
        self.above[a.max(b) as usize] = a.min(b);
        a != b
    }
}
