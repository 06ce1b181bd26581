//! Laws that must hold for any input.
mod pipeline;
mod rehearse;
