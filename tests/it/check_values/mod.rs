//! Published numbers, each with its source.

mod align;
mod decisions;
