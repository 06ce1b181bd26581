//! `shutline look`: what is in a scan file?

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;
use serde_json::json;
use shutline::files::open_scan;
use shutline::scan::{ScanLook, look};
use shutline::units::LengthUnit;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;

/// Show what is in a scan: points, extent, spacing, noise, holes, likely unit
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline look sample-scans/gannet-before.ply")]
pub struct Look {
    /// The scan (PLY, STL, OBJ, PCD, E57, LAS, LAZ, glTF, GLB or text; plain, .gz or .zst; - for standard input)
    scan: PathBuf,
    /// Unit of the scan's numbers: mm, cm, m or inch
    #[arg(long, default_value = "mm", value_parser = unit)]
    unit: LengthUnit,
    /// Write the figures as JSON
    #[arg(long)]
    json: bool,
}

fn unit(symbol: &str) -> Result<LengthUnit, String> {
    LengthUnit::from_symbol(symbol).ok_or_else(|| "give mm, cm, m or inch".to_owned())
}

impl Look {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let progress = Progress::start(talk.is_quiet);
        let scan = open_scan(&self.scan, self.unit)?;
        let watched = progress.watch_reading(scan.as_ref(), "looking at the surface");
        let seen = look(&watched, self.unit);
        progress.finish();
        let seen = seen?;
        let text = if self.json { as_json(&seen) } else { as_text(&seen, self.unit) };
        print_data(&text)?;
        Ok(Outcome::AllGood)
    }
}

fn as_json(seen: &ScanLook) -> String {
    let warning = seen.unit_warning.map(|warning| {
        json!({
            "longest_side_mm": warning.longest_side_mm,
            "likely_unit": warning.likely.map(LengthUnit::symbol),
        })
    });
    let value = json!({
        "format": seen.format,
        "points": seen.point_count,
        "triangles": seen.triangle_count,
        "non_finite_points": seen.non_finite_count,
        "points_with_normal": seen.with_normal_count,
        "extent_mm": seen.extent_mm,
        "spacing_mm": seen.spacing_mm,
        "spacing_range_mm": seen.spacing_range_mm,
        "noise_mm": seen.noise_mm,
        "border_fraction": seen.border_fraction,
        "unit_warning": warning,
    });
    format!("{value:#}\n")
}

fn as_text(seen: &ScanLook, unit: LengthUnit) -> String {
    let mut text = String::new();
    let mut line = |name: &str, value: String| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{name:<10} {value}");
    };
    line("format", seen.format.clone());
    line("points", format!("{}, {} of them with a normal", seen.point_count, seen.with_normal_count));
    if seen.non_finite_count > 0 {
        line("", format!("{} points are not finite numbers and are skipped", seen.non_finite_count));
    }
    line("triangles", seen.triangle_count.to_string());
    let unknown = || "not known: too few points".to_owned();
    let extent = seen.extent_mm.map(|[least, greatest]| {
        let side = |axis: usize| {
            format!("{:.1} ({:.1} to {:.1})", greatest[axis] - least[axis], least[axis], greatest[axis])
        };
        format!("x {}, y {}, z {} mm", side(0), side(1), side(2))
    });
    line("extent", extent.unwrap_or_else(unknown));
    let spacing = seen.spacing_mm.zip(seen.spacing_range_mm).map(|(middle, [finest, coarsest])| {
        format!("{middle:.3} mm; {finest:.3} mm on the finest tenth of the surface, {coarsest:.3} mm on the coarsest")
    });
    line("spacing", spacing.unwrap_or_else(unknown));
    line(
        "noise",
        seen.noise_mm.map_or_else(unknown, |noise| {
            format!("{noise:.4} mm between neighbours; noise that is alike over some millimetres does not show here")
        }),
    );
    line(
        "holes",
        seen.border_fraction.map_or_else(unknown, |share| {
            format!("{:.1} % of the points lie on a border or a hole", share * 100.0)
        }),
    );
    if let Some(warning) = seen.unit_warning {
        let size = format!(
            "taken as {}, it is {:.1} mm long, which is no car",
            unit.symbol(),
            warning.longest_side_mm
        );
        let advice = match warning.likely {
            Some(likely) => format!(
                "in {0} it would be one: try --unit {0}, and units = \"{0}\" in the plan",
                likely.symbol()
            ),
            None => "check what the scanner exported".to_owned(),
        };
        line("unit", format!("{size}; {advice}"));
    }
    text
}
