//! A small client of the browser's own debugging protocol, over two pipes (JSON, one NUL after each message).

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use base64::Engine;
use serde_json::{Value, json};

/// How long an answer may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// One browser with one tab.
pub struct Browser {
    process: Child,
    input: ChildStdin,
    messages: Receiver<Value>,
    session: Option<String>,
    sent: u64,
    /// Errors that the page caused: exceptions, console errors, requests that failed.
    pub errors: Vec<String>,
    loads: usize,
    _profile: tempfile::TempDir,
}

/// A browser, or `None` with a word on why the test is skipped.
pub fn browser(more: &[&str]) -> Option<Browser> {
    let Some(program) = program() else {
        println!("skipped: no Chromium on this machine");
        return None;
    };
    let profile = tempfile::tempdir().unwrap();
    let mut flags = vec![
        "--headless".to_owned(),
        "--no-sandbox".to_owned(),
        "--hide-scrollbars".to_owned(),
        "--no-first-run".to_owned(),
        "--disable-dev-shm-usage".to_owned(),
        "--disable-background-networking".to_owned(),
        "--force-color-profile=srgb".to_owned(),
        "--remote-debugging-pipe".to_owned(),
        format!("--user-data-dir={}", profile.path().display()),
    ];
    flags.extend(more.iter().map(|flag| (*flag).to_owned()));
    flags.push("about:blank".to_owned());
    // The browser reads its third and writes its fourth descriptor.
    let mut process = Command::new("sh")
        .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 </dev/null >/dev/null 2>&1"])
        .arg(program)
        .args(flags)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let (sender, messages) = channel();
    let mut output = BufReader::new(process.stdout.take().unwrap());
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        while output.read_until(0, &mut bytes).is_ok_and(|count| count > 0) {
            bytes.pop();
            let Ok(message) = serde_json::from_slice(&bytes) else { break };
            if sender.send(message).is_err() {
                break;
            }
            bytes.clear();
        }
    });
    let input = process.stdin.take().unwrap();
    let mut browser = Browser {
        process,
        input,
        messages,
        session: None,
        sent: 0,
        errors: Vec::new(),
        loads: 0,
        _profile: profile,
    };
    let target = browser.call("Target.createTarget", json!({ "url": "about:blank" }));
    let attached =
        browser.call("Target.attachToTarget", json!({ "targetId": target["targetId"], "flatten": true }));
    browser.session = Some(attached["sessionId"].as_str().unwrap().to_owned());
    for domain in ["Page", "Runtime", "Log"] {
        browser.call(&format!("{domain}.enable"), json!({}));
    }
    Some(browser)
}

/// With WebGL drawn in software.
pub const WITH_WEBGL: [&str; 3] =
    ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"];

fn program() -> Option<PathBuf> {
    let folders: Vec<PathBuf> = std::env::split_paths(&std::env::var_os("PATH")?).collect();
    let named = std::env::var_os("CHROMIUM").map(PathBuf::from);
    named.into_iter().chain(folders.iter().map(|folder| folder.join("chromium"))).find(|path| path.is_file())
}

