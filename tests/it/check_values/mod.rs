//! Published numbers, each with its source.

mod decisions;
