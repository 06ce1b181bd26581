//! Creases and rows of bars across rehearsed seams: step, shift, pitch and evenness against their truth by construction.
//!
//! Seeds 0 to 4 were looked at while the measuring was written; the tests use others.

use shutline::geometry::Curve;
use shutline::lineup::{FeatureReading, LineupReading, LineupReason, measure_lineup};
use shutline::measure::{Estimate, MeasureSettings, measure_seam};
use shutline::plan::{BarRow, Lineup, LineupKind, Plan, Side, Tolerance};
use shutline::rehearse::{
    CrossFeature, CrossShape, CurveErrorShape, Faults, LineupTruth, Rehearsal, Scanner, lineup_truth,
    rehearse, true_curves,
};
use shutline::scan::VecSource;

use super::trial::{Wish, gather, plan_of, shaped};

const CURVE_OFF: CurveErrorShape = CurveErrorShape { shift_mm: 2.0, tilt_deg: 1.0 };
const ACCURACY_MM: f64 = 0.01;

fn lineup(seam: &str, at_mm: f64, kind: LineupKind) -> Lineup {
    Lineup {
        id: format!("line-{seam}"),
        title: String::new(),
        seam: shutline::plan::SeamId(seam.to_owned()),
        at_mm,
        kind,
        width_mm: 0.0,
        rounded_mm: 4.0,
        search_mm: 15.0,
        step: None,
        shift: None,
        bars: None,
        mirror: None,
    }
}

/// Four seams, each with a crease of its own turn, slope and shift; the plan's `at` is off by up to 4 mm.
fn creases() -> Vec<(Wish, CrossFeature, f64)> {
    let cases =
        [(8.0, 0.0, 0.4, 2.0), (-15.0, 0.2, -0.7, -4.0), (25.0, -0.15, 0.0, 3.0), (5.0, 0.05, 1.2, 0.0)];
    cases
        .iter()
        .enumerate()
        .map(|(index, (turn_deg, slope, shift_mm, off_mm))| {
            let wish = Wish {
                gap_mm: [3.0, 4.0, 5.0, 6.0][index],
                radii_mm: [[1.5, 2.5], [2.0, 1.0], [3.0, 2.0], [1.0, 3.0]][index],
                flush_mm: [0.3, -0.5, 0.0, 0.8][index],
                datum_side: if index % 2 == 0 { Side::Left } else { Side::Right },
            };
            let shape = CrossShape::Crease { turn_deg: *turn_deg, rounded_mm: 2.0 };
            let feature = CrossFeature {
                at_mm: 150.0,
                slope: *slope,
                shift_mm: *shift_mm,
                pitch_mm: [0.0, 0.0],
                count: 1,
                shape,
            };
            (wish, feature, *off_mm)
        })
        .collect()
}

/// Two seams with a row of five bars and one of grooves.
fn rows() -> Vec<(Wish, CrossFeature, f64)> {
    let cases = [(1.5, [18.0, 18.2], 0.3), (-2.0, [20.0, 20.0], -0.5)];
    cases
        .iter()
        .enumerate()
        .map(|(index, (height_mm, pitch_mm, shift_mm))| {
            let wish = Wish {
                gap_mm: [3.5, 5.0][index],
                radii_mm: [[1.5, 2.0], [2.5, 1.5]][index],
                flush_mm: [0.2, -0.4][index],
                datum_side: if index == 0 { Side::Left } else { Side::Right },
            };
            let shape = CrossShape::Bars {
                height_mm: *height_mm,
                width_mm: 8.0,
                flank_mm: 2.5,
                off_mm: vec![0.0, 0.1, -0.1, 0.4, 0.0],
            };
            let feature = CrossFeature {
                at_mm: 100.0,
                slope: 0.05,
                shift_mm: *shift_mm,
                pitch_mm: *pitch_mm,
                count: 5,
                shape,
            };
            (wish, feature, 1.0)
        })
        .collect()
}

