//! The two coordinate frames, as types, so that an unaligned scan cannot be cut with the car's section planes.
//!
//! In and out: nothing; these are markers for [`crate::geometry::RigidTransform`] and section planes.
//! `Scanner` is the frame that the scan file is written in, `Car` the frame of the plan and its curves.

/// The frame that a scan arrives in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scanner;

/// The frame of the plan: CAD, or an earlier scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Car;
