//! Splits the scan into panels along the seams.
//!
//! In: the survey and the chains that count as seams. Out: a panel number for each cell, the panels beside each chain,
//! and which way is out. Units: mm.
//! Method: region growing over the survey's cells (Adams and Bischof, IEEE PAMI 16(6), 1994), where a step between two
//! cells is barred when they lie on different sides of a chain that both are near to; the sense of the skin's normal is
//! handed on from cell to cell as in Hoppe et al. (SIGGRAPH 1992). Where both sides of a chain hang together all the same, at
//! a break or beyond its end, and only over a neck that is narrow for the size of what it joins, they are cut there
//! (see `necks`).
//! Does not name panels, and does not see a border that no chain marks.

use std::collections::VecDeque;

use nalgebra::{Point3, Vector3};

use super::chains::{Chain, along_at};
use super::marks::{Mark, aside, mark_chain, meets_another};
use super::necks::{NeckSearch, region_of_most};
use super::survey::{CELL_MM, Survey, SurveyCell};

/// Neighbours at less than this turn (25°) lie on one open surface, as a cosine.
const OPEN_COSINE: f64 = 0.9;
/// How far a step between sparse cells may leave the surface: noise and a share of its length (15°).
const LEVEL_RISE_MM: f64 = 0.3;
const LEVEL_SLOPE: f64 = 0.26;
/// Fewer cells than this are a fragment and no panel: about 10 cm².
const LEAST_CELLS: usize = 60;
/// What lies this far below a seam is not skin at it, mm: deeper than any flush, higher than what hems hide.
const BELOW_MM: f64 = 8.0;
/// Widest neck that is cut, in cells: some 50 mm.
const WIDEST_NECK_CELLS: usize = 20;
/// What a neck joins must have, on either side, this many times the neck's width squared: a strip beside a slot has not.
const NECK_AREA_FACTOR: usize = 12;
/// Nor is anything smaller than this cut off: about 100 cm².
const LEAST_CUT_CELLS: usize = 600;
/// A chain that ends freely on both sides is a slot or a step in one panel, unless it is so long.
const LONG_MM: f64 = 300.0;
/// Points this near to a chain are labelled by the side on which they lie, not by their cell.
const BY_SIDE_MM: f64 = 8.0;
/// And down to here: flanges, but not what stands under them.
const BY_SIDE_DEPTH_MM: f64 = 15.0;

/// Panels of a scan.
#[derive(Debug, Clone)]
pub struct PanelMap {
    /// Panel of each survey cell.
    of_cell: Vec<Option<u32>>,
    /// Each cell's skin normal in the sense of its neighbours in the panel; zero outside the panels.
    level: Vec<Vector3<f64>>,
    marks: Vec<Vec<Mark>>,
    traits: Vec<Traits>,
    /// Cells of each panel.
    pub cell_counts: Vec<usize>,
    /// Panels on the left and the right of each chain, where most of that side agrees.
    pub beside: Vec<[Option<usize>; 2]>,
    /// How the outward directions of chains, and the scan's own normals, agree with each panel's own sense: the sum of votes.
    panel_votes: Vec<f64>,
    /// The mean vote of each chain's sides, −1 to 1.
    pub side_votes: Vec<[f64; 2]>,
}

/// What a step to or from a cell asks of it first; small, since most cells are asked by all their neighbours.
#[derive(Debug, Clone, Copy)]
struct Traits {
    /// More than one point.
    has_some: bool,
    has_plane: bool,
    is_skin: bool,
    is_marked: bool,
}

impl Traits {
    fn of((cell, marks): (&SurveyCell, &Vec<Mark>)) -> Self {
        Self {
            has_some: cell.count > 1,
            has_plane: cell.plane.is_some(),
            is_skin: cell.is_skin,
            is_marked: !marks.is_empty(),
        }
    }
}