fn lineup_of(plan: &Plan, index: usize, feature: &CrossFeature, off_mm: f64) -> Lineup {
    let seam = &plan.seams[index].id.0;
    let at_mm = feature.at_mm + off_mm;
    match &feature.shape {
        CrossShape::Crease { .. } => lineup(seam, at_mm, LineupKind::Crease),
        CrossShape::Bars { height_mm, width_mm, .. } => {
            let kind = if *height_mm > 0.0 { LineupKind::Bar } else { LineupKind::Groove };
            let pitch = Tolerance { nominal_mm: feature.pitch_mm[0], minus_mm: 0.5, plus_mm: 0.5 };
            Lineup {
                width_mm: *width_mm,
                search_mm: 0.45 * feature.pitch_mm[0],
                bars: Some(BarRow { count: feature.count, pitch, evenness_mm: None }),
                ..lineup(seam, at_mm, kind)
            }
        }
    }
}

/// A rehearsed scan of these features and what was measured on it, with the truth.
fn run(
    cases: &[(Wish, CrossFeature, f64)],
    rehearsal: Rehearsal,
    keep: impl Fn(&nalgebra::Point3<f64>) -> bool,
) -> Vec<(LineupReading, Vec<LineupTruth>, Curve)> {
    let wishes: Vec<Wish> = cases.iter().map(|case| case.0).collect();
    let plan = plan_of(&wishes, ACCURACY_MM, None);
    let mut settings = shaped(&plan, &wishes, rehearsal);
    for (index, (_, feature, _)) in cases.iter().enumerate() {
        settings.seams.get_mut(&plan.seams[index].id.0).unwrap().features = vec![feature.clone()];
    }
    let scan = rehearse(&plan, &settings).unwrap();
    let points: Vec<nalgebra::Point3<f64>> = scan.points.into_iter().filter(|point| keep(point)).collect();
    let curves = true_curves(&plan, &settings).unwrap();
    let gathered = gather(&plan, &VecSource::from_points(&points, None));
    let measure = MeasureSettings::for_plan(&plan);
    cases
        .iter()
        .enumerate()
        .map(|(index, (_, feature, off_mm))| {
            let (seam, band) = (&plan.seams[index], &gathered.bands[index]);
            let readings = measure_seam(seam, band, &measure);
            let lineup = lineup_of(&plan, index, feature, *off_mm);
            let reading = measure_lineup(&lineup, seam, band, &readings, ACCURACY_MM);
            (reading, lineup_truth(seam, settings.shape_of(&seam.id.0)), curves[index].clone())
        })
        .collect()
}

/// Errors of one quantity with their standard uncertainties, mm.
#[derive(Default)]
struct Errors(Vec<(f64, f64)>);

impl Errors {
    fn note(&mut self, found: &Estimate, truth_mm: f64) {
        self.0.push((found.value_mm - truth_mm, found.u_mm));
    }

    fn bias_mm(&self) -> f64 {
        self.0.iter().map(|(error, _)| error).sum::<f64>() / self.0.len() as f64
    }

    fn rms_mm(&self) -> f64 {
        (self.0.iter().map(|(error, _)| error * error).sum::<f64>() / self.0.len() as f64).sqrt()
    }

    fn largest_mm(&self) -> f64 {
        self.0.iter().map(|(error, _)| error.abs()).fold(0.0, f64::max)
    }

    /// Share inside ± 2 u.
    fn covered(&self) -> f64 {
        self.0.iter().filter(|(error, u)| error.abs() <= 2.0 * u).count() as f64 / self.0.len() as f64
    }

    fn text(&self, name: &str) -> String {
        format!(
            "{name}: {} values, bias {:+.4}, rms {:.4}, largest {:.4}, covered {:.1} %",
            self.0.len(),
            self.bias_mm(),
            self.rms_mm(),
            self.largest_mm(),
            100.0 * self.covered()
        )
    }
}

/// Step, shift, pitch and unseen features.
#[derive(Default)]
struct Found {
    step: Errors,
    shift: Errors,
    pitch: Errors,
    unseen: usize,
    reasons: Vec<String>,
}

