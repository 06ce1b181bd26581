//! The sample: the Gannet coupe's front end before and after an adjustment.
//!
//! In: which of the two. Out: the settings and the plan's terms. Units: mm.
//! Faults: the gap of the left fender is tight at the hood's front corner; the gap of the right fender tapers; the hood
//! stands low and a little turned. After: the hood raised, shifted to the right and turned back; what is cut into the
//! panels remains.

use super::gannet_adjusters::gannet_adjusters;
use super::kinds::BodyKind;
use super::scan_body::{RehearsedBody, body};
use super::settings::{BodySettings, PanelMove};
use crate::plan::TaperSpec;
use crate::rehearse::along::Along;
use crate::rehearse::scan::RehearseError;
use crate::rehearse::settings::Scanner;

/// Seams of the sample's plan, all scanned densely: the first six of the body's.
const DENSE_SEAMS: [&str; 6] = [
    "hood-fender-left",
    "hood-fender-right",
    "hood-cowl",
    "hood-nose",
    "fender-door-left",
    "fender-door-right",
];
/// What the plan asks for at every seam, mm.
const NOMINAL_GAP_MM: f64 = 4.0;

/// The settings of the sample scans.
#[must_use]
pub fn gannet_settings(is_adjusted: bool) -> BodySettings {
    let mut settings = BodySettings {
        seed: if is_adjusted { 2 } else { 1 },
        scanner: Scanner { white_noise_mm: 0.015, correlated_noise_mm: 0.01, ..Scanner::default() },
        spacings_mm: [0.5, 1.0, 5.0],
        fine_mm: 0.5,
        middle_mm: 22.0,
        fine_cell_mm: 2.0,
        jitter: 0.5,
        dense_seams: DENSE_SEAMS.map(str::to_owned).to_vec(),
        station_spacing_mm: 10.0,
        ..BodySettings::default()
    };
    let tight_corner = Along::smooth(&[(230.0, 2.7), (430.0, 4.0)]);
    let taper = Along::lines(&[(300.0, 4.0), (960.0, 5.4)]);
    settings.gaps_mm.insert("hood-fender-left".to_owned(), tight_corner);
    settings.gaps_mm.insert("hood-fender-right".to_owned(), taper);
    let hood = if is_adjusted {
        PanelMove { shift_mm: [0.0, 0.3, -0.1], turn_deg: [0.0, 0.0, 0.0] }
    } else {
        PanelMove { shift_mm: [0.0, 0.0, -1.1], turn_deg: [0.0, 0.0, 0.03] }
    };
    settings.moves.insert("hood".to_owned(), hood);
    settings
}

/// The sample scan with its plan of six seams.
///
/// # Errors
/// None in practice; see [`body`].
pub fn gannet(is_adjusted: bool) -> Result<RehearsedBody, RehearseError> {
    let mut scan = body(BodyKind::Coupe, &gannet_settings(is_adjusted))?;
    scan.plan.seams.truncate(DENSE_SEAMS.len());
    scan.true_seams.truncate(DENSE_SEAMS.len());
    for seam in &mut scan.plan.seams {
        seam.gap.tolerance.nominal_mm = NOMINAL_GAP_MM;
        seam.taper = Some(TaperSpec { limit_mm: 0.5, length_mm: 300.0 });
    }
    scan.plan.advice = gannet_adjusters();
    let named: Vec<_> = scan.plan.seams.iter().map(|seam| seam.id.clone()).collect();
    scan.truth.retain(|row| named.contains(&row.seam));
    Ok(scan)
}
