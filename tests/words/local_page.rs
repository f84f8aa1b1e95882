//! What the local page says, asked over the wire.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use super::gather::{Words, program};
use super::{Folder, inputs, packing};

const STAGE: &str = "Local page";

/// A server on a folder, stopped when it is dropped.
struct Server {
    child: Child,
    /// Address and port.
    host: String,
    cookie: String,
    /// Path below which all its pages are, with a slash before it and none after it.
    room: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer: status line and headers, then the body.
struct Answer {
    head: String,
    body: String,
}

impl Server {
    fn start(folder: &Folder) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_runtrue"));
        command.args(["serve", folder.text(), "--no-open", "--format", "json"]);
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let said: serde_json::Value = serde_json::from_str(&line).unwrap();
        let url = said["url"].as_str().unwrap().strip_prefix("http://").unwrap().to_owned();
        let (host, path) = url.split_once('/').unwrap();
        let mut server = Server { child, host: host.to_owned(), cookie: String::new(), room: String::new() };
        let answer = server.ask("GET", &format!("/{path}"), "", b"");
        let cookie = answer.head.lines().find_map(|l| l.strip_prefix("set-cookie: ")).unwrap();
        server.room = cookie.split("Path=").nth(1).unwrap().split("/;").next().unwrap().to_owned();
        server.cookie = cookie.split(';').next().unwrap().to_owned();
        server
    }

    /// One request of the page's own, with further header lines.
    fn ask(&self, method: &str, path: &str, more: &str, body: &[u8]) -> Answer {
        let own = format!("Cookie: {}\r\nOrigin: http://{}\r\n", self.cookie, self.host);
        let length =
            if more.contains("Content-Length") { String::new() } else { format!("Content-Length: {}\r\n", body.len()) };
        self.raw(
            &format!(
                "{method} {}{path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{own}{length}{more}\r\n",
                self.room, self.host
            ),
            body,
        )
    }

    /// The page that a form's answer leads to, or the answer where it leads nowhere.
    fn page_after(&self, answer: Answer) -> Answer {
        match answer.head.lines().find_map(|l| l.strip_prefix("location: ")) {
            Some(to) => {
                let path = to.trim_start_matches("./").split('#').next().unwrap();
                self.ask("GET", &format!("/{path}"), "", b"")
            }
            None => answer,
        }
    }

    fn raw(&self, head: &str, body: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream.write_all(head.as_bytes()).unwrap();
        // A server that refuses by the length alone closes before it has read all.
        let _ = stream.write_all(body);
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        Answer { head: head.to_owned(), body: body.to_owned() }
    }
}

/// The words of an answer: a page, or what the page's script shows.
fn hear(words: &mut Words, answer: &Answer) {
    if answer.head.contains("application/json") {
        if let Ok(value) = serde_json::from_str::<serde_json::Value>(&answer.body) {
            words.json(&value, &|_| STAGE);
        }
    } else if answer.head.contains("text/html") {
        words.page_beside(STAGE, "Terminal and pages", &answer.body);
    } else {
        words.lines(STAGE, &answer.body);
    }
}

