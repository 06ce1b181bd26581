//! Answers requests from this machine.
//!
//! One thread a connection, few at a time, each with a time limit; one request each. Only requests that name this machine as
//! their host are answered, so that a page from elsewhere cannot read results through the browser by renaming its own
//! host to this address. Nothing is written and nothing is run.

use std::io::{self, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use super::request::{Request, read_request};
use super::site::Site;

const MOST_CONNECTIONS: usize = 32;
const TIME_LIMIT: Duration = Duration::from_secs(10);
/// Largest page that is read into memory to add the script that reloads it.
const LARGEST_PAGE: u64 = 64 * 1024 * 1024;
/// Where the page asks whether anything changed; no result is called so.
const STATE: &str = "~state";
const RELOAD: &str = "<script>(() => { let known = null; setInterval(async () => { try { \
const state = await (await fetch('/~state', { cache: 'no-store' })).text(); \
if (known !== null && state !== known) location.reload(); known = state; } catch { known = known; } }, 1500); })();</script>";
/// Pages may use their own scripts and pictures and ask this server, and nothing else.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src 'self' data:; \
font-src data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Answers until the process ends.
pub fn serve(listener: &TcpListener, site: &Site, port: u16) -> io::Result<()> {
    let busy = Arc::new(AtomicUsize::new(0));
    for stream in listener.incoming() {
        // A client that is gone before it is served is no reason to stop.
        let Ok(mut stream) = stream else { continue };
        if busy.load(Ordering::Acquire) >= MOST_CONNECTIONS {
            let _ = refuse(&mut stream, 503);
            continue;
        }
        busy.fetch_add(1, Ordering::AcqRel);
        let (site, busy) = (site.clone(), Arc::clone(&busy));
        std::thread::spawn(move || {
            // The one who asked may have gone: nobody is left to tell.
            let _ = answer(stream, &site, port);
            busy.fetch_sub(1, Ordering::AcqRel);
        });
    }
    Ok(())
}

fn answer(mut stream: TcpStream, site: &Site, port: u16) -> io::Result<()> {
    stream.set_read_timeout(Some(TIME_LIMIT))?;
    stream.set_write_timeout(Some(TIME_LIMIT))?;
    let request = match read_request(BufReader::new(&stream)) {
        Ok(request) => request,
        Err(status) => return refuse(&mut stream, status),
    };
    if !is_this_machine(&request.host, port) {
        return refuse(&mut stream, 403);
    }
    match request.names.as_slice() {
        [] => match site.front_page() {
            Some(page) => {
                write!(
                    stream,
                    "HTTP/1.1 302 Found\r\nLocation: /{page}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
                )
            }
            None => refuse(&mut stream, 404),
        },
        [name] if name == STATE => {
            let state = format!("{:016x}", site.state());
            head(&mut stream, "text/plain; charset=utf-8", state.len() as u64)?;
            stream.write_all(state.as_bytes())
        }
        // Browsers ask for it unasked; there is none, and that is no error.
        [name] if name == "favicon.ico" => {
            write!(stream, "HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
        }
        _ => send_file(&mut stream, site, &request),
    }
}

fn is_this_machine(host: &str, port: u16) -> bool {
    ["127.0.0.1", "localhost"].iter().any(|name| {
        host.strip_prefix(name)
            .is_some_and(|rest| rest == format!(":{port}") || (rest.is_empty() && port == 80))
    })
}

fn send_file(stream: &mut TcpStream, site: &Site, request: &Request) -> io::Result<()> {
    let Some((mut file, size)) = site.file(&request.names) else { return refuse(stream, 404) };
    let kind = kind_of(request.names.last().map_or("", String::as_str));
    if kind.starts_with("text/html") && size <= LARGEST_PAGE {
        let mut page = Vec::new();
        file.take(LARGEST_PAGE).read_to_end(&mut page)?;
        page.extend(RELOAD.as_bytes());
        head(stream, kind, page.len() as u64)?;
        return if request.is_head { Ok(()) } else { stream.write_all(&page) };
    }
    head(stream, kind, size)?;
    if !request.is_head {
        io::copy(&mut (&mut file).take(size), stream)?;
    }
    Ok(())
}

fn kind_of(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("html") => "text/html; charset=utf-8",
        Some("png") => "image/png",
        Some("csv") => "text/csv; charset=utf-8",
        Some("json") => "application/json",
        Some("pdf") => "application/pdf",
        Some("xml" | "qif") => "application/xml",
        _ => "application/octet-stream",
    }
}

fn head(stream: &mut TcpStream, kind: &str, size: u64) -> io::Result<()> {
    write!(
        stream,
        "HTTP/1.1 200 OK\r\nContent-Type: {kind}\r\nContent-Length: {size}\r\nX-Content-Type-Options: nosniff\r\n\
         Content-Security-Policy: {POLICY}\r\nReferrer-Policy: no-referrer\r\nCross-Origin-Resource-Policy: same-origin\r\n\
         Cache-Control: no-store\r\nConnection: close\r\n\r\n"
    )
}

fn refuse(stream: &mut TcpStream, status: u16) -> io::Result<()> {
    let words = match status {
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        503 => "Service Unavailable",
        _ => "Bad Request",
    };
    let text = format!("{status} {words}\n");
    write!(
        stream,
        "HTTP/1.1 {status} {words}\r\nContent-Type: text/plain\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{text}",
        text.len()
    )
}
