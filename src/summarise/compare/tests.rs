//! Single steps of a comparison against figures worked out by hand; whole pairs are in `tests/it/recovery`.

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

#[test]
fn what_is_common_cancels_and_the_rest_adds() {
    let with_model = |model_u_mm: f64| {
        let mut scan = scan(|_| Some(4.0));
        for station in &mut scan[0].stations {
            let mut components = station.reading.gap.clone().unwrap().components;
            components.push(stated(UncertaintySource::Model, model_u_mm));
            station.reading.gap = Ok(Estimate::from_components(4.0, components));
        }
        scan
    };
    let settings = CompareSettings::default();
    let u_mm = |after: &[JudgedSeam]| {
        let found = compare(&plan(), &with_model(0.3), after, &settings).unwrap();
        found.seams[0].gap.stations[0].change.clone().unwrap().u_mm
    };
    // Each scan: 0.03 noise and 0.04 accuracy; twice 0.05².
    assert!((u_mm(&with_model(0.3)) - 0.005_f64.sqrt()).abs() < 1e-12);
    // A model term of another size cancels only as far as both have it.
    assert!((u_mm(&with_model(0.5)) - (0.005_f64 + 0.16).sqrt()).abs() < 1e-12);
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
