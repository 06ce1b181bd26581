//! glTF and GLB: the triangles and points of the scene, moved by their nodes.
//!
//! In: a source. Out: a decoded [`ScanSource`]. Units: as told by the caller; the format says metres.
//! Method: Khronos, glTF 2.0 specification. Binary data in the GLB chunk or in `data:` URIs; other files are not opened.
//! Does not read sparse or packed accessors: it says so.

use nalgebra::{Matrix4, Point3, Quaternion, Translation3, UnitQuaternion, Vector3};

use super::byte_source::ByteSource;
use super::gltf_document::{Accessor, Document, Node, Primitive};
use super::read_error::ReadError;
use super::scalar::Scalar;
use super::spool::{Spool, spool_error};
use crate::scan::ScanSource;

const FORMAT: &str = "glTF";
/// Most objects in the JSON part: each costs some 200 bytes of memory.
const MOST_OBJECTS: usize = 200_000;
/// Corners for each byte of the file, over which meshes placed again and again are taken for a trap.
const MOST_CORNERS_PER_BYTE: u64 = 16;

struct Gltf<'a> {
    source: &'a ByteSource,
    document: Document,
    buffers: Vec<Vec<u8>>,
    spool: Spool,
}

/// Reads a glTF or GLB file.
pub(super) fn open(source: &ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let (json, binary) = split_chunks(source)?;
    if json.iter().filter(|byte| **byte == b'{').count() > MOST_OBJECTS {
        return Err(bad(source, "its scene has too many objects"));
    }
    let document: Document = serde_json::from_slice(&json).map_err(|error| bad(source, error.to_string()))?;
    drop(json);
    let mut gltf = Gltf { source, document, buffers: Vec::new(), spool: Spool::new(false) };
    gltf.load_buffers(binary)?;
    gltf.walk()?;
    Ok(Box::new(gltf.spool.finish(source.path(), FORMAT.to_owned(), source.len(), unit_mm)?))
}

