//! Finds every seam of a scan without a hint.
//!
//! In: a scan (mm). Out: [`FoundSeams`]: seams in order of trust, junctions, panels, and the candidates that were not
//! believed, each with its reason. Units: mm.
//! Method: the network of gap candidates (see `evidence`) parts the scan into panels (see `panels`); a candidate is a
//! seam when two different panels face one another across it, both hems below the skin, over enough of its length.
//! Creases, stickers and tape edges have no facing hems; holes and vents have one panel all round; badges and trim stand
//! proud; the scan's border has no other side.
//! Does not measure gap or flush.

use nalgebra::{Point3, Vector3};

use super::chains::{Chain, ChainPoint};
use super::evidence::{Evidence, gather_evidence};
use super::hands::Hands;
use super::mirror::{Outline, find_twins};
use super::network::{Network, join_chains};
use super::panels::PanelMap;
use super::settings::{TraceError, TraceSettings};
use super::survey::{CELL_MM, Survey, median};
use super::tracer::{Bridge, bridges_of, thinned};
use crate::scan::ScanSource;

/// Least share of a seam's length on which its hems were seen.
const LEAST_SEEN: f64 = 0.4;
/// A candidate whose sides hang together elsewhere is kept, with less trust, from this length on.
const LONG_MM: f64 = 300.0;
/// A junction that is known less well than this is said to be doubtful.
const DOUBTFUL_MM: f64 = 3.0;
/// Rounds of rejecting and joining again; each drops at least one candidate.
const ROUNDS: usize = 8;

/// Why a candidate is no seam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rejection {
    /// A stretch too short to tell from chance.
    TooShort,
    /// One panel on both sides: a hole, a slot, a vent or the end of a cut.
    OnePanel,
    /// A side without any panel: the scan's border, or something small.
    NoPanelBeside,
    /// What faces one another stands over the skin: trim, badge or bead.
    StandsProud,
    /// The hems were seen on too little of its length.
    TooLittleSeen,
}

impl Rejection {
    /// The reason as a phrase for people.
    #[must_use]
    pub const fn phrase(self) -> &'static str {
        match self {
            Self::TooShort => "too short to tell from chance",
            Self::OnePanel => "the same panel on both sides: a hole, slot or vent",
            Self::NoPanelBeside => "no panel on one side: the border of the scan, or something small",
            Self::StandsProud => "stands over the skin: trim, badge or bead",
            Self::TooLittleSeen => "its edges were seen on too little of its length",
        }
    }
}

/// A candidate that was not believed.
#[derive(Debug, Clone)]
pub struct Rejected {
    pub points: Vec<ChainPoint>,
    pub why: Rejection,
}

/// A seam that was found.
#[derive(Debug, Clone)]
pub struct FoundSeam {
    /// Short name: `seam-1` on, or the name that a person gave.
    pub name: String,
    pub points: Vec<ChainPoint>,
    /// Panels on the left and on the right, by number.
    pub panels: [usize; 2],
    /// Junctions or corners at the first and the last point, by number.
    pub nodes: [Option<usize>; 2],
    pub is_closed: bool,
    pub length_mm: f64,
    /// Median distance between the flanks; for ranking and first nominals only.
    pub width_mm: f64,
    pub bridges: Vec<Bridge>,
    /// From 0 to 1: share of the length that was seen, less where the sides hang together elsewhere.
    pub trust: f64,
    /// The seam that mirrors this one on the other side of the car, by number.
    pub twin: Option<usize>,
}

/// A panel that was found.
#[derive(Debug, Clone)]
pub struct FoundPanel {
    pub name: String,
    pub centre: Point3<f64>,
    /// Rough: for telling large from small.
    pub area_mm2: f64,
    /// Panels across its seams, by number, in order.
    pub neighbours: Vec<usize>,
}

/// Where three or more seams meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundJunction {
    pub point: Point3<f64>,
    /// Expanded uncertainty (k = 2) of the place; `None` where the seams show too little to say.
    pub doubt_mm: Option<f64>,
    /// As in [`FoundSeam::nodes`].
    pub node: usize,
}

impl FoundJunction {
    /// True where a sticker, a hole or the scan's border leaves the place open by more than 3 mm.
    #[must_use]
    pub fn is_doubtful(&self) -> bool {
        self.doubt_mm.is_none_or(|doubt_mm| doubt_mm > DOUBTFUL_MM)
    }
}