/// The pages of a weekend and of an empty folder, what is dropped, what is typed, and who is refused.
pub fn local_page(words: &mut Words, folder: &Folder, empty: &Folder) {
    let server = Server::start(folder);
    words.in_folder(folder.text());
    words.by_host(&format!("{}{}", server.host, server.room));
    words.by_host(&server.host);
    let host = server.host.clone();
    // The first page waits until the weekend is reviewed.
    server.ask("GET", "/run-01-t1.html", "", b"");
    for page in [
        "/",
        "/run-01-t1.html?pinion=28-32&spur=116",
        "/run-01-t1.html?pinion=x",
        "/run-01-t1.html?air=35,5&race=480&race_pinion=30",
        "/run-01-t1.html?air=warm&race=480&laps=20&race_pinion=30.5",
        "/run-01-t1.html?start=-400",
        "/run-01-t1.html?race=1e9",
        "/run-01-t1.html?race_pinion=900",
        "/sheet",
        "/sheet-text",
        "/files",
        "/phone",
        "/nowhere",
    ] {
        hear(words, &server.ask("GET", page, "", b""));
    }
    let t1 = std::fs::read(folder.path().join("logs/t1.csv")).unwrap();
    let list = std::fs::read(folder.path().join("laps/t1.csv")).unwrap();
    let own = inputs::log(1200);
    let further = inputs::log(900);
    let packed = packing::archive(&[
        ("heat.csv", further.as_bytes()),
        ("photo.jpg", b"\xff\xd8"),
        ("more.zip", b"PK"),
        ("../../up.csv", b"1"),
    ]);
    for (name, bytes) in [
        ("new.csv", own.as_bytes()),
        ("new.csv", own.as_bytes()),
        ("t1.csv", t1.as_slice()),
        ("laps.csv", list.as_slice()),
        ("t1.csv", own.as_bytes()),
        ("timing.csv", b"lap,time\n1,17.1\n2,17.2\n3,17.3\n4,17.1\n"),
        ("empty.csv", b""),
        ("prose.csv", b"Dear diary,\ntoday we raced.\n"),
        ("image.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"),
        ("weekend.toml", b"[weekend]\n"),
        ("broken.zip", b"PK\x03\x04...."),
        ("old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"),
        ("runs.zip", packed.as_slice()),
    ] {
        hear(words, &server.ask("PUT", &format!("/drop?name={name}"), "", bytes));
    }
    hear(words, &server.ask("PUT", "/drop?name=large.csv", "Content-Length: 1073741824\r\n", b"time"));
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    for (page, body) in [
        ("/sheet", "base=0&%ff=%fe"),
        ("/sheet", "/runs/99/pinion=3"),
        ("/sheet-text", "text=%5Bweekend%5D%0Aname+%3D+Heron%0A"),
        ("/sheet-text", "text=%5Bcars.a%5D%0Aspur+%3D+%22x%22%0A"),
        ("/sheet-back", "version=..%2F..%2Fweekend.toml"),
        ("/run-entry", "run=t2&then=rename&name=heat+2"),
        ("/run-entry", "run=heat+2&then=rename&name=t3"),
        ("/run-entry", "run=heat+2&then=rename&name=t2&car=pan"),
        ("/run-entry", "run=t2&then=rename&name=t2&car=tourer"),
        ("/run-entry", "run=t2&then=rename&name=t2"),
        ("/run-entry", "run=t9&then=earlier"),
        ("/run-entry", "run=t1&then=earlier"),
        ("/run-entry", "run=t2&then=earlier"),
        ("/run-entry", "run=t2&then=later"),
        ("/run-entry", "run=t4&then=leave-out"),
        ("/run-entry", "run=t4&then=put-back"),
        ("/run-entry", "run=t4&then=take-off"),
        ("/leave-out", "leave_out=logs%2Ft4.csv"),
        ("/run-entry", "run=t4&then=put-back"),
        ("/two-cars", "first=a&second=a"),
        ("/sheet", "base=0&fix=%2Fcars%2Ftourer%2Fspur%09%2Fcars%2Ftourer%2Fspur%09117"),
        ("/lap-list", "run=t1&list=laps%2Ft1.csv"),
        ("/lap-list", "run=t1&list=laps%2Ftiming.csv"),
        ("/typed-laps", "run=t1&page=run-01-t1.html&laps="),
        ("/typed-laps", "run=t1&page=run-01-t1.html&laps=hello"),
        ("/typed-laps", "run=t1&page=run-01-t1.html&laps=time,rpm%0A0,1200"),
        ("/typed-laps", "run=t1&page=run-01-t1.html&laps=15,8%0A15,9%0Ax%0A16,1"),
        ("/typed-laps", "run=t1&page=run-01-t1.html&laps=15,8%0A15,9&then=keep"),
    ] {
        let answer = server.ask("POST", page, form, body.as_bytes());
        hear(words, &server.page_after(answer));
    }
    hear(words, &server.ask("GET", "/", "", b""));
    for head in [
        format!("GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"),
        format!("GET / HTTP/1.1\r\nHost: other.example\r\nConnection: close\r\nCookie: {}\r\n\r\n", server.cookie),
        format!(
            "POST /sheet HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nCookie: {}\r\nOrigin: http://other.example\r\nContent-Length: 0\r\n\r\n",
            server.cookie
        ),
    ] {
        hear(words, &server.raw(&head, b""));
    }
    words.problem(STAGE, &program(&["serve", folder.text(), "--no-open", "--format", "json"]));
    let server = Server::start(empty);
    words.in_folder(empty.text());
    words.by_host(&format!("{}{}", server.host, server.room));
    words.by_host(&server.host);
    for page in ["/", "/sheet", "/files"] {
        hear(words, &server.ask("GET", page, "", b""));
    }
}
