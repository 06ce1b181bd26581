//! The plan's tables `[[lineup]]`: creases, bars and grooves that run across a seam and should go on on the other side.
//!
//! In: the tables and the seams' ids. Out: [`Lineup`]s, mm. What is measured, and the signs, are defined in `lineup`.
//! Defaults: looked for within 15 mm of `at` (for a row of bars: within 0.45 of the pitch); 4 mm left out on both sides
//! of a crease, where it is rounded (a crease of 15 mm radius that turns by 30° is round over ±4 mm).
//! Does not look at curves: whether `at` lies on the seam is checked once the curves are read.

use std::fmt::Write;

use super::fields::{Context, Fields, Given, contradiction};
use super::names::suggestion;
use super::plan_error::{PlanError, PlanProblem};
use super::table_measurand::{TOLERANCE_KEYS, read_tolerance};
use super::types::{Seam, SeamId, Tolerance};
use super::write_plan::{in_units, quoted, tolerance_text};
use crate::units::LengthUnit;

const KEYS: &[&str] =
    &["id", "title", "seam", "at", "kind", "width", "rounded", "search", "step", "shift", "bars", "mirror"];
const BARS_KEYS: &[&str] = &["count", "pitch", "minus", "plus", "evenness"];

const DEFAULT_SEARCH_MM: f64 = 15.0;
const DEFAULT_ROUNDED_MM: f64 = 4.0;
/// Share of the pitch within which a bar of a row is looked for, so that its neighbours stay out.
const SEARCH_SHARE_OF_PITCH: f64 = 0.45;
/// The search reaches no further than this, mm: beyond it lies another feature.
const WIDEST_SEARCH_MM: f64 = 60.0;
/// Most bars in a row, and most lineups in a plan.
const MOST_BARS: f64 = 200.0;
const MOST_LINEUPS: usize = 1000;

/// What runs across the seam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineupKind {
    /// A body line: the surface bends along it, one way or the other.
    Crease,
    /// A ridge with two flanks, alone or in a row.
    Bar,
    /// A channel with two flanks, alone or in a row.
    Groove,
}

impl LineupKind {
    /// The word in plans and files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Crease => "crease",
            Self::Bar => "bar",
            Self::Groove => "groove",
        }
    }
}

/// A row of bars or grooves, evenly spaced along the seam from `at` on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarRow {
    pub count: usize,
    /// From middle to middle, across the bars.
    pub pitch: Tolerance,
    /// Furthest that a bar may lie off its place in an even row, mm.
    pub evenness_mm: Option<f64>,
}

/// Something that runs across a seam.
#[derive(Debug, Clone, PartialEq)]
pub struct Lineup {
    /// Lower case, digits, hyphens; also the stem of its picture file.
    pub id: String,
    pub title: String,
    pub seam: SeamId,
    /// Where it, or the first of its row, crosses the seam: distance along the seam's curve, mm.
    pub at_mm: f64,
    pub kind: LineupKind,
    /// Width of a bar or groove at its foot, mm; 0 for a crease.
    pub width_mm: f64,
    /// What is left out on both sides of a crease, mm.
    pub rounded_mm: f64,
    /// How far from its place it is looked for, mm.
    pub search_mm: f64,
    /// Allowed step along the outward normal; `None`: measured and not judged.
    pub step: Option<Tolerance>,
    /// Allowed shift across the line, in the surface; `None`: measured and not judged.
    pub shift: Option<Tolerance>,
    pub bars: Option<BarRow>,
    /// The same feature on the other side of the car.
    pub mirror: Option<String>,
}

impl Lineup {
    /// Where each feature crosses the seam by the plan: one, or as many as the row has bars; mm along the curve.
    #[must_use]
    pub fn places_mm(&self) -> Vec<f64> {
        let (count, pitch_mm) = self.bars.map_or((1, 0.0), |bars| (bars.count, bars.pitch.nominal_mm));
        (0..count).map(|index| self.at_mm + index as f64 * pitch_mm).collect()
    }
}

/// A lineup and where its `at` stands in the plan.
pub(super) type LineupText = Given<Lineup>;

