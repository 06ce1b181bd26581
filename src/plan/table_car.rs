//! The plan's table `[car]`: which way the car faces, so that words and pictures can say front, rear, left and right.
//!
//! In: the table. Out: [`CarTerms`], mm, Car frame. A direction is a word such as `"-x"`, or a list of three numbers.
//! Defaults: without the table nothing is assumed, and words name the axes by their letters; `up = "+z"`; the middle
//! plane is fitted to the paired curves, and pairs are found by their names (`summarise::mirror`).
//! Does not look at curves.

use std::fmt::Write;

use nalgebra::Vector3;

use super::fields::{Fields, contradiction};
use super::names::{shortened, suggestion};
use super::plan_error::{PlanError, PlanProblem};
use super::types::SeamId;
use crate::frames::CarAxes;
use crate::units::LengthUnit;

pub(super) const KEYS: &[&str] = &["forward", "up", "middle", "pairs"];

const WORDS: [(&str, [f64; 3]); 6] = [
    ("+x", [1.0, 0.0, 0.0]),
    ("-x", [-1.0, 0.0, 0.0]),
    ("+y", [0.0, 1.0, 0.0]),
    ("-y", [0.0, -1.0, 0.0]),
    ("+z", [0.0, 0.0, 1.0]),
    ("-z", [0.0, 0.0, -1.0]),
];

/// How the car lies in the plan's frame.
#[derive(Debug, Clone, PartialEq)]
pub struct CarTerms {
    pub axes: CarAxes,
    /// Where the plane lies that halves the car: distance from the origin to the driver's left, mm; `None`: not stated.
    pub middle_mm: Option<f64>,
    /// Seams that are each other's mirror image, left or right first; others are paired by their names.
    pub pairs: Vec<[SeamId; 2]>,
}

pub(super) fn read(fields: &Fields<'_>, seams: &[String]) -> Result<CarTerms, PlanError> {
    let forward =
        direction(fields, "forward")?.ok_or_else(|| fields.missing("forward", "forward = \"-x\""))?;
    let up = direction(fields, "up")?.unwrap_or_else(Vector3::z);
    let Some(axes) = CarAxes::facing(&forward, &up) else {
        let message = "`forward` and `up` point along nearly the same line".to_owned();
        let span = fields.span_of(if fields.has("up") { "up" } else { "forward" });
        return Err(contradiction(&fields.context, &span, message)
            .with_hint("give two directions at about right angles; `up` is \"+z\" where it is not given"));
    };
    Ok(CarTerms { axes, middle_mm: fields.length_mm("middle")?, pairs: pairs(fields, seams)? })
}

/// Pairs of seams of the plan, each seam in one pair at most.
fn pairs(fields: &Fields<'_>, seams: &[String]) -> Result<Vec<[SeamId; 2]>, PlanError> {
    let mut seen = std::collections::BTreeSet::new();
    let mut pairs = Vec::new();
    for pair in fields.text_pairs("pairs")? {
        for id in &pair {
            if !seams.iter().any(|seam| seam == id.value) {
                let problem = PlanProblem::UnknownSeam { seam: shortened(id.value) };
                return Err(fields
                    .context
                    .error(&id.span, problem)
                    .with_hint(suggestion(id.value, &seams.iter().map(String::as_str).collect::<Vec<_>>())));
            }
            if !seen.insert(id.value) {
                let message = format!("seam `{}` is in `pairs` twice", id.value);
                return Err(contradiction(&fields.context, &id.span, message)
                    .with_hint("name every seam once at most"));
            }
        }
        pairs.push(pair.map(|id| SeamId(id.value.to_owned())));
    }
    Ok(pairs)
}

fn direction(fields: &Fields<'_>, key: &str) -> Result<Option<Vector3<f64>>, PlanError> {
    if fields.is_list(key) {
        return Ok(fields.numbers::<3>(key)?.map(Vector3::from));
    }
    Ok(fields.choice(key, &WORDS)?.map(|given| Vector3::from(given.value)))
}

/// The table as text; nothing where nothing is known.
pub(super) fn car_text(terms: Option<&CarTerms>, units: LengthUnit) -> String {
    let Some(terms) = terms else { return String::new() };
    let mut text = format!(
        "\n[car]\nforward = {}       # where the driver looks, in this file's coordinates\nup = {}\n",
        direction_text(&terms.axes.forward()),
        direction_text(&terms.axes.up())
    );
    if let Some(middle_mm) = terms.middle_mm {
        let middle = super::write_plan::in_units(middle_mm, units);
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "middle = {middle}         # the plane that halves the car, towards the driver's left"
        );
    }
    if !terms.pairs.is_empty() {
        let pairs: Vec<String> =
            terms.pairs.iter().map(|[one, other]| format!("[\"{one}\", \"{other}\"]")).collect();
        let _ = writeln!(text, "pairs = [{}]", pairs.join(", "));
    }
    text
}

fn direction_text(direction: &Vector3<f64>) -> String {
    let word = WORDS.iter().find(|(_, axis)| Vector3::from(*axis) == *direction);
    word.map_or_else(
        || format!("[{:?}, {:?}, {:?}]", direction.x, direction.y, direction.z),
        |(word, _)| format!("\"{word}\""),
    )
}