/// A place on a panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceSample {
    pub point: Point3<f64>,
    /// Away from the car, unit.
    pub outward: Vector3<f64>,
    /// By number.
    pub panel: usize,
}

/// Everything that was found.
#[derive(Debug, Clone)]
pub struct FoundSeams {
    /// The most trusted and longest first.
    pub seams: Vec<FoundSeam>,
    pub panels: Vec<FoundPanel>,
    pub junctions: Vec<FoundJunction>,
    pub rejected: Vec<Rejected>,
    survey: Survey,
    map: PanelMap,
    chains: Vec<Chain>,
}

impl FoundSeams {
    /// The panel that a point of the scan belongs to, by number.
    #[must_use]
    pub fn panel_of(&self, point: &Point3<f64>) -> Option<usize> {
        let chains: Vec<&Chain> = self.chains.iter().collect();
        self.map.panel_of(point, &self.survey, &chains)
    }

    /// Small samples of the panels' surfaces, some 4 mm apart, for pictures.
    pub fn surface(&self) -> impl Iterator<Item = SurfaceSample> + '_ {
        self.survey.data.iter().enumerate().filter_map(move |(cell, data)| {
            let outward = self.map.outward_of(cell)?;
            Some(SurfaceSample { point: data.centre, outward, panel: self.map.of_cell(cell)? })
        })
    }
}

/// Finds all seams.
///
/// # Errors
/// The scan cannot be read, has no points, is too sparse for the hems, or has a size that no car has. A scan without
/// seams is no error: the list is empty.
pub fn find_seams(source: &dyn ScanSource, settings: &TraceSettings) -> Result<FoundSeams, TraceError> {
    Ok(seams_of(gather_evidence(source, settings, &Hands::one())?, settings))
}

/// Tells seams from all else in what a scan shows.
#[must_use]
pub fn seams_of(evidence: Evidence, settings: &TraceSettings) -> FoundSeams {
    let Evidence { survey, network, stubs } = evidence;
    let mut rejected: Vec<Rejected> =
        stubs.into_iter().map(|chain| Rejected { points: chain.points, why: Rejection::TooShort }).collect();
    let mut network = network;
    let mut map = PanelMap::split(&survey, &chains_of(&network));
    for _round in 0..ROUNDS {
        let reasons = judge_arms(&network, &map);
        if reasons.iter().all(Option::is_none) {
            break;
        }
        let mut kept = Vec::new();
        for (arm, reason) in network.arms.into_iter().zip(reasons) {
            match reason {
                Some(why) => rejected.push(Rejected { points: arm.chain.points, why }),
                None => kept.push(arm.chain),
            }
        }
        network = join_chains(&kept);
        map = PanelMap::split(&survey, &chains_of(&network));
    }
    describe(survey, &network, map, rejected, settings)
}

fn chains_of(network: &Network) -> Vec<&Chain> {
    network.arms.iter().map(|arm| &arm.chain).collect()
}

fn seen_share(chain: &Chain) -> f64 {
    let seen = chain.points.iter().filter(|point| point.pair_count > 0).count();
    seen as f64 / chain.points.len().max(1) as f64
}

/// The reason against each arm; only the strongest are named in one round, since dropping one changes the panels.
fn judge_arms(network: &Network, map: &PanelMap) -> Vec<Option<Rejection>> {
    let chains = chains_of(network);
    let reasons: Vec<Option<Rejection>> = chains
        .iter()
        .enumerate()
        .map(|(number, chain)| {
            if seen_share(chain) < LEAST_SEEN {
                return Some(Rejection::TooLittleSeen);
            }
            let [Some(left), Some(right)] = map.beside[number] else { return Some(Rejection::NoPanelBeside) };
            if left == right {
                return (chain.length_mm() < LONG_MM || chain.is_closed).then_some(Rejection::OnePanel);
            }
            let against = [left, right]
                .iter()
                .zip(map.side_votes[number])
                .filter(|(panel, vote)| map.sense(**panel) * vote < -0.3)
                .count();
            (against > 0).then_some(Rejection::StandsProud)
        })
        .collect();
    let proud = |reason: &Option<Rejection>| *reason == Some(Rejection::StandsProud);
    if reasons.iter().any(|reason| reason.is_some() && !proud(reason)) {
        // First what is plain; the votes are taken again without it.
        return reasons.iter().map(|reason| reason.filter(|_| !proud(reason))).collect();
    }
    reasons
}

