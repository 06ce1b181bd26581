//! Several panels at once: the fewest that need touching, and in which order.
//!
//! In: the work on all panels that may move. Out: the solution with the fewest panels, and an order of work.
//! Method: all sets of panels, smallest first, until one reaches what all together reach, within the readings'
//! uncertainty; with more than [`MOST_FOR_ALL_SETS`] panels, the panel that is missed least is left out, again and again.
//! Order: the panel most of whose readings are against panels that stay, or are done, comes first, so that each is fitted
//! to something that no longer moves (common practice, no source).
//! Does not look at which bolts are hidden by which panel.

use super::advice::Aim;
use super::minimax::{MinimaxError, MoveSolution};
use super::solve::uncertainty;
use super::work::Work;

/// With up to this many panels all their sets are tried: 31 of them for five.
const MOST_FOR_ALL_SETS: usize = 5;

/// The solution that touches the fewest panels, and their places in the list of frames.
pub(super) fn fewest_frames(work: &Work<'_>, aim: Aim) -> Result<(MoveSolution, Vec<usize>), MinimaxError> {
    let count = work.knobs.frames.len();
    let everything: Vec<usize> = (0..count).collect();
    let (all, beyond_mm) = work.settle(aim, &|_| true)?;
    if count < 2 {
        return Ok((all, everything));
    }
    let room = uncertainty(&work.rows, &work.deviations(&all.settings_mm, &beyond_mm));
    let is_as_good = |one: &MoveSolution| {
        one.worst <= all.worst.max(1.0) + room.worst && one.excess <= all.excess + room.excess
    };
    if count > MOST_FOR_ALL_SETS {
        return leave_out(work, aim, (all.clone(), everything), &is_as_good);
    }
    for size in 1..count {
        let mut best: Option<(MoveSolution, Vec<usize>)> = None;
        for frames in sets(count, size) {
            let (one, _) = work.settle(aim, &|frame| frames.contains(&frame))?;
            if is_as_good(&one) && best.as_ref().is_none_or(|(old, _)| one.worst < old.worst) {
                best = Some((one, frames));
            }
        }
        if let Some(best) = best {
            return Ok(best);
        }
    }
    Ok((all, everything))
}

/// All sets of `size` of the first `count` numbers.
fn sets(count: usize, size: usize) -> Vec<Vec<usize>> {
    (0_u32..1 << count)
        .filter(|bits| bits.count_ones() as usize == size)
        .map(|bits| (0..count).filter(|place| bits >> place & 1 == 1).collect())
        .collect()
}

fn leave_out(
    work: &Work<'_>,
    aim: Aim,
    (mut solution, mut frames): (MoveSolution, Vec<usize>),
    is_as_good: &dyn Fn(&MoveSolution) -> bool,
) -> Result<(MoveSolution, Vec<usize>), MinimaxError> {
    while frames.len() > 1 {
        let mut best: Option<(MoveSolution, usize)> = None;
        for left in &frames {
            let (one, _) = work.settle(aim, &|frame| frame != *left && frames.contains(&frame))?;
            if is_as_good(&one) && best.as_ref().is_none_or(|(old, _)| one.worst < old.worst) {
                best = Some((one, *left));
            }
        }
        let Some((one, left)) = best else { break };
        solution = one;
        frames.retain(|frame| *frame != left);
    }
    Ok((solution, frames))
}

/// The frames in the order of work.
pub(super) fn order_of_work(work: &Work<'_>, frames: &[usize]) -> Vec<usize> {
    let mut left: Vec<usize> = frames.to_vec();
    let mut order = Vec::new();
    while !left.is_empty() {
        let waiting: Vec<usize> = left.iter().map(|frame| work.knobs.frames[*frame].panel).collect();
        let held_share = |frame: usize| {
            let panel = work.knobs.frames[frame].panel;
            let own = work.rows.iter().filter(|row| row.sign_and_point(panel).is_some());
            let (held, total) = own.fold((0.0, 0.0), |(held, total), row| {
                let is_held = row.ends.iter().all(|(end, _)| *end == panel || !waiting.contains(end));
                (held + f64::from(u8::from(is_held)), total + 1.0)
            });
            held / f64::max(total, 1.0)
        };
        // The first of equals, so that the plan's and the caller's order decides.
        let mut first = 0;
        for place in 1..left.len() {
            if held_share(left[place]) > held_share(left[first]) + 1e-9 {
                first = place;
            }
        }
        order.push(left.remove(first));
    }
    order
}
