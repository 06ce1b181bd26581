//! Splits the scan into panels along the seams.
//!
//! In: the survey and the chains that count as seams. Out: a panel number for each cell, the panels beside each chain,
//! and which way is out. Units: mm.
//! Method: region growing over the survey's cells (Adams and Bischof, IEEE PAMI 16(6), 1994), where a step between two
//! cells is barred when they lie on different sides of a chain that both are near to; the sense of the skin's normal is
//! handed on from cell to cell as in Hoppe et al. (SIGGRAPH 1992).
//! Does not name panels, and does not see a border that no chain marks.

use nalgebra::{Point3, Vector3};

use super::chains::{Chain, ChainPoint, along_at};
use super::survey::{CELL_MM, Survey};

/// Cells this near to a chain know on which side of it they are.
const RIBBON_MM: f64 = 15.0;
/// How far a chain bars the way beyond its own ends: the corner's rounding at a junction, the last cells at a border.
const BEYOND_MM: f64 = 10.0;
/// Fewer cells than this are a fragment and no panel: about 10 cm².
const LEAST_CELLS: usize = 60;
/// Points this near to a chain are labelled by the side on which they lie, not by their cell.
const BY_SIDE_MM: f64 = 8.0;

/// Where a cell lies beside a chain.
#[derive(Debug, Clone, Copy)]
struct Mark {
    chain: u32,
    /// Nearest point of the chain.
    index: u32,
    distance_mm: f64,
    /// Positive on the right, walking along the chain on the outside.
    aside_mm: f64,
}

/// Panels of a scan.
#[derive(Debug, Clone)]
pub struct PanelMap {
    /// Panel of each survey cell.
    of_cell: Vec<Option<u32>>,
    /// Sense of each cell's skin normal that agrees with its neighbours in the panel, +1 or −1.
    sense: Vec<f64>,
    marks: Vec<Vec<Mark>>,
    /// Cells of each panel.
    pub cell_counts: Vec<usize>,
    /// Panels on the left and the right of each chain, where most of that side agrees.
    pub beside: Vec<[Option<usize>; 2]>,
}

impl PanelMap {
    /// Splits the scan.
    #[must_use]
    pub fn split(survey: &Survey, chains: &[&Chain]) -> Self {
        let mut marks: Vec<Vec<Mark>> = vec![Vec::new(); survey.data.len()];
        for (number, chain) in chains.iter().enumerate() {
            mark_chain(survey, chain, number as u32, &mut marks);
        }
        let mut map = Self {
            of_cell: vec![None; survey.data.len()],
            sense: vec![1.0; survey.data.len()],
            marks,
            cell_counts: Vec::new(),
            beside: Vec::new(),
        };
        map.grow(survey);
        map.beside = chains.iter().map(|chain| map.panels_beside(survey, chain)).collect();
        map
    }