fn describe(
    survey: Survey,
    network: &Network,
    map: PanelMap,
    rejected: Vec<Rejected>,
    settings: &TraceSettings,
) -> FoundSeams {
    let mut seams: Vec<FoundSeam> = network
        .arms
        .iter()
        .enumerate()
        .filter_map(|(number, arm)| {
            let [Some(left), Some(right)] = map.beside[number] else { return None };
            let chain = &arm.chain;
            let mut widths: Vec<f64> = chain
                .points
                .iter()
                .filter(|point| point.pair_count > 0)
                .map(|point| point.width_mm)
                .collect();
            let apart = if left == right { 0.5 } else { 1.0 };
            Some(FoundSeam {
                name: String::new(),
                points: thinned(&chain.points, settings),
                panels: [left, right],
                nodes: arm.nodes,
                is_closed: chain.is_closed,
                length_mm: chain.length_mm(),
                width_mm: median(&mut widths).unwrap_or(0.0),
                bridges: bridges_of(&chain.points),
                trust: seen_share(chain) * apart,
                twin: None,
            })
        })
        .collect();
    seams.sort_by(|left, right| (right.trust * right.length_mm).total_cmp(&(left.trust * left.length_mm)));
    for (number, seam) in seams.iter_mut().enumerate() {
        seam.name = format!("seam-{}", number + 1);
    }
    let outlines: Vec<Outline> = seams.iter().map(outline).collect();
    for (seam, twin) in seams.iter_mut().zip(find_twins(&outlines)) {
        seam.twin = twin;
    }
    let panels = describe_panels(&survey, &map, &seams);
    let junctions = network
        .nodes
        .iter()
        .enumerate()
        .filter(|(_, node)| node.arm_count > 2)
        .map(|(number, node)| FoundJunction { point: node.point, doubt_mm: node.doubt_mm, node: number })
        .collect();
    let chains = network.arms.iter().map(|arm| arm.chain.clone()).collect();
    FoundSeams { seams, panels, junctions, rejected, survey, map, chains }
}

/// The place half-way along: the middle one of the points may lie some millimetres off it.
fn half_way(points: &[ChainPoint]) -> Option<Point3<f64>> {
    let steps = || points.windows(2).map(|pair| (pair[0].point, pair[1].point - pair[0].point));
    let mut left_mm = 0.5 * steps().map(|(_, step)| step.norm()).sum::<f64>();
    steps().find_map(|(from, step)| {
        let length_mm = step.norm();
        if left_mm <= length_mm {
            return Some(from + step * (left_mm / length_mm.max(1e-9)));
        }
        left_mm -= length_mm;
        None
    })
}

fn outline(seam: &FoundSeam) -> Outline {
    let points = &seam.points;
    let place = |index: usize| points.get(index).map_or_else(Point3::origin, |point| point.point);
    Outline {
        ends: [place(0), place(points.len().saturating_sub(1))],
        middle: half_way(points).unwrap_or_else(|| place(0)),
        length_mm: seam.length_mm,
    }
}

fn describe_panels(survey: &Survey, map: &PanelMap, seams: &[FoundSeam]) -> Vec<FoundPanel> {
    let count = map.cell_counts.len();
    let mut sums = vec![Vector3::zeros(); count];
    for (cell, data) in survey.data.iter().enumerate() {
        if let Some(panel) = map.of_cell(cell) {
            sums[panel] += data.centre.coords;
        }
    }
    (0..count)
        .map(|panel| {
            let mut neighbours: Vec<usize> = seams
                .iter()
                .filter(|seam| seam.panels.contains(&panel))
                .flat_map(|seam| seam.panels)
                .filter(|other| *other != panel)
                .collect();
            neighbours.sort_unstable();
            neighbours.dedup();
            FoundPanel {
                name: format!("panel-{}", panel + 1),
                centre: Point3::from(sums[panel] / map.cell_counts[panel] as f64),
                area_mm2: map.cell_counts[panel] as f64 * CELL_MM * CELL_MM,
                neighbours,
            }
        })
        .collect()
}