impl PanelMap {
    /// Splits the scan.
    #[must_use]
    pub fn split(survey: &Survey, chains: &[&Chain]) -> Self {
        let mut marks: Vec<Vec<Mark>> = vec![Vec::new(); survey.data.len()];
        for number in 0..chains.len() {
            mark_chain(survey, chains, number, &mut marks);
        }
        let mut map = Self {
            of_cell: vec![None; survey.data.len()],
            level: vec![Vector3::zeros(); survey.data.len()],
            traits: survey.data.iter().zip(&marks).map(Traits::of).collect(),
            marks,
            cell_counts: Vec::new(),
            beside: Vec::new(),
            panel_votes: Vec::new(),
            side_votes: Vec::new(),
        };
        map.grow(survey, chains);
        map.beside = chains.iter().map(|chain| map.panels_beside(survey, chain)).collect();
        (map.panel_votes, map.side_votes) = map.outward_votes(survey, chains);
        map
    }

    /// The panel that a point belongs to. `chains` as given to [`Self::split`].
    #[must_use]
    pub fn panel_of(&self, point: &Point3<f64>, survey: &Survey, chains: &[&Chain]) -> Option<usize> {
        let cell = survey.cells.number_at(point)?;
        let by_side = |mark: &&Mark| mark.aside_mm.abs() < BY_SIDE_MM && mark.depth_mm < BY_SIDE_DEPTH_MM;
        if let Some(mark) = nearest(&self.marks[cell]).filter(by_side) {
            let chain = chains[mark.chain as usize];
            let aside_mm = aside(&chain.points, mark.index as usize, point).map(|(aside_mm, _)| aside_mm);
            let side = aside_mm.map(|aside_mm| usize::from(aside_mm > 0.0));
            if let Some(panel) = side.and_then(|side| self.beside[mark.chain as usize][side]) {
                return Some(panel);
            }
        }
        self.of_cell[cell].map(|panel| panel as usize)
    }

    /// Panel of a survey cell.
    #[must_use]
    pub fn of_cell(&self, cell: usize) -> Option<usize> {
        self.of_cell[cell].map(|panel| panel as usize)
    }

    /// +1 where a panel's own sense is outward, −1 where it is inward.
    pub fn sense(&self, panel: usize) -> f64 {
        self.panel_votes[panel].signum()
    }

    fn outward_votes(&self, survey: &Survey, chains: &[&Chain]) -> (Vec<f64>, Vec<[f64; 2]>) {
        let mut panels = vec![0.0; self.cell_counts.len()];
        let mut sides = Vec::new();
        for (chain, beside) in chains.iter().zip(&self.beside) {
            let mut votes = [0.0; 2];
            for (side, panel) in beside.iter().enumerate() {
                let Some(panel) = *panel else { continue };
                let mut cast = 0.0;
                self.visit_beside(survey, chain, side, |cell, outward| {
                    if self.of_cell(cell) == Some(panel) {
                        votes[side] += self.level[cell].dot(outward).signum();
                        cast += 1.0;
                    }
                });
                panels[panel] += votes[side];
                votes[side] /= f64::max(cast, 1.0);
            }
            sides.push(votes);
        }
        for (cell, normal) in survey.given_normals.iter().enumerate() {
            if let Some(panel) = self.of_cell(cell) {
                // The scan's own normals decide where there are any: they outnumber the seams' votes.
                panels[panel] += 10.0 * normal.dot(&self.level[cell]).signum();
            }
        }
        (panels, sides)
    }

    fn grow(&mut self, survey: &Survey, chains: &[&Chain]) {
        let (skin, others): (Vec<usize>, Vec<usize>) =
            (0..survey.data.len()).partition(|cell| self.traits[*cell].is_skin);
        let mut region_of: Vec<Option<u32>> = vec![None; survey.data.len()];
        let mut sizes: Vec<usize> = Vec::new();
        for start in skin.into_iter().chain(others) {
            if region_of[start].is_some() {
                continue;
            }
            let number = sizes.len() as u32;
            sizes.push(self.flood(survey, start, number, &mut region_of));
        }
        self.cut_necks(survey, chains, &mut region_of, &mut sizes);
        let below = self.cells_below(&region_of, sizes.len());
        let mut ranked: Vec<usize> = (0..sizes.len())
            .filter(|region| sizes[*region] >= LEAST_CELLS && 2 * below[*region] < sizes[*region])
            .collect();
        ranked.sort_by_key(|region| (std::cmp::Reverse(sizes[*region]), *region));
        let mut panel_of = vec![None; sizes.len()];
        for (panel, region) in ranked.iter().enumerate() {
            panel_of[*region] = Some(panel as u32);
        }
        self.cell_counts = ranked.iter().map(|region| sizes[*region]).collect();
        self.of_cell =
            region_of.iter().map(|region| region.and_then(|region| panel_of[region as usize])).collect();
    }

