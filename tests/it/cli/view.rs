//! `view`: a folder of results on this machine's loopback address, and nothing but that folder.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::program::{run, talk};

struct Server {
    process: Child,
    port: u16,
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn serve(folder: &Path) -> Server {
    let mut process = Command::new(env!("CARGO_BIN_EXE_shutline"))
        .args(["--quiet", "view", "--port", "0"])
        .arg(folder)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(process.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let port = line.trim().trim_end_matches('/').rsplit(':').next().unwrap().parse().unwrap();
    assert!(line.starts_with("http://127.0.0.1:"), "{line}");
    Server { process, port }
}

impl Server {
    /// Sends these bytes and gives the whole answer back.
    fn raw(&self, bytes: &[u8]) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(bytes).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn get(&self, path: &str) -> String {
        self.raw(format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port).as_bytes())
    }
}

fn folder() -> tempfile::TempDir {
    let outer = tempfile::tempdir().unwrap();
    let inner = outer.path().join("out");
    std::fs::create_dir_all(inner.join("strips")).unwrap();
    std::fs::write(outer.path().join("secret.txt"), "not for you").unwrap();
    std::fs::write(inner.join("report.html"), "<!DOCTYPE html><p>the report</p>").unwrap();
    std::fs::write(inner.join("strips/a b.png"), [137, 80, 78, 71]).unwrap();
    std::fs::write(inner.join(".hidden"), "not for you").unwrap();
    outer
}

#[test]
fn the_folder_is_shown_with_its_page_first() {
    let outer = folder();
    let server = serve(&outer.path().join("out"));
    let first = server.get("/");
    assert!(first.starts_with("HTTP/1.1 302") && first.contains("Location: /report.html"), "{first}");
    let page = server.get("/report.html");
    assert!(page.contains("the report") && page.contains("/~state"), "the page, and what reloads it: {page}");
    assert!(page.contains("default-src 'none'") && page.contains("nosniff"));
    let picture = server.get("/strips/a%20b.png");
    assert!(
        picture.contains("Content-Type: image/png") && picture.contains("Content-Length: 4"),
        "{picture}"
    );
    let head = server
        .raw(format!("HEAD /report.html HTTP/1.1\r\nHost: localhost:{}\r\n\r\n", server.port).as_bytes());
    assert!(head.starts_with("HTTP/1.1 200") && !head.contains("the report"), "{head}");
}

#[test]
fn no_path_leads_out_of_the_folder() {
    let outer = folder();
    let inner = outer.path().join("out");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(outer.path().join("secret.txt"), inner.join("link.txt")).unwrap();
        std::os::unix::fs::symlink(outer.path(), inner.join("up")).unwrap();
    }
    let server = serve(&inner);
    for path in [
        "/../secret.txt",
        "/%2e%2e/secret.txt",
        "/..%2fsecret.txt",
        "/%252e%252e/secret.txt",
        "/strips/../../secret.txt",
        "/strips/..%5c..%5csecret.txt",
        "//etc/passwd",
        "/link.txt",
        "/up/secret.txt",
        "/.hidden",
        "/strips",
        "/report.html%00.png",
        "http://127.0.0.1/report.html",
    ] {
        let answer = server.get(path);
        assert!(answer.starts_with("HTTP/1.1 404"), "{path}: {answer}");
        assert!(!answer.contains("not for you"), "{path}");
    }
}

#[test]
fn only_this_machine_under_its_own_name_is_answered() {
    let outer = folder();
    let server = serve(&outer.path().join("out"));
    for host in ["elsewhere.example", "127.0.0.1.elsewhere.example", "localhost:1", ""] {
        let asked = format!("GET /report.html HTTP/1.1\r\nHost: {host}\r\n\r\n");
        assert!(server.raw(asked.as_bytes()).starts_with("HTTP/1.1 403"), "{host}");
    }
    for bytes in [&b"POST / HTTP/1.1\r\nHost: x\r\n\r\n"[..], b"\xff\xfe\x00\r\n\r\n", b"GET\r\n\r\n"] {
        let answer = server.raw(bytes);
        assert!(answer.starts_with("HTTP/1.1 40"), "{answer}");
    }
    assert!(server.get("/report.html").contains("the report"), "and it still answers");
}

#[test]
fn new_results_change_the_state_that_pages_ask_for() {
    let outer = folder();
    let inner = outer.path().join("out");
    let server = serve(&inner);
    let state = || server.get("/~state").lines().last().unwrap_or_default().to_owned();
    let before = state();
    assert_eq!(before.len(), 16);
    assert_eq!(state(), before, "nothing changed");
    std::fs::create_dir_all(inner.join("scans/second")).unwrap();
    std::fs::write(inner.join("scans/second/report.html"), "new").unwrap();
    assert_ne!(state(), before);
}

#[test]
fn a_port_in_use_and_a_folder_without_results_are_said_with_what_to_do() {
    let outer = folder();
    let server = serve(&outer.path().join("out"));
    let port = server.port.to_string();
    let begun = Instant::now();
    let second = run(outer.path(), &["view", "out", "--port", &port]);
    assert_eq!(second.status.code(), Some(2));
    assert!(talk(&second).contains("in use") && talk(&second).contains("--port 0"), "{}", talk(&second));
    let bare = run(outer.path(), &["view", "."]);
    assert_eq!(bare.status.code(), Some(2));
    assert!(talk(&bare).contains("report.html"), "{}", talk(&bare));
    let missing = run(outer.path(), &["view", "nowhere"]);
    assert!(talk(&missing).contains("nowhere"), "{}", talk(&missing));
    assert!(begun.elapsed() < Duration::from_secs(60), "none of them waits");
}
