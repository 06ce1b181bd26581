//! Brings the points of a scan together block by block of space, so that what follows walks memory in order.
//!
//! In: a scan (mm). Out: for every block of 32 mm that holds points, what its points were folded to. Shape: one streaming
//! pass; the points of some parts at a time are held, ten bytes each.
//! Method: a counting sort of each part by blocks (Knuth, TAOCP 3, 5.2); a place is kept in steps of 1/2048 mm, which is exact
//! enough by a factor of twenty for any scanner, and small enough for sums in whole numbers, which know no order.
//! Does not know what the points are wanted for.

use std::sync::{Mutex, PoisonError};

use rustc_hash::FxHashMap;

use super::hands::{Hands, Look};
use crate::scan::{PointBlock, PointSink, ScanFailure, ScanSource, Sieve};

/// Steps in a millimetre.
pub(super) const STEPS_PER_MM: f64 = 2048.0;
/// Steps along a block's edge, as a power of two: 32 mm.
const BLOCK_BITS: u32 = 16;
/// Places further out than this are no places on a car: 4 km.
const FURTHEST_MM: f64 = 4.0e6;
/// Parts whose points are held at one time.
const PARTS_AT_ONCE: usize = 8;
/// Blocks that are folded in one go.
const BLOCKS_IN_A_RUN: usize = 256;
/// Length of a unit normal as it is kept.
const NORMAL_LENGTH: f32 = 127.0;

/// Address of a block: whole block steps from the origin.
pub(super) type BlockAddress = [i64; 3];

/// A point in its block.
#[derive(Debug, Clone, Copy)]
pub(super) struct BlockPoint {
    /// Steps from the block's low corner.
    pub place: [u16; 3],
    /// The source's normal, 127 long; zero where it has none.
    pub normal: [i8; 3],
}

/// Space for the points of one part, used again for the next: fresh memory costs more than what is done with it.
#[derive(Default)]
struct Space {
    block_of: Vec<u32>,
    points: Vec<BlockPoint>,
    sorted: Vec<BlockPoint>,
}

/// The points of a part, those of one block side by side.
struct SortedPart {
    blocks: Vec<BlockAddress>,
    /// Where the points of each block begin; one more than there are blocks.
    starts: Vec<u32>,
    space: Space,
}

impl SortedPart {
    fn piece(&self, piece: u32) -> &[BlockPoint] {
        let starts = &self.starts[piece as usize..];
        &self.space.sorted[starts[0] as usize..starts[1] as usize]
    }
}

/// Takes the points of one part.
struct Sorter<'a> {
    sieve: Option<&'a Sieve>,
    wants_normals: bool,
    numbers: FxHashMap<BlockAddress, u32>,
    blocks: Vec<BlockAddress>,
    counts: Vec<u32>,
    space: Space,
}

impl<'a> Sorter<'a> {
    fn new(sieve: Option<&'a Sieve>, wants_normals: bool, mut space: Space) -> Self {
        space.block_of.clear();
        space.points.clear();
        Self {
            sieve,
            wants_normals,
            numbers: FxHashMap::default(),
            blocks: Vec::new(),
            counts: Vec::new(),
            space,
        }
    }

    fn sorted(mut self) -> SortedPart {
        let mut starts = Vec::with_capacity(self.counts.len() + 1);
        let mut total = 0;
        starts.push(0);
        for count in &self.counts {
            total += count;
            starts.push(total);
        }
        let mut fill = starts.clone();
        let Space { block_of, points, sorted } = &mut self.space;
        sorted.resize(points.len(), BlockPoint { place: [0; 3], normal: [0; 3] });
        for (point, block) in points.iter().zip(block_of) {
            let place = &mut fill[*block as usize];
            sorted[*place as usize] = *point;
            *place += 1;
        }
        SortedPart { blocks: self.blocks, starts, space: self.space }
    }
}

