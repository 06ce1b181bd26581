//! The seam plan of a body, and the truth of its stations.
//!
//! In: a body's design. Out: a checked-by-construction [`Plan`] whose curves are the nominal seams on the unmoved
//! surface, and the truth at its stations with the moved panels. Frame: Car, mm.

use nalgebra::Point3;

use super::body_truth::read_body;
use super::kinds::{BodyDesign, BodyKind, BodySeam};
use super::panel::Line;
use super::scan_body::{TrueSeam, sees_hem};
use super::settings::BodySettings;
use crate::frames::CarAxes;
use crate::geometry::{Curve, CurveFrame};
use crate::plan::{
    AlignTerms, CarTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan,
    ScanTerms, Seam, SeamId, Side, Tolerance,
};
use crate::rehearse::scan::RehearseError;
use crate::rehearse::truth::TruthRow;
use crate::units::LengthUnit;

/// Distance between the points of a plan's curve, mm.
const CURVE_STEP_MM: f64 = 8.0;
/// Tolerance of gap and of flush, to either side, mm.
const TOLERANCE_MM: f64 = 0.7;

/// The plan of a body.
///
/// # Errors
/// A seam line does not make a curve.
pub fn body_plan(
    kind: BodyKind,
    design: &BodyDesign,
    settings: &BodySettings,
) -> Result<Plan, RehearseError> {
    let panels = design.panels.iter().map(|panel| Panel {
        id: PanelId(panel.id.clone()),
        title: title(&panel.id),
        is_fixed: panel.id != "hood",
    });
    let seams = design.seams.iter().map(|seam| plan_seam(design, seam, settings));
    Ok(Plan {
        title: if kind == BodyKind::Coupe {
            "Gannet coupe, front end".to_owned()
        } else {
            format!("{kind:?}, front end")
        },
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.03, smoothing_mm: None },
        panels: panels.collect(),
        seams: seams.collect::<Result<_, _>>()?,
        decision: DecisionRule::default(),
        advice: crate::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: Some(CarTerms { axes: CarAxes::x_rearward(), middle_mm: Some(0.0), pairs: Vec::new() }),
        finish: crate::plan::FinishTerms::default(),
        lineups: Vec::new(),
    })
}

fn plan_seam(design: &BodyDesign, seam: &BodySeam, settings: &BodySettings) -> Result<Seam, RehearseError> {
    let tolerance = |nominal_mm| Tolerance { nominal_mm, minus_mm: TOLERANCE_MM, plus_mm: TOLERANCE_MM };
    let datum_sign = sign_of(design, seam.datum, &seam.line);
    // Along the car the left of the curve is the side of larger b, across it the side of smaller a.
    let left_sign = if matches!(seam.line, Line::Along { .. }) { 1.0 } else { -1.0 };
    Ok(Seam {
        id: SeamId(seam.id.clone()),
        title: title(&seam.id),
        datum_panel: PanelId(design.panels[seam.datum].id.clone()),
        other_panel: PanelId(design.panels[seam.other].id.clone()),
        datum_side: if datum_sign == left_sign { Side::Left } else { Side::Right },
        curve: nominal_curve(design, seam)?,
        station_spacing_mm: settings.station_spacing_mm,
        skip_ends_mm: settings.skip_ends_mm,
        gap: GapSpec { tolerance: tolerance(nominal_gap_mm(design, seam)), method: GapMethod::Edge },
        flush: FlushSpec { tolerance: tolerance(0.0), method: FlushMethod::MidGap },
        taper: None,
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    })
}

/// On which side of a line a panel lies.
fn sign_of(design: &BodyDesign, panel: usize, line: &Line) -> f64 {
    design.panels[panel].sides.iter().find(|side| side.line == *line).map_or(1.0, |side| side.sign)
}

/// The gap in the middle of the seam, to a tenth of a millimetre: what the builder would have asked for.
fn nominal_gap_mm(design: &BodyDesign, seam: &BodySeam) -> f64 {
    let middle_mm = 0.5 * (seam.run_mm[0] + seam.run_mm[1]);
    let side = design.panels[seam.datum].sides.iter().find(|side| side.line == seam.line);
    let gap_mm = side.and_then(|side| side.gap_mm.as_ref()).map_or(0.0, |gap| gap.at(middle_mm));
    (10.0 * gap_mm).round() / 10.0
}

fn title(id: &str) -> String {
    let mut text = id.replace('-', " ");
    if let Some(first) = text.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    text
}

fn runs(seam: &BodySeam) -> impl Iterator<Item = f64> {
    let [from_mm, to_mm] = seam.run_mm;
    let count = ((to_mm - from_mm).abs() / CURVE_STEP_MM).ceil().max(2.0) as usize;
    (0..=count).map(move |index| from_mm + (to_mm - from_mm) * index as f64 / count as f64)
}

