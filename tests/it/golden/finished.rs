//! Strips, table and page of the hand-made seams where film is still to come.

use super::accepted::check;
use super::made_seams::{judged, plan};
use super::pages::run;
use shutline::judge::{JudgedSeam, with_finish};
use shutline::plan::{FinishTerms, JudgedState, PanelFinish, PanelId, Plan, ScannedState};
use shutline::render::{
    Language, ReportSettings, Results, SectionSettings, StripSettings, finished_csv, readings_csv,
    report_html, section_png, strip_png,
};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

/// The hood in bare metal, the left fender primed, all else finished.
fn unfinished(units: LengthUnit, judge: JudgedState) -> (Plan, Vec<JudgedSeam>) {
    let mut plan = plan(units);
    let state = |panel: &PanelId| match panel.0.as_str() {
        "hood" => ScannedState::Bare,
        "fender-left" => ScannedState::Primed,
        _ => ScannedState::Painted,
    };
    let panels = plan.panels.iter().map(|panel| (panel.id.clone(), PanelFinish::published(state(&panel.id))));
    plan.finish = FinishTerms { judge, panels: panels.collect() };
    let judged = judged(&plan);
    let seams = judged.into_iter().map(|one| {
        let seam = plan.seam(&one.seam).unwrap().clone();
        with_finish(&plan, &seam, one)
    });
    let seams = seams.collect();
    (plan, seams)
}

#[test]
fn a_strip_says_which_state_is_judged() {
    let (plan, seams) = unfinished(LengthUnit::Millimetre, JudgedState::Finished);
    check("strip-finished.png", &strip_png(&plan, &seams[0], &StripSettings::default()).unwrap());
    check("section-finished.png", &section_png(&plan, &seams[0], 40, &SectionSettings::default()).unwrap());
    let (plan, seams) = unfinished(LengthUnit::Inch, JudgedState::AsScanned);
    let settings = StripSettings { width: 340.0, language: Language::German, ..StripSettings::default() };
    check("strip-finish-to-come-phone-german.png", &strip_png(&plan, &seams[0], &settings).unwrap());
}

#[test]
fn the_tables_hold_both_states() {
    let (plan, seams) = unfinished(LengthUnit::Millimetre, JudgedState::Finished);
    let table = finished_csv(&plan, &seams).unwrap().unwrap();
    check("finished.csv", table.as_bytes());
    // By hand: edges of 0.8 x (0.1175 + 0.0625) close the gap by 0.144; the hood as other panel rises by 0.1175 - 0.0625.
    let first = table.lines().nth(1).unwrap();
    let cells: Vec<&str> = first.split(',').collect();
    let number = |at: usize| cells[at].parse::<f64>().unwrap();
    // Five decimals are written, so that a difference is off by 0.00001 at most.
    assert!((number(7) - number(4) + 0.144).abs() <= 1e-5 + 1e-9, "{first}");
    assert!((number(13) - number(10) - 0.055).abs() <= 1e-5 + 1e-9, "{first}");
    assert!(readings_csv(&plan, &seams).unwrap().lines().nth(1).unwrap().contains(cells[4]));
    let without = plan_without_film();
    assert_eq!(finished_csv(&without, &judged(&without)).unwrap(), None);
}

fn plan_without_film() -> Plan {
    plan(LengthUnit::Millimetre)
}

#[test]
fn the_page_says_which_state_is_judged_and_what_is_not_foreseen() {
    for (judge, words) in [
        (JudgedState::Finished, "as expected when finished"),
        (JudgedState::AsScanned, "Verdicts are on the car as scanned"),
    ] {
        let (plan, seams) = unfinished(LengthUnit::Millimetre, judge);
        let summary = summarise_scan(&plan, &seams);
        let run = run();
        let results = Results {
            plan: &plan,
            judged: &seams,
            summary: &summary,
            lineups: &[],
            alignment: None,
            run: &run,
        };
        let page = report_html(&results, &ReportSettings::default()).unwrap();
        assert!(page.contains(words) && page.contains("sharp ones get less"));
        if let Some(path) = std::env::var_os("FINISH_PAGE") {
            std::fs::write(path, &page).unwrap();
        }
    }
}
