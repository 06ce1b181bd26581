//! The plan's tables `[[seam]]` and `[[seam.zone]]`: everything about a seam but the points of its curve.
//!
//! In: the tables and the panels. Out: [`SeamText`]s, mm; [`SeamText::with_curve`] makes a [`Seam`] once the curve is read.
//! Defaults: a station every 10 mm, 15 mm left out at each end, taper over 300 mm, hem radii unknown, no zones.
//! Does not read curve files.

use super::curve_reference::{self, CurveReference};
use super::fields::{Context, Fields, Given};
use super::names::{quoted_list, suggestion};
use super::plan_error::{PlanError, PlanProblem};
use super::table_measurand::{self, FLUSH_KEYS, GAP_KEYS, TOLERANCE_KEYS};
use super::types::{FlushSpec, GapSpec, Panel, PanelId, Seam, SeamId, Side, TaperSpec, Zone};
use crate::geometry::Curve;

pub(super) const KEYS: &[&str] = &[
    "id",
    "title",
    "datum_panel",
    "other_panel",
    "datum_side",
    "curve",
    "curve_near",
    "station_spacing",
    "skip_ends",
    "gap",
    "flush",
    "gap_taper",
    "taper_length",
    "hem_radius",
    "zone",
];
const ZONE_KEYS: &[&str] = &["from", "to", "gap", "flush"];
const HEM_KEYS: &[&str] = &["datum", "other"];

/// One section a centimetre: finer than a fitter can act on, coarse enough to be independent (see `measure`).
const DEFAULT_SPACING_MM: f64 = 10.0;
/// Leaves out the corner radii of usual panels (common practice, no source).
const DEFAULT_SKIP_ENDS_MM: f64 = 15.0;
/// About the length over which an eye sees a gap run out (common practice, no source).
const DEFAULT_TAPER_LENGTH_MM: f64 = 300.0;
/// Most stations in a seam: a kilometre at 10 mm.
const MOST_STATIONS: f64 = 100_000.0;
/// Most zones in a seam.
const MOST_ZONES: usize = 1000;

/// A seam whose curve has not been read.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SeamText {
    pub id: Given<String>,
    pub curve: Given<CurveReference>,
    title: String,
    datum_panel: PanelId,
    other_panel: PanelId,
    datum_side: Side,
    station_spacing: Given<f64>,
    skip_ends: Given<f64>,
    gap: GapSpec,
    flush: FlushSpec,
    taper: Option<Given<TaperSpec>>,
    hem_radius_mm: [Option<f64>; 2],
    zones: Vec<Given<Zone>>,
}

pub(super) fn read(fields: &Fields<'_>, panels: &[Panel]) -> Result<SeamText, PlanError> {
    let id = fields.id("id")?.ok_or_else(|| fields.missing("id", "id = \"hood-fender-left\""))?;
    let fields = &fields.called(format!("seam `{}`", id.value));
    let (datum_panel, other_panel) = read_panels(fields, panels)?;
    let sides = [("left", Side::Left), ("right", Side::Right)];
    let datum_side = fields
        .choice("datum_side", &sides)?
        .ok_or_else(|| fields.missing("datum_side", "datum_side = \"left\""))?
        .value;
    let given = |key: &str, value: Option<f64>, otherwise: f64| Given {
        value: value.unwrap_or(otherwise),
        span: fields.span_of(key),
    };
    Ok(SeamText {
        title: fields.title("title")?.unwrap_or_else(|| id.value.clone()),
        curve: curve_reference::read(fields)?,
        datum_panel,
        other_panel,
        datum_side,
        station_spacing: given(
            "station_spacing",
            fields.positive_length_mm("station_spacing")?,
            DEFAULT_SPACING_MM,
        ),
        skip_ends: given("skip_ends", fields.width_mm("skip_ends")?, DEFAULT_SKIP_ENDS_MM),
        gap: read_gap(fields)?,
        flush: read_flush(fields)?,
        taper: read_taper(fields)?,
        hem_radius_mm: read_hem_radius(fields)?,
        zones: read_zones(fields)?,
        id,
    })
}

