//! The live page from outside: who may read it, what it answers, what it lives through.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::common::{Bench, one};
use crate::served::{Page, frames, next_version, served};

#[test]
fn the_token_becomes_a_cookie_and_leaves_the_address() {
    let (_bench, page) = served();
    let answer = page.raw(&format!("GET /?token={} HTTP/1.1\r\n{}", page.token, page.host()));
    assert_eq!(answer.code(), 303);
    let cookie = format!("set-cookie: stillpath-{}={}; HttpOnly; SameSite=Strict; Path=/", page.port, page.token);
    assert!(answer.head.contains(&cookie) && answer.head.contains("location: /\r\n"), "{}", answer.head);
    let index = page.get("/");
    assert_eq!(index.code(), 200);
    assert!(index.head.contains("content-security-policy: default-src 'self';"), "{}", index.head);
    assert!(index.head.contains("x-content-type-options: nosniff"), "{}", index.head);
    assert!(!index.body.contains(&page.token));
}

#[test]
fn without_the_token_nothing_is_told() {
    let (_bench, page) = served();
    let wrong = "0".repeat(64);
    let cut = &page.token[..63];
    for path in [
        "/",
        "/view",
        "/still/0",
        "/events",
        "/app.js",
        "/?token=",
        &format!("/?token={wrong}"),
        &format!("/?token={cut}"),
    ] {
        let answer = page.raw(&format!("GET {path} HTTP/1.1\r\n{}", page.host()));
        assert_eq!(answer.code(), 401, "{path}");
        assert!(!answer.body.contains("move.lua"), "{path}");
    }
    let other = page.raw(&format!("GET /view HTTP/1.1\r\n{}\r\nCookie: stillpath-{}={wrong}", page.host(), page.port));
    assert_eq!(other.code(), 401);
}

#[test]
fn another_sites_page_and_a_name_made_to_point_here_are_refused_even_with_the_cookie() {
    let (_bench, page) = served();
    let ask = |lines: &str| page.raw(&format!("GET /view HTTP/1.1\r\n{lines}\r\n{}", page.cookie())).code();
    let host = page.host();
    for host in ["Host: rebound.example", &format!("Host: rebound.example:{}", page.port), "Host: 127.0.0.1", "Host: "]
    {
        assert_eq!(ask(host), 421, "{host}");
    }
    for origin in ["http://other.example", "null", "http://127.0.0.1:1", &format!("https://127.0.0.1:{}", page.port)] {
        assert_eq!(ask(&format!("{host}\r\nOrigin: {origin}")), 403, "{origin}");
    }
    let twice = format!("{host}\r\nOrigin: http://127.0.0.1:{}\r\nOrigin: http://other.example", page.port);
    assert_eq!(ask(&twice), 403);
    for site in ["cross-site", "same-site"] {
        assert_eq!(ask(&format!("{host}\r\nSec-Fetch-Site: {site}")), 403, "{site}");
    }
    assert_eq!(ask(&format!("{host}\r\nOrigin: http://127.0.0.1:{}\r\nSec-Fetch-Site: same-origin", page.port)), 200);
}

#[test]
fn no_request_names_a_path_and_none_changes_anything() {
    let (bench, page) = served();
    fs::write(bench.path("secret.txt"), "kept to itself").unwrap();
    page.view();
    let still = page.get("/still/0");
    assert!(still.code() == 200 && still.head.contains("image/jpeg"), "{}", still.head);
    for path in [
        "/../secret.txt",
        "/%2e%2e/secret.txt",
        "/still/../secret.txt",
        "/still/..%2fsecret.txt",
        "/still/..%2f..%2fetc%2fpasswd",
        "/still/-1",
        "/still/6",
        "/still/99999999999999999999999",
        "/still/0%00",
        "//etc/passwd",
        "/page/app.js",
        "/move.lua",
    ] {
        let answer = page.get(path);
        assert_eq!(answer.code(), 404, "{path}");
        assert!(!answer.body.contains("kept to itself") && !answer.body.contains("root:"), "{path}");
    }
    for path in ["/view?path=/etc/passwd", "/view?set=noequals", &format!("/view?set=a={}", "x".repeat(3000))] {
        assert_eq!(page.get(path).code(), 400, "{path}");
    }
    for method in ["POST", "PUT", "DELETE"] {
        let head = format!("{method} /view HTTP/1.1\r\n{}\r\n{}\r\nContent-Length: 0", page.host(), page.cookie());
        assert_eq!(page.raw(&head).code(), 405, "{method}");
    }
}

