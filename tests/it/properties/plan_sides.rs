//! A plan whose seams contradict each other about where a panel lies.

use std::path::Path;

use shutline::files::read_plan;
use shutline::plan::{Plan, Side};

fn gannet() -> Plan {
    read_plan(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/gannet.seams.toml")).unwrap()
}

fn swapped(mut plan: Plan, wanted: impl Fn(usize) -> bool) -> Plan {
    for (index, seam) in plan.seams.iter_mut().enumerate() {
        if wanted(index) {
            seam.datum_side = if seam.datum_side == Side::Left { Side::Right } else { Side::Left };
        }
    }
    plan
}

#[test]
fn one_seam_that_counts_from_the_wrong_side_is_named() {
    assert_eq!(gannet().doubtful_sides(), []);
    let hood_seams: Vec<usize> =
        (0..gannet().seams.len()).filter(|index| gannet().seams[*index].id.0.starts_with("hood")).collect();
    assert_eq!(hood_seams.len(), 4);
    for wrong in hood_seams {
        let doubts = swapped(gannet(), |index| index == wrong).doubtful_sides();
        let names: Vec<&str> = doubts.iter().map(|doubt| doubt.seam.0.as_str()).collect();
        assert_eq!(names, [gannet().seams[wrong].id.0.as_str()]);
    }
}

/// A body lies round a door as a hood lies inside its ring: which of both it is, the plan does not say.
#[test]
fn where_all_seams_say_otherwise_nothing_is_said() {
    assert_eq!(swapped(gannet(), |_| true).doubtful_sides(), []);
}