fn read_panels(fields: &Fields<'_>, panels: &[Panel]) -> Result<(PanelId, PanelId), PlanError> {
    let read_one = |key: &str| {
        let given = fields.text(key)?.ok_or_else(|| fields.missing(key, &format!("{key} = \"hood\"")))?;
        match panels.iter().find(|panel| panel.id.0 == given.value) {
            Some(panel) => Ok(panel.id.clone()),
            None => Err(unknown_panel(&fields.context, &given, panels)),
        }
    };
    let (datum, other) = (read_one("datum_panel")?, read_one("other_panel")?);
    if datum == other {
        let message = format!("{} names `{datum}` both as datum and as other panel", fields.name);
        return Err(super::contradiction(&fields.context, &fields.span_of("other_panel"), message)
            .with_hint("a seam lies between two different panels"));
    }
    Ok((datum, other))
}

fn unknown_panel(context: &Context<'_>, given: &Given<&str>, panels: &[Panel]) -> PlanError {
    let known: Vec<&str> = panels.iter().map(|panel| panel.id.0.as_str()).collect();
    let problem = PlanProblem::UnknownPanel {
        panel: given.value.chars().filter(|character| !character.is_control()).take(60).collect(),
        known: if known.is_empty() { "none".to_owned() } else { quoted_list(&known) },
    };
    let hint = match suggestion(given.value, &known) {
        near if near.starts_with("did") => near,
        _ => "add a table [panels.NAME] for it".to_owned(),
    };
    context.error(&given.span, problem).with_hint(hint)
}

fn read_gap(fields: &Fields<'_>) -> Result<GapSpec, PlanError> {
    let name = format!("`gap` of {}", fields.name);
    match fields.table("gap", &name, GAP_KEYS)? {
        Some(gap) => table_measurand::read_gap(&gap),
        None => Err(fields.missing("gap", "gap = { nominal = 4.0, minus = 0.5, plus = 0.5 }")),
    }
}

fn read_flush(fields: &Fields<'_>) -> Result<FlushSpec, PlanError> {
    let name = format!("`flush` of {}", fields.name);
    match fields.table("flush", &name, FLUSH_KEYS)? {
        Some(flush) => table_measurand::read_flush(&flush),
        None => Err(fields.missing("flush", "flush = { nominal = 0.0, minus = 0.5, plus = 0.5 }")),
    }
}

fn read_taper(fields: &Fields<'_>) -> Result<Option<Given<TaperSpec>>, PlanError> {
    let length_mm = fields.positive_length_mm("taper_length")?;
    match (fields.positive_length_mm("gap_taper")?, length_mm) {
        (Some(limit_mm), length_mm) => {
            let value = TaperSpec { limit_mm, length_mm: length_mm.unwrap_or(DEFAULT_TAPER_LENGTH_MM) };
            Ok(Some(Given { value, span: fields.span_of("taper_length") }))
        }
        (None, None) => Ok(None),
        (None, Some(_)) => Err(fields.missing("gap_taper", "gap_taper = 0.5")),
    }
}

/// One number for both panels, or one for each.
fn read_hem_radius(fields: &Fields<'_>) -> Result<[Option<f64>; 2], PlanError> {
    if !fields.is_table("hem_radius") {
        return Ok([fields.positive_length_mm("hem_radius")?; 2]);
    }
    let name = format!("`hem_radius` of {}", fields.name);
    match fields.table("hem_radius", &name, HEM_KEYS)? {
        Some(radii) => Ok([radii.positive_length_mm("datum")?, radii.positive_length_mm("other")?]),
        None => Ok([None, None]),
    }
}

