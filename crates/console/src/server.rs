//! The server: one address, its files, the socket, and what all pages share.

use crate::answers::{content, refused};
use crate::app::ConsoleApp;
use crate::editor::{self, CheckReply, Editor};
use crate::error::ConsoleError;
use crate::guard::RequestGuard;
use crate::pages::Pages;
use crate::{label, page, socket};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, LOCATION, REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{get, post};
use pulsewright_bench::{Bench, Request as Asking, SessionEnd, Setup, photos};
use pulsewright_text::json;
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// How often pages hear how far the output is.
const CLOCK: Duration = Duration::from_millis(200);

/// How often a request to end is looked for.
const LOOK: Duration = Duration::from_millis(50);

/// The sources that a page may load and ask for: its own files and socket, nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// A console to be served.
pub struct Console {
    /// Address to listen at; port 0 takes a free one.
    pub address: SocketAddr,
    /// The session, in a folder: without one it is the present folder.
    pub setup: Setup,
    /// The file of its plan, which the editor opens.
    pub plan_file: Option<PathBuf>,
    /// How the editor checks a script.
    pub check: CheckReply,
}

/// Serves a console until `asked` returns true; `on_link` gets each link that works next, the first one before anything is served.
///
/// # Errors
/// When the address or the folder can't be had, the lists or the address book can't be read, or the last log can't be written.
pub fn serve(
    console: Console,
    mut on_link: impl FnMut(&str) + Send + 'static,
    asked: impl Fn() -> bool,
) -> Result<SessionEnd, ConsoleError> {
    let Console { address, setup, plan_file, check } = console;
    let folder = setup.folder.clone().unwrap_or_default();
    let editor = Editor::new(plan_file, &folder, check);
    let (rate, output) = (setup.rate, setup.consumer.name.clone());
    let on_page = setup.plan.as_ref().map_or(Value::Null, |plan| plan.page.clone());
    let pages = Pages::new();
    let bench = Bench::open(setup, Box::new(pages.clone()))?;
    let log = bench.log().map_or(String::new(), |log| log.display().to_string());
    let data = page::data(rate, &output, &log, on_page).to_string();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(ConsoleError::Server)?;
    let app = runtime.block_on(async {
        let listener =
            tokio::net::TcpListener::bind(address).await.map_err(|error| ConsoleError::Listen(address, error))?;
        let guard = RequestGuard::new(listener.local_addr().map_err(ConsoleError::Server)?)?;
        on_link(&guard.link());
        let app =
            Arc::new(ConsoleApp { bench, pages, guard, data, folder, editor, links: Mutex::new(Box::new(on_link)) });
        let server = tokio::spawn(axum::serve(listener, router(app.clone())).into_future());
        let mut next = Instant::now();
        while !asked() && !server.is_finished() {
            tokio::time::sleep(LOOK).await;
            if next <= Instant::now() {
                next += CLOCK;
                app.bench.tick();
            }
        }
        app.bench.end();
        // Pages see the outputs come to rest.
        while !app.bench.has_ended() {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        server.abort();
        Ok::<_, ConsoleError>(app)
    })?;
    Ok(app.bench.close()?)
}

fn router(app: Arc<ConsoleApp>) -> Router {
    let mut router = Router::new().route("/data.json", get(data)).route("/socket", get(socket::open));
    router = router.route("/editor.json", get(editor_data));
    let sent = Router::new().route("/editor/check", post(check)).route("/editor/save", post(save));
    let sent = sent.layer(DefaultBodyLimit::max(editor::LONGEST));
    let photos = Router::new().route("/photos", post(take_photo)).route("/photos/{item}", post(take_photo_of));
    let sent = sent.merge(photos.layer(DefaultBodyLimit::max(photos::LARGEST)));
    router = router.route("/photo/{name}", get(photo)).route("/label/{asset}", get(label));
    router = router.merge(sent.layer(middleware::from_fn_with_state(app.clone(), known_page)));
    for file in page::FILES {
        router = router.route(file.path, get(async || content(file.kind, file.text)));
    }
    let inside = router.layer(middleware::from_fn_with_state(app.clone(), known_browser));
    let all = inside.route("/enter/{token}", get(enter));
    all.layer(middleware::from_fn_with_state(app.clone(), known_host)).with_state(app)
}

/// Refuses requests to another name, and adds the headers of every answer.
async fn known_host(State(app): State<Arc<ConsoleApp>>, request: Request, next: Next) -> Response {
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
async fn known_browser(State(app): State<Arc<ConsoleApp>>, request: Request, next: Next) -> Response {
    if app.guard.knows_browser(request.headers()) { next.run(request).await } else { refused(StatusCode::FORBIDDEN) }
}

/// Refuses what another page sends.
async fn known_page(State(app): State<Arc<ConsoleApp>>, request: Request, next: Next) -> Response {
    if app.guard.knows_page(request.headers()) { next.run(request).await } else { refused(StatusCode::FORBIDDEN) }
}

async fn editor_data(State(app): State<Arc<ConsoleApp>>) -> Response {
    content("application/json", app.editor.data().to_string())
}

async fn check(State(app): State<Arc<ConsoleApp>>, text: Bytes) -> Response {
    answered(tokio::task::spawn_blocking(move || app.editor.check(&text)).await)
}

async fn save(State(app): State<Arc<ConsoleApp>>, text: Bytes) -> Response {
    let saved = move || {
        let text = std::str::from_utf8(&text).map_err(|error| error.to_string())?;
        app.editor.save(&json::parse(text).map_err(|error| error.to_string())?)
    };
    let done = tokio::task::spawn_blocking(saved).await;
    answered(done.map(outcome))
}

async fn photo(State(app): State<Arc<ConsoleApp>>, Path(name): Path<String>) -> Response {
    let read = tokio::task::spawn_blocking(move || photos::read(&app.folder, &name)).await;
    match read.ok().flatten() {
        Some((kind, bytes)) => content(kind, bytes),
        None => refused(StatusCode::NOT_FOUND),
    }
}

async fn take_photo(State(app): State<Arc<ConsoleApp>>, bytes: Bytes) -> Response {
    handed_in(&app, String::new(), &bytes).await
}

async fn take_photo_of(State(app): State<Arc<ConsoleApp>>, Path(item): Path<String>, bytes: Bytes) -> Response {
    handed_in(&app, item, &bytes).await
}

async fn handed_in(app: &ConsoleApp, item: String, bytes: &Bytes) -> Response {
    let (reply, replied) = oneshot::channel();
    let request = Asking::Photo { item, bytes: bytes.to_vec() };
    app.bench.request(request, Box::new(move |done| _ = reply.send(done)));
    let done = replied.await.unwrap_or_else(|_| Err("the program is ending".to_owned()));
    content("application/json", outcome(done).to_string())
}

/// An answer as the page reads it.
fn outcome(done: Result<Value, String>) -> Value {
    match done {
        Ok(value) => json!({"ok": true, "value": value}),
        Err(why) => json!({"ok": false, "why": why}),
    }
}

async fn label(Path(asset): Path<String>) -> Response {
    match label::svg(&asset) {
        Some(drawing) => content("image/svg+xml", drawing),
        None => refused(StatusCode::NOT_FOUND),
    }
}

fn answered(value: Result<Value, tokio::task::JoinError>) -> Response {
    let failed = |_| json!({"ok": false, "text": "the program could not do it", "why": "the program could not do it"});
    content("application/json", value.unwrap_or_else(failed).to_string())
}

async fn enter(State(app): State<Arc<ConsoleApp>>, Path(token): Path<String>) -> Response {
    let Ok(Some(cookie)) = app.guard.enter(&token) else { return refused(StatusCode::FORBIDDEN) };
    app.say_link();
    let response = Response::builder().status(StatusCode::SEE_OTHER).header(LOCATION, "/").header(SET_COOKIE, cookie);
    response.body(Body::empty()).unwrap_or_default()
}

async fn data(State(app): State<Arc<ConsoleApp>>) -> Response {
    content("application/json", app.data.clone())
}
