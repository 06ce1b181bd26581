//! Blocks of a DXF file and where inserts place them.
//!
//! In: the group codes of the section BLOCKS, and INSERT entities. Out: a block's text by its name, and the maps from the
//! block's axes to the drawing's. Units: the drawing's.
//! Method: DXF reference of 2024, INSERT: less the base point, scaled, moved to the column and row, turned about the normal, moved to the
//! insertion point, all of it in the object's plane. A block's text stays where it is in the file.
//! Does not read what the text says: `curve_dxf` does.

use std::collections::BTreeMap;
use std::ops::Range;

use nalgebra::{Matrix3, Point3, Rotation3, Vector3};

use super::curve_file::Fineness;
use super::dxf_entity::Entity;
use super::number_table::parse_number;

/// Most columns or rows of one insert.
const MOST_PLACES: usize = 1000;
/// Layer whose entities come to lie on the layer of the insert that draws them.
const LAYER_OF_INSERT: &str = "0";

/// A block.
#[derive(Debug, Clone)]
pub(super) struct Block<'a> {
    base: Point3<f64>,
    /// Its entities.
    pub content: &'a [u8],
}

/// The blocks of a file by name.
#[derive(Debug, Default)]
pub(super) struct Blocks<'a> {
    named: BTreeMap<Vec<u8>, Block<'a>>,
    open: Option<OpenBlock>,
}

/// A block whose end has not come yet.
#[derive(Debug)]
struct OpenBlock {
    name: Vec<u8>,
    base: Point3<f64>,
    /// Where its first entity begins.
    content_at: Option<usize>,
}

impl<'a> Blocks<'a> {
    /// Takes the next group code of the section; `at` is where it begins in the file.
    pub fn take(&mut self, bytes: &'a [u8], at: usize, code: i32, value: &[u8]) {
        match (code, value, &mut self.open) {
            (0, b"BLOCK", _) => {
                self.open = Some(OpenBlock { name: Vec::new(), base: Point3::origin(), content_at: None });
            }
            (0, b"ENDBLK" | b"ENDSEC", open) => {
                if let Some(block) = open.take() {
                    let range: Range<usize> = block.content_at.unwrap_or(at)..at;
                    let content = bytes.get(range).unwrap_or_default();
                    self.named.insert(block.name, Block { base: block.base, content });
                }
            }
            (0, _, Some(block)) => {
                block.content_at.get_or_insert(at);
            }
            (2, _, Some(block)) if block.content_at.is_none() => block.name = value.to_ascii_uppercase(),
            (10 | 20 | 30, _, Some(block)) if block.content_at.is_none() => {
                if let Some(place) = block.base.coords.get_mut((code / 10 - 1) as usize) {
                    *place = parse_number(value).unwrap_or(0.0);
                }
            }
            _ => {}
        }
    }

    /// A block by its name, in which capitals do not count.
    pub fn named(&self, name: Option<&[u8]>) -> Option<Block<'a>> {
        self.named.get(&name?.to_ascii_uppercase()).cloned()
    }
}

/// Where the axes of a block lie in the drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placing {
    drawing_from_block: Option<(Matrix3<f64>, Vector3<f64>)>,
    layer: Option<String>,
    /// Blocks round this one.
    pub depth: usize,
}

impl Placing {
    /// The drawing's own axes.
    pub const fn none() -> Self {
        Self { drawing_from_block: None, layer: None, depth: 0 }
    }

    /// The places at which an insert that stands in these axes draws a block.
    pub fn inserts(&self, insert: &Entity<'_>, block: &Block<'_>) -> impl Iterator<Item = Self> + use<> {
        let factor = |code: i32| if insert.text(code).is_some() { insert.number(code) } else { 1.0 };
        let scale = Matrix3::from_diagonal(&Vector3::new(factor(41), factor(42), factor(43)));
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), insert.number(50).to_radians());
        let plane = Matrix3::from_columns(&insert.plane());
        let (outer, outer_shift) = self.map();
        let turned = outer * plane * turn.matrix();
        let linear = turned * scale;
        let first_shift = outer * plane * insert.vector(10) + outer_shift - linear * block.base.coords;
        let count = |code: i32| (insert.number(code) as usize).clamp(1, MOST_PLACES);
        let (columns, rows) = (count(70), count(71));
        let step = Vector3::new(insert.number(44), insert.number(45), 0.0);
        let (layer, depth) = (self.layer_of(insert), self.depth + 1);
        (0..rows * columns).map(move |place| {
            let places = Vector3::new((place % columns) as f64, (place / columns) as f64, 0.0);
            let shift = first_shift + turned * step.component_mul(&places);
            Self { drawing_from_block: Some((linear, shift)), layer: Some(layer.clone()), depth }
        })
    }

    fn map(&self) -> (Matrix3<f64>, Vector3<f64>) {
        self.drawing_from_block.unwrap_or((Matrix3::identity(), Vector3::zeros()))
    }

    /// The layer of an entity that stands in these axes.
    pub fn layer_of(&self, entity: &Entity<'_>) -> String {
        let own = entity.layer();
        match &self.layer {
            Some(layer) if own == LAYER_OF_INSERT => layer.clone(),
            _ => own,
        }
    }

    /// How finely a curve must be followed in these axes to be fine enough in the drawing.
    pub fn fineness(&self, fineness: &Fineness) -> Fineness {
        let (linear, _) = self.map();
        let largest = linear.column_iter().map(|column| column.norm()).fold(1e-9, f64::max);
        Fineness { sag: fineness.sag / largest, ..*fineness }
    }

    /// Points of these axes in the drawing's.
    pub fn place(&self, mut points: Vec<Point3<f64>>) -> Vec<Point3<f64>> {
        if let Some((linear, shift)) = &self.drawing_from_block {
            points.iter_mut().for_each(|point| *point = Point3::from(linear * point.coords + shift));
        }
        points
    }
}
