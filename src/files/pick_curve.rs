//! Picks curves by places near them and joins pieces that meet.
//!
//! In: places in the order of travel, curves as points. Out: which curve is nearest to each place; one run of points.
//! Units: mm, all in one frame. Method: distance to the chords; pieces are turned round where needed.
//! Does not read files.

use std::collections::VecDeque;

use nalgebra::Point3;

/// Ends this close are one point, mm: modellers join edges within 0.01 mm or so, and a seam's curve may be off by far more.
pub(super) const JOIN_MM: f64 = 0.05;
/// Most pieces that are joined without being told their order.
pub(super) const MOST_LOOSE_PIECES: usize = 200;

/// The nearest curve to a place so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Nearest {
    pub curve: usize,
    pub distance_mm: f64,
}

/// Two pieces that should meet and do not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Apart {
    /// Place of the second in the list of pieces.
    pub piece: usize,
    pub distance_mm: f64,
}

/// Takes a curve into account for every place; the first of equally near ones stays.
pub(super) fn consider(
    nearest: &mut [Option<Nearest>],
    places: &[Point3<f64>],
    curve: usize,
    points: &[Point3<f64>],
) {
    for (best, place) in nearest.iter_mut().zip(places) {
        let (distance_mm, _) = foot(points, place);
        if best.is_none_or(|best| distance_mm < best.distance_mm) {
            *best = Some(Nearest { curve, distance_mm });
        }
    }
}

/// Distance of a place to a chain of points, and how far along the chain it is nearest, in chords.
fn foot(points: &[Point3<f64>], place: &Point3<f64>) -> (f64, f64) {
    let mut best = (f64::INFINITY, 0.0);
    for (index, (start, end)) in points.iter().zip(points.iter().skip(1)).enumerate() {
        let chord = end - start;
        let square = chord.norm_squared();
        let share = if square > 0.0 { ((place - start).dot(&chord) / square).clamp(0.0, 1.0) } else { 0.0 };
        let distance = (start + chord * share - place).norm();
        if distance < best.0 {
            best = (distance, index as f64 + share);
        }
    }
    best
}

/// Joins pieces in the given order into one run from the first place to the last.
///
/// One piece keeps the file's direction unless two places on it say otherwise.
pub(super) fn join_in_order(
    pieces: Vec<Vec<Point3<f64>>>,
    places: &[Point3<f64>],
) -> Result<Vec<Point3<f64>>, Apart> {
    let mut pieces = pieces.into_iter();
    let Some(mut run) = pieces.next() else { return Ok(Vec::new()) };
    if pieces.len() == 0 {
        if let [first, .., last] = places
            && foot(&run, first).1 > foot(&run, last).1
        {
            run.reverse();
        }
        return Ok(run);
    }
    for (index, mut piece) in pieces.enumerate() {
        let turns = [(false, false), (false, true), (true, false), (true, true)];
        // Only the first piece may still be turned itself.
        let turns = turns.into_iter().filter(|(turns_run, _)| index == 0 || !turns_run);
        let best = turns
            .map(|turn| (distance_between(&run, &piece, turn), turn))
            .min_by(|one, other| one.0.total_cmp(&other.0));
        let Some((distance_mm, (turns_run, turns_piece))) = best else { continue };
        if distance_mm.is_nan() || distance_mm > JOIN_MM {
            return Err(Apart { piece: index + 1, distance_mm });
        }
        if turns_run {
            run.reverse();
        }
        if turns_piece {
            piece.reverse();
        }
        run.extend(piece.into_iter().skip(1));
    }
    Ok(run)
}

/// From the end of one run to the beginning of the next, either turned round or not.
fn distance_between(
    run: &[Point3<f64>],
    piece: &[Point3<f64>],
    (turns_run, turns_piece): (bool, bool),
) -> f64 {
    let end = if turns_run { run.first() } else { run.last() };
    let start = if turns_piece { piece.last() } else { piece.first() };
    end.zip(start).map_or(f64::INFINITY, |(end, start)| (end - start).norm())
}

