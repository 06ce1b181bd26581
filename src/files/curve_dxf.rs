//! Curves of a DXF file, by layer.
//!
//! In: bytes of a file in text, which layer is wanted. Out: one curve for each layer, or several named `LAYER-2`, `LAYER-3`
//! where the pieces of a layer do not meet; other layers by name only. Units: `$INSUNITS`.
//! Method: group codes as in the DXF reference of 2024: LINE, LWPOLYLINE and POLYLINE with bulges (tangent of a quarter of the
//! angle), ARC, CIRCLE, ELLIPSE, SPLINE; entities one by one, so that memory does not grow with the drawing. INSERT draws a
//! block's entities again, placed, turned and scaled, those on layer 0 on the INSERT's own layer.
//! Does not read meshes, paper space, dimensions, nor files in binary.

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::Point3;

use super::curve_file::{Fineness, MOST_CURVE_POINTS, RawCurve};
use super::dxf_blocks::{Blocks, Placing};
use super::dxf_entity::Entity;
use super::read_error::ReadError;
use crate::units::LengthUnit;

const FORMAT: &str = "DXF";
/// Values of one entity: a polyline of some hundred thousand corners.
const MOST_VALUES: usize = 1_000_000;
/// Group codes of all blocks that inserts draw, each counted as often as it is drawn, and points of them: a small file can ask
/// for any number.
const MOST_DRAWN_GROUPS: usize = 5_000_000;
const MOST_INSERTED_POINTS: usize = 250_000;
/// What drawing a block costs by itself, in group codes.
const GROUPS_PER_INSERT: usize = 10;
/// Blocks within blocks within blocks.
const DEEPEST: usize = 8;
/// First bytes of a file in binary.
const BINARY_MARK: &[u8] = b"AutoCAD Binary DXF";

/// The pieces of one layer.
type Pieces = Vec<Vec<Point3<f64>>>;

/// True for text that looks like DXF.
pub(super) fn is_dxf(bytes: &[u8]) -> bool {
    let mut words = bytes.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    let mut first = words.next();
    while first == Some(b"999") {
        words.next();
        first = words.next();
    }
    bytes.starts_with(BINARY_MARK) || (first == Some(b"0") && words.next() == Some(b"SECTION"))
}

/// Reads the curves of a DXF file: those of one layer, or all.
pub(super) fn read(
    path: &Path,
    bytes: &[u8],
    wanted: Option<&str>,
    fineness: &Fineness,
) -> Result<Vec<RawCurve>, ReadError> {
    let bad = |problem: &str| ReadError::malformed(path, FORMAT, "its entities", problem);
    if bytes.starts_with(BINARY_MARK) {
        return Err(bad("it is in binary; save it as text"));
    }
    let mut drawing = Drawing::new(wanted, fineness);
    let mut unit = None;
    let (mut section, mut before): (&[u8], (i32, &[u8])) = (b"", (0, b""));
    let mut entities = EntityReader::default();
    for (at, code, value) in groups_of(bytes) {
        if before == (9, b"$INSUNITS".as_slice()) {
            unit = unit_of(path, value, fineness.plan_unit)?;
        }
        if (before, code) == ((0, b"SECTION".as_slice()), 2) {
            section = value;
        }
        before = (code, value);
        match section {
            b"BLOCKS" => drawing.blocks.take(bytes, at, code, value),
            b"ENTITIES" => {
                if let Some(entity) = entities.take(code, value).map_err(bad)? {
                    drawing.take(&entity, &Placing::none()).map_err(bad)?;
                }
            }
            _ => {}
        }
        if (code, value) == (0, b"ENDSEC".as_slice()) {
            section = b"";
        }
    }
    if drawing.layers.is_empty() {
        return Err(bad("it has no lines, arcs, polylines or splines"));
    }
    Ok(RawCurve::of_groups(drawing.layers, fineness.join, unit))
}

/// Pairs of lines: where the pair begins, its code and its value.
fn groups_of(bytes: &[u8]) -> impl Iterator<Item = (usize, i32, &[u8])> {
    let mut at = 0;
    let mut lines = bytes.split(|byte| *byte == b'\n');
    std::iter::from_fn(move || {
        let (code, value) = (lines.next()?, lines.next()?);
        let begin = at;
        at += code.len() + value.len() + 2;
        Some((begin, std::str::from_utf8(code.trim_ascii()).ok()?.parse().ok()?, value.trim_ascii()))
    })
}

/// Puts group codes together to entities.
#[derive(Default)]
struct EntityReader<'a> {
    entity: Entity<'a>,
}

impl<'a> EntityReader<'a> {
    /// Takes the next group code; gives the entity that it ends.
    fn take(&mut self, code: i32, value: &'a [u8]) -> Result<Option<Entity<'a>>, &'static str> {
        if code == 0 {
            let next = Entity { kind: value, groups: Vec::new() };
            return Ok(Some(std::mem::replace(&mut self.entity, next)));
        }
        if self.entity.groups.len() >= MOST_VALUES {
            return Err("an entity has too many values");
        }
        self.entity.groups.push((code, value));
        Ok(None)
    }
}

