//! A surface made of overlapping small parabolic patches ("nodes"), to which points are registered.
//!
//! In: points of a surface, mm. Out: a [`Surface`] of nodes with an index, and the signed distance of any near point.
//! Method: node normal from the neighbours' principal axes, then a robust (Tukey biweight) fit of
//! `w = c0 + c1 u + c2 v + c3 u² + c4 uv + c5 v²` in the node's frame, so that distances are right to second order
//! between nodes (compare N. Mitra et al., SGP 2004); then c0 is moved until the points nearest to the node are off by nothing on
//! the whole, for a nose is bent by more than six numbers say, and a pose believes a thousandth of a mm. Normals are made to agree by growing over the nearest nodes
//! (H. Hoppe et al., SIGGRAPH 1992), and point outward where the file says which way that is.
//! Does not know panels: see `panels`.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix3, Matrix6, Point3, SymmetricEigen, Vector3, Vector6};

use super::align_error::AlignError;
use super::orient::orient;
use super::thin::{SurfacePoints, spread_out};

/// Patch radius over node spacing: patches overlap so that a point between nodes is inside one.
const RADIUS_PER_SPACING: f64 = 1.7;
/// Fewest points that a patch is fitted to: twice its six numbers.
const LEAST_POINTS: usize = 12;
/// Most points that a patch is fitted to; more cost time and gain nothing.
const MOST_POINTS: usize = 160;
/// The part of a patch around its middle that is nearest to its node, as a share of the radius: a circle of the area of a node.
const MIDDLE: f64 = 0.57 / RADIUS_PER_SPACING;
/// Fewest points there that correct the patch.
const LEAST_IN_MIDDLE: usize = 5;
/// Rounds of reweighting; the second is within a hundredth of the last.
const ROUNDS: usize = 3;
/// A patch that is rougher than this many times the median patch, and than the least, is an edge or a mess.
const ROUGHEST: f64 = 4.0;
/// A shoulder line bends a patch out of its six numbers by less than this, mm; a hem or a step by more. On a reference
/// without noise nothing else would keep shoulders, which hold what flat panels leave free.
const ROUGHEST_AT_LEAST_MM: f64 = 0.05;
/// Fewest nodes that are called a surface.
const LEAST_NODES: usize = 30;

/// One patch.
#[derive(Debug, Clone)]
pub struct Node {
    /// Foot on the patch, mm.
    pub origin: Point3<f64>,
    /// Unit vectors: two along the surface, then the normal of the frame.
    pub axes: [Vector3<f64>; 3],
    /// c0 … c5 of the module head.
    pub shape: Vector6<f64>,
    /// Robust scale of what the patch leaves, mm.
    pub roughness_mm: f64,
    pub radius_mm: f64,
}

/// Nodes with an index over their origins.
#[derive(Debug)]
pub struct Surface {
    pub nodes: Vec<Node>,
    pub spacing_mm: f64,
    tree: ImmutableKdTree<f64, 3>,
}

/// A point's place relative to the surface.
#[derive(Debug, Clone, Copy)]
pub struct Nearness {
    pub node: usize,
    /// Signed, positive on the side of the normal.
    pub distance_mm: f64,
    /// Unit normal at the foot.
    pub normal: Vector3<f64>,
}

impl Node {
    /// Unit normal at the origin.
    #[must_use]
    pub fn normal(&self) -> Vector3<f64> {
        let slope = self.axes[0] * self.shape[1] + self.axes[1] * self.shape[2];
        (self.axes[2] - slope).normalize()
    }

    /// The patch seen from the other side.
    pub fn flip(&mut self) {
        self.axes[1] = -self.axes[1];
        self.axes[2] = -self.axes[2];
        let shape = self.shape;
        self.shape = Vector6::new(-shape[0], -shape[1], shape[2], -shape[3], shape[4], -shape[5]);
    }

