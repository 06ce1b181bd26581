//! Reads a seam plan and the curves that it names.
//!
//! In: the path of a plan. Out: a checked [`Plan`]. Relative curve paths start at the plan's folder.
//! Units: the plan's own, for its lengths and for curve files that carry none; mm inside.
//! Does not read scans.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::content_hash::{FileFacts, text_hash};
use super::curve_file::CurveFile;
use crate::geometry::Curve;
use crate::plan::{CurveReference, Plan, PlanError, PlanText};
use crate::units::LengthUnit;

/// Largest plan that is read, bytes: thousands of seams with all keys written out.
const LARGEST_PLAN_BYTES: u64 = 16 << 20;

/// Why there is no plan.
#[derive(Debug, Error)]
pub enum ReadPlanError {
    #[error("could not read the plan {}: {source}; give the path of a seam plan, by convention NAME.seams.toml", path.display())]
    Unreadable { path: PathBuf, source: std::io::Error },
    #[error("could not read the plan {}: it is larger than {} MiB, which no plan is", path.display(), LARGEST_PLAN_BYTES >> 20)]
    TooLarge { path: PathBuf },
    #[error(
        "could not read the plan {}: byte {byte} (line {line}) is not UTF-8 text; \
         save the plan as UTF-8, and check that it is not the scan", path.display()
    )]
    NotText { path: PathBuf, byte: usize, line: usize },
    #[error(transparent)]
    Plan(#[from] PlanError),
}

/// A plan, and the files that it was read from.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanFile {
    pub plan: Plan,
    pub facts: FileFacts,
    /// Each curve file once, as the plan writes it, in the plan's order.
    pub curves: Vec<(String, FileFacts)>,
}

/// Reads a plan with its curves.
///
/// # Errors
/// As [`read_plan_files`].
pub fn read_plan(path: &Path) -> Result<Plan, ReadPlanError> {
    Ok(read_plan_files(path)?.plan)
}

/// Reads a plan with its curves, and says from which files; each curve file is read once.
///
/// # Errors
/// The file cannot be read or is not text; anything in it that is not as the plan's format says; a curve file that
/// cannot be read or does not hold a curve.
pub fn read_plan_files(path: &Path) -> Result<PlanFile, ReadPlanError> {
    let text = read_text(path)?;
    let facts = FileFacts { sha256: text_hash(&text), byte_count: text.len() as u64 };
    let parsed = PlanText::parse(&text, &path.display().to_string())?;
    let mut library =
        Library { folder: path.parent().unwrap_or(Path::new("")), units: parsed.units(), files: Vec::new() };
    let plan = parsed.into_plan(|reference| library.load(reference))?;
    let curves = library.files.into_iter().map(|(name, file)| (name, file.facts)).collect();
    Ok(PlanFile { plan, facts, curves })
}

/// The curve files of one plan.
struct Library<'a> {
    folder: &'a Path,
    units: LengthUnit,
    files: Vec<(String, CurveFile)>,
}

impl Library<'_> {
    fn load(&mut self, reference: &CurveReference) -> Result<Curve, String> {
        let path = self.folder.join(&reference.path);
        let place = match self.files.iter().position(|(name, _)| *name == reference.path) {
            Some(place) => place,
            None => {
                let file = CurveFile::open(&path).map_err(|error| error.to_string())?;
                self.files.push((reference.path.clone(), file));
                self.files.len() - 1
            }
        };
        let (_, file) = self.files.get(place).ok_or("the curve files are in disorder")?;
        let read = file
            .curve(reference.name.as_deref(), &reference.near_mm, self.units)
            .map_err(|error| error.to_string())?;
        Curve::through(&read.points, read.normals.as_deref())
            .map_err(|error| format!("{}: {error}", path.display()))
    }
}

