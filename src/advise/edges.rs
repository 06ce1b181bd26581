//! What no move cures: how much to add to or take off each edge, and how much to raise or lower each surface.
//!
//! In: seams as they are expected after the move. Out: [`SeamEdges`]: the least change along each seam that brings all of it
//! into tolerance, the places where it is needed, measured and wanted edge in the Car frame. Units: mm.
//! Method: gap and flush are told apart: what is left of the gap is an edge line, what is left of the flush is the panel's
//! shape. Least change: min Σ |c| · spacing + (blend² / 4 spacing) Σ |second difference of c|, so that a change at one place
//! runs out over about the blend length to either side (linear programme), with every reading brought inside its limit
//! by its own expanded uncertainty, so that the next scan can prove it.
//! Only runs of [`LEAST_RUN_MM`] and more that are proved to be out ask for metal; single stations are left alone and
//! counted, and no reading is made worse.
//! Which of two edges to change is not in the gap: the advised panel's edge is taken, and the same on the other edge with
//! the same sign does as well.

use nalgebra::{Point3, Vector3};

use super::advice::PanelAdvice;
use super::work::Work;
use crate::judge::{JudgedSeam, Measurand, expanded_u_mm};
use crate::plan::{DecisionRule, PanelId, Plan, Seam};
use crate::summarise::datum_to_other;

/// Shortest stretch that asks for metal, mm (method study: shorter ones are as likely strays or dirt).
pub(super) const LEAST_RUN_MM: f64 = 30.0;
/// A change runs out over about this much to either side of where it is needed, mm: a file's or a filler's run-out
/// (common practice, no source).
const BLEND_MM: f64 = 40.0;
/// The uncertainty asks for at most this share of the half width, so that a narrow tolerance still has a target.
const MOST_GUARD_SHARE: f64 = 0.5;
/// Changes below this are not written as changes, mm: half the last digit shown.
const LEAST_CHANGE_MM: f64 = 0.005;
/// Most that one place is changed, mm; beyond it, it is another panel.
const MOST_CHANGE_MM: f64 = 50.0;
/// Stations beyond a run that the blend may use, in blend lengths.
const REACH_BLENDS: f64 = 3.0;

/// What to do at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeChange {
    pub station: usize,
    pub along_mm: f64,
    /// To take off the edge (positive) or to add to it (negative), along the surface and square to the seam.
    pub take_off_mm: f64,
    /// To raise the surface (positive) or to lower it, along its normal.
    pub raise_mm: f64,
    /// The panel's edge as it was scanned, before any move; `None` where it was not seen.
    pub measured: Option<Point3<f64>>,
    /// Where the edge should be on the panel as it stood when it was scanned.
    pub wanted: Option<Point3<f64>>,
}

/// A stretch where metal must change.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeRun {
    pub measurand: Measurand,
    pub from_mm: f64,
    pub to_mm: f64,
    /// The largest change in it (take off or raise positive), and where.
    pub most_mm: f64,
    pub most_at_mm: f64,
}

/// One seam's edge.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamEdges {
    pub seam: crate::plan::SeamId,
    /// Whose edge is to change.
    pub panel: PanelId,
    /// The panel across the gap, whose edge would do as well.
    pub neighbour: PanelId,
    pub changes: Vec<EdgeChange>,
    pub runs: Vec<EdgeRun>,
    /// Readings that are out, or not proved to be in, but too short a stretch or too unsure to ask for metal.
    pub left_alone: usize,
}

impl SeamEdges {
    /// True where something is to be done.
    #[must_use]
    pub fn is_needed(&self) -> bool {
        !self.runs.is_empty()
    }
}

/// Edges of all seams of the panels asked about.
pub(super) fn edges_to_change(
    work: &Work<'_>,
    panels: &[PanelAdvice],
    before: &[JudgedSeam],
    after: &[JudgedSeam],
) -> Vec<SeamEdges> {
    before
        .iter()
        .zip(after)
        .filter_map(|(before, after)| {
            let seam = work.plan.seam(&after.seam)?;
            // The panel that is named first has the say; at least one of the two was asked about.
            let is_asked = |id: &PanelId| panels.iter().any(|one| one.panel == *id);
            let is_other = is_asked(&seam.other_panel);
            Some(seam_edges(work.plan, seam, is_other, [before, after]))
        })
        .collect()
}