    /// Signed distance, or `None` where the point is beside the patch.
    #[must_use]
    pub fn distance(&self, point: &Point3<f64>) -> Option<(f64, Vector3<f64>)> {
        let offset = point - self.origin;
        let (u, v, w) = (offset.dot(&self.axes[0]), offset.dot(&self.axes[1]), offset.dot(&self.axes[2]));
        if u * u + v * v > self.radius_mm * self.radius_mm {
            return None;
        }
        let [c0, c1, c2, c3, c4, c5] = self.shape.into();
        let height = c0 + u * (c1 + c3 * u + c4 * v) + v * (c2 + c5 * v);
        let (du, dv) = (c1 + 2.0 * c3 * u + c4 * v, c2 + c4 * u + 2.0 * c5 * v);
        let length = (1.0 + du * du + dv * dv).sqrt();
        let normal = (self.axes[2] - self.axes[0] * du - self.axes[1] * dv) / length;
        Some(((w - height) / length, normal))
    }
}

impl Surface {
    /// Lays about `wanted` nodes on points. The spacing of the points should be a quarter of the nodes'.
    ///
    /// # Errors
    /// Too few points lie together on smooth patches.
    pub fn lay(points: &SurfacePoints, wanted: usize) -> Result<Self, AlignError> {
        let lacking = |reason: String| AlignError::ReferenceWithoutSurface { reason };
        if points.points.len() < LEAST_POINTS * 4 {
            return Err(lacking(format!("it has {} points", points.points.len())));
        }
        let tree = index_of(points.points.iter()).map_err(lacking)?;
        let seats = spread_out(&points.points, wanted);
        let spacing_mm = typical_spacing_mm(&points.at(&seats).points).map_err(lacking)?;
        let radius_mm = spacing_mm * RADIUS_PER_SPACING;
        let mut fitted: Vec<(Node, Vector3<f64>)> = seats
            .iter()
            .filter_map(|seat| fit_node(points, &tree, &points.points[*seat], radius_mm))
            .collect();
        let mut roughness: Vec<f64> = fitted.iter().map(|(node, _)| node.roughness_mm).collect();
        roughness.sort_by(f64::total_cmp);
        let median_mm = roughness.get(roughness.len() / 2).copied().unwrap_or(0.0);
        fitted.retain(|(node, _)| node.roughness_mm <= (ROUGHEST * median_mm).max(ROUGHEST_AT_LEAST_MM));
        if fitted.len() < LEAST_NODES {
            return Err(lacking(format!(
                "only {} smooth patches of {radius_mm:.1} mm radius were found among {} points",
                fitted.len(),
                points.points.len()
            )));
        }
        let (mut nodes, hints): (Vec<Node>, Vec<Vector3<f64>>) = fitted.into_iter().unzip();
        let tree = index_of(nodes.iter().map(|node| &node.origin)).map_err(lacking)?;
        orient(&mut nodes, &hints, &tree);
        Ok(Self { nodes, spacing_mm, tree })
    }

    /// A surface of nodes that are there already.
    ///
    /// # Errors
    /// No nodes, or nodes that are not finite.
    pub fn of_nodes(nodes: Vec<Node>, spacing_mm: f64) -> Result<Self, AlignError> {
        let tree = index_of(nodes.iter().map(|node| &node.origin))
            .map_err(|reason| AlignError::ReferenceWithoutSurface { reason })?;
        Ok(Self { nodes, spacing_mm, tree })
    }

    /// Place of a point relative to its nearest node, or `None` beside the surface or further off than `reach_mm`.
    #[must_use]
    pub fn near(&self, point: &Point3<f64>, reach_mm: f64) -> Option<Nearness> {
        let found =
            self.tree.query(&[point.x, point.y, point.z]).nearest_one::<SquaredEuclidean<f64>>().execute();
        if found.distance > reach_mm * reach_mm {
            return None;
        }
        self.over(found.item as usize, point)
    }