fn found(
    cases: &[(Wish, CrossFeature, f64)],
    scanner: &Scanner,
    faults: &Faults,
    seeds: std::ops::Range<u64>,
) -> Found {
    let mut found = Found::default();
    for seed in seeds {
        let rehearsal = Rehearsal {
            seed,
            scanner: scanner.clone(),
            faults: faults.clone(),
            curve_error: CURVE_OFF,
            ..Rehearsal::default()
        };
        for (index, (reading, truth, curve)) in run(cases, rehearsal, |_| true).into_iter().enumerate() {
            for (feature, truth) in reading.features.iter().zip(&truth) {
                note(&mut found, feature, truth);
            }
            let Some(row) = &reading.row else { continue };
            for side in 0..2 {
                if let Ok(pitch) = &row.pitch[side] {
                    let (wish, feature, _) = &cases[index];
                    let CrossShape::Bars { height_mm, .. } = &feature.shape else { continue };
                    let height_mm = height_mm + if side == 1 { wish.flush_mm } else { 0.0 };
                    found.pitch.note(pitch, true_pitch_mm(&curve, feature, height_mm, side));
                }
            }
        }
    }
    found
}

/// Slope of the true places in space against their numbers, across the bars: where each bar's top meets mid-gap on the true
/// curve, added up from bar to bar.
fn true_pitch_mm(curve: &Curve, feature: &CrossFeature, height_mm: f64, side: usize) -> f64 {
    let place = |index: usize| {
        let frame = curve.frame_at(feature.line_mm(side, index));
        frame.origin + frame.outward * height_mm
    };
    let mut places_mm = vec![0.0];
    for index in 1..feature.count {
        places_mm.push(places_mm[index - 1] + (place(index) - place(index - 1)).norm());
    }
    let middle = (feature.count as f64 - 1.0) / 2.0;
    let numbers = || (0..feature.count).map(|index| index as f64 - middle);
    let product: f64 = numbers().zip(&places_mm).map(|(number, place_mm)| number * place_mm).sum();
    product / numbers().map(|number| number * number).sum::<f64>() * feature.slope.atan().cos()
}

fn note(found: &mut Found, feature: &FeatureReading, truth: &LineupTruth) {
    match (&feature.step, &feature.shift) {
        (Ok(step), Ok(shift)) => {
            if std::env::var_os("EACH").is_some() {
                println!(
                    "    {} {}: step {:+.4} u {:.4}, shift {:+.4} u {:.4}",
                    truth.seam,
                    truth.index,
                    step.value_mm - truth.step_mm,
                    step.u_mm,
                    shift.value_mm - truth.shift_mm,
                    shift.u_mm
                );
            }
            found.step.note(step, truth.step_mm);
            found.shift.note(shift, truth.shift_mm);
        }
        (Err(reason), _) | (_, Err(reason)) => {
            found.unseen += 1;
            found.reasons.push(format!("{} {}: {}", truth.seam, truth.index, reason.token()));
        }
    }
}

fn show(name: &str, found: &Found) -> String {
    let mut text = format!("{name}: {} unseen {:?}\n", found.unseen, found.reasons);
    for (name, errors) in [("step", &found.step), ("shift", &found.shift), ("pitch", &found.pitch)] {
        if !errors.0.is_empty() {
            text.push_str(&format!("  {}\n", errors.text(name)));
        }
    }
    text
}

#[test]
#[ignore = "a table by scanner class: minutes"]
fn table_of_lineups() {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    let first = number("FIRST_SEED").unwrap_or(0);
    let seeds = first..first + number("SEEDS").unwrap_or(5);
    let clean = Scanner { spacing_mm: 0.3, ..Scanner::default() };
    let classes = [
        ("no noise", clean, Faults::default()),
        ("good", Scanner::good(), Faults::default()),
        ("ordinary", Scanner::ordinary(), Faults::ordinary()),
        ("poor", Scanner::poor(), Faults::default()),
    ];
    for (name, scanner, faults) in classes {
        let seeds = if name == "no noise" { first..first + 1 } else { seeds.clone() };
        println!(
            "{}",
            show(&format!("creases, {name}"), &found(&creases(), &scanner, &faults, seeds.clone()))
        );
        println!("{}", show(&format!("bars, {name}"), &found(&rows(), &scanner, &faults, seeds)));
    }
}

