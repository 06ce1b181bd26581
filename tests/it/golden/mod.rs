//! Last accepted outputs: regression only, never truth.

mod accepted;
mod made_seams;
mod pages;
mod pictures;
