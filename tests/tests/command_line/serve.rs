//! The web page as a browser meets it: plain HTTP to the address that the program prints.

use super::journey::still_table;
use super::{done, program};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// What is promised of the end.
const ENDS_WITHIN: Duration = Duration::from_secs(5);

/// The program serving a logbook on a port of its own.
pub struct Server {
    child: Child,
    /// Host and port, as the program printed them.
    pub host: String,
}

impl Server {
    pub fn start(at: &Path) -> Self {
        let mut child = Command::new(program())
            .args(["serve", "--port", "0"])
            .current_dir(at)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut first = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut first).expect("a line");
        let host = first.trim_end().strip_prefix("http://").and_then(|rest| rest.strip_suffix('/'));
        let host = host.unwrap_or_else(|| panic!("no address: {first:?}")).to_owned();
        assert!(host.starts_with("127.0.0.1:"), "{host}");
        Self { child, host }
    }

    /// Sends a request as it is; gives head and body.
    pub fn send(&self, request: &str) -> (String, String) {
        let mut stream = TcpStream::connect(&self.host).expect("it listens");
        stream.write_all(request.as_bytes()).expect("sent");
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).expect("an answer");
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").expect("a head");
        (head.to_owned(), body.to_owned())
    }

    /// A page, which must be there.
    pub fn get(&self, path: &str) -> String {
        let (head, body) =
            self.send(&format!("GET {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\r\n", self.host));
        assert!(head.starts_with("HTTP/1.1 200"), "{path}: {head}\n{body}");
        body
    }

    /// Tells the program to end; how long it took.
    pub fn end(mut self) -> Duration {
        let from = Instant::now();
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).expect("it lives");
        let status = self.child.wait().expect("it ends");
        assert!(status.success(), "{status}");
        from.elapsed()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // After a test that failed; one that ended is no longer there.
        let _ = self.child.kill();
    }
}

#[test]
fn pages_are_served_until_the_program_is_told_to_end() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    still_table(at, 6);
    let run = done(at, &["import", "readings.csv", "--vehicle", "Bramble", "--test", "still"]);
    let run = run.lines().last().expect("the run's name").to_owned();
    let server = Server::start(at);
    let list = server.get("/");
    assert!(list.contains(&format!("/run/Bramble/{run}")), "{list}");
    assert!(server.get(&format!("/run/Bramble/{run}")).contains("not excited"));
    for path in ["/wear", "/wear/Bramble", "/assets/page.css"] {
        server.get(path);
    }
    let (head, _) = server.send("GET / HTTP/1.1\r\nhost: rebound.example\r\nconnection: close\r\n\r\n");
    assert!(head.starts_with("HTTP/1.1 421"), "{head}");
    let idle: Vec<TcpStream> =
        (0..5).map(|_| TcpStream::connect(&server.host).expect("it listens")).collect();
    let took = server.end();
    drop(idle);
    assert!(took < ENDS_WITHIN, "{took:?}");
}

#[test]
fn a_port_that_is_taken_is_told_with_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("bound").port().to_string();
    let output = super::hingeline(at, &["serve", "--port", &port]);
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains(&port) && told.contains("--port 0"), "{told}");
    let output = super::hingeline(at.parent().expect("above"), &["serve", "--port", "0"]);
    assert_eq!(output.status.code(), Some(2), "no logbook");
}