impl Browser {
    /// Sends a command and waits for its answer; events in between are taken note of.
    pub fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.sent += 1;
        let id = self.sent;
        let mut message = json!({ "id": id, "method": method, "params": parameters });
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        self.input.write_all(message.to_string().as_bytes()).unwrap();
        self.input.write_all(&[0]).unwrap();
        loop {
            let message =
                self.messages.recv_timeout(PATIENCE).unwrap_or_else(|_| panic!("no answer to {method}"));
            if message["id"] == json!(id) {
                assert!(message["error"].is_null(), "{method}: {}", message["error"]);
                return message["result"].clone();
            }
            self.note(&message);
        }
    }

    fn note(&mut self, message: &Value) {
        let parameters = &message["params"];
        match message["method"].as_str() {
            Some("Page.loadEventFired") => self.loads += 1,
            Some("Runtime.exceptionThrown") => self.errors.push(parameters["exceptionDetails"].to_string()),
            Some("Runtime.consoleAPICalled") if parameters["type"] == "error" => {
                self.errors.push(parameters["args"].to_string());
            }
            Some("Log.entryAdded") if parameters["entry"]["level"] == "error" => {
                self.errors.push(parameters["entry"].to_string());
            }
            _ => {}
        }
    }

    /// Opens an address in a window of this size and waits until it is loaded.
    pub fn open(&mut self, address: &str, size: [u32; 2]) {
        self.open_without_script(address, size);
        self.settle();
    }

    /// The same where the page's scripts do not run, and so no frame can be waited for.
    pub fn open_without_script(&mut self, address: &str, [width, height]: [u32; 2]) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 700 });
        self.call("Emulation.setDeviceMetricsOverride", size);
        self.loads = 0;
        self.call("Page.navigate", json!({ "url": address }));
        while self.loads == 0 {
            let message = self.messages.recv_timeout(PATIENCE).expect("the page is loaded");
            self.note(&message);
        }
    }

    /// Waits for two frames, so that what was asked for is painted.
    pub fn settle(&mut self) {
        self.value(
            "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))",
        );
    }

    /// The value of an expression in the page, waited for where it is promised.
    pub fn value(&mut self, expression: &str) -> Value {
        let asked = json!({ "expression": expression, "awaitPromise": true, "returnByValue": true });
        let answer = self.call("Runtime.evaluate", asked);
        assert!(answer["exceptionDetails"].is_null(), "{expression}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    pub fn text(&mut self, expression: &str) -> String {
        self.value(expression).as_str().unwrap_or_default().to_owned()
    }

    pub fn number(&mut self, expression: &str) -> f64 {
        self.value(expression).as_f64().unwrap_or(f64::NAN)
    }

    pub fn is(&mut self, expression: &str) -> bool {
        self.value(expression).as_bool().unwrap_or(false)
    }

    /// `kind`: `mouseMoved`, `mousePressed`, `mouseReleased`.
    pub fn mouse(&mut self, kind: &str, [x, y]: [f64; 2]) {
        let held = i32::from(kind == "mousePressed");
        let button = if kind == "mouseMoved" { "none" } else { "left" };
        let event =
            json!({ "type": kind, "x": x, "y": y, "button": button, "buttons": held, "clickCount": 1 });
        self.call("Input.dispatchMouseEvent", event);
        self.settle();
    }

    /// Moves with the left button held.
    pub fn drag(&mut self, from: [f64; 2], to: [f64; 2]) {
        self.mouse("mousePressed", from);
        let event = json!({ "type": "mouseMoved", "x": to[0], "y": to[1], "button": "left", "buttons": 1 });
        self.call("Input.dispatchMouseEvent", event);
        self.mouse("mouseReleased", to);
    }

    pub fn key(&mut self, key: &str) {
        let code = match key {
            "Tab" => 9,
            "Escape" => 27,
            "PageUp" => 33,
            "PageDown" => 34,
            "End" => 35,
            "Home" => 36,
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            _ => 0,
        };
        for kind in ["rawKeyDown", "keyUp"] {
            let event = json!({ "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code });
            self.call("Input.dispatchKeyEvent", event);
        }
        self.settle();
    }

    /// What the window shows.
    pub fn picture(&mut self) -> image::RgbImage {
        let answer = self.call("Page.captureScreenshot", json!({ "format": "png" }));
        let bytes = bytes_of(&answer["data"]);
        image::load_from_memory(&bytes).unwrap().to_rgb8()
    }

    /// The page on paper of this size, inches.
    pub fn print(&mut self, [width, height]: [f64; 2]) -> Vec<u8> {
        let sheet = json!({ "paperWidth": width, "paperHeight": height, "printBackground": true });
        bytes_of(&self.call("Page.printToPDF", sheet)["data"])
    }
}

fn bytes_of(text: &Value) -> Vec<u8> {
    base64::engine::general_purpose::STANDARD.decode(text.as_str().unwrap()).unwrap()
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The process may have gone already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
