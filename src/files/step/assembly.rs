//! Where the representations of a file stand: the assembly.
//!
//! In: an indexed file. Out: instances: a group of representations that share a frame, and where that frame lies.
//! Units: the file's. Method: ISO 10303-43 and 44: representations related without a transformation share a frame; related with
//! one, or mapped, the part's placement is laid on the assembly's. Which of the two is the part is told by the product
//! structure where it is there.
//! Does not scale or mirror.

use std::collections::BTreeMap;

use nalgebra::Isometry3;

use super::exchange::{Exchange, Problem};
use super::placement::placement;
use super::record::{Record, Value};

/// Levels of an assembly; more is taken for one that contains itself.
const DEEPEST: u32 = 64;
/// Instances of all parts together.
const MOST_INSTANCES: usize = 100_000;

/// A part laid into a greater one.
struct Link {
    part: usize,
    whole: usize,
    whole_from_part: Isometry3<f64>,
}

/// One frame of one part, as often as the part is built in.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Instance {
    pub group: usize,
    pub car_from_part: Isometry3<f64>,
    /// Groups on the way from the top to this one, with both.
    pub path: Vec<usize>,
}

/// Representations by group, and the instances of the groups.
pub(super) struct Assembly {
    pub groups: Vec<Vec<u32>>,
    pub instances: Vec<Instance>,
}

pub(super) fn is_representation(kind: &[u8]) -> bool {
    kind.ends_with(b"SHAPE_REPRESENTATION") || kind == b"CONSTRUCTIVE_GEOMETRY_REPRESENTATION"
}

/// Representations that share frames.
struct Groups {
    group_of: BTreeMap<u32, usize>,
}

impl Groups {
    fn of(file: &Exchange) -> Result<Self, Problem> {
        let ids = file.ids().filter(|id| is_representation(file.kind(*id)));
        let mut groups = Self { group_of: ids.enumerate().map(|(index, id)| (id, index)).collect() };
        for id in file.ids().filter(|id| file.kind(*id) == b"SHAPE_REPRESENTATION_RELATIONSHIP") {
            let record = file.record(id)?;
            if let Some((_, [_, _, Value::Reference(first), Value::Reference(second)])) = record.simple() {
                groups.join(file, *first, *second)?;
            }
        }
        Ok(groups)
    }

    /// Gives both the lower number; relations are few, so a pass over all is cheap, and paid for.
    fn join(&mut self, file: &Exchange, first: u32, second: u32) -> Result<(), Problem> {
        if let (Some(first), Some(second)) = (self.get(first), self.get(second)) {
            file.spend(self.group_of.len() as u64)?;
            let (low, high) = (first.min(second), first.max(second));
            self.group_of.values_mut().filter(|group| **group == high).for_each(|group| *group = low);
        }
        Ok(())
    }

    fn get(&self, id: u32) -> Option<usize> {
        self.group_of.get(&id).copied()
    }
}

impl Assembly {
    pub fn of(file: &Exchange) -> Result<Self, Problem> {
        let groups = Groups::of(file)?;
        let mut links = related(file, &groups)?;
        for (id, group) in &groups.group_of {
            mapped(file, *id, *group, &groups, &mut links)?;
        }
        let mut members = vec![Vec::new(); groups.group_of.len()];
        for (id, group) in &groups.group_of {
            if let Some(members) = members.get_mut(*group) {
                members.push(*id);
            }
        }
        let instances = instances(&members, &links)?;
        Ok(Self { groups: members, instances })
    }
}

/// Links by relationships with a transformation.
fn related(file: &Exchange, groups: &Groups) -> Result<Vec<Link>, Problem> {
    let parts = part_representations(file)?;
    let mut links = Vec::new();
    for id in file.ids().filter(|id| file.kind(*id).is_empty()) {
        let record = file.record(id)?;
        let (
            Some([_, _, Value::Reference(first), Value::Reference(second)]),
            Some([Value::Reference(operator)]),
        ) = (
            record.part(b"REPRESENTATION_RELATIONSHIP"),
            record.part(b"REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION"),
        )
        else {
            continue;
        };
        let operator = file.record(*operator)?;
        let Some((b"ITEM_DEFINED_TRANSFORMATION", [_, _, Value::Reference(from), Value::Reference(to)])) =
            operator.simple()
        else {
            return Err(Problem::at(operator.id, "this kind of transformation is not known here"));
        };
        let (Some(first), Some(second)) = (groups.get(*first), groups.get(*second)) else { continue };
        let (from, to) = (placement(file, *from)?, placement(file, *to)?);
        // The first is the part, unless the product structure says that the second is.
        let part = parts.get(&id).and_then(|part| groups.get(*part));
        links.push(if part == Some(second) && part != Some(first) {
            Link { part: second, whole: first, whole_from_part: from * to.inverse() }
        } else {
            Link { part: first, whole: second, whole_from_part: to * from.inverse() }
        });
    }
    Ok(links)
}