fn seam_edges(plan: &Plan, seam: &Seam, is_other: bool, [before, after]: [&JudgedSeam; 2]) -> SeamEdges {
    let plans = Measurand::BOTH.map(|measurand| Wanted::of(plan, seam, after, measurand));
    let [gap, flush] = plans.each_ref().map(|wanted| wanted.least_change(seam.station_spacing_mm));
    // Taking off opens the gap whichever edge it is; raising the datum panel lowers the flush.
    let sign = if is_other { 1.0 } else { -1.0 };
    let changes: Vec<EdgeChange> = before
        .stations
        .iter()
        .enumerate()
        .map(|(index, station)| {
            let frame = &station.reading.frame;
            let (take_off_mm, raise_mm) = (gap[index], sign * flush[index]);
            let measured = station.reading.edges[usize::from(is_other)].map(|edge| edge.point);
            let step: Vector3<f64> =
                datum_to_other(seam.datum_side, frame) * (sign * take_off_mm) + frame.outward * raise_mm;
            EdgeChange {
                station: station.reading.station.index,
                along_mm: station.reading.station.along_mm,
                take_off_mm,
                raise_mm,
                measured,
                wanted: measured.map(|point| point + step),
            }
        })
        .collect();
    let [gap_wanted, flush_wanted] = &plans;
    let mut runs = gap_wanted.runs(Measurand::Gap, &changes, |change| change.take_off_mm);
    runs.extend(flush_wanted.runs(Measurand::Flush, &changes, |change| change.raise_mm));
    let (panel, neighbour) = if is_other {
        (&seam.other_panel, &seam.datum_panel)
    } else {
        (&seam.datum_panel, &seam.other_panel)
    };
    SeamEdges {
        seam: seam.id.clone(),
        panel: panel.clone(),
        neighbour: neighbour.clone(),
        changes,
        runs,
        left_alone: gap_wanted.left_alone + flush_wanted.left_alone,
    }
}

/// What a change of one measurand along a seam must keep.
struct Wanted {
    /// Least and greatest change at each station, mm; `None` where nothing was measured.
    limits: Vec<Option<[f64; 2]>>,
    /// Stations that ask for metal, in runs.
    needed: Vec<std::ops::Range<usize>>,
    left_alone: usize,
}

impl Wanted {
    fn of(plan: &Plan, seam: &Seam, after: &JudgedSeam, measurand: Measurand) -> Self {
        let is_out: Vec<bool> =
            after.stations.iter().map(|station| station.value(measurand).verdict.is_out()).collect();
        let shortest = (LEAST_RUN_MM / seam.station_spacing_mm).ceil().max(2.0) as usize;
        let mut needed = Vec::new();
        let mut start = 0;
        for stretch in is_out.chunk_by(|one, other| one == other) {
            let end = start + stretch.len();
            if stretch[0] && stretch.len() >= shortest {
                needed.push(start..end);
            }
            start = end;
        }
        let mut left_alone = 0;
        let limits = after
            .stations
            .iter()
            .enumerate()
            .map(|(index, station)| {
                let value = station.value(measurand);
                let estimate = value.measured.ok()?;
                let half_mm = 0.5 * (value.tolerance.upper_mm() - value.tolerance.lower_mm());
                let guard_mm = if plan.decision == DecisionRule::Plain {
                    0.0
                } else {
                    expanded_u_mm(estimate, &plan.decision).min(MOST_GUARD_SHARE * half_mm)
                };
                let least_mm = value.tolerance.lower_mm() + guard_mm - estimate.value_mm;
                let most_mm = value.tolerance.upper_mm() - guard_mm - estimate.value_mm;
                if needed.iter().any(|run| run.contains(&index)) {
                    return Some([least_mm, most_mm]);
                }
                left_alone += usize::from(value.verdict.is_out());
                // Not to be made worse, but not asked to get better.
                Some([least_mm.min(0.0), most_mm.max(0.0)])
            })
            .collect();
        Self { limits, needed, left_alone }
    }

    /// The least change at every station, mm.
    fn least_change(&self, spacing_mm: f64) -> Vec<f64> {
        let mut change_mm = vec![0.0; self.limits.len()];
        let reach = (REACH_BLENDS * BLEND_MM / spacing_mm).ceil() as usize;
        let mut windows: Vec<std::ops::Range<usize>> = Vec::new();
        for run in &self.needed {
            let (from, to) = (run.start.saturating_sub(reach), (run.end + reach).min(self.limits.len()));
            match windows.last_mut() {
                Some(last) if last.end >= from => last.end = to,
                _ => windows.push(from..to),
            }
        }
        for window in windows {
            if let Some(found) = least_change_in(&self.limits[window.clone()], spacing_mm) {
                change_mm[window].copy_from_slice(&found);
            }
        }
        for change in &mut change_mm {
            if change.abs() < LEAST_CHANGE_MM {
                *change = 0.0;
            }
        }
        change_mm
    }

