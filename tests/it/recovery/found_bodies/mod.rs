//! Seams found on whole made-up bodies of a generator that shares no code with the finder, with every fault a scan has.
//!
//! Promised for each body and fault: recall and precision of seam length 95 %, curve 0.5 mm rms from mid-gap, junctions
//! 3 mm, panel labels 98 % of the points.

#![expect(clippy::print_stdout, reason = "the recovery table is there to be read")]

mod score;
mod spoilt;

use nalgebra::Point3;
use score::{Score, rms_mm, score};
use shutline::geometry::{Curve, CurveFrame};
use shutline::rehearse::body::BodyKind;
use shutline::scan::VecSource;
use shutline::trace::{Bridge, ChainPoint, FoundSeams, Stop, TraceSettings, find_seams, trace_seam};
use spoilt::{Fault, Spoilt, spoilt_body};

fn trial(kind: BodyKind, fault: Fault, seed: u64) -> Score {
    let spoilt = spoilt_body(kind, fault, seed);
    let source = VecSource::from_points(&spoilt.points, None);
    let settings = TraceSettings { hem_radius_mm: spoilt.hem_radius_mm, ..TraceSettings::default() };
    let found = find_seams(&source, &settings).unwrap();
    if std::env::var_os("EXPLAIN").is_some() {
        explain(&spoilt, &found);
    }
    score(&spoilt, &found)
}

/// What lies where, in the body's frame: for whoever works on the finder.
fn explain(spoilt: &Spoilt, found: &FoundSeams) {
    let place = |point: &Point3<f64>| {
        let place = spoilt.body_from_scan * point;
        format!("({:6.0} {:6.0} {:6.0})", place.x, place.y, place.z)
    };
    let ends = |points: &[ChainPoint]| {
        [points[0], points[points.len() - 1]].map(|end| place(&end.point)).join(" to ")
    };
    for (number, seam) in spoilt.seams.iter().enumerate() {
        let (first, last) = (seam.positions()[0], seam.positions()[seam.positions().len() - 1]);
        println!("  truth {number} {first:.0} {last:.0} {:.0} mm", seam.length_mm());
    }
    for seam in &found.seams {
        println!(
            "  {} {} {:.0} mm, {:?} {:?}",
            seam.name,
            ends(&seam.points),
            seam.length_mm,
            seam.panels,
            seam.nodes
        );
    }
    for candidate in found.rejected.iter().filter(|candidate| candidate.points.len() > 5) {
        println!("  rejected {} {:?}", ends(&candidate.points), candidate.why);
    }
    for junction in &found.junctions {
        println!("  junction {} known to {:?} mm", place(&junction.point), junction.doubt_mm);
    }
    for junction in &spoilt.junctions {
        println!("  true junction {junction:.1}");
    }
}

/// The promises; a text of those broken.
fn broken(score: &Score) -> Vec<String> {
    let mut broken = Vec::new();
    let mut check = |is_kept: bool, what: String| {
        if !is_kept {
            broken.push(what);
        }
    };
    check(score.recall >= 0.95, format!("recall {:.3}", score.recall));
    check(score.precision >= 0.95, format!("precision {:.3}", score.precision));
    check(score.rms_mm <= 0.5, format!("rms {:.3} mm", score.rms_mm));
    check(score.junction_mm <= 3.0, format!("junction {:.2} mm", score.junction_mm));
    check(score.labels >= 0.98, format!("labels {:.3}", score.labels));
    broken
}

/// A few cells of the table, always run. Seed 7 is for this alone: nothing was tuned on it.
#[test]
fn seams_are_found_on_bodies_with_every_fault_at_once_and_on_partial_scans() {
    println!("{}", Score::HEADING);
    for (kind, fault) in [(BodyKind::Van, Fault::Everything), (BodyKind::OldCar, Fault::Partial)] {
        let score = trial(kind, fault, 7);
        println!("   7 {:9} {:11} {}", format!("{kind:?}"), fault.name(), score.row());
        assert_eq!(broken(&score), Vec::<String>::new(), "{kind:?} {}", fault.name());
    }
}

/// On these two, cells of 4 mm beyond the end of a short seam held points of both panels, and the panels were one.
#[test]
fn panels_that_touch_in_a_cell_beside_a_seams_end_are_two() {
    for (kind, fault, seed) in
        [(BodyKind::Roadster, Fault::Nothing, 17), (BodyKind::Flush, Fault::Everything, 7)]
    {
        let score = trial(kind, fault, seed);
        assert_eq!(broken(&score), Vec::<String>::new(), "{kind:?} {}", fault.name());
    }
}

/// Structure under the gaps led from panel to panel on this truck; it is neither a way nor a panel.
#[test]
fn what_shows_through_the_gaps_joins_no_panels_and_is_none() {
    for (kind, fault, seed) in
        [(BodyKind::Truck, Fault::Everything, 4200), (BodyKind::Coupe, Fault::Structure, 9)]
    {
        let clean = trial(kind, Fault::Nothing, seed);
        let score = trial(kind, fault, seed);
        assert_eq!(broken(&score), Vec::<String>::new(), "{kind:?} {}", fault.name());
        assert_eq!(score.panels, clean.panels, "{kind:?} {}", fault.name());
    }
}

/// Tight gaps, the widest hems and the commonest body; the promise is that of every other row.
#[test]
fn junctions_under_stickers_and_in_drop_outs_lie_where_the_seams_led_on_meet() {
    for kind in [BodyKind::Flush, BodyKind::OldCar, BodyKind::Coupe] {
        let score = trial(kind, Fault::Covered, 41);
        assert_eq!(broken(&score), Vec::<String>::new(), "{kind:?}: {}", score.row());
    }
}

