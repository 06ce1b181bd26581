//! `view` in the browser: the page works under its content policy, and shows itself anew when its folder changes.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::chromium::{WITH_WEBGL, browser};
use super::sample_page::sample_text;

/// Ends the server whichever way the test goes.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_page_that_is_viewed_shows_itself_anew_when_results_change() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("report.html");
    std::fs::write(&page, sample_text()).unwrap();
    let server = Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args(["--quiet", "view", "--port", "0"])
        .arg(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut server = Ended(server);
    let mut address = String::new();
    BufReader::new(server.0.stdout.take().unwrap()).read_line(&mut address).unwrap();
    browser.open(address.trim(), [1366, 768]);
    assert!(browser.text("location.pathname").ends_with("/report.html"));
    assert!(browser.is("!document.getElementById('space').hidden"), "scripts run under the policy");
    // Two looks at the state, so that the page knows the first one.
    std::thread::sleep(Duration::from_millis(3500));
    assert!(browser.errors.is_empty(), "{:?}", browser.errors);
    std::fs::write(&page, sample_text().replace("<h1>", "<h1>New: ")).unwrap();
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(30)
        && !browser.is("document.querySelector('h1')?.textContent.startsWith('New: ')")
    {
        std::thread::sleep(Duration::from_millis(300));
    }
    let shown = browser.text("document.querySelector('h1').textContent");
    assert!(shown.starts_with("New: "), "{shown}");
}
