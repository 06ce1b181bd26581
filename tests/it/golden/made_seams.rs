//! A hand-made plan and hand-made judged seams of the Gannet coupe, for pictures: every verdict occurs.
//! Nothing is measured here: the values are formulas, so that a picture can be checked by eye.

use nalgebra::{Point3, Vector3};
use shutline::frames::CarAxes;
use shutline::geometry::Curve;
use shutline::judge::{JudgedReading, JudgedSeam, Verdict};
use shutline::measure::{
    Component, EdgeReading, Estimate, Profile, ProfileArc, ProfilePoint, ProfileSkin, Reason, StationReading,
    UncertaintySource, Warning,
};
use shutline::plan::{
    CarTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, JudgedState, Panel, PanelId, Plan,
    ScanTerms, Seam, SeamId, Side, TaperSpec, Tolerance, Zone,
};
use shutline::units::LengthUnit;

fn tolerance(nominal_mm: f64, half_mm: f64) -> Tolerance {
    Tolerance { nominal_mm, minus_mm: half_mm, plus_mm: half_mm }
}

fn seam(id: &str, title: &str, panels: [&str; 2], points: &[[f64; 3]], side: Side) -> Seam {
    let points: Vec<Point3<f64>> = points.iter().map(|[x, y, z]| Point3::new(*x, *y, *z)).collect();
    let normals: Vec<Vector3<f64>> =
        points.iter().map(|point| Vector3::new(0.0, point.y / 900.0, 1.0).normalize()).collect();
    Seam {
        id: SeamId(id.to_owned()),
        title: title.to_owned(),
        datum_panel: PanelId(panels[0].to_owned()),
        other_panel: PanelId(panels[1].to_owned()),
        datum_side: side,
        curve: Curve::through(&points, Some(&normals)).unwrap(),
        station_spacing_mm: 20.0,
        skip_ends_mm: 15.0,
        gap: GapSpec { tolerance: tolerance(4.0, 0.5), method: GapMethod::Edge },
        flush: FlushSpec { tolerance: tolerance(0.0, 0.5), method: FlushMethod::MidGap },
        taper: Some(TaperSpec { limit_mm: 0.5, length_mm: 300.0 }),
        hem_radius_mm: [None, None],
        zones: vec![Zone {
            from_mm: 0.0,
            to_mm: 120.0,
            gap: Some(Tolerance { nominal_mm: 4.5, minus_mm: 0.5, plus_mm: 1.0 }),
            flush: None,
        }],
    }
}

/// The front end of the Gannet coupe, in few points: x to the rear, y to the right, z up.
pub fn plan(units: LengthUnit) -> Plan {
    let panels = [
        ("hood", "Hood"),
        ("fender-left", "Left fender"),
        ("fender-right", "Right fender"),
        ("cowl", "Cowl"),
        ("nose", "Nose"),
        ("door-left", "Left door"),
    ];
    let side = |sign: f64| {
        [
            [0.0, 560.0 * sign, 0.0],
            [400.0, 640.0 * sign, 60.0],
            [800.0, 690.0 * sign, 110.0],
            [1180.0, 700.0 * sign, 150.0],
        ]
    };
    Plan {
        title: "Gannet coupe, front end".to_owned(),
        units,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.02, smoothing_mm: None },
        decision: DecisionRule::default(),
        advice: shutline::plan::AdviceTerms::default(),
        align: shutline::plan::AlignTerms::default(),
        car: Some(CarTerms { axes: CarAxes::x_rearward(), middle_mm: Some(0.0), pairs: Vec::new() }),
        finish: shutline::plan::FinishTerms::default(),
        lineups: Vec::new(),
        panels: panels
            .iter()
            .map(|(id, title)| Panel {
                id: PanelId((*id).to_owned()),
                title: (*title).to_owned(),
                is_fixed: false,
            })
            .collect(),
        seams: vec![
            seam(
                "hood-fender-left",
                "Hood to left fender",
                ["fender-left", "hood"],
                &side(-1.0),
                Side::Right,
            ),
            seam(
                "hood-fender-right",
                "Hood to right fender",
                ["fender-right", "hood"],
                &side(1.0),
                Side::Left,
            ),
            seam(
                "hood-cowl",
                "Hood to cowl",
                ["cowl", "hood"],
                &[[1190.0, -690.0, 150.0], [1230.0, 0.0, 190.0], [1190.0, 690.0, 150.0]],
                Side::Right,
            ),
            seam(
                "hood-nose",
                "Hood to nose",
                ["nose", "hood"],
                &[[-10.0, -550.0, 0.0], [-60.0, 0.0, 10.0], [-10.0, 550.0, 0.0]],
                Side::Left,
            ),
        ],
    }
}