#[test]
fn saving_the_script_is_told_and_a_mistake_keeps_the_last_good_plan() {
    let (bench, page) = served();
    assert_eq!(frames(&page.view()), 6);
    let mut events = page.events();
    bench.script(&one("\"stills\"").replace("stills_per_frame(1)", "stills_per_frame(2)"));
    next_version(&mut events);
    page.view_that(|view| frames(view) == 3);
    bench.script(&one("\"stills\"").replace("deliveries", "delivries"));
    next_version(&mut events);
    let broken = page.view_that(|view| view["refused"] == true);
    let said = broken["said"]["mistakes"].as_str().unwrap();
    assert!(said.contains("move.lua:2") && said.contains("did you mean 'deliveries'?"), "{said}");
    assert_eq!(frames(&broken), 3);
    bench.script(&one("\"stills\""));
    page.view_that(|view| view["refused"] == false && frames(view) == 6);
}

#[test]
fn a_script_that_fails_on_first_load_is_shown_and_waited_for() {
    let bench = Bench::new(3);
    bench.script("return shot {");
    let page = Page::serve(&bench, &[]);
    let view = page.view();
    assert!(view["refused"] == true && view["plan"].is_null(), "{view}");
    bench.script(&one("\"stills\""));
    page.view_that(|view| frames(view) == 3);
}

#[test]
fn a_dial_is_set_for_one_view_and_refused_out_of_its_range() {
    let bench = Bench::new(6);
    let script = one("\"stills\"").replace("return", "local step = dial(\"step\", 1, { min = 1, max = 3 })\nreturn");
    bench.script(&script.replace("stills_per_frame(1)", "stills_per_frame(step)"));
    let page = Page::serve(&bench, &[]);
    let set =
        |value: &str| -> Value { serde_json::from_str(&page.get(&format!("/view?set=step%3D{value}")).body).unwrap() };
    assert_eq!(page.view()["plan"]["dials"][0]["range"], serde_json::json!([1.0, 3.0]));
    assert_eq!([frames(&set("3")), frames(&set("2")), frames(&page.view())], [2, 3, 6]);
    let refused = set("9");
    assert!(
        refused["refused"] == true && refused["said"]["mistakes"].as_str().unwrap().contains("1 to 3"),
        "{refused}"
    );
}

#[test]
fn a_damaged_still_is_named_until_it_is_whole_again() {
    let (bench, page) = served();
    let whole = fs::read(bench.still(2)).unwrap();
    let first = page.view()["work"]["surveys"].as_u64();
    crate::common::corrupt(&bench.still(2));
    let view = page.view_that(|view| view["work"]["surveys"].as_u64() > first);
    let broken = page.get(&format!("/still/{}", number(&view, 1)));
    assert_eq!(broken.code(), 422);
    assert!(broken.body.contains("damaged"), "{}", broken.body);
    let before = view["work"]["surveys"].as_u64();
    fs::write(bench.still(2), whole).unwrap();
    let view = page.view_that(|view| view["work"]["surveys"].as_u64() > before);
    bytes_of(&page, &format!("/still/{}", number(&view, 1)));
}

#[test]
fn a_still_that_cannot_be_decoded_and_a_folder_that_vanishes_are_told_and_the_page_stays() {
    let (bench, page) = served();
    page.view();
    fs::write(bench.still(2), b"no longer a picture").unwrap();
    let broken = page.get("/still/1");
    assert_eq!(broken.code(), 422);
    assert!(!broken.body.is_empty());
    assert_eq!(page.get("/still/0").code(), 200);
    fs::rename(bench.path("stills"), bench.path("elsewhere")).unwrap();
    let view = page.view_that(|view| view["refused"] == true);
    assert!(view["said"]["mistakes"].as_str().unwrap().contains("stills"), "{view}");
    assert_eq!(frames(&view), 6);
}

