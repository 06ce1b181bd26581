//! The plan's tables `[[adjuster]]` and `[advice]`: how panels can be moved, and which seams count most.
//!
//! In: the tables and the panels. Out: [`AdviceTerms`], mm and rad; places and directions in the Car frame.
//! An adjuster acts at a place of its panel: each of its ways moves the panel there along a direction, within the
//! travel that is left, in whole steps where it has them (shims, parts of a turn of a thread). Three ways that point up
//! hold a panel like the legs of a stool; in the plan's order they hold it until all six freedoms are taken, and what
//! comes after that follows; a way without travel holds its place and cannot be set. `kind = "free"` lets the panel go anywhere within limits, as on a bench or in a fixture.
//! Defaults: no adjuster, so that a panel may go 5 mm and 0.5° (see `advise`); every seam weighs 1.
//! Does not know how a hinge or a latch looks: places and directions are the plan's.

use nalgebra::{Point3, Vector3};

use super::fields::{Fields, Given};
use super::names::{quoted_list, suggestion};
use super::plan_error::{PlanError, PlanProblem};
use super::types::{Panel, PanelId, SeamId};

pub(super) const KEYS: &[&str] = &["id", "title", "panel", "kind", "place", "way", "shift", "turn_deg"];
pub(super) const ADVICE_KEYS: &[&str] = &["weights"];
const WAY_KEYS: &[&str] = &["direction", "minus", "plus", "step", "shim", "pitch", "part_turn", "words"];

/// Most adjusters in a plan: many times what a car has.
const MOST_ADJUSTERS: usize = 1000;
/// Most ways of one adjuster: there are three directions.
const MOST_WAYS: usize = 3;
/// Smallest part of a turn where the plan does not give one: half turns, as a jam nut is set (common practice, no source).
const DEFAULT_PART_TURN: f64 = 0.5;
/// Most that a free move may turn, degrees: beyond it moves are no longer small.
const MOST_TURN_DEG: f64 = 5.0;
/// Two ways of one adjuster that point alike within this sine are one way given twice.
const SAME_DIRECTION_SINE: f64 = 0.05;

/// What the plan says for advice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AdviceTerms {
    /// In the plan's order.
    pub adjusters: Vec<Adjuster>,
    /// Seams whose excess counts more (above 1) or less; every other seam weighs 1.
    pub weights: Vec<(SeamId, f64)>,
}

impl AdviceTerms {
    /// How much a seam's excess counts.
    #[must_use]
    pub fn weight(&self, seam: &SeamId) -> f64 {
        self.weights.iter().find(|(id, _)| id == seam).map_or(1.0, |(_, weight)| *weight)
    }
}

/// Something that moves a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Adjuster {
    pub id: String,
    /// As a fitter calls it: "left hinge, rear bolts".
    pub title: String,
    pub panel: PanelId,
    pub kind: AdjusterKind,
    pub setting: AdjusterSetting,
}

/// What an adjuster is in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AdjusterKind {
    Hinge,
    Latch,
    Striker,
    BumpStop,
    Bolt,
    Free,
}

impl AdjusterKind {
    const WORDS: [(&'static str, Self); 6] = [
        ("hinge", Self::Hinge),
        ("latch", Self::Latch),
        ("striker", Self::Striker),
        ("bump-stop", Self::BumpStop),
        ("bolt", Self::Bolt),
        ("free", Self::Free),
    ];

    /// The word in the plan.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }
}

/// What can be set.
#[derive(Debug, Clone, PartialEq)]
pub enum AdjusterSetting {
    /// The panel is moved at a place, along each of these ways.
    Ways { place: Point3<f64>, ways: Vec<AdjusterWay> },
    /// The panel may be shifted and turned about its middle: at most so much along and about each axis.
    Free { shift_mm: f64, turn_rad: f64 },
}

/// One direction in which an adjuster can be set.
#[derive(Debug, Clone, PartialEq)]
pub struct AdjusterWay {
    /// Unit vector, Car frame: where the panel goes when the setting grows.
    pub direction: Vector3<f64>,
    /// Travel left against and along the direction, mm, not negative.
    pub minus_mm: f64,
    pub plus_mm: f64,
    pub step: WayStep,
    /// What is said for a move along and against the direction, where the plan gives words.
    pub words: Option<[String; 2]>,
}

/// How finely a way can be set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WayStep {
    /// A slot: any amount.
    Any,
    /// Whole steps, such as a toothed plate.
    Whole { step_mm: f64 },
    /// Whole shims.
    Shims { thickness_mm: f64 },
    /// Whole parts of a turn of a thread.
    Turns { pitch_mm: f64, part_turn: f64 },
}