/// For each relationship of representations that the product structure knows: the representation of the part.
fn part_representations(file: &Exchange) -> Result<BTreeMap<u32, u32>, Problem> {
    let mut of_definition = BTreeMap::new();
    for id in file.ids().filter(|id| file.kind(*id) == b"SHAPE_DEFINITION_REPRESENTATION") {
        if let Some((_, [Value::Reference(shape), Value::Reference(representation)])) =
            file.record(id)?.simple()
            && let Some(definition) = defined(file, *shape)?
        {
            of_definition.insert(definition, *representation);
        }
    }
    let mut parts = BTreeMap::new();
    for id in file.ids().filter(|id| file.kind(*id) == b"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION") {
        if let Some((_, [Value::Reference(relation), Value::Reference(shape)])) = file.record(id)?.simple()
            && let Some(usage) = defined(file, *shape)?
            && let Some((_, [_, _, _, _, Value::Reference(part), ..])) = file.record(usage)?.simple()
            && let Some(representation) = of_definition.get(part)
        {
            parts.insert(*relation, *representation);
        }
    }
    Ok(parts)
}

/// What a PRODUCT_DEFINITION_SHAPE is the shape of.
pub(super) fn defined(file: &Exchange, shape: u32) -> Result<Option<u32>, Problem> {
    Ok(match file.record(shape)?.simple() {
        Some((b"PRODUCT_DEFINITION_SHAPE", [_, _, Value::Reference(definition)])) => Some(*definition),
        _ => None,
    })
}

/// Links by mapped items of a representation.
fn mapped(
    file: &Exchange,
    id: u32,
    whole: usize,
    groups: &Groups,
    links: &mut Vec<Link>,
) -> Result<(), Problem> {
    for item in items(&file.record(id)?) {
        if file.kind(item) != b"MAPPED_ITEM" {
            continue;
        }
        let item = file.record(item)?;
        let Some((_, [_, Value::Reference(map), Value::Reference(target)])) = item.simple() else { continue };
        let map = file.record(*map)?;
        let Some((_, [Value::Reference(origin), Value::Reference(part)])) = map.simple() else { continue };
        let Some(part) = groups.get(*part) else { continue };
        let whole_from_part = placement(file, *target)? * placement(file, *origin)?.inverse();
        links.push(Link { part, whole, whole_from_part });
    }
    Ok(())
}

/// The items of a representation.
pub(super) fn items(representation: &Record<'_>) -> Vec<u32> {
    match representation.simple() {
        Some((_, [_, Value::List(items), ..])) => items.iter().filter_map(Value::reference).collect(),
        _ => Vec::new(),
    }
}

/// From every group that is part of nothing, down all links.
fn instances(members: &[Vec<u32>], links: &[Link]) -> Result<Vec<Instance>, Problem> {
    let mut by_whole: BTreeMap<usize, Vec<&Link>> = BTreeMap::new();
    let mut is_part = vec![false; members.len()];
    for link in links {
        by_whole.entry(link.whole).or_default().push(link);
        if let Some(is_part) = is_part.get_mut(link.part) {
            *is_part = true;
        }
    }
    let top = |group: usize| Instance { group, car_from_part: Isometry3::identity(), path: vec![group] };
    let mut open: Vec<Instance> = (0..members.len())
        .filter(|group| {
            is_part.get(*group) == Some(&false)
                && members.get(*group).is_some_and(|members| !members.is_empty())
        })
        .map(top)
        .collect();
    if open.is_empty() && !links.is_empty() {
        return Err(Problem::of_file("its assembly contains itself"));
    }
    let mut found = Vec::new();
    while let Some(instance) = open.pop() {
        if instance.path.len() > DEEPEST as usize {
            return Err(Problem::of_file("its assembly contains itself, or is nested too deep"));
        }
        for link in by_whole.get(&instance.group).into_iter().flatten() {
            let mut path = instance.path.clone();
            path.push(link.part);
            let car_from_part = instance.car_from_part * link.whole_from_part;
            open.push(Instance { group: link.part, car_from_part, path });
        }
        found.push(instance);
        if found.len() + open.len() > MOST_INSTANCES {
            return Err(Problem::of_file("its assembly has more parts than a car"));
        }
    }
    Ok(found)
}
