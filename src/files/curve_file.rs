//! A file of curves, read once, from which any number of seams take theirs.
//!
//! In: a path. Out: its curves by name or by places near them, in mm, and the file's hash.
//! Units: the plan's where the file has none; where the file has one it must be the plan's.
//! Method: the type is told from the content. Does not smooth or check a curve: `geometry::Curve` does.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use nalgebra::{Point3, Vector3};

use super::content_hash::{FileFacts, bytes_hash};
use super::pick_curve::{JOIN_MM, Nearest, consider, join_in_order, join_loose, join_runs};
use super::read_error::ReadError;
use super::step::{self, Model, Placed, Problem};
use super::{curve_csv, curve_dxf, curve_obj, curve_ply};
use crate::units::LengthUnit;

/// Largest curve file that is read, bytes: exchange files of whole cars run to some hundred MB.
const LARGEST_CURVE_FILE_BYTES: u64 = 1 << 30;
/// A place must lie this near to the curve that it picks, mm: a slip of units or of the frame is further off.
const FURTHEST_MM: f64 = 20.0;
/// Chords leave a curve by at most this share of its size: 1 µm for a metre.
const FINE: f64 = 1e-6;
/// The same while curves are being picked: 0.1 mm for a metre.
const COARSE: f64 = 1e-4;

/// Chords leave a drawn curve by at most this, mm; far below what a curve may be off.
const SAG_MM: f64 = 1e-4;
/// Points of all curves that are held at once: a kilometre of seams at 1 mm.
pub(super) const MOST_CURVE_POINTS: usize = 1_000_000;

/// How closely curves are followed and joined, in the file's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fineness {
    pub sag: f64,
    pub join: f64,
    pub plan_unit: LengthUnit,
}

/// A reference curve as its file has it, in mm.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoints {
    /// In order along the curve, mm.
    pub points: Vec<Point3<f64>>,
    /// As many as points, where the file has them; any length.
    pub normals: Option<Vec<Vector3<f64>>>,
    /// The unit that the file itself names.
    pub source_unit: Option<LengthUnit>,
}

/// A curve in its file's unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct RawCurve {
    pub name: Option<String>,
    pub points: Vec<Point3<f64>>,
    /// Empty, or as many as points.
    pub normals: Vec<Vector3<f64>>,
    pub unit: Option<LengthUnit>,
}

/// A curve file's content.
enum Content {
    Listed(Vec<RawCurve>),
    /// A drawing is gone through for each seam: only the wanted layer is kept.
    Drawing(Vec<u8>),
    Step(Box<Model>),
}

/// A curve file that has been read.
pub struct CurveFile {
    path: PathBuf,
    content: Content,
    /// The file as a record names it.
    pub facts: FileFacts,
}