fn nominal_curve(design: &BodyDesign, seam: &BodySeam) -> Result<Curve, RehearseError> {
    let patches = runs(seam).map(|run_mm| {
        let place = seam.line.at(run_mm);
        design.surface.patch(place.x, place.y, &[])
    });
    let (points, normals): (Vec<_>, Vec<_>) = patches.map(|patch| (patch.point, patch.normal())).unzip();
    Curve::through(&points, Some(&normals))
        .map_err(|source| RehearseError::Curve { seam: SeamId(seam.id.clone()), source })
}

/// Truth at every station, and the true seams.
///
/// # Errors
/// A true seam does not make a curve.
pub fn body_truth(plan: &Plan, design: &BodyDesign) -> Result<(Vec<TruthRow>, Vec<TrueSeam>), RehearseError> {
    let (mut truth, mut true_seams) = (Vec::new(), Vec::new());
    for (seam, own) in plan.seams.iter().zip(&design.seams) {
        truth.extend(seam.stations().iter().map(|station| {
            let frame = seam.station_frame(station);
            truth_row(seam, design, own, station.index, station.along_mm, &frame)
        }));
        true_seams.push(true_seam(seam, design, own)?);
    }
    Ok((truth, true_seams))
}

fn truth_row(
    seam: &Seam,
    design: &BodyDesign,
    own: &BodySeam,
    station: usize,
    along_mm: f64,
    frame: &CurveFrame,
) -> TruthRow {
    let panels = [&design.panels[own.datum], &design.panels[own.other]];
    let run_mm = run_near(design, own, &frame.origin);
    let reading = read_body(&design.surface, panels, &own.line, run_mm, &frame.origin, &frame.along);
    let seen_rad = panels.map(|panel| {
        let foot = panel.foot_beside(&own.line.at(run_mm));
        let seen = (0..=180_u32).take_while(|degrees| {
            let wrapped_mm = panel.hem_radius_mm * f64::from(*degrees).to_radians();
            let point = panel.hem_point(&design.surface, &foot, wrapped_mm);
            sees_hem(panel, &point, reading.gap_mm)
        });
        f64::from(seen.last().unwrap_or(0)).to_radians()
    });
    TruthRow {
        seam: seam.id.clone(),
        station,
        along_mm,
        true_along_mm: along_mm,
        point: frame.origin,
        gap_mm: Some(reading.gap_mm),
        flush_mm: reading.flush_mm,
        gap_tolerance: seam.gap_tolerance_at(along_mm),
        flush_tolerance: seam.flush_tolerance_at(along_mm),
        hem_radius_mm: panels.map(|panel| panel.hem_radius_mm),
        arc_seen_rad: seen_rad,
        edge_is_visible: seen_rad.map(|seen_rad| seen_rad > std::f64::consts::FRAC_PI_2),
        is_in_dropout: false,
    }
}

/// The running coordinate whose place on the nominal surface is nearest to a point, by Gauss-Newton steps.
fn run_near(design: &BodyDesign, seam: &BodySeam, point: &Point3<f64>) -> f64 {
    let at = |run_mm: f64| {
        let place = seam.line.at(run_mm);
        design.surface.patch(place.x, place.y, &[]).point
    };
    let mut run_mm = seam.run_mm[0];
    let mut nearest_mm = f64::INFINITY;
    for candidate_mm in runs(seam) {
        let distance_mm = (at(candidate_mm) - point).norm();
        if distance_mm < nearest_mm {
            (run_mm, nearest_mm) = (candidate_mm, distance_mm);
        }
    }
    for _ in 0..8 {
        let slope = (at(run_mm + 0.5) - at(run_mm - 0.5)) / 1.0;
        run_mm -= (at(run_mm) - point).dot(&slope) / slope.norm_squared();
    }
    run_mm
}

fn true_seam(seam: &Seam, design: &BodyDesign, own: &BodySeam) -> Result<TrueSeam, RehearseError> {
    let panels = [&design.panels[own.datum], &design.panels[own.other]];
    let length_mm = seam.curve.length_mm();
    let count = (length_mm / CURVE_STEP_MM).ceil().max(2.0) as usize;
    // Rounded corners begin at the ends: the true seam ends where both edges still run straight.
    let corner_mm = panels[0].corner_mm.max(panels[1].corner_mm) + panels[0].hem_radius_mm;
    let (from_mm, to_mm) = (corner_mm.min(0.4 * length_mm), (length_mm - corner_mm).max(0.6 * length_mm));
    let (points, normals): (Vec<_>, Vec<_>) = (0..=count)
        .map(|index| {
            let frame = seam.curve.frame_at(from_mm + (to_mm - from_mm) * index as f64 / count as f64);
            let run_mm = run_near(design, own, &frame.origin);
            let reading = read_body(&design.surface, panels, &own.line, run_mm, &frame.origin, &frame.along);
            (reading.origin, reading.outward)
        })
        .unzip();
    let curve = Curve::through(&points, Some(&normals))
        .map_err(|source| RehearseError::Curve { seam: seam.id.clone(), source })?;
    Ok(TrueSeam { id: seam.id.0.clone(), panels: [panels[0].id.clone(), panels[1].id.clone()], curve })
}
