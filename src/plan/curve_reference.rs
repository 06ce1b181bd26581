//! Where a seam's curve is to be found: a file, which of its curves, and places near the wanted edges.
//!
//! In: the keys `curve` and `curve_near` of a `[[seam]]`. Out: a [`CurveReference`]; places in mm, Car frame.
//! Writing: `curve = "file"` or `"file#name"`; `curve_near = [[x, y, z], …]` in the plan's unit, in the order of travel.
//! Does not read the file: `files::read_curve` does.

use super::fields::{Fields, Given};
use super::plan_error::PlanError;

/// Most places by which the edges of one seam may be picked.
const MOST_PLACES: usize = 1000;

/// Where a seam's curve is to be found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurveReference {
    /// As the plan writes it, without the part after `#`; relative to the plan's folder.
    pub path: String,
    /// Which of the file's curves, for formats that hold several.
    pub name: Option<String>,
    /// Places near the wanted edges, in the order of travel, mm; none where the name is enough.
    pub near_mm: Vec<[f64; 3]>,
}

impl CurveReference {
    /// The only curve of a file.
    #[must_use]
    pub fn file(path: impl Into<String>) -> Self {
        Self { path: path.into(), ..Self::default() }
    }
}

pub(super) fn read(fields: &Fields<'_>) -> Result<Given<CurveReference>, PlanError> {
    let given =
        fields.text("curve")?.ok_or_else(|| fields.missing("curve", "curve = \"curves/hood-nose.csv\""))?;
    let (path, name) = match given.value.rsplit_once('#') {
        Some((path, name)) => (path, Some(name.to_owned())),
        None => (given.value, None),
    };
    if path.is_empty() || name.as_deref() == Some("") || given.value.chars().any(char::is_control) {
        let found = format!("\"{}\"", given.value);
        return Err(fields.bad_value("curve", "a file, or file#name", found));
    }
    let near_mm = fields.points_mm("curve_near")?;
    super::check_count(
        &fields.context,
        &fields.span_of("curve_near"),
        "the number of places in `curve_near`",
        near_mm.len(),
        MOST_PLACES,
    )?;
    Ok(Given { value: CurveReference { path: path.to_owned(), name, near_mm }, span: given.span })
}

#[cfg(test)]
mod tests {
    use crate::plan::plan_text::tests::example_in_inches;
    use crate::plan::{CurveReference, PlanText};

    fn reference(near: &str) -> Result<CurveReference, String> {
        let text =
            example_in_inches().replace("curves/hood-fender-left.csv\"", &format!("car.step#hood\"\n{near}"));
        let plan = PlanText::parse(&text, "p").map_err(|error| error.to_string())?;
        Ok(plan.curve_references().next().unwrap().clone())
    }

    #[test]
    fn places_are_in_the_plans_unit_and_in_order() {
        let found = reference("curve_near = [[1, 2.0, -3], [4, 5, 6]]").unwrap();
        assert_eq!((found.path.as_str(), found.name.as_deref()), ("car.step", Some("hood")));
        assert_eq!(found.near_mm, [[25.4, 50.8, -3.0 * 25.4], [4.0 * 25.4, 127.0, 6.0 * 25.4]]);
        assert_eq!(reference("").unwrap().near_mm, [[0.0; 3]; 0]);
    }

    #[test]
    fn what_is_no_list_of_places_is_refused_at_its_line() {
        for bad in ["1", "[1, 2, 3]", "[[1, 2]]", "[[1, 2, \"x\"]]", "[[1, 2, 1e9]]", "[[1, 2, nan]]"] {
            let shown = reference(&format!("curve_near = {bad}")).unwrap_err();
            assert!(shown.contains("curve_near") && shown.contains('^'), "{bad}\n{shown}");
        }
    }
}
