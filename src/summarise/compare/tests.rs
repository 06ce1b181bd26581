//! Single steps of a comparison against figures worked out by hand; whole pairs are in `tests/it/recovery`.

use nalgebra::{Point3, Vector3};

use super::change_verdict::{chance_of_nothing, discovery_threshold};
use super::*;
use crate::judge::JudgedSeam;
use crate::measure::{Component, Estimate};
use crate::plan::{AlignTerms, DecisionRule, Panel, PanelId, Plan, ScanTerms};
use crate::summarise::test_seams::{judged, seam};
use crate::units::LengthUnit;

fn plan() -> Plan {
    let panel = |id: &str| Panel { id: PanelId(id.to_owned()), title: id.to_owned(), is_fixed: id != "hood" };
    Plan {
        title: "One seam".to_owned(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.03, smoothing_mm: None },
        panels: vec![panel("hood"), panel("fender-left")],
        seams: vec![seam()],
        align: AlignTerms::default(),
        car: None,
        finish: crate::plan::FinishTerms::default(),
        lineups: Vec::new(),
        decision: DecisionRule::default(),
        advice: crate::plan::AdviceTerms::default(),
    }
}

fn scan(gap: impl Fn(f64) -> Option<f64>) -> Vec<JudgedSeam> {
    vec![judged(&seam(), gap, |_| Some(0.0))]
}

#[test]
fn the_step_up_procedure_finds_what_its_authors_found() {
    // The example of Benjamini and Hochberg 1995, section 4 (15 p-values, from memory): four rejected at 0.05.
    let chances = [
        0.0344, 0.0001, 0.0004, 0.0019, 0.0201, 0.0278, 0.0298, 0.0095, 0.0459, 0.324, 0.4262, 0.5719,
        0.6528, 0.759, 1.0,
    ];
    let threshold = discovery_threshold(&chances, 0.05);
    assert_eq!(chances.iter().filter(|chance| **chance <= threshold).count(), 4);
    assert!(discovery_threshold(&[0.2, 0.9], 0.05) < 0.0);
    assert!(discovery_threshold(&[], 0.05) < 0.0);
}

#[test]
fn a_change_of_1_96_u_has_a_chance_of_5_percent() {
    let change = Estimate::from_components(-1.959_964, vec![stated(UncertaintySource::ScanNoise, 1.0)]);
    assert!((chance_of_nothing(&change) - 0.05).abs() < 1e-7);
}

fn stated(source: UncertaintySource, u_mm: f64) -> Component {
    Component { source, u_mm, degrees_of_freedom: f64::INFINITY }
}

fn with(added: Component) -> Vec<JudgedSeam> {
    let mut scan = scan(|_| Some(4.0));
    for station in &mut scan[0].stations {
        let mut components = station.reading.gap.clone().unwrap().components;
        components.push(added);
        station.reading.gap = Ok(Estimate::from_components(4.0, components));
    }
    scan
}

fn changes_u_mm(before: Component, after: Component) -> f64 {
    let found = compare(&plan(), &with(before), &with(after), &CompareSettings::default()).unwrap();
    found.seams[0].gap.stations[0].change.clone().unwrap().u_mm
}

#[test]
fn what_is_common_cancels_and_the_rest_adds() {
    let model = |u_mm: f64| stated(UncertaintySource::Model, u_mm);
    // Each scan: 0.03 noise and 0.04 accuracy; twice 0.05².
    assert!((changes_u_mm(model(0.3), model(0.3)) - 0.005_f64.sqrt()).abs() < 1e-12);
    // A model term of another size cancels only as far as both have it.
    assert!((changes_u_mm(model(0.3), model(0.5)) - (0.005_f64 + 0.16).sqrt()).abs() < 1e-12);
}

