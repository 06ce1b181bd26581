//! Summaries of made-up seams against what a person would say of them.

use super::*;
use crate::measure::{Reason, UncertaintySource};
use crate::summarise::taper::fit_slope;
use crate::summarise::test_seams::{judged, seam};

fn summary(gap: impl Fn(f64) -> Option<f64>, flush: impl Fn(f64) -> Option<f64>) -> SeamSummary {
    let seam = seam();
    summarise_seam(&seam, &judged(&seam, gap, flush), &DecisionRule::default())
}

#[test]
fn a_good_seam_is_good() {
    let found = summary(|_| Some(4.1), |_| Some(0.0));
    assert!(found.is_all_good());
    assert_eq!(found.verdict(), Verdict::Good);
    assert_eq!((found.station_count, found.gap.counts.good), (101, 101));
    assert!(found.gap.runs.is_empty());
    assert_eq!(found.gap.range_mm(), Some(0.0));
}

#[test]
fn a_run_out_of_tolerance_is_found_with_its_worst_place() {
    // Wide by a triangle that peaks at 400 mm, and a hole in the scan at 700 mm.
    let gap = |along_mm: f64| {
        if along_mm == 700.0 { None } else { Some(4.0 + (1.2 - (along_mm - 400.0).abs() / 100.0).max(0.0)) }
    };
    let found = summary(gap, |_| Some(0.0));
    // Proved wide where 4 + x > 4.5 + U; U = k 0.05, and the dof of 10·(0.05/0.03)^4 = 77 make k 2.03: x > 0.602.
    assert_eq!(found.gap.runs.len(), 1);
    let run = &found.gap.runs[0];
    assert_eq!((run.from_mm, run.to_mm, run.station_count), (350.0, 450.0, 11));
    assert_eq!((run.verdict, run.worst.along_mm), (Verdict::Wide, 400.0));
    assert!((run.worst.beyond_mm - 0.7).abs() < 1e-12);
    assert_eq!(found.gap.reasons, vec![(Reason::EdgeNotSeen, 1)]);
    assert_eq!(found.gap.worst.len(), 3);
    assert_eq!(found.gap.worst[0].along_mm, 400.0);
    assert_eq!((found.gap.counts.above, found.gap.counts.unseen), (11, 1));
    assert_eq!(found.verdict(), Verdict::Wide);
    assert!(!found.is_all_good());
}

#[test]
fn an_unseen_station_ends_a_run() {
    let found = summary(|_| Some(4.0), |along_mm| (along_mm != 500.0).then_some(-1.0));
    let spans: Vec<(f64, f64)> = found.flush.runs.iter().map(|run| (run.from_mm, run.to_mm)).collect();
    assert_eq!(spans, vec![(0.0, 490.0), (510.0, 1000.0)]);
    assert_eq!(found.verdict(), Verdict::Low);
}

#[test]
fn a_seam_nobody_saw_is_unseen_and_not_good() {
    let found = summary(|_| None, |_| None);
    assert_eq!(found.verdict(), Verdict::Unseen);
    assert!(!found.is_all_good());
    assert!(found.gap.mean.is_none() && found.gap.budget.is_none() && found.gap.least.is_none());
    assert_eq!(found.taper_verdict, Some(Verdict::Unseen));
}

#[test]
fn the_means_uncertainty_keeps_what_is_common() {
    let found = summary(|_| Some(4.1), |_| Some(0.0));
    let mean = found.gap.mean.unwrap();
    assert!((mean.value_mm - 4.1).abs() < 1e-12);
    // 0.04 common; 0.03 / sqrt(101) averaged.
    assert!((mean.u_mm - (0.04_f64.powi(2) + 0.03_f64.powi(2) / 101.0).sqrt()).abs() < 1e-12);
}

#[test]
fn the_budget_adds_up() {
    let budget = summary(|_| Some(4.1), |_| Some(0.0)).gap.budget.unwrap();
    assert!((budget.u_mm - 0.05).abs() < 1e-12);
    assert_eq!(budget.lines[0].source, UncertaintySource::ScanNoise);
    assert!((budget.lines[0].share - 0.36).abs() < 1e-12);
    assert!((budget.lines.iter().map(|line| line.share).sum::<f64>() - 1.0).abs() < 1e-12);
    // Welch–Satterthwaite: 0.05^4 / (0.03^4 / 10).
    assert!((budget.degrees_of_freedom - 10.0 * (5.0_f64 / 3.0).powi(4)).abs() < 1e-9);
    assert!((budget.expanded_mm - budget.k * budget.u_mm).abs() < 1e-15 && budget.k > 2.0);
}

#[test]
fn a_taper_is_found_and_judged() {
    // Runs out by 0.9 mm over the 300 mm from 500 on, and is even elsewhere.
    let gap = |along_mm: f64| Some(3.7 + 0.9 * ((along_mm - 500.0) / 300.0).clamp(0.0, 1.0));
    let found = summary(gap, |_| Some(0.0));
    let taper = found.taper.clone().unwrap();
    assert_eq!((taper.from_mm, taper.to_mm, taper.verdict), (500.0, 800.0, Verdict::Wide));
    assert!((taper.change.value_mm - 0.9).abs() < 1e-9);
    // Slope of 31 stations 10 mm apart, u 0.03: u = 0.03 / (10 sqrt(31 (31² - 1) / 12)) per mm (closed form).
    let expected_u_mm = 300.0 * 0.03 / (10.0 * (31.0_f64 * 960.0 / 12.0).sqrt());
    assert!((taper.change.u_mm - expected_u_mm).abs() < 1e-12);
    assert_eq!(found.taper_verdict, Some(Verdict::Wide));
    // The other direction is as bad, and half the change is good.
    let backwards = summary(|along_mm| gap(1000.0 - along_mm), |_| Some(0.0));
    assert_eq!(backwards.taper_verdict, Some(Verdict::Wide));
    assert!((backwards.taper.unwrap().change.value_mm + 0.9).abs() < 1e-9);
    let half = summary(|along_mm| Some(4.0 + (gap(along_mm).unwrap() - 4.0) / 2.0), |_| Some(0.0));
    assert_eq!(half.taper_verdict, Some(Verdict::Good));
}

#[test]
fn the_straight_line_is_that_of_the_gum() {
    // JCGM 100:2008, H.3, thermometer calibration (table H.6: temperatures, corrections; from the published example).
    // Published: slope 0.00218(67), s = 0.0035; recomputed slope 0.0021827, u 0.0006679, s 0.003498.
    let corrections = [
        (21.521, -0.171),
        (22.012, -0.169),
        (22.512, -0.166),
        (23.003, -0.159),
        (23.507, -0.164),
        (23.999, -0.165),
        (24.513, -0.156),
        (25.002, -0.157),
        (25.503, -0.159),
        (26.010, -0.161),
        (26.511, -0.160),
    ];
    // With u far below the scatter, the scatter gives the slope's uncertainty.
    let points: Vec<(f64, f64, f64)> = corrections.iter().map(|(x, y)| (*x, *y, 1e-4)).collect();
    let line = fit_slope(&points).unwrap();
    assert!((line.slope - 0.002_182_7).abs() < 5e-8, "{line:?}");
    assert!((line.u - 0.000_667_9).abs() < 5e-8, "{line:?}");
    assert_eq!(line.degrees_of_freedom, 9.0);
}
