//! The example of the plan's format is read as meant, and every fault in it is placed and explained.

use nalgebra::Point3;

use super::*;
use crate::frames::CarAxes;
use crate::plan::{Film, FlushMethod, GapMethod, JudgedState, ScannedState, Side};

pub(crate) const EXAMPLE: &str = r#"
title = "Gannet coupe, front end"
units = "mm"

[scan]
units = "m"
accuracy = 0.02

[panels.hood]
title = "Hood"
[panels.fender-left]
title = "Left fender"
fixed = true

[[seam]]
id = "hood-fender-left"
title = "Hood to left fender"
datum_panel = "fender-left"
other_panel = "hood"
datum_side = "left"
curve = "curves/hood-fender-left.csv"
station_spacing = 5.0
skip_ends = 20
gap   = { nominal = 4.0, minus = 0.5, plus = 0.75, method = "depth", depth = 1.5 }
flush = { nominal = 0.0, minus = 0.5, plus = 0.5, method = "straightedge", rest = 60.0, reach = 5.0 }
gap_taper = 0.5
taper_length = 300.0
hem_radius = { datum = 2.0 }

[[seam.zone]]
from = 0.0
to = 120.0
gap = { nominal = 4.5, minus = 0.5, plus = 1.0 }
"#;

/// The example with its lengths in inches: the same numbers but for those that a car would not have.
pub(crate) fn example_in_inches() -> String {
    EXAMPLE
        .replace("units = \"mm\"", "units = \"inch\"")
        .replace("nominal = 4.0", "nominal = 0.16")
        .replace("nominal = 4.5", "nominal = 0.18")
        .replace("skip_ends = 20", "skip_ends = 0.5")
        .replace("to = 120.0", "to = 4.0")
}

/// A straight curve of 400 mm for every reference.
fn straight(_: &CurveReference) -> Result<Curve, String> {
    Curve::through(&[Point3::origin(), Point3::new(400.0, 0.0, 0.0)], None).map_err(|error| error.to_string())
}

fn plan_of(text: &str) -> Result<Plan, PlanError> {
    PlanText::parse(text, "front.seams.toml")?.into_plan(straight)
}

#[test]
fn the_example_means_what_it_says() {
    let plan = plan_of(EXAMPLE).unwrap();
    assert_eq!((plan.title.as_str(), plan.units), ("Gannet coupe, front end", LengthUnit::Millimetre));
    assert_eq!(plan.scan, ScanTerms { units: LengthUnit::Metre, accuracy_mm: 0.02, smoothing_mm: None });
    // Panels keep the plan's order, not the alphabet's.
    let panels: Vec<&str> = plan.panels.iter().map(|panel| panel.id.0.as_str()).collect();
    assert_eq!(panels, ["hood", "fender-left"]);
    assert!(plan.panels[1].is_fixed && !plan.panels[0].is_fixed);
    let seam = &plan.seams[0];
    assert_eq!(seam.datum_side, Side::Left);
    assert_eq!(seam.gap.method, GapMethod::Depth { depth_mm: 1.5 });
    assert_eq!(seam.flush.method, FlushMethod::Straightedge { rest_mm: 60.0, reach_mm: 5.0 });
    assert_eq!(seam.hem_radius_mm, [Some(2.0), None]);
    assert_eq!(seam.gap_tolerance_at(60.0).upper_mm(), 5.5);
    assert_eq!(seam.gap_tolerance_at(121.0).upper_mm(), 4.75);
    // (400 - 2 * 20) / 5 + 1
    assert_eq!(seam.stations().len(), 73);
    assert_eq!(plan.decision, DecisionRule::Interval { coverage_factor: 2.0 });
}

#[test]
fn a_plan_in_inches_is_the_same_plan() {
    let plan = plan_of(&example_in_inches()).unwrap();
    // 1 inch = 25.4 mm exactly (NIST SP 811, B.8); products of two doubles, so equal to rounding.
    assert!((plan.seams[0].gap.tolerance.nominal_mm - 0.16 * 25.4).abs() < 1e-12);
    assert!((plan.scan.accuracy_mm - 0.02 * 25.4).abs() < 1e-12);
    assert!((plan.seams[0].zones[0].to_mm - 101.6).abs() < 1e-12);
}

