//! The server: one address, its files, the socket, and what all pages share.

use crate::addresses::Addresses;
use crate::answers::{content, refused};
use crate::app::{App, Waiting};
use crate::checks::Checks;
use crate::clerk::{Clerk, Task};
use crate::consumer::Consumer;
use crate::error::ConsoleError;
use crate::guard::Guard;
use crate::lists::KeptLists;
use crate::log::{Change, Log};
use crate::planned::Planned;
use crate::run::{Over, Reports};
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
    /// Folder of logs, records, drafts, the address book and favourites.
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
/// When the address or the folder can't be had, the lists or the address book can't be read, or the last log can't be written.
pub fn serve(
    console: Console,
    mut on_link: impl FnMut(&str) + Send + 'static,
    asked: impl Fn() -> bool,
) -> Result<Served, ConsoleError> {
    let Console { address, rate, seed, folder, plan, consumer } = console;
    let (planned, on_page, plan) =
        plan.map_or((Vec::new(), Value::Null, None), |plan| (plan.steps, plan.page, Some(plan.plan)));
    fs::create_dir_all(&folder).map_err(FileError::of(&folder))?;
    let (lists, addresses) = (KeptLists::open(&folder)?, Addresses::open(&folder)?);
    let moment = calendar::utc(SystemTime::now()).replace(':', "-");
    let path = folder.join(format!("played-{moment}.json"));
    let shared = Arc::new(Shared::new(rate));
    let (log, writer) = Log::new(path.clone(), seed, shared.clone())?;
    let checks = plan.map(|plan| Checks::new(plan, folder, consumer.name.clone(), rate, log.clone()));
    let (tasks, clerk) = Clerk { lists, addresses, checks, shared: shared.clone(), shown: Value::Null }.work();
    let data = page::data(rate, &consumer.name, &path.display().to_string(), on_page).to_string();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(ConsoleError::Server)?;
    runtime
        .block_on(async {
            let listener =
                tokio::net::TcpListener::bind(address).await.map_err(|error| ConsoleError::Listen(address, error))?;
            let guard = Guard::new(listener.local_addr().map_err(ConsoleError::Server)?)?;
            on_link(&guard.link());
            let reports = Reports { log: log.clone(), tasks: tasks.clone() };
            let waiting = Waiting { consumer, seed, planned, reports };
            let app = Arc::new(App::new(shared.clone(), guard, data, waiting, Box::new(on_link)));
            let server = tokio::spawn(axum::serve(listener, router(app.clone())).into_future());
            let mut next = Instant::now();
            while !asked() && !server.is_finished() {
                tokio::time::sleep(LOOK).await;
                if next <= Instant::now() {
                    next += CLOCK;
                    shared.send_clock();
                }
            }
            let over = match app.end() {
                Some(run) => Some(finish(run).await),
                None => None,
            };
            server.abort();
            Ok(over)
        })
        .and_then(|over| {
            // What was handed in before this is written first.
            let _ = tasks.send(Task::Close);
            let _ = clerk.join();
            log.change(Change::Close);
            writer.join().unwrap_or(Ok(()))?;
            let log = over.is_some().then_some(path).filter(|log| log.exists());
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

fn router(app: Arc<App>) -> Router {
    let mut router = Router::new().route("/data.json", get(data)).route("/socket", get(socket::open));
    for file in page::FILES {
        router = router.route(file.path, get(async || content(file.kind, file.text)));
    }
    let inside = router.layer(middleware::from_fn_with_state(app.clone(), known_browser));
    let all = inside.route("/enter/{token}", get(enter));
    all.layer(middleware::from_fn_with_state(app.clone(), known_host)).with_state(app)
}

/// Refuses requests to another name, and adds the headers of every answer.
async fn known_host(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let known = app.guard.knows_host(request.headers());
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
async fn known_browser(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    if app.guard.knows_browser(request.headers()) { next.run(request).await } else { refused(StatusCode::FORBIDDEN) }
}

async fn enter(State(app): State<Arc<App>>, Path(token): Path<String>) -> Response {
    let Ok(Some(cookie)) = app.guard.enter(&token) else { return refused(StatusCode::FORBIDDEN) };
    app.say_link();
    let response = Response::builder().status(StatusCode::SEE_OTHER).header(LOCATION, "/").header(SET_COOKIE, cookie);
    response.body(Body::empty()).unwrap_or_default()
}

async fn data(State(app): State<Arc<App>>) -> Response {
    content("application/json", app.data.clone())
}
