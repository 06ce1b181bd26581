//! The accuracy budgets: rehearsed scans of known truth, by scanner class.

use shutline::rehearse::{CurveErrorShape, Faults, Rehearsal, Scanner};

use super::table::by_group;
use super::trial::{Pair, run, wishes};

/// Gaps and hem radii of the budgets, mm.
const GAPS_MM: [f64; 4] = [2.0, 3.5, 5.0, 8.0];
const RADII_MM: [f64; 4] = [1.0, 1.5, 2.5, 4.0];

fn scanned(scanner: Scanner, faults: Faults, curve_error: CurveErrorShape, seed: u64) -> Rehearsal {
    Rehearsal { seed, scanner, faults, curve_error, ..Rehearsal::default() }
}

const CURVE_OFF: CurveErrorShape = CurveErrorShape { shift_mm: 3.0, tilt_deg: 1.0 };

fn pooled(scanner: &Scanner, faults: &Faults, seeds: std::ops::Range<u64>, accuracy_mm: f64) -> Vec<Pair> {
    seeds
        .flat_map(|seed| {
            let rehearsal = scanned(scanner.clone(), faults.clone(), CURVE_OFF, seed);
            run(&wishes(&GAPS_MM, &RADII_MM), rehearsal, accuracy_mm, None)
        })
        .collect()
}

#[test]
#[ignore = "a large table: minutes"]
fn table_of_all_scanner_classes() {
    let seeds = std::env::var("SEEDS").ok().and_then(|text| text.parse().ok()).unwrap_or(2);
    let only = std::env::var("ONLY").unwrap_or_default();
    let clean = Scanner { spacing_mm: 0.3, ..Scanner::default() };
    if only.is_empty() || only == "no noise" {
        println!("{}", by_group("no noise", &pooled(&clean, &Faults::default(), 0..1, 0.0)));
    }
    if only.is_empty() || only == "good" {
        println!("{}", by_group("good", &pooled(&Scanner::good(), &Faults::default(), 0..seeds, 0.01)));
    }
    if only.is_empty() || only == "ordinary" {
        println!(
            "{}",
            by_group("ordinary", &pooled(&Scanner::ordinary(), &Faults::ordinary(), 0..seeds, 0.02))
        );
    }
    if only.is_empty() || only == "poor" {
        println!("{}", by_group("poor", &pooled(&Scanner::poor(), &Faults::default(), 0..seeds, 0.02)));
    }
}

#[test]
#[ignore = "prints one seam"]
fn one_seam() {
    let wish = wishes(&[3.5], &[1.0]);
    let which = std::env::var("ONLY").unwrap_or_default();
    let (scanner, faults) = if which == "good" {
        (Scanner::good(), Faults::default())
    } else {
        (Scanner::ordinary(), Faults::ordinary())
    };
    for pair in run(&wish, scanned(scanner, faults, CURVE_OFF, 0), 0.01, None) {
        let edges = pair.reading.edges.map(|edge| {
            edge.map(|edge| (edge.hem_radius_mm, edge.arc_seen_rad.to_degrees(), edge.hem_radius_u_mm))
        });
        println!(
            "{:?} {:?} {edges:?} skins {:?}",
            pair.gap_error_mm(),
            pair.reading.gap.as_ref().err(),
            pair.reading.profile.skins.map(|skin| skin.map(|skin| (
                skin.from_u_mm,
                skin.to_u_mm,
                skin.coefficients
            )))
        );
    }
}
