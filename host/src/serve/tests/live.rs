//! Streams of updates: many readers, one of them slow, and the end.

use super::{HOST, Served, read, wait_for};
use crate::serve::Stop;
use crate::serve::desk::Desk;
use crate::serve::listen::serve;
use crate::serve::record::updates;
use crate::show::page::Told;
use axum::Router;
use axum::body::Body;
use axum::http::Request;
use axum::response::sse::Sse;
use axum::routing::get;
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::{Duration, Instant};

const READERS: usize = 50;
const UPDATES: usize = 3000;
/// Bytes of an update: a page of sensors. All updates together are more than any socket holds for a reader who does not read.
const SIZE: usize = 8000;
/// What one update may cost whoever records, on a busy machine; it is a copy and 50 wake-ups.
const MOST_EACH: Duration = Duration::from_millis(2);

/// The desk's updates behind a socket.
fn served(desk: &Arc<Desk>, stop: &Stop) -> (SocketAddr, std::thread::JoinHandle<()>) {
    let (send, receive) = std::sync::mpsc::channel();
    let (desk, stop) = (desk.clone(), stop.clone());
    let thread = std::thread::spawn(move || {
        wait_for(async {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
            send.send(listener.local_addr().unwrap()).unwrap();
            let stopped = stop.clone();
            let events = move || {
                let stream = updates(&desk, stopped.clone());
                async { Sse::new(stream) }
            };
            serve(listener, Router::new().route("/", get(events)), &stop).await;
        });
    });
    (receive.recv().unwrap(), thread)
}

fn listen(at: SocketAddr) -> BufReader<TcpStream> {
    let mut stream = TcpStream::connect(at).unwrap();
    write!(stream, "GET / HTTP/1.1\r\nhost: x\r\n\r\n").unwrap();
    let mut reader = BufReader::new(stream);
    // The first update says where things are: whoever has it is listening.
    let mut line = String::new();
    while !line.starts_with("event: numbers") {
        line.clear();
        assert!(reader.read_line(&mut line).unwrap() > 0);
    }
    reader
}

/// Updates heard and updates told to be missed, until the stream ends.
fn count(reader: BufReader<TcpStream>) -> (usize, usize) {
    let (mut heard, mut missed, mut told_missed) = (0, 0, false);
    for line in reader.lines().map_while(Result::ok) {
        heard += usize::from(line == "event: state");
        if let Some(n) = line.strip_prefix("data: ").filter(|_| told_missed) {
            missed += n.parse::<usize>().unwrap();
        }
        told_missed = line == "event: missed";
    }
    (heard, missed)
}

#[test]
fn fifty_readers_hear_or_are_told_what_they_missed_and_none_slows_the_recording() {
    let (desk, stop) = (Arc::<Desk>::default(), Stop::default());
    let (at, server) = served(&desk, &stop);
    let slow = listen(at);
    let quick: Vec<_> = (1..READERS).map(|_| listen(at)).map(|r| std::thread::spawn(|| count(r))).collect();
    let told = Told { counts: "x".repeat(SIZE), ..Told::nothing() };
    let mut spent = Duration::ZERO;
    for _ in 0..UPDATES {
        let from = Instant::now();
        desk.tell(&told);
        spent += from.elapsed();
        std::thread::sleep(Duration::from_micros(300));
    }
    assert!(spent < MOST_EACH * UPDATES as u32, "{spent:?} for {UPDATES} updates");
    let slow = std::thread::spawn(|| count(slow));
    // Whoever reads at all has caught up before the streams end.
    std::thread::sleep(Duration::from_secs(2));
    stop.ask();
    server.join().unwrap();
    for reader in quick {
        let (heard, missed) = reader.join().unwrap();
        assert_eq!(heard + missed, UPDATES, "{heard} heard, {missed} told to be missed");
    }
    let (heard, missed) = slow.join().unwrap();
    assert!(missed > 0 && heard + missed == UPDATES, "slow: {heard} heard, {missed} told to be missed");
}

#[test]
fn streams_end_when_the_server_ends() {
    let (desk, stop) = (Arc::<Desk>::default(), Stop::default());
    let (at, server) = served(&desk, &stop);
    let readers: Vec<_> = (0..READERS).map(|_| listen(at)).collect();
    let from = Instant::now();
    stop.ask();
    server.join().unwrap();
    assert!(from.elapsed() < Duration::from_secs(1), "{:?}", from.elapsed());
    readers.into_iter().for_each(|r| assert_eq!(count(r), (0, 0)));
}

#[test]
fn a_recording_that_cannot_begin_says_why_in_words() {
    let served = Served::new();
    let post = |path: &str, body: &str| {
        let token = served.page_token();
        let request = Request::post(path).header("host", HOST).header("x-page-token", token);
        request.header("content-type", "application/json").body(Body::from(body.to_owned())).unwrap()
    };
    let start = |more: &str| format!("{{\"vehicle\":\"Bramble\",\"port\":\"no-such-port\"{more}}}");
    wait_for(async {
        for (path, body, status, says) in [
            ("/record/command", "{\"do\":\"next\"}".to_owned(), 400, "Nothing is being recorded."),
            ("/record/command", "{\"do\":\"dance\"}".to_owned(), 400, "nothing like that"),
            ("/record/command", "{}".to_owned(), 422, "missing field"),
            ("/record/start", "{".to_owned(), 400, "parse"),
            ("/record/start", start(",\"test\":\"jump\""), 400, "no test"),
            ("/record/start", start(",\"plan\":\"still,jump\""), 400, "jump"),
            ("/record/start", start(",\"test\":\"ramp\",\"ramp_angle_deg\":90"), 400, "between 0 and 60"),
            ("/record/start", start(",\"test\":\"rock\",\"load_n\":-5"), 400, "greater than nothing"),
            (
                "/record/start",
                start(",\"test\":\"ramp\"").replace("Bramble", "../Bramble"),
                404,
                "no vehicle",
            ),
            ("/record/start", start(",\"test\":\"ramp\"").replace("no-such-port", " "), 400, "which port"),
        ] {
            let (code, text) = read(served.answer(super::LOCAL, post(path, &body)).await).await;
            assert!(code == status && text.contains(says), "{path} {body}: {code} {text}");
        }
        let begun = served.answer(super::LOCAL, post("/record/start", &start(",\"test\":\"ramp\""))).await;
        assert_eq!(begun.status(), 200, "it begins, and fails on its own thread");
        let (_, mut updates) = served.app.desk.watch();
        let mut said = served.app.desk.watch().0[0].data.clone();
        while !said.contains("\"over\"") {
            said = updates.recv().await.unwrap().data;
        }
        assert!(said.contains("no-such-port") && said.contains("hingeline ports"), "{said}");
    });
}
