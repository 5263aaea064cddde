//! What is answered: the page's own files, views, stills by number, and the stream that says that something changed.
//!
//! ## Decisions
//!
//! - At most 256 connections and 50 streams are open; later ones are told so. A client that takes ten seconds over a
//!   request, or over any part of an answer, is disconnected. `axum`'s own server has neither limit, hence `hyper`.

use std::convert::Infallible;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::extract::{Path, Query, Request, State as Given};
use axum::http::{StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio_io_timeout::TimeoutStream;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::WatchStream;

use super::editor::{self, Editor};
use super::guard::{self, Guard};
use super::paint;
use super::stills::Stills;
use super::tables::Tables;
use super::view::{ShownViews, Views};
use crate::session::ScriptOptions;
use crate::session::surveyor::Asked;

/// Event streams that may be open at once.
const STREAMS: usize = 50;

/// Connections that may be open at once: those streams, and a few for each page's own questions.
const CONNECTIONS: usize = 256;

/// Connections beyond those that are told so at once; more are closed without a word.
const REFUSED: usize = 64;

/// How long a browser may take to ask, and to take in any part of an answer: it is on this computer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Dials a request may set, and bytes of each.
const SETTINGS: (usize, usize) = (100, 2000);

/// All that answers are made from.
pub(super) struct State {
    pub(super) script: ScriptOptions,
    guard: Guard,
    /// Goes up whenever the script, a move beside it or the stills' folder changed.
    pub(super) version: watch::Sender<u64>,
    pub(super) views: Mutex<Views>,
    pub(super) stills: Stills,
    /// Surveys that the view made last asked for.
    pub(super) asked: Asked,
    /// Tables that the script run last names.
    pub(super) tables: Tables,
    streams: Arc<Semaphore>,
    /// Views are made one after another, and whoever waits takes no thread.
    making: Semaphore,
    /// Set once the script that is being run for a view is no longer the one on the disk.
    run_off: Mutex<Arc<AtomicBool>>,
    /// Frames are painted one after another, likewise.
    painting: Arc<Semaphore>,
    /// What views were made from. Whoever asks about one does not wait for the next to be made.
    shown: ShownViews,
    editor: Option<Editor>,
}

impl State {
    pub(super) fn new(script: ScriptOptions, guard: Guard, editor: Option<Editor>) -> Self {
        let views = Views::new(editor.is_some());
        let shown = views.shown();
        Self {
            script,
            guard,
            version: watch::Sender::new(1),
            asked: views.asked(),
            tables: views.tables(),
            views: Mutex::new(views),
            stills: Stills::default(),
            streams: Arc::new(Semaphore::new(STREAMS)),
            making: Semaphore::new(1),
            run_off: Mutex::default(),
            painting: Arc::new(Semaphore::new(1)),
            shown,
            editor,
        }
    }

    /// Something changed: there is another version, and whatever script still runs for the one before is called off.
    pub(super) fn is_another(&self) {
        self.version.send_modify(|version| *version += 1);
        self.run_off.lock().unwrap_or_else(PoisonError::into_inner).store(true, Ordering::Relaxed);
    }

    /// The view of the version that there is when it is done.
    fn view(&self, settings: &[(String, String)]) -> Arc<str> {
        let mut views = self.views.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            let off = Arc::new(AtomicBool::new(false));
            *self.run_off.lock().unwrap_or_else(PoisonError::into_inner) = Arc::clone(&off);
            // After that: a change from here on sets it.
            let version = *self.version.borrow();
            if let Some(view) = views.of(&self.script, version, settings, &self.stills, &off) {
                return view;
            }
        }
    }
}

/// The page's files: their path, type and text.
const FILES: [(&str, &str, &str); 15] = [
    ("/icon.svg", SVG, include_str!("page/icon.svg")),
    ("/style.css", CSS, include_str!("page/style.css")),
    ("/app.js", JAVASCRIPT, include_str!("page/app.js")),
    ("/band.js", JAVASCRIPT, include_str!("page/band.js")),
    ("/clock.js", JAVASCRIPT, include_str!("page/clock.js")),
    ("/delivered.js", JAVASCRIPT, include_str!("page/delivered.js")),
    ("/dials.js", JAVASCRIPT, include_str!("page/dials.js")),
    ("/handles.js", JAVASCRIPT, include_str!("page/handles.js")),
    ("/keyboard.js", JAVASCRIPT, include_str!("page/keyboard.js")),
    ("/keys.js", JAVASCRIPT, include_str!("page/keys.js")),
    ("/measures.js", JAVASCRIPT, include_str!("page/measures.js")),
    ("/panels.js", JAVASCRIPT, include_str!("page/panels.js")),
    ("/shapes.js", JAVASCRIPT, include_str!("page/shapes.js")),
    ("/stage.js", JAVASCRIPT, include_str!("page/stage.js")),
    ("/stills.js", JAVASCRIPT, include_str!("page/stills.js")),
];
const SVG: &str = "image/svg+xml";
const CSS: &str = "text/css; charset=utf-8";
const JAVASCRIPT: &str = "text/javascript; charset=utf-8";

