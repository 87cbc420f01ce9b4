//! A browser without a window, driven over HTTP (W3C WebDriver, and two commands of Chromium's own driver).

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

/// The name under which WebDriver hands out elements (section 12 of the standard).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// The browser; it ends with this.
pub struct Browser {
    driver: Child,
    host: String,
    session: String,
}

impl Browser {
    pub fn start() -> Self {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the driver starts");
        let mut said = BufReader::new(driver.stdout.take().expect("piped")).lines();
        let port = said.find_map(|line| {
            let line = line.expect("a line");
            line.strip_prefix("ChromeDriver was started successfully on port ")
                .map(|p| p.trim_end_matches('.').to_owned())
        });
        // Whatever it says later has somewhere to go.
        std::thread::spawn(move || said.for_each(drop));
        let mut browser =
            Self { driver, host: format!("127.0.0.1:{}", port.expect("a port")), session: String::new() };
        let options = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--hide-scrollbars",
        ];
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "goog:chromeOptions": { "args": options },
            "goog:loggingPrefs": { "browser": "ALL" },
        } } });
        let session = browser.call("POST", "/session", &wanted);
        browser.session = session["sessionId"].as_str().expect("a session").to_owned();
        browser
    }

    /// One command; gives what stands under `value`.
    fn call(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = if method == "GET" { String::new() } else { body.to_string() };
        let mut stream = TcpStream::connect(&self.host).expect("the driver listens");
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
            self.host,
            body.len()
        )
        .expect("sent");
        let mut answer = BufReader::new(stream);
        let (mut line, mut length) = (String::new(), 0);
        while answer.read_line(&mut line).expect("a head") > 2 {
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().expect("a length");
            }
            line.clear();
        }
        let mut bytes = vec![0; length];
        answer.read_exact(&mut bytes).expect("a body");
        let mut told: Value = serde_json::from_slice(&bytes).expect("JSON");
        assert!(
            told["value"]["error"].is_null(),
            "{method} {path} {body:.300}: {}",
            told["value"]["message"]
        );
        told["value"].take()
    }

    fn post(&self, command: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}/{command}", self.session), body)
    }

    /// Opens a page and waits until it is loaded.
    pub fn open(&self, address: &str) {
        self.post("url", &json!({ "url": address }));
    }

    /// What a script returns.
    pub fn run(&self, script: &str) -> Value {
        self.post("execute/sync", &json!({ "script": script, "args": [] }))
    }

    fn element(&self, selector: &str) -> String {
        let found = self.post("element", &json!({ "using": "css selector", "value": selector }));
        found[ELEMENT].as_str().expect("an element").to_owned()
    }

    /// Clicks where a hand would.
    pub fn click(&self, selector: &str) {
        self.post(&format!("element/{}/click", self.element(selector)), &json!({}));
    }

    /// Types.
    pub fn keys(&self, selector: &str, text: &str) {
        self.post(&format!("element/{}/value", self.element(selector)), &json!({ "text": text }));
    }

    /// Drags with the mouse from the middle of an element.
    pub fn drag(&self, selector: &str, dx: i32, dy: i32) {
        let at = json!({ ELEMENT: self.element(selector) });
        let moved = |origin: Value, x: i32, y: i32| json!({ "type": "pointerMove", "duration": 50, "origin": origin, "x": x, "y": y });
        let button = |what: &str| json!({ "type": what, "button": 0 });
        let steps =
            [moved(at, 0, 0), button("pointerDown"), moved(json!("pointer"), dx, dy), button("pointerUp")];
        self.post("actions", &json!({ "actions": [{ "type": "pointer", "id": "mouse", "actions": steps }] }));
    }

    /// Makes the page so large, CSS px.
    pub fn resize(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.post(
            "goog/cdp/execute",
            &json!({ "cmd": "Emulation.setDeviceMetricsOverride", "params": size }),
        );
    }

    /// The whole page as PNG.
    pub fn picture(&self) -> Vec<u8> {
        let wanted = json!({ "cmd": "Page.captureScreenshot", "params": { "captureBeyondViewport": true, "format": "png" } });
        let taken = self.post("goog/cdp/execute", &wanted);
        decoded(taken["data"].as_str().expect("a picture"))
    }

    /// The page on paper as PDF.
    pub fn paper(&self) -> Vec<u8> {
        decoded(self.post("print", &json!({})).as_str().expect("a document"))
    }

    /// What the browser complained of since the last call.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.post("se/log", &json!({ "type": "browser" }));
        let entries = log.as_array().expect("a log").iter();
        entries.map(|entry| format!("{}: {}", entry["level"], entry["message"])).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver ends its browser when its session ends; after a test that failed it may not be able to.
        let path = format!("/session/{}", self.session);
        if !std::thread::panicking() {
            self.call("DELETE", &path, &json!({}));
        } else if let Ok(mut stream) = TcpStream::connect(&self.host) {
            let _ =
                write!(stream, "DELETE {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\r\n", self.host);
            let _ = stream.read_to_end(&mut Vec::new());
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// Base64 (RFC 4648, section 4).
fn decoded(text: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => u32::from(letter - b'A'),
        b'a'..=b'z' => u32::from(letter - b'a') + 26,
        b'0'..=b'9' => u32::from(letter - b'0') + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = text.bytes().filter(|b| *b != b'=' && !b.is_ascii_whitespace()).collect();
    let mut bytes = Vec::with_capacity(letters.len() * 3 / 4);
    for group in letters.chunks(4) {
        let word = group.iter().enumerate().fold(0, |word, (k, b)| word | value(*b) << (18 - 6 * k));
        bytes.extend(word.to_be_bytes().iter().skip(1).take(group.len() - 1));
    }
    bytes
}