#[test]
fn a_name_that_is_markup_stays_a_text() {
    let bench = Bench::new(0);
    let name = "<img src=x onerror=alert(1)>";
    crate::common::write_still(&bench.path(&format!("stills/{name}.jpg")), crate::common::STILL, 1);
    bench.script(&one("\"stills\""));
    let page = Page::serve(&bench, &[]);
    let answer = page.get("/view");
    assert!(answer.head.contains("content-type: application/json"), "{}", answer.head);
    let view: Value = serde_json::from_str(&answer.body).unwrap();
    assert_eq!(view["plan"]["shots"][0]["slots"][0][0], name);
    for file in [
        "app.js",
        "band.js",
        "clock.js",
        "delivered.js",
        "dials.js",
        "handles.js",
        "keyboard.js",
        "keys.js",
        "measures.js",
        "panels.js",
        "shapes.js",
        "stage.js",
        "stills.js",
    ] {
        let text = page.get(&format!("/{file}")).body;
        assert!(text.len() > 500, "{file}");
        for way in [
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "Function(",
            "DOMParser",
            "srcdoc",
        ] {
            assert!(!text.contains(way), "{file} reads texts as markup or code: {way}");
        }
    }
}

#[test]
fn fifty_streams_and_a_slow_client_hold_nobody_up() {
    let (bench, page) = served();
    page.view();
    let mut slow = page.connect();
    write!(slow, "GET /view HTTP/1.1\r\nHost: 127").unwrap();
    let mut streams: Vec<_> = (0..50).map(|_| page.events()).collect();
    assert_eq!(page.get("/events").code(), 503);
    bench.script(&one("\"stills\"").replace("stills_per_frame(1)", "stills_per_frame(3)"));
    for stream in &mut streams {
        next_version(stream);
    }
    assert_eq!(frames(&page.view()), 2);
    streams.clear();
    let start = Instant::now();
    // The server notices that a client has gone when it next writes to it.
    bench.script(&one("\"stills\""));
    while page.raw(&format!("HEAD /events HTTP/1.1\r\n{}\r\n{}", page.host(), page.cookie())).code() == 503 {
        assert!(start.elapsed() < Duration::from_secs(30), "the places of closed streams are never free again");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// The bytes of an answer's body.
fn bytes_of(page: &Page, path: &str) -> Vec<u8> {
    let answer = page.get(path);
    assert_eq!(answer.code(), 200, "{path}: {}", answer.head);
    answer.bytes
}

fn number(view: &Value, slot: usize) -> u64 {
    view["plan"]["shots"][0]["slots"][slot][1].as_u64().unwrap()
}

/// A still whose part at (96, 80), 64 by 48 pixels, is another one's: what the test covers.
fn with_secret(path: &std::path::Path, secret: usize) {
    let mut rgb = crate::common::picture(crate::common::STILL, 1);
    let other = crate::common::picture(crate::common::STILL, secret);
    for y in 80..128 {
        let row = 3 * (y * 320 + 96)..3 * (y * 320 + 160);
        rgb[row.clone()].copy_from_slice(&other[row]);
    }
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, stillpath::ffi::jpeg::encode_rgb(&rgb, crate::common::STILL, 92, (2, 2), &[])).unwrap();
}

#[test]
fn nothing_of_what_a_cover_hides_is_in_the_pictures_served() {
    let cover = |with: &str| {
        let covers = format!("covers = {{ cover {{ box(0.3, 1 / 3, 0.2, 0.2){with} }} }}, deliveries");
        one("\"stills\"").replace("deliveries", &covers)
    };
    let served = |script: &str, secret: usize| {
        let bench = Bench::new(0);
        with_secret(&bench.still(1), secret);
        bench.script(script);
        let page = Page::serve(&bench, &[]);
        let view = page.view();
        assert_eq!(view["refused"], false, "{view}");
        bytes_of(&page, &format!("/still/{}", number(&view, 0)))
    };
    // Two stills that differ only in what is hidden give the same bytes, so nothing of it can be read back from them.
    assert_eq!(served(&cover(""), 5), served(&cover(""), 23));
    assert_ne!(served(&one("\"stills\""), 5), served(&one("\"stills\""), 23), "uncovered, they differ");
    let picture = image::load_from_memory(&served(&cover(""), 5)).unwrap().to_rgb8();
    assert_eq!((picture.width(), picture.height()), (320, 240));
    assert!(
        (100..156).all(|x| (84..124).all(|y| picture.get_pixel(x, y).0.iter().all(|code| code.abs_diff(128) <= 2)))
    );
    // A blur leaves its four colours and no more: both still look alike where they are blurred.
    let blurred = image::load_from_memory(&served(&cover(", with = \"blur\""), 5)).unwrap().to_rgb8();
    let edges = (100..155).flat_map(|x| (84..124).map(move |y| (x, y)));
    let steep =
        edges.map(|(x, y)| blurred.get_pixel(x, y).0[1].abs_diff(blurred.get_pixel(x + 1, y).0[1])).max().unwrap();
    assert!(steep < 12, "neighbours differ by {steep}");
}

#[test]
fn a_still_covered_otherwise_is_another_picture_and_stills_that_no_frame_shows_have_none() {
    let bench = Bench::new(6);
    let script = one("\"stills\", to = still(4)")
        .replace("return", "local left = dial(\"left\", 0.1, { min = 0, max = 0.8 })\nreturn");
    bench.script(
        &script.replace("deliveries", "covers = { cover { box(left, 0.1, 0.2, 0.2), to = still(2) } }, deliveries"),
    );
    let page = Page::serve(&bench, &[]);
    let set =
        |value: &str| -> Value { serde_json::from_str(&page.get(&format!("/view?set=left%3D{value}")).body).unwrap() };
    let (one, other) = (set("0.1"), set("0.5"));
    assert_ne!(number(&one, 0), number(&other, 0));
    assert_eq!(number(&one, 3), number(&other, 3), "its last still has no cover");
    assert_eq!(number(&set("0.1"), 0), number(&one, 0));
    assert!(one["plan"]["shots"][0]["slots"][5][1].is_null(), "still 6 is left out and nobody's to see: {one}");
    let [left, right] = [&one, &other].map(|view| {
        let bytes = bytes_of(&page, &format!("/still/{}", number(view, 0)));
        image::load_from_memory(&bytes).unwrap().to_rgb8()
    });
    let grey =
        |picture: &image::RgbImage, x: u32| picture.get_pixel(x, 48).0.iter().all(|code| code.abs_diff(128) <= 2);
    assert!(grey(&left, 64) && !grey(&left, 200) && grey(&right, 200) && !grey(&right, 64));
}

#[test]
fn an_unchanged_folder_is_surveyed_and_looked_at_once() {
    let bench = Bench::new(8);
    bench.script(&one("\"stills\"").replace("deliveries", "level = true, deliveries"));
    let page = Page::serve(&bench, &[]);
    let first = page.view();
    assert_eq!(first["work"], serde_json::json!({ "surveys": 1, "looks": 1 }), "{first}");
    for rate in [2, 4, 1] {
        bench.script(
            &one("\"stills\"")
                .replace("stills_per_frame(1)", &format!("stills_per_frame({rate})"))
                .replace("deliveries", "level = true, deliveries"),
        );
        let view = page.view_that(|view| frames(view) == 8 / rate);
        assert_eq!(view["work"], first["work"]);
    }
    // One still more, then one written again in its place: each is noticed, surveyed and looked at.
    crate::common::write_still(&bench.still(9), crate::common::STILL, 9);
    let more = page.view_that(|view| frames(view) == 9);
    assert!(
        more["work"]["surveys"].as_u64() >= Some(2) && more["work"]["looks"].as_u64() >= Some(2),
        "{}",
        more["work"]
    );
    let before = more["work"]["surveys"].as_u64();
    crate::common::write_still(&bench.still(3), crate::common::STILL, 30);
    page.view_that(|view| view["work"]["surveys"].as_u64() > before && view["refused"] == false);
}

#[test]
fn frames_of_a_recording_are_served_each_its_own_in_any_order() {
    let bench = Bench::new(0);
    // Frame n is of one grey, which rises by two codes a frame (limited range, ITU-R BT.709, 3).
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-f", "lavfi", "-i", "color=black:size=320x180:rate=25:duration=2"])
        .args([
            "-vf",
            "geq=lum='16+4*N':cb=128:cr=128",
            "-c:v",
            "libx264",
            "-g",
            "20",
            "-bf",
            "2",
            "-qp",
            "4",
            "-pix_fmt",
            "yuv420p",
        ])
        .arg(bench.path("day.mp4"))
        .status();
    assert!(made.unwrap().success());
    let script = one("\"stills\"").replace("stills { \"stills\" }", "recording \"day.mp4\"");
    bench.script(&script);
    let page = Page::serve(&bench, &[]);
    let view = page.view();
    assert_eq!(frames(&view), 50, "{view}");
    let grey = |frame: usize| {
        let bytes = bytes_of(&page, &format!("/still/{}", number(&view, frame)));
        f64::from(image::load_from_memory(&bytes).unwrap().to_rgb8().get_pixel(160, 90).0[0])
    };
    let due = |frame: usize| 4.0 * frame as f64 / 219.0 * 255.0;
    for frame in [30, 31, 29, 0, 49, 48, 47, 10, 30] {
        assert!((grey(frame) - due(frame)).abs() < 2.0, "frame {frame}: {} for {}", grey(frame), due(frame));
    }
    // All of them at once, as a page that plays asks.
    std::thread::scope(|scope| {
        let asked: Vec<_> = (0..50).map(|frame| (frame, scope.spawn(move || grey(frame)))).collect();
        for (frame, answer) in asked {
            assert!((answer.join().unwrap() - due(frame)).abs() < 2.0, "frame {frame}");
        }
    });
    // And covered ones.
    bench.script(&script.replace("deliveries", "covers = { cover { box(0.4, 0.4, 0.2, 0.2) } }, deliveries"));
    let covered =
        page.view_that(|view| view["plan"]["shots"][0]["covers"].as_array().is_some_and(|covers| !covers.is_empty()));
    let bytes = bytes_of(&page, &format!("/still/{}", number(&covered, 5)));
    let picture = image::load_from_memory(&bytes).unwrap().to_rgb8();
    let [middle, corner] = [(160, 90), (20, 20)].map(|(x, y)| f64::from(picture.get_pixel(x, y).0[0]));
    // Mid grey of limited range: half of 219 steps.
    assert!((middle - 128.0).abs() < 3.0 && (corner - due(5)).abs() < 2.0, "{middle} {corner}");
}

#[test]
fn whoever_asks_slowly_or_does_not_listen_is_let_go() {
    let bench = Bench::new(6);
    bench.script(&one("\"stills\"").replace("stills_per_frame(1)", "frames_per_still(3000)"));
    let page = Page::serve(&bench, &[]);
    let length = page.get("/view").body.len();
    assert!(length > 500_000, "{length}");
    let mut deaf = page.connect();
    // So many answers fill every buffer between the two.
    let question = format!("GET /view HTTP/1.1\r\n{}\r\n{}\r\n\r\n", page.host(), page.cookie());
    deaf.write_all(question.repeat(60).as_bytes()).unwrap();
    let mut slow = page.connect();
    write!(slow, "GET /view HTTP/1.1\r\nHost: 127").unwrap();
    let begun = Instant::now();
    let mut rest = Vec::new();
    let ended = slow
        .read_to_end(&mut rest)
        .map_or_else(|error| error.kind() == std::io::ErrorKind::ConnectionReset, |_bytes| true);
    assert!(ended && !rest.starts_with(b"HTTP/1.1 200"), "{}", String::from_utf8_lossy(&rest));
    assert_eq!(page.get("/").code(), 200);
    std::thread::sleep(Duration::from_secs(12).saturating_sub(begun.elapsed()));
    let mut heard = Vec::new();
    let _ended_or_reset = deaf.read_to_end(&mut heard);
    assert!(heard.len() < 60 * length, "{} bytes of {}", heard.len(), 60 * length);
    assert_eq!(page.get("/").code(), 200);
}

#[test]
fn more_connections_than_there_is_room_for_are_refused_plainly_and_those_there_are_go_on() {
    let (bench, page) = served();
    page.view();
    let mut streams: Vec<_> = (0..50).map(|_| page.events()).collect();
    let idle: Vec<TcpStream> = (0..206).map(|_| page.connect()).collect();
    // Whoever comes then is told so, without having to ask.
    let start = Instant::now();
    let told = loop {
        let mut stream = page.connect();
        let mut answer = String::new();
        let read =
            stream.set_read_timeout(Some(Duration::from_millis(300))).and_then(|()| stream.read_to_string(&mut answer));
        if read.is_ok() && !answer.is_empty() {
            break answer;
        }
        assert!(start.elapsed() < Duration::from_secs(8), "nobody is refused: {answer:?}");
    };
    assert!(
        told.starts_with("HTTP/1.1 503 ") && told.ends_with("too many connections to this page are open"),
        "{told}"
    );
    drop(idle);
    // The streams have been open all along.
    bench.script(&one("\"stills\"").replace("stills_per_frame(1)", "stills_per_frame(3)"));
    for stream in &mut streams {
        next_version(stream);
    }
    page.view_that(|view| frames(view) == 2);
}

/// Kilobytes that a process holds in memory (proc(5)).
fn memory(page: &Page) -> u64 {
    let status = fs::read_to_string(format!("/proc/{}/status", page.child.id())).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn ten_thousand_connections_leave_nothing_behind() {
    let (_bench, page) = served();
    let page = &page;
    let connections = |count: usize| {
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(move || {
                    for _ in 0..count / 4 {
                        assert_eq!(page.get("/icon.svg").code(), 200);
                    }
                });
            }
        });
    };
    let open = || fs::read_dir(format!("/proc/{}/fd", page.child.id())).unwrap().count();
    connections(1000);
    let (held, files) = (memory(page), open());
    connections(9000);
    assert!(memory(page) < held + 8_000, "{held} kB, then {}", memory(page));
    assert!(open() <= files + 8, "{files} files, then {}", open());
    assert_eq!(frames(&page.view()), 6);
}

