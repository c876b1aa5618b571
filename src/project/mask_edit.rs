//! A change of the masks of a piece.

use super::definition::Mask;

/// One mask of a piece more or less.
#[derive(Debug, Clone, PartialEq)]
pub enum MaskEdit {
    /// One more, after all others.
    Add(Mask),
    /// The one at this place taken off, counted from 0.
    Remove(usize),
}

impl MaskEdit {
    /// The masks with the change made.
    pub fn made_on(&self, masks: &[Mask]) -> Vec<Mask> {
        let mut masks = masks.to_vec();
        match self {
            Self::Add(mask) => masks.push(mask.clone()),
            Self::Remove(at) if *at < masks.len() => drop(masks.remove(*at)),
            Self::Remove(_) => {}
        }
        masks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_added_is_taken_off_again() {
        let mask = |name: &str| Mask {
            name: name.to_owned(),
            shape: "the thread".to_owned(),
            takes: None,
        };
        let before = [mask("foot")];
        let after = MaskEdit::Add(mask("rim")).made_on(&before);
        assert_eq!(after, [mask("foot"), mask("rim")]);
        assert_eq!(MaskEdit::Remove(1).made_on(&after), before);
        assert_eq!(MaskEdit::Remove(0).made_on(&after), [mask("rim")]);
        assert_eq!(MaskEdit::Remove(2).made_on(&after), after);
    }
}