impl WayStep {
    /// The least travel, mm; `None` where any is possible.
    #[must_use]
    pub fn step_mm(self) -> Option<f64> {
        match self {
            Self::Any => None,
            Self::Whole { step_mm } => Some(step_mm),
            Self::Shims { thickness_mm } => Some(thickness_mm),
            Self::Turns { pitch_mm, part_turn } => Some(pitch_mm * part_turn),
        }
    }
}

/// Reads all `[[adjuster]]` tables and `[advice]`. `seam_ids` are the plan's seams.
pub(super) fn read(
    root: &Fields<'_>,
    panels: &[Panel],
    seam_ids: &[String],
) -> Result<AdviceTerms, PlanError> {
    let tables = root.tables("adjuster", "an [[adjuster]]", KEYS)?;
    let span = root.span_of("adjuster");
    super::check_count(&root.context, &span, "the number of adjusters", tables.len(), MOST_ADJUSTERS)?;
    let mut adjusters: Vec<Adjuster> = Vec::with_capacity(tables.len());
    for fields in &tables {
        let adjuster = read_adjuster(fields, panels)?;
        check_beside_others(fields, &adjuster, &adjusters)?;
        adjusters.push(adjuster);
    }
    Ok(AdviceTerms { adjusters, weights: read_weights(root, seam_ids)? })
}

fn read_adjuster(fields: &Fields<'_>, panels: &[Panel]) -> Result<Adjuster, PlanError> {
    let id = fields.id("id")?.ok_or_else(|| fields.missing("id", "id = \"hinge-left\""))?.value;
    let fields = &fields.called(format!("adjuster `{id}`"));
    let panel = fields.text("panel")?.ok_or_else(|| fields.missing("panel", "panel = \"hood\""))?;
    let panel = known_panel(fields, &panel, panels)?;
    let kind = fields
        .choice("kind", &AdjusterKind::WORDS)?
        .ok_or_else(|| fields.missing("kind", "kind = \"hinge\""))?
        .value;
    let unused: &[&str] = if kind == AdjusterKind::Free { &["place", "way"] } else { &["shift", "turn_deg"] };
    if let Some(key) = unused.iter().find(|key| fields.has(key)) {
        let message = format!("`{key}` has no meaning in an adjuster of kind = \"{}\"", kind.word());
        return Err(super::contradiction(&fields.context, &fields.span_of(key), message)
            .with_hint(format!("take `{key}` out, or choose another kind")));
    }
    let setting = if kind == AdjusterKind::Free { read_free(fields)? } else { read_ways(fields)? };
    Ok(Adjuster { title: fields.title("title")?.unwrap_or_else(|| id.clone()), id, panel, kind, setting })
}

fn known_panel(fields: &Fields<'_>, given: &Given<&str>, panels: &[Panel]) -> Result<PanelId, PlanError> {
    if let Some(panel) = panels.iter().find(|panel| panel.id.0 == given.value) {
        return Ok(panel.id.clone());
    }
    let known: Vec<&str> = panels.iter().map(|panel| panel.id.0.as_str()).collect();
    let problem = PlanProblem::UnknownPanel {
        panel: given.value.chars().filter(|character| !character.is_control()).take(60).collect(),
        known: quoted_list(&known),
    };
    Err(fields.context.error(&given.span, problem).with_hint(suggestion(given.value, &known)))
}

fn read_free(fields: &Fields<'_>) -> Result<AdjusterSetting, PlanError> {
    let shift_mm = fields.width_mm("shift")?.ok_or_else(|| fields.missing("shift", "shift = 3.0"))?;
    let turn_deg = fields.number("turn_deg")?.ok_or_else(|| fields.missing("turn_deg", "turn_deg = 0.3"))?;
    if !(0.0..=MOST_TURN_DEG).contains(&turn_deg) {
        let expected = format!("between 0 and {MOST_TURN_DEG}");
        return Err(fields.bad_value("turn_deg", expected, fields.written("turn_deg")));
    }
    Ok(AdjusterSetting::Free { shift_mm, turn_rad: turn_deg.to_radians() })
}

