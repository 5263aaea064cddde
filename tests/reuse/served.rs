//! A served page, asked as a browser asks.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::common::{Bench, Ran, one};

/// A served page, ended when dropped.
pub(crate) struct Page {
    pub(crate) child: Child,
    pub(crate) port: u16,
    pub(crate) token: String,
}

/// An answer: its head and its body.
pub(crate) struct Answer {
    pub(crate) head: String,
    pub(crate) body: String,
    /// The body as it came, where it came in one piece.
    pub(crate) bytes: Vec<u8>,
}

impl Answer {
    pub(crate) fn code(&self) -> u16 {
        self.head.split(' ').nth(1).unwrap().parse().unwrap()
    }
}

impl Page {
    pub(crate) fn serve(bench: &Bench, more: &[&str]) -> Self {
        let mut command = bench.command(&[&["live", "move.lua"], more].concat());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let rest = line.trim().strip_prefix("http://127.0.0.1:").unwrap();
        let (port, token) = rest.split_once("/?token=").unwrap();
        Self { port: port.parse().unwrap(), token: token.to_owned(), child }
    }

    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        stream
    }

    /// Sends exactly these lines.
    pub(crate) fn raw(&self, head: &str) -> Answer {
        let mut stream = self.connect();
        write!(stream, "{head}\r\nConnection: close\r\n\r\n").unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").unwrap();
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Answer { head: text(&bytes[..end]), body: text(&bytes[end + 4..]), bytes: bytes[end + 4..].to_vec() }
    }

    pub(crate) fn host(&self) -> String {
        format!("Host: 127.0.0.1:{}", self.port)
    }

    pub(crate) fn cookie(&self) -> String {
        format!("Cookie: other=1; stillpath-{}={}", self.port, self.token)
    }

    /// As the page itself asks.
    pub(crate) fn get(&self, path: &str) -> Answer {
        self.raw(&format!("GET {path} HTTP/1.1\r\n{}\r\n{}", self.host(), self.cookie()))
    }

    pub(crate) fn view(&self) -> Value {
        let answer = self.get("/view");
        assert_eq!(answer.code(), 200, "{}", answer.body);
        serde_json::from_str(&answer.body).unwrap()
    }

    /// The first view that is as wanted.
    pub(crate) fn view_that(&self, is_wanted: impl Fn(&Value) -> bool) -> Value {
        let start = Instant::now();
        loop {
            let view = self.view();
            if is_wanted(&view) {
                return view;
            }
            assert!(start.elapsed() < Duration::from_secs(20), "never so: {view}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// An open stream of events, its first one read.
    pub(crate) fn events(&self) -> BufReader<TcpStream> {
        let mut stream = self.connect();
        write!(stream, "GET /events HTTP/1.1\r\n{}\r\n{}\r\n\r\n", self.host(), self.cookie()).unwrap();
        let mut reader = BufReader::new(stream);
        let mut line = String::new();
        reader.read_line(&mut line).unwrap();
        assert!(line.contains("200"), "{line}");
        next_version(&mut reader);
        reader
    }

    /// Interrupts it; what it left.
    pub(crate) fn interrupt(mut self) -> Ran {
        assert!(Command::new("kill").args(["-INT", &self.child.id().to_string()]).status().unwrap().success());
        let mut err = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
        Ran { code: self.child.wait().unwrap().code().unwrap_or(-1), out: String::new(), err }
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _may_have_ended = self.child.kill();
        let _ended = self.child.wait();
    }
}

pub(crate) fn next_version(reader: &mut impl std::io::BufRead) -> u64 {
    loop {
        let mut line = String::new();
        assert!(reader.read_line(&mut line).unwrap() > 0, "the stream ended");
        if let Some(version) = line.strip_prefix("data:") {
            return version.trim().parse().unwrap();
        }
    }
}

pub(crate) fn served() -> (Bench, Page) {
    let bench = Bench::new(6);
    bench.script(&one("\"stills\""));
    let page = Page::serve(&bench, &[]);
    (bench, page)
}

pub(crate) fn frames(view: &Value) -> usize {
    view["plan"]["shots"][0]["deliveries"][0]["x"].as_array().map_or(0, Vec::len)
}
