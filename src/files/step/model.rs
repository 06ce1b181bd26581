//! An exchange file as curves that can be asked for: by the name of a shape, or all.
//!
//! In: bytes of a file. Out: curves with their place in the assembly, their names, their points in the file's unit.
//! Method: the name of an edge, curve, face, shell, solid, curve set, representation or product stands for all curves under it;
//! a number stands for the instance that has it. Does not choose between curves: `pick_curve` does.

use std::collections::BTreeSet;

use nalgebra::Point3;

use super::assembly::{Assembly, defined, is_representation, items};
use super::curves::{CURVE_KINDS, Curves};
use super::exchange::{Exchange, Problem};
use super::record::{Record, Value};
use super::{text, units};

/// Types that hold curves or things that hold curves.
const HOLDER_KINDS: [&[u8]; 22] = [
    b"MANIFOLD_SOLID_BREP",
    b"BREP_WITH_VOIDS",
    b"FACETED_BREP",
    b"SHELL_BASED_SURFACE_MODEL",
    b"FACE_BASED_SURFACE_MODEL",
    b"CONNECTED_FACE_SET",
    b"OPEN_SHELL",
    b"CLOSED_SHELL",
    b"ORIENTED_CLOSED_SHELL",
    b"ORIENTED_OPEN_SHELL",
    b"ADVANCED_FACE",
    b"FACE_SURFACE",
    b"FACE_BOUND",
    b"FACE_OUTER_BOUND",
    b"EDGE_LOOP",
    b"ORIENTED_EDGE",
    b"EDGE_BASED_WIREFRAME_MODEL",
    b"CONNECTED_EDGE_SET",
    b"SHELL_BASED_WIREFRAME_MODEL",
    b"WIRE_SHELL",
    b"GEOMETRIC_CURVE_SET",
    b"GEOMETRIC_SET",
];
/// Curves of all instances together.
const MOST_CURVES: usize = 4_000_000;

/// Names gathered for a message.
const MOST_NAMES: usize = 200;

/// A curve in one place of the assembly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::files) struct Placed {
    pub id: u32,
    instance: u32,
}

/// An exchange file.
pub(in crate::files) struct Model {
    file: Exchange,
    assembly: Assembly,
    angle_rad: f64,
    /// Millimetres in the file's unit, where it names one.
    pub length_mm: Option<f64>,
}

impl Model {
    pub fn open(bytes: Vec<u8>) -> Result<Self, Problem> {
        let file = Exchange::open(bytes)?;
        let units = units::read(&file)?;
        let assembly = Assembly::of(&file)?;
        Ok(Self { file, assembly, angle_rad: units.angle_rad, length_mm: units.length_mm })
    }

    /// The curves of the shapes with this name, or all.
    pub fn curves(&self, name: Option<&str>) -> Result<Vec<Placed>, Problem> {
        self.file.begin_work();
        let wanted = name.map(|name| self.named(name)).transpose()?;
        let mut found = Vec::new();
        let mut known: Vec<Option<Vec<u32>>> = vec![None; self.assembly.groups.len()];
        for (place, instance) in self.assembly.instances.iter().enumerate() {
            let (Some(slot), Some(group)) =
                (known.get_mut(instance.group), self.assembly.groups.get(instance.group))
            else {
                continue;
            };
            if slot.is_none() {
                *slot = Some(self.under(group)?);
            }
            let is_wanted = |id: u32| {
                wanted.as_ref().is_none_or(|(ids, groups)| {
                    ids.contains(&id) || instance.path.iter().any(|group| groups.contains(group))
                })
            };
            let curves = slot.iter().flatten().copied().filter(|id| is_wanted(*id));
            found.extend(curves.map(|id| Placed { id, instance: place as u32 }));
            if found.len() > MOST_CURVES {
                return Err(Problem::of_file("it has more curves than a car"));
            }
        }
        Ok(found)
    }

    /// Points of a curve in the frame of the whole; chords leave it by at most this share of its size.
    pub fn points(&self, placed: Placed, sag_share: f64) -> Result<Vec<Point3<f64>>, Problem> {
        let curves = Curves { file: &self.file, angle_rad: self.angle_rad, sag_share };
        let points = curves.points(placed.id)?;
        match self.assembly.instances.get(placed.instance as usize) {
            Some(instance) => Ok(points.iter().map(|point| instance.car_from_part * point).collect()),
            None => Ok(points),
        }
    }

    /// Gives a new question its budget of work.
    pub fn begin_work(&self) {
        self.file.begin_work();
    }