/// Judged seams of that plan, in its order.
pub fn judged(plan: &Plan) -> Vec<JudgedSeam> {
    plan.seams
        .iter()
        .enumerate()
        .map(|(number, seam)| {
            let stations = seam
                .stations()
                .iter()
                .map(|station| {
                    let (gap_mm, flush_mm) = values(number, station.along_mm);
                    let wave = (station.along_mm * 0.37).sin() * 0.03;
                    station_reading(
                        seam,
                        station.index,
                        gap_mm + wave,
                        flush_mm - wave,
                        hidden(number, station.along_mm),
                    )
                })
                .collect();
            JudgedSeam { seam: seam.id.clone(), stations, points_used: 51_234, spacing_mm: Some(0.41) }
        })
        .collect()
}

/// One seam whose readings are all well inside; its gap grows by some 0.4 over 300 mm.
pub fn tapering(limit_mm: f64) -> (Plan, Vec<JudgedSeam>) {
    let mut plan = plan(LengthUnit::Millimetre);
    for seam in &mut plan.seams {
        seam.gap.tolerance = tolerance(4.5, 3.0);
        seam.flush.tolerance = tolerance(0.0, 3.0);
        seam.taper = Some(TaperSpec { limit_mm, length_mm: 300.0 });
        seam.zones.clear();
    }
    let judged = vec![judged(&plan).swap_remove(1)];
    plan.seams = vec![plan.seams.swap_remove(1)];
    (plan, judged)
}

fn values(number: usize, along_mm: f64) -> (f64, f64) {
    let bump = |centre_mm: f64, width_mm: f64| (-((along_mm - centre_mm) / width_mm).powi(2)).exp();
    match number {
        0 => (4.3 - 1.35 * bump(820.0, 110.0) + 0.3 * bump(60.0, 60.0), 0.15 + 0.75 * bump(420.0, 140.0)),
        1 => (3.62 + along_mm / 1180.0 * 1.6, -0.1 - 0.62 * bump(1100.0, 160.0)),
        2 => (4.05, 0.05),
        _ => (4.46 + 0.1 * bump(500.0, 200.0), -0.2),
    }
}

fn hidden(number: usize, along_mm: f64) -> Option<Reason> {
    match number {
        0 if (560.0..640.0).contains(&along_mm) => Some(Reason::EdgeNotSeen),
        2 if along_mm > 1200.0 => Some(Reason::NoPoints),
        _ => None,
    }
}

fn estimate(value_mm: f64) -> Estimate {
    let component = |source, u_mm, degrees_of_freedom| Component { source, u_mm, degrees_of_freedom };
    Estimate::from_components(
        value_mm,
        vec![
            component(UncertaintySource::ScanNoise, 0.023, 18.0),
            component(UncertaintySource::Model, 0.012, f64::INFINITY),
            component(UncertaintySource::ScannerAccuracy, 0.02, f64::INFINITY),
        ],
    )
}

fn verdict(
    value: &Result<Estimate, Reason>,
    tolerance: &Tolerance,
    below: Verdict,
    above: Verdict,
) -> Verdict {
    let Ok(seen) = value else { return Verdict::Unseen };
    let (low_mm, high_mm) = (seen.value_mm - 2.0 * seen.u_mm, seen.value_mm + 2.0 * seen.u_mm);
    if high_mm < tolerance.lower_mm() {
        below
    } else if low_mm > tolerance.upper_mm() {
        above
    } else if low_mm >= tolerance.lower_mm() && high_mm <= tolerance.upper_mm() {
        Verdict::Good
    } else {
        Verdict::Undecided
    }
}

