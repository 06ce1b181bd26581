//! Carries out the plan's decision rule on one value, one station, one seam.
//!
//! In: readings, the seam's tolerances, a [`DecisionRule`]. Out: verdicts. Units: mm.
//! Method:
//! - interval (default): good or out where value ± U lies wholly inside or outside; U = k u, with k for the reading's
//!   degrees of freedom (JCGM 100:2008, 6 and G.4). This guards both sides with the full U (ILAC-G8:09/2019, w = U).
//! - plain: the value alone (JCGM 106:2012, 8.2, simple acceptance).
//! - guard-band: good once P(inside) reaches the stated probability, out once P(below) or P(above) does (ISO
//!   14253-1:2017, which takes 95 % unless agreed otherwise; JCGM 106:2012, 8.3). Both tails count, so a tolerance that
//!   is narrow against u gets the wider guard that it needs.
//! - shared risk: plain, provided that the reading is good enough for the tolerance: width / (2 U) with k = 2 at least
//!   the stated capability (JCGM 106:2012, 7.6 and 8.2.2), otherwise undecided.
//!
//! Does not change readings.

use super::conformance::{Conformance, conformance, coverage_factor};
use super::verdict::{JudgedReading, JudgedSeam, Measurand, Verdict};
use crate::measure::{Estimate, Reason, SeamReadings, StationReading};
use crate::plan::{DEFAULT_COVERAGE_FACTOR, DecisionRule, JudgedState, Seam, Tolerance};

/// Where a value lies against its tolerance, as far as the rule can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Inside,
    Below,
    Above,
    Undecided,
}

/// The coverage factor that reports use with this reading: the rule's own, or 2, for its degrees of freedom.
#[must_use]
pub fn reported_coverage_factor(degrees_of_freedom: f64, rule: &DecisionRule) -> f64 {
    let normal_factor = match rule {
        DecisionRule::Interval { coverage_factor } => *coverage_factor,
        _ => DEFAULT_COVERAGE_FACTOR,
    };
    coverage_factor(normal_factor, degrees_of_freedom)
}

/// Expanded uncertainty U = k u, mm, as reports show it after ±.
#[must_use]
pub fn expanded_u_mm(estimate: &Estimate, rule: &DecisionRule) -> f64 {
    reported_coverage_factor(estimate.degrees_of_freedom, rule) * estimate.u_mm
}

/// The verdict on one value.
#[must_use]
pub fn judge_value(
    measurand: Measurand,
    estimate: &Estimate,
    tolerance: &Tolerance,
    rule: &DecisionRule,
) -> Verdict {
    match standing(estimate, tolerance, rule) {
        Standing::Inside => Verdict::Good,
        Standing::Below => measurand.below(),
        Standing::Above => measurand.above(),
        Standing::Undecided => Verdict::Undecided,
    }
}

fn standing(estimate: &Estimate, tolerance: &Tolerance, rule: &DecisionRule) -> Standing {
    match *rule {
        DecisionRule::Interval { .. } => by_interval(estimate, tolerance, expanded_u_mm(estimate, rule)),
        DecisionRule::Plain => by_interval(estimate, tolerance, 0.0),
        DecisionRule::GuardBand { conformance: required } => {
            by_probability(&conformance(estimate, tolerance), required)
        }
        DecisionRule::SharedRisk { capability } => {
            let width_mm = tolerance.minus_mm + tolerance.plus_mm;
            if width_mm >= capability * 2.0 * expanded_u_mm(estimate, rule) {
                by_interval(estimate, tolerance, 0.0)
            } else {
                Standing::Undecided
            }
        }
    }
}

/// Whether the whole interval value ± `half_mm` lies on one side of the limits; a limit belongs to the tolerance.
fn by_interval(estimate: &Estimate, tolerance: &Tolerance, half_mm: f64) -> Standing {
    let (least, greatest) = (estimate.value_mm - half_mm, estimate.value_mm + half_mm);
    if greatest < tolerance.lower_mm() {
        Standing::Below
    } else if least > tolerance.upper_mm() {
        Standing::Above
    } else if tolerance.lower_mm() <= least && greatest <= tolerance.upper_mm() {
        Standing::Inside
    } else {
        Standing::Undecided
    }
}

fn by_probability(chances: &Conformance, required: f64) -> Standing {
    if chances.inside >= required {
        Standing::Inside
    } else if chances.below >= required {
        Standing::Below
    } else if chances.above >= required {
        Standing::Above
    } else {
        Standing::Undecided
    }
}

/// Judges a seam's readings, each against the tolerance that holds at its station.
#[must_use]
pub fn judge_seam(seam: &Seam, readings: SeamReadings, rule: &DecisionRule) -> JudgedSeam {
    JudgedSeam {
        seam: readings.seam,
        stations: readings.stations.into_iter().map(|reading| judge_station(seam, reading, rule)).collect(),
        points_used: readings.points_used,
        spacing_mm: readings.spacing_mm,
    }
}

