//! From a scan to a network of gap candidates: the steps that tracing and finding share.
//!
//! In: a scan (mm). Out: the survey, the network, and the chains that were too short to join it.
//! Shape: two passes over the scan. Method: see the files of the single steps.
//! Does not judge whether a long chain is a seam.

use nalgebra::Point3;

use super::cells::PointCells;
use super::chains::{Chain, string_beads};
use super::facing::find_beads;
use super::hems::look_closer;
use super::network::{Network, join_chains, meeting_ends};
use super::refine::refine;
use super::settings::{TraceError, TraceSettings};
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
pub fn gather_evidence(source: &dyn ScanSource, settings: &TraceSettings) -> Result<Evidence, TraceError> {
    let survey = survey(source, settings)?;
    let close_up = look_closer(source, &survey)?;
    let beads = find_beads(&close_up, &survey, settings);
    let hem_points: Vec<Point3<f64>> = close_up.hems.iter().map(|hem| hem.point).collect();
    let grid = PointCells::of(&hem_points, 4.0);
    let mut chains: Vec<Chain> = string_beads(&beads, settings)
        .iter()
        .map(|chain| refine(chain, &close_up.hems, &grid))
        .filter(|chain| chain.length_mm() > CHANCE_MM && chain.points.len() > 3)
        .collect();
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
