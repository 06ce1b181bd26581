//! Last accepted outputs: regression only, never truth.

mod accepted;
mod finished;
mod made_seams;
mod pages;
mod pictures;
