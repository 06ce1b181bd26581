//! How long each stage takes: `cargo bench`, or one stage with `cargo bench -- gather`.
//!
//! Each file measures one stage over a size or an accuracy, on scans that it makes itself. Read ratios, not seconds: between rows of
//! one group, and against `raw_sum`, which touches every byte of the same file once.
//! `POINTS` in the environment sets the size of the whole car (default two million).

mod align;
mod find;
mod gather;
mod measure;
mod readers;
mod render;
mod scene;
mod section;
mod whole_car;

use criterion::{criterion_group, criterion_main};

criterion_group!(
    benches,
    readers::bench,
    gather::bench,
    align::bench,
    section::bench,
    measure::bench,
    render::bench,
    find::bench,
    whole_car::bench
);
criterion_main!(benches);
