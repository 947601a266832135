//! A desk to test: the program itself, serving a temporary shelf, and plain HTTP requests to it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// A running desk; it ends with the test.
pub struct Desk {
    program: Child,
    /// The address that was printed, with the key.
    pub address: String,
    /// What was printed with it.
    pub greeting: String,
    /// The port.
    pub port: u16,
    /// The shelf.
    pub folder: tempfile::TempDir,
    /// Its temporary files.
    pub temporary: tempfile::TempDir,
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// A response.
pub struct Answered {
    /// The HTTP status.
    pub status: u16,
    /// The head, as it came.
    pub head: String,
    /// The body.
    pub body: Vec<u8>,
}

impl Answered {
    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or(Value::Null)
    }
}

/// Sends a raw request to a port of this machine and reads the response: as much as its head says, or all until the
/// connection closes.
pub fn exchange(port: u16, request: &str, body: &[u8]) -> Answered {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
    // The server may answer and close before it has read everything.
    let _ = stream.write_all(request.as_bytes()).and_then(|()| stream.write_all(body));
    let mut stream = BufReader::new(stream);
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") && stream.read_line(&mut head).is_ok_and(|bytes| bytes > 0) {}
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    let length =
        head.to_lowercase().lines().find_map(|l| l.strip_prefix("content-length:")?.trim().parse().ok());
    let mut body = Vec::new();
    let _ = stream.take(length.unwrap_or(u64::MAX)).read_to_end(&mut body);
    Answered { status, head, body }
}

/// The greeting of an open desk, and its address.
fn greeted(program: &mut Child, options: &[&str]) -> Option<(String, String)> {
    let mut lines = BufReader::new(program.stdout.take().unwrap()).lines().map_while(Result::ok);
    let last = if options.contains(&"--let-in") { "only in a network" } else { "Press Ctrl-C" };
    let mut greeting = String::new();
    while !greeting.contains(last) {
        greeting += &lines.next()?;
        greeting.push('\n');
    }
    let address = greeting.lines().find(|l| l.trim().starts_with("http://"))?.trim().to_owned();
    Some((greeting, address))
}

impl Desk {
    /// Starts one.
    pub fn start() -> Self {
        Self::start_with(&[]).expect("the desk opens")
    }

    /// Starts one with further options; `None` if it refuses to start.
    pub fn start_with(options: &[&str]) -> Option<Self> {
        Self::spawn(&[options, &["--no-open"]].concat(), None)
    }

    /// Starts one that opens the browser with the programs in a folder.
    pub fn start_opening(programs: &Path) -> Self {
        Self::spawn(&[], Some(programs)).expect("the desk opens")
    }

    fn spawn(options: &[&str], path: Option<&Path>) -> Option<Self> {
        let (folder, temporary) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let mut command = Command::new(env!("CARGO_BIN_EXE_seatspan"));
        command.arg("desk").args(options).arg(folder.path()).env("TMPDIR", temporary.path());
        if let Some(path) = path {
            command.env("PATH", path);
        }
        let mut program = command.stdout(Stdio::piped()).spawn().unwrap();
        let Some((greeting, address)) = greeted(&mut program, options) else {
            let _ = program.wait();
            return None;
        };
        let port = address.split([':', '/']).find_map(|part| part.parse().ok()).unwrap();
        Some(Self { program, address, greeting, port, folder, temporary })
    }

    /// The process id.
    pub fn pid(&self) -> u32 {
        self.program.id()
    }

    /// The key of the address.
    pub fn key(&self) -> &str {
        self.address.rsplit_once("key=").unwrap().1
    }

    /// The desk's own name.
    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// Kills the program as a machine that loses power would.
    pub fn kill(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }

    /// Sends a raw request and reads the response.
    pub fn raw(&self, head: &str, body: &[u8]) -> Answered {
        exchange(self.port, head, body)
    }

    /// Sends a request as the desk's own page does.
    pub fn ask(&self, method: &str, path: &str, body: &[u8]) -> Answered {
        self.raw(
            &format!(
                "{method} {path} HTTP/1.0\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: seatspan-{}={}\r\n\
                 Content-Length: {}\r\nConnection: close\r\n\r\n",
                self.port,
                self.key(),
                body.len(),
                host = self.host(),
            ),
            body,
        )
    }

    /// Uploads a photo; returns its id.
    pub fn lay(&self, name: &str, bytes: &[u8]) -> u64 {
        let answered = self.ask("POST", &format!("/api/photos?name={name}"), bytes);
        assert_eq!(answered.status, 200, "{}", answered.head);
        answered.json()["id"].as_u64().unwrap()
    }

    /// Waits until a photo is measured or refused.
    pub fn measured(&self, id: u64) -> Value {
        let began = Instant::now();
        loop {
            let photo = self.ask("GET", &format!("/api/photos/{id}"), b"").json();
            if photo["stage"] == "measured" || photo["stage"] == "refused" {
                return photo;
            }
            assert!(began.elapsed() < Duration::from_secs(240), "still {}", photo["stage"]);
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

/// The demo photo: a saddle whose true widths are in fixtures/demo/README.md.
pub fn demo(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo").join(name)).unwrap()
}
