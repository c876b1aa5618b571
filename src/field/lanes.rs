//! As many numbers at once as the machine can take.

/// Does `work` with the widest lanes that this very machine has: loops over
/// plain numbers in it, and in what is inlined into it, are compiled for each
/// sort of machine, and the right one is picked when it runs.
pub(super) fn widest<R>(work: impl FnOnce() -> R) -> R {
    pulp::Arch::new().dispatch(work)
}