fn station_reading(
    seam: &Seam,
    index: usize,
    gap_mm: f64,
    flush_mm: f64,
    reason: Option<Reason>,
) -> JudgedReading {
    let station = seam.stations()[index];
    let measured = |value_mm: f64| reason.map_or_else(|| Ok(estimate(value_mm)), Err);
    let (gap, flush) = (measured(gap_mm), measured(flush_mm));
    let (gap_tolerance, flush_tolerance) =
        (seam.gap_tolerance_at(station.along_mm), seam.flush_tolerance_at(station.along_mm));
    let gap_verdict = verdict(&gap, &gap_tolerance, Verdict::Tight, Verdict::Wide);
    let flush_verdict = verdict(&flush, &flush_tolerance, Verdict::Low, Verdict::High);
    let point = seam.station_point(&station);
    let edge = reason.is_none().then_some(EdgeReading {
        point,
        hem_radius_mm: 1.6,
        hem_radius_u_mm: 0.05,
        arc_seen_rad: 1.4,
        flange_depth_mm: 6.0,
        surface_height_mm: 0.0,
        surface_slope_rad: 0.0,
    });
    JudgedReading {
        reading: StationReading {
            station,
            point,
            frame: seam.station_frame(&station),
            gap,
            flush,
            edges: [edge, edge],
            warnings: warnings(seam, index),
            profile: profile(seam.datum_side, gap_mm, flush_mm, reason.is_some()),
        },
        gap_tolerance,
        flush_tolerance,
        gap_verdict,
        flush_verdict,
        gap_conformance: reason.is_none().then_some(0.5),
        flush_conformance: reason.is_none().then_some(0.5),
        finished: None,
        judged_state: JudgedState::AsScanned,
    }
}

/// At the last station of the first seam, and at three of the second.
fn warnings(seam: &Seam, index: usize) -> Vec<Warning> {
    match (seam.id.0.as_str(), index) {
        ("hood-fender-left", 58) => vec![Warning::HoleInBand, Warning::OpenFlange],
        ("hood-fender-right", 56..=58) => vec![Warning::SurfaceShortened, Warning::HoleInBand],
        _ => Vec::new(),
    }
}

/// Two hems: each an outer surface with a little crown, an arc, and a flange going down.
fn profile(datum_side: Side, gap_mm: f64, flush_mm: f64, is_hidden: bool) -> Profile {
    let datum_sign = if datum_side == Side::Left { -1.0 } else { 1.0 };
    let mut profile = Profile::default();
    for (which, (sign, height_mm)) in [(datum_sign, 0.0), (-datum_sign, flush_mm)].into_iter().enumerate() {
        let radius_mm = [1.6, 2.2][which];
        let (edge_mm, bend) = (gap_mm / 2.0, -0.0012);
        let centre_mm = edge_mm + radius_mm;
        let mut place = |across_mm: f64, v_mm: f64, is_used: bool| {
            let shake = ((across_mm * 91.7 + v_mm * 37.1).sin() * 43_758.545).fract() * 0.05;
            profile.points.push(ProfilePoint {
                u_mm: (sign * across_mm) as f32,
                v_mm: (v_mm + shake) as f32,
                is_used,
            });
        };
        for step in 0..60 {
            let across_mm = centre_mm + f64::from(step) * 0.4;
            place(across_mm, height_mm + bend * across_mm * across_mm, true);
        }
        for step in 0..(if is_hidden { 2 } else { 9 }) {
            let turn_rad = f64::from(step) * 0.19;
            let across_mm = centre_mm - radius_mm * turn_rad.sin();
            place(across_mm, height_mm - radius_mm + radius_mm * turn_rad.cos(), true);
        }
        for step in 0..(if is_hidden { 0 } else { 16 }) {
            place(edge_mm + f64::from(step) * 0.02, height_mm - radius_mm - f64::from(step) * 0.4, false);
        }
        if !is_hidden {
            let ends = [sign * centre_mm, sign * (centre_mm + 20.0)];
            profile.skins[which] = Some(ProfileSkin {
                coefficients: [height_mm, 0.0, bend],
                from_u_mm: ends[0].min(ends[1]),
                to_u_mm: ends[0].max(ends[1]),
            });
            profile.arcs[which] = Some(ProfileArc {
                centre_u_mm: sign * centre_mm,
                centre_v_mm: height_mm - radius_mm,
                radius_mm,
                edge_u_mm: sign * edge_mm,
                edge_v_mm: height_mm - radius_mm,
            });
        }
    }
    profile
}
