//! Writes a plan as text that a person can read, correct and measure by: for plans that the program makes.
//!
//! In: a [`Plan`] and where each seam's curve is stored. Out: TOML that [`super::PlanText::parse`] reads as the same plan.
//! Units: the plan's own, to a millionth. Defaults that matter are written out, so that they can be found and changed.
//! Does not write curve files and does not touch the disk.

use std::fmt::Write;

use super::curve_reference::CurveReference;
use super::table_align::align_text;
use super::table_car::car_text;
use super::table_decision::DecisionRule;
use super::table_finish::{finish_text, panel_finish_text};
use super::table_lineup::lineup_text;
use super::types::{FlushMethod, GapMethod, Panel, Plan, Seam, Side, Tolerance, Zone};
use super::write_adjusters::advice_text;
use crate::units::LengthUnit;

/// The plan's text. `curves` has one reference for each seam, in the plan's order; a seam beyond them is given
/// `curves/ID.csv`.
#[must_use]
pub fn to_toml(plan: &Plan, curves: &[CurveReference]) -> String {
    let mut text = head(plan);
    text.push_str(&car_text(plan.car.as_ref(), plan.units));
    for panel in &plan.panels {
        text.push_str(&panel_text(panel));
        text.push_str(&panel_finish_text(&plan.finish, &panel.id, plan.units));
    }
    text.push_str(&align_text(&plan.align, plan.units, plan.scan.units));
    text.push_str(&decision_text(&plan.decision));
    text.push_str(&finish_text(&plan.finish, plan.units));
    for (index, seam) in plan.seams.iter().enumerate() {
        let made = CurveReference::file(format!("curves/{}.csv", seam.id));
        text.push_str(&seam_text(seam, curves.get(index).unwrap_or(&made), plan.units));
    }
    for lineup in &plan.lineups {
        text.push_str(&lineup_text(lineup, plan.units));
    }
    text.push_str(&advice_text(&plan.advice, plan.units));
    text
}

fn head(plan: &Plan) -> String {
    let number = |length_mm: f64| in_units(length_mm, plan.units);
    let mut text = format!(
        "title = {}\n\
         units = \"{}\"          # lengths here, in curve files and in the results: \"mm\" or \"inch\"\n\n\
         [scan]\n\
         units = \"{}\"          # one unit of the scan's coordinates: \"mm\", \"cm\", \"m\" or \"inch\"\n\
         accuracy = {}       # the scanner's own standard uncertainty over a gap\n",
        quoted(&plan.title),
        plan.units.symbol(),
        plan.scan.units.symbol(),
        number(plan.scan.accuracy_mm),
    );
    if let Some(smoothing_mm) = plan.scan.smoothing_mm {
        line(
            &mut text,
            "smoothing",
            &format!("{}      # width of the scanner's own smoothing", number(smoothing_mm)),
        );
    }
    text
}

/// One panel's table.
#[must_use]
pub fn panel_text(panel: &Panel) -> String {
    let mut text = format!("\n[panels.{}]\ntitle = {}\n", panel.id, quoted(&panel.title));
    if panel.is_fixed {
        text.push_str("fixed = true         # not moved between scans: the alignment may lean on it\n");
    }
    text
}

/// Nothing for the default rule.
fn decision_text(rule: &DecisionRule) -> String {
    let (word, own) = match rule {
        rule if *rule == DecisionRule::default() => return String::new(),
        DecisionRule::Interval { coverage_factor } => {
            ("interval", format!("coverage_factor = {coverage_factor}\n"))
        }
        DecisionRule::Plain => ("plain", String::new()),
        DecisionRule::GuardBand { conformance } => ("guard-band", format!("conformance = {conformance}\n")),
        DecisionRule::SharedRisk { capability } => ("shared-risk", format!("capability = {capability}\n")),
    };
    format!("\n[decision]\nrule = \"{word}\"\n{own}")
}

