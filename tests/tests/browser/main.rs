//! The web page in a real browser: a test is recorded from it, numbers settle, a run is compared, a point is moved; on a phone's
//! width, a tablet's, a desk's and on paper; by whoever uses a keyboard or a screen reader.
//!
//! `tests/run` installs the browser and its driver and says so by `HINGELINE_BROWSER`; without that a machine that has none
//! leaves this test out. `HINGELINE_PICTURES` names a folder for pictures of every page, to be looked at.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, reason = "tests")]

mod driver;
mod workshop;

use driver::Browser;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};
use workshop::Workshop;

/// What pages must bear, CSS px: a phone, a tablet, a desk.
const WIDTHS: [(u32, u32); 3] = [(360, 740), (768, 1024), (1440, 900)];
/// How long anything on a page is waited for, on a busy machine.
const PATIENCE: Duration = Duration::from_secs(90);
/// From drag to redrawn numbers: a frame of a screen, 16 ms, is promised of a release build on a machine that does nothing else;
/// a build for tests computes about ten times longer.
const MOST_MS: f64 = if cfg!(debug_assertions) { 160.0 } else { 16.0 };
/// Steps of a slider by which that is measured at each width.
const STEPS: usize = 45;

const CHECKS: &str = include_str!("checks.js");

fn there() -> bool {
    let promised = std::env::var_os("HINGELINE_BROWSER").is_some();
    let there = Command::new("chromedriver").arg("--version").output().is_ok();
    assert!(there || !promised, "chromedriver is missing");
    there
}

