//! Flush on rehearsed front ends, whose panels round over towards the seams: what is left where the curvature changes.
//!
//! The Gannet coupe's shoulder begins at the seam between hood and fender, and its nose turns down at the front seam: fits of
//! second order read flush there 0.03 to 0.06 mm high. Hood and cowl, fender and door meet on evenly curved surfaces.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::rehearse::Scanner;
use shutline::rehearse::body::{BodyKind, BodySettings, PanelMove, body, gannet_settings};
use shutline::scan::VecSource;

use super::table::Errors;
use super::trial::Pair;

/// Seams of the sample's plan, and whether the curvature changes beside them.
const SEAMS: [(&str, bool); 6] = [
    ("hood-fender-left", true),
    ("hood-fender-right", true),
    ("hood-cowl", false),
    ("hood-nose", true),
    ("fender-door-left", false),
    ("fender-door-right", false),
];

/// A scanner over a front end.
struct Class {
    name: &'static str,
    scanner: Scanner,
    /// Distance between points beside the seams, mm; `None`: as in the sample scans, 1 mm to 22 mm from the hem, then 5 mm.
    spacing_mm: Option<f64>,
    accuracy_mm: f64,
}

fn classes() -> [Class; 5] {
    let sample = gannet_settings(false).scanner;
    let thin = Scanner { white_noise_mm: 0.02, correlated_noise_mm: 0.015, ..Scanner::default() };
    let class = |name, scanner, spacing_mm, accuracy_mm| Class { name, scanner, spacing_mm, accuracy_mm };
    [
        class("sample", sample, None, 0.01),
        class("thin", thin, None, 0.005),
        class("good", Scanner::good(), Some(0.4), 0.01),
        class("ordinary", Scanner::ordinary(), Some(0.4), 0.02),
        class("poor", Scanner::poor(), Some(0.6), 0.02),
    ]
}

/// A front end by chance: the hood moved by up to a millimetre and 0.06°, the sample's gaps.
fn settings(kind: BodyKind, class: &Class, seed: u64) -> BodySettings {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut settings = gannet_settings(false);
    settings.seed = seed;
    settings.scanner = class.scanner.clone();
    if let Some(spacing_mm) = class.spacing_mm {
        settings.spacings_mm = [spacing_mm, 2.0, 10.0];
        settings.fine_mm = 47.0;
        settings.middle_mm = 50.0;
    }
    if kind != BodyKind::Coupe {
        settings.gaps_mm.clear();
    }
    let hood = PanelMove {
        shift_mm: std::array::from_fn(|_| random.random_range(-1.0..1.0)),
        turn_deg: std::array::from_fn(|_| random.random_range(-0.06..0.06)),
    };
    settings.moves.insert("hood".to_owned(), hood);
    settings
}

fn pairs(kind: BodyKind, class: &Class, seed: u64) -> Vec<Pair> {
    let scan = body(kind, &settings(kind, class, seed)).unwrap();
    let mut plan = scan.plan;
    plan.seams.truncate(SEAMS.len());
    plan.scan.accuracy_mm = class.accuracy_mm;
    let source = VecSource::from_points(&scan.points, None);
    let seams = measure_scan(&source, &plan, None, &Unwatched).unwrap().seams;
    let readings = seams.into_iter().flat_map(|seam| seam.stations).map(|station| station.reading);
    scan.truth.into_iter().zip(readings).map(|(truth, reading)| Pair { truth, reading }).collect()
}

fn of_seam<'a>(pairs: &'a [Pair], seam: &'a str) -> impl Iterator<Item = &'a Pair> {
    pairs.iter().filter(move |pair| pair.truth.seam.0 == seam)
}

#[test]
fn flush_is_not_read_high_where_the_curvature_changes_beside_a_seam() {
    let [sample, ..] = classes();
    // Seeds that nothing was chosen on.
    let pairs: Vec<Pair> = (60..62).flat_map(|seed| pairs(BodyKind::Coupe, &sample, seed)).collect();
    let mut changing = Errors::default();
    for (seam, is_changing) in SEAMS {
        let errors = Errors::of_flush(of_seam(&pairs, seam));
        // Three times the 0.005 mm by which a seam's mean strays from scan to scan; uncorrected it was 0.026 to 0.042 mm off.
        assert!(errors.bias_mm().abs() < 0.015, "{}", errors.line(seam));
        if is_changing {
            changing.extend(&errors);
        }
    }
    assert!(changing.bias_mm().abs() < 0.01, "{}", changing.line("all"));
    assert!(changing.coverage() >= 0.9, "{}", changing.line("all"));
}

#[test]
#[ignore = "prints flush by scanner and seam; FIRST_SEED, SEEDS, BODY=0 to 5, ONLY=sample; 3 to 20 s a scan"]
fn flush_of_front_ends_by_scanner_and_seam() {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    let first = number("FIRST_SEED").unwrap_or(0);
    let seeds = first..first + number("SEEDS").unwrap_or(2);
    let kind = BodyKind::ALL[number("BODY").unwrap_or(0) as usize % BodyKind::ALL.len()];
    let only = std::env::var("ONLY").unwrap_or_default();
    for class in classes().iter().filter(|class| only.is_empty() || only == class.name) {
        let pairs: Vec<Pair> = seeds.clone().flat_map(|seed| pairs(kind, class, seed)).collect();
        println!("{kind:?}, {}", class.name);
        for (seam, _) in SEAMS {
            println!("  flush {}", Errors::of_flush(of_seam(&pairs, seam)).line(seam));
            println!("  gap   {}", Errors::of_gap(of_seam(&pairs, seam)).line(seam));
        }
    }
}