/// Joins pieces of any order into one run, if they make one without branches; from the first piece on in its direction.
pub(super) fn join_loose(mut pieces: Vec<Vec<Point3<f64>>>) -> Option<Vec<Point3<f64>>> {
    if pieces.len() > MOST_LOOSE_PIECES || pieces.iter().any(|piece| piece.len() < 2) {
        return None;
    }
    if pieces.len() == 1 {
        return pieces.pop();
    }
    let ends: Vec<Point3<f64>> =
        pieces.iter().flat_map(|piece| [piece.first(), piece.last()]).flatten().copied().collect();
    let meet = |one: &Point3<f64>, other: &Point3<f64>| (one - other).norm() <= JOIN_MM;
    if ends.iter().any(|end| ends.iter().filter(|other| meet(end, other)).count() > 2) {
        return None;
    }
    let mut run = pieces.remove(0);
    let mut is_turned = false;
    while !pieces.is_empty() {
        let end = *run.last()?;
        let touches = |piece: &Vec<Point3<f64>>| {
            piece.first().is_some_and(|first| meet(&end, first))
                || piece.last().is_some_and(|last| meet(&end, last))
        };
        match pieces.iter().position(touches) {
            Some(place) => {
                let mut piece = pieces.remove(place);
                if !piece.first().is_some_and(|first| meet(&end, first)) {
                    piece.reverse();
                }
                run.extend(piece.into_iter().skip(1));
            }
            None if !is_turned => {
                run.reverse();
                is_turned = true;
            }
            None => return None,
        }
    }
    if is_turned {
        run.reverse();
    }
    Some(run)
}

/// Runs looked at for each new piece, the newest first: drawings list the pieces of a curve near each other.
const LOOK_BACK: usize = 64;

/// A run that grows at both ends.
type Run = VecDeque<Point3<f64>>;

/// Joins pieces that meet into runs, in the order and direction in which they first come; turns later ones where needed.
pub(super) fn join_runs(pieces: Vec<Vec<Point3<f64>>>, join: f64) -> Vec<Vec<Point3<f64>>> {
    let mut runs: Vec<Run> = Vec::new();
    for piece in pieces.into_iter().filter(|piece| piece.len() > 1) {
        let rest = attach_to_any(runs.iter_mut().rev().take(LOOK_BACK), piece.into(), join);
        runs.extend(rest);
    }
    // What a later piece has brought together; for drawings that are not full of loose pieces.
    if runs.len() <= MOST_LOOSE_PIECES {
        let mut joined: Vec<Run> = Vec::new();
        for run in runs.drain(..) {
            let rest = attach_to_any(joined.iter_mut(), run, join);
            joined.extend(rest);
        }
        runs = joined;
    }
    runs.into_iter().map(Vec::from).collect()
}

/// Gives the piece back where it meets none of the runs.
fn attach_to_any<'r>(runs: impl Iterator<Item = &'r mut Run>, mut piece: Run, join: f64) -> Option<Run> {
    for run in runs {
        match attach(run, piece, join) {
            Ok(()) => return None,
            Err(back) => piece = back,
        }
    }
    Some(piece)
}

