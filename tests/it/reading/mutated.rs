//! Every reader against broken files: cut, overwritten, bits turned, pieces doubled, huge numbers put in.
//!
//! The start files are those of `data/`, the curve files as curves, and a plan; the generator's seed is fixed. What is held: no
//! panic, an end in time, and never more memory than twice the file and 64 MB. The few rounds that always run are the
//! beginning of the many that `--ignored` runs.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shutline::files::CurveFile;
use shutline::plan::PlanText;
use shutline::units::LengthUnit;

use super::collect::drain;
use crate::memory::peak_of;

/// Rounds for each file that always run.
const FEW: u32 = 60;
/// Rounds for each file in the long run, unless `SHUTLINE_ROUNDS` says otherwise; `SHUTLINE_FILES` takes only files with this in
/// their name.
const MANY: u32 = 20_000;
/// No small file may take longer than this of a processor's time.
const LONGEST: Duration = Duration::from_secs(10);
/// What a reader may hold beyond twice the file: buffers and what decoders need.
const SPARE_BYTES: u64 = 64 << 20;

/// What a file is read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Scan,
    Curve,
    Plan,
}

fn mutate(bytes: &mut Vec<u8>, random: &mut ChaCha8Rng) {
    for _ in 0..random.random_range(1..4) {
        if bytes.is_empty() {
            return;
        }
        let at = random.random_range(0..bytes.len());
        match random.random_range(0..7) {
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
            5 => {
                // One number becomes another that stands elsewhere: references into the wrong place.
                let number_at = |from: usize| {
                    let start = from + bytes.iter().skip(from).position(u8::is_ascii_digit)?;
                    let end = start + bytes[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
                    Some(start..end)
                };
                let other = number_at(random.random_range(0..bytes.len()));
                if let (Some(here), Some(other)) = (number_at(at), other) {
                    let digits = bytes[other].to_vec();
                    bytes.splice(here, digits);
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

/// Reads a file as far as there is anything to read, and gives the text of its error.
fn read(path: &Path, bytes: &[u8], kind: Kind) -> Option<String> {
    match kind {
        Kind::Scan => drain(path).err().map(|failure| failure.text()),
        Kind::Curve => {
            let file = match CurveFile::open(path) {
                Ok(file) => file,
                Err(error) => return Some(error.to_string()),
            };
            let places: &[[f64; 3]] = &[[1.0, 1.0, 1.0], [20.0, 10.0, 5.0]];
            let mut text = None;
            for (name, places) in
                [(None, &[][..]), (None, places), (Some("bulge"), &[]), (Some("door skin"), places)]
            {
                if let Err(error) = file.curve(name, places, LengthUnit::Millimetre) {
                    text = Some(error.to_string());
                }
            }
            text
        }
        Kind::Plan => {
            let text = String::from_utf8_lossy(bytes);
            let straight = [[0.0; 3], [400.0, 0.0, 0.0]].map(nalgebra::Point3::from);
            let curve = shutline::geometry::Curve::through(&straight, None).unwrap();
            let plan = PlanText::parse(&text, "plan").and_then(|plan| plan.into_plan(|_| Ok(curve.clone())));
            plan.err().map(|error| {
                assert!(!error.to_string().is_empty());
                format!("could not read: {error}")
            })
        }
    }
}

/// The start files: all of `data/`, curves again as curves, and the sample's plan.
fn start_files() -> Vec<(PathBuf, Kind)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = root.join("tests/it/reading/data");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let mut files = vec![(root.join("sample-scans/gannet.seams.toml"), Kind::Plan)];
    for path in paths {
        let ending = path.extension().unwrap_or_default().to_string_lossy().into_owned();
        let is_curve = ["step", "dxf", "obj", "csv", "ply"].contains(&ending.as_str());
        files.extend(is_curve.then(|| (path.clone(), Kind::Curve)));
        let is_scan = !["step", "dxf", "md", "py"].contains(&ending.as_str());
        files.extend(is_scan.then_some((path, Kind::Scan)));
    }
    files
}

/// Time that this thread has had a processor, where the system tells; or else the time of day, which counts waiting too.
fn spent_here() -> Duration {
    static START: OnceLock<Instant> = OnceLock::new();
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|text| text.split_whitespace().next()?.parse().ok());
    match nanoseconds {
        Some(nanoseconds) => Duration::from_nanos(nanoseconds),
        None => START.get_or_init(Instant::now).elapsed(),
    }
}

/// Puts a file aside that shows a fault.
fn kept(broken: &[u8]) -> PathBuf {
    let (_, place) = tempfile::Builder::new().prefix("broken-").tempfile().unwrap().keep().unwrap();
    std::fs::write(&place, broken).unwrap();
    place
}

fn rounds(count: u32) {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("broken.dat");
    let mut runs: BTreeMap<(Kind, String), (u64, u64)> = BTreeMap::new();
    let only = std::env::var("SHUTLINE_FILES").unwrap_or_default();
    for (path, kind) in start_files().into_iter().filter(|(path, _)| path.to_string_lossy().contains(&only)) {
        let bytes = std::fs::read(&path).unwrap();
        let mut random = ChaCha8Rng::seed_from_u64(20_261_125);
        for round in 0..count {
            let mut broken = bytes.clone();
            mutate(&mut broken, &mut random);
            std::fs::write(&place, &broken).unwrap();
            let start = spent_here();
            let (result, peak) = peak_of(|| catch_unwind(AssertUnwindSafe(|| read(&place, &broken, kind))));
            let what = || format!("{path:?} as {kind:?}, round {round}");
            match result {
                Ok(None) => {}
                Ok(Some(text)) => assert!(text.starts_with("could not"), "{}: {text}", what()),
                Err(_) => panic!("{} panicked; kept as {:?}", what(), kept(&broken)),
            }
            let spent = spent_here().saturating_sub(start);
            assert!(spent < LONGEST, "{} took {spent:?}; kept as {:?}", what(), kept(&broken));
            let allowed = 2 * broken.len() as u64 + SPARE_BYTES;
            assert!(peak <= allowed, "{} held {peak} bytes; kept as {:?}", what(), kept(&broken));
            let ending = path.extension().unwrap_or_default().to_string_lossy().into_owned();
            let slot = runs.entry((kind, ending)).or_default();
            *slot = (slot.0 + 1, slot.1.max(peak));
        }
    }
    for ((kind, ending), (runs, peak)) in runs {
        println!("{kind:?} {ending}: {runs} files, at most {:.1} MB held", peak as f64 / 1e6);
    }
}

#[test]
fn broken_files_end_in_an_error_or_a_scan() {
    rounds(FEW);
}

#[test]
#[ignore = "over a million broken files, many minutes; prints how many for each reader; SHUTLINE_ROUNDS for each file"]
fn many_broken_files_end_in_an_error_or_a_scan() {
    rounds(std::env::var("SHUTLINE_ROUNDS").ok().and_then(|text| text.parse().ok()).unwrap_or(MANY));
}