/// Answers connections, for ever. Where too many are open, the next ones are told so; whoever keeps it waiting is let
/// go.
pub(super) async fn serve(listener: TcpListener, state: Arc<State>) {
    let (places, refusals) = (Arc::new(Semaphore::new(CONNECTIONS)), Arc::new(Semaphore::new(REFUSED)));
    let router = router(state);
    loop {
        let Ok((stream, _)) = listener.accept().await else {
            // One that has gone already, or no more files may be open: some will be closed.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        if let Ok(place) = Arc::clone(&places).try_acquire_owned() {
            let router = router.clone();
            tokio::spawn(async move {
                let _held_as_long_as_it_lasts = place;
                answer(stream, router).await;
            });
        } else if let Ok(place) = Arc::clone(&refusals).try_acquire_owned() {
            tokio::spawn(async move {
                let _held_as_long_as_it_lasts = place;
                let _gone = tokio::time::timeout(PATIENCE, refuse(stream)).await;
            });
        }
    }
}

/// Answers what one connection asks.
async fn answer(stream: TcpStream, router: Router) {
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(PATIENCE));
    let mut connection = http1::Builder::new();
    connection.timer(TokioTimer::new()).header_read_timeout(PATIENCE);
    // How a connection ended is the browser's affair.
    let _ended = connection.serve_connection(TokioIo::new(Box::pin(stream)), TowerToHyperService::new(router)).await;
}

/// Says that too many connections are open.
async fn refuse(mut stream: TcpStream) -> std::io::Result<()> {
    let why = "too many connections to this page are open";
    let head = "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nContent-Type: text/plain\r\nContent-Length:";
    stream.write_all(format!("{head} {}\r\n\r\n{why}", why.len()).as_bytes()).await?;
    stream.shutdown().await?;
    // A connection that is closed while it still holds a question takes the answer with it.
    let mut question = [0; 1024];
    while stream.read(&mut question).await? > 0 {}
    Ok(())
}

fn router(state: Arc<State>) -> Router {
    let mut router = Router::new().route("/", get(index));
    for (path, kind, text) in FILES {
        router = router.route(path, get(move || async move { ([(header::CONTENT_TYPE, kind)], text) }));
    }
    router
        .route("/view", get(view))
        .route("/still/{number}", get(still))
        .route("/frame/{view}/{shot}/{delivery}/{frame}/{longer}", get(frame))
        .route("/open/{view}/{line}", post(open_line))
        .route("/events", get(events))
        .layer(middleware::from_fn_with_state(Arc::clone(&state), guarded))
        .with_state(state)
}

/// Lets through what may pass, turns a token into a cookie, and seals every answer.
async fn guarded(Given(state): Given<Arc<State>>, request: Request, next: Next) -> Response {
    if let Err(refusal) = state.guard.check_source(request.headers()) {
        return guard::seal(refusal.into_response());
    }
    let query = request.uri().query().unwrap_or("");
    let given = query.split('&').find_map(|pair| pair.strip_prefix("token="));
    if let Some(given) = given.filter(|given| request.uri().path() == "/" && state.guard.is_token(given)) {
        let cookie = state.guard.set_cookie(given);
        let moved = (StatusCode::SEE_OTHER, [(header::LOCATION, "/".to_owned()), (header::SET_COOKIE, cookie)]);
        return guard::seal(moved.into_response());
    }
    if let Err(refusal) = state.guard.check_cookie(request.headers()) {
        return guard::seal(refusal.into_response());
    }
    guard::seal(next.run(request).await)
}

async fn index() -> Response {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], include_str!("page/index.html")).into_response()
}

