//! Finds the narrowest place at which two parts of a surface hang together.
//!
//! In: cells by number with their neighbours, some cells of either part. Out: the cells on the first part's side of the
//! narrowest place, and how many cells wide it is. Units: cells.
//! Method: the largest number of paths between the parts that share no cell, found by augmenting paths, breadth first
//! (Ford and Fulkerson, Canadian Journal of Mathematics 8, 1956; Edmonds and Karp, Journal of the ACM 19(2), 1972); as many
//! cells part the two (Menger, Fundamenta Mathematicae 10, 1927).
//! Does not judge whether a narrow place should be cut.

use std::collections::VecDeque;

use rustc_hash::FxHashMap;

/// A narrow place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Neck {
    pub width_cells: usize,
    /// Cells on the first part's side, those of the neck itself among them; in no order that means anything.
    pub near_side: Vec<usize>,
}

/// State of the search that nothing led to.
const UNSEEN: u32 = u32::MAX;
/// State of the search that the first part's cells come from.
const ROOT: u32 = u32::MAX - 1;

/// What a cell is to the search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Role {
    Near,
    Far,
}

/// Space for searches over cells with numbers below a limit.
pub(super) struct NeckSearch {
    /// Which state led to each; two states a cell: coming in, and going out.
    parents: Vec<u32>,
    seen: Vec<u32>,
}

fn coming_in(cell: usize) -> u32 {
    2 * cell as u32
}

fn going_out(cell: usize) -> u32 {
    2 * cell as u32 + 1
}

impl NeckSearch {
    pub fn new(cell_count: usize) -> Self {
        Self { parents: vec![UNSEEN; 2 * cell_count], seen: Vec::new() }
    }

    /// The narrowest place between `near` and `far`; `None` where it is wider than `most_cells`. `visit_neighbours` calls
    /// what it is given with each neighbour of a cell.
    pub fn narrowest(
        &mut self,
        near: &[usize],
        far: &[usize],
        most_cells: usize,
        visit_neighbours: impl Fn(usize, &mut dyn FnMut(usize)),
    ) -> Option<Neck> {
        let mut roles = FxHashMap::default();
        roles.extend(far.iter().map(|cell| (*cell, Role::Far)));
        roles.extend(near.iter().map(|cell| (*cell, Role::Near)));
        // The cell before each cell on the paths so far.
        let mut before: FxHashMap<usize, usize> = FxHashMap::default();
        let mut paths = 0;
        let neck = loop {
            match self.search(near, &roles, &before, &visit_neighbours) {
                Some(last) => {
                    self.follow_back(last, &mut before);
                    paths += 1;
                }
                None => break Some(Neck { width_cells: paths, near_side: self.near_side() }),
            }
            if paths > most_cells {
                break None;
            }
            self.forget();
        };
        self.forget();
        neck
    }

    /// One more path from the near cells; the last state before a far cell.
    fn search(
        &mut self,
        near: &[usize],
        roles: &FxHashMap<usize, Role>,
        before: &FxHashMap<usize, usize>,
        visit_neighbours: &impl Fn(usize, &mut dyn FnMut(usize)),
    ) -> Option<u32> {
        let mut queue = VecDeque::new();
        for cell in near {
            self.reach(going_out(*cell), ROOT, &mut queue);
        }
        while let Some(state) = queue.pop_front() {
            let cell = (state / 2) as usize;
            let taken_from = before.get(&cell).copied();
            if state == coming_in(cell) {
                // A cell that a path goes through can only turn that path back.
                self.reach(going_out(taken_from.unwrap_or(cell)), state, &mut queue);
                continue;
            }
            if taken_from.is_some() {
                self.reach(coming_in(cell), state, &mut queue);
            }
            let mut is_there = false;
            visit_neighbours(cell, &mut |next| match roles.get(&next) {
                Some(Role::Far) => is_there = true,
                Some(Role::Near) => {}
                None => self.reach(coming_in(next), state, &mut queue),
            });
            if is_there {
                return Some(state);
            }
        }
        None
    }

    fn reach(&mut self, state: u32, parent: u32, queue: &mut VecDeque<u32>) {
        let place = &mut self.parents[state as usize];
        if *place == UNSEEN {
            *place = parent;
            self.seen.push(state);
            queue.push_back(state);
        }
    }

