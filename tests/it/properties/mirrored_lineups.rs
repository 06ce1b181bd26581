//! What runs across seams, left against right: the same car told from other ends, or from the other panel, differs by nothing.

use nalgebra::{Point3, Vector3};
use shutline::geometry::Curve;
use shutline::judge::{JudgedLineup, JudgedSeam, judge_lineup, judge_seam};
use shutline::lineup::{FeatureReading, LineupReading, LineupReason, RowReading};
use shutline::measure::{
    Component, Estimate, Profile, Reason, SeamReadings, StationReading, UncertaintySource,
};
use shutline::plan::{
    AdviceTerms, AlignTerms, BarRow, DecisionRule, FinishTerms, FlushMethod, FlushSpec, GapMethod, GapSpec,
    Lineup, LineupKind, PanelId, Plan, ScanTerms, Seam, SeamId, Side, Tolerance,
};
use shutline::summarise::{
    ChangeVerdict, CompareSettings, LineupChange, compare_mirrored, mirrored_lineup_changes,
};
use shutline::units::LengthUnit;

const U_MM: f64 = 0.03;

fn estimate(value_mm: f64) -> Estimate {
    let source = UncertaintySource::ScanNoise;
    Estimate::from_components(value_mm, vec![Component { source, u_mm: U_MM, degrees_of_freedom: 9.0 }])
}

/// How the right side is told; the car is the same.
#[derive(Debug, Clone, Copy)]
struct Told {
    /// The curve runs along x as the left one does.
    forwards: bool,
    /// The outboard panel is the datum, as on the left.
    from_outboard: bool,
}

/// y to the left; seams of 1 m at y = ±600.
fn seam(id: &str, y_mm: f64, told: Told) -> Seam {
    let ends = if told.forwards { [0.0, 1000.0] } else { [1000.0, 0.0] };
    let points = ends.map(|x_mm| Point3::new(x_mm, y_mm, 0.0));
    // Along +x the left hand is +y; the outboard panel lies there on the car's left.
    let is_outboard_left = (y_mm > 0.0) == told.forwards;
    let tolerance = Tolerance { nominal_mm: 4.0, minus_mm: 0.5, plus_mm: 0.5 };
    Seam {
        id: SeamId(id.to_owned()),
        title: id.to_owned(),
        datum_panel: PanelId("datum".to_owned()),
        other_panel: PanelId("other".to_owned()),
        datum_side: if is_outboard_left == told.from_outboard { Side::Left } else { Side::Right },
        curve: Curve::through(&points, Some(&[Vector3::z(), Vector3::z()])).unwrap(),
        station_spacing_mm: 100.0,
        skip_ends_mm: 0.0,
        gap: GapSpec { tolerance, method: GapMethod::Edge },
        flush: FlushSpec {
            tolerance: Tolerance { nominal_mm: 0.0, ..tolerance },
            method: FlushMethod::MidGap,
        },
        taper: None,
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    }
}

/// A row of three bars at x = 400, 418, 436: how far the inboard panel's bar stands proud of the outboard one's, how far it
/// lies forward of it, and each panel's pitch (outboard, inboard).
struct Car {
    proud_mm: [f64; 3],
    forward_mm: [f64; 3],
    pitch_mm: [f64; 2],
}

fn lineup(id: &str, seam: &Seam, told: Told) -> Lineup {
    let pitch = Tolerance { nominal_mm: 18.0, minus_mm: 0.3, plus_mm: 0.3 };
    Lineup {
        id: id.to_owned(),
        title: id.to_owned(),
        seam: seam.id.clone(),
        at_mm: if told.forwards { 400.0 } else { 1000.0 - 436.0 },
        kind: LineupKind::Bar,
        width_mm: 8.0,
        rounded_mm: 0.0,
        search_mm: 8.0,
        step: None,
        shift: None,
        bars: Some(BarRow { count: 3, pitch, evenness_mm: None }),
        mirror: None,
    }
}