impl CurveFile {
    /// Reads a file of any of the curve formats.
    ///
    /// # Errors
    /// The file cannot be read, or is not as its format says.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let bytes = read_whole(path)?;
        let facts = FileFacts { sha256: bytes_hash(&bytes), byte_count: bytes.len() as u64 };
        let content = if step::is_step(&bytes) {
            let model = Model::open(bytes).map_err(|problem| of_step(path, problem))?;
            Content::Step(Box::new(model))
        } else if curve_dxf::is_dxf(&bytes) {
            Content::Drawing(bytes)
        } else {
            Content::Listed(curves_of(path, &bytes)?)
        };
        Ok(Self { path: path.to_owned(), content, facts })
    }

    /// The curve called `name`, or the only one; of several, those nearest to the places (mm, in the order of travel).
    ///
    /// # Errors
    /// The file has no such curve or several, or is in another unit than the plan's; a place with no curve near; curves
    /// picked one after the other that do not meet.
    pub fn curve(
        &self,
        name: Option<&str>,
        near_mm: &[[f64; 3]],
        plan_unit: LengthUnit,
    ) -> Result<CurvePoints, ReadError> {
        let places: Vec<Point3<f64>> = near_mm.iter().map(|place| Point3::from(*place)).collect();
        match &self.content {
            Content::Listed(curves) => self.listed(curves, name, &places, plan_unit),
            Content::Drawing(bytes) => {
                let mm = plan_unit.mm();
                let fineness = Fineness { sag: SAG_MM / mm, join: JOIN_MM / mm, plan_unit };
                let curves = curve_dxf::read(&self.path, bytes, name, &fineness)?;
                self.listed(&curves, name, &places, plan_unit)
            }
            Content::Step(model) => self.of_model(model, name, &places, plan_unit),
        }
    }

    fn check_unit(&self, unit: Option<LengthUnit>, plan_unit: LengthUnit) -> Result<(), ReadError> {
        match unit.filter(|unit| *unit != plan_unit) {
            Some(unit) => Err(self.unit_contradiction(unit.symbol().to_owned(), plan_unit)),
            None => Ok(()),
        }
    }

    fn unit_contradiction(&self, file_unit: String, plan_unit: LengthUnit) -> ReadError {
        ReadError::UnitContradiction { path: self.path.clone(), file_unit, plan_unit: plan_unit.symbol() }
    }

    fn listed(
        &self,
        curves: &[RawCurve],
        name: Option<&str>,
        places: &[Point3<f64>],
        plan_unit: LengthUnit,
    ) -> Result<CurvePoints, ReadError> {
        let known = || curves.iter().filter_map(|curve| curve.name.clone()).collect();
        let unit = curves.iter().find_map(|curve| curve.unit);
        self.check_unit(unit, plan_unit)?;
        if !places.is_empty() {
            let points = self.near_in_list(curves, name, places, plan_unit.mm())?;
            return Ok(CurvePoints { points, normals: None, source_unit: unit });
        }
        let curve = match (name, curves) {
            (Some(name), _) => {
                curves.iter().find(|curve| curve.name.as_deref() == Some(name)).ok_or_else(|| {
                    ReadError::NoSuchCurve { path: self.path.clone(), name: name.to_owned(), known: known() }
                })?
            }
            (None, [curve]) => curve,
            (None, []) => return Err(ReadError::NoPoints { path: self.path.clone() }),
            (None, _) => return Err(ReadError::CurveNotNamed { path: self.path.clone(), known: known() }),
        };
        let normals = (!curve.normals.is_empty()).then(|| curve.normals.clone());
        Ok(CurvePoints { points: curve.in_mm(plan_unit.mm()), normals, source_unit: unit })
    }

    fn near_in_list(
        &self,
        curves: &[RawCurve],
        name: Option<&str>,
        places: &[Point3<f64>],
        mm: f64,
    ) -> Result<Vec<Point3<f64>>, ReadError> {
        let belongs = |curve: &&RawCurve| name.is_none_or(|name| curve.is_of(name));
        let curves: Vec<&RawCurve> = curves.iter().filter(belongs).collect();
        let mut nearest = vec![None; places.len()];
        for (index, curve) in curves.iter().enumerate() {
            consider(&mut nearest, places, index, &curve.in_mm(mm));
        }
        let picked: Vec<&RawCurve> = self
            .picked(&nearest, places)?
            .into_iter()
            .filter_map(|index| curves.get(index).copied())
            .collect();
        let pieces = picked.iter().map(|curve| curve.in_mm(mm)).collect();
        let name_of =
            |piece: usize| picked.get(piece).and_then(|curve| curve.name.clone()).unwrap_or_default();
        self.joined(pieces, places, name_of)
    }

    fn of_model(
        &self,
        model: &Model,
        name: Option<&str>,
        places: &[Point3<f64>],
        plan_unit: LengthUnit,
    ) -> Result<CurvePoints, ReadError> {
        let bad = |problem| of_step(&self.path, problem);
        let source_unit = self.unit_of(model, plan_unit)?;
        let mm = plan_unit.mm();
        let curves = model.curves(name).map_err(bad)?;
        let fine = |placed: &Placed| {
            let points = model.points(*placed, FINE).map_err(bad)?;
            Ok(points.into_iter().map(|point| point * mm).collect::<Vec<_>>())
        };
        let points = if places.is_empty() {
            self.only_chain(model, name, &curves, fine)?
        } else {
            let picked = self.near_in_model(model, &curves, places, mm)?;
            let pieces = picked.iter().map(fine).collect::<Result<Vec<_>, ReadError>>()?;
            let name_of =
                |piece: usize| picked.get(piece).map(|placed| model.name_of(*placed)).unwrap_or_default();
            self.joined(pieces, places, name_of)?
        };
        Ok(CurvePoints { points, normals: None, source_unit })
    }

    /// The file's unit, where it names one; it must be the plan's.
    fn unit_of(&self, model: &Model, plan_unit: LengthUnit) -> Result<Option<LengthUnit>, ReadError> {
        let Some(length_mm) = model.length_mm else { return Ok(None) };
        let is_same = |unit: &LengthUnit| (unit.mm() - length_mm).abs() <= 1e-6 * length_mm;
        match LengthUnit::ALL.iter().find(|unit| is_same(unit)) {
            Some(unit) => self.check_unit(Some(*unit), plan_unit).map(|()| Some(*unit)),
            None => Err(self.unit_contradiction(format!("units of {length_mm} mm"), plan_unit)),
        }
    }

    /// All curves as one run, without places to pick by.
    fn only_chain(
        &self,
        model: &Model,
        name: Option<&str>,
        curves: &[Placed],
        fine: impl Fn(&Placed) -> Result<Vec<Point3<f64>>, ReadError>,
    ) -> Result<Vec<Point3<f64>>, ReadError> {
        match (curves, name) {
            ([], Some(name)) => Err(ReadError::NoSuchCurve {
                path: self.path.clone(),
                name: name.to_owned(),
                known: model.names(),
            }),
            ([], None) => Err(ReadError::NoPoints { path: self.path.clone() }),
            ([curve], _) => fine(curve),
            _ if curves.len() <= super::pick_curve::MOST_LOOSE_PIECES => {
                let pieces = curves.iter().map(fine).collect::<Result<Vec<_>, ReadError>>()?;
                join_loose(pieces).ok_or_else(|| self.several(model, curves.len()))
            }
            _ => Err(self.several(model, curves.len())),
        }
    }

    fn several(&self, model: &Model, found: usize) -> ReadError {
        ReadError::SeveralEdges { path: self.path.clone(), found, known: model.names() }
    }

    /// The curves nearest to the places, each once, in the order of the places.
    fn near_in_model(
        &self,
        model: &Model,
        curves: &[Placed],
        places: &[Point3<f64>],
        mm: f64,
    ) -> Result<Vec<Placed>, ReadError> {
        let mut nearest = vec![None; places.len()];
        for (index, placed) in curves.iter().enumerate() {
            match model.points(*placed, COARSE) {
                Ok(points) => {
                    let points: Vec<_> = points.into_iter().map(|point| point * mm).collect();
                    consider(&mut nearest, places, index, &points);
                }
                Err(problem) if problem.is_final => return Err(of_step(&self.path, problem)),
                // What is unreadable, or of a kind not known here, cannot be the nearest.
                Err(_) => {}
            }
        }
        model.begin_work();
        let picked = self.picked(&nearest, places)?;
        Ok(picked.into_iter().filter_map(|index| curves.get(index).copied()).collect())
    }

    /// The picked curves, each once, in the order of the places.
    fn picked(&self, nearest: &[Option<Nearest>], places: &[Point3<f64>]) -> Result<Vec<usize>, ReadError> {
        let mut picked = Vec::new();
        for (best, place) in nearest.iter().zip(places) {
            match best {
                Some(best) if best.distance_mm <= FURTHEST_MM => {
                    if !picked.contains(&best.curve) {
                        picked.push(best.curve);
                    }
                }
                _ => {
                    return Err(ReadError::NothingNear {
                        path: self.path.clone(),
                        place_mm: [place.x, place.y, place.z],
                        distance_mm: best.map(|best| best.distance_mm),
                        furthest_mm: FURTHEST_MM,
                    });
                }
            }
        }
        Ok(picked)
    }

    fn joined(
        &self,
        pieces: Vec<Vec<Point3<f64>>>,
        places: &[Point3<f64>],
        name_of: impl Fn(usize) -> String,
    ) -> Result<Vec<Point3<f64>>, ReadError> {
        join_in_order(pieces, places).map_err(|apart| ReadError::PiecesApart {
            path: self.path.clone(),
            first: name_of(apart.piece - 1),
            second: name_of(apart.piece),
            distance_mm: apart.distance_mm,
        })
    }
}

