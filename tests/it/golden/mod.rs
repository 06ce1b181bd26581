//! Last accepted outputs: regression only, never truth.

mod accepted;
mod changes;
mod finished;
mod lineups;
pub mod made_seams;
mod pages;
mod paper;
mod pictures;
mod qif;