fn read_ways(fields: &Fields<'_>) -> Result<AdjusterSetting, PlanError> {
    let place =
        fields.lengths_mm::<3>("place")?.ok_or_else(|| fields.missing("place", "place = [0, 0, 0]"))?;
    let tables = fields.tables("way", &format!("a way of {}", fields.name), WAY_KEYS)?;
    super::check_count(
        &fields.context,
        &fields.span_of("way"),
        "the number of ways",
        tables.len(),
        MOST_WAYS,
    )?;
    if tables.is_empty() {
        return Err(fields.missing("way", "way = [{ direction = [0, 0, 1], minus = 2.0, plus = 2.0 }]"));
    }
    let mut ways: Vec<AdjusterWay> = Vec::with_capacity(tables.len());
    for table in &tables {
        let way = read_way(table)?;
        if ways.iter().any(|other| other.direction.cross(&way.direction).norm() < SAME_DIRECTION_SINE) {
            let message = format!("{} points the same way as another one, or against it", table.name);
            return Err(super::contradiction(&table.context, &table.span_of("direction"), message)
                .with_hint("give each direction once, with its travel to both sides"));
        }
        ways.push(way);
    }
    Ok(AdjusterSetting::Ways { place: Point3::from(place), ways })
}

fn read_way(fields: &Fields<'_>) -> Result<AdjusterWay, PlanError> {
    let [x, y, z] = fields
        .numbers::<3>("direction")?
        .ok_or_else(|| fields.missing("direction", "direction = [0, 0, 1]"))?;
    let direction = Vector3::new(x, y, z).try_normalize(1e-9).ok_or_else(|| {
        fields.bad_value("direction", "a direction that is not zero", fields.written("direction"))
    })?;
    let travel = |key: &str| -> Result<f64, PlanError> {
        fields.width_mm(key)?.ok_or_else(|| fields.missing(key, &format!("{key} = 2.0   # travel left")))
    };
    let (minus_mm, plus_mm) = (travel("minus")?, travel("plus")?);
    let step = read_step(fields)?;
    check_travel(fields, minus_mm.max(plus_mm), step)?;
    Ok(AdjusterWay { direction, minus_mm, plus_mm, step, words: fields.texts::<2>("words")? })
}

/// A way that has travel must be able to make one step of it.
fn check_travel(fields: &Fields<'_>, most_mm: f64, step: WayStep) -> Result<(), PlanError> {
    // A billionth, for travels that were given in inches.
    if most_mm <= 0.0 || step.step_mm().is_none_or(|step_mm| step_mm <= most_mm * (1.0 + 1e-9)) {
        return Ok(());
    }
    let key = ["step", "shim", "pitch"].into_iter().find(|key| fields.has(key)).unwrap_or("step");
    let message = format!("{} has a step that is larger than its travel to either side", fields.name);
    Err(super::contradiction(&fields.context, &fields.span_of(key), message).with_hint(
        "give a finer step or more travel; where the place only holds the panel, give both travels as 0",
    ))
}

fn read_step(fields: &Fields<'_>) -> Result<WayStep, PlanError> {
    let given: Vec<&str> = ["step", "shim", "pitch"].into_iter().filter(|key| fields.has(key)).collect();
    if let [_, second, ..] = given[..] {
        let message = format!("{} has both {}", fields.name, quoted_list(&given));
        return Err(super::contradiction(&fields.context, &fields.span_of(second), message)
            .with_hint("a way is set by steps, by shims or by a thread, not by two of them"));
    }
    let part_turn = fields.number("part_turn")?;
    if part_turn.is_some_and(|part| !(0.01..=1.0).contains(&part)) {
        return Err(fields.bad_value("part_turn", "between 0.01 and 1", fields.written("part_turn")));
    }
    if part_turn.is_some() && !fields.has("pitch") {
        return Err(fields.missing("pitch", "pitch = 1.5      # travel of one turn"));
    }
    Ok(if let Some(step_mm) = fields.positive_length_mm("step")? {
        WayStep::Whole { step_mm }
    } else if let Some(thickness_mm) = fields.positive_length_mm("shim")? {
        WayStep::Shims { thickness_mm }
    } else if let Some(pitch_mm) = fields.positive_length_mm("pitch")? {
        WayStep::Turns { pitch_mm, part_turn: part_turn.unwrap_or(DEFAULT_PART_TURN) }
    } else {
        WayStep::Any
    })
}

