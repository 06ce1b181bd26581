//! What the film of paint that is still to come does to gap and flush, and the verdicts on the finished state.
//!
//! In: the plan's [`FinishTerms`], a seam, its judged readings as scanned. Out: the change of gap and flush with its
//! uncertainty ([`FinishChange`]), and readings with a finished state beside the scanned one. Units: mm.
//! Method: film goes on along the normal of what it covers. The hem's edge moves towards the other panel by the film on
//! the edge, so the gap narrows by both edges' film; the outer faces rise by the film on them, so the flush changes
//! by the other panel's film less the datum panel's. That holds for every method of gap and flush: edges, flanges and
//! the faces on which a straightedge lies all carry their film.
//! Uncertainty: how far two panels' films go up and down together is not known (one painter, two batches), so each
//! measurand gets its unfavourable case: fully together for the gap, which sums them, and independent for the flush, which
//! subtracts them (JCGM 100:2008, 5.2.2, with r = 1 and r = 0).
//! Does not model the thinning of film on sharp edges (see `plan::table_finish`), nor what baking does to the panels, nor
//! second-order terms: a depth of the `depth` method is counted from the scanned face (at most the slope of the flange
//! times the film).

use super::conformance::conformance;
use super::decision::judge_value;
use super::verdict::{FinishedReading, JudgedReading, JudgedSeam, Measurand, Verdict};
use crate::measure::{Component, Estimate, Reason, UncertaintySource};
use crate::plan::{DecisionRule, Film, FinishTerms, JudgedState, Plan, Seam, Tolerance};

/// A change with its standard uncertainty, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FilmChange {
    pub change_mm: f64,
    pub u_mm: f64,
}

/// What is to be added to a seam's readings as scanned to get those when finished.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FinishChange {
    /// Zero or negative: film narrows gaps.
    pub gap: FilmChange,
    /// Positive where the other panel gets more film on its outer face than the datum panel.
    pub flush: FilmChange,
}

impl FinishChange {
    /// The change of one of the two measurands.
    #[must_use]
    pub const fn of(&self, measurand: Measurand) -> FilmChange {
        match measurand {
            Measurand::Gap => self.gap,
            Measurand::Flush => self.flush,
        }
    }
}

/// The change of gap and flush of a seam by the film still to come on its two panels.
#[must_use]
pub fn finish_change(terms: &FinishTerms, seam: &Seam) -> FinishChange {
    let [datum, other] = [&seam.datum_panel, &seam.other_panel].map(|panel| terms.of_panel(panel));
    FinishChange { gap: gap_change(datum.edge, other.edge), flush: flush_change(datum.outer, other.outer) }
}

fn gap_change(datum: Film, other: Film) -> FilmChange {
    FilmChange { change_mm: -(datum.build_mm + other.build_mm), u_mm: datum.u_mm + other.u_mm }
}

fn flush_change(datum: Film, other: Film) -> FilmChange {
    FilmChange { change_mm: other.build_mm - datum.build_mm, u_mm: datum.u_mm.hypot(other.u_mm) }
}

/// An estimate as it is to be expected when finished: shifted, with the film among its components.
#[must_use]
pub fn finished_estimate(scanned: &Estimate, change: FilmChange) -> Estimate {
    let mut finished = scanned.clone();
    finished.value_mm += change.change_mm;
    if change.u_mm > 0.0 {
        finished.components.push(Component {
            source: UncertaintySource::Finish,
            u_mm: change.u_mm,
            degrees_of_freedom: f64::INFINITY,
        });
        finished.u_mm = scanned.u_mm.hypot(change.u_mm);
        // Welch–Satterthwaite with a film of infinite degrees of freedom (JCGM 100:2008, G.4.1).
        finished.degrees_of_freedom *= (finished.u_mm / scanned.u_mm).powi(4);
    }
    finished
}

/// The same seam with its finished state, where the plan has film to come; unchanged otherwise.
#[must_use]
pub fn with_finish(plan: &Plan, seam: &Seam, mut judged: JudgedSeam) -> JudgedSeam {
    if plan.finish.is_to_come() {
        let change = finish_change(&plan.finish, seam);
        for station in &mut judged.stations {
            station.finished = Some(finished_reading(station, &change, &plan.decision));
            station.judged_state = plan.finish.judge;
        }
    }
    judged
}

fn finished_reading(station: &JudgedReading, change: &FinishChange, rule: &DecisionRule) -> FinishedReading {
    let finish = |measurand: Measurand, tolerance: &Tolerance| {
        let scanned = station.value_in(JudgedState::AsScanned, measurand).measured;
        let finished: Result<Estimate, Reason> =
            scanned.map(|estimate| finished_estimate(estimate, change.of(measurand)));
        let (verdict, inside) = match &finished {
            Ok(estimate) => (
                judge_value(measurand, estimate, tolerance, rule),
                Some(conformance(estimate, tolerance).inside),
            ),
            Err(_) => (Verdict::Unseen, None),
        };
        (finished, verdict, inside)
    };
    let (gap, gap_verdict, gap_conformance) = finish(Measurand::Gap, &station.gap_tolerance);
    let (flush, flush_verdict, flush_conformance) = finish(Measurand::Flush, &station.flush_tolerance);
    FinishedReading { gap, flush, gap_verdict, flush_verdict, gap_conformance, flush_conformance }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn film(build_mm: f64, u_mm: f64) -> Film {
        Film { build_mm, u_mm }
    }

    fn scanned(value_mm: f64, u_mm: f64) -> Estimate {
        let source = UncertaintySource::ScanNoise;
        Estimate::from_components(value_mm, vec![Component { source, u_mm, degrees_of_freedom: 9.0 }])
    }

    /// By hand: edges of 0.10 and 0.05 close a gap of 4.60 to 4.45; u = sqrt(0.04² + (0.02 + 0.01)²) = 0.05; the
    /// degrees of freedom rise from 9 to 9 · (0.05 / 0.04)⁴ = 21.97 (Welch–Satterthwaite).
    #[test]
    fn a_gap_narrows_by_both_edges() {
        let change = gap_change(film(0.10, 0.02), film(0.05, 0.01));
        let finished = finished_estimate(&scanned(4.60, 0.04), change);
        assert!((finished.value_mm - 4.45).abs() < 1e-12);
        assert!((finished.u_mm - 0.05).abs() < 1e-12);
        assert!((finished.degrees_of_freedom - 21.97).abs() < 0.01, "{}", finished.degrees_of_freedom);
    }

    /// By hand: bare hood (0.12) beside a primed fender (0.06) as datum rises by 0.06; u = sqrt(0.03² + 0.04²) = 0.05.
    #[test]
    fn a_flush_changes_by_the_difference_of_the_faces() {
        let change = flush_change(film(0.06, 0.03), film(0.12, 0.04));
        assert!((change.change_mm - 0.06).abs() < 1e-12 && (change.u_mm - 0.05).abs() < 1e-12);
        let swapped = flush_change(film(0.12, 0.04), film(0.06, 0.03));
        assert!((swapped.change_mm + 0.06).abs() < 1e-12);
        // Two panels painted alike: the flush stays, and is a little less sure.
        let alike = flush_change(film(0.12, 0.03), film(0.12, 0.03));
        assert_eq!(alike.change_mm, 0.0);
        assert!((alike.u_mm - 0.03 * 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn no_film_leaves_an_estimate_as_it_is() {
        let one = scanned(4.0, 0.03);
        assert_eq!(finished_estimate(&one, FilmChange::default()), one);
    }
}