    fn runs(
        &self,
        measurand: Measurand,
        changes: &[EdgeChange],
        amount: impl Fn(&EdgeChange) -> f64,
    ) -> Vec<EdgeRun> {
        self.needed
            .iter()
            .filter_map(|run| {
                let own = &changes[run.clone()];
                let most =
                    own.iter().max_by(|one, other| amount(one).abs().total_cmp(&amount(other).abs()))?;
                Some(EdgeRun {
                    measurand,
                    from_mm: own.first()?.along_mm,
                    to_mm: own.last()?.along_mm,
                    most_mm: amount(most),
                    most_at_mm: most.along_mm,
                })
            })
            .collect()
    }
}

/// The programme of the module's head over one window; nothing happens at its ends.
fn least_change_in(limits: &[Option<[f64; 2]>], spacing_mm: f64) -> Option<Vec<f64>> {
    let bend_cost = BLEND_MM.powi(2) / (4.0 * spacing_mm.powi(2));
    least_bent(limits, bend_cost)
}

/// Minimises Σ |c| + cost Σ |second difference| within limits, as a programme in the values and the bends.
fn least_bent(limits: &[Option<[f64; 2]>], bend_cost: f64) -> Option<Vec<f64>> {
    use microlp::{ComparisonOp, OptimizationDirection, Problem};
    let mut programme = Problem::new(OptimizationDirection::Minimize);
    let parts: Vec<_> = limits
        .iter()
        .map(|limit| {
            let [least, most] = limit.unwrap_or([-MOST_CHANGE_MM, MOST_CHANGE_MM]);
            // c = up − down, both not negative.
            let up = programme.add_var(1.0, (0.0, MOST_CHANGE_MM));
            let down = programme.add_var(1.0, (0.0, MOST_CHANGE_MM));
            if least > -MOST_CHANGE_MM {
                programme.add_constraint([(up, 1.0), (down, -1.0)], ComparisonOp::Ge, least);
            }
            if most < MOST_CHANGE_MM {
                programme.add_constraint([(up, 1.0), (down, -1.0)], ComparisonOp::Le, most);
            }
            (up, down)
        })
        .collect();
    for three in parts.windows(3) {
        let bend = programme.add_var(bend_cost, (0.0, f64::INFINITY));
        for sign in [1.0, -1.0] {
            let mut terms = vec![(bend, -1.0)];
            for ((up, down), factor) in three.iter().zip([1.0, -2.0, 1.0]) {
                terms.push((*up, sign * factor));
                terms.push((*down, -sign * factor));
            }
            programme.add_constraint(terms, ComparisonOp::Le, 0.0);
        }
    }
    let solution = programme.solve().ok()?;
    Some(parts.iter().map(|(up, down)| solution.var_value(*up) - solution.var_value(*down)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_place_is_blended_in_over_the_blend_length() {
        // 41 stations 10 mm apart; the middle one must change by 1 mm. By hand: a tent of half width m stations costs
        // m + 4 · 4 / m (bends 1/m, 2/m, 1/m), least at m = 4, that is 40 mm.
        let mut limits = vec![Some([-5.0, 5.0]); 41];
        limits[20] = Some([1.0, 5.0]);
        let change = least_change_in(&limits, 10.0).unwrap();
        assert!((change[20] - 1.0).abs() < 1e-9, "{change:?}");
        let sum: f64 = change.iter().map(|value| value.abs()).sum();
        let bends: f64 = change.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs()).sum();
        assert!((sum + 4.0 * bends - 8.0).abs() < 1e-6, "{sum} {bends}");
    }

    #[test]
    fn limits_are_kept_where_the_blend_would_break_them() {
        let mut limits = vec![Some([-5.0, 5.0]); 21];
        limits[10] = Some([1.0, 5.0]);
        limits[12] = Some([-0.1, 0.1]);
        let change = least_change_in(&limits, 10.0).unwrap();
        for (value, limit) in change.iter().zip(&limits) {
            let [least, most] = limit.unwrap();
            assert!((least - 1e-9..=most + 1e-9).contains(value), "{change:?}");
        }
    }
}