/// Replaces `from` in the example and gives the error that results.
fn fault(from: &str, to: &str) -> PlanError {
    assert!(EXAMPLE.contains(from), "{from}");
    plan_of(&EXAMPLE.replacen(from, to, 1)).expect_err(to)
}

#[test]
fn every_fault_is_placed_and_explained() {
    // What is replaced, by what, a part of the message, and the text under the caret (empty: not checked).
    let faults: &[(&str, &str, &str, &str)] = &[
        ("title = \"Gannet", "tilte = \"Gannet", "did you mean `title`", "tilte"),
        ("minus = 0.5, plus = 0.75", "minus = 0.5, plsu = 0.75", "did you mean `plus`", "plsu"),
        ("units = \"mm\"", "units = \"feet\"", "one of `mm`, `inch`", "\"feet\""),
        ("units = \"m\"", "units = \"km\"", "one of `mm`, `cm`, `m`, `inch`", "\"km\""),
        ("units = \"m\"", "# nothing", "`units` is missing in [scan]", ""),
        ("title = \"Gannet", "# title = \"Gannet", "`title` is missing in the plan", ""),
        ("other_panel = \"hood\"", "other_panel = \"hod\"", "did you mean `hood`", "\"hod\""),
        (
            "other_panel = \"hood\"",
            "other_panel = \"trunk-lid\"",
            "there is no panel `trunk-lid`",
            "\"trunk-lid\"",
        ),
        (
            "other_panel = \"hood\"",
            "other_panel = \"fender-left\"",
            "both as datum and as other",
            "\"fender-left\"",
        ),
        ("minus = 0.5", "minus = -0.5", "`minus` must be zero or more, and here is -0.5", "-0.5"),
        ("minus = 0.5, plus = 0.75", "minus = 0, plus = 0", "no width", ""),
        ("nominal = 4.0", "nominal = nan", "finite", "nan"),
        ("nominal = 4.0", "nominal = -inf", "finite", "-inf"),
        ("nominal = 4.0", "nominal = 1e999", "finite", "1e999"),
        ("nominal = 4.0", "nominal = -4.0", "zero or more for a gap", "-4.0"),
        ("nominal = 4.0", "nominal = 400000.0", "at most 50 mm for a gap", "400000.0"),
        ("nominal = 4.0", "nominal = \"4\"", "a string", "\"4\""),
        ("nominal = 4.0, ", "", "`nominal` is missing in `gap` of seam `hood-fender-left`", ""),
        ("station_spacing = 5.0", "station_spacing = 0", "more than zero", "0"),
        ("station_spacing = 5.0", "station_spacing = 1e-9", "number of stations", "1e-9"),
        ("skip_ends = 20", "skip_ends = 200.1", "leaves nothing", "200.1"),
        ("skip_ends = 20", "skip_ends = 1e7", "at most 1000000 mm", "1e7"),
        ("id = \"hood-fender-left\"", "id = \"Hood\"", "lower-case", "\"Hood\""),
        ("id = \"hood-fender-left\"", "id = \"../../etc\"", "lower-case", "\"../../etc\""),
        ("id = \"hood-fender-left\"", "id = \"-a\"", "lower-case", "\"-a\""),
        ("id = \"hood-fender-left\"", "id = \"\"", "lower-case", "\"\""),
        ("id = \"hood-fender-left\"", "id = \"lpt1\"", "file name", "\"lpt1\""),
        ("[panels.hood]", "[panels.\"Ha ube\"]", "lower-case", "\"Ha ube\""),
        ("datum_side = \"left\"", "datum_side = \"lefd\"", "did you mean `left`", "\"lefd\""),
        ("datum_side = \"left\"", "", "`datum_side` is missing", ""),
        ("curve = \"curves/hood-fender-left.csv\"", "curve = \"#edge\"", "file#name", "\"#edge\""),
        ("curve = \"curves/hood-fender-left.csv\"", "curve = \"a.dxf#\"", "file#name", "\"a.dxf#\""),
        ("depth = 1.5 ", "", "`depth` is missing", ""),
        ("method = \"depth\", ", "", "belongs to the method `depth`", "1.5"),
        ("reach = 5.0", "", "`reach` is missing", ""),
        ("gap_taper = 0.5", "", "`gap_taper` is missing", ""),
        ("hem_radius = { datum = 2.0 }", "hem_radius = -1", "more than zero", "-1"),
        ("hem_radius = { datum = 2.0 }", "hem_radius = { dtaum = 2.0 }", "did you mean `datum`", "dtaum"),
        (
            "to = 120.0",
            "to = 401.0",
            "a zone ends beyond seam `hood-fender-left`, which is 400.0 mm",
            "401.0",
        ),
        ("from = 0.0", "from = 120.0", "ends where it begins", ""),
        ("from = 0.0", "from = -1.0", "zero or more", "-1.0"),
        ("fixed = true", "fixed = 1", "true or false", "1"),
        ("[[seam]]", "[seam]", "", ""),
        ("[scan]", "[scna]", "did you mean `scan`", "scna"),
        ("accuracy = 0.02", "accuracy = 0.02\naccuracy = 0.02", "duplicate key", "accuracy"),
        ("units = \"mm\"", "units = \"mm", "not valid TOML", ""),
        (
            "[scan]",
            "[decision]\nrule = \"plain\"\nconformance = 0.9\n[scan]",
            "belongs to rule = \"guard-band\"",
            "0.9",
        ),
        ("[scan]", "[decision]\nrule = \"guard-band\"\nconformance = 95\n[scan]", "between 0.5 and", "95"),
        ("[scan]", "[finish]\njudge = \"finished\"\n[scan]", "no panel has film to come", ""),
        ("[scan]", "[finish]\npanels = \"bear\"\n[scan]", "did you mean `bare`", "\"bear\""),
        (
            "[scan]",
            "[finish]\npanels = \"bare\"\njudge = \"final\"\n[scan]",
            "one of `as-scanned`",
            "\"final\"",
        ),
        ("[scan]", "[finish]\nbare = { outer = 120 }\n[scan]", "at most 2.00 mm", "120"),
        ("[scan]", "[finish]\nbare = { edge = 0.1 }\n[scan]", "`outer` is missing in `bare` of [finish]", ""),
        ("[scan]", "[finish]\nbare = { outer = 0.1, egde = 0.1 }\n[scan]", "did you mean `edge`", "egde"),
        ("fixed = true", "finish = 0.1", "a text in quotation marks", "0.1"),
        ("fixed = true", "finish = \"carbon\"", "one of `bare`", "\"carbon\""),
        ("fixed = true", "finish = { outer = -0.1 }", "zero or more", "-0.1"),
        ("fixed = true", "finish = { outer = nan }", "finite", "nan"),
    ];
    for (from, to, message, under_caret) in faults {
        let error = fault(from, to);
        let shown = error.to_string();
        assert!(shown.contains(message), "{to}\n{shown}");
        assert!(shown.starts_with(&format!("front.seams.toml:{}:{}: ", error.line, error.column)), "{shown}");
        let mut lines = shown.lines().skip(2);
        let (source, caret) = (lines.next().unwrap(), lines.next().unwrap());
        let marked: String = source
            .chars()
            .zip(caret.chars())
            .filter_map(|(character, mark)| (mark == '^').then_some(character))
            .collect();
        assert!(under_caret.is_empty() || marked == *under_caret, "{to}\n{shown}");
    }
}

