//! Quantities of the trade, instants, and figures that carry their doubt.
//!
//! A [`Quantity`] holds a plain SI number and knows its dimension by type; the
//! trade's units ([`DM2`], [`UM`], [`AH`] …) stand at the doors, where text is
//! read and numbers are shown. A [`Figure`] is a quantity with its kind
//! (measured, estimated …) and its named error components.

mod figure;
mod instant;
mod quantity;
mod show;
mod unseen;
mod watch;
mod zone;

pub use figure::{Doubt, Figure, Kind};
pub use instant::{Instant, InstantError};
pub use quantity::*;
pub use show::{System, clock_span, number, plain, rounded};
pub use unseen::{excerpt, is_unseen};
pub use watch::{Part, Stopped, Unwatched, Watch, go_on};
pub use zone::{LocalTime, Zone, ZoneError};
