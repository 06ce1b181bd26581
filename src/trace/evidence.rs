//! From a scan to a network of gap candidates: the steps that tracing and finding share.
//!
//! In: a scan (mm). Out: the survey, the network, and the chains that were too short to join it.
//! Shape: two passes over the scan; a mesh is looked at as points on its triangles. Method: see the files of the single steps.
//! Does not judge whether a long chain is a seam.

use nalgebra::Point3;

use super::cells::PointCells;
use super::chains::{Chain, string_beads};
use super::facing::find_beads;
use super::hands::Hands;
use super::hems::look_closer;
use super::mesh_points::MeshPoints;
use super::network::{Network, join_chains, meeting_ends};
use super::refine::refine;
use super::settings::{TraceError, TraceSettings};
use super::spans::{reach_others, span_gaps};
use super::survey::{Survey, survey};
use crate::scan::ScanSource;

/// Shorter chains are chance, mm.
const CHANCE_MM: f64 = 10.0;

/// What the scan shows.
#[derive(Debug, Clone)]
pub struct Evidence {
    pub survey: Survey,
    pub network: Network,
    /// Chains with a free end that were too short to be seams.
    pub stubs: Vec<Chain>,
}

/// Looks at the scan twice and strings what it sees.
///
/// # Errors
/// The scan cannot be read, has no points, is too sparse, or is of a size that no car has.
pub fn gather_evidence(
    source: &dyn ScanSource,
    settings: &TraceSettings,
    hands: &Hands<'_>,
) -> Result<Evidence, TraceError> {
    let mesh = if source.is_mesh() { Some(MeshPoints::of(source)?) } else { None };
    let source = mesh.as_ref().map_or(source, |mesh| mesh as &dyn ScanSource);
    let survey = survey(source, hands)?;
    let close_up = look_closer(source, &survey, hands)?;
    let spacing_mm = close_up.spacing_mm.unwrap_or(survey.spacing_mm);
    // A mesh is whole between its corners: how far these lie apart says nothing.
    if mesh.is_none() && spacing_mm > settings.spacing_needed_mm() {
        return Err(TraceError::TooSparse {
            spacing_mm,
            hem_radius_mm: settings.hem_radius_mm,
            needed_mm: settings.spacing_needed_mm(),
        });
    }
    let beads = find_beads(&close_up, &survey, settings, hands);
    let hem_points: Vec<Point3<f64>> = close_up.hems.iter().map(|hem| hem.point).collect();
    let grid = PointCells::of(&hem_points, 4.0);
    let mut chains: Vec<Chain> = string_beads(&beads, settings)
        .iter()
        .map(|chain| refine(chain, &close_up.hems, &grid))
        .filter(|chain| chain.length_mm() > CHANCE_MM && chain.points.len() > 3)
        .collect();
    chains = reach_others(span_gaps(chains, &survey), &survey);
    let mut stubs = Vec::new();
    loop {
        let meets = meeting_ends(&chains);
        let weak = (0..chains.len()).find(|index| {
            let is_free = meets[*index] != [true, true] && !chains[*index].is_closed;
            is_free && chains[*index].length_mm() < settings.least_length_mm
        });
        let Some(weak) = weak else { break };
        stubs.push(chains.remove(weak));
    }
    Ok(Evidence { network: join_chains(&chains), survey, stubs })
}