#[test]
fn smoothing_that_each_scan_told_by_itself_does_not_cancel_between_scans() {
    let stated = stated(UncertaintySource::Smoothing, 0.1);
    let told = Component { degrees_of_freedom: 23.0, ..stated };
    assert!((changes_u_mm(stated, stated) - 0.005_f64.sqrt()).abs() < 1e-12);
    assert!((changes_u_mm(told, told) - (0.005_f64 + 0.02).sqrt()).abs() < 1e-12);
    // The two sides of one scan have one smoothing.
    let sides = [&with(told)[0], &with(told)[0]];
    let found = changes::seam_change(&seam(), sides, ComparisonKind::LeftRight, &CompareSettings::default());
    let u_mm = found.gap.stations[0].change.clone().unwrap().u_mm;
    assert!((u_mm - 0.005_f64.sqrt()).abs() < 1e-12);
}

#[test]
fn verdicts_and_trends_say_what_happened() {
    let settings = CompareSettings::default();
    let wide = |along_mm: f64| Some(if along_mm < 500.0 { 4.8 } else { 4.0 });
    let better = compare(&plan(), &scan(wide), &scan(|_| Some(4.0)), &settings).unwrap();
    let gap = &better.seams[0].gap;
    assert_eq!((gap.verdict, gap.better_count, gap.worse_count), (ChangeVerdict::Real, 50, 0));
    assert_eq!(gap.stations[80].verdict, ChangeVerdict::NoChange);
    assert_eq!(better.seams[0].flush.verdict, ChangeVerdict::NoChange);
    let worse = compare(&plan(), &scan(|_| Some(4.0)), &scan(wide), &settings).unwrap();
    assert_eq!((worse.seams[0].gap.better_count, worse.seams[0].gap.worse_count), (0, 50));
    assert!(!worse.is_unchanged());
    let same = compare(&plan(), &scan(wide), &scan(wide), &settings).unwrap();
    assert!(same.is_unchanged() && same.moves.is_empty());
    assert_eq!(same.seams[0].gap.verdict, ChangeVerdict::NoChange);
}

#[test]
fn what_one_scan_does_not_show_is_unseen() {
    let hole = scan(|along_mm| (along_mm > 900.0).then_some(4.0));
    let found = compare(&plan(), &scan(|_| Some(4.0)), &hole, &CompareSettings::default()).unwrap();
    assert_eq!(found.seams[0].gap.stations[0].verdict, ChangeVerdict::Unseen);
    assert!(found.seams[0].gap.stations[0].change.is_none());
    let blind = scan(|_| None);
    let found = compare(&plan(), &blind, &blind, &CompareSettings::default()).unwrap();
    assert_eq!(found.seams[0].gap.verdict, ChangeVerdict::Unseen);
}

/// Rows of `seams` straight seams, `count` stations 15 mm apart each, gaps only.
fn straight_rows(seams: usize, count: usize, change_mm: impl Fn(usize, usize) -> f64) -> Vec<FitRow> {
    (0..seams)
        .flat_map(|group| (0..count).map(move |station| (group, station)))
        .map(|(group, station)| {
            let along_mm = 15.0 * station as f64;
            let place = Point3::new(along_mm, 500.0 * group as f64, 0.0);
            FitRow {
                group,
                kind: 0,
                along_mm,
                change_mm: change_mm(group, station),
                local_u_mm: 0.02,
                common_u_mm: 0.02,
                direction: Vector3::z(),
                ends: [(0, place), (1, place)],
            }
        })
        .collect()
}

const EXPECTED: ExpectedErrors = ExpectedErrors {
    shape_mm2: 0.0,
    wave_length_mm: 120.0,
    log_sd: [0.5, 2.0, 0.0, 0.5, 0.7],
    is_by_group: false,
};