    /// How many cells of each region lie below a seam: what is mostly there shows through the gap, and is no panel.
    fn cells_below(&self, region_of: &[Option<u32>], count: usize) -> Vec<usize> {
        let mut below = vec![0; count];
        for (region, marks) in region_of.iter().zip(&self.marks) {
            let is_below = nearest(marks).is_some_and(|mark| mark.depth_mm > BELOW_MM);
            if let Some(region) = region.filter(|_| is_below) {
                below[region as usize] += 1;
            }
        }
        below
    }

    fn flood(&mut self, survey: &Survey, start: usize, number: u32, region_of: &mut [Option<u32>]) -> usize {
        // Cells that lie flat beside one another come first: the sense of the skin goes round no edge while it can go
        // over the open.
        let mut open = VecDeque::from([start]);
        let mut edges = VecDeque::new();
        region_of[start] = Some(number);
        self.level[start] = survey.data[start].skin_normal.unwrap_or_else(Vector3::zeros);
        let mut size = 0;
        while let Some(cell) = open.pop_front().or_else(|| edges.pop_front()) {
            size += 1;
            let is_sparse = survey.is_sparse[cell];
            for near in survey.near.cells(cell) {
                if region_of[near].is_some() || !self.hangs_together(survey, cell, near, is_sparse) {
                    continue;
                }
                region_of[near] = Some(number);
                let there = self.traits[near];
                // A cell without a direction hands on its neighbour's.
                let level = survey.data[near].skin_normal.unwrap_or(self.level[cell]);
                let cosine = level.dot(&self.level[cell]);
                self.level[near] = if cosine < 0.0 { -level } else { level };
                let is_open = (there.is_skin || !there.has_plane) && cosine.abs() > OPEN_COSINE;
                if is_open { open.push_back(near) } else { edges.push_back(near) }
            }
        }
        size
    }

    /// True where a region grows on from a cell to another within its reach.
    fn hangs_together(&self, survey: &Survey, from: usize, to: usize, is_sparse: bool) -> bool {
        let (here, there) = (self.traits[from], self.traits[to]);
        let is_close = here.has_some && there.has_some && (!is_sparse || there.has_plane);
        let step = || survey.data[to].centre - survey.data[from].centre;
        (is_close || runs_level(&step(), &self.level[from]))
            && !(here.is_marked && there.is_marked && self.is_barred(from, to))
    }

    /// Parts regions that lie on both sides of a chain and hang together over a narrow neck only.
    fn cut_necks(
        &self,
        survey: &Survey,
        chains: &[&Chain],
        region_of: &mut [Option<u32>],
        sizes: &mut Vec<usize>,
    ) {
        let mut search = None;
        for (number, chain) in chains.iter().enumerate() {
            let leads_on = [false, true].iter().any(|at_end| meets_another(chains, number, *at_end));
            if chain.is_closed || !(leads_on || chain.length_mm() > LONG_MM) {
                continue;
            }
            let Some((region, sides)) = self.joined_sides(survey, chain, region_of) else { continue };
            let search = search.get_or_insert_with(|| NeckSearch::new(survey.data.len()));
            let neck = search.narrowest(&sides[0], &sides[1], WIDEST_NECK_CELLS, |cell, each| {
                let is_sparse = survey.is_sparse[cell];
                for near in survey.near.cells(cell) {
                    let is_joined = region_of[near] == Some(region)
                        && near != cell
                        && (self.hangs_together(survey, cell, near, is_sparse)
                            || self.hangs_together(survey, near, cell, is_sparse));
                    if is_joined {
                        each(near);
                    }
                }
            });
            let Some(neck) = neck else { continue };
            let near_size = neck.near_side.len();
            let far_size = sizes[region as usize].saturating_sub(near_size);
            let least = NECK_AREA_FACTOR * neck.width_cells * neck.width_cells;
            if near_size.min(far_size) > least.max(LEAST_CUT_CELLS) {
                neck.near_side.iter().for_each(|cell| region_of[*cell] = Some(sizes.len() as u32));
                sizes[region as usize] = far_size;
                sizes.push(near_size);
            }
        }
    }