    /// Place of a point relative to a node, or `None` beside it.
    pub fn over(&self, node: usize, point: &Point3<f64>) -> Option<Nearness> {
        let (distance_mm, normal) = self.nodes.get(node)?.distance(point)?;
        Some(Nearness { node, distance_mm, normal })
    }

    /// The nodes nearest to a point with their distances, mm, nearest first.
    pub fn around(&self, point: &Point3<f64>, count: std::num::NonZeroUsize) -> Vec<(usize, f64)> {
        let query = [point.x, point.y, point.z];
        let found = self.tree.query(&query).nearest_n::<SquaredEuclidean<f64>>(count).execute();
        found.iter().map(|item| (item.item as usize, item.distance.sqrt())).collect()
    }

    /// Median roughness of the nodes, mm: the noise of what they were laid on.
    #[must_use]
    pub fn roughness_mm(&self) -> f64 {
        let mut all: Vec<f64> = self.nodes.iter().map(|node| node.roughness_mm).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(0.0)
    }
}

/// An index over points.
pub(super) fn index_of<'p>(
    points: impl Iterator<Item = &'p Point3<f64>>,
) -> Result<ImmutableKdTree<f64, 3>, String> {
    let rows: Vec<[f64; 3]> = points.map(|point| [point.x, point.y, point.z]).collect();
    if rows.is_empty() {
        return Err("it has no points".to_owned());
    }
    ImmutableKdTree::new_from_slice(&rows).map_err(|error| error.to_string())
}

/// Median distance to the nearest other point, mm.
fn typical_spacing_mm(points: &[Point3<f64>]) -> Result<f64, String> {
    let tree = index_of(points.iter())?;
    let two = std::num::NonZeroUsize::MIN.saturating_add(1);
    let step = (points.len() / 2000).max(1);
    let mut distances: Vec<f64> = points
        .iter()
        .step_by(step)
        .filter_map(|point| {
            let query = [point.x, point.y, point.z];
            let found = tree.query(&query).nearest_n::<SquaredEuclidean<f64>>(two).execute();
            found.iter().map(|item| item.distance.sqrt()).reduce(f64::max)
        })
        .collect();
    distances.sort_by(f64::total_cmp);
    // One point per grid cell: cells are a third wider than the median nearest neighbour is far.
    match distances.get(distances.len() / 2).map(|median| median * 1.35) {
        Some(spacing_mm) if spacing_mm > 0.0 => Ok(spacing_mm),
        _ => Err("its points lie on top of each other".to_owned()),
    }
}

fn fit_node(
    points: &SurfacePoints,
    tree: &ImmutableKdTree<f64, 3>,
    seat: &Point3<f64>,
    radius_mm: f64,
) -> Option<(Node, Vector3<f64>)> {
    let query = [seat.x, seat.y, seat.z];
    let mut found: Vec<usize> = tree
        .query(&query)
        .within::<SquaredEuclidean<f64>>(radius_mm * radius_mm)
        .unsorted()
        .execute()
        .iter()
        .map(|item| item.item as usize)
        .collect();
    if found.len() < LEAST_POINTS {
        return None;
    }
    found.sort_unstable();
    let step = found.len().div_ceil(MOST_POINTS);
    let near: Vec<Point3<f64>> = found.iter().step_by(step).map(|index| points.points[*index]).collect();
    let hint = found.iter().filter_map(|index| points.normals.get(*index)).sum::<Vector3<f64>>();
    let node = fit_patch(&near, radius_mm)?;
    Some((node, hint))
}