pub(super) fn read(root: &Fields<'_>, seams: &[String]) -> Result<Vec<LineupText>, PlanError> {
    let tables = root.tables("lineup", "a [[lineup]]", KEYS)?;
    let span = root.span_of("lineup");
    super::check_count(&root.context, &span, "the number of lineups", tables.len(), MOST_LINEUPS)?;
    let mut lineups: Vec<LineupText> = Vec::with_capacity(tables.len());
    for fields in &tables {
        let (id, lineup) = read_one(fields, seams)?;
        if lineups.iter().any(|other| other.value.id == id.value) {
            let problem = PlanProblem::Repeated { things: "lineups".to_owned(), id: id.value };
            return Err(root.context.error(&id.span, problem).with_hint("give every lineup its own id"));
        }
        lineups.push(lineup);
    }
    check_mirrors(&tables, &lineups)?;
    Ok(lineups)
}

fn read_one(fields: &Fields<'_>, seams: &[String]) -> Result<(Given<String>, LineupText), PlanError> {
    let id = fields.id("id")?.ok_or_else(|| fields.missing("id", "id = \"body-line-left\""))?;
    let fields = &fields.called(format!("lineup `{}`", id.value));
    let kinds = [LineupKind::Crease, LineupKind::Bar, LineupKind::Groove].map(|kind| (kind.word(), kind));
    let kind =
        fields.choice("kind", &kinds)?.ok_or_else(|| fields.missing("kind", "kind = \"crease\""))?.value;
    let bars = read_bars(fields, kind)?;
    let tolerance = |key: &str| {
        let table = fields.table(key, &format!("`{key}` of {}", fields.name), TOLERANCE_KEYS)?;
        table.map(|table| read_tolerance(&table)).transpose()
    };
    let usual_search_mm =
        bars.map_or(DEFAULT_SEARCH_MM, |bars| SEARCH_SHARE_OF_PITCH * bars.pitch.nominal_mm);
    let search_mm = fields.positive_length_mm("search")?.unwrap_or(usual_search_mm);
    if search_mm > WIDEST_SEARCH_MM {
        let most = WIDEST_SEARCH_MM / fields.context.units.mm();
        let expected = format!("at most {most:.1} {}", fields.context.units.symbol());
        return Err(fields.bad_value("search", expected, fields.written("search")));
    }
    let lineup = Lineup {
        title: fields.title("title")?.unwrap_or_else(|| id.value.clone()),
        seam: read_seam(fields, seams)?,
        at_mm: fields.width_mm("at")?.ok_or_else(|| fields.missing("at", "at = 240.0"))?,
        kind,
        width_mm: read_width(fields, kind)?,
        rounded_mm: fields.width_mm("rounded")?.unwrap_or(DEFAULT_ROUNDED_MM),
        search_mm,
        step: tolerance("step")?,
        shift: tolerance("shift")?,
        bars,
        mirror: fields.text("mirror")?.map(|given| given.value.to_owned()),
        id: id.value.clone(),
    };
    Ok((id, Given { value: lineup, span: fields.span_of("at") }))
}

fn read_seam(fields: &Fields<'_>, seams: &[String]) -> Result<SeamId, PlanError> {
    let given = fields.text("seam")?.ok_or_else(|| fields.missing("seam", "seam = \"fender-door-left\""))?;
    if seams.iter().any(|seam| seam == given.value) {
        return Ok(SeamId(given.value.to_owned()));
    }
    let known: Vec<&str> = seams.iter().map(String::as_str).collect();
    let problem = PlanProblem::UnknownSeam { seam: super::names::shortened(given.value) };
    Err(fields.context.error(&given.span, problem).with_hint(suggestion(given.value, &known)))
}

/// The width of a bar or groove, which a crease does not have.
fn read_width(fields: &Fields<'_>, kind: LineupKind) -> Result<f64, PlanError> {
    match (kind, fields.positive_length_mm("width")?) {
        (LineupKind::Crease, None) => Ok(0.0),
        (LineupKind::Crease, Some(_)) => Err(only_for_bars(&fields.context, fields, "width")),
        (_, None) => Err(fields.missing("width", "width = 8.0")),
        (_, Some(width_mm)) => Ok(width_mm),
    }
}

fn only_for_bars(context: &Context<'_>, fields: &Fields<'_>, key: &str) -> PlanError {
    let message = format!("`{key}` in {} belongs to a bar or a groove", fields.name);
    contradiction(context, &fields.span_of(key), message)
        .with_hint(format!("write kind = \"bar\" or kind = \"groove\", or take `{key}` out"))
}

