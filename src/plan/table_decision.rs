//! The plan's table `[decision]`: how a reading with its uncertainty becomes a verdict.
//!
//! In: the table. Out: a [`DecisionRule`]. The rules are carried out by `judge`, where their sources are.
//! Default: `rule = "interval"`: undecided where a tolerance limit lies inside ±U, k = 2.

use super::fields::Fields;
use super::plan_error::PlanError;

pub(super) const KEYS: &[&str] = &["rule", "coverage_factor", "conformance", "capability"];

/// Probability that conformance must reach by default (ISO 14253-1:2017, default for proving conformity).
pub const DEFAULT_CONFORMANCE: f64 = 0.95;
/// Coverage factor by default: about 95 % for a normal distribution (JCGM 100:2008, 6.3.3).
pub const DEFAULT_COVERAGE_FACTOR: f64 = 2.0;
/// Tolerance width over 2 U that shared risk asks for by default: "four to one", common practice, no source.
pub const DEFAULT_CAPABILITY: f64 = 4.0;

/// How values with uncertainty are judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DecisionRule {
    /// Undecided where a tolerance limit lies inside the coverage interval value ± k u.
    Interval { coverage_factor: f64 },
    /// Plain acceptance: the value alone counts, and its uncertainty is ignored.
    Plain,
    /// Guard-banded: good or out once that is at least this probable, otherwise undecided.
    GuardBand { conformance: f64 },
    /// Plain acceptance as long as tolerance width / (2 U) is at least this; otherwise undecided.
    SharedRisk { capability: f64 },
}

impl Default for DecisionRule {
    fn default() -> Self {
        Self::Interval { coverage_factor: DEFAULT_COVERAGE_FACTOR }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Word {
    Interval,
    Plain,
    GuardBand,
    SharedRisk,
}

const WORDS: [(&str, Word); 4] = [
    ("interval", Word::Interval),
    ("plain", Word::Plain),
    ("guard-band", Word::GuardBand),
    ("shared-risk", Word::SharedRisk),
];

/// Each rule's own number: its key, least and greatest value.
const NUMBERS: [(&str, Word, f64, f64); 3] = [
    ("coverage_factor", Word::Interval, 1.0, 6.0),
    ("conformance", Word::GuardBand, 0.5, 0.999_999),
    ("capability", Word::SharedRisk, 1.0, 100.0),
];

pub(super) fn read(fields: &Fields<'_>) -> Result<DecisionRule, PlanError> {
    let word = fields.choice("rule", &WORDS)?.map_or(Word::Interval, |given| given.value);
    let mut own_number = None;
    for (key, owner, least, greatest) in NUMBERS {
        let Some(number) = fields.number(key)? else { continue };
        if owner != word {
            let rule = WORDS.iter().find(|(_, candidate)| *candidate == owner).map_or("", |(name, _)| name);
            let message = format!("`{key}` belongs to rule = \"{rule}\"");
            return Err(super::contradiction(&fields.context, &fields.span_of(key), message)
                .with_hint("take it out, or change the rule"));
        }
        if !(least..=greatest).contains(&number) {
            let expected = format!("between {least} and {greatest}");
            return Err(fields.bad_value(key, expected, fields.written(key)));
        }
        own_number = Some(number);
    }
    Ok(match word {
        Word::Interval => {
            DecisionRule::Interval { coverage_factor: own_number.unwrap_or(DEFAULT_COVERAGE_FACTOR) }
        }
        Word::Plain => DecisionRule::Plain,
        Word::GuardBand => DecisionRule::GuardBand { conformance: own_number.unwrap_or(DEFAULT_CONFORMANCE) },
        Word::SharedRisk => DecisionRule::SharedRisk { capability: own_number.unwrap_or(DEFAULT_CAPABILITY) },
    })
}
