//! The drawing board over HTTP: what is drawn, what a hand gets back, how long it waits.

use super::{HOST, LOCAL, Served, read, wait_for};
use axum::body::Body;
use axum::http::{Request, StatusCode};
use serde_json::Value;
use std::time::{Duration, Instant};

/// From drag to redrawn numbers 16 ms are promised of a release build; a build for tests is let be four times slower. A third
/// is left to the browser.
const MOST: Duration = Duration::from_millis(if cfg!(debug_assertions) { 64 } else { 11 });
const TRIES: usize = 20;

async fn redraw(served: &Served, body: &str) -> (StatusCode, Value) {
    let request = Request::post("/design/Bramble/redraw")
        .header("host", HOST)
        .header("x-page-token", served.page_token())
        .header("content-type", "application/json")
        .body(Body::from(body.to_owned()))
        .unwrap();
    let (status, text) = read(served.answer(LOCAL, request).await).await;
    (status, serde_json::from_str(&text).unwrap_or(Value::String(text)))
}

const MOVED: &str = r#"{"axle":0,"changes":[{"handle":0,"hole":0,"offset_m":[0.01,0.0,0.02]}],"heave_m":0.02,"roll_rad":0.1}"#;

#[test]
fn the_board_shows_every_point_and_a_moved_one_redraws_everything() {
    let served = Served::new();
    wait_for(async {
        let (status, list) = served.get("/design").await;
        assert!(status == 200 && list.contains("/design/Bramble"), "{list}");
        let (status, page) = served.get("/design/Bramble").await;
        assert_eq!(status, 200, "{page}");
        for part in
            ["Lower left and lower right", "Chassis end", "hole 2 (as drawn)", "To write into vehicle.toml"]
        {
            assert!(page.contains(part), "{part}");
        }
        assert_eq!(served.get("/design/Bramble?axle=7").await.0, 422);
        let (status, now) = redraw(&served, MOVED).await;
        assert_eq!(status, 200, "{now}");
        let text = |key: &str| now[key].as_str().unwrap_or_default().to_owned();
        assert!(text("numbers").contains("class=\"by\"") && text("first").contains("Anti-squat"), "{now}");
        assert_eq!(now["drawings"].as_array().map(Vec::len), Some(3));
        let model: Value = serde_json::from_str(&text("model")).unwrap();
        let looks: Vec<&str> =
            model["lines"].as_array().unwrap().iter().filter_map(|l| l["look"].as_str()).collect();
        assert!(looks.contains(&"now") && looks.contains(&"drawn"), "{looks:?}");
        let (_, rests) = redraw(&served, &MOVED.replace("\"axle\":0", "\"axle\":0,\"rests\":true")).await;
        assert!(rests["numbers"].as_str().unwrap().contains('±'), "the ± comes when the hand rests");
        assert!(!text("numbers").contains("\u{a0}±"), "and not while it moves");
    });
}

#[test]
fn what_cannot_be_drawn_is_told_in_words() {
    let served = Served::new();
    wait_for(async {
        for (body, status, says) in [
            (MOVED.replace("0.02]", "0.9]"), 422, "150 mm"),
            (MOVED.replace("\"handle\":0", "\"handle\":99"), 422, "no such point"),
            (MOVED.replace("\"axle\":0", "\"axle\":9"), 422, "no such point"),
            (MOVED.replace("\"hole\"", "\"whole\""), 422, "whole"),
        ] {
            let (code, told) = redraw(&served, &body).await;
            let text = told["sentence"].as_str().map_or_else(|| told.to_string(), str::to_owned);
            assert!(code == status && text.contains(says), "{body}: {code} {told}");
        }
    });
}

#[test]
fn a_changed_file_is_read_again() {
    let served = Served::new();
    let file = served.folder.path().join("Bramble/vehicle.toml");
    wait_for(async {
        let before = redraw(&served, MOVED).await.1;
        let text = std::fs::read_to_string(&file).unwrap();
        std::fs::write(&file, text.replace("track = 1600", "track = 1500 ")).unwrap();
        assert_ne!(redraw(&served, MOVED).await.1["drawings"], before["drawings"]);
        std::fs::write(&file, "format = 1\nnam = 3\n").unwrap();
        assert_eq!(redraw(&served, MOVED).await.0, 422);
    });
}

#[test]
fn numbers_follow_a_hand() {
    let served = Served::new();
    wait_for(async {
        redraw(&served, MOVED).await;
        let mut quickest = Duration::MAX;
        for _ in 0..TRIES {
            let from = Instant::now();
            assert_eq!(redraw(&served, MOVED).await.0, 200);
            quickest = quickest.min(from.elapsed());
        }
        assert!(quickest < MOST, "{quickest:?}");
    });
}