    /// What people may call a curve: its own name, or its number.
    pub fn name_of(&self, placed: Placed) -> String {
        let record = self.file.record(placed.id).ok();
        let name = record.and_then(|record| record.name()).map(text::decode).unwrap_or_default();
        if name.is_empty() || name == "NONE" { placed.id.to_string() } else { name }
    }

    /// Every name under which curves can be had, for messages.
    pub fn names(&self) -> Vec<String> {
        self.file.begin_work();
        let mut names = Vec::new();
        for id in self.file.ids().filter(|id| self.may_have_name(*id)) {
            let Ok(record) = self.file.record(id) else { continue };
            let name = self.name_in(&record).map(text::decode).unwrap_or_default();
            if !name.is_empty() && name != "NONE" && !names.contains(&name) {
                names.push(name);
            }
            if names.len() >= MOST_NAMES {
                break;
            }
        }
        names
    }

    fn may_have_name(&self, id: u32) -> bool {
        let kind = self.file.kind(id);
        kind.is_empty()
            || kind == b"PRODUCT"
            || kind == b"EDGE_CURVE"
            || is_representation(kind)
            || CURVE_KINDS.contains(&kind)
            || HOLDER_KINDS.contains(&kind)
    }

    /// The second attribute of a product, which people see, or the name of anything else.
    fn name_in<'r>(&self, record: &Record<'r>) -> Option<&'r [u8]> {
        match record.simple() {
            Some((b"PRODUCT", [Value::Text(id), Value::Text(name), ..])) => {
                Some(if name.is_empty() { id } else { name })
            }
            _ => record.name(),
        }
    }

    /// The curves under all shapes of a name, and the groups that belong to products of the name.
    fn named(&self, name: &str) -> Result<(BTreeSet<u32>, BTreeSet<usize>), Problem> {
        let (mut starts, mut products) = (Vec::new(), BTreeSet::new());
        for id in self.file.ids().filter(|id| self.may_have_name(*id)) {
            let record = self.file.record(id)?;
            if self.name_in(&record).is_some_and(|found| text::decode(found) == name) {
                if self.file.kind(id) == b"PRODUCT" {
                    products.insert(id);
                } else {
                    starts.push(id);
                }
            }
        }
        if starts.is_empty() && products.is_empty() {
            starts.extend(name.parse::<u32>().ok().filter(|id| self.file.ids().any(|known| known == *id)));
        }
        let curves = self.under(&starts)?.into_iter().collect();
        Ok((curves, self.groups_of(&products)?))
    }

    /// The groups whose representations show these products.
    fn groups_of(&self, products: &BTreeSet<u32>) -> Result<BTreeSet<usize>, Problem> {
        let mut groups = BTreeSet::new();
        if products.is_empty() {
            return Ok(groups);
        }
        let file = &self.file;
        for id in file.ids().filter(|id| file.kind(*id) == b"SHAPE_DEFINITION_REPRESENTATION") {
            let record = file.record(id)?;
            let Some((_, [Value::Reference(shape), Value::Reference(shown)])) = record.simple() else {
                continue;
            };
            let Some(definition) = defined(file, *shape)? else { continue };
            let formation = file.record(definition)?;
            let Some((_, [_, _, Value::Reference(formation), ..])) = formation.simple() else { continue };
            let formation = file.record(*formation)?;
            let Some((_, [_, _, Value::Reference(product), ..])) = formation.simple() else { continue };
            if products.contains(product) {
                let shows = |members: &Vec<u32>| members.contains(shown);
                groups.extend(self.assembly.groups.iter().position(shows));
            }
        }
        Ok(groups)
    }

    /// The edges and curves that hang on some instances, each once, in the order of the file's lists.
    fn under(&self, starts: &[u32]) -> Result<Vec<u32>, Problem> {
        let mut seen = BTreeSet::new();
        let mut curves = Vec::new();
        let mut open: Vec<u32> = starts.iter().rev().copied().collect();
        while let Some(id) = open.pop() {
            if !seen.insert(id) {
                continue;
            }
            let kind = self.file.kind(id);
            if kind == b"EDGE_CURVE" || CURVE_KINDS.contains(&kind) {
                curves.push(id);
            } else if kind.is_empty() {
                let record = self.file.record(id)?;
                if record.part(b"B_SPLINE_CURVE").is_some() {
                    curves.push(id);
                }
            } else if is_representation(kind) {
                open.extend(items(&self.file.record(id)?).into_iter().rev());
            } else if HOLDER_KINDS.contains(&kind) {
                open.extend(self.file.record(id)?.references().into_iter().rev());
            }
        }
        Ok(curves)
    }
}