/// The unit of `$INSUNITS`; none where the drawing says "unitless".
fn unit_of(path: &Path, code: &[u8], plan_unit: LengthUnit) -> Result<Option<LengthUnit>, ReadError> {
    Ok(Some(match code {
        b"0" => return Ok(None),
        b"1" => LengthUnit::Inch,
        b"4" => LengthUnit::Millimetre,
        b"5" => LengthUnit::Centimetre,
        b"6" => LengthUnit::Metre,
        _ => {
            let file_unit =
                format!("the unit number {} of $INSUNITS", String::from_utf8_lossy(code).escape_debug());
            let path = path.to_owned();
            return Err(ReadError::UnitContradiction { path, file_unit, plan_unit: plan_unit.symbol() });
        }
    }))
}

/// What has been drawn so far.
struct Drawing<'a, 'f> {
    wanted: Option<&'f str>,
    fineness: &'f Fineness,
    layers: BTreeMap<String, Pieces>,
    blocks: Blocks<'a>,
    point_count: usize,
    drawn_groups: usize,
    /// A polyline whose corners are still coming.
    polyline: Option<(Entity<'a>, Vec<[f64; 4]>)>,
}

impl<'a, 'f> Drawing<'a, 'f> {
    fn new(wanted: Option<&'f str>, fineness: &'f Fineness) -> Self {
        Self {
            wanted,
            fineness,
            layers: BTreeMap::new(),
            blocks: Blocks::default(),
            point_count: 0,
            drawn_groups: 0,
            polyline: None,
        }
    }

    fn take(&mut self, entity: &Entity<'a>, placing: &Placing) -> Result<(), &'static str> {
        const CONTROL_CORNER: i64 = 16;
        match entity.kind {
            b"POLYLINE" => {
                let head = Entity { kind: entity.kind, groups: entity.groups.clone() };
                self.polyline = Some((head, Vec::new()));
            }
            b"VERTEX" => {
                if let Some((_, corners)) = &mut self.polyline
                    && entity.flags() & CONTROL_CORNER == 0
                    && corners.len() <= MOST_CURVE_POINTS
                {
                    corners.push([10, 20, 30, 42].map(|code| entity.number(code)));
                }
            }
            b"SEQEND" => {
                if let Some((head, corners)) = self.polyline.take() {
                    self.add(&head, placing, |head, fineness| head.polyline(&corners, fineness));
                }
            }
            b"INSERT" if !entity.is_on_paper() => self.insert(entity, placing)?,
            _ if entity.is_curve() => self.add(entity, placing, |entity, fineness| entity.points(fineness)),
            _ => {}
        }
        let limit = if placing.depth == 0 { MOST_CURVE_POINTS } else { MOST_INSERTED_POINTS };
        if self.point_count > limit {
            return Err("its curves have too many points; name a layer of seams only, as FILE#LAYER");
        }
        Ok(())
    }

    /// Draws a block once for each of the insert's places.
    fn insert(&mut self, entity: &Entity<'a>, around: &Placing) -> Result<(), &'static str> {
        if around.depth >= DEEPEST {
            return Err("its blocks are nested too deep");
        }
        let Some(block) = self.blocks.named(entity.text(2)) else { return Ok(()) };
        for placing in around.inserts(entity, &block) {
            let mut entities = EntityReader::default();
            self.spend(GROUPS_PER_INSERT)?;
            for (_, code, value) in groups_of(block.content) {
                self.spend(1)?;
                if let Some(entity) = entities.take(code, value)? {
                    self.take(&entity, &placing)?;
                }
            }
            self.take(&entities.entity, &placing)?;
        }
        Ok(())
    }

    fn spend(&mut self, groups: usize) -> Result<(), &'static str> {
        self.drawn_groups += groups;
        if self.drawn_groups > MOST_DRAWN_GROUPS {
            return Err("its blocks are inserted too often; explode them, or save the seams alone");
        }
        Ok(())
    }

    /// Adds a piece to its layer; layers that are not wanted keep their name only.
    fn add(
        &mut self,
        entity: &Entity<'_>,
        placing: &Placing,
        points: impl FnOnce(&Entity<'_>, &Fineness) -> Option<Vec<Point3<f64>>>,
    ) {
        if entity.is_on_paper() {
            return;
        }
        let layer = placing.layer_of(entity);
        if self.wanted.is_some_and(|wanted| !RawCurve::is_name_of(&layer, wanted)) {
            self.layers.entry(layer).or_default();
        } else if let Some(points) = points(entity, &placing.fineness(self.fineness)) {
            self.point_count += points.len();
            self.layers.entry(layer).or_default().push(placing.place(points));
        }
    }
}