/// One seam's table.
#[must_use]
pub fn seam_text(seam: &Seam, curve: &CurveReference, units: LengthUnit) -> String {
    let number = |length_mm: f64| in_units(length_mm, units);
    let mut text = String::from("\n[[seam]]\n");
    let reference = match &curve.name {
        Some(name) => format!("{}#{name}", curve.path),
        None => curve.path.clone(),
    };
    line(&mut text, "id", &quoted(&seam.id.0));
    line(&mut text, "title", &quoted(&seam.title));
    line(
        &mut text,
        "datum_panel",
        &format!("{}  # flush is measured from this one", quoted(&seam.datum_panel.0)),
    );
    line(&mut text, "other_panel", &quoted(&seam.other_panel.0));
    let side = if seam.datum_side == Side::Left { "left" } else { "right" };
    line(
        &mut text,
        "datum_side",
        &format!("\"{side}\"  # where the datum panel lies, walking along the curve"),
    );
    line(&mut text, "curve", &quoted(&reference));
    if !curve.near_mm.is_empty() {
        line(&mut text, "curve_near", &places_text(&curve.near_mm, units));
    }
    line(&mut text, "station_spacing", &number(seam.station_spacing_mm));
    line(&mut text, "skip_ends", &number(seam.skip_ends_mm));
    let gap =
        format!("{{ {}{} }}", tolerance_text(&seam.gap.tolerance, units), gap_method(seam.gap.method, units));
    let flush = format!(
        "{{ {}{} }}",
        tolerance_text(&seam.flush.tolerance, units),
        flush_method(seam.flush.method, units)
    );
    line(&mut text, "gap", &gap);
    line(&mut text, "flush", &flush);
    if let Some(taper) = &seam.taper {
        line(&mut text, "gap_taper", &number(taper.limit_mm));
        line(&mut text, "taper_length", &number(taper.length_mm));
    }
    let radii: Vec<String> = ["datum", "other"]
        .iter()
        .zip(seam.hem_radius_mm)
        .filter_map(|(name, radius_mm)| Some(format!("{name} = {}", number(radius_mm?))))
        .collect();
    if !radii.is_empty() {
        line(&mut text, "hem_radius", &format!("{{ {} }}", radii.join(", ")));
    }
    for zone in &seam.zones {
        text.push_str(&zone_text(zone, units));
    }
    text
}

fn places_text(places_mm: &[[f64; 3]], units: LengthUnit) -> String {
    let place =
        |place_mm: &[f64; 3]| format!("[{}]", place_mm.map(|length| in_units(length, units)).join(", "));
    format!("[{}]", places_mm.iter().map(place).collect::<Vec<_>>().join(", "))
}

fn zone_text(zone: &Zone, units: LengthUnit) -> String {
    let mut text = String::from("\n[[seam.zone]]\n");
    line(&mut text, "from", &in_units(zone.from_mm, units));
    line(&mut text, "to", &in_units(zone.to_mm, units));
    for (key, tolerance) in [("gap", &zone.gap), ("flush", &zone.flush)] {
        if let Some(tolerance) = tolerance {
            line(&mut text, key, &format!("{{ {} }}", tolerance_text(tolerance, units)));
        }
    }
    text
}

pub(super) fn tolerance_text(tolerance: &Tolerance, units: LengthUnit) -> String {
    format!(
        "nominal = {}, minus = {}, plus = {}",
        in_units(tolerance.nominal_mm, units),
        in_units(tolerance.minus_mm, units),
        in_units(tolerance.plus_mm, units)
    )
}

fn gap_method(method: GapMethod, units: LengthUnit) -> String {
    match method {
        GapMethod::Edge => ", method = \"edge\"".to_owned(),
        GapMethod::Shortest => ", method = \"shortest\"".to_owned(),
        GapMethod::Depth { depth_mm } => {
            format!(", method = \"depth\", depth = {}", in_units(depth_mm, units))
        }
    }
}

fn flush_method(method: FlushMethod, units: LengthUnit) -> String {
    match method {
        FlushMethod::MidGap => ", method = \"mid-gap\"".to_owned(),
        FlushMethod::Straightedge { rest_mm, reach_mm } => format!(
            ", method = \"straightedge\", rest = {}, reach = {}",
            in_units(rest_mm, units),
            in_units(reach_mm, units)
        ),
    }
}

fn line(text: &mut String, key: &str, value: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{key} = {value}");
}