/// What must hold of one quantity: bias, rms, share inside ±2u.
fn hold(errors: &Errors, [bias_mm, rms_mm, covered]: [f64; 3], text: &str) {
    assert!(errors.bias_mm().abs() <= bias_mm && errors.rms_mm() <= rms_mm, "{text}");
    assert!(errors.covered() >= covered, "{text}");
}

#[test]
fn without_noise_steps_shifts_and_pitches_are_the_truth_to_a_hundredth() {
    let scanner = Scanner { spacing_mm: 0.3, ..Scanner::default() };
    let creases = found(&creases(), &scanner, &Faults::default(), 70..71);
    let text = show("creases", &creases);
    assert_eq!(creases.unseen, 0, "{text}");
    hold(&creases.step, [0.01, 0.015, 0.75], &text);
    hold(&creases.shift, [0.01, 0.015, 0.75], &text);
    let bars = found(&rows(), &scanner, &Faults::default(), 70..71);
    let text = show("bars", &bars);
    assert_eq!(bars.unseen, 0, "{text}");
    hold(&bars.step, [0.01, 0.012, 0.9], &text);
    hold(&bars.shift, [0.01, 0.012, 0.9], &text);
    hold(&bars.pitch, [0.006, 0.008, 0.5], &text);
}

/// The budgets are about one and a half times what seeds 0 to 4 gave; coverage of 30 values at 95 % falls below 83 % once in
/// a hundred times.
#[test]
fn an_ordinary_scan_holds_its_budgets_on_fresh_seeds() {
    let (scanner, faults) = (Scanner::ordinary(), Faults::ordinary());
    let bars = found(&rows(), &scanner, &faults, 71..74);
    let text = show("bars", &bars);
    assert!(bars.unseen <= 2, "{text}");
    hold(&bars.step, [0.03, 0.05, 0.83], &text);
    hold(&bars.shift, [0.02, 0.035, 0.83], &text);
    hold(&bars.pitch, [0.006, 0.012, 0.7], &text);
    // A crease is placed by the angle of its flanks: what counts is how high the surface is off, so the largest turn only.
    let largest: Vec<_> = creases().into_iter().skip(2).take(1).collect();
    let creases = found(&largest, &scanner, &faults, 71..75);
    let text = show("crease of 25 degrees", &creases);
    assert_eq!(creases.unseen, 0, "{text}");
    hold(&creases.step, [0.06, 0.08, 0.75], &text);
    hold(&creases.shift, [0.12, 0.2, 0.75], &text);
}

#[test]
fn a_surface_without_a_feature_gives_none() {
    let mut cases = creases();
    cases.truncate(2);
    for (_, feature, _) in &mut cases {
        feature.shape = CrossShape::Crease { turn_deg: 0.0, rounded_mm: 2.0 };
    }
    let rehearsal = Rehearsal { seed: 60, scanner: Scanner::ordinary(), ..Rehearsal::default() };
    for (reading, ..) in run(&cases, rehearsal, |_| true) {
        assert_eq!(reading.features[0].step.as_ref().unwrap_err(), &LineupReason::FeatureNotSeen);
    }
}

#[test]
fn a_missing_panel_is_named() {
    let cases = &creases()[..1];
    // The seam runs along x; its right-hand panel lies at negative y.
    let rehearsal = Rehearsal { seed: 61, scanner: Scanner::good(), ..Rehearsal::default() };
    let found = run(cases, rehearsal, |point| point.y > 20.0);
    let reason = found[0].0.features[0].step.as_ref().unwrap_err();
    assert!([LineupReason::OnePanelMissing, LineupReason::SeamUnseen].contains(reason), "{reason:?}");
}
