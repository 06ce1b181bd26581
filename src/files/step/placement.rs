//! Points, directions and axis placements.
//!
//! In: instance numbers. Out: points and isometries in the file's unit.
//! Method: ISO 10303-42: missing axes are filled in as `build_axes` says; 2-D points and placements are refused, since they
//! belong to curves on surfaces. Does not read transformation operators.

use nalgebra::{Isometry3, Matrix3, Point3, Rotation3, Translation3, UnitQuaternion, Vector3};

use super::exchange::{Exchange, Problem};
use super::record::Value;

/// Shortest direction.
const SHORTEST: f64 = 1e-12;

fn triple(file: &Exchange, id: u32, kind: &[u8], what: &str) -> Result<Vector3<f64>, Problem> {
    let record = file.record(id)?;
    let numbers = match record.simple() {
        Some((found, [_, Value::List(values)])) if found == kind => values,
        _ => return Err(Problem::at(id, format!("it is no {what}"))),
    };
    match numbers.iter().map(Value::number).collect::<Vec<_>>().as_slice() {
        [Some(x), Some(y), Some(z)] => Ok(Vector3::new(*x, *y, *z)),
        _ => Err(Problem::at(id, format!("this {what} has not three coordinates"))),
    }
}

pub(super) fn point(file: &Exchange, id: u32) -> Result<Point3<f64>, Problem> {
    triple(file, id, b"CARTESIAN_POINT", "point").map(Point3::from)
}

/// A direction of length 1.
pub(super) fn direction(file: &Exchange, id: u32) -> Result<Vector3<f64>, Problem> {
    let found = triple(file, id, b"DIRECTION", "direction")?;
    found.try_normalize(SHORTEST).ok_or_else(|| Problem::at(id, "this direction has no length"))
}

/// The isometry that takes a placement's own coordinates to those around it.
pub(super) fn placement(file: &Exchange, id: u32) -> Result<Isometry3<f64>, Problem> {
    let record = file.record(id)?;
    let (origin, axis, reference) = match record.simple() {
        Some((b"AXIS2_PLACEMENT_3D", [_, Value::Reference(origin), axis, reference])) => {
            (*origin, axis.reference(), reference.reference())
        }
        _ => return Err(Problem::at(id, "it is no placement in space")),
    };
    let origin = point(file, origin)?;
    let third = axis.map_or(Ok(Vector3::z()), |axis| direction(file, axis))?;
    let given = reference.map(|reference| direction(file, reference)).transpose()?;
    let first = given.unwrap_or_else(|| if third.x.abs() > 1.0 - 1e-9 { Vector3::y() } else { Vector3::x() });
    let first = (first - third * third.dot(&first)).try_normalize(1e-9);
    let first = first.ok_or_else(|| Problem::at(id, "the axes of this placement are parallel"))?;
    let axes = Matrix3::from_columns(&[first, third.cross(&first), third]);
    let rotation = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(axes));
    Ok(Isometry3::from_parts(Translation3::from(origin.coords), rotation))
}