fn read(lineup: &Lineup, seam: &Seam, told: Told, car: &Car) -> JudgedLineup {
    let from_datum = if told.from_outboard { 1.0 } else { -1.0 };
    let along = if told.forwards { 1.0 } else { -1.0 };
    let mut features: Vec<FeatureReading> = (0..3)
        .map(|bar| FeatureReading {
            index: if told.forwards { bar } else { 2 - bar },
            at_mm: lineup.at_mm,
            frame: seam.curve.frame_at(lineup.at_mm),
            lines: [None, None],
            step: Ok(estimate(from_datum * car.proud_mm[bar])),
            shift: Ok(estimate(along * from_datum * car.forward_mm[bar])),
        })
        .collect();
    features.sort_by_key(|feature| feature.index);
    let mut pitch = car.pitch_mm.map(|pitch_mm| Ok(estimate(pitch_mm)));
    if !told.from_outboard {
        pitch.reverse();
    }
    let row = RowReading { evenness: pitch.clone(), pitch, pitch_difference: Err(LineupReason::TooFewBars) };
    let reading = LineupReading { id: lineup.id.clone(), features, row: Some(row) };
    judge_lineup(lineup, reading, &DecisionRule::default())
}

fn seen(seam: &Seam) -> JudgedSeam {
    let stations = seam.stations().into_iter().map(|station| StationReading {
        point: seam.station_point(&station),
        frame: seam.station_frame(&station),
        gap: Ok(estimate(4.0)),
        flush: Err(Reason::EdgeNotSeen),
        station,
        edges: [None, None],
        warnings: Vec::new(),
        profile: Profile::default(),
    });
    let stations = stations.collect();
    let readings = SeamReadings { seam: seam.id.clone(), stations, points_used: 0, spacing_mm: None };
    judge_seam(seam, readings, &DecisionRule::default())
}

/// Right less left of a car, the right told in one of four ways; the plan names the right lineup first.
fn sides(left: &Car, right: &Car, told: Told, stated: bool) -> Vec<LineupChange> {
    let as_left = Told { forwards: true, from_outboard: true };
    let seams = vec![seam("hood-fender-left", 600.0, as_left), seam("hood-fender-right", -600.0, told)];
    let [left_id, right_id] = if stated { ["one", "two"] } else { ["bars-left", "bars-right"] };
    let mut lineups = vec![lineup(right_id, &seams[1], told), lineup(left_id, &seams[0], as_left)];
    lineups[0].mirror = stated.then(|| left_id.to_owned());
    let judged = [read(&lineups[0], &seams[1], told, right), read(&lineups[1], &seams[0], as_left, left)];
    let scan: Vec<JudgedSeam> = seams.iter().map(seen).collect();
    let plan = Plan {
        title: "Both sides".to_owned(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.02, smoothing_mm: None },
        panels: Vec::new(),
        seams,
        decision: DecisionRule::default(),
        align: AlignTerms::default(),
        advice: AdviceTerms::default(),
        car: None,
        finish: FinishTerms::default(),
        lineups,
    };
    let mirrored = compare_mirrored(&plan, &scan, &CompareSettings::default()).unwrap();
    assert_eq!(mirrored.lineups.len(), 1);
    assert_eq!(
        (mirrored.lineups[0].first.as_str(), mirrored.lineups[0].second.as_str()),
        (left_id, right_id)
    );
    mirrored_lineup_changes(&judged, &mirrored.lineups)
}

#[test]
fn a_car_told_from_the_other_end_or_panel_is_the_same_car() {
    let left = Car { proud_mm: [0.1, 0.2, 0.3], forward_mm: [0.3, -0.2, 0.0], pitch_mm: [18.0, 18.4] };
    // One bar further proud, one further forward, the inboard pitch wider.
    let right = Car { proud_mm: [0.5, 0.2, 0.3], forward_mm: [0.3, -0.2, 0.7], pitch_mm: [18.0, 18.9] };
    for forwards in [true, false] {
        for from_outboard in [true, false] {
            for stated in [true, false] {
                let told = Told { forwards, from_outboard };
                for change in sides(&left, &right, told, stated) {
                    let (found_mm, u_mm) = change.change_mm.unwrap();
                    let expected_mm = match (change.quantity, change.bar, change.side) {
                        ("step", Some(0), None) => 0.4,
                        ("shift", Some(2), None) => 0.7,
                        ("pitch" | "evenness", None, Some(1)) => 0.5,
                        _ => 0.0,
                    };
                    assert!((found_mm - expected_mm).abs() < 1e-12, "{told:?}: {change:?}");
                    assert!((u_mm - U_MM * 2f64.sqrt()).abs() < 1e-12);
                    let verdict =
                        if expected_mm > 0.0 { ChangeVerdict::Real } else { ChangeVerdict::Undecided };
                    assert_eq!(change.verdict(), verdict);
                }
                assert_eq!(sides(&left, &right, told, stated).len(), 3 * 2 + 2 * 2);
            }
        }
    }
}
