//! Curves of STEP exchange files (ISO 10303-21), by AP203, AP214 and AP242.
//!
//! In: bytes of a file. Out: edges and wireframe curves, placed by the assembly, as points in the file's unit.
//! Method: the instances are indexed once and parsed when they are asked for; nothing recurses without a limit, and a budget of
//! work in proportion to the file's size stops files that refer to themselves over and over. The general parsers that were tried
//! run out of stack on nested lists and take many times the file's size in memory.
//! Does not read surfaces, tessellated shapes, parabolas, hyperbolas, offset curves, nor transformation operators with a scale.

mod assembly;
mod basis;
mod curves;
mod exchange;
mod model;
mod placement;
mod record;
mod text;
mod units;

pub(super) use exchange::{Problem, is_step};
pub(super) use model::{Model, Placed};
