//! Pictures and table of hand-made lineups: a crease, and a row of bars of which one is unseen.

use super::accepted::check;
use super::made_seams::{judged, plan};
use super::pages::run;
use shutline::judge::{JudgedLineup, Verdict, judge_lineup, lineup_with_finish};
use shutline::lineup::{FeatureReading, LinePlace, LineupReading, LineupReason, RowReading, SideLine};
use shutline::measure::{Component, Estimate, UncertaintySource};
use shutline::plan::{
    BarRow, FinishTerms, JudgedState, Lineup, LineupKind, PanelFinish, PanelId, Plan, ScannedState, SeamId,
    Tolerance,
};
use shutline::render::{
    Language, ReportSettings, Results, StripSettings, lineup_png, lineups_csv, record_json, report_html,
};
use shutline::summarise::summarise_scan;
use shutline::units::LengthUnit;

fn estimate(value_mm: f64, u_mm: f64) -> Estimate {
    let source = UncertaintySource::ScanNoise;
    Estimate::from_components(value_mm, vec![Component { source, u_mm, degrees_of_freedom: 9.0 }])
}

fn tolerance(half_mm: f64) -> Tolerance {
    Tolerance { nominal_mm: 0.0, minus_mm: half_mm, plus_mm: half_mm }
}

fn side(sign: f64, along_mm: f64, height_mm: f64) -> SideLine {
    let line = SideLine {
        along_mm,
        slope: 0.1,
        height_mm,
        height_slope: 0.01 * sign,
        height_bend_per_mm: -0.0004,
        along_u_mm: 0.03,
        height_u_mm: 0.02,
        along_degrees_of_freedom: 6.0,
        height_degrees_of_freedom: 20.0,
        places: Vec::new(),
    };
    let places = (0..8).map(|index| {
        let x_mm = sign * (8.0 + 4.0 * f64::from(index));
        let shake = ((f64::from(index) + sign) * 12.9898).sin() * 0.05;
        LinePlace { x_mm, s_mm: along_mm + 0.1 * x_mm + shake, z_mm: line.height_at(x_mm) - shake / 2.0 }
    });
    SideLine { places: places.collect(), ..line }
}

fn feature(plan: &Plan, index: usize, at_mm: f64, [shift_mm, step_mm]: [f64; 2]) -> FeatureReading {
    FeatureReading {
        index,
        at_mm,
        frame: plan.seams[0].curve.frame_at(at_mm),
        // The datum panel, the fender, lies on the right of this seam.
        lines: [Some(side(1.0, 0.4, 0.1)), Some(side(-1.0, 0.4 + shift_mm, 0.1 + step_mm))],
        step: Ok(estimate(step_mm, 0.03)),
        shift: Ok(estimate(shift_mm, 0.05)),
    }
}

fn lineup(id: &str, title: &str, kind: LineupKind, bars: Option<BarRow>) -> Lineup {
    Lineup {
        id: id.to_owned(),
        title: title.to_owned(),
        seam: SeamId("hood-fender-left".to_owned()),
        at_mm: 400.0,
        kind,
        width_mm: if kind == LineupKind::Crease { 0.0 } else { 8.0 },
        rounded_mm: 4.0,
        search_mm: 8.0,
        step: Some(tolerance(0.3)),
        shift: Some(tolerance(0.5)),
        bars,
        mirror: None,
    }
}

pub fn made(units: LengthUnit) -> (Plan, Vec<JudgedLineup>) {
    let mut plan = plan(units);
    let pitch = Tolerance { nominal_mm: 18.0, minus_mm: 0.3, plus_mm: 0.3 };
    plan.lineups = vec![
        lineup("body-line", "Body line over the seam", LineupKind::Crease, None),
        lineup(
            "louvres",
            "Louvres",
            LineupKind::Bar,
            Some(BarRow { count: 3, pitch, evenness_mm: Some(0.4) }),
        ),
    ];
    let mut hidden = feature(&plan, 2, 436.0, [0.0, 0.0]);
    hidden.lines[1] = None;
    hidden.step = Err(LineupReason::FeatureNotSeen);
    hidden.shift = Err(LineupReason::FeatureNotSeen);
    let readings = [
        LineupReading {
            id: "body-line".to_owned(),
            features: vec![feature(&plan, 0, 400.0, [0.82, -0.12])],
            row: None,
        },
        LineupReading {
            id: "louvres".to_owned(),
            features: vec![
                feature(&plan, 0, 400.0, [0.1, 0.05]),
                feature(&plan, 1, 418.0, [0.2, 0.41]),
                hidden,
            ],
            row: Some(RowReading {
                pitch: [Ok(estimate(18.1, 0.02)), Err(LineupReason::TooFewBars)],
                evenness: [Ok(estimate(0.2, 0.03)), Err(LineupReason::TooFewBars)],
                pitch_difference: Err(LineupReason::TooFewBars),
            }),
        },
    ];
    let judged = plan.lineups.iter().zip(readings);
    let judged = judged.map(|(lineup, reading)| judge_lineup(lineup, reading, &plan.decision)).collect();
    (plan, judged)
}