    /// The panel that a point belongs to. `chains` as given to [`Self::split`].
    #[must_use]
    pub fn panel_of(&self, point: &Point3<f64>, survey: &Survey, chains: &[&Chain]) -> Option<usize> {
        let cell = survey.cells.number_at(point)?;
        let nearest =
            self.marks[cell].iter().min_by(|left, right| left.distance_mm.total_cmp(&right.distance_mm));
        if let Some(mark) = nearest.filter(|mark| mark.aside_mm.abs() < BY_SIDE_MM) {
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

    /// How the outward directions of chains agree with each panel's own sense: for each panel the sum of votes, and for
    /// each chain and side the mean vote, −1 to 1.
    #[must_use]
    pub fn outward_votes(&self, survey: &Survey, chains: &[&Chain]) -> (Vec<f64>, Vec<[f64; 2]>) {
        let mut panels = vec![0.0; self.cell_counts.len()];
        let mut sides = Vec::new();
        for (chain, beside) in chains.iter().zip(&self.beside) {
            let mut votes = [0.0; 2];
            for (side, panel) in beside.iter().enumerate() {
                let Some(panel) = *panel else { continue };
                let mut cast = 0.0;
                self.visit_beside(survey, chain, side, |cell, outward| {
                    if self.of_cell(cell) == Some(panel) {
                        let skin = survey.data[cell].skin_normal.unwrap_or_else(Vector3::zeros);
                        votes[side] += (skin.dot(outward) * self.sense[cell]).signum();
                        cast += 1.0;
                    }
                });
                panels[panel] += votes[side];
                votes[side] /= f64::max(cast, 1.0);
            }
            sides.push(votes);
        }
        for (cell, normal) in survey.given_normals.iter().enumerate() {
            if let (Some(panel), Some(skin)) = (self.of_cell(cell), survey.data[cell].skin_normal) {
                // The scan's own normals decide where there are any: they outnumber the seams' votes.
                panels[panel] += 10.0 * (normal.dot(&skin) * self.sense[cell]).signum();
            }
        }
        (panels, sides)
    }

    fn grow(&mut self, survey: &Survey) {
        let mut order: Vec<usize> = (0..survey.data.len()).collect();
        order.sort_by_key(|cell| (!survey.data[*cell].is_skin, *cell));
        let mut region_of: Vec<Option<u32>> = vec![None; survey.data.len()];
        let mut sizes: Vec<usize> = Vec::new();
        for start in order {
            if region_of[start].is_some() || survey.data[start].count < 2 {
                continue;
            }
            let number = sizes.len() as u32;
            sizes.push(self.flood(survey, start, number, &mut region_of));
        }
        let mut ranked: Vec<usize> =
            (0..sizes.len()).filter(|region| sizes[*region] >= LEAST_CELLS).collect();
        ranked.sort_by_key(|region| (std::cmp::Reverse(sizes[*region]), *region));
        let mut panel_of = vec![None; sizes.len()];
        for (panel, region) in ranked.iter().enumerate() {
            panel_of[*region] = Some(panel as u32);
        }
        self.cell_counts = ranked.iter().map(|region| sizes[*region]).collect();
        self.of_cell =
            region_of.iter().map(|region| region.and_then(|region| panel_of[region as usize])).collect();
    }

    fn flood(&mut self, survey: &Survey, start: usize, number: u32, region_of: &mut [Option<u32>]) -> usize {
        let mut waiting = std::collections::VecDeque::from([start]);
        region_of[start] = Some(number);
        let mut size = 0;
        while let Some(cell) = waiting.pop_front() {
            size += 1;
            for near in survey.cells.around(survey.cells.address(cell), 1) {
                let is_free = region_of[near].is_none() && survey.data[near].count >= 2;
                if !is_free || self.is_barred(cell, near) {
                    continue;
                }
                region_of[near] = Some(number);
                let agree = survey.data[cell].skin_normal.zip(survey.data[near].skin_normal);
                let turn = agree.map_or(1.0, |(from, to)| from.dot(&to).signum());
                self.sense[near] = self.sense[cell] * turn;
                waiting.push_back(near);
            }
        }
        size
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
                let address = survey.cells.address_of(&place)?;
                survey
                    .cells
                    .around(address, 1)
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

/// Sideways offset of a place from a chain at a point of it, and the offset along, mm.
fn aside(points: &[ChainPoint], index: usize, place: &Point3<f64>) -> Option<(f64, f64)> {
    let along = along_at(points, index)?;
    let across = along.cross(&points[index].outward).try_normalize(1e-9)?;
    let offset = place - points[index].point;
    Some((offset.dot(&across), offset.dot(&along)))
}

fn mark_chain(survey: &Survey, chain: &Chain, number: u32, marks: &mut [Vec<Mark>]) {
    let reach = (RIBBON_MM / CELL_MM).ceil() as i64;
    for (index, point) in chain.points.iter().enumerate() {
        let Some(address) = survey.cells.address_of(&point.point) else { continue };
        for cell in survey.cells.around(address, reach) {
            let distance_mm = (survey.data[cell].centre - point.point).norm();
            if distance_mm > RIBBON_MM {
                continue;
            }
            let Some((aside_mm, ahead_mm)) = aside(&chain.points, index, &survey.data[cell].centre) else {
                continue;
            };
            let is_tip = !chain.is_closed && (index == 0 || index + 1 == chain.points.len());
            if is_tip && ahead_mm.abs() > BEYOND_MM {
                continue;
            }
            let mark = Mark { chain: number, index: index as u32, distance_mm, aside_mm };
            match marks[cell].last_mut() {
                Some(last) if last.chain == number => {
                    if distance_mm < last.distance_mm {
                        *last = mark;
                    }
                }
                _ => marks[cell].push(mark),
            }
        }
    }
}