/// Waits until a script gives something that is true.
fn wait(browser: &Browser, what: &str, script: &str) -> Value {
    let from = Instant::now();
    loop {
        let value = browser.run(script);
        if value != Value::Null && value != json!(false) && value != json!("") {
            return value;
        }
        assert!(from.elapsed() < PATIENCE, "{what}: {}", browser.run("return document.body.innerText"));
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Looks at the page at every width and on paper: faults for who has no eyes or no mouse, and what does not fit.
fn look(browser: &Browser, name: &str) {
    for (width, height) in WIDTHS {
        browser.resize(width, height);
        let faults = browser.run(CHECKS);
        assert_eq!(faults, json!([]), "{name} at {width} px: {faults:#}");
        if let Some(folder) = std::env::var_os("HINGELINE_PICTURES") {
            std::fs::write(Path::new(&folder).join(format!("{name}-{width}.png")), browser.picture())
                .unwrap();
        }
    }
    let paper = browser.paper();
    assert!(paper.starts_with(b"%PDF"), "{name} prints");
    if let Some(folder) = std::env::var_os("HINGELINE_PICTURES") {
        std::fs::write(Path::new(&folder).join(format!("{name}.pdf")), paper).unwrap();
    }
}

/// Records a test from the page; gives the address of its run.
fn record(browser: &Browser, workshop: &Workshop) -> String {
    browser.open(&format!("{}record", workshop.address));
    look(browser, "record-before");
    browser.click("input[name=read]");
    browser.run("document.querySelector('input[name=port]').value = ''");
    browser.keys("input[name=port]", &workshop.port);
    browser.keys("input[name=plan]", workshop::PLAN);
    browser.keys("input[name=ramp_angle_deg]", "20");
    browser.click("#start button");
    wait(browser, "it begins", "return document.body.dataset.course === 'records'");
    browser.keys("#note-form input", "a gust");
    browser.click("#note-form button");
    wait(browser, "the first numbers", "return document.querySelectorAll('#numbers td').length > 0");
    look(browser, "record-during");
    let settled = "return document.querySelectorAll('#numbers tr[data-settled=true]').length";
    wait(browser, "some numbers settle", settled);
    wait(browser, "it ends", "return document.body.dataset.course === 'over'");
    let before = browser.run(settled).as_u64().unwrap();
    // The last measuring takes in the whole run.
    wait(browser, "the numbers of the whole run", &format!("{settled} >= Math.max(8, {before})"));
    look(browser, "record-after");
    let page = browser.run("return document.getElementById('run-page').href");
    browser.click("#run-page");
    page.as_str().unwrap().to_owned()
}

/// Turns the axle in space by keyboard, and by its buttons.
fn turn(browser: &Browser) {
    let shown = "return document.querySelector('.turn svg').innerHTML";
    let before = wait(browser, "the axle in space", shown);
    browser.run("document.querySelector('.stage').focus()");
    browser.keys(".stage", "\u{e012}\u{e012}+");
    let turned = browser.run(shown);
    assert_ne!(turned, before, "arrow keys turn it");
    browser.click("button[data-view=plan]");
    assert_ne!(browser.run(shown), turned, "buttons turn it");
    browser.drag(".stage", 60, 25);
    assert_ne!(browser.run(shown), turned, "a mouse turns it");
}

/// Drags a slider at a width and holds how long the numbers take to what is promised: nine of ten come in time. Says what it was.
fn drag(browser: &Browser, width: u32, height: u32) -> String {
    browser.resize(width, height);
    browser.run("document.getElementById('board').dataset.tookMs = ''");
    for step in 0..STEPS {
        // To and fro, so that the range never ends; arrow keys move a slider as a hand does.
        browser.keys("#h0-2", if step % 20 < 10 { "\u{e014}" } else { "\u{e012}" });
        std::thread::sleep(Duration::from_millis(40));
    }
    let took = browser.run("return document.getElementById('board').dataset.tookMs");
    let mut took: Vec<f64> = took.as_str().unwrap().split(' ').map(|ms| ms.parse().unwrap()).collect();
    took.sort_by(f64::total_cmp);
    assert!(took.len() > STEPS / 2, "most steps are answered one by one: {took:?}");
    let (median, ninth) = (took[took.len() / 2], took[took.len() * 9 / 10]);
    let told = format!("at {width} px half of them within {median:.1} ms, nine of ten within {ninth:.1} ms");
    assert!(ninth < MOST_MS, "{told}: {took:?}");
    told
}

/// Moves a point by keyboard; the numbers follow, soon enough.
fn design(browser: &Browser, workshop: &Workshop) {
    browser.open(&format!("{}design/Bramble", workshop.address));
    look(browser, "design");
    turn(browser);
    let numbers = "return document.getElementById('numbers').innerText";
    let drawn = browser.run(numbers);
    let took: Vec<String> = WIDTHS.map(|(width, height)| drag(browser, width, height)).to_vec();
    println!("from drag to redrawn numbers: {}", took.join("; "));
    wait(
        browser,
        "the sentence for who does not see it",
        "return document.getElementById('told').textContent",
    );
    assert_ne!(browser.run(numbers), drawn);
    let written = browser.run("return document.getElementById('to-write').innerText");
    assert!(written.as_str().is_some_and(|text| text.contains("chassis end")), "{written}");
    look(browser, "design-moved");
    browser.run("scrollTo(0, 0)");
    browser.click("#back-to-drawing");
    wait(browser, "back at the drawing", "return document.getElementById('to-write').children.length === 0");
}

#[test]
fn a_builder_records_compares_and_tries_a_hole() {
    if !there() {
        return;
    }
    let workshop = Workshop::open();
    let browser = Browser::start();
    let run = record(&browser, &workshop);
    wait(&browser, "the run's page", "return document.querySelector('h1.verdict') !== null");
    turn(&browser);
    look(&browser, "run");
    workshop.copy_run(&run);
    browser.open(&run);
    browser.click("form[action='/compare'] button");
    wait(&browser, "two runs", "return document.body.innerText.includes('First run')");
    look(&browser, "compare");
    design(&browser, &workshop);
    for (name, path) in [
        ("runs", ""),
        ("wear", "wear"),
        ("wear-one", "wear/Bramble"),
        ("which-drawing", "design"),
        ("nothing", "nope"),
    ] {
        browser.open(&format!("{}{path}", workshop.address));
        let measured = "return !document.body.innerText.includes('being measured')";
        wait(&browser, "the runs are measured", measured);
        look(&browser, name);
    }
    browser.open(&workshop.address);
    browser.keys("body", "\u{e004}");
    let focus = browser.run(
        "const e = document.activeElement; return [e.textContent, parseFloat(getComputedStyle(e).outlineWidth)]",
    );
    assert_eq!(focus[0], "Skip to the content");
    assert!(focus[1].as_f64().is_some_and(|px| px >= 2.0), "what has the focus is seen: {focus}");
    // The page that is not there is the one thing that a browser may complain of.
    let complaints: Vec<String> =
        browser.complaints().into_iter().filter(|text| !text.contains("/nope")).collect();
    assert!(complaints.is_empty(), "{complaints:#?}");
}