#[test]
fn a_lineup_shows_its_lines_and_what_is_out() {
    let (plan, judged) = made(LengthUnit::Millimetre);
    let settings = StripSettings::default();
    check("lineup-crease.png", &lineup_png(&plan, &judged[0], &settings).unwrap());
    check("lineup-bars.png", &lineup_png(&plan, &judged[1], &settings).unwrap());
    check("lineups.csv", lineups_csv(&plan, &judged).unwrap().unwrap().as_bytes());
}

#[test]
fn a_lineup_fits_a_phone_and_speaks_german_and_inches() {
    let (plan, judged) = made(LengthUnit::Inch);
    let settings = StripSettings { width: 340.0, language: Language::German, ..StripSettings::default() };
    check("lineup-phone-german-inch.png", &lineup_png(&plan, &judged[0], &settings).unwrap());
}

#[test]
fn page_and_record_hold_lineups() {
    let (plan, lineups) = made(LengthUnit::Millimetre);
    let seams = judged(&plan);
    let summary = summarise_scan(&plan, &seams);
    let run = run();
    let results = Results {
        plan: &plan,
        judged: &seams,
        summary: &summary,
        lineups: &lineups,
        alignment: None,
        run: &run,
    };
    let page = report_html(&results, &ReportSettings::default()).unwrap();
    assert!(page.contains("What runs across seams") && page.contains("too few bars seen"));
    if let Some(path) = std::env::var_os("LINEUP_PAGE") {
        std::fs::write(path, &page).unwrap();
    }
    let record: serde_json::Value = serde_json::from_str(&record_json(&results).unwrap()).unwrap();
    assert_eq!(record["lineups"][0]["values"][1]["quantity"], "shift");
    assert_eq!(record["lineups"][0]["verdict"], "high");
    assert_eq!(record["lineups"][1]["values"][4]["reason"], "feature-not-seen");
}

/// By hand: the hood, bare, gets the published outer build of bare metal; the fender, finished, none: the step of the other
/// panel rises by as much, and a step just inside its tolerance as scanned is judged where it will lie.
#[test]
fn film_to_come_raises_the_step_and_the_plan_says_which_state_is_judged() {
    for judge in [JudgedState::AsScanned, JudgedState::Finished] {
        let (mut plan, judged) = made(LengthUnit::Millimetre);
        let state =
            |panel: &PanelId| if panel.0 == "hood" { ScannedState::Bare } else { ScannedState::Painted };
        let panels =
            plan.panels.iter().map(|panel| (panel.id.clone(), PanelFinish::published(state(&panel.id))));
        plan.finish = FinishTerms { judge, panels: panels.collect() };
        let film_mm = PanelFinish::published(ScannedState::Bare).outer.build_mm;
        assert!(film_mm > 0.05, "{film_mm}");
        let mut lineup = plan.lineups[0].clone();
        // −0.12 with U of 0.01 as scanned; the film adds 0.1175 with a U of about 0.05.
        let mut reading = judged[0].reading.clone();
        reading.features[0].step = Ok(estimate(-0.12, 0.005));
        lineup.step = Some(Tolerance { nominal_mm: 0.0, minus_mm: 0.3, plus_mm: -0.08 });
        let judged = judge_lineup(&lineup, reading, &plan.decision);
        let finished = lineup_with_finish(&plan, &lineup, judged);
        let step = finished.finished_steps[0].as_ref().unwrap();
        assert!((step.value_mm - (-0.12 + film_mm)).abs() < 1e-12, "{step:?}");
        assert!(step.u_mm > 0.01, "the film's doubt is in it");
        let expected = if judge == JudgedState::Finished { Verdict::High } else { Verdict::Good };
        assert_eq!(finished.features[0][0], Some(expected), "{judge:?}");
        plan.lineups[0] = lineup;
        let table = lineups_csv(&plan, &[finished]).unwrap().unwrap();
        let row = |quantity: &str| {
            let is_it = |line: &&str| line.split(',').nth(2) == Some(quantity);
            table.lines().find(is_it).unwrap().split(',').nth(8).unwrap().to_owned()
        };
        let told = if judge == JudgedState::Finished { "step-finished" } else { "step" };
        let other = if judge == JudgedState::Finished { "step" } else { "step-finished" };
        assert!(!row(told).is_empty() && row(other).is_empty(), "{table}");
    }
}
