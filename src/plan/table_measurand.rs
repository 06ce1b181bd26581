//! The inline tables `gap = { … }` and `flush = { … }` of a seam or a zone: tolerance and method.
//!
//! In: the tables. Out: [`GapSpec`], [`FlushSpec`], [`Tolerance`], mm.
//! Defaults: gap by `edge`, flush at `mid-gap`. The methods are defined in `measure`.

use super::fields::Fields;
use super::plan_error::PlanError;
use super::types::{FlushMethod, FlushSpec, GapMethod, GapSpec, Tolerance};

pub(super) const GAP_KEYS: &[&str] = &["nominal", "minus", "plus", "method", "depth"];
pub(super) const FLUSH_KEYS: &[&str] = &["nominal", "minus", "plus", "method", "rest", "reach"];
pub(super) const TOLERANCE_KEYS: &[&str] = &["nominal", "minus", "plus"];

pub(super) fn read_gap(fields: &Fields<'_>) -> Result<GapSpec, PlanError> {
    let words = [("edge", "edge"), ("shortest", "shortest"), ("depth", "depth")];
    let word = fields.choice("method", &words)?.map_or("edge", |given| given.value);
    let depth_mm = fields.positive_length_mm("depth")?;
    let method = match (word, depth_mm) {
        ("depth", Some(depth_mm)) => GapMethod::Depth { depth_mm },
        ("depth", None) => return Err(fields.missing("depth", "depth = 1.0")),
        (_, Some(_)) => return Err(only_with(fields, "depth", "depth")),
        ("shortest", None) => GapMethod::Shortest,
        _ => GapMethod::Edge,
    };
    Ok(GapSpec { tolerance: read_gap_tolerance(fields)?, method })
}

pub(super) fn read_flush(fields: &Fields<'_>) -> Result<FlushSpec, PlanError> {
    let words = [("mid-gap", "mid-gap"), ("straightedge", "straightedge")];
    let word = fields.choice("method", &words)?.map_or("mid-gap", |given| given.value);
    let rest_mm = fields.positive_length_mm("rest")?;
    let reach_mm = fields.positive_length_mm("reach")?;
    let method = match (word, rest_mm, reach_mm) {
        ("straightedge", Some(rest_mm), Some(reach_mm)) => FlushMethod::Straightedge { rest_mm, reach_mm },
        ("straightedge", None, _) => return Err(fields.missing("rest", "rest = 30.0")),
        ("straightedge", _, None) => return Err(fields.missing("reach", "reach = 5.0")),
        (_, Some(_), _) => return Err(only_with(fields, "rest", "straightedge")),
        (_, _, Some(_)) => return Err(only_with(fields, "reach", "straightedge")),
        _ => FlushMethod::MidGap,
    };
    Ok(FlushSpec { tolerance: read_tolerance(fields)?, method })
}

/// The widest gap that can be asked for, mm: of wider ones too little panel is left in what is looked at, 45 mm to both sides.
const WIDEST_GAP_MM: f64 = 50.0;

/// A gap's tolerance: as any other, but a wanted gap is neither negative nor wider than what is looked at.
pub(super) fn read_gap_tolerance(fields: &Fields<'_>) -> Result<Tolerance, PlanError> {
    let tolerance = read_tolerance(fields)?;
    if tolerance.nominal_mm < 0.0 {
        return Err(fields.bad_value("nominal", "zero or more for a gap", fields.written("nominal")));
    }
    if tolerance.nominal_mm > WIDEST_GAP_MM {
        let expected = "at most 50 mm for a gap (is the plan's unit right?)";
        return Err(fields.bad_value("nominal", expected, fields.written("nominal")));
    }
    Ok(tolerance)
}

pub(super) fn read_tolerance(fields: &Fields<'_>) -> Result<Tolerance, PlanError> {
    let required =
        |key: &str| fields.width_mm(key)?.ok_or_else(|| fields.missing(key, &format!("{key} = 0.5")));
    let tolerance = Tolerance {
        nominal_mm: fields.required_length_mm("nominal")?,
        minus_mm: required("minus")?,
        plus_mm: required("plus")?,
    };
    if tolerance.minus_mm + tolerance.plus_mm <= 0.0 {
        let message = format!("{} has a tolerance of no width, which nothing can meet", fields.name);
        return Err(super::contradiction(&fields.context, &fields.span, message)
            .with_hint("make `minus` or `plus` more than zero"));
    }
    Ok(tolerance)
}

fn only_with(fields: &Fields<'_>, key: &str, method: &str) -> PlanError {
    let message = format!("`{key}` in {} belongs to the method `{method}`", fields.name);
    super::contradiction(&fields.context, &fields.span_of(key), message)
        .with_hint(format!("add method = \"{method}\", or take `{key}` out"))
}