impl PointSink for Sorter<'_> {
    fn sieve(&self) -> Option<&Sieve> {
        self.sieve
    }

    fn wants_normals(&self) -> bool {
        self.wants_normals
    }

    fn take(&mut self, block: &PointBlock<'_>) {
        let normals = block.normals.filter(|normals| self.wants_normals && normals.len() == block.len());
        let mut last = ([i64::MAX; 3], 0);
        let places = block.x_mm.iter().zip(block.y_mm).zip(block.z_mm);
        for (index, ((x, y), z)) in places.enumerate() {
            let place_mm = [*x, *y, *z];
            // Not true for what is not a number.
            if !place_mm.iter().all(|value| value.abs() < FURTHEST_MM) {
                continue;
            }
            let steps = place_mm.map(|value| floor(value * STEPS_PER_MM));
            let address = steps.map(|step| step >> BLOCK_BITS);
            if address != last.0 {
                let next = self.blocks.len() as u32;
                last = (address, *self.numbers.entry(address).or_insert(next));
                if last.1 == next {
                    self.blocks.push(address);
                    self.counts.push(0);
                }
            }
            self.counts[last.1 as usize] += 1;
            self.space.block_of.push(last.1);
            let normal = normals.map_or([0; 3], |normals| short_normal(&normals[index]));
            self.space.points.push(BlockPoint { place: steps.map(|step| step as u16), normal });
        }
    }
}

/// The whole number below; without a call, which the instruction for it would be on processors that may lack it.
fn floor(value: f64) -> i64 {
    let cut = value as i64;
    cut - i64::from((cut as f64) > value)
}

fn short_normal(normal: &[f32; 3]) -> [i8; 3] {
    let [x, y, z] = *normal;
    let length = (x * x + y * y + z * z).sqrt();
    // Not true for what is not a number, either.
    if length > 1e-6 && length < 1e6 {
        let scale = NORMAL_LENGTH / length;
        normal.map(|value| (value * scale) as i8)
    } else {
        [0; 3]
    }
}

