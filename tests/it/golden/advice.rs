//! The page, a strip and the sheets of an advice that is made by hand, so that they hold whatever the solver would say.

use super::accepted::check;
use super::changes::pair;
use super::made_seams::plan;
use nalgebra::{Point3, Vector3};
use shutline::advise::{
    Advice, Aim, EdgeChange, EdgeRun, Need, PanelAdvice, PanelPose, Score, SeamEdges, Setting, SettingSource,
    TravelEnd,
};
use shutline::judge::{JudgedSeam, Measurand, Verdict};
use shutline::plan::{PanelId, Plan};
use shutline::render::{Language, Paper, advice_page, advice_pdf, advice_strip_picture, png};
use shutline::units::LengthUnit;

/// Counts as they are; the worst deviation is made up.
fn score(seams: &[JudgedSeam], worst: f64) -> Score {
    let verdicts: Vec<Verdict> = seams
        .iter()
        .flat_map(|seam| &seam.stations)
        .flat_map(|station| Measurand::BOTH.map(|measurand| station.value(measurand).verdict))
        .collect();
    let count = |wanted: &dyn Fn(&Verdict) -> bool| verdicts.iter().filter(|one| wanted(one)).count();
    Score {
        worst,
        worst_place: None,
        sum: 0.0,
        good: count(&|one| *one == Verdict::Good),
        undecided: count(&|one| *one == Verdict::Undecided),
        out: count(&|one| one.is_out()),
    }
}

/// Metal to take off the hood's edge between 300 and 400 mm of the first seam, most at 350; the others need nothing.
fn edges_of(judged: &JudgedSeam) -> SeamEdges {
    let is_first = judged.seam.0 == "hood-fender-left";
    let change = |station: &shutline::judge::JudgedReading| {
        let along_mm = station.reading.station.along_mm;
        let take_off_mm = if is_first { 0.4 * (1.0 - (along_mm - 350.0).abs() / 50.0).max(0.0) } else { 0.0 };
        EdgeChange {
            station: station.reading.station.index,
            along_mm,
            take_off_mm,
            raise_mm: 0.0,
            measured: None,
            wanted: None,
        }
    };
    let run =
        EdgeRun { measurand: Measurand::Gap, from_mm: 300.0, to_mm: 400.0, most_mm: 0.4, most_at_mm: 350.0 };
    SeamEdges {
        seam: judged.seam.clone(),
        panel: PanelId("hood".to_owned()),
        neighbour: PanelId("fender-left".to_owned()),
        changes: judged.stations.iter().map(change).collect(),
        runs: if is_first { vec![run] } else { Vec::new() },
        left_alone: 0,
    }
}

/// The hood goes up at its rear; one setting is at its limit.
fn made(plan: &Plan) -> Advice {
    let [before, after] = pair(plan);
    let edges = before.iter().map(edges_of).collect();
    let setting = |axis, amount_mm, at_limit| Setting {
        source: SettingSource::Free { axis },
        amount_mm,
        u_mm: Some(0.03),
        steps: None,
        follows: false,
        at_limit,
    };
    let hood = PanelAdvice {
        panel: PanelId("hood".to_owned()),
        pose: PanelPose {
            pivot: Point3::new(600.0, 0.0, 900.0),
            shift_mm: Vector3::new(0.0, 0.6, 0.4),
            rotation_rad: Vector3::new(0.0, 0.0, 2.5e-4),
        },
        settings: vec![setting(1, 0.6, None), setting(2, 0.4, Some(TravelEnd::Plus))],
        standing: None,
        is_moved: true,
        held_freedoms: 0,
    };
    Advice {
        need: Need::Move,
        aim: Aim::Worst,
        panels: vec![hood],
        before: score(&before, 2.41),
        after: score(&after, 1.18),
        gain_expanded: 0.1,
        other_aim: None,
        seams_before: before,
        seams_after: after,
        unseen: Vec::new(),
        linear_error_mm: 0.004,
        edges,
    }
}

#[test]
fn an_advice_is_a_page_with_strips_before_and_after() {
    let millimetres = plan(LengthUnit::Millimetre);
    let advice = made(&millimetres);
    let strip =
        advice_strip_picture(&millimetres, &advice, &advice.seams_before[0].seam, Language::English).unwrap();
    check("advice-strip.png", &png(&strip, 2.0).unwrap());
    let page = advice_page(&millimetres, &advice, "before.ply", Language::English).unwrap();
    check("advice.html", page.as_bytes());
    let inches = plan(LengthUnit::Inch);
    let page = advice_page(&inches, &made(&inches), "before.ply", Language::German).unwrap();
    check("advice-german-inch.html", page.as_bytes());
}

#[test]
fn an_advice_begins_with_what_to_do_and_ends_with_its_cautions_on_page_and_paper() {
    let plan = plan(LengthUnit::Millimetre);
    let advice = made(&plan);
    let page = advice_page(&plan, &advice, "<b>.ply", Language::English).unwrap();
    assert!(page.contains("&lt;b&gt;.ply") && !page.contains("<b>.ply"));
    let cautions = Language::English.advice_texts().cautions;
    let last = page.rfind(cautions[cautions.len() - 1]).unwrap();
    assert!(page[last..].len() < 200, "the cautions end the page");
    let pdf = advice_pdf(&plan, &advice, "before.ply", Language::German, Paper::Letter).unwrap();
    let outside = String::from_utf8_lossy(&pdf);
    assert!(outside.contains("/MediaBox [0 0 612 792]") && outside.contains("/Lang (de)"));
    assert_eq!(outside.matches("/S /Figure").count(), advice.seams_before.len(), "a strip for each seam");
    assert_eq!(pdf, advice_pdf(&plan, &advice, "before.ply", Language::German, Paper::Letter).unwrap());
}
