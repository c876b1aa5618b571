//! A mesh in the making, for the formats that number their corners.

use std::collections::BTreeMap;
use std::ops::Range;

use super::polygon::Cutter;
use super::{
    CORNER_BUDGET, Corner, EAR_TEST_BUDGET, Group, LengthUnit, Mesh, MeshError, Remark,
    TRIANGLE_BUDGET, Triangles,
};

/// What a reader has found so far. The budgets are held here.
#[derive(Debug)]
pub(super) struct Draft {
    pub(super) corners: Vec<Corner>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) groups: Groups,
    pub(super) remarks: Vec<Remark>,
    cutter: Cutter,
}

impl Draft {
    pub(super) fn new() -> Self {
        Self {
            corners: Vec::new(),
            triangles: Vec::new(),
            groups: Groups::default(),
            remarks: Vec::new(),
            cutter: Cutter::new(EAR_TEST_BUDGET),
        }
    }

    pub(super) fn add_corner(&mut self, corner: Corner) -> Result<(), MeshError> {
        within_budget("corners", self.corners.len() + 1, CORNER_BUDGET)?;
        self.corners.push(corner);
        Ok(())
    }

    /// Adds a face of three corners or more, each of which is there.
    pub(super) fn add_face(&mut self, face: &[u32]) -> Result<(), MeshError> {
        let count = self.triangles.len() + face.len() - 2;
        within_budget("triangles", count, TRIANGLE_BUDGET)?;
        let triangles = &mut self.triangles;
        let cut = |triangle| triangles.push(triangle);
        if self.cutter.cut(face, &self.corners, cut) {
            return Ok(());
        }
        Err(MeshError::TooLarge {
            what: "steps to cut its bent faces into triangles",
            found: EAR_TEST_BUDGET,
            limit: EAR_TEST_BUDGET,
        })
    }

    /// How many triangles there are so far.
    pub(super) fn count(&self) -> u32 {
        self.triangles.len() as u32
    }

    pub(super) fn finish(self, unit: Option<LengthUnit>) -> Result<Mesh<'static>, MeshError> {
        if self.triangles.is_empty() {
            return Err(MeshError::NoTriangles);
        }
        Ok(Mesh {
            triangles: Triangles::Numbered {
                corners: self.corners,
                triangles: self.triangles,
            },
            groups: self.groups.list,
            unit,
            remarks: self.remarks,
        })
    }
}

/// Refuses what is over a budget.
pub(super) fn within_budget(
    what: &'static str,
    found: usize,
    limit: usize,
) -> Result<(), MeshError> {
    if found <= limit {
        return Ok(());
    }
    Err(MeshError::TooLarge {
        what,
        found: found as u64,
        limit: limit as u64,
    })
}

/// Groups by name, in the order in which the file has them.
#[derive(Debug, Default)]
pub(super) struct Groups {
    pub(super) list: Vec<Group>,
    places: BTreeMap<String, usize>,
}

impl Groups {
    /// Puts a run of triangles into the group of that name. No run ends before
    /// one that was added earlier.
    pub(super) fn add(&mut self, name: &str, mut run: Range<u32>) {
        if name.is_empty() || run.is_empty() {
            return;
        }
        let place = self.places.get(name).copied().unwrap_or_else(|| {
            self.places.insert(name.to_owned(), self.list.len());
            self.list.push(Group {
                name: name.to_owned(),
                runs: Vec::new(),
            });
            self.list.len() - 1
        });
        let runs = &mut self.list[place].runs;
        while let Some(last) = runs.pop_if(|last| last.end >= run.start) {
            run.start = run.start.min(last.start);
        }
        runs.push(run);
    }
}
