//! The whole text of a plan: top-level keys, then the tables, then the curves that it names.
//!
//! In: a TOML text, then a curve for each seam. Out: a checked [`Plan`], all lengths mm.
//! Method: TOML 1.0 (toml.io); every key is known or refused; see `fields` for how values are read.
//! Does not touch the disk: whoever calls [`PlanText::into_plan`] brings the curves.

use toml::de::DeTable;

use super::curve_reference::CurveReference;
use super::fields::{Context, Fields};
use super::plan_error::{PlanError, PlanProblem};
use super::table_adjuster::AdviceTerms;
use super::table_align::AlignTerms;
use super::table_car::CarTerms;
use super::table_decision::DecisionRule;
use super::table_finish::FinishTerms;
use super::table_lineup::LineupText;
use super::table_seam::SeamText;
use super::types::{Panel, Plan, ScanTerms};
use super::{
    table_adjuster, table_align, table_car, table_decision, table_finish, table_lineup, table_panels,
    table_scan, table_seam,
};
use crate::geometry::Curve;
use crate::units::LengthUnit;

const KEYS: &[&str] = &[
    "title", "units", "car", "scan", "align", "panels", "decision", "finish", "seam", "adjuster", "advice",
    "lineup",
];
/// Units that a plan may be written in; the scan may be in others.
const UNITS: [(&str, LengthUnit); 2] = [("mm", LengthUnit::Millimetre), ("inch", LengthUnit::Inch)];
/// Most seams in a plan: many times what a car has.
const MOST_SEAMS: usize = 10_000;

/// A plan whose text is in order and whose curves have not been read.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanText {
    file_name: String,
    text: String,
    title: String,
    units: LengthUnit,
    scan: ScanTerms,
    panels: Vec<Panel>,
    decision: DecisionRule,
    align: AlignTerms,
    advice: AdviceTerms,
    car: Option<CarTerms>,
    finish: FinishTerms,
    lineups: Vec<LineupText>,
    seams: Vec<SeamText>,
}

impl PlanText {
    /// Reads a plan's text. `file_name` is for messages only.
    ///
    /// # Errors
    /// Anything that is not as the plan's format says, with its place.
    pub fn parse(text: &str, file_name: &str) -> Result<Self, PlanError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let document = DeTable::parse(text).map_err(|error| {
            let problem = PlanProblem::Syntax { message: error.message().to_owned() };
            PlanError::at(file_name, text, error.span().unwrap_or(0..0), problem)
        })?;
        let before_units = Context { file_name, text, units: LengthUnit::Millimetre };
        // What is missing at the top is missing at the top: the first line.
        let mut root = Fields::open(before_units, document.get_ref(), 0..0, "the plan", KEYS)?;
        let units =
            root.choice("units", &UNITS)?.ok_or_else(|| root.missing("units", "units = \"mm\""))?.value;
        root.context.units = units;
        let panels = table_panels::read(&root)?;
        let scan = match root.table("scan", "[scan]", table_scan::KEYS)? {
            Some(fields) => table_scan::read(&fields)?,
            None => return Err(root.missing("scan", "[scan], and under it units = \"mm\"")),
        };
        let seams = read_seams(&root, &panels)?;
        let seam_ids: Vec<String> = seams.iter().map(|seam| seam.id.value.clone()).collect();
        let car = root.table("car", "[car]", table_car::KEYS)?;
        Ok(Self {
            file_name: file_name.to_owned(),
            text: text.to_owned(),
            title: root.title("title")?.ok_or_else(|| root.missing("title", "title = \"My car\""))?,
            units,
            align: table_align::read(&root, scan.units, scan.accuracy_mm)?,
            scan,
            decision: match root.table("decision", "[decision]", table_decision::KEYS)? {
                Some(fields) => table_decision::read(&fields)?,
                None => DecisionRule::default(),
            },
            advice: table_adjuster::read(&root, &panels, &seam_ids)?,
            car: car.map(|fields| table_car::read(&fields, &seam_ids)).transpose()?,
            seams,
            finish: table_finish::read(&root, &panels)?,
            lineups: table_lineup::read(&root, &seam_ids)?,
            panels,
        })
    }

    /// The unit of the curve files' coordinates.
    #[must_use]
    pub const fn units(&self) -> LengthUnit {
        self.units
    }

    /// The curves that the plan names, one for each seam in the plan's order.
    pub fn curve_references(&self) -> impl Iterator<Item = &CurveReference> {
        self.seams.iter().map(|seam| &seam.curve.value)
    }

    /// Joins the text with its curves. `load` brings the curve for a reference, in mm, or says why it cannot.
    ///
    /// # Errors
    /// A curve that could not be had, or that does not fit its seam's distances; placed at the plan's line.
    pub fn into_plan(
        self,
        mut load: impl FnMut(&CurveReference) -> Result<Curve, String>,
    ) -> Result<Plan, PlanError> {
        let context = Context { file_name: &self.file_name, text: &self.text, units: self.units };
        let mut seams = Vec::with_capacity(self.seams.len());
        for seam in self.seams {
            let curve = load(&seam.curve.value).map_err(|message| {
                let problem = PlanProblem::Curve { seam: seam.id.value.clone(), message };
                context.error(&seam.curve.span, problem)
            })?;
            seams.push(seam.with_curve(&context, curve)?);
        }
        let lineups = self.lineups.into_iter();
        let lineups = lineups.map(|lineup| table_lineup::check_places(&context, lineup, &seams));
        Ok(Plan {
            lineups: lineups.collect::<Result<_, _>>()?,
            title: self.title,
            units: self.units,
            scan: self.scan,
            panels: self.panels,
            seams,
            decision: self.decision,
            align: self.align,
            advice: self.advice,
            car: self.car,
            finish: self.finish,
        })
    }
}

fn read_seams(root: &Fields<'_>, panels: &[Panel]) -> Result<Vec<SeamText>, PlanError> {
    let tables = root.tables("seam", "a [[seam]]", table_seam::KEYS)?;
    super::check_count(
        &root.context,
        &root.span_of("seam"),
        "the number of seams",
        tables.len(),
        MOST_SEAMS,
    )?;
    if tables.is_empty() {
        return Err(root.missing("seam", "[[seam]], and under it id, panels, curve and tolerances"));
    }
    let mut seen = std::collections::BTreeSet::new();
    let mut seams = Vec::with_capacity(tables.len());
    for fields in &tables {
        let seam = table_seam::read(fields, panels)?;
        if !seen.insert(seam.id.value.clone()) {
            let problem = PlanProblem::Repeated { things: "seams".to_owned(), id: seam.id.value };
            return Err(root.context.error(&seam.id.span, problem).with_hint("give every seam its own id"));
        }
        seams.push(seam);
    }
    Ok(seams)
}

#[cfg(test)]
pub(super) mod tests;