#[test]
fn ten_thousand_requests_are_answered() {
    let (_bench, page) = served();
    let page = &page;
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(move || {
                let mut stream = BufReader::new(page.connect());
                // In one piece, or the system would wait for more of it.
                let request = format!("GET /icon.svg HTTP/1.1\r\n{}\r\n{}\r\n\r\n", page.host(), page.cookie());
                for _ in 0..2500 {
                    stream.get_mut().write_all(request.as_bytes()).unwrap();
                    let (mut length, mut line) = (0, String::new());
                    stream.read_line(&mut line).unwrap();
                    assert!(line.starts_with("HTTP/1.1 200"), "{line}");
                    while line != "\r\n" {
                        line.clear();
                        stream.read_line(&mut line).unwrap();
                        if let Some(text) = line.strip_prefix("content-length: ") {
                            length = text.trim().parse().unwrap();
                        }
                    }
                    stream.read_exact(&mut vec![0; length]).unwrap();
                }
            });
        }
    });
    assert_eq!(frames(&page.view()), 6);
}

#[test]
fn a_port_in_use_is_said_and_an_interrupt_ends_it_cleanly() {
    let (bench, page) = served();
    let _open = page.events();
    bench
        .run(&["live", "move.lua", "--port", &page.port.to_string()])
        .expect(2)
        .says("is in use")
        .says("leave out --port");
    page.interrupt().expect(0).says("the page is closed");
}