/// Adds a piece at an end of a run where they meet, or gives it back.
fn attach(run: &mut Run, mut piece: Run, join: f64) -> Result<(), Run> {
    let ends = |points: &Run| points.front().copied().zip(points.back().copied());
    let (Some((start, end)), Some((first, last))) = (ends(run), ends(&piece)) else { return Err(piece) };
    let meet = |one: Point3<f64>, other: Point3<f64>| (one - other).norm() <= join;
    if meet(start, end) || meet(first, last) {
        return Err(piece);
    }
    if meet(end, first) {
        run.extend(piece.drain(1..));
    } else if meet(end, last) {
        run.extend(piece.drain(..).rev().skip(1));
    } else if meet(start, last) {
        piece.drain(..).rev().skip(1).for_each(|point| run.push_front(point));
    } else if meet(start, first) {
        piece.drain(1..).for_each(|point| run.push_front(point));
    } else {
        return Err(piece);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(from: [f64; 3], to: [f64; 3]) -> Vec<Point3<f64>> {
        vec![from.into(), to.into()]
    }

    #[test]
    fn the_nearest_curve_is_picked_for_each_place() {
        let places = [Point3::new(1.0, 1.0, 0.0), Point3::new(9.0, 4.0, 0.0)];
        let mut nearest = [None; 2];
        consider(&mut nearest, &places, 0, &line([0.0; 3], [10.0, 0.0, 0.0]));
        consider(&mut nearest, &places, 1, &line([0.0, 5.0, 0.0], [10.0, 5.0, 0.0]));
        assert_eq!(nearest.map(|best| best.unwrap().curve), [0, 1]);
        assert_eq!(nearest.map(|best| best.unwrap().distance_mm), [1.0, 1.0]);
    }

    #[test]
    fn pieces_are_turned_to_follow_the_places() {
        let (a, b, c) = ([0.0; 3], [10.0, 0.0, 0.0], [10.0, 5.0, 0.0]);
        let run = join_in_order(vec![line(b, a), line(c, b)], &[]).unwrap();
        assert_eq!(run, [a.into(), b.into(), Point3::from(c)]);
        let places = [Point3::new(8.0, 0.0, 0.0), Point3::new(2.0, 0.0, 0.0)];
        assert_eq!(join_in_order(vec![line(a, b)], &places).unwrap(), line(b, a));
        assert_eq!(join_in_order(vec![line(a, b)], &places[..1]).unwrap(), line(a, b));
        let apart = join_in_order(vec![line(a, b), line(c, [20.0, 5.0, 0.0])], &[]).unwrap_err();
        assert_eq!((apart.piece, apart.distance_mm), (1, 5.0));
    }

    #[test]
    fn pieces_of_a_drawing_make_runs() {
        let (a, b, c, d) = ([0.0; 3], [10.0, 0.0, 0.0], [10.0, 5.0, 0.0], [0.0, 5.0, 0.0]);
        let pieces = vec![line(b, c), line(d, [0.0, 9.0, 0.0]), line(b, a), line(d, c), vec![a.into()]];
        let runs = join_runs(pieces, 1e-3);
        assert_eq!(runs, [[a, b, c, d, [0.0, 9.0, 0.0]].map(Point3::from)]);
        let loose: Vec<_> = (0..100_000)
            .map(|index| line([f64::from(index), 0.0, 0.0], [f64::from(index), 0.1, 0.0]))
            .collect();
        assert_eq!(join_runs(loose, 1e-3).len(), 100_000);
        // Each before the one that came before it: a run that is copied for each would take minutes.
        let backwards = (0..300_000).rev().map(f64::from).map(|x| line([x, 0.0, 0.0], [x + 1.0, 0.0, 0.0]));
        let runs = join_runs(backwards.collect(), 1e-3);
        assert_eq!((runs.len(), runs[0].len(), runs[0][0]), (1, 300_001, Point3::origin()));
    }

    #[test]
    fn loose_pieces_make_one_run_or_none() {
        let (a, b, c, d) = ([0.0; 3], [10.0, 0.0, 0.0], [10.0, 5.0, 0.0], [0.0, 5.0, 0.0]);
        let run = join_loose(vec![line(b, c), line(d, c), line(b, a)]).unwrap();
        assert_eq!(run, [a.into(), b.into(), c.into(), Point3::from(d)]);
        assert_eq!(join_loose(vec![line(a, b), line(c, d)]), None, "two pieces");
        assert_eq!(join_loose(vec![line(a, b), line(b, c), line(b, d)]), None, "a branch");
    }
}