pub(super) fn read_text(path: &Path) -> Result<String, ReadPlanError> {
    let unreadable = |source| ReadPlanError::Unreadable { path: path.to_owned(), source };
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(unreadable)?;
    file.take(LARGEST_PLAN_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > LARGEST_PLAN_BYTES {
        return Err(ReadPlanError::TooLarge { path: path.to_owned() });
    }
    String::from_utf8(bytes).map_err(|error| {
        let byte = error.utf8_error().valid_up_to();
        let line = 1 + error.as_bytes().iter().take(byte).filter(|byte| **byte == b'\n').count();
        ReadPlanError::NotText { path: path.to_owned(), byte, line }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "title = 'Two panels'\nunits = 'mm'\n[scan]\nunits = 'mm'\n[panels.a]\n[panels.b]\n\
        [[seam]]\nid = 'a-b'\ndatum_panel = 'a'\nother_panel = 'b'\ndatum_side = 'left'\n\
        curve = 'curves/a-b.csv'\ngap = { nominal = 4, minus = 1, plus = 1 }\n\
        flush = { nominal = 0, minus = 1, plus = 1 }\n";

    /// Writes the plan and its curve into a new folder and reads the plan.
    fn read_with_curve(curve: Option<&str>) -> Result<Plan, ReadPlanError> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("curves")).unwrap();
        if let Some(curve) = curve {
            std::fs::write(folder.path().join("curves/a-b.csv"), curve).unwrap();
        }
        let path = folder.path().join("two.seams.toml");
        std::fs::write(&path, PLAN).unwrap();
        read_plan(&path)
    }

    #[test]
    fn curves_are_found_from_the_plans_folder() {
        let plan = read_with_curve(Some("0,0,0,0,0,1\n100,0,0,0,0,1\n")).unwrap();
        assert!((plan.seams[0].curve.length_mm() - 100.0).abs() < 1e-9);
        assert!(plan.seams[0].curve.has_given_normals());
    }

    #[test]
    fn each_file_is_named_once_with_its_hash() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("curves")).unwrap();
        let curve = "0,0,0,0,0,1\n100,0,0,0,0,1\n";
        std::fs::write(folder.path().join("curves/a-b.csv"), curve).unwrap();
        let second = PLAN[PLAN.find("[[seam]]").unwrap()..].replace("a-b'\n", "b-a'\n");
        let text = format!("{PLAN}{second}");
        let path = folder.path().join("two.seams.toml");
        std::fs::write(&path, &text).unwrap();
        let read = read_plan_files(&path).unwrap();
        assert_eq!(read.plan.seams.len(), 2);
        assert_eq!(read.facts, FileFacts { sha256: text_hash(&text), byte_count: text.len() as u64 });
        let facts = FileFacts { sha256: text_hash(curve), byte_count: curve.len() as u64 };
        assert_eq!(read.curves, [("curves/a-b.csv".to_owned(), facts)]);
    }

    #[test]
    fn bad_curves_are_refused_at_the_plans_line() {
        let bad = [
            None,
            Some(""),
            Some("0,0,0\n"),
            Some("0,0,0\n0,0,0\n100,0,0\n"),
            Some("0,0,0\nnan,0,0\n100,0,0\n"),
            Some("0,0,0\n1e300,0,0\n"),
            Some("0,0,0\n100,0\n"),
            Some("0,0,0\n10,0,0\n"),
        ];
        for curve in bad {
            let shown = read_with_curve(curve).expect_err(&format!("{curve:?}")).to_string();
            assert!(shown.contains("seam `a-b`") && shown.contains('^'), "{curve:?}\n{shown}");
        }
    }

    #[test]
    fn what_is_no_text_is_said_to_be_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scan.ply");
        std::fs::write(&path, b"ply\nformat\n\xff\xfe").unwrap();
        let shown = read_plan(&path).unwrap_err().to_string();
        assert!(shown.contains("line 3"), "{shown}");
        assert!(read_plan(folder.path()).is_err());
        assert!(read_plan(&folder.path().join("none.toml")).is_err());
    }
}
