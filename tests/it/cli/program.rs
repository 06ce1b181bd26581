//! Runs the built program in a folder of its own.

use std::path::Path;
use std::process::{Command, Output};

/// A plan with one straight seam of 200 mm, its curve beside it, written into `folder`.
pub fn write_plan(folder: &Path, plan_line: &str) {
    let curve: String = (0..=20).map(|index| format!("{},0,0,0,0,1\n", index * 10)).collect();
    std::fs::write(folder.join("seam.csv"), curve).unwrap();
    let plan = format!(
        "title = 'One seam'\nunits = 'mm'\n{plan_line}\n[scan]\nunits = 'mm'\naccuracy = 0.02\n[panels.hood]\n\
         [panels.fender]\n[[seam]]\nid = 'hood-fender'\ndatum_panel = 'fender'\nother_panel = 'hood'\n\
         datum_side = 'left'\ncurve = 'seam.csv'\nstation_spacing = 10\nskip_ends = 10\n\
         gap = {{ nominal = 4, minus = 0.5, plus = 0.5 }}\nflush = {{ nominal = 0, minus = 0.5, plus = 0.5 }}\n"
    );
    std::fs::write(folder.join("one.seams.toml"), plan).unwrap();
}

/// Runs `shutline` with these arguments in this folder.
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .unwrap()
}

/// Standard error as text.
pub fn talk(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Starts `shutline` and does not wait for it.
pub fn start(folder: &Path, arguments: &[&str]) -> std::process::Child {
    Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap()
}
