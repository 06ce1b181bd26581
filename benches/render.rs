//! Pictures and tables of one measured seam.

use criterion::Criterion;
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::render::{
    ReportSettings, Results, RunFacts, SectionSettings, StripSettings, readings_csv, record_json,
    report_html, section_png, strip_png,
};
use shutline::scan::VecSource;

use super::scene;

pub fn bench(criterion: &mut Criterion) {
    let plan = scene::plan(1);
    let source = VecSource::from_points(&scene::seam_points(&plan, 0.4), None);
    let measured = measure_scan(&source, &plan, None, &Unwatched).unwrap();
    let seam = &measured.seams[0];
    let run = RunFacts::default();
    let results = Results {
        plan: &plan,
        judged: &measured.seams,
        summary: &measured.summary,
        lineups: &measured.lineups,
        alignment: Some(&measured.alignment),
        run: &run,
    };
    let mut group = criterion.benchmark_group("render");
    group.sample_size(10);
    group.bench_function("strip", |bencher| {
        bencher.iter(|| strip_png(&plan, seam, &StripSettings::default()).unwrap());
    });
    group.bench_function("section", |bencher| {
        bencher.iter(|| section_png(&plan, seam, 3, &SectionSettings::default()).unwrap());
    });
    group.bench_function("page", |bencher| {
        bencher.iter(|| report_html(&results, &ReportSettings::default()).unwrap());
    });
    group.bench_function("record", |bencher| bencher.iter(|| record_json(&results).unwrap()));
    group
        .bench_function("readings", |bencher| bencher.iter(|| readings_csv(&plan, &measured.seams).unwrap()));
    group.finish();
}
