//! Where numbers go that are led to lines: never on one another, never on a line.
//!
//! In: for each number the places on its line that it may be led to, best first; what must stay free (picture units).
//! Out: the centre of each number and the place that its leader ends at.
//! Method: candidates on circles about the places, the cheapest that touches nothing (the point-feature labelling of
//! Christensen, Marks, Shieber, ACM Transactions on Graphics 14(3), 1995, greedily, the shortest lines first).
//! Does not draw.

use super::picture::{Area, Place};

/// What is wanted for one number.
pub(super) struct Wanted {
    /// Places on the line, best first.
    pub places: Vec<Place>,
    pub radius: f64,
    /// Numbers of short lines are placed first.
    pub length: f64,
}

/// One number's place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Callout {
    pub centre: Place,
    pub tip: Place,
}

/// Distances from the line's place, and directions.
const REACHES: [f64; 7] = [15.0, 20.0, 26.0, 34.0, 44.0, 58.0, 76.0];
const DIRECTIONS: usize = 24;
/// Free room between a number and anything else.
const ROOM: f64 = 2.5;
/// What a later choice of place, and a leader over another line, cost in units of length.
const LATER_PLACE: f64 = 4.0;
const OVER_LINE: f64 = 30.0;

/// Places the numbers; `lines` are points along all lines, `inside` is where numbers may stand, `taken` is other lettering.
pub(super) fn place_callouts(
    wanted: &[Wanted],
    lines: &[Place],
    taken: &[(Place, f64)],
    inside: &Area,
) -> Vec<Option<Callout>> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|one, two| wanted[*one].length.total_cmp(&wanted[*two].length));
    let mut placed: Vec<Option<Callout>> = vec![None; wanted.len()];
    let mut blocked: Vec<(Place, f64)> = taken.to_vec();
    let mut leaders: Vec<[Place; 2]> = Vec::new();
    for index in order {
        let one = &wanted[index];
        let best = candidates(one)
            .filter(|(callout, _)| is_within(&callout.centre, one.radius, inside))
            .filter(|(callout, _)| is_free(callout, one.radius, &blocked, lines, &leaders))
            .map(|(callout, cost)| (callout, cost + crossings(&callout, lines)))
            .min_by(|one, two| one.1.total_cmp(&two.1));
        if let Some((callout, _)) = best {
            blocked.push((callout.centre, one.radius));
            leaders.push([callout.tip, callout.centre]);
            placed[index] = Some(callout);
        }
    }
    placed
}

fn candidates(wanted: &Wanted) -> impl Iterator<Item = (Callout, f64)> + '_ {
    wanted.places.iter().enumerate().flat_map(move |(rank, tip)| {
        REACHES.iter().flat_map(move |reach| {
            (0..DIRECTIONS).map(move |step| {
                let angle = std::f64::consts::TAU * step as f64 / DIRECTIONS as f64;
                let reach = reach + wanted.radius - 8.0;
                let centre = [tip[0] + reach * angle.cos(), tip[1] + reach * angle.sin()];
                (Callout { centre, tip: *tip }, reach + LATER_PLACE * rank as f64)
            })
        })
    })
}

fn is_within(centre: &Place, radius: f64, inside: &Area) -> bool {
    centre[0] - radius > inside.x
        && centre[0] + radius < inside.right()
        && centre[1] - radius > inside.y
        && centre[1] + radius < inside.bottom()
}

fn is_free(
    callout: &Callout,
    radius: f64,
    blocked: &[(Place, f64)],
    lines: &[Place],
    leaders: &[[Place; 2]],
) -> bool {
    let Callout { centre, tip } = callout;
    let off = |other: &Place| apart(other, centre);
    blocked.iter().all(|(other, size)| {
        off(other) > radius + size + ROOM && to_stretch(other, tip, centre) > size + ROOM
    }) && lines.iter().all(|line| off(line) > radius + ROOM + 1.5)
        && leaders.iter().all(|[from, to]| {
            to_stretch(centre, from, to) > radius + ROOM && !cross(&[*tip, *centre], &[*from, *to])
        })
}

/// How many places of lines the leader passes over, apart from its own end.
fn crossings(callout: &Callout, lines: &[Place]) -> f64 {
    let Callout { centre, tip } = callout;
    let over = lines.iter().filter(|line| apart(line, tip) > 7.0 && to_stretch(line, tip, centre) < 1.6);
    if over.count() > 0 { OVER_LINE } else { 0.0 }
}

/// Distance between places; nothing here is so large or small that `hypot`, which is slow, must do it.
fn apart(one: &Place, two: &Place) -> f64 {
    let (dx, dy) = (one[0] - two[0], one[1] - two[1]);
    (dx * dx + dy * dy).sqrt()
}

/// Distance from a place to a straight stretch.
fn to_stretch(place: &Place, from: &Place, to: &Place) -> f64 {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length_sq = (dx * dx + dy * dy).max(1e-12);
    let share = (((place[0] - from[0]) * dx + (place[1] - from[1]) * dy) / length_sq).clamp(0.0, 1.0);
    apart(place, &[from[0] + share * dx, from[1] + share * dy])
}

fn cross(one: &[Place; 2], two: &[Place; 2]) -> bool {
    let side = |line: &[Place; 2], place: &Place| {
        (line[1][0] - line[0][0]) * (place[1] - line[0][1])
            - (line[1][1] - line[0][1]) * (place[0] - line[0][0])
    };
    side(one, &two[0]) * side(one, &two[1]) < 0.0 && side(two, &one[0]) * side(two, &one[1]) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_lines_side_by_side_lie_on_nothing() {
        let lines: Vec<Vec<Place>> = (0..6)
            .map(|line| {
                (0..60).map(|step| [40.0 + 3.0 * f64::from(step), 60.0 + 9.0 * f64::from(line)]).collect()
            })
            .collect();
        let wanted: Vec<Wanted> = lines
            .iter()
            .map(|line| Wanted {
                places: vec![line[30], line[15], line[45], line[3], line[57]],
                radius: 8.0,
                length: 180.0,
            })
            .collect();
        let all: Vec<Place> = lines.concat();
        let inside = Area::new(0.0, 0.0, 260.0, 170.0);
        let placed: Vec<Callout> =
            place_callouts(&wanted, &all, &[], &inside).into_iter().flatten().collect();
        assert_eq!(placed.len(), 6, "{placed:?}");
        for (index, one) in placed.iter().enumerate() {
            let distance = |other: &Place| apart(other, &one.centre);
            assert!(all.iter().all(|line| distance(line) > 8.0), "{one:?} lies on a line");
            assert!(
                placed[..index].iter().all(|other| distance(&other.centre) > 16.0),
                "{one:?} lies on another"
            );
        }
    }
}
