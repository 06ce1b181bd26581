//! Before/after pairs as the program sees them: rehearsed scans of a small front end, measured and compared.
//!
//! The hood's move is put into the rehearsal as the gap and flush that it makes along every seam; the truth of a change
//! is the difference of those. The scanner is the ordinary one of the accuracy budgets, without stickers and strays.

use nalgebra::Isometry3;
use shutline::judge::JudgedSeam;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{Plan, Station};
use shutline::rehearse::{Along, Rehearsal, Scanner, SeamShape, rehearse};
use shutline::scan::VecSource;
use shutline::summarise::{CompareSettings, Comparison, compare};

use super::compare_pairs::{Tally, hold_budgets, random_move, sized_front_end, truth_mm};
use super::kept_readings::kept;

/// Seams of 300 mm: some 80 stations in all.
fn plan() -> Plan {
    sized_front_end(&["fender-left", "fender-right", "cowl", "nose"], 0.25)
}

fn scan(plan: &Plan, hood: &Isometry3<f64>, seed: u64) -> Vec<JudgedSeam> {
    let mut settings = Rehearsal { seed, scanner: Scanner::ordinary(), ..Rehearsal::default() };
    for seam in &plan.seams {
        let knots = |kind: usize| {
            let count = (seam.curve.length_mm() / 10.0).ceil() as usize;
            let values: Vec<(f64, f64)> = (0..=count)
                .map(|index| {
                    let along_mm = seam.curve.length_mm() * index as f64 / count as f64;
                    let frame = seam.station_frame(&Station { index, along_mm });
                    (along_mm, truth_mm(seam, &frame, hood)[kind])
                })
                .collect();
            Some(Along::lines(&values))
        };
        let shape = SeamShape { gap_mm: knots(0), flush_mm: knots(1), ..SeamShape::default() };
        settings.seams.insert(seam.id.0.clone(), shape);
    }
    kept(plan, &format!("{settings:?}"), || {
        let rehearsed = rehearse(plan, &settings).unwrap();
        let source = VecSource::from_points(&rehearsed.points, rehearsed.normals);
        measure_scan(&source, plan, None, &Unwatched).unwrap().seams
    })
}

fn pair(plan: &Plan, hood: &Isometry3<f64>, seed: u64) -> Comparison {
    let before = scan(plan, &Isometry3::identity(), 2 * seed);
    let after = scan(plan, hood, 2 * seed + 1);
    compare(plan, &before, &after, &CompareSettings::default()).unwrap()
}

fn study(seeds: std::ops::Range<u64>) -> (Tally, Tally) {
    let plan = plan();
    let (mut moved, mut still) = (Tally::default(), Tally::default());
    for seed in seeds {
        // Coarse and middle moves by turns; the finest of `random_move` are below what this scanner shows.
        let hood = random_move(3 * seed + seed % 2);
        moved.add(&plan, &hood, &pair(&plan, &hood, 100 + 2 * seed));
        still.add(&plan, &Isometry3::identity(), &pair(&plan, &Isometry3::identity(), 101 + 2 * seed));
        if seed % 10 == 9 {
            println!("{} pairs of each kind\nmoved {moved:?}\nstill {still:?}", moved.pairs);
        }
    }
    (moved, still)
}

#[test]
fn rehearsed_changes_are_real_and_unchanged_seams_are_not() {
    let (moved, still) = study(0..2);
    println!("moved {moved:?}\nstill {still:?}");
    assert!(moved.large > 100 && Tally::share(moved.large_real, moved.large) >= 0.95, "{moved:?}");
    assert!(Tally::share(still.real, still.stations) <= 0.05, "{still:?}");
    assert_eq!(moved.right_panel, moved.pairs, "{moved:?}");
    // Twelve parameters at 95 %: fewer than eight inside has a chance below 1 in 10,000.
    assert!(moved.covered >= 8, "{moved:?}");
}

#[test]
#[ignore = "500 rehearsed pairs, measured: an hour or more; PAIRS=100 for a first look; prints both tallies"]
fn rehearsed_changes_hold_the_budgets_over_500_pairs() {
    // Half of the pairs with a move, half without; fewer for a first look.
    let half =
        std::env::var("PAIRS").ok().and_then(|text| text.parse().ok()).map_or(250, |pairs: u64| pairs / 2);
    // Seeds that nothing was tuned on.
    let (moved, still) = study(20_000..20_000 + half);
    hold_budgets(&moved, &still);
}

#[test]
#[ignore = "prints the tallies over the pairs that methods were chosen on; PAIRS=30"]
fn rehearsed_changes_on_the_seeds_of_choice() {
    let count = std::env::var("PAIRS").ok().and_then(|text| text.parse().ok()).unwrap_or(10);
    let (moved, still) = study(0..count);
    println!("moved {moved:?}\nstill {still:?}");
}

#[test]
#[ignore = "prints how far changes of unmoved seams stray, and how alike neighbours err"]
fn rehearsed_changes_diagnosed() {
    let plan = plan();
    let count = std::env::var("PAIRS").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    for seed in 0..count {
        let before = scan(&plan, &Isometry3::identity(), 9000 + 2 * seed);
        let after = scan(&plan, &Isometry3::identity(), 9001 + 2 * seed);
        let found = compare(&plan, &before, &after, &CompareSettings::default()).unwrap();
        for seam in &found.seams {
            for measurand in shutline::judge::Measurand::BOTH {
                let change = seam.measurand(measurand);
                let values: Vec<String> = change
                    .stations
                    .iter()
                    .filter_map(|station| station.change.as_ref())
                    .map(|estimate| {
                        let part = |source| {
                            estimate
                                .components
                                .iter()
                                .filter(|one| one.source == source)
                                .map(|one| one.u_mm.powi(2))
                                .sum::<f64>()
                                .sqrt()
                        };
                        let parts: Vec<String> = shutline::measure::UncertaintySource::ALL
                            .iter()
                            .map(|one| format!("{:.4}", part(*one)))
                            .collect();
                        format!("{:.4}:{}", estimate.value_mm, parts.join("/"))
                    })
                    .collect();
                println!("D {seed} {} {} {}", seam.seam, measurand.word(), values.join(" "));
            }
        }
    }
}