fn bad(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

/// JSON text and binary chunk.
fn split_chunks(source: &ByteSource) -> Result<(Vec<u8>, Vec<u8>), ReadError> {
    let read = |error| ReadError::read(source.path(), error);
    let whole = usize::try_from(source.len()).unwrap_or(usize::MAX);
    let head = source.bytes_at(0, 20).map_err(read)?;
    if !head.starts_with(b"glTF") {
        return Ok((source.bytes_at(0, whole).map_err(read)?, Vec::new()));
    }
    let length = |bytes: &[u8]| Scalar::U32.decode(bytes, false).map(|length| length as u64);
    let json_len = head.get(12..).and_then(length).ok_or_else(|| bad(source, "it is cut off"))?;
    let there = source.len().saturating_sub(20);
    if json_len > there {
        let path = source.path().to_owned();
        return Err(ReadError::CutOff {
            path,
            items: "bytes of its scene",
            promised: json_len,
            found: there,
        });
    }
    let json = source.bytes_at(20, json_len as usize).map_err(read)?;
    let binary_at = 20 + json_len;
    let binary_head = source.bytes_at(binary_at, 8).map_err(read)?;
    let Some(promised) = length(&binary_head) else { return Ok((json, Vec::new())) };
    let found = source.len().saturating_sub(binary_at + 8);
    if promised > found {
        let path = source.path().to_owned();
        return Err(ReadError::CutOff { path, items: "bytes of its meshes", promised, found });
    }
    Ok((json, source.bytes_at(binary_at + 8, promised as usize).map_err(read)?))
}

impl Gltf<'_> {
    fn load_buffers(&mut self, binary: Vec<u8>) -> Result<(), ReadError> {
        let mut binary = Some(binary);
        for buffer in &mut self.document.buffers {
            let bytes = match buffer.uri.take() {
                None => binary.take().unwrap_or_default(),
                Some(uri) => uri
                    .strip_prefix("data:")
                    .and_then(|rest| rest.split_once(";base64,"))
                    .and_then(|(_, text)| base64(text.as_bytes()))
                    .ok_or_else(|| {
                        bad(self.source, "its meshes are in other files; save it as one GLB file")
                    })?,
            };
            self.buffers.push(bytes);
        }
        Ok(())
    }

    /// Every node of the scene once, with its place in the world.
    fn walk(&mut self) -> Result<(), ReadError> {
        let scene = self.document.scenes.get(self.document.scene.unwrap_or(0));
        let roots = match scene {
            Some(scene) => scene.nodes.clone(),
            None => (0..self.document.nodes.len()).collect(),
        };
        let mut open: Vec<(usize, Matrix4<f64>)> =
            roots.into_iter().rev().map(|node| (node, Matrix4::identity())).collect();
        let mut visits = 0;
        while let Some((place, parent)) = open.pop() {
            visits += 1;
            let node = self.document.nodes.get(place).ok_or_else(|| bad(self.source, "a node is missing"))?;
            if visits > self.document.nodes.len() {
                return Err(bad(self.source, "its nodes hold each other in a ring"));
            }
            let world_from_node = parent * matrix_of(node);
            open.extend(node.children.iter().rev().map(|child| (*child, world_from_node)));
            if let Some(mesh) = node.mesh {
                self.mesh(mesh, &world_from_node)?;
            }
        }
        Ok(())
    }

    fn mesh(&mut self, place: usize, world_from_node: &Matrix4<f64>) -> Result<(), ReadError> {
        let primitives = self.document.meshes.get(place).map_or(0, |mesh| mesh.primitives.len());
        for primitive in 0..primitives {
            let corners = self.corners(place, primitive, world_from_node)?;
            let made = (self.spool.point_count() + 3 * self.spool.triangle_count()) / MOST_CORNERS_PER_BYTE;
            if made > self.source.len() + (1 << 20) {
                return Err(bad(self.source, "its meshes are placed too often"));
            }
            for corner in &corners {
                self.spool
                    .push_point(*corner, [0.0; 3])
                    .map_err(|error| spool_error(self.source.path(), error))?;
            }
            self.triangles(place, primitive, &corners)?;
        }
        Ok(())
    }

    fn primitive(&self, mesh: usize, primitive: usize) -> Option<&Primitive> {
        self.document.meshes.get(mesh)?.primitives.get(primitive)
    }

    fn corners(
        &self,
        mesh: usize,
        primitive: usize,
        world_from_node: &Matrix4<f64>,
    ) -> Result<Vec<[f64; 3]>, ReadError> {
        let position = self.primitive(mesh, primitive).and_then(|primitive| primitive.attributes.position);
        let accessor = position.and_then(|place| self.document.accessors.get(place));
        let accessor = accessor.ok_or_else(|| bad(self.source, "a mesh has no positions"))?;
        if accessor.component_type != 5126 || accessor.shape != "VEC3" {
            return Err(bad(self.source, "positions are not 32-bit floats; save it without packing"));
        }
        let rows = self.rows(accessor, 12)?;
        Ok(rows
            .map(|row| {
                let value = |at: usize| {
                    row.get(at..).and_then(|bytes| Scalar::F32.decode(bytes, false)).unwrap_or(f64::NAN)
                };
                let point = world_from_node * Point3::new(value(0), value(4), value(8)).to_homogeneous();
                [point.x, point.y, point.z]
            })
            .collect())
    }

    /// The rows of an accessor, all of them there.
    fn rows(&self, accessor: &Accessor, size: usize) -> Result<impl Iterator<Item = &[u8]>, ReadError> {
        if accessor.sparse.is_some() {
            return Err(bad(self.source, "it has sparse numbers; save it without them"));
        }
        let view = accessor.buffer_view.and_then(|place| self.document.buffer_views.get(place));
        let view = view
            .ok_or_else(|| bad(self.source, "its numbers are packed or missing; save it without packing"))?;
        let bytes = self
            .buffers
            .get(view.buffer)
            .and_then(|buffer| buffer.get(view.byte_offset..)?.get(..view.byte_length))
            .and_then(|bytes| bytes.get(accessor.byte_offset..))
            .ok_or_else(|| bad(self.source, "its numbers lie beyond its end; it may be cut off"))?;
        let stride = view.byte_stride.unwrap_or(size).max(size);
        let there = (bytes.len() + stride - size) / stride;
        if accessor.count > there {
            let (promised, found) = (accessor.count as u64, there as u64);
            return Err(ReadError::CutOff {
                path: self.source.path().to_owned(),
                items: "numbers",
                promised,
                found,
            });
        }
        Ok(bytes.chunks(stride).take(accessor.count))
    }

    fn triangles(&mut self, mesh: usize, primitive: usize, corners: &[[f64; 3]]) -> Result<(), ReadError> {
        let Some(found) = self.primitive(mesh, primitive) else { return Ok(()) };
        let mode = found.mode.unwrap_or(4);
        let order = match found.indices.map(|place| self.document.accessors.get(place)) {
            Some(accessor) => {
                let accessor = accessor.ok_or_else(|| bad(self.source, "a mesh has no corner numbers"))?;
                let scalar = match accessor.component_type {
                    5121 => Scalar::U8,
                    5123 => Scalar::U16,
                    5125 => Scalar::U32,
                    _ => return Err(bad(self.source, "corner numbers are of no known type")),
                };
                let number = |row| scalar.decode(row, false).map_or(u32::MAX, |index| index as u32);
                self.rows(accessor, scalar.size())?.map(number).collect()
            }
            None => (0..u32::try_from(corners.len()).unwrap_or(u32::MAX)).collect::<Vec<u32>>(),
        };
        let count = order.len().saturating_sub(2);
        let places = (0..count).filter(|place| mode != 4 || place % 3 == 0).map(|place| match mode {
            4 => Some([place, place + 1, place + 2]),
            5 if place % 2 == 0 => Some([place, place + 1, place + 2]),
            5 => Some([place + 1, place, place + 2]),
            6 => Some([0, place + 1, place + 2]),
            _ => None,
        });
        for triangle in places.flatten() {
            let [a, b, c] = triangle.map(|place| corners.get(*order.get(place)? as usize).copied());
            let (Some(a), Some(b), Some(c)) = (a, b, c) else {
                return Err(bad(self.source, format!("a triangle names a corner beyond {}", corners.len())));
            };
            self.spool.push_triangle([a, b, c]).map_err(|error| spool_error(self.source.path(), error))?;
        }
        Ok(())
    }
}

fn matrix_of(node: &Node) -> Matrix4<f64> {
    if let Some(columns) = node.matrix {
        return Matrix4::from_column_slice(&columns);
    }
    let [x, y, z] = node.translation.unwrap_or_default();
    let [i, j, k, w] = node.rotation.unwrap_or([0.0, 0.0, 0.0, 1.0]);
    let [a, b, c] = node.scale.unwrap_or([1.0; 3]);
    let rotation = UnitQuaternion::from_quaternion(Quaternion::new(w, i, j, k));
    Translation3::new(x, y, z).to_homogeneous()
        * rotation.to_homogeneous()
        * Matrix4::new_nonuniform_scaling(&Vector3::new(a, b, c))
}

/// Base 64 (RFC 4648).
fn base64(text: &[u8]) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    let (mut held, mut bits) = (0_u32, 0);
    for sign in text.iter().filter(|sign| **sign != b'=') {
        let value = match sign {
            b'A'..=b'Z' => sign - b'A',
            b'a'..=b'z' => sign - b'a' + 26,
            b'0'..=b'9' => sign - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => return None,
        };
        held = held << 6 | u32::from(value);
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
            held &= (1 << bits) - 1;
        }
    }
    Some(bytes)
}