    /// The region that most of both sides of a chain belong to, and its cells beside it; `None` where they differ.
    fn joined_sides(
        &self,
        survey: &Survey,
        chain: &Chain,
        region_of: &[Option<u32>],
    ) -> Option<(u32, [Vec<usize>; 2])> {
        let mut sides = [Vec::new(), Vec::new()];
        for (side, cells) in sides.iter_mut().enumerate() {
            self.visit_beside(survey, chain, side, |cell, _| cells.push(cell));
        }
        let of_both = |region: &u32| region_of_most(&sides[1], region_of) == Some(*region);
        let region = region_of_most(&sides[0], region_of).filter(of_both)?;
        sides.iter_mut().for_each(|side| side.retain(|cell| region_of[*cell] == Some(region)));
        let [near, far] = &mut sides;
        near.retain(|cell| !far.contains(cell));
        Some((region, sides))
    }

    /// Outward normal of a cell.
    #[must_use]
    pub fn outward_of(&self, cell: usize) -> Option<Vector3<f64>> {
        Some(self.level[cell] * self.sense(self.of_cell(cell)?))
    }

    /// True where a chain runs between two cells.
    fn is_barred(&self, from: usize, to: usize) -> bool {
        self.marks[from].iter().any(|mark| {
            self.marks[to]
                .iter()
                .any(|other| other.chain == mark.chain && other.aside_mm * mark.aside_mm < 0.0)
        })
    }

    fn panels_beside(&self, survey: &Survey, chain: &Chain) -> [Option<usize>; 2] {
        [0, 1].map(|side| {
            let mut votes = vec![0_usize; self.cell_counts.len() + 1];
            self.visit_beside(survey, chain, side, |cell, _| {
                votes[self.of_cell(cell).unwrap_or(self.cell_counts.len())] += 1;
            });
            let total: usize = votes.iter().sum();
            let (panel, count) =
                votes.iter().enumerate().max_by_key(|(panel, count)| (**count, usize::MAX - panel))?;
            (2 * count > total && panel < self.cell_counts.len()).then_some(panel)
        })
    }

    /// Calls `visit` with the skin cells a little beside a chain and the chain's outward direction there.
    fn visit_beside(
        &self,
        survey: &Survey,
        chain: &Chain,
        side: usize,
        mut visit: impl FnMut(usize, &Vector3<f64>),
    ) {
        let sign = if side == 0 { -1.0 } else { 1.0 };
        for (index, point) in chain.points.iter().enumerate() {
            let Some(along) = along_at(&chain.points, index) else { continue };
            let across = along.cross(&point.outward) * sign;
            let found = [4.0, 7.0, 10.0].iter().find_map(|beyond_mm| {
                let place = point.point + across * (0.5 * point.width_mm + beyond_mm);
                survey
                    .cells_round(&place)
                    .filter(|cell| survey.data[*cell].is_skin)
                    .map(|cell| (cell, (survey.data[cell].centre - place).norm()))
                    .filter(|(_, distance_mm)| *distance_mm < CELL_MM)
                    .min_by(|left, right| left.1.total_cmp(&right.1))
            });
            if let Some((cell, _)) = found {
                visit(cell, &point.outward);
            }
        }
    }
}

/// The mark of the chain that is nearest.
fn nearest(marks: &[Mark]) -> Option<&Mark> {
    marks.iter().min_by(|left, right| left.distance_mm.total_cmp(&right.distance_mm))
}

/// True for a step along the surface: where points are few, strays would otherwise hang together.
fn runs_level(step: &Vector3<f64>, level: &Vector3<f64>) -> bool {
    step.dot(level).abs() < LEVEL_RISE_MM + LEVEL_SLOPE * step.norm()
}
