//! The selectable gap and flush methods, and meshes, against exact truth.

use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{FlushMethod, GapMethod, Plan, Side};
use shutline::rehearse::{Along, Output, Rehearsal, Scanner, SeamShape, rehearse};
use shutline::scan::VecSource;

use super::rehearse_truth::bent_plan;

fn wish() -> Rehearsal {
    Rehearsal {
        seed: 7,
        shape: SeamShape { flush_mm: Some(Along::Constant(0.6)), ..SeamShape::default() },
        scanner: Scanner { spacing_mm: 0.3, ..Scanner::default() },
        ..Rehearsal::default()
    }
}

/// Largest error of gap and flush over the stations, mm, and how many stations were measured.
fn worst_errors(plan: &Plan, wish: &Rehearsal) -> ([f64; 2], usize) {
    let scan = rehearse(plan, wish).unwrap();
    let source = match scan.triangles {
        Some(triangles) => VecSource::from_triangles(triangles),
        None => VecSource::from_points(&scan.points, None),
    };
    let measured = measure_scan(&source, plan, None, &Unwatched).unwrap();
    let mut worst = [0.0_f64; 2];
    let mut count = 0;
    for (station, truth) in measured.seams[0].stations.iter().zip(&scan.truth) {
        let (Ok(gap), Ok(flush)) = (&station.reading.gap, &station.reading.flush) else { continue };
        let true_gap_mm = truth.gap_mm.expect("the true profiles reach deep enough");
        worst[0] = worst[0].max((gap.value_mm - true_gap_mm).abs());
        worst[1] = worst[1].max((flush.value_mm - truth.flush_mm).abs());
        count += 1;
    }
    (worst, count)
}

fn plan_with(gap: GapMethod, flush: FlushMethod) -> Plan {
    let mut plan = bent_plan(150.0, 900.0, Side::Left);
    plan.seams[0].gap.method = gap;
    plan.seams[0].flush.method = flush;
    plan
}

/// Ten times the rms budget of scans without noise, as the largest of a few dozen stations.
const GAP_LIMIT_MM: f64 = 0.02;
const FLUSH_LIMIT_MM: f64 = 0.01;

fn check(gap: GapMethod, flush: FlushMethod, wish: &Rehearsal) {
    let plan = plan_with(gap, flush);
    let (worst, count) = worst_errors(&plan, wish);
    assert!(count as f64 >= 0.98 * plan.seams[0].stations().len() as f64, "{count} stations measured");
    assert!(worst[0] < GAP_LIMIT_MM && worst[1] < FLUSH_LIMIT_MM, "{gap:?} {flush:?}: {worst:?}");
}

#[test]
fn the_shortest_distance_is_found() {
    check(GapMethod::Shortest, FlushMethod::MidGap, &wish());
}

#[test]
fn the_clear_width_at_a_depth_is_found() {
    check(GapMethod::Depth { depth_mm: 2.0 }, FlushMethod::MidGap, &wish());
}

#[test]
fn the_straightedge_reads_as_on_the_true_profiles() {
    check(GapMethod::Edge, FlushMethod::Straightedge { rest_mm: 20.0, reach_mm: 5.0 }, &wish());
}

#[test]
fn a_mesh_is_cut_where_its_surface_is() {
    let mesh = Rehearsal { output: Output { mesh: true, ..Output::default() }, ..wish() };
    check(GapMethod::Edge, FlushMethod::MidGap, &mesh);
}
