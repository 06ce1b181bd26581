//! The two coordinate frames, as types, so that an unaligned scan cannot be cut with the car's section planes; and which
//! way the car faces in its own frame.
//!
//! In: two directions of the car. Out: [`CarAxes`], three unit vectors in the Car frame.
//! `Scanner` is the frame that the scan file is written in, `Car` the frame of the plan and its curves; both are markers
//! for [`crate::geometry::RigidTransform`] and section planes.
//! Does not guess which way a car faces: the plan says it, or nobody knows.

use nalgebra::Vector3;

/// The frame that a scan arrives in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scanner;

/// The frame of the plan: CAD, or an earlier scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Car;

/// Sine of the least angle between forward and up, about 30°: what is nearer together is a slip of the pen.
const LEAST_SINE: f64 = 0.5;

/// Which way the car faces in the Car frame: three unit vectors at right angles, forward × left = up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarAxes {
    forward: Vector3<f64>,
    left: Vector3<f64>,
}

impl CarAxes {
    /// The axes of a car that faces `forward`; `up` only needs to be near enough to tell left from right.
    ///
    /// `None` where one of them has no length or is not finite, or they are within 30° of one line.
    #[must_use]
    pub fn facing(forward: &Vector3<f64>, up: &Vector3<f64>) -> Option<Self> {
        let (forward, up) = (forward.try_normalize(1e-9)?, up.try_normalize(1e-9)?);
        let left = up.cross(&forward).try_normalize(LEAST_SINE)?;
        let is_finite = forward.iter().chain(left.iter()).all(|part| part.is_finite());
        is_finite.then_some(Self { forward, left })
    }

    /// x to the rear, y to the right, z up: our made-up cars, and how a car of unknown facing is laid out on paper.
    #[must_use]
    pub fn x_rearward() -> Self {
        Self { forward: -Vector3::x(), left: -Vector3::y() }
    }

    /// Where the driver looks.
    #[must_use]
    pub const fn forward(&self) -> Vector3<f64> {
        self.forward
    }

    /// To the driver's left.
    #[must_use]
    pub const fn left(&self) -> Vector3<f64> {
        self.left
    }

    #[must_use]
    pub fn up(&self) -> Vector3<f64> {
        self.forward.cross(&self.left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn left_is_the_drivers_left() {
        // ISO 8855: x forward, y to the left, z up.
        let iso = CarAxes::facing(&Vector3::x(), &Vector3::z()).unwrap();
        assert_eq!((iso.left(), iso.up()), (Vector3::y(), Vector3::z()));
        // Turned round: with x to the rear and z up the driver's left is -y.
        assert_eq!(CarAxes::facing(&-Vector3::x(), &Vector3::z()).unwrap(), CarAxes::x_rearward());
        let slanted = CarAxes::facing(&Vector3::x(), &Vector3::new(0.5, 0.0, 2.0)).unwrap();
        assert!((slanted.up() - Vector3::z()).norm() < 1e-15, "up is squared to forward");
    }

    #[test]
    fn directions_that_tell_nothing_make_no_axes() {
        assert!(CarAxes::facing(&Vector3::z(), &Vector3::z()).is_none());
        assert!(CarAxes::facing(&Vector3::z(), &-Vector3::z()).is_none());
        assert!(CarAxes::facing(&Vector3::zeros(), &Vector3::z()).is_none());
        assert!(CarAxes::facing(&Vector3::x(), &Vector3::new(f64::NAN, 0.0, 1.0)).is_none());
    }
}
