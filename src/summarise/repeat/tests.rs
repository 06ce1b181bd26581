//! Studies of made-up scans whose causes of scatter are known.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;
use crate::judge::Verdict;
use crate::summarise::reading_rows::RowValue;
use crate::summarise::test_seams;

/// Standard deviations of the causes, mm.
const CAR: f64 = 0.20;
const OPERATOR: f64 = 0.06;
const COMMON: f64 = 0.020;
const LOCAL: f64 = 0.023;
const STATIONS: usize = 40;

struct Draw {
    random: ChaCha8Rng,
}

impl Draw {
    fn normal(&mut self, sigma: f64) -> f64 {
        Normal::new(0.0, sigma).unwrap().sample(&mut self.random)
    }
}

fn scan(car: usize, operator: usize, repetition: usize, gaps: &[f64]) -> RepeatScan {
    let labels = ScanLabels {
        car: car.to_string(),
        operator: operator.to_string(),
        repetition: repetition.to_string(),
    };
    let rows = gaps
        .iter()
        .enumerate()
        .map(|(station, gap)| ReadingRow {
            seam: "hood-fender-left".to_owned(),
            station,
            gap: RowValue { value_mm: Some(*gap), verdict: Verdict::Good },
            flush: RowValue { value_mm: None, verdict: Verdict::Unseen },
        })
        .collect();
    RepeatScan { labels, rows }
}

fn scans(seed: u64, cars: usize, operators: usize, repetitions: usize) -> Vec<RepeatScan> {
    let mut draw = Draw { random: ChaCha8Rng::seed_from_u64(seed) };
    let car_offsets: Vec<Vec<f64>> =
        (0..cars).map(|_| (0..STATIONS).map(|_| draw.normal(CAR)).collect()).collect();
    let operator_offsets: Vec<Vec<f64>> =
        (0..operators).map(|_| (0..STATIONS).map(|_| draw.normal(OPERATOR)).collect()).collect();
    let mut made = Vec::new();
    for (car, car_offset) in car_offsets.iter().enumerate() {
        for (operator, operator_offset) in operator_offsets.iter().enumerate() {
            for repetition in 0..repetitions {
                let common = draw.normal(COMMON);
                let gaps: Vec<f64> = (0..STATIONS)
                    .map(|at| 4.0 + car_offset[at] + operator_offset[at] + common + draw.normal(LOCAL))
                    .collect();
                made.push(scan(car, operator, repetition, &gaps));
            }
        }
    }
    made
}

fn study(scans: &[RepeatScan]) -> Result<RepeatStudy, RepeatError> {
    study_repeats(&[test_seams::seam()], scans)
}

#[test]
fn the_causes_of_scatter_come_back() {
    let seeds = 20;
    let (mut repeatability, mut common, mut operator, mut part) = (0.0, 0.0, 0.0, 0.0);
    for seed in 0..seeds {
        let found = study(&scans(seed, 5, 3, 4)).unwrap();
        assert_eq!(found.layout, [5, 3, 4]);
        let gap = &found.overall[0];
        assert_eq!((found.overall.len(), gap.stations_used, gap.stations_left_out), (1, STATIONS, 0));
        let share = 1.0 / seeds as f64;
        repeatability += gap.by_variance.repeatability.powi(2) * share;
        common += found.accuracy_mm().unwrap().powi(2) * share;
        operator += gap.by_variance.reproducibility.unwrap().powi(2) * share;
        part += gap.by_variance.part.unwrap().powi(2) * share;
    }
    // 20 seeds × 45 scans beyond their cells: a standard deviation is known to 1/sqrt(2 × 900) = 2.4 %; three of them.
    let close = |what: &str, variance: f64, sigma: f64, allowed: f64| {
        assert!((variance.sqrt() / sigma - 1.0).abs() < allowed, "{what}: {} for {sigma}", variance.sqrt());
    };
    close("repeatability", repeatability, COMMON.hypot(LOCAL), 0.07);
    close("common", common, COMMON, 0.07);
    // 20 × 40 stations × 2 and × 4 degrees of freedom: 1.8 % and 1.2 %; three of them.
    close("operator", operator, OPERATOR, 0.055);
    close("part", part, CAR, 0.04);
}

#[test]
fn one_car_and_one_operator_give_repeatability_alone() {
    let found = study(&scans(3, 1, 1, 6)).unwrap();
    let gauge = &found.overall[0].by_variance;
    assert_eq!((gauge.reproducibility, gauge.part, gauge.total()), (None, None, None));
    assert!(gauge.repeatability > 0.0 && found.overall[0].by_range.repeatability > 0.0);
}

#[test]
fn many_cars_are_charted_and_their_capability_given() {
    let found = study(&scans(4, 6, 1, 2)).unwrap();
    let gap = &found.seams[0].studies[0];
    assert_eq!(gap.chart.as_ref().unwrap().levels.len(), 6);
    assert!(gap.capability.unwrap().cp > 0.0);
    assert_eq!(gap.tolerance_width_mm, Some(1.0));
}

#[test]
fn a_station_missing_in_one_scan_is_left_out_and_counted() {
    let mut made = scans(5, 2, 1, 3);
    made[4].rows[7].gap.value_mm = None;
    let found = study(&made).unwrap();
    assert_eq!((found.overall[0].stations_used, found.overall[0].stations_left_out), (STATIONS - 1, 1));
}

#[test]
fn what_cannot_be_studied_is_said() {
    assert_eq!(study(&[]), Err(RepeatError::NoScans));
    assert_eq!(study(&scans(1, 3, 2, 1)), Err(RepeatError::NothingRepeated));
    let mut uneven = scans(1, 2, 2, 3);
    uneven.pop();
    assert!(matches!(study(&uneven), Err(RepeatError::Uneven { found: 2, expected: 3, .. })));
    let mut twice = scans(1, 1, 1, 2);
    twice[1].labels = twice[0].labels.clone();
    assert!(matches!(study(&twice), Err(RepeatError::SameLabels { .. })));
    let mut strange = scans(1, 1, 1, 2);
    for row in strange.iter_mut().flat_map(|scan| &mut scan.rows) {
        row.seam = "not-in-the-plan".to_owned();
    }
    assert_eq!(study(&strange), Err(RepeatError::NoCommonStation));
}
