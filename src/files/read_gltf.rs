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

/// The scene and its numbers.
struct Gltf<'a> {
    source: &'a ByteSource,
    document: Document,
    buffers: Vec<Vec<u8>>,
}

/// Reads a glTF or GLB file.
pub(super) fn open(source: &ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    let (json, binary) = split_chunks(source)?;
    if json.iter().filter(|byte| **byte == b'{').count() > MOST_OBJECTS {
        return Err(bad(source, "its scene has too many objects"));
    }
    let document: Document = serde_json::from_slice(&json).map_err(|error| bad(source, error.to_string()))?;
    drop(json);
    let mut gltf = Gltf { source, document, buffers: Vec::new() };
    gltf.load_buffers(binary)?;
    let spool = gltf.walk()?;
    Ok(Box::new(spool.finish(source.path(), FORMAT.to_owned(), source.len(), unit_mm)?))
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
    fn walk(&self) -> Result<Spool, ReadError> {
        let primitives = self.document.meshes.iter().flat_map(|mesh| &mesh.primitives);
        let has_normals = primitives.into_iter().any(|primitive| primitive.attributes.normal.is_some());
        let mut spool = Spool::new(has_normals);
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
            let mesh = node.mesh.and_then(|place| self.document.meshes.get(place));
            for primitive in mesh.into_iter().flat_map(|mesh| &mesh.primitives) {
                let made = (spool.point_count() + 3 * spool.triangle_count()) / MOST_CORNERS_PER_BYTE;
                if made > self.source.len() + (1 << 20) {
                    return Err(bad(self.source, "its meshes are placed too often"));
                }
                self.primitive(primitive, &world_from_node, &mut spool)?;
            }
        }
        Ok(spool)
    }

    fn primitive(
        &self,
        primitive: &Primitive,
        world_from_node: &Matrix4<f64>,
        spool: &mut Spool,
    ) -> Result<(), ReadError> {
        let position = primitive.attributes.position.and_then(|place| self.document.accessors.get(place));
        let position = position.ok_or_else(|| bad(self.source, "a mesh has no positions"))?;
        let positions = self.vectors(position)?;
        let normal = primitive.attributes.normal.and_then(|place| self.document.accessors.get(place));
        let normals = normal.map(|normal| self.vectors(normal)).transpose()?;
        // Directions across a surface go by the inverse's transpose (glTF 2.0, 3.7.2.1, leaves the formula to the reader).
        let linear = world_from_node.fixed_view::<3, 3>(0, 0).into_owned();
        let across = linear.try_inverse().map(|inverse| inverse.transpose());
        for index in 0..positions.count {
            let place = world_from_node * Point3::from(positions.get(index)).to_homogeneous();
            let normal = normals.filter(|normals| index < normals.count).zip(across);
            let normal = normal.map_or([0.0; 3], |(normals, across)| {
                let turned = across * Vector3::from(normals.get(index));
                turned.try_normalize(0.0).unwrap_or_default().map(|value| value as f32).into()
            });
            spool.push_point([place.x, place.y, place.z], normal).map_err(|error| self.spooled(error))?;
        }
        let corner = |index: usize| {
            let place = world_from_node * Point3::from(positions.get(index)).to_homogeneous();
            [place.x, place.y, place.z]
        };
        self.triangles(primitive, positions.count, corner, spool)
    }

    fn spooled(&self, error: std::io::Error) -> ReadError {
        spool_error(self.source.path(), error)
    }

    /// An accessor of three 32-bit floats each.
    fn vectors(&self, accessor: &Accessor) -> Result<Rows<'_>, ReadError> {
        if accessor.component_type != 5126 || accessor.shape != "VEC3" {
            let problem = "positions or normals are not 32-bit floats; save it without packing";
            return Err(bad(self.source, problem));
        }
        self.rows(accessor, 12)
    }

    /// The rows of an accessor, all of them there.
    fn rows(&self, accessor: &Accessor, size: usize) -> Result<Rows<'_>, ReadError> {
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
        let there = (bytes.len().saturating_add(stride) - size) / stride;
        if accessor.count > there {
            let (promised, found) = (accessor.count as u64, there as u64);
            return Err(ReadError::CutOff {
                path: self.source.path().to_owned(),
                items: "numbers",
                promised,
                found,
            });
        }
        Ok(Rows { bytes, stride, count: accessor.count })
    }

    fn triangles(
        &self,
        primitive: &Primitive,
        corner_count: usize,
        corner: impl Fn(usize) -> [f64; 3],
        spool: &mut Spool,
    ) -> Result<(), ReadError> {
        let mode = primitive.mode.unwrap_or(4);
        let indices = primitive.indices.map(|place| {
            let accessor = self.document.accessors.get(place);
            let accessor = accessor.ok_or_else(|| bad(self.source, "a mesh has no corner numbers"))?;
            let scalar = match accessor.component_type {
                5121 => Scalar::U8,
                5123 => Scalar::U16,
                5125 => Scalar::U32,
                _ => return Err(bad(self.source, "corner numbers are of no known type")),
            };
            Ok((self.rows(accessor, scalar.size())?, scalar))
        });
        let indices = indices.transpose()?;
        let corner_at = |place: usize| {
            let index = match indices {
                Some((rows, scalar)) => scalar.decode(rows.row(place), false)? as usize,
                None => place,
            };
            (index < corner_count).then(|| corner(index))
        };
        let count = indices.map_or(corner_count, |(rows, _)| rows.count).saturating_sub(2);
        let places = (0..count).filter(|place| mode != 4 || place % 3 == 0).map(|place| match mode {
            4 => Some([place, place + 1, place + 2]),
            5 if place % 2 == 0 => Some([place, place + 1, place + 2]),
            5 => Some([place + 1, place, place + 2]),
            6 => Some([0, place + 1, place + 2]),
            _ => None,
        });
        for triangle in places.flatten() {
            let [Some(a), Some(b), Some(c)] = triangle.map(corner_at) else {
                return Err(bad(self.source, format!("a triangle names a corner beyond {corner_count}")));
            };
            spool.push_triangle([a, b, c]).map_err(|error| self.spooled(error))?;
        }
        Ok(())
    }
}

/// Numbers of an accessor where they lie in their buffer.
#[derive(Clone, Copy)]
struct Rows<'a> {
    bytes: &'a [u8],
    stride: usize,
    count: usize,
}

impl Rows<'_> {
    fn row(&self, index: usize) -> &[u8] {
        self.bytes.get(index.saturating_mul(self.stride)..).unwrap_or_default()
    }

    /// A row of three 32-bit floats.
    fn get(&self, index: usize) -> [f64; 3] {
        let row = self.row(index);
        [0, 4, 8]
            .map(|at| row.get(at..).and_then(|bytes| Scalar::F32.decode(bytes, false)).unwrap_or(f64::NAN))
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
