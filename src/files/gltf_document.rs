//! The JSON part of a glTF file, as far as triangles need it.
//!
//! In: JSON text. Out: the document. Units: glTF says metres. Method: Khronos, glTF 2.0 specification, sections 3.5 to 3.7.
//! Does not read materials, skins, cameras or animations.

use serde::Deserialize;

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Document {
    pub buffers: Vec<Buffer>,
    pub buffer_views: Vec<BufferView>,
    pub accessors: Vec<Accessor>,
    pub meshes: Vec<Mesh>,
    pub nodes: Vec<Node>,
    pub scenes: Vec<Scene>,
    pub scene: Option<usize>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Buffer {
    pub uri: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct BufferView {
    pub buffer: usize,
    pub byte_offset: usize,
    pub byte_length: usize,
    pub byte_stride: Option<usize>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
pub(super) struct Accessor {
    pub buffer_view: Option<usize>,
    pub byte_offset: usize,
    pub component_type: u32,
    pub count: usize,
    #[serde(rename = "type")]
    pub shape: String,
    pub sparse: Option<serde::de::IgnoredAny>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Mesh {
    pub primitives: Vec<Primitive>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Primitive {
    pub attributes: Attributes,
    pub indices: Option<usize>,
    pub mode: Option<u32>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Attributes {
    #[serde(rename = "POSITION")]
    pub position: Option<usize>,
    #[serde(rename = "NORMAL")]
    pub normal: Option<usize>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Node {
    pub mesh: Option<usize>,
    pub children: Vec<usize>,
    pub matrix: Option<[f64; 16]>,
    pub translation: Option<[f64; 3]>,
    pub rotation: Option<[f64; 4]>,
    pub scale: Option<[f64; 3]>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Scene {
    pub nodes: Vec<usize>,
}