/// Fits the patch of the module head to points around it.
fn fit_patch(near: &[Point3<f64>], radius_mm: f64) -> Option<Node> {
    let count = near.len() as f64;
    let centre = Point3::from(near.iter().map(|point| point.coords).sum::<Vector3<f64>>() / count);
    let mut spread = Matrix3::zeros();
    for point in near {
        let offset = point - centre;
        spread += offset * offset.transpose() / count;
    }
    let eigen = SymmetricEigen::new(spread);
    let thin = eigen.eigenvalues.imin();
    let wide = eigen.eigenvalues.imax();
    let middle = 3 - thin - wide;
    // A line of points, or a ball of them, is no surface.
    if thin == wide
        || eigen.eigenvalues[middle] < 0.05 * eigen.eigenvalues[wide]
        || eigen.eigenvalues[thin] > 0.1 * eigen.eigenvalues[middle]
    {
        return None;
    }
    let normal = eigen.eigenvectors.column(thin).into_owned();
    let first = eigen.eigenvectors.column(wide).into_owned();
    let axes = [first, normal.cross(&first), normal];
    let (shape, roughness_mm) = fit_shape(near, &centre, &axes, radius_mm)?;
    let origin = centre + normal * shape[0];
    let shape = Vector6::new(0.0, shape[1], shape[2], shape[3], shape[4], shape[5]);
    Some(Node { origin, axes, shape, roughness_mm, radius_mm })
}

fn fit_shape(
    near: &[Point3<f64>],
    centre: &Point3<f64>,
    axes: &[Vector3<f64>; 3],
    radius_mm: f64,
) -> Option<(Vector6<f64>, f64)> {
    let rows: Vec<(Vector6<f64>, f64)> = near
        .iter()
        .map(|point| {
            let offset = (point - centre) / radius_mm;
            let (u, v) = (offset.dot(&axes[0]), offset.dot(&axes[1]));
            (Vector6::new(1.0, u, v, u * u, u * v, v * v), offset.dot(&axes[2]) * radius_mm)
        })
        .collect();
    let mut weights = vec![1.0; rows.len()];
    let mut best = (Vector6::zeros(), 0.0);
    let mut middle_mm = 0.0;
    for _ in 0..ROUNDS {
        let mut normal = Matrix6::zeros();
        let mut right = Vector6::zeros();
        for ((row, height), weight) in rows.iter().zip(&weights) {
            normal += row * row.transpose() * *weight;
            right += row * (*height * *weight);
        }
        let shape = normal.cholesky()?.solve(&right);
        let left: Vec<f64> = rows.iter().map(|(row, height)| height - row.dot(&shape)).collect();
        let mut sizes: Vec<f64> = left.iter().map(|value| value.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // Median absolute deviation to standard deviation of normal noise.
        let scale_mm = 1.4826 * sizes[sizes.len() / 2];
        for (weight, value) in weights.iter_mut().zip(&left) {
            let share = value / (4.685 * scale_mm + 1e-9);
            *weight = if share.abs() < 1.0 { (1.0 - share * share).powi(2) } else { 0.0 };
        }
        best = (shape, scale_mm);
        middle_mm = mean_of_middle(&rows, &left, &weights).unwrap_or(0.0);
    }
    best.0[0] += middle_mm;
    let scale =
        Vector6::new(1.0, radius_mm, radius_mm, radius_mm.powi(2), radius_mm.powi(2), radius_mm.powi(2));
    Some((best.0.component_div(&scale), best.1))
        .filter(|(shape, _)| shape.iter().all(|value| value.is_finite()))
}

/// Weighted mean of what is left around the middle of a patch; `None` where there is too little.
fn mean_of_middle(rows: &[(Vector6<f64>, f64)], left_mm: &[f64], weights: &[f64]) -> Option<f64> {
    let (mut sum_mm, mut total, mut count) = (0.0, 0.0, 0);
    for (((row, _), left_mm), weight) in rows.iter().zip(left_mm).zip(weights) {
        if row[1].hypot(row[2]) < MIDDLE && *weight > 0.0 {
            sum_mm += weight * left_mm;
            total += weight;
            count += 1;
        }
    }
    (count >= LEAST_IN_MIDDLE).then(|| sum_mm / total)
}
