//! The shell around the screen: terminal, loop, workers, clock, signals.
/// Not committed.
pub fn run(
    _f: crate::store::Folder,
    _s: &crate::settings::Settings,
    _c: &dyn crate::clock::Clock,
) -> Result<(), String> {
    Ok(())
}
