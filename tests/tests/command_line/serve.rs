//! The web page as a browser meets it: plain HTTP to the address that the program prints.

use super::done;
use super::journey::still_table;
use hingeline_tests::Running;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

/// What is promised of the end.
const ENDS_WITHIN: Duration = Duration::from_secs(5);

/// The program serving a logbook on a port of its own.
pub struct Server {
    running: Running,
    /// Host and port, as the program printed them.
    pub host: String,
}

impl Server {
    pub fn start(at: &Path) -> Self {
        let running = Running::start(at, &["serve", "--port", "0"]);
        let first = &running.first_line;
        let host = first.strip_prefix("http://").and_then(|rest| rest.strip_suffix('/'));
        let host = host.unwrap_or_else(|| panic!("no address: {first:?}")).to_owned();
        assert!(host.starts_with("127.0.0.1:"), "{host}");
        Self { running, host }
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
        let pid = rustix::process::Pid::from_child(self.running.child());
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).expect("it lives");
        let status = self.running.wait();
        assert!(status.success(), "{status}");
        from.elapsed()
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

/// The page's own token, as its script reads it.
fn page_token(page: &str) -> &str {
    let rest = page.split_once("name=\"page-token\" content=\"").expect("a token").1;
    rest.split('"').next().expect("its end")
}

impl Server {
    /// What a page's script sends; the answer must be good.
    fn post(&self, token: &str, path: &str, body: &str) {
        let (head, answer) = self.send(&format!(
            "POST {path} HTTP/1.1\r\nhost: {0}\r\norigin: http://{0}\r\nx-page-token: {token}\r\ncontent-type: application/json\r\n\
             content-length: {1}\r\nconnection: close\r\n\r\n{body}",
            self.host,
            body.len()
        ));
        assert!(head.starts_with("HTTP/1.1 200"), "{path}: {head}\n{answer}");
    }

    /// The updates of a recording as a page hears them.
    fn updates(&self) -> BufReader<TcpStream> {
        let mut stream = TcpStream::connect(&self.host).expect("it listens");
        write!(stream, "GET /record/events HTTP/1.1\r\nhost: {}\r\n\r\n", self.host).expect("sent");
        stream.set_read_timeout(Some(PATIENCE)).expect("set");
        BufReader::new(stream)
    }
}

/// How long a word from the program is waited for, on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);
/// Pages that watch and read nothing.
const SLOW_PAGES: usize = 50;
const PLAN: &str = "still,bounce,ramp left,ramp right";

/// States of a recording, until one fits.
fn wait_for(updates: &mut impl BufRead, fits: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
    let mut line = String::new();
    let from = Instant::now();
    let mut last = serde_json::Value::Null;
    while from.elapsed() < PATIENCE {
        line.clear();
        assert!(updates.read_line(&mut line).expect("a line") > 0, "the stream ended");
        let told = line.strip_prefix("data: ").and_then(|data| serde_json::from_str(data).ok());
        let Some(told) = told.filter(serde_json::Value::is_object) else { continue };
        if fits(&told) {
            return told;
        }
        last = told;
    }
    panic!("never said; last: {last}");
}

#[cfg(unix)]
#[test]
fn a_test_is_recorded_from_the_page_while_fifty_pages_lag() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    done(at, &["init", "."]);
    done(at, &["new", "double-triangulated-four-link", "Bramble"]);
    let rig = Running::start(at, &["simulate", "Bramble/vehicle.toml", "--speed", "10", "--plan", PLAN]);
    let server = Server::start(at);
    let token = page_token(&server.get("/record")).to_owned();
    let _slow: Vec<_> = (0..SLOW_PAGES).map(|_| server.updates()).collect();
    let mut updates = server.updates();
    let start = format!(
        "{{\"vehicle\":\"Bramble\",\"port\":\"{}\",\"plan\":\"{PLAN}\",\"ramp_angle_deg\":20,\"notes\":\"from the page\"}}",
        rig.first_line
    );
    server.post(&token, "/record/start", &start);
    let still = wait_for(&mut updates, |told| told["course"] == "records");
    assert_eq!(still["headline"], "Still");
    server.post(&token, "/record/command", "{\"do\":\"note\",\"text\":\"a gust\"}");
    wait_for(&mut updates, |told| told["headline"] == "Bounce");
    let ramp = wait_for(&mut updates, |told| told["headline"] == "Ramp left");
    assert!(ramp["instruction"].as_str().is_some_and(|text| text.contains("up the ramp")), "{ramp}");
    assert!(ramp["sensors"].as_array().is_some_and(|all| all.iter().all(|s| s["silent"] == false)), "{ramp}");
    let over = wait_for(&mut updates, |told| told["course"] == "over");
    drop(rig);
    assert!(over["instruction"].as_str().is_some_and(|text| text.contains(", 0 lost")), "{over}");
    let page = over["page"].as_str().expect("the run's page").to_owned();
    assert!(server.get(&page).contains("from the page"));
    let took = server.end();
    assert!(took < ENDS_WITHIN, "{took:?}");
    let run = page.rsplit('/').next().expect("a name");
    let marks =
        std::fs::read_to_string(at.join("Bramble/runs").join(run).join("marks.jsonl")).expect("marks");
    assert!(marks.contains("a gust") && marks.contains("the plan is done"), "{marks}");
}
