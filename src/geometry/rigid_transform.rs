//! A rotation and a shift between two named frames.
//!
//! In: an isometry. Out: moved points and vectors, millimetres.
//! Names read `to_from`: `car_from_scanner.then_from(scanner_from_file)` chains by name.
//! Does not scale and does not mirror.

use std::marker::PhantomData;

use nalgebra::{Isometry3, Point3, Vector3};

/// Moves coordinates of frame `From` into frame `To` without scaling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RigidTransform<To, From> {
    isometry: Isometry3<f64>,
    frames: PhantomData<(To, From)>,
}

impl<To, From> RigidTransform<To, From> {
    /// Wraps an isometry whose shift is in millimetres.
    #[must_use]
    pub const fn new(isometry: Isometry3<f64>) -> Self {
        Self { isometry, frames: PhantomData }
    }

    /// The transform of two frames that agree.
    #[must_use]
    pub fn identity() -> Self {
        Self::new(Isometry3::identity())
    }

    /// The wrapped isometry (shift in mm).
    #[must_use]
    pub const fn isometry(&self) -> &Isometry3<f64> {
        &self.isometry
    }

    /// The same relation read the other way.
    #[must_use]
    pub fn inverse(&self) -> RigidTransform<From, To> {
        RigidTransform::new(self.isometry.inverse())
    }

    /// `to_middle.then_from(middle_from)` is `to_from`.
    #[must_use]
    pub fn then_from<Source>(
        &self,
        from_source: &RigidTransform<From, Source>,
    ) -> RigidTransform<To, Source> {
        RigidTransform::new(self.isometry * from_source.isometry)
    }

    /// Moves a point (mm).
    #[must_use]
    pub fn point(&self, point: &Point3<f64>) -> Point3<f64> {
        self.isometry * point
    }

    /// Turns a direction; lengths stay.
    #[must_use]
    pub fn vector(&self, vector: &Vector3<f64>) -> Vector3<f64> {
        self.isometry.rotation * vector
    }
}
