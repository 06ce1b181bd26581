//! What the targets share: bytes become a file, the file is read to its end, every outcome is fine but a panic, a hang, or more
//! memory than twice the file and 64 MB.
//!
//! A panic inside a decoder of another project is caught by the reader and becomes an error; the panic hook of the fuzzer would
//! end the process before that, so it is replaced, and only what comes out of the reader counts.

#[path = "../../it/memory.rs"]
mod memory;

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

/// What reading may hold at once beyond twice the file, bytes.
const SPARE_BYTES: u64 = 64 << 20;

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

/// Lets panics unwind, and ends the process if one gets out of `run`, or if it held too much for a file of so many bytes.
fn guarded(file_bytes: usize, run: impl FnOnce()) {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| std::panic::set_hook(Box::new(|_| {})));
    let (outcome, peak) = memory::peak_of(|| catch_unwind(AssertUnwindSafe(run)));
    if peak > 2 * file_bytes as u64 + SPARE_BYTES {
        eprintln!("memory: held {peak} bytes for a file of {file_bytes}");
        std::process::abort();
    }
    if let Err(panic) = outcome {
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
    read_scan(&[head, bytes].concat());
}

fn read_scan(whole: &[u8]) {
    guarded(whole.len(), || {
        with_file(whole, |path| {
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

/// Bytes of a page of an E57 file, the last four of which are its checksum.
const E57_PAGE: usize = 1024;

/// Reads what follows the mark as an E57 file whose length and checksums are right, since nothing gets past wrong ones.
pub fn e57(bytes: &[u8]) {
    let mut whole = [&b"ASTM-E57"[..], bytes].concat();
    whole.resize(whole.len().next_multiple_of(E57_PAGE), 0);
    let length = whole.len() as u64;
    whole[16..24].copy_from_slice(&length.to_le_bytes());
    for page in whole.chunks_exact_mut(E57_PAGE) {
        let (content, checksum) = page.split_at_mut(E57_PAGE - 4);
        checksum.copy_from_slice(&crc32c(content).to_be_bytes());
    }
    read_scan(&whole);
}

/// CRC-32C (G. Castagnoli and others, 1993), byte by byte from a table.
fn crc32c(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = {
        let mut table = [0; 256];
        let mut place = 0;
        while place < 256 {
            let (mut sum, mut bit) = (place as u32, 0);
            while bit < 8 {
                sum = (sum >> 1) ^ (0x82F6_3B78 & (sum & 1).wrapping_neg());
                bit += 1;
            }
            table[place] = sum;
            place += 1;
        }
        table
    };
    !bytes.iter().fold(!0, |sum, byte| TABLE[((sum ^ u32::from(*byte)) & 255) as usize] ^ (sum >> 8))
}

/// Reads bytes as curves, by every way of picking one.
pub fn curve(head: &[u8], bytes: &[u8]) {
    let whole = [head, bytes].concat();
    guarded(whole.len(), || {
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
    guarded(bytes.len(), || {
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
