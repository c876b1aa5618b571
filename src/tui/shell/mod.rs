//! The shell around the screen: terminal, loop, workers, clock, signals.