impl RawCurve {
    /// One curve for each run of pieces that meet: `NAME`, `NAME-2`, …; a group without pieces keeps its name.
    pub fn of_groups(
        groups: BTreeMap<String, Vec<Vec<Point3<f64>>>>,
        join: f64,
        unit: Option<LengthUnit>,
    ) -> Vec<Self> {
        let mut curves = Vec::new();
        for (group, pieces) in groups {
            let runs = join_runs(pieces, join);
            let runs = if runs.is_empty() { vec![Vec::new()] } else { runs };
            for (index, points) in runs.into_iter().enumerate() {
                let name = if index == 0 { group.clone() } else { format!("{group}-{}", index + 1) };
                curves.push(Self { name: Some(name), points, normals: Vec::new(), unit });
            }
        }
        curves
    }

    fn in_mm(&self, mm: f64) -> Vec<Point3<f64>> {
        self.points.iter().map(|point| point * mm).collect()
    }

    /// True where a curve of this group may be called `wanted`: `hood` for `hood` and for `hood-2`.
    pub fn is_name_of(group: &str, wanted: &str) -> bool {
        wanted.strip_prefix(group).is_some_and(is_rest_of_name)
    }

    /// True for the curve of this name, and for `NAME-2`, `NAME-3` of the same layer or group.
    fn is_of(&self, name: &str) -> bool {
        let own = self.name.as_deref().unwrap_or_default();
        own.strip_prefix(name).is_some_and(is_rest_of_name)
    }
}

