//! Laws that must hold for any input.
mod invariance;
mod mirrored_lineups;
mod pipeline;
mod plan_sides;
mod rehearse;
