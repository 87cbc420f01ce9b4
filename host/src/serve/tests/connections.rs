//! How connections live and end.

use super::wait_for;
use crate::serve::Stop;
use crate::serve::listen::{MOST_CONNECTIONS, serve_within};
use axum::Router;
use axum::body::Body;
use axum::routing::get;
use futures_util::stream;
use std::convert::Infallible;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

const IDLE: Duration = Duration::from_millis(400);
/// The end is promised within 5 s; the grace for answers under way is 1.5 s.
const MOST_TO_END: Duration = Duration::from_secs(3);

/// A server of `/` and of a stream that never ends by itself, on a thread of its own.
struct Server {
    at: SocketAddr,
    stop: Stop,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Server {
    fn start() -> Self {
        let (stop, (send, receive)) = (Stop::default(), std::sync::mpsc::channel());
        let endless = || async { Body::from_stream(stream::pending::<Result<String, Infallible>>()) };
        let router = Router::new().route("/", get(|| async { "here" })).route("/endless", get(endless));
        let stopped = stop.clone();
        let thread = std::thread::spawn(move || {
            wait_for(async {
                let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
                send.send(listener.local_addr().unwrap()).unwrap();
                serve_within(listener, router, &stopped, IDLE).await;
            });
        });
        Self { at: receive.recv().unwrap(), stop, thread: Some(thread) }
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.at).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
        stream
    }

    fn ask(&self, path: &str) -> TcpStream {
        let mut stream = self.connect();
        write!(stream, "GET {path} HTTP/1.1\r\nhost: x\r\n\r\n").unwrap();
        stream
    }

    fn end(&mut self) -> Duration {
        let from = Instant::now();
        self.stop.ask();
        self.thread.take().unwrap().join().unwrap();
        from.elapsed()
    }
}

/// Everything until the other end closes.
fn rest(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    stream.read_to_end(&mut bytes).unwrap();
    String::from_utf8_lossy(&bytes).into_owned()
}

fn head(stream: &mut TcpStream) -> String {
    let mut bytes = [0; 512];
    let count = stream.read(&mut bytes).unwrap();
    String::from_utf8_lossy(&bytes[..count]).into_owned()
}

#[test]
fn silent_and_slow_callers_are_let_go() {
    let mut server = Server::start();
    for sent in ["", "GET / HTTP/1.1\r\nhost:", "GET / HTTP/1.1\r\nhost: x\r\n\r\n"] {
        let mut stream = server.connect();
        let from = Instant::now();
        stream.write_all(sent.as_bytes()).unwrap();
        let heard = rest(&mut stream);
        assert!(from.elapsed() >= IDLE / 2 && from.elapsed() < 5 * IDLE, "{sent:?}: {:?}", from.elapsed());
        assert_eq!(heard.ends_with("here"), sent.ends_with("\r\n\r\n"), "{heard}");
    }
    server.end();
}

#[test]
fn garbage_is_answered_and_let_go() {
    let mut server = Server::start();
    let long = format!("GET /{} HTTP/1.1\r\nhost: x\r\n\r\n", "x".repeat(900_000));
    let many = format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(100));
    for (sent, status) in [("\0\x01\x02 HTTP\r\n\r\n", "400"), (long.as_str(), "431"), (many.as_str(), "431")]
    {
        let mut stream = server.connect();
        // The other end may close before it has taken all.
        let _ = stream.write_all(sent.as_bytes());
        let told = head(&mut stream);
        assert!(told.starts_with(&format!("HTTP/1.1 {status}")), "{status}: {told}");
    }
    server.end();
}

#[test]
fn too_many_connections_are_told_so_and_others_go_on() {
    let mut server = Server::start();
    let mut streams: Vec<TcpStream> = (0..MOST_CONNECTIONS).map(|_| server.ask("/endless")).collect();
    assert!(streams.iter_mut().all(|s| head(s).starts_with("HTTP/1.1 200")));
    assert!(head(&mut server.connect()).starts_with("HTTP/1.1 503"));
    drop(streams);
    let from = Instant::now();
    while !rest(&mut server.ask("/")).ends_with("here") {
        assert!(from.elapsed() < MOST_TO_END, "places of callers who left are free again");
    }
    server.end();
}

#[test]
fn the_end_comes_with_open_streams_and_idle_connections() {
    let mut server = Server::start();
    let mut open: Vec<TcpStream> = (0..20).map(|_| server.ask("/endless")).collect();
    assert!(open.iter_mut().all(|s| head(s).starts_with("HTTP/1.1 200")));
    let _idle: Vec<TcpStream> = (0..20).map(|_| server.connect()).collect();
    let took = server.end();
    assert!(took < MOST_TO_END, "{took:?}");
}