/// What may stand behind the name of a group: nothing, or `-2`, `-3`, …
fn is_rest_of_name(rest: &str) -> bool {
    rest.is_empty() || rest.strip_prefix('-').is_some_and(|number| number.parse::<u32>().is_ok())
}

fn of_step(path: &Path, problem: Problem) -> ReadError {
    ReadError::malformed(path, "STEP", problem.place, problem.text)
}

fn curves_of(path: &Path, bytes: &[u8]) -> Result<Vec<RawCurve>, ReadError> {
    if curve_ply::is_ply(bytes) {
        return curve_ply::read(path);
    }
    if curve_obj::is_obj(bytes) {
        return curve_obj::read(path, bytes);
    }
    Ok(vec![curve_csv::read(path, bytes)?])
}

fn read_whole(path: &Path) -> Result<Vec<u8>, ReadError> {
    use std::io::Read;
    let open = |source| ReadError::Open { path: path.to_owned(), source };
    let file = std::fs::File::open(path).map_err(open)?;
    let expected = file.metadata().map_err(open)?.len().min(LARGEST_CURVE_FILE_BYTES);
    let mut bytes = Vec::with_capacity(expected as usize + 1);
    file.take(LARGEST_CURVE_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|source| ReadError::read(path, source))?;
    if bytes.is_empty() {
        return Err(ReadError::Empty { path: path.to_owned() });
    }
    if bytes.len() as u64 > LARGEST_CURVE_FILE_BYTES {
        let problem = format!("it is larger than {LARGEST_CURVE_FILE_BYTES} bytes");
        return Err(ReadError::malformed(path, "a curve", "the whole file", problem));
    }
    Ok(bytes)
}
