//! Who gets in, and what is refused: a table of attempts and answers.

use super::{HERE, HOST, LOCAL, Notice, PHONE, PORT, Served, read, wait_for};
use crate::serve::entry::{COOKIE, invite};
use crate::serve::guard::MOST_BYTES;
use axum::body::Body;
use axum::http::Request;
use std::net::IpAddr;

/// From whom, method, path, headers, and the status that it gets.
type Attempt<'a> = (IpAddr, &'a str, &'a str, &'a [(&'a str, &'a str)], u16);

async fn status(served: &Served, (peer, method, path, headers, _): &Attempt<'_>) -> u16 {
    let mut request = Request::builder().method(*method).uri(*path);
    for (name, value) in *headers {
        request = request.header(*name, *value);
    }
    served.answer(*peer, request.body(Body::empty()).unwrap()).await.status().as_u16()
}

#[test]
fn attempts_get_the_answers_that_they_should() {
    let served = Served::new();
    let (host, own) = (("host", HOST), ("origin", "http://127.0.0.1:8480"));
    let here = format!("{HERE}:{PORT}");
    let lan = ("host", here.as_str());
    let token = served.page_token();
    let good = ("x-page-token", token.as_str());
    let attempts: [Attempt; 33] = [
        // Names of this server, and of others: a name that was made to point here is no name of it.
        (LOCAL, "GET", "/", &[host], 200),
        (LOCAL, "GET", "/", &[("host", "localhost:8480")], 200),
        (LOCAL, "GET", "/", &[], 421),
        (LOCAL, "GET", "/", &[("host", "rebound.example:8480")], 421),
        (LOCAL, "GET", "/", &[("host", "127.0.0.1")], 421),
        (LOCAL, "GET", "/", &[("host", "127.0.0.1:80")], 421),
        (LOCAL, "GET", "/", &[("host", "127.0.0.1:8480.rebound.example")], 421),
        (LOCAL, "GET", "/", &[host, ("host", "rebound.example")], 421),
        (LOCAL, "GET", "http://rebound.example/", &[host], 421),
        (PHONE, "GET", "/enter", &[("host", "localhost:8480")], 421),
        // Other sites' pages.
        (LOCAL, "GET", "/", &[host, ("origin", "http://other.example")], 403),
        (LOCAL, "GET", "/", &[host, ("origin", "null")], 403),
        (LOCAL, "GET", "/", &[host, ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "no-cors")], 403),
        (LOCAL, "GET", "/", &[host, ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "navigate")], 200),
        (LOCAL, "POST", "/nowhere", &[host, ("origin", "http://other.example"), good], 403),
        (LOCAL, "POST", "/nowhere", &[host, ("origin", "http://localhost:8480"), good], 403),
        (LOCAL, "POST", "/nowhere", &[host, good, ("sec-fetch-site", "same-site")], 403),
        // What changes something carries the page's token.
        (LOCAL, "POST", "/nowhere", &[host, own], 403),
        (LOCAL, "POST", "/nowhere", &[host, own, ("x-page-token", "")], 403),
        (LOCAL, "POST", "/nowhere", &[host, own, ("x-page-token", "00000000000000000000000000000000")], 403),
        (LOCAL, "DELETE", "/nowhere", &[host, own], 403),
        (LOCAL, "POST", "/nowhere", &[host, own, good], 404),
        (LOCAL, "POST", "/", &[host, own, good], 405),
        // Paths that would lead out of the logbook.
        (LOCAL, "GET", "/run/..%2f..%2fetc/passwd", &[host], 404),
        (LOCAL, "GET", "/run/Bramble/..%2f..%2fvehicle.toml", &[host], 404),
        (LOCAL, "GET", "/run/Bramble/%2fetc%2fpasswd", &[host], 404),
        (LOCAL, "GET", "/wear/..", &[host], 404),
        (LOCAL, "GET", "/assets/..%2fpage.css", &[host], 404),
        (LOCAL, "GET", "/compare?vehicle=Bramble&first=../../x&second=%2fetc", &[host], 404),
        // Other devices.
        (PHONE, "GET", "/", &[lan], 401),
        (PHONE, "GET", "/enter?token=00000000000000000000000000000000", &[lan], 401),
        (PHONE, "GET", "/", &[lan, ("cookie", "hingeline-device=00000000000000000000000000000000")], 401),
        (PHONE, "GET", "/assets/page.css", &[lan], 401),
    ];
    wait_for(async {
        for attempt in &attempts {
            assert_eq!(status(&served, attempt).await, attempt.4, "{attempt:?}");
        }
    });
}

