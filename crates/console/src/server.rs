//! The server: one address, its files, the socket, and what all pages share.

use crate::answers::{content, refused};
use crate::book::Book;
use crate::consumer::Consumer;
use crate::desk::Desk;
use crate::desktop::{Desktop, Waiting};
use crate::error::ConsoleError;
use crate::guard::Guard;
use crate::planned::Planned;
use crate::run::Over;
use crate::shared::Shared;
use crate::{page, socket};
use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, LOCATION, REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::get;
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::FileError;
use pulsewright_record::calendar;
use serde_json::Value;
use std::fs;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime};

/// How often pages hear how far the output is.
const CLOCK: Duration = Duration::from_millis(200);

/// How often a request to end is looked for.
const LOOK: Duration = Duration::from_millis(50);

/// What a page may load and ask for: its own files and socket, nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// A console to be served.
pub struct Console {
    /// Address to listen at; port 0 takes a free one.
    pub address: SocketAddr,
    /// Frames a second.
    pub rate: FrameRate,
    /// Seed of everything left to chance.
    pub seed: u64,
    /// Folder of the logs and the book of favourites.
    pub folder: PathBuf,
    /// A plan whose steps the page offers.
    pub plan: Option<Planned>,
    /// What takes the frames.
    pub consumer: Consumer,
}

/// How a console ended.
#[derive(Debug)]
pub struct Served {
    /// The log, when something was played and it was written.
    pub log: Option<PathBuf>,
    /// Why the output did not take all frames.
    pub failed: Option<String>,
    /// Remarks of the consumer, a sentence each.
    pub remarks: Vec<String>,
}

/// Serves a console until `asked` returns true; `on_link` gets each link that works next, the first one before anything is served.
///
/// # Errors
/// When the address or the folder can't be had, or the last log can't be written.
pub fn serve(
    console: Console,
    mut on_link: impl FnMut(&str) + Send + 'static,
    asked: impl Fn() -> bool,
) -> Result<Served, ConsoleError> {
    let Console { address, rate, seed, folder, plan, consumer } = console;
    let (planned, on_page) = plan.map_or((Vec::new(), Value::Null), |plan| (plan.steps, plan.page));
    fs::create_dir_all(&folder).map_err(FileError::of(&folder))?;
    let book = Book::open(&folder)?;
    let moment = calendar::utc(SystemTime::now()).replace(':', "-");
    let log = folder.join(format!("played-{moment}.json"));
    let shared = Arc::new(Shared::new(rate));
    let desk = Arc::new(Desk::new(log.clone(), shared.clone())?);
    let data = page::data(rate, &consumer.name, &log.display().to_string(), on_page).to_string();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(ConsoleError::Server)?;
    runtime
        .block_on(async {
            let listener =
                tokio::net::TcpListener::bind(address).await.map_err(|error| ConsoleError::Listen(address, error))?;
            let guard = Guard::new(listener.local_addr().map_err(ConsoleError::Server)?)?;
            on_link(&guard.link());
            let waiting = Waiting { consumer, seed, planned, desk: desk.clone() };
            let desktop = Arc::new(Desktop::new(shared.clone(), guard, book, data, waiting, Box::new(on_link)));
            let server = tokio::spawn(axum::serve(listener, router(desktop.clone())).into_future());
            let mut next = Instant::now();
            while !asked() && !server.is_finished() {
                tokio::time::sleep(LOOK).await;
                if next <= Instant::now() {
                    next += CLOCK;
                    shared.send_clock();
                }
            }
            let over = match desktop.end() {
                Some(run) => Some(finish(run).await),
                None => None,
            };
            server.abort();
            drop(desktop);
            Ok(over)
        })
        .and_then(|over| {
            // A run that is stuck in a consumer still holds the desk; its last log was written when it changed last.
            if let Some(desk) = Arc::into_inner(desk) {
                desk.close()?;
            }
            let log = over.is_some().then_some(log).filter(|log| log.exists());
            let Over { remarks, failed } = over.unwrap_or_default();
            Ok(Served { log, failed, remarks })
        })
}

/// Waits until the run has ended, and not for a consumer that takes nothing.
async fn finish(run: JoinHandle<Over>) -> Over {
    let patience = Instant::now() + Duration::from_secs(6);
    while !run.is_finished() && Instant::now() < patience {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let failed = |why: &str| Over { remarks: Vec::new(), failed: Some(why.to_owned()) };
    if run.is_finished() {
        run.join().unwrap_or_else(|_| failed("the player stopped"))
    } else {
        failed("it took no frames at the end")
    }
}

fn router(desktop: Arc<Desktop>) -> Router {
    let mut router = Router::new().route("/data.json", get(data)).route("/socket", get(socket::open));
    for file in page::FILES {
        router = router.route(file.path, get(async || content(file.kind, file.text)));
    }
    let inside = router.layer(middleware::from_fn_with_state(desktop.clone(), known_browser));
    let all = inside.route("/enter/{token}", get(enter));
    all.layer(middleware::from_fn_with_state(desktop.clone(), known_host)).with_state(desktop)
}

/// Refuses requests to another name, and adds the headers of every answer.
async fn known_host(State(desktop): State<Arc<Desktop>>, request: Request, next: Next) -> Response {
    let known = desktop.guard.knows_host(request.headers());
    let mut response = if known { next.run(request).await } else { refused(StatusCode::MISDIRECTED_REQUEST) };
    let headers = response.headers_mut();
    let fixed: [(HeaderName, &str); 7] = [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (REFERRER_POLICY, "no-referrer"),
        (CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    headers.extend(fixed.map(|(name, value)| (name, HeaderValue::from_static(value))));
    response
}

/// Refuses browsers that came in by no link.
async fn known_browser(State(desktop): State<Arc<Desktop>>, request: Request, next: Next) -> Response {
    if desktop.guard.knows_browser(request.headers()) {
        next.run(request).await
    } else {
        refused(StatusCode::FORBIDDEN)
    }
}

async fn enter(State(desktop): State<Arc<Desktop>>, Path(token): Path<String>) -> Response {
    let Ok(Some(cookie)) = desktop.guard.enter(&token) else { return refused(StatusCode::FORBIDDEN) };
    desktop.say_link();
    let response = Response::builder().status(StatusCode::SEE_OTHER).header(LOCATION, "/").header(SET_COOKIE, cookie);
    response.body(Body::empty()).unwrap_or_default()
}

async fn data(State(desktop): State<Arc<Desktop>>) -> Response {
    content("application/json", desktop.data.clone())
}