#[test]
fn the_car_faces_where_the_plan_says() {
    let car = |keys: &str| plan_of(&EXAMPLE.replacen("[scan]", &format!("[car]\n{keys}\n[scan]"), 1));
    assert_eq!(plan_of(EXAMPLE).unwrap().car, None);
    let terms = car("forward = \"-x\"\nmiddle = 1.5").unwrap().car.unwrap();
    assert_eq!((terms.axes, terms.middle_mm), (CarAxes::x_rearward(), Some(1.5)));
    // 3-4-5: a car that stands askew in its frame.
    let askew = car("forward = [3.0, 4.0, 0.0]\nup = \"+z\"").unwrap().axes().copied().unwrap();
    assert!((askew.left() - nalgebra::Vector3::new(-0.8, 0.6, 0.0)).norm() < 1e-15, "{askew:?}");
    for (keys, message) in [
        ("up = \"+z\"", "`forward` is missing in [car]"),
        ("forward = \"x\"", "one of `+x`"),
        ("forward = \"+z\"", "nearly the same line"),
        ("forward = [0.0, 0.0, 0.0]", "nearly the same line"),
        ("forward = [1.0, 0.0]", "a list of 3 numbers"),
        ("forward = \"-x\"\npairs = [\"a\", \"b\"]", "a list of pairs"),
        ("forward = \"-x\"\npairs = [[\"hood-fender-left\", \"hood-fender-rigth\"]]", "there is no seam"),
        ("forward = \"-x\"\npairs = [[\"hood-fender-left\", \"hood-fender-left\"]]", "in `pairs` twice"),
        ("forwards = \"-x\"", "did you mean `forward`"),
    ] {
        let error = car(keys).expect_err(keys).to_string();
        assert!(error.contains(message), "{keys}\n{error}");
    }
}