    /// Adds the path that ends with a state to the paths so far.
    fn follow_back(&self, last: u32, before: &mut FxHashMap<usize, usize>) {
        let mut entered = Vec::new();
        let mut state = last;
        while self.parents[state as usize] != ROOT {
            let parent = self.parents[state as usize];
            let (cell, from) = ((state / 2) as usize, (parent / 2) as usize);
            let (comes_in, came_in) = (state == coming_in(cell), parent == coming_in(from));
            if comes_in && !came_in {
                if from == cell {
                    // The path through this cell was turned back.
                    before.remove(&cell);
                } else {
                    entered.push((cell, from));
                }
            }
            state = parent;
        }
        before.extend(entered);
    }

    fn near_side(&self) -> Vec<usize> {
        let mut cells: Vec<usize> = self.seen.iter().map(|state| (state / 2) as usize).collect();
        cells.sort_unstable();
        cells.dedup();
        cells
    }

    fn forget(&mut self) {
        for state in self.seen.drain(..) {
            self.parents[state as usize] = UNSEEN;
        }
    }
}

/// The region that most of some cells belong to.
pub(super) fn region_of_most(cells: &[usize], region_of: &[Option<u32>]) -> Option<u32> {
    let mut regions: Vec<u32> = cells.iter().filter_map(|cell| region_of[*cell]).collect();
    // What most agree on stands in the middle of them all.
    regions.sort_unstable();
    let middle = *regions.get(regions.len() / 2)?;
    let count = regions.iter().filter(|region| **region == middle).count();
    (2 * count > cells.len()).then_some(middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 40;

    /// A square of cells with a wall up the middle that has a hole of some cells from the bottom, and holes elsewhere.
    fn neck_of(is_open: impl Fn(usize, usize) -> bool, most: usize) -> Option<Neck> {
        let visit = |cell: usize, each: &mut dyn FnMut(usize)| {
            let (x, y) = (cell % SIDE, cell / SIDE);
            for next_y in y.saturating_sub(1)..(y + 2).min(SIDE) {
                for next_x in x.saturating_sub(1)..(x + 2).min(SIDE) {
                    if is_open(next_x, next_y) {
                        each(next_y * SIDE + next_x);
                    }
                }
            }
        };
        let column = |x: usize| (5..SIDE - 5).map(|y| y * SIDE + x).collect::<Vec<_>>();
        NeckSearch::new(SIDE * SIDE).narrowest(&column(17), &column(23), most, visit)
    }

    #[test]
    fn the_narrowest_place_is_found_where_the_wall_has_holes() {
        // Two holes of three and four cells.
        let is_open = |x: usize, y: usize| x != 20 || y < 3 || (30..34).contains(&y);
        let neck = neck_of(is_open, 10).unwrap();
        assert_eq!(neck.width_cells, 7);
        let left = (0..SIDE * SIDE).filter(|cell| cell % SIDE < 20);
        assert!(left.clone().all(|cell| neck.near_side.binary_search(&cell).is_ok()));
        // The cells of the neck belong to the near side.
        assert_eq!(neck.near_side.len(), left.count() + 7);
        assert_eq!(neck_of(is_open, 6), None);
    }

    #[test]
    fn paths_that_are_in_the_way_are_led_round() {
        // A crooked way: three walls with gaps that do not face one another.
        let is_open = |x: usize, y: usize| match x {
            19 => (10..14).contains(&y),
            20 => (8..14).contains(&y) || y == 30,
            21 => (10..12).contains(&y) || (29..31).contains(&y),
            _ => true,
        };
        assert_eq!(neck_of(is_open, 10).map(|neck| neck.width_cells), Some(2));
    }

    #[test]
    fn a_region_needs_more_than_half_of_the_cells() {
        let region_of = [Some(4), Some(2), Some(4), None, Some(4)];
        assert_eq!(region_of_most(&[0, 1, 2], &region_of), Some(4));
        assert_eq!(region_of_most(&[0, 1, 3], &region_of), None);
        assert_eq!(region_of_most(&[], &region_of), None);
    }

    #[test]
    fn without_a_way_the_neck_has_no_width() {
        assert_eq!(neck_of(|x, _| x != 20, 5).map(|neck| neck.width_cells), Some(0));
    }
}