fn read_bars(fields: &Fields<'_>, kind: LineupKind) -> Result<Option<BarRow>, PlanError> {
    let name = format!("`bars` of {}", fields.name);
    let Some(table) = fields.table("bars", &name, BARS_KEYS)? else { return Ok(None) };
    if kind == LineupKind::Crease {
        return Err(only_for_bars(&fields.context, fields, "bars"));
    }
    let count = table.number("count")?.ok_or_else(|| table.missing("count", "count = 5"))?;
    if !(2.0..=MOST_BARS).contains(&count) || count.fract() != 0.0 {
        let expected = format!("a whole number from 2 to {MOST_BARS}");
        return Err(table.bad_value("count", expected, table.written("count")));
    }
    let required =
        |key: &str| table.width_mm(key)?.ok_or_else(|| table.missing(key, &format!("{key} = 0.3")));
    let nominal_mm =
        table.positive_length_mm("pitch")?.ok_or_else(|| table.missing("pitch", "pitch = 18.0"))?;
    let pitch = Tolerance { nominal_mm, minus_mm: required("minus")?, plus_mm: required("plus")? };
    if pitch.minus_mm + pitch.plus_mm <= 0.0 {
        let message = format!("{} has a tolerance of no width, which nothing can meet", table.name);
        return Err(contradiction(&table.context, &table.span, message)
            .with_hint("make `minus` or `plus` more than zero"));
    }
    let evenness_mm = table.positive_length_mm("evenness")?;
    Ok(Some(BarRow { count: count as usize, pitch, evenness_mm }))
}

fn check_mirrors(tables: &[Fields<'_>], lineups: &[LineupText]) -> Result<(), PlanError> {
    for (fields, lineup) in tables.iter().zip(lineups) {
        let Some(mirror) = &lineup.value.mirror else { continue };
        let fields = fields.called(format!("lineup `{}`", lineup.value.id));
        let others: Vec<&str> =
            lineups.iter().map(|other| other.value.id.as_str()).filter(|id| *id != lineup.value.id).collect();
        if !others.contains(&mirror.as_str()) {
            let error = fields.bad_value("mirror", "the id of another lineup", format!("\"{mirror}\""));
            return Err(error.with_hint(suggestion(mirror, &others)));
        }
    }
    Ok(())
}

/// Refuses a lineup that does not lie on its seam.
pub(super) fn check_places(
    context: &Context<'_>,
    lineup: LineupText,
    seams: &[Seam],
) -> Result<Lineup, PlanError> {
    let length_mm =
        seams.iter().find(|seam| seam.id == lineup.value.seam).map_or(0.0, |seam| seam.curve.length_mm());
    let last_mm = lineup.value.places_mm().last().copied().unwrap_or_default();
    if last_mm <= length_mm {
        return Ok(lineup.value);
    }
    let unit = context.units;
    let message = format!(
        "lineup `{}` reaches to {:.1} {} along seam `{}`, which is {:.1} {} long",
        lineup.value.id,
        last_mm / unit.mm(),
        unit.symbol(),
        lineup.value.seam,
        length_mm / unit.mm(),
        unit.symbol()
    );
    Err(contradiction(context, &lineup.span, message).with_hint("`at` counts from the curve's first point"))
}

/// The tables as text.
pub(super) fn lineup_text(lineup: &Lineup, units: LengthUnit) -> String {
    let number = |length_mm: f64| in_units(length_mm, units);
    let mut text = String::from("\n[[lineup]]\n");
    let mut line = |key: &str, value: String| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{key} = {value}");
    };
    line("id", quoted(&lineup.id));
    line("title", quoted(&lineup.title));
    line("seam", quoted(&lineup.seam.0));
    line("at", number(lineup.at_mm));
    line("kind", quoted(lineup.kind.word()));
    if lineup.kind != LineupKind::Crease {
        line("width", number(lineup.width_mm));
    }
    line("rounded", number(lineup.rounded_mm));
    line("search", number(lineup.search_mm));
    for (key, tolerance) in [("step", &lineup.step), ("shift", &lineup.shift)] {
        if let Some(tolerance) = tolerance {
            line(key, format!("{{ {} }}", tolerance_text(tolerance, units)));
        }
    }
    if let Some(bars) = &lineup.bars {
        let evenness = bars
            .evenness_mm
            .map_or_else(String::new, |limit_mm| format!(", evenness = {}", number(limit_mm)));
        let [pitch, minus, plus] =
            [bars.pitch.nominal_mm, bars.pitch.minus_mm, bars.pitch.plus_mm].map(number);
        line(
            "bars",
            format!(
                "{{ count = {}, pitch = {pitch}, minus = {minus}, plus = {plus}{evenness} }}",
                bars.count
            ),
        );
    }
    if let Some(mirror) = &lineup.mirror {
        line("mirror", quoted(mirror));
    }
    text
}