#[test]
fn the_information_of_a_wave_is_the_inverse_of_its_covariance() {
    let rows = straight_rows(1, 41, |_, _| 0.0);
    let model = error_model::ErrorModel::stated(&rows, &EXPECTED);
    let (information, log_determinant) = model.groups[0].prior(&model.sizes[0]);
    let covariance = information.clone().try_inverse().unwrap();
    // Odds of one: half of 0.02² is constant, half of it a wave; 600 mm make 15 spans of 40 mm. Shape, of which none is
    // expected, is kept at the least variance of a part and adds to the wave.
    let (constant_mm2, wave_mm2) = (2e-4, 2e-4 + 1e-8);
    assert_eq!(covariance.nrows(), 17);
    assert!((covariance[(0, 0)] - constant_mm2).abs() < 1e-12);
    for lag in 0..16 {
        let expected = wave_mm2 * (-40.0 * lag as f64 / 120.0_f64).exp();
        let found = covariance[(1, 1 + lag)];
        // Twelve digits are left of sixteen after an inverse with a condition of some hundreds.
        assert!((found - expected).abs() < 1e-12, "{lag}: {found} for {expected}");
    }
    let factor = information.cholesky().unwrap();
    let direct: f64 = factor.l().diagonal().iter().map(|entry| 2.0 * entry.ln()).sum();
    assert!((direct - log_determinant).abs() < 1e-8, "{direct} for {log_determinant}");
}

#[test]
fn errors_are_learnt_as_large_as_they_were_made() {
    use rand::{Rng, SeedableRng};
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(4);
    let mut draw = |u: f64| {
        // Twelve uniforms less six: variance one.
        u * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0)
    };
    let (wave_u, length_mm, local_u) = (0.03, 120.0_f64, 0.04);
    let likeness = (-15.0 / length_mm).exp();
    let mut changes = Vec::new();
    for _ in 0..30 {
        let constant = draw(0.01);
        let mut wave = draw(wave_u);
        let along: Vec<f64> = (0..60)
            .map(|_| {
                wave = likeness * wave + draw(wave_u * (1.0 - likeness * likeness).sqrt());
                constant + wave + draw(local_u)
            })
            .collect();
        changes.push(along);
    }
    let rows = straight_rows(30, 60, |group, station| changes[group][station]);
    let model = learn_errors(&rows, &[], &EXPECTED);
    let learnt = &model.sizes[0];
    // Stated were 0.02 each. For a row's own error 0.04 is made (a factor 4), and it takes on what straight lines between nodes
    // lose of the wave; for what is common 0.0316 (a factor 2.5).
    let lost = wave_u.powi(2) * lost_between_nodes(885.0 / 23.0 / length_mm) / 4e-4;
    let (own, common) = (learnt.local_factor(), learnt.logs[0].exp() / 4e-4);
    // 1800 rows tell a variance to a thirtieth (two of these here); the search ends with steps of 0.1 in the logarithm.
    let off = (own / (4.0 + lost)).ln().abs();
    assert!(off < 0.05 + 2.0 / 30.0, "{own} for {}", 4.0 + lost);
    // 30 seams of some six independent lengths each: a variance to a tenth, pulled a little to what was stated.
    assert!((1.8..3.2).contains(&common), "{common}");
}

/// Mean variance of what a straight line between two nodes misses of a wave of variance one, whose correlation falls off as
/// exp(−d); the nodes are `span` apart. Worked out from the three covariances, by the midpoint rule.
fn lost_between_nodes(span: f64) -> f64 {
    let missed = |share: f64| {
        let rest = 1.0 - share;
        let [to_first, to_second, across] = [share, rest, 1.0].map(|part| (-part * span).exp());
        1.0 + rest * rest + share * share - 2.0 * rest * to_first - 2.0 * share * to_second
            + 2.0 * share * rest * across
    };
    (0..100).map(|number| missed((f64::from(number) + 0.5) / 100.0)).sum::<f64>() / 100.0
}

#[test]
fn few_degrees_of_freedom_widen_as_the_guide_tabulates() {
    // JCGM 100:2008, table G.2, column 95.45 %: degrees of freedom 4, 10 and 20.
    for (freedom, tabled) in [(4.0, 2.87), (10.0, 2.28), (20.0, 2.13)] {
        let widening = move_fit::widened(1.0, 2.0 / freedom);
        // The table has two decimals.
        assert!((2.0 * widening - tabled).abs() < 0.006, "{freedom}: {widening}");
    }
    assert!((move_fit::widened(1.0, 0.0) - 1.0).abs() < 1e-12);
}