#[test]
fn finish_is_the_panels_own_or_else_that_of_all() {
    let text = EXAMPLE
        .replace(
            "[scan]",
            "[finish]\njudge = \"finished\"\npanels = \"bare\"\nbare = { outer = 0.15 }\n[scan]",
        )
        .replace("fixed = true", "finish = { outer = 0.06, edge = 0.04, u = 0.01 }");
    let plan = plan_of(&text).unwrap();
    assert_eq!(plan.finish.judge, JudgedState::Finished);
    let [hood, fender] = [0, 1].map(|index: usize| plan.finish.of_panel(&plan.panels[index].id));
    assert_eq!((hood.scanned, hood.outer.build_mm), (ScannedState::Bare, 0.15));
    // The edge gets 0.8 of the face, and a film is known to 0.2 of itself.
    assert!((hood.edge.build_mm - 0.12).abs() < 1e-12 && (hood.edge.u_mm - 0.024).abs() < 1e-12);
    assert_eq!((fender.scanned, fender.edge), (ScannedState::Given, Film { build_mm: 0.04, u_mm: 0.01 }));
    // A plan that does not speak of finish has none; a painted panel beside a bare one has none to come.
    assert!(!plan_of(EXAMPLE).unwrap().finish.is_to_come());
    let plan = plan_of(&EXAMPLE.replace("title = \"Hood\"", "finish = \"clear-only\"")).unwrap();
    assert!(plan.finish.of_panel(&plan.panels[0].id).is_to_come());
    assert!(!plan.finish.of_panel(&plan.panels[1].id).is_to_come());
    assert_eq!(plan.finish.judge, JudgedState::AsScanned);
}

/// The example with a lineup of these lines, and the error that results.
fn lineup_fault(lines: &str) -> String {
    plan_of(&format!("{EXAMPLE}\n{lines}")).expect_err(lines).to_string()
}

