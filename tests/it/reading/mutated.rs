//! Every reader against broken files: cut, overwritten, bits turned, pieces doubled, huge numbers put in.
//!
//! The start files are those of `data/`; the generator's seed is fixed. What is held: no panic, and an end in time. The few
//! rounds that always run are the beginning of the many that `--ignored` runs.

use std::path::Path;
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::collect::collect;

/// Rounds for each file that always run.
const FEW: u32 = 60;
/// Rounds for each file in the long run.
const MANY: u32 = 20_000;
/// No small file may take longer than this, even on a busy machine.
const LONGEST: Duration = Duration::from_secs(10);

fn mutate(bytes: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    for _ in 0..random.random_range(1..4) {
        if bytes.is_empty() {
            return;
        }
        let at = random.random_range(0..bytes.len());
        match random.random_range(0..6) {
            0 => bytes.truncate(at),
            1 => bytes[at] ^= 1 << random.random_range(0..8),
            2 => bytes[at] = random.random(),
            3 => {
                let piece = bytes[at..bytes.len().min(at + 40)].to_vec();
                bytes.splice(at..at, piece);
            }
            4 => {
                let value = [u32::MAX, 0, 0x7fff_ffff, 0x8000_0000][random.random_range(0..4)];
                for (place, byte) in bytes.iter_mut().skip(at).zip(value.to_le_bytes()) {
                    *place = byte;
                }
            }
            _ => {
                // Digits of a head become a huge count.
                let digit = bytes.iter().skip(at).position(u8::is_ascii_digit).map(|place| at + place);
                if let Some(place) = digit {
                    bytes.splice(place..place, *b"99999999999");
                }
            }
        }
    }
}

fn rounds(count: u32) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/reading/data");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    for path in paths {
        let bytes = std::fs::read(&path).unwrap();
        let mut random = ChaCha8Rng::seed_from_u64(20_261_125);
        for round in 0..count {
            let mut broken = bytes.clone();
            mutate(&mut broken, &mut random);
            let start = Instant::now();
            if let Err(failure) = collect(&broken) {
                assert!(
                    failure.text().starts_with("could not"),
                    "{path:?}, round {round}: {}",
                    failure.text()
                );
            }
            let spent = start.elapsed();
            assert!(spent < LONGEST, "{path:?}, round {round} took {spent:?}");
        }
    }
}

#[test]
fn broken_files_end_in_an_error_or_a_scan() {
    rounds(FEW);
}

#[test]
#[ignore = "some 800,000 broken files: many minutes"]
fn many_broken_files_end_in_an_error_or_a_scan() {
    rounds(MANY);
}
