//! The plan's table `[finish]` and the key `finish` of a panel: the film of paint that a panel has still to get.
//!
//! In: the tables. Out: [`FinishTerms`], mm: for each panel that changes, the film on its outer face and on its edge.
//! A car's panels are fitted in bare metal and painted afterwards: film narrows a gap from both sides and lifts a flush
//! where one panel gets more of it than the other. What follows for gap and flush is worked out by `judge`.
//!
//! Defaults, from published figures for each coat:
//! - phosphate 1.5 µm, electrocoat 12 to 25, primer surfacer 35, basecoat 15 to 20, clearcoat 45 µm ("Lackaufbau", glossary
//!   of Nonachem GmbH, nonachem.com/lexikon/lackaufbau.html). Together 117.5 µm, inside the 80 to 130 µm that the
//!   German commission for paint and body repair gives for series paint (DeKoLaKa leaflet "Gesamtschichtdicke",
//!   11 March 2025, as its readers in the trade press quote it), which adds that up to twice as much occurs;
//! - clearcoat alone, sprayed by hand over carbon: 2 to 2.5 mil, 51 to 64 µm (a paint maker's advice to refinishers, "The
//!   importance of clearcoat film build", November 2014).
//!
//! The edge gets [`EDGE_SHARE`] of the face's film, and a film is known to [`FILM_U_SHARE`] of itself: both are estimates without a
//! source, to be replaced by what a thickness gauge shows.
//! Not modelled: that film thins the more, the sharper the edge (wet film draws back from edges of less than some 2 mm
//! radius: ISO 8501-3 asks for that radius in its best grade before painting), fat edges and runs, sanding through,
//! filler, and seam sealer. Give `edge` where it matters.

use super::fields::{Context, Fields};
use super::plan_error::PlanError;
use super::table_panels;
use super::types::{Panel, PanelId};
use super::write_plan::in_units;
use crate::units::LengthUnit;

pub(super) const KEYS: &[&str] = &["judge", "panels", "bare", "primed", "clear-only"];
const FILM_KEYS: &[&str] = &["outer", "edge", "u"];

/// Phosphate and electrocoat, mm; see the module head.
const ELECTROCOAT_MM: f64 = 0.020;
const PRIMER_SURFACER_MM: f64 = 0.035;
const BASECOAT_MM: f64 = 0.0175;
const CLEARCOAT_MM: f64 = 0.045;
/// Clearcoat on carbon, sprayed by hand, mm; see the module head.
const HAND_CLEARCOAT_MM: f64 = 0.057;
/// Film on an edge over film on the face beside it. An estimate, no source.
pub const EDGE_SHARE: f64 = 0.8;
/// Standard uncertainty of a film over the film. 20 % puts the 80 to 130 µm of series paint within ±1.6 u; no source.
pub const FILM_U_SHARE: f64 = 0.2;
/// A film thicker than this is a slip of the unit, mm.
const THICKEST_FILM_MM: f64 = 2.0;

/// Which state of the car verdicts are made on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum JudgedState {
    /// What the scan shows.
    #[default]
    AsScanned,
    /// What is to be expected once the film still to come is on.
    Finished,
}

impl JudgedState {
    /// The word in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::AsScanned => "as-scanned",
            Self::Finished => "finished",
        }
    }
}

/// The state in which a panel was scanned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScannedState {
    /// Bare metal: every coat is still to come.
    Bare,
    /// Electrocoat and primer are on: colour and clear are still to come.
    Primed,
    /// Carbon that gets clearcoat and nothing else.
    ClearOnly,
    /// Finished, or left as it is (bare carbon, bright trim): nothing is to come.
    Painted,
    /// The plan gives the film that is to come.
    Given,
}

impl ScannedState {
    /// The word in plans and files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Primed => "primed",
            Self::ClearOnly => "clear-only",
            Self::Painted => "painted",
            Self::Given => "given",
        }
    }
}

const STATES: [(&str, ScannedState); 4] = [
    ("bare", ScannedState::Bare),
    ("primed", ScannedState::Primed),
    ("clear-only", ScannedState::ClearOnly),
    ("painted", ScannedState::Painted),
];

/// Film of paint with its standard uncertainty, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Film {
    pub build_mm: f64,
    pub u_mm: f64,
}

/// What a panel has still to get.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelFinish {
    pub scanned: ScannedState,
    /// Film on the outer face.
    pub outer: Film,
    /// Film on the hem's edge, where it faces the other panel.
    pub edge: Film,
}

impl PanelFinish {
    const NONE: Self = Self {
        scanned: ScannedState::Painted,
        outer: Film { build_mm: 0.0, u_mm: 0.0 },
        edge: Film { build_mm: 0.0, u_mm: 0.0 },
    };