/// Folds the points of every block into a state, in the order of the parts; blocks come in the order of their addresses.
///
/// # Errors
/// The scan cannot be read.
pub(super) fn by_blocks<State: Default + Send>(
    source: &dyn ScanSource,
    (look, hands): (Look, &Hands<'_>),
    sieve: Option<&Sieve>,
    fold: impl Fn(BlockAddress, &mut State, &[&[BlockPoint]]) + Sync,
) -> Result<Vec<(BlockAddress, State)>, ScanFailure> {
    let wants_normals = look == Look::Survey && source.facts().has_normals;
    let parts = source.part_count();
    let mut numbers: FxHashMap<BlockAddress, u32> = FxHashMap::default();
    let mut states: Vec<(BlockAddress, Mutex<State>)> = Vec::new();
    let spaces: Mutex<Vec<Space>> = Mutex::default();
    let any_space = || spaces.lock().unwrap_or_else(PoisonError::into_inner).pop().unwrap_or_default();
    for first in (0..parts).step_by(PARTS_AT_ONCE) {
        let some = first..parts.min(first + PARTS_AT_ONCE);
        let sorted = hands.read_parts((look, some, parts), |part| {
            let mut sorter = Sorter::new(sieve, wants_normals, any_space());
            source.read_points(part, &mut sorter)?;
            Ok(sorter.sorted())
        })?;
        // Which piece of which part belongs to which block.
        let mut pieces: Vec<[u32; 3]> = Vec::new();
        for (part, sorted) in sorted.iter().enumerate() {
            for (piece, address) in sorted.blocks.iter().enumerate() {
                let next = states.len() as u32;
                let block = *numbers.entry(*address).or_insert(next);
                if block == next {
                    states.push((*address, Mutex::default()));
                }
                pieces.push([block, part as u32, piece as u32]);
            }
        }
        pieces.sort_unstable();
        let runs: Vec<&[[u32; 3]]> = pieces.chunk_by(|one, two| one[0] == two[0]).collect();
        hands.spread.each(runs.len().div_ceil(BLOCKS_IN_A_RUN), &|run| {
            let mut points: Vec<&[BlockPoint]> = Vec::new();
            for pieces in runs.iter().skip(run * BLOCKS_IN_A_RUN).take(BLOCKS_IN_A_RUN) {
                points.clear();
                points.extend(pieces.iter().map(|[_, part, piece]| sorted[*part as usize].piece(*piece)));
                let (address, state) = &states[pieces[0][0] as usize];
                fold(*address, &mut state.lock().unwrap_or_else(PoisonError::into_inner), &points);
            }
        });
        let used = sorted.into_iter().map(|part| part.space);
        spaces.lock().unwrap_or_else(PoisonError::into_inner).extend(used);
    }
    states.sort_unstable_by_key(|(address, _)| *address);
    let whole = |(address, state): (BlockAddress, Mutex<State>)| {
        (address, state.into_inner().unwrap_or_else(PoisonError::into_inner))
    };
    Ok(states.into_iter().map(whole).collect())
}

#[cfg(test)]
mod tests {
    use nalgebra::Point3;

    use super::*;
    use crate::scan::VecSource;

    /// Places all over some blocks, in an order that jumps; two are no places.
    fn scattered(count: usize) -> Vec<Point3<f64>> {
        let part = |index: usize, step: f64| (index as f64 * step).rem_euclid(1.0);
        let place = |index: usize| {
            Point3::new(part(index, 0.618_034) - 0.5, part(index, 0.414_214), part(index, 0.732_051)) * 150.0
        };
        let mut points: Vec<Point3<f64>> = (0..count).map(place).collect();
        points.extend([Point3::new(f64::NAN, 0.0, 0.0), Point3::new(0.0, 1.0e9, 0.0)]);
        points
    }

    #[test]
    fn every_point_comes_once_in_its_block_and_in_the_order_of_the_scan() {
        // More than the parts that are held at once.
        let points = scattered((PARTS_AT_ONCE + 1) << 18);
        let normals = points.iter().map(|_| [0.0, 3.0, -4.0]).collect();
        let source = VecSource::from_points(&points, Some(normals));
        let keep = |_, state: &mut Vec<BlockPoint>, points: &[&[BlockPoint]]| {
            state.extend(points.iter().copied().flatten());
        };
        let blocks = by_blocks(&source, (Look::Survey, &Hands::one()), None, keep).unwrap();
        assert!(blocks.is_sorted_by_key(|(address, _)| *address));
        let mut expected = std::collections::BTreeMap::<BlockAddress, Vec<Point3<f64>>>::new();
        for point in &points[..points.len() - 2] {
            let address = [point.x, point.y, point.z].map(|value| (value / 32.0).floor() as i64);
            expected.entry(address).or_default().push(*point);
        }
        assert_eq!(blocks.len(), expected.len());
        for ((address, got), (other, points)) in blocks.iter().zip(&expected) {
            assert_eq!(address, other);
            assert_eq!(got.len(), points.len());
            for (got, point) in got.iter().zip(points) {
                assert_eq!(got.normal, [0, 76, -101]);
                for axis in 0..3 {
                    let place_mm = address[axis] as f64 * 32.0 + f64::from(got.place[axis]) / STEPS_PER_MM;
                    let off_mm = point[axis] - place_mm;
                    assert!((0.0..1.0 / STEPS_PER_MM).contains(&off_mm), "{off_mm}");
                }
            }
        }
    }

    #[test]
    fn normals_without_a_direction_are_none() {
        assert_eq!(short_normal(&[0.0, 0.0, 0.0]), [0; 3]);
        assert_eq!(short_normal(&[f32::NAN, 0.0, 1.0]), [0; 3]);
        assert_eq!(short_normal(&[f32::INFINITY, 0.0, 1.0]), [0; 3]);
        assert_eq!(short_normal(&[0.0, 0.0, -2.0]), [0, 0, -127]);
    }
}