/// The plan with the dials as the page has set them: `set=NAME=VALUE`, any number of times.
async fn view(Given(state): Given<Arc<State>>, Query(pairs): Query<Vec<(String, String)>>) -> Response {
    let fits = |(name, value): &(String, String)| name == "set" && value.len() <= SETTINGS.1;
    let settings: Option<Vec<(String, String)>> =
        pairs.iter().filter(|pair| fits(pair)).map(|(_, value)| split(value)).collect();
    let Some(settings) = settings.filter(|settings| settings.len() == pairs.len() && pairs.len() <= SETTINGS.0) else {
        return (StatusCode::BAD_REQUEST, "a view is asked for with set=NAME=VALUE").into_response();
    };
    let shared = Arc::clone(&state);
    let Ok(_turn) = shared.making.acquire().await else { return StatusCode::SERVICE_UNAVAILABLE.into_response() };
    match tokio::task::spawn_blocking(move || state.view(&settings)).await {
        Ok(text) => ([(header::CONTENT_TYPE, "application/json")], text.as_bytes().to_vec()).into_response(),
        Err(_) => (StatusCode::INTERNAL_SERVER_ERROR, "the plan could not be made").into_response(),
    }
}

fn split(setting: &str) -> Option<(String, String)> {
    setting.split_once('=').map(|(name, value)| (name.to_owned(), value.to_owned()))
}

/// A still in small, by the number a view gave it.
async fn still(Given(state): Given<Arc<State>>, Path(number): Path<String>) -> Response {
    let Some(number) = number.parse::<usize>().ok().filter(|number| state.stills.knows(*number)) else {
        return (StatusCode::NOT_FOUND, "there is no such still").into_response();
    };
    picture(state.stills.jpeg(number).await)
}

/// A frame of a view's delivery as a render paints it, its longer side no longer than asked for.
async fn frame(Given(state): Given<Arc<State>>, Path(asked): Path<(u64, usize, usize, usize, u32)>) -> Response {
    let (view, shot, delivery, frame, longer) = asked;
    // Whoever no longer waits for it goes without it.
    let Ok(turn) = Arc::clone(&state.painting).acquire_owned().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let made = tokio::task::spawn_blocking(move || {
        // A browser may have gone that the frame is still painted for.
        let _held_as_long_as_it_lasts = turn;
        let shown = state.shown.get(view)?;
        Some(paint::frame(&shown.prepared, shot, delivery, frame, longer).map(Into::into))
    });
    match made.await {
        Ok(Some(made)) => picture(made),
        // The page asks for the plan again.
        Ok(None) => (StatusCode::GONE, "this plan is no longer kept").into_response(),
        Err(_) => picture(Err("its painter gave up".into())),
    }
}

/// Opens a line of a view's keys in the user's editor.
async fn open_line(Given(state): Given<Arc<State>>, Path((view, line)): Path<(u64, usize)>) -> Response {
    let Some(editor) = state.editor.clone() else {
        return (StatusCode::NOT_FOUND, format!("{} does not name an editor", editor::VARIABLE)).into_response();
    };
    let opened = tokio::task::spawn_blocking(move || {
        let shown = state.shown.get(view);
        let place = shown.as_ref().and_then(|shown| shown.places.get(line)).ok_or("there is no such line")?;
        editor.open(place)
    });
    match opened.await.unwrap_or_else(|_| Err("its editor could not be asked".into())) {
        Ok(()) => StatusCode::NO_CONTENT.into_response(),
        Err(why) => (StatusCode::UNPROCESSABLE_ENTITY, why).into_response(),
    }
}

fn picture(made: Result<axum::body::Bytes, String>) -> Response {
    match made {
        // A number means one file as it was at one time, covered in one way.
        Ok(bytes) => {
            let headers =
                [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400, immutable")];
            (headers, bytes).into_response()
        }
        Err(why) => (StatusCode::UNPROCESSABLE_ENTITY, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")], why)
            .into_response(),
    }
}

/// The version now, and again whenever it changes. A client that does not read misses versions and holds nothing up:
/// only the last is kept for it.
async fn events(Given(state): Given<Arc<State>>) -> Response {
    let Ok(place) = Arc::clone(&state.streams).try_acquire_owned() else {
        return (StatusCode::SERVICE_UNAVAILABLE, "too many pages are open").into_response();
    };
    let versions = WatchStream::new(state.version.subscribe()).map(move |version| {
        let _held_as_long_as_the_stream: &OwnedSemaphorePermit = &place;
        Ok::<_, Infallible>(Event::default().event("version").data(version.to_string()))
    });
    Sse::new(versions).keep_alive(KeepAlive::new().interval(Duration::from_secs(10))).into_response()
}
