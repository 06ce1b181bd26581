//! Laws that must hold for any input.
mod rehearse;