    /// The published film for a state; see the module head.
    #[must_use]
    pub fn published(scanned: ScannedState) -> Self {
        let outer_mm = match scanned {
            ScannedState::Bare => ELECTROCOAT_MM + PRIMER_SURFACER_MM + BASECOAT_MM + CLEARCOAT_MM,
            ScannedState::Primed => BASECOAT_MM + CLEARCOAT_MM,
            ScannedState::ClearOnly => HAND_CLEARCOAT_MM,
            ScannedState::Painted | ScannedState::Given => 0.0,
        };
        Self::of(scanned, outer_mm, None, None)
    }

    fn of(scanned: ScannedState, outer_mm: f64, edge_mm: Option<f64>, u_mm: Option<f64>) -> Self {
        let film = |build_mm: f64| Film { build_mm, u_mm: u_mm.unwrap_or(FILM_U_SHARE * build_mm) };
        Self { scanned, outer: film(outer_mm), edge: film(edge_mm.unwrap_or(EDGE_SHARE * outer_mm)) }
    }

    /// True where any film is to come.
    #[must_use]
    pub fn is_to_come(&self) -> bool {
        self.outer.build_mm > 0.0 || self.edge.build_mm > 0.0
    }
}

/// The finish that is still to come.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FinishTerms {
    pub judge: JudgedState,
    /// One for each panel of the plan, in its order, where the plan speaks of finish; otherwise empty.
    pub panels: Vec<(PanelId, PanelFinish)>,
}

impl FinishTerms {
    /// True where some panel has film to come, so that there is a finished state besides the scanned one.
    #[must_use]
    pub fn is_to_come(&self) -> bool {
        self.panels.iter().any(|(_, finish)| finish.is_to_come())
    }

    /// What a panel has still to get; nothing for a panel that the plan says nothing of.
    #[must_use]
    pub fn of_panel(&self, panel: &PanelId) -> PanelFinish {
        self.panels.iter().find(|(id, _)| id == panel).map_or(PanelFinish::NONE, |(_, finish)| *finish)
    }
}

pub(super) fn read(root: &Fields<'_>, panels: &[Panel]) -> Result<FinishTerms, PlanError> {
    let table = root.table("finish", "[finish]", KEYS)?;
    let known = Known::read(table.as_ref())?;
    let mut terms = FinishTerms { judge: known.judge, panels: Vec::with_capacity(panels.len()) };
    let mut is_spoken_of = table.is_some();
    for (name, fields) in root.named_tables("panels", table_panels::KEYS)? {
        is_spoken_of |= fields.has("finish");
        terms.panels.push((PanelId(name.value), panel_finish(&fields, &known)?));
    }
    if let Some(table) = table.filter(|_| !terms.is_to_come()) {
        return Err(nothing_to_come(&table.context, &table));
    }
    if !is_spoken_of {
        terms.panels.clear();
    }
    Ok(terms)
}

fn nothing_to_come(context: &Context<'_>, table: &Fields<'_>) -> PlanError {
    super::contradiction(context, &table.span, "[finish] is there, but no panel has film to come".to_owned())
        .with_hint("add panels = \"bare\" here, or finish = \"bare\" to a panel; or take [finish] out")
}

/// What `[finish]` says of all panels.
struct Known {
    judge: JudgedState,
    panels: ScannedState,
    films: [PanelFinish; 3],
}

impl Known {
    fn read(table: Option<&Fields<'_>>) -> Result<Self, PlanError> {
        let mut known = Self {
            judge: JudgedState::default(),
            panels: ScannedState::Painted,
            films: [ScannedState::Bare, ScannedState::Primed, ScannedState::ClearOnly]
                .map(PanelFinish::published),
        };
        let Some(fields) = table else { return Ok(known) };
        let judged = [JudgedState::AsScanned, JudgedState::Finished].map(|state| (state.word(), state));
        known.judge = fields.choice("judge", &judged)?.map_or(known.judge, |given| given.value);
        known.panels = fields.choice("panels", &STATES)?.map_or(known.panels, |given| given.value);
        for film in &mut known.films {
            let key = film.scanned.word();
            if let Some(inner) = fields.table(key, &format!("`{key}` of [finish]"), FILM_KEYS)? {
                *film = read_film(&inner, film.scanned)?;
            }
        }
        Ok(known)
    }

    fn film(&self, state: ScannedState) -> PanelFinish {
        self.films.into_iter().find(|film| film.scanned == state).unwrap_or(PanelFinish::NONE)
    }
}