/// No id twice; a panel moves either freely or by its adjusters.
fn check_beside_others(
    fields: &Fields<'_>,
    adjuster: &Adjuster,
    others: &[Adjuster],
) -> Result<(), PlanError> {
    if others.iter().any(|other| other.id == adjuster.id) {
        let problem = PlanProblem::Repeated { things: "adjusters".to_owned(), id: adjuster.id.clone() };
        return Err(fields
            .context
            .error(&fields.span_of("id"), problem)
            .with_hint("give every adjuster its own id"));
    }
    let is_free = |one: &Adjuster| one.kind == AdjusterKind::Free;
    let mut same_panel = others.iter().filter(|other| other.panel == adjuster.panel);
    if same_panel.any(|other| is_free(other) || is_free(adjuster)) {
        let message = format!("panel `{}` cannot be free and have other adjusters too", adjuster.panel);
        return Err(super::contradiction(&fields.context, &fields.span_of("kind"), message)
            .with_hint("keep the free move for a panel on a bench, the adjusters for one on the car"));
    }
    Ok(())
}

fn read_weights(root: &Fields<'_>, seam_ids: &[String]) -> Result<Vec<(SeamId, f64)>, PlanError> {
    let Some(advice) = root.table("advice", "[advice]", ADVICE_KEYS)? else { return Ok(Vec::new()) };
    let known: Vec<&str> = seam_ids.iter().map(String::as_str).collect();
    let Some(weights) = advice.table("weights", "`weights` of [advice]", &known)? else {
        return Ok(Vec::new());
    };
    let mut read = Vec::new();
    for seam in seam_ids {
        let Some(weight) = weights.number(seam)? else { continue };
        if !(0.01..=100.0).contains(&weight) {
            return Err(weights.bad_value(seam, "between 0.01 and 100", weights.written(seam)));
        }
        read.push((SeamId(seam.clone()), weight));
    }
    Ok(read)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::plan_text::tests::{EXAMPLE, example_in_inches};
    use crate::plan::{Plan, PlanText, to_toml};

    const HINGE: &str = r#"
[[adjuster]]
id = "hinge-left"
title = "left hinge"
panel = "hood"
kind = "hinge"
place = [900, -400, 700]
way = [
  { direction = [2, 0, 0], minus = 3, plus = 2, words = ["back", "forward"] },
  { direction = [0, 0, 1], minus = 0, plus = 2, shim = 0.5 },
]
[[adjuster]]
id = "bump-left"
panel = "hood"
kind = "bump-stop"
place = [250, -400, 600]
way = [{ direction = [0, 0, 1], minus = 3, plus = 3, pitch = 1.5 }]
[[adjuster]]
id = "bench"
panel = "fender-left"
kind = "free"
shift = 3.0
turn_deg = 0.3
[advice]
weights = { hood-fender-left = 2.5 }
"#;

    fn plan_of(extra: &str) -> Result<Plan, String> {
        let text = format!("{EXAMPLE}\n{extra}");
        let straight =
            crate::geometry::Curve::through(&[Point3::origin(), Point3::new(400.0, 0.0, 0.0)], None).unwrap();
        PlanText::parse(&text, "p")
            .and_then(|parsed| parsed.into_plan(|_| Ok(straight.clone())))
            .map_err(|error| error.to_string())
    }

    #[test]
    fn adjusters_mean_what_they_say_and_are_written_as_they_were_read() {
        let plan = plan_of(HINGE).unwrap();
        let [hinge, bump, bench] = plan.advice.adjusters.as_slice() else { panic!("{:?}", plan.advice) };
        let AdjusterSetting::Ways { place, ways } = &hinge.setting else { panic!("{hinge:?}") };
        assert_eq!((hinge.title.as_str(), *place), ("left hinge", Point3::new(900.0, -400.0, 700.0)));
        assert_eq!((ways[0].direction, ways[0].step), (Vector3::x(), WayStep::Any));
        assert_eq!(ways[0].words, Some(["back".to_owned(), "forward".to_owned()]));
        assert_eq!((ways[1].minus_mm, ways[1].plus_mm, ways[1].step.step_mm()), (0.0, 2.0, Some(0.5)));
        let AdjusterSetting::Ways { ways, .. } = &bump.setting else { panic!("{bump:?}") };
        // Half turns of a thread of 1.5 mm.
        assert_eq!((bump.title.as_str(), ways[0].step.step_mm()), ("bump-left", Some(0.75)));
        assert_eq!(bench.setting, AdjusterSetting::Free { shift_mm: 3.0, turn_rad: 0.3_f64.to_radians() });
        assert_eq!(plan.advice.weight(&SeamId("hood-fender-left".to_owned())), 2.5);
        assert_eq!(plan.advice.weight(&SeamId("other".to_owned())), 1.0);
        let written = to_toml(&plan, &[]);
        let tables = written.split("[[adjuster]]").skip(1).collect::<Vec<_>>().join("[[adjuster]]");
        let again = plan_of(&format!("[[adjuster]]{tables}")).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(again.advice, plan.advice, "{written}");
    }

    #[test]
    fn a_plan_in_inches_has_its_adjusters_in_millimetres() {
        let text = HINGE.replace("shim = 0.5", "shim = 0.02");
        let text = format!("{}\n{text}", example_in_inches());
        let straight =
            crate::geometry::Curve::through(&[Point3::origin(), Point3::new(400.0, 0.0, 0.0)], None).unwrap();
        let plan = PlanText::parse(&text, "p").unwrap().into_plan(|_| Ok(straight.clone())).unwrap();
        let AdjusterSetting::Ways { place, ways } = &plan.advice.adjusters[0].setting else { panic!() };
        assert!((place.x - 900.0 * 25.4).abs() < 1e-9);
        assert!((ways[1].step.step_mm().unwrap() - 0.508).abs() < 1e-12);
    }

    #[test]
    fn faults_are_placed_and_explained() {
        let faults = [
            ("panel = \"hood\"", "panel = \"hod\"", "did you mean `hood`"),
            ("kind = \"hinge\"", "kind = \"hing\"", "did you mean `hinge`"),
            ("minus = 3, plus = 2", "minus = -3, plus = 2", "zero or more"),
            ("minus = 3, plus = 2", "mins = 3, plus = 2", "did you mean `minus`"),
            ("shim = 0.5", "shim = 0.5, pitch = 1", "both `shim`, `pitch`"),
            ("shim = 0.5", "shim = 0", "more than zero"),
            ("shim = 0.5", "shim = 2.5", "larger than its travel"),
            ("pitch = 1.5", "pitch = 6.5", "larger than its travel"),
            ("shim = 0.5", "shim = nan", "finite"),
            ("minus = 3, plus = 2", "minus = nan, plus = 2", "finite"),
            ("minus = 3, plus = 2", "minus = 3, plus = inf", "finite"),
            ("direction = [2, 0, 0]", "direction = [nan, 0, 1]", "finite"),
            ("place = [900, -400, 700]", "place = [900, -inf, 700]", "finite"),
            ("turn_deg = 0.3", "turn_deg = nan", "finite"),
            ("shim = 0.5", "part_turn = 0.5", "`pitch` is missing"),
            ("pitch = 1.5", "pitch = 1.5, part_turn = 2", "between 0.01 and 1"),
            ("direction = [0, 0, 1], minus = 0", "direction = [1, 0, 0.01], minus = 0", "same way"),
            ("direction = [2, 0, 0]", "direction = [0, 0, 0]", "not zero"),
            ("place = [900, -400, 700]", "place = [900, -400]", "3 numbers"),
            ("words = [\"back\", \"forward\"]", "words = [\"back\"]", "2 texts"),
            ("id = \"bump-left\"", "id = \"hinge-left\"", "two adjusters"),
            ("panel = \"fender-left\"", "panel = \"hood\"", "cannot be free"),
            ("shift = 3.0", "place = [0, 0, 0]", "no meaning"),
            ("turn_deg = 0.3", "turn_deg = 30", "between 0 and 5"),
            ("hood-fender-left = 2.5", "hood-fender-lft = 2.5", "did you mean"),
            ("hood-fender-left = 2.5", "hood-fender-left = 0", "between 0.01 and 100"),
        ];
        for (from, to, part) in faults {
            assert!(HINGE.contains(from), "{from}");
            let shown = plan_of(&HINGE.replacen(from, to, 1)).expect_err(to);
            assert!(shown.contains(part) && shown.contains('^'), "{to}\n{shown}");
        }
    }
}
