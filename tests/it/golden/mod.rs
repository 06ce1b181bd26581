//! Last accepted outputs: regression only, never truth.

mod accepted;
mod advice;
mod changes;
mod finished;
mod lineups;
pub mod made_seams;
mod pages;
mod paper;
#[cfg(feature = "parquet")]
mod parquet;
mod pictures;
mod qif;