fn read_zones(fields: &Fields<'_>) -> Result<Vec<Given<Zone>>, PlanError> {
    let name = format!("a zone of {}", fields.name);
    let tables = fields.tables("zone", &name, ZONE_KEYS)?;
    super::check_count(
        &fields.context,
        &fields.span_of("zone"),
        "the number of zones",
        tables.len(),
        MOST_ZONES,
    )?;
    tables.iter().map(read_zone).collect()
}

fn read_zone(fields: &Fields<'_>) -> Result<Given<Zone>, PlanError> {
    let from_mm = fields.width_mm("from")?.ok_or_else(|| fields.missing("from", "from = 0.0"))?;
    let to_mm = fields.width_mm("to")?.ok_or_else(|| fields.missing("to", "to = 120.0"))?;
    if to_mm <= from_mm {
        let message = format!("{} ends where it begins or before", fields.name);
        return Err(super::contradiction(&fields.context, &fields.span_of("to"), message)
            .with_hint("`to` must be more than `from`"));
    }
    let gap = fields.table("gap", &format!("`gap` of {}", fields.name), TOLERANCE_KEYS)?;
    let flush = fields.table("flush", &format!("`flush` of {}", fields.name), TOLERANCE_KEYS)?;
    if gap.is_none() && flush.is_none() {
        return Err(fields.missing("gap", "gap = { nominal = 4.5, minus = 0.5, plus = 1.0 }"));
    }
    let zone = Zone {
        from_mm,
        to_mm,
        gap: gap.as_ref().map(table_measurand::read_gap_tolerance).transpose()?,
        flush: flush.as_ref().map(table_measurand::read_tolerance).transpose()?,
    };
    Ok(Given { value: zone, span: fields.span_of("to") })
}

impl SeamText {
    /// Joins the seam with its curve, once the two fit together.
    pub fn with_curve(self, context: &Context<'_>, curve: Curve) -> Result<Seam, PlanError> {
        self.check_against(context, curve.length_mm())?;
        Ok(Seam {
            id: SeamId(self.id.value),
            title: self.title,
            datum_panel: self.datum_panel,
            other_panel: self.other_panel,
            datum_side: self.datum_side,
            curve,
            station_spacing_mm: self.station_spacing.value,
            skip_ends_mm: self.skip_ends.value,
            gap: self.gap,
            flush: self.flush,
            taper: self.taper.map(|given| given.value),
            hem_radius_mm: self.hem_radius_mm,
            zones: self.zones.into_iter().map(|given| given.value).collect(),
        })
    }

    fn check_against(&self, context: &Context<'_>, length_mm: f64) -> Result<(), PlanError> {
        let length = length_mm / context.units.mm();
        let unit = context.units.symbol();
        let refuse = |span, message: &str, hint: &str| {
            let message = format!("{message} seam `{}`, which is {length:.1} {unit} long", self.id.value);
            Err(super::contradiction(context, span, message).with_hint(hint))
        };
        let usable_mm = length_mm - 2.0 * self.skip_ends.value;
        if usable_mm < 0.0 {
            return refuse(
                &self.skip_ends.span,
                "`skip_ends` leaves nothing of",
                "make `skip_ends` less than half the seam",
            );
        }
        let station_count = usable_mm / self.station_spacing.value;
        if station_count > MOST_STATIONS {
            let problem = PlanProblem::TooMany {
                what: format!("the number of stations in seam `{}`", self.id.value),
                found: format!("{station_count:.0}"),
                allowed: format!("{MOST_STATIONS:.0}"),
            };
            let hint = "make `station_spacing` larger, or check the plan's `units`";
            return Err(context.error(&self.station_spacing.span, problem).with_hint(hint));
        }
        // A zone that ends at the seam's rounded length is meant to end with the seam.
        let slack_mm = 1.0e-3 * length_mm.max(1.0);
        match self.zones.iter().find(|zone| zone.value.to_mm > length_mm + slack_mm) {
            Some(zone) => {
                refuse(&zone.span, "a zone ends beyond", "zones are distances along the seam's curve")
            }
            None => Ok(()),
        }
    }
}
