//! `live`: a page on this computer that shows a script's plan, and again whenever the script is saved.
//!
//! In comes a script; out go, to browsers of this computer only, the page (files of `page/`, held in the program),
//! views of the plan as JSON, stills in small, and frames as a render paints them. Nothing is written.
//!
//! ## Decisions
//!
//! - The page asks for views; nothing is pushed. The event stream only says that there is a new version, so a page that
//!   does not read delays nobody, and two pages may set dials differently. A *view* is a plan with the dials as one
//!   page has set them; it is made once for each version and set of dials.
//! - The page is plain modules without a build step or a library, embedded in the program. Texts reach it as text nodes
//!   (`element` in `page/shapes.js`); a test searches the files for any other way.
//! - The page draws its own curves: six short paths over one axis. A chart library would be larger than the page and
//!   needs styles that `default-src 'self'` refuses.
//! - Nothing a browser asks for names a path or a program. A click on a key opens its line only where the environment
//!   says by what (`editor.rs`).
//! - A hidden page closes its stream, because a browser opens only six connections to one address. Windows can be moved
//!   from the keyboard through buttons that the pointer ignores.

mod changes;
mod editor;
mod footage;
mod guard;
mod keys;
mod paint;
mod server;
mod stills;
mod tables;
mod view;

use std::net::{Ipv4Addr, TcpListener};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use self::editor::Editor;
use super::{Failure, Reply, ScriptOptions};
use crate::diag::Diagnostic;
use crate::pipeline::Watch;

/// How the page is served.
#[derive(Debug, Clone, Copy)]
pub struct LiveOptions {
    /// The port; a free one where none.
    pub port: Option<u16>,
    /// Whether the system is asked to open the page.
    pub open: bool,
}

/// Serves the page until it is interrupted. `announce` is given the address, as a line, once the page is there.
///
/// # Errors
/// [`Failure`] where the port cannot be had. A script that is wrong is no failure: the page says so.
pub fn live(
    script: &ScriptOptions,
    options: &LiveOptions,
    watch: &Watch,
    announce: impl FnOnce(&str),
) -> Result<Reply, Failure> {
    let editor = Editor::of_environment().map_err(|why| Failure::refused(Diagnostic::mistake(why)))?;
    let (listener, port) = listen(options.port)?;
    let token = guard::token().map_err(|error| failed("cannot get random numbers from the system", &error))?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| failed("the page cannot be served", &error))?;
    let address = format!("http://127.0.0.1:{port}/?token={token}");
    let state = Arc::new(server::State::new(script.clone(), guard::Guard::new(port, &token), editor));
    let outcome = runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let watching = tokio::spawn(changes::watch(Arc::clone(&state)));
        announce(&format!("{address}\nCtrl-C ends it.\n"));
        if options.open {
            open(&address);
        }
        let served: std::io::Result<()> = tokio::select! {
            () = server::serve(listener, Arc::clone(&state)) => Ok(()),
            () = interrupted(watch) => Ok(()),
        };
        watching.abort();
        served
    });
    runtime.shutdown_timeout(Duration::from_millis(300));
    outcome.map_err(|error| failed("the page can no longer be served", &error))?;
    Ok(Reply { closing: Some("stillpath: the page is closed".into()), ..Reply::default() })
}

/// A listener on this computer's own address, which is not reachable from others, and its port.
fn listen(port: Option<u16>) -> Result<(TcpListener, u16), Failure> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port.unwrap_or(0))).and_then(|listener| {
        listener.set_nonblocking(true)?;
        let port = listener.local_addr()?.port();
        Ok((listener, port))
    });
    listener.map_err(|error| {
        let mistake = match (error.kind(), port) {
            (std::io::ErrorKind::AddrInUse, Some(port)) => Diagnostic::mistake(format!("port {port} is in use")),
            (_, Some(port)) => Diagnostic::mistake(format!("port {port}: {error}")),
            (_, None) => Diagnostic::mistake(format!("cannot open a port: {error}")),
        };
        Failure::failed(mistake.help("leave out --port to take a free one"))
    })
}

async fn interrupted(watch: &Watch) {
    while !watch.stop.load(Ordering::Relaxed) {
        tokio::time::sleep(Duration::from_millis(40)).await;
    }
}

/// Asks the system to open an address. Where it cannot, the address is printed all the same.
fn open(address: &str) {
    let program = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
    let quiet = || (Stdio::null(), Stdio::null(), Stdio::null());
    let (input, output, errors) = quiet();
    let _printed_too = Command::new(program).arg(address).stdin(input).stdout(output).stderr(errors).spawn();
}

fn failed(what: &str, error: &std::io::Error) -> Failure {
    Failure::failed(Diagnostic::mistake(format!("{what}: {error}")))
}