#[test]
fn lineups_are_read_and_their_faults_are_placed() {
    let head = "[[lineup]]\nid = \"line\"\nseam = \"hood-fender-left\"\nat = 100.0\n";
    let plan = plan_of(&format!(
        "{EXAMPLE}\n{head}kind = \"bar\"\nwidth = 8\nbars = {{ count = 3, pitch = 20.0, minus = 0.3, plus = 0.3 }}\n\
         step = {{ nominal = 0, minus = 0.5, plus = 0.5 }}\n"
    ))
    .unwrap();
    let lineup = &plan.lineups[0];
    assert_eq!(lineup.places_mm(), [100.0, 120.0, 140.0]);
    // A row's bars are looked for within 0.45 of the pitch.
    assert!((lineup.search_mm - 9.0).abs() < 1e-12 && lineup.shift.is_none());
    let row = "bars = { count = 3, pitch = 20.0, minus = 0.3, plus = 0.3 }";
    for (lines, message) in [
        ("kind = \"crease\"\nwidth = 8".to_owned(), "belongs to a bar or a groove"),
        ("kind = \"bar\"".to_owned(), "`width` is missing in lineup `line`"),
        ("kind = \"crase\"".to_owned(), "did you mean `crease`"),
        (format!("kind = \"crease\"\n{row}"), "belongs to a bar or a groove"),
        (
            "kind = \"bar\"\nwidth = 8\nbars = { count = 2.5, pitch = 20.0, minus = 0.3, plus = 0.3 }"
                .to_owned(),
            "whole number",
        ),
        (
            "kind = \"bar\"\nwidth = 8\nbars = { count = 1e9, pitch = 20.0, minus = 0.3, plus = 0.3 }"
                .to_owned(),
            "from 2 to 200",
        ),
        (
            "kind = \"bar\"\nwidth = 8\nbars = { count = 50, pitch = 20.0, minus = 0.3, plus = 0.3 }"
                .to_owned(),
            "which is 400.0 mm long",
        ),
        ("kind = \"crease\"\nsearch = 500".to_owned(), "at most 60.0 mm"),
        ("kind = \"crease\"\nmirror = \"lnie\"".to_owned(), "the id of another lineup"),
        ("kind = \"crease\"\nstep = { nominal = 0, minus = 0, plus = 0 }".to_owned(), "no width"),
        ("kind = \"crease\"\nsteps = 3".to_owned(), "did you mean `step`"),
    ] {
        let shown = lineup_fault(&format!("{head}{lines}\n"));
        assert!(shown.contains(message) && shown.starts_with("front.seams.toml:"), "{lines}\n{shown}");
    }
    let seam = head.replace("hood-fender-left", "hood-fender-lfet");
    assert!(lineup_fault(&format!("{seam}kind = \"crease\"\n")).contains("did you mean `hood-fender-left`"));
    let twice = format!("{head}kind = \"crease\"\n{head}kind = \"crease\"\n");
    assert!(lineup_fault(&twice).contains("two lineups are called `line`"));
    assert!(
        lineup_fault(&format!("{}kind = \"crease\"\n", head.replace("100.0", "401")))
            .contains("400.0 mm long")
    );
}

#[test]
fn a_second_seam_of_the_same_name_is_refused() {
    let seam = &EXAMPLE[EXAMPLE.find("[[seam]]").unwrap()..];
    let error = plan_of(&format!("{EXAMPLE}\n{seam}")).unwrap_err();
    assert_eq!(
        *error.problem,
        PlanProblem::Repeated { things: "seams".to_owned(), id: "hood-fender-left".to_owned() }
    );
    assert!(error.line > 34, "{error}");
}

#[test]
fn a_curve_that_cannot_be_had_is_placed_at_its_line() {
    let parsed = PlanText::parse(EXAMPLE, "front.seams.toml").unwrap();
    let error = parsed.into_plan(|reference| Err(format!("no file {}", reference.path))).unwrap_err();
    let shown = error.to_string();
    assert!(shown.contains("no file curves/hood-fender-left.csv"), "{shown}");
    assert!(shown.contains("^^^^^"), "{shown}");
}

#[test]
fn a_curve_reference_may_pick_one_of_several() {
    let text = EXAMPLE.replace("curves/hood-fender-left.csv", "cars/front#2.dxf#hood left");
    let parsed = PlanText::parse(&text, "p").unwrap();
    let reference = parsed.curve_references().next().unwrap();
    assert_eq!(reference.path, "cars/front#2.dxf");
    assert_eq!(reference.name.as_deref(), Some("hood left"));
}

#[test]
fn no_text_panics() {
    let hostile = [
        "",
        "\u{feff}",
        "\0",
        "=",
        "[",
        "[[",
        "a = [[[[[[[[",
        "seam = 3",
        "seam = [1, 2]",
        "panels = []",
        "panels = { hood = 3 }",
        "units = 3",
        "[scan]\n[scan]",
        "title = \"\\u0000\"\nunits = \"mm\"",
    ];
    for text in hostile {
        assert!(plan_of(text).is_err(), "{text}");
    }
    let deep = format!("a = {}1{}", "[".repeat(100_000), "]".repeat(100_000));
    assert!(plan_of(&deep).is_err());
    // Cutting the example anywhere, or taking one byte out, gives a plan or an error.
    for cut in 0..EXAMPLE.len() {
        let _ = plan_of(&EXAMPLE[..cut]);
        let _ = plan_of(&format!("{}{}", &EXAMPLE[..cut], &EXAMPLE[cut + 1..]));
    }
}
