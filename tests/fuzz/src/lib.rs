//! What the targets share: bytes become a file, the file is read to its end, every outcome but a panic is fine.
//!
//! A panic inside a decoder of another project is caught by the reader and becomes an error; the panic hook of the fuzzer would
//! end the process before that, so it is replaced, and only what comes out of the reader counts.

use std::cell::RefCell;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Once;

use shutline::files::{CurveFile, open_scan};
use shutline::geometry::Curve;
use shutline::plan::PlanText;
use shutline::scan::{PointBlock, PointSink, Triangle, TriangleSink};
use shutline::units::LengthUnit;

struct Sum(f64);

impl PointSink for Sum {
    fn take(&mut self, block: &PointBlock<'_>) {
        assert!(block.y_mm.len() == block.len() && block.z_mm.len() == block.len());
        self.0 += block.x_mm.iter().chain(block.y_mm).chain(block.z_mm).sum::<f64>();
    }
}

impl TriangleSink for Sum {
    fn take(&mut self, triangles: &[Triangle]) {
        self.0 += triangles.iter().flatten().map(|corner| corner.x).sum::<f64>();
    }
}

/// Lets panics unwind, and ends the process if one gets out of `run`.
fn guarded(run: impl FnOnce()) {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| std::panic::set_hook(Box::new(|_| {})));
    if let Err(panic) = catch_unwind(AssertUnwindSafe(run)) {
        let text = panic.downcast_ref::<String>().map(String::as_str);
        let text = text.or_else(|| panic.downcast_ref::<&str>().copied());
        eprintln!("panic: {}", text.unwrap_or("without words"));
        std::process::abort();
    }
}

/// Calls `run` with a file that holds the bytes; one file for each thread, written over each time.
fn with_file(bytes: &[u8], run: impl FnOnce(&Path)) {
    thread_local! {
        static FILE: RefCell<Option<tempfile::NamedTempFile>> = const { RefCell::new(None) };
    }
    FILE.with_borrow_mut(|slot| {
        let file = slot.get_or_insert_with(|| tempfile::NamedTempFile::new().expect("a temporary file"));
        let inner = file.as_file_mut();
        inner.set_len(0).expect("a temporary file that can be emptied");
        std::io::Seek::rewind(inner).expect("a temporary file that can be rewound");
        inner.write_all(bytes).expect("room for a temporary file");
        run(file.path());
    });
}

/// Reads bytes as a scan, if they begin as one of the format meant by a target; `head` is put in front.
pub fn scan(head: &[u8], bytes: &[u8]) {
    let whole = [head, bytes].concat();
    guarded(|| {
        with_file(&whole, |path| {
            let Ok(scan) = open_scan(path, LengthUnit::Millimetre) else { return };
            let mut sum = Sum(0.0);
            for part in 0..scan.part_count() {
                let _ = scan.read_points(part, &mut sum);
            }
            for part in 0..scan.triangle_part_count() {
                let _ = scan.read_triangles(part, &mut sum);
            }
            std::hint::black_box(sum.0);
        });
    });
}

/// Reads bytes as curves, by every way of picking one.
pub fn curve(head: &[u8], bytes: &[u8]) {
    let whole = [head, bytes].concat();
    guarded(|| {
        with_file(&whole, |path| {
            let Ok(file) = CurveFile::open(path) else { return };
            let places: &[[f64; 3]] = &[[1.0, 1.0, 1.0], [20.0, 10.0, 5.0]];
            for (name, places) in [(None, &[][..]), (None, places), (Some("seam"), &[]), (Some("20"), &[])] {
                if let Ok(curve) = file.curve(name, places, LengthUnit::Millimetre) {
                    std::hint::black_box(Curve::through(&curve.points, curve.normals.as_deref()).is_ok());
                }
            }
        });
    });
}

/// Reads bytes as a plan with straight curves.
pub fn plan(bytes: &[u8]) {
    guarded(|| {
        let Ok(text) = std::str::from_utf8(bytes) else { return };
        let straight = [[0.0; 3], [400.0, 0.0, 0.0]].map(nalgebra::Point3::from);
        let plan = PlanText::parse(text, "plan").and_then(|plan| {
            plan.into_plan(|_| Curve::through(&straight, None).map_err(|error| error.to_string()))
        });
        match plan {
            Ok(plan) => drop(std::hint::black_box(shutline::plan::to_toml(&plan, &[]))),
            Err(error) => drop(std::hint::black_box(error.to_string())),
        }
    });
}