#[test]
fn a_token_lets_one_device_in_once() {
    let served = Served::new();
    invite(&served.app);
    let told = |served: &Served| match served.told.lock().unwrap().last() {
        Some(Notice::Invitation { address: Some(address), token }) => (address.clone(), token.clone()),
        other => panic!("{other:?}"),
    };
    let (address, token) = told(&served);
    assert_eq!(address, format!("http://{HERE}:{PORT}/enter?token={token}"));
    let lan = format!("{HERE}:{PORT}");
    let get = |path: &str, cookie: &str| {
        Request::get(path).header("host", &lan).header("cookie", cookie).body(Body::empty()).unwrap()
    };
    wait_for(async {
        let path = format!("/enter?token={token}");
        let entered = served.answer(PHONE, get(&path, "")).await;
        assert_eq!(entered.status().as_u16(), 303);
        let cookie = entered.headers()["set-cookie"].to_str().unwrap().to_owned();
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
        let pair = cookie.split(';').next().unwrap();
        assert!(pair.starts_with(COOKIE));
        assert_eq!(served.answer(PHONE, get("/", pair)).await.status().as_u16(), 200);
        assert_eq!(served.answer(PHONE, get("/", &format!("a=b; {pair}"))).await.status().as_u16(), 200);
        assert_eq!(served.answer(PHONE, get(&path, "")).await.status().as_u16(), 401, "used before");
        let (_, next) = told(&served);
        assert_ne!(next, token, "there is one for the next device");
    });
}

#[test]
fn whoever_is_refused_learns_no_token() {
    let served = Served::new();
    wait_for(async {
        let request = Request::get("/").header("host", "rebound.example").body(Body::empty()).unwrap();
        let (_, page) = read(served.answer(LOCAL, request).await).await;
        assert!(!page.contains(&served.page_token()) && page.contains("Use the address"), "{page}");
        let (_, page) = served.get("/").await;
        assert!(page.contains(&served.page_token()));
    });
}

#[test]
fn large_bodies_are_refused() {
    let served = Served::new();
    let post = |bytes: usize| {
        Request::post("/nowhere")
            .header("host", HOST)
            .header("x-page-token", served.page_token())
            .body(Body::from(vec![b'x'; bytes]))
            .unwrap()
    };
    wait_for(async {
        assert_eq!(served.answer(LOCAL, post(MOST_BYTES)).await.status().as_u16(), 404);
        assert_eq!(served.answer(LOCAL, post(MOST_BYTES + 1)).await.status().as_u16(), 413);
    });
}

#[test]
fn every_answer_carries_the_policy() {
    let served = Served::new();
    wait_for(async {
        for (path, host) in
            [("/", HOST), ("/nope", HOST), ("/assets/page.css", HOST), ("/", "rebound.example")]
        {
            let request = Request::get(path).header("host", host).body(Body::empty()).unwrap();
            let answer = served.answer(LOCAL, request).await;
            let policy = answer.headers()["content-security-policy"].to_str().unwrap();
            assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
            assert_eq!(answer.headers()["x-content-type-options"], "nosniff");
            assert!(answer.headers().contains_key("cache-control"));
        }
    });
}
