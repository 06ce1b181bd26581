//! A plan from what was found or traced, ready to measure by.
//!
//! In: found or traced seams (mm). Out: a [`Plan`]. Units: mm inside; the plan's own in its text.
//! Method: nominal gap = the median width seen, to half a millimetre; nominal flush 0; tolerances of half a millimetre
//! (common practice, no source) for a person to correct; the larger panel is the datum.
//! Does not know what the maker wanted: nominals say what the car is, not what it should be.

use super::chains::ChainPoint;
use super::find::{FoundSeam, FoundSeams};
use super::tracer::curve_through;
use crate::geometry::CurveError;
use crate::plan::{
    AlignTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan, ScanTerms,
    Seam, SeamId, Side, Tolerance,
};
use crate::units::LengthUnit;

/// Allowed deviation to either side until a person says otherwise, mm.
const FIRST_TOLERANCE_MM: f64 = 0.5;
const STATION_SPACING_MM: f64 = 10.0;
const SKIP_ENDS_MM: f64 = 15.0;

/// One seam of a plan, from a curve. Panels as seen walking along it: left, right; the first is the datum.
///
/// # Errors
/// Fewer than two different points.
pub fn seam_of_curve(
    name: &str,
    points: &[ChainPoint],
    width_mm: f64,
    datum: (&str, Side),
    other_panel: &str,
) -> Result<Seam, CurveError> {
    let around =
        |nominal_mm| Tolerance { nominal_mm, minus_mm: FIRST_TOLERANCE_MM, plus_mm: FIRST_TOLERANCE_MM };
    Ok(Seam {
        id: SeamId(name.to_owned()),
        title: spoken(name),
        datum_panel: PanelId(datum.0.to_owned()),
        other_panel: PanelId(other_panel.to_owned()),
        datum_side: datum.1,
        curve: curve_through(points)?,
        station_spacing_mm: STATION_SPACING_MM,
        skip_ends_mm: SKIP_ENDS_MM,
        gap: GapSpec { tolerance: around((2.0 * width_mm).round() / 2.0), method: GapMethod::Edge },
        flush: FlushSpec { tolerance: around(0.0), method: FlushMethod::MidGap },
        taper: None,
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    })
}

/// A plan without seams, for the scan's unit and accuracy.
#[must_use]
pub fn empty_plan(title: &str, units: LengthUnit, scan: ScanTerms) -> Plan {
    Plan {
        title: title.to_owned(),
        units,
        scan,
        panels: Vec::new(),
        seams: Vec::new(),
        decision: DecisionRule::default(),
        advice: crate::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: None,
        finish: crate::plan::FinishTerms::default(),
        lineups: Vec::new(),
    }
}

/// A panel by name, not fixed.
#[must_use]
pub fn panel_named(name: &str) -> Panel {
    Panel { id: PanelId(name.to_owned()), title: spoken(name), is_fixed: false }
}

/// The plan of everything found. Seams whose sides hang together are left out: a plan needs two panels.
///
/// # Errors
/// A seam of fewer than two different points.
pub fn plan_of(
    found: &FoundSeams,
    title: &str,
    units: LengthUnit,
    scan: ScanTerms,
) -> Result<Plan, CurveError> {
    let mut plan = empty_plan(title, units, scan);
    let apart: Vec<&FoundSeam> = found.seams.iter().filter(|seam| seam.panels[0] != seam.panels[1]).collect();
    plan.panels = found
        .panels
        .iter()
        .enumerate()
        .filter(|(number, _)| apart.iter().any(|seam| seam.panels.contains(number)))
        .map(|(_, panel)| panel_named(&panel.name))
        .collect();
    for seam in apart {
        let [left, right] = seam.panels.map(|number| &found.panels[number]);
        let is_left_larger = left.area_mm2 >= right.area_mm2;
        let (datum, other) = if is_left_larger {
            ((left.name.as_str(), Side::Left), right)
        } else {
            ((right.name.as_str(), Side::Right), left)
        };
        plan.seams.push(seam_of_curve(&seam.name, &seam.points, seam.width_mm, datum, &other.name)?);
    }
    Ok(plan)
}

/// `hood-fender-left` as a person reads it: "Hood fender left".
fn spoken(name: &str) -> String {
    let mut letters = name.replace('-', " ").chars().collect::<Vec<char>>();
    if let Some(first) = letters.first_mut() {
        *first = first.to_ascii_uppercase();
    }
    letters.into_iter().collect()
}