/// Along a side of the hood, clicked 8 mm beside the gap, to a point 60 mm past the junction at its end.
#[test]
fn a_trace_on_a_body_crosses_holes_and_says_so_and_stops_at_the_junction() {
    for kind in [BodyKind::Coupe, BodyKind::OldCar] {
        let spoilt = spoilt_body(kind, Fault::Nothing, 43);
        let is_junction =
            |end: &CurveFrame| spoilt.junctions.iter().any(|place| (place - end.origin).norm() < 3.0);
        let hood_side = |seam: &&Curve| {
            let [first, last] = [0.0, seam.length_mm()].map(|along_mm| seam.frame_at(along_mm));
            first.along.x.abs() > 0.7 && is_junction(&first) && is_junction(&last)
        };
        let seam = spoilt.seams.iter().find(hood_side).unwrap();
        let holes = [0.3, 0.6]
            .map(|share| spoilt.body_from_scan.inverse() * seam.frame_at(share * seam.length_mm()).origin);
        let mut points = spoilt.points.clone();
        points.retain(|point| holes.iter().all(|centre| (centre - point).norm() > 9.0));
        let (begin, end) = (seam.frame_at(60.0), seam.frame_at(seam.length_mm()));
        let from = spoilt.body_from_scan.inverse() * (begin.origin + begin.across() * 8.0);
        let to = spoilt.body_from_scan.inverse() * (end.origin + end.along * 60.0);
        let source = VecSource::from_points(&points, None);
        let settings = TraceSettings { hem_radius_mm: spoilt.hem_radius_mm, ..TraceSettings::default() };
        let traced = trace_seam(&source, &from, &[], &to, &settings).unwrap();
        assert_eq!(traced.stop, Stop::Junction, "{kind:?}");
        let places: Vec<Point3<f64>> =
            traced.points.iter().map(|point| spoilt.body_from_scan * point.point).collect();
        let off_mm = (places[places.len() - 1] - end.origin).norm();
        // The promises for junctions and curves.
        assert!(off_mm <= 3.0, "{kind:?}: the junction is off by {off_mm} mm");
        let rms_mm = rms_mm(&spoilt, &places.iter().collect::<Vec<_>>());
        assert!(rms_mm <= 0.5, "{kind:?}: {rms_mm} mm from mid-gap");
        let curve = Curve::through(&places, None).unwrap();
        for hole in holes {
            let along_mm = curve.nearest(&(spoilt.body_from_scan * hole)).along_mm;
            let is_over = |bridge: &Bridge| bridge.from_mm < along_mm && along_mm < bridge.to_mm;
            assert!(traced.bridges.iter().any(is_over), "{kind:?}: {:?} at {along_mm}", traced.bridges);
        }
    }
}

fn numbers(name: &str) -> Vec<u64> {
    let text = std::env::var(name).unwrap_or_default();
    text.split(',').filter_map(|part| part.trim().parse().ok()).collect()
}

/// A junction's doubt holds the true place in 95 of 100 cases; of the twelve on three bodies one may be beyond it by chance.
#[test]
fn a_junction_lies_as_near_as_it_says() {
    let (mut within, mut count) = (0, 0);
    for kind in [BodyKind::Flush, BodyKind::OldCar, BodyKind::Coupe] {
        let spoilt = spoilt_body(kind, Fault::Covered, 41);
        let settings = TraceSettings { hem_radius_mm: spoilt.hem_radius_mm, ..TraceSettings::default() };
        let found = find_seams(&VecSource::from_points(&spoilt.points, None), &settings).unwrap();
        for junction in &found.junctions {
            let place = spoilt.body_from_scan * junction.point;
            let errors_mm = spoilt.junctions.iter().map(|truth| (place - truth).norm());
            let error_mm = errors_mm.fold(f64::INFINITY, f64::min);
            count += 1;
            within += usize::from(junction.doubt_mm.is_some_and(|doubt_mm| error_mm <= doubt_mm));
            assert!(junction.doubt_mm.is_none_or(|doubt_mm| doubt_mm < 3.0), "{junction:?}");
        }
    }
    assert!(count >= 12 && within + 1 >= count, "{within} of {count}");
}

/// Rows of all bodies and faults; `SEEDS=1,2`, `BODIES=0,3` and `FAULTS=1` in the environment choose.
#[test]
#[ignore = "the whole table by body and fault: a quarter of an hour for each seed"]
fn table_by_body_and_fault() {
    let chosen = |name: &str, all: usize| {
        let wanted = numbers(name);
        (0..all).filter(move |index| wanted.is_empty() || wanted.contains(&(*index as u64)))
    };
    let seeds = Some(numbers("SEEDS")).filter(|seeds| !seeds.is_empty()).unwrap_or_else(|| vec![1]);
    println!("{}", Score::HEADING);
    let mut failed = 0;
    for seed in seeds {
        for body in chosen("BODIES", BodyKind::ALL.len()) {
            for fault in chosen("FAULTS", Fault::ALL.len()) {
                let (kind, fault) = (BodyKind::ALL[body], Fault::ALL[fault]);
                let score = trial(kind, fault, seed);
                let broken = broken(&score);
                failed += usize::from(!broken.is_empty());
                println!(
                    "{seed:4} {:9} {:11} {} {}",
                    format!("{kind:?}"),
                    fault.name(),
                    score.row(),
                    broken.join(", ")
                );
            }
        }
    }
    assert_eq!(failed, 0, "rows with a broken promise");
}