fn panel_finish(panel: &Fields<'_>, known: &Known) -> Result<PanelFinish, PlanError> {
    if panel.is_table("finish") {
        let name = format!("`finish` of {}", panel.name);
        if let Some(inner) = panel.table("finish", &name, FILM_KEYS)? {
            return read_film(&inner, ScannedState::Given);
        }
    }
    let state = panel.choice("finish", &STATES)?.map_or(known.panels, |given| given.value);
    Ok(known.film(state))
}

fn read_film(fields: &Fields<'_>, scanned: ScannedState) -> Result<PanelFinish, PlanError> {
    let film = |key: &str| match fields.width_mm(key)? {
        Some(film_mm) if film_mm > THICKEST_FILM_MM => {
            let unit = fields.context.units.symbol();
            let most = THICKEST_FILM_MM / fields.context.units.mm();
            let error = fields.bad_value(key, format!("at most {most:.2} {unit}"), fields.written(key));
            Err(error.with_hint("film builds are in the plan's unit: 120 µm is 0.12 mm"))
        }
        other => Ok(other),
    };
    let outer_mm = film("outer")?.ok_or_else(|| fields.missing("outer", "outer = 0.12"))?;
    Ok(PanelFinish::of(scanned, outer_mm, film("edge")?, film("u")?))
}

/// The key of a panel, or nothing where the plan does not speak of finish.
pub(super) fn panel_finish_text(terms: &FinishTerms, panel: &PanelId, units: LengthUnit) -> String {
    match terms.panels.iter().find(|(id, _)| id == panel) {
        Some((_, finish)) if finish.scanned == ScannedState::Given => {
            format!("finish = {}\n", film_text(finish, units))
        }
        Some((_, finish)) => format!("finish = \"{}\"\n", finish.scanned.word()),
        None => String::new(),
    }
}

/// The table `[finish]`: what differs from the defaults. Nothing where there is nothing to come.
pub(super) fn finish_text(terms: &FinishTerms, units: LengthUnit) -> String {
    let mut text = String::new();
    if terms.judge != JudgedState::default() {
        text.push_str(&format!("judge = \"{}\"      # verdicts are on this state\n", terms.judge.word()));
    }
    for state in [ScannedState::Bare, ScannedState::Primed, ScannedState::ClearOnly] {
        let own = terms.panels.iter().map(|(_, finish)| finish).find(|finish| finish.scanned == state);
        if let Some(finish) = own.filter(|finish| **finish != PanelFinish::published(state)) {
            text.push_str(&format!("{} = {}\n", state.word(), film_text(finish, units)));
        }
    }
    if text.is_empty() { text } else { format!("\n[finish]\n{text}") }
}

fn film_text(finish: &PanelFinish, units: LengthUnit) -> String {
    let number = |length_mm: f64| in_units(length_mm, units);
    let (outer, edge) = (&finish.outer, &finish.edge);
    let is_usual = [outer, edge].iter().all(|film| (film.u_mm - FILM_U_SHARE * film.build_mm).abs() < 1e-9);
    let u = if is_usual { String::new() } else { format!(", u = {}", number(outer.u_mm)) };
    format!("{{ outer = {}, edge = {}{u} }}", number(outer.build_mm), number(edge.build_mm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_coats_add_up() {
        // 20 + 35 + 17.5 + 45 = 117.5; 17.5 + 45 = 62.5; sums of exact decimals, to rounding.
        let expected =
            [(ScannedState::Bare, 0.1175), (ScannedState::Primed, 0.0625), (ScannedState::ClearOnly, 0.057)];
        for (state, outer_mm) in expected {
            let finish = PanelFinish::published(state);
            assert!((finish.outer.build_mm - outer_mm).abs() < 1e-12, "{finish:?}");
            assert!((finish.edge.build_mm - 0.8 * outer_mm).abs() < 1e-12, "{finish:?}");
            assert!((finish.outer.u_mm - 0.2 * outer_mm).abs() < 1e-12, "{finish:?}");
        }
        assert!(!PanelFinish::published(ScannedState::Painted).is_to_come());
    }

    /// DeKoLaKa leaflet of 11 March 2025: series paint is 80 to 130 µm in all.
    #[test]
    fn the_whole_build_lies_in_the_published_range() {
        let outer = PanelFinish::published(ScannedState::Bare).outer;
        assert!((0.080..=0.130).contains(&outer.build_mm));
        // The range lies inside the coverage interval of 2 u.
        assert!(outer.build_mm - 2.0 * outer.u_mm <= 0.080 && outer.build_mm + 2.0 * outer.u_mm >= 0.130);
    }
}