fn judge_station(seam: &Seam, reading: StationReading, rule: &DecisionRule) -> JudgedReading {
    let along_mm = reading.station.along_mm;
    judge_reading(reading, [seam.gap_tolerance_at(along_mm), seam.flush_tolerance_at(along_mm)], rule)
}

/// Judges one station's gap and flush against their tolerances, in this order.
#[must_use]
pub fn judge_reading(
    reading: StationReading,
    [gap_tolerance, flush_tolerance]: [Tolerance; 2],
    rule: &DecisionRule,
) -> JudgedReading {
    let judge_one = |measurand, measured: &Result<Estimate, Reason>, tolerance: &Tolerance| match measured {
        Ok(estimate) => {
            (judge_value(measurand, estimate, tolerance, rule), Some(conformance(estimate, tolerance).inside))
        }
        Err(_) => (Verdict::Unseen, None),
    };
    let (gap_verdict, gap_conformance) = judge_one(Measurand::Gap, &reading.gap, &gap_tolerance);
    let (flush_verdict, flush_conformance) = judge_one(Measurand::Flush, &reading.flush, &flush_tolerance);
    JudgedReading {
        reading,
        gap_tolerance,
        flush_tolerance,
        gap_verdict,
        flush_verdict,
        gap_conformance,
        flush_conformance,
        finished: None,
        judged_state: JudgedState::AsScanned,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stated(value_mm: f64, u_mm: f64) -> Estimate {
        Estimate { value_mm, u_mm, degrees_of_freedom: f64::INFINITY, components: Vec::new() }
    }

    const TOLERANCE: Tolerance = Tolerance { nominal_mm: 4.0, minus_mm: 0.5, plus_mm: 1.0 };

    fn gap(value_mm: f64, u_mm: f64, rule: &DecisionRule) -> Verdict {
        judge_value(Measurand::Gap, &stated(value_mm, u_mm), &TOLERANCE, rule)
    }

    #[test]
    fn the_default_is_undecided_where_a_limit_lies_inside_the_interval() {
        let rule = DecisionRule::default();
        // Limits 3.5 and 5.0; U = 2 x 0.05 = 0.1.
        let expected = [
            (3.39, Verdict::Tight),
            (3.41, Verdict::Undecided),
            (3.59, Verdict::Undecided),
            (3.61, Verdict::Good),
            (4.89, Verdict::Good),
            (4.91, Verdict::Undecided),
            (5.11, Verdict::Wide),
        ];
        for (value_mm, verdict) in expected {
            assert_eq!(gap(value_mm, 0.05, &rule), verdict, "{value_mm}");
        }
        let flush = judge_value(Measurand::Flush, &stated(5.2, 0.05), &TOLERANCE, &rule);
        assert_eq!(flush, Verdict::High);
        assert_eq!(judge_value(Measurand::Flush, &stated(3.2, 0.05), &TOLERANCE, &rule), Verdict::Low);
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_interval() {
        let few = Estimate { degrees_of_freedom: 3.0, ..stated(3.65, 0.05) };
        // k(3) = 3.31 at 95.45 % (JCGM 100:2008, table G.2), so the interval reaches 3.48.
        assert_eq!(
            judge_value(Measurand::Gap, &few, &TOLERANCE, &DecisionRule::default()),
            Verdict::Undecided
        );
        assert_eq!(gap(3.65, 0.05, &DecisionRule::default()), Verdict::Good);
    }

    #[test]
    fn plain_and_shared_risk_differ_by_the_asked_capability() {
        let shared = DecisionRule::SharedRisk { capability: 4.0 };
        // Width 1.5 mm: capability 4 asks for U <= 0.1875, that is u <= 0.09375.
        assert_eq!(gap(5.001, 0.09, &shared), Verdict::Wide);
        assert_eq!(gap(4.999, 0.09, &shared), Verdict::Good);
        assert_eq!(gap(4.2, 0.1, &shared), Verdict::Undecided);
        assert_eq!(gap(4.999, 3.0, &DecisionRule::Plain), Verdict::Good);
        assert_eq!(gap(5.0, 3.0, &DecisionRule::Plain), Verdict::Good);
    }

    #[test]
    fn an_exact_value_is_never_undecided() {
        let rules = [
            DecisionRule::default(),
            DecisionRule::Plain,
            DecisionRule::GuardBand { conformance: 0.95 },
            DecisionRule::SharedRisk { capability: 4.0 },
        ];
        for rule in rules {
            assert_eq!(gap(3.5, 0.0, &rule), Verdict::Good);
            assert_eq!(gap(3.499, 0.0, &rule), Verdict::Tight);
            assert_eq!(gap(5.001, 0.0, &rule), Verdict::Wide);
        }
    }
}