/// A length in the plan's unit, at most six decimals, always with a point.
pub(super) fn in_units(length_mm: f64, units: LengthUnit) -> String {
    let rounded = (length_mm / units.mm() * 1e6).round() / 1e6;
    format!("{rounded:?}")
}

pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use nalgebra::Point3;

    use super::*;
    use crate::geometry::Curve;
    use crate::plan::PlanText;
    use crate::plan::plan_text::tests::{EXAMPLE, example_in_inches};

    fn plan_of(text: &str) -> (Plan, Vec<CurveReference>) {
        let parsed = PlanText::parse(text, "p").unwrap_or_else(|error| panic!("{error}\n{text}"));
        let curves = parsed.curve_references().cloned().collect();
        let straight = Curve::through(&[Point3::origin(), Point3::new(400.0, 0.0, 0.0)], None).unwrap();
        (parsed.into_plan(|_| Ok(straight.clone())).unwrap(), curves)
    }

    #[test]
    fn what_is_written_is_read_as_the_same_plan() {
        let variants = [
            EXAMPLE.to_owned(),
            EXAMPLE.replace("[scan]", "[decision]\nrule = \"guard-band\"\nconformance = 0.99\n[scan]"),
            EXAMPLE.replace("[scan]", "[decision]\nrule = \"interval\"\ncoverage_factor = 3\n[scan]"),
            EXAMPLE.replace("[scan]", "[decision]\nrule = \"plain\"\n[scan]\nsmoothing = 0.25"),
            EXAMPLE.replace("[scan]", "[car]\nforward = \"-x\"\n[scan]"),
            EXAMPLE.replace("[scan]", "[car]\nforward = [0.6, 0.8, 0]\nup = \"-z\"\nmiddle = -2.5\n[scan]"),
            format!(
                "{EXAMPLE}\n[[lineup]]\nid = \"a\"\nseam = \"hood-fender-left\"\nat = 9\nkind = \"crease\"\nmirror = \"b\"\n\
                 [[lineup]]\nid = \"b\"\nseam = \"hood-fender-left\"\nat = 50\nkind = \"groove\"\nwidth = 8\n\
                 shift = {{ nominal = 0, minus = 0.5, plus = 0.5 }}\n\
                 bars = {{ count = 3, pitch = 20, minus = 0.3, plus = 0.2, evenness = 0.4 }}\n"
            ),
            EXAMPLE.replace("[scan]", "[finish]\njudge = \"finished\"\npanels = \"bare\"\n[scan]"),
            EXAMPLE.replace(
                "[scan]",
                "[finish]\npanels = \"primed\"\nprimed = { outer = 0.07, edge = 0.05 }\n[scan]",
            ),
            EXAMPLE.replace("fixed = true", "finish = { outer = 0.06, edge = 0.04, u = 0.01 }"),
            EXAMPLE.replace("curves/hood-fender-left.csv", "front.dxf#hood left"),
            EXAMPLE.replace("left.csv\"", "left.step\"\ncurve_near = [[1, 2, 3.5], [-4, 5.25, 6]]"),
            EXAMPLE.replace("title = \"Hood\"", r#"title = "A \"quoted\" \\ title""#),
            EXAMPLE.replace("method = \"depth\", depth = 1.5", "method = \"shortest\""),
        ];
        for text in variants {
            let (plan, curves) = plan_of(&text);
            let written = to_toml(&plan, &curves);
            let (again, curves_again) = plan_of(&written);
            assert_eq!(again, plan, "{written}");
            assert_eq!(curves_again, curves);
        }
    }

    #[test]
    fn a_plan_in_inches_keeps_its_lengths() {
        let text = example_in_inches().replace("skip_ends = 0.5", "skip_ends = 0.123457");
        let (plan, curves) = plan_of(&text);
        let written = to_toml(&plan, &curves);
        assert!(written.contains("skip_ends = 0.123457\n"), "{written}");
        let (again, _) = plan_of(&written);
        // Written to a millionth of an inch, half of which is 0.0000127 mm.
        assert!((again.seams[0].skip_ends_mm - plan.seams[0].skip_ends_mm).abs() < 1.3e-5);
    }
}
