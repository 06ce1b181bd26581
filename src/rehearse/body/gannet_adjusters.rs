//! How the Gannet coupe's hood and fenders can be moved: the adjusters of the sample plan.
//!
//! Out: [`AdviceTerms`]; places and directions in the Car frame (x rearward, y to the right, z up), mm. All of it is made
//! up: travels, threads and shims are of the sizes that such parts usually have (common practice, no source).
//! Hood: two hinges at the rear with slots, two bump stops on threads at the front corners, latch and striker in the front
//! middle, which follow. Fenders: two bolts on top with slots and shims, one at the door's edge with shims.

use nalgebra::{Point3, Vector3};

use crate::plan::{Adjuster, AdjusterKind, AdjusterSetting, AdjusterWay, AdviceTerms, PanelId, WayStep};

const UP: [f64; 3] = [0.0, 0.0, 1.0];
const BACK: [f64; 3] = [1.0, 0.0, 0.0];
const RIGHT: [f64; 3] = [0.0, 1.0, 0.0];

fn way(direction: [f64; 3], travel_mm: [f64; 2], step: WayStep, words: Option<[&str; 2]>) -> AdjusterWay {
    AdjusterWay {
        direction: Vector3::from(direction),
        minus_mm: travel_mm[0],
        plus_mm: travel_mm[1],
        step,
        words: words.map(|words| words.map(str::to_owned)),
    }
}

fn slot(direction: [f64; 3], travel_mm: f64, words: Option<[&str; 2]>) -> AdjusterWay {
    way(direction, [travel_mm; 2], WayStep::Any, words)
}

fn adjuster(
    id: &str,
    title: &str,
    panel: &str,
    kind: AdjusterKind,
    (place, ways): ([f64; 3], Vec<AdjusterWay>),
) -> Adjuster {
    Adjuster {
        id: id.to_owned(),
        title: title.to_owned(),
        panel: PanelId(panel.to_owned()),
        kind,
        setting: AdjusterSetting::Ways { place: Point3::from(place), ways },
    }
}

/// The sample's adjusters.
pub(super) fn gannet_adjusters() -> AdviceTerms {
    let mut adjusters = Vec::new();
    for (hand, sign) in [("left", -1.0), ("right", 1.0)] {
        let ways = vec![slot(UP, 2.5, None), slot(BACK, 3.0, None), slot(RIGHT, 2.0, None)];
        let (id, title) = (format!("hinge-{hand}"), format!("{hand} hinge"));
        adjusters.push(adjuster(
            &id,
            &title,
            "hood",
            AdjusterKind::Hinge,
            ([900.0, 430.0 * sign, 90.0], ways),
        ));
    }
    for (hand, sign) in [("left", -1.0), ("right", 1.0)] {
        let thread = WayStep::Turns { pitch_mm: 1.5, part_turn: 0.5 };
        let ways = vec![way(UP, [6.0, 6.0], thread, None)];
        let (id, title) = (format!("bump-stop-{hand}"), format!("{hand} bump stop"));
        adjusters.push(adjuster(
            &id,
            &title,
            "hood",
            AdjusterKind::BumpStop,
            ([270.0, 430.0 * sign, 45.0], ways),
        ));
    }
    let latch = vec![slot(UP, 4.0, None)];
    adjusters.push(adjuster("latch", "latch", "hood", AdjusterKind::Latch, ([235.0, 0.0, 60.0], latch)));
    let striker = vec![slot(RIGHT, 3.0, None)];
    adjusters.push(adjuster(
        "striker",
        "striker",
        "hood",
        AdjusterKind::Striker,
        ([235.0, 0.0, 40.0], striker),
    ));
    for (hand, sign) in [("left", -1.0), ("right", 1.0)] {
        adjusters.extend(fender_bolts(hand, sign));
    }
    AdviceTerms { adjusters, weights: Vec::new() }
}

fn fender_bolts(hand: &str, sign: f64) -> [Adjuster; 3] {
    let panel = format!("fender-{hand}");
    let out = [0.0, sign, 0.0];
    let shims = |direction, words| way(direction, [1.0, 3.0], WayStep::Shims { thickness_mm: 0.5 }, words);
    let bolt = |id: &str, title: &str, place: [f64; 3], ways: Vec<AdjusterWay>| {
        adjuster(
            &format!("{panel}-{id}"),
            &format!("{hand} fender, {title}"),
            &panel,
            AdjusterKind::Bolt,
            (place, ways),
        )
    };
    [
        bolt(
            "front-top",
            "front top bolt",
            [290.0, 515.0 * sign, 40.0],
            vec![shims(UP, None), slot(out, 2.5, Some(["out", "in"])), slot(BACK, 2.5, None)],
        ),
        bolt(
            "rear-top",
            "rear top bolt",
            [930.0, 535.0 * sign, 90.0],
            vec![shims(UP, None), slot(out, 2.5, Some(["out", "in"]))],
        ),
        bolt(
            "door-edge",
            "lower bolt at the door",
            [1120.0, 690.0 * sign, -150.0],
            vec![shims(out, Some(["out", "in"]))],
        ),
    ]
}
