//! Laws that must hold for any input.
mod invariance;
mod pipeline;
mod rehearse;
