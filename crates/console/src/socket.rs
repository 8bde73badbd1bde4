//! The socket of one page: orders in, frames and states out.

use crate::answers::refused;
use crate::app::ConsoleApp;
use crate::pages::PageMessage;
use axum::extract::State;
use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket, WebSocketUpgrade, close_code};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use pulsewright_bench::{ANSWER, Request};
use pulsewright_text::json;
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{Semaphore, mpsc, oneshot};
use tokio::time::timeout;

/// Longest message of a page, bytes.
const LONGEST: usize = 16 << 10;

/// Messages that a page may send at once, and a second over a longer time: more than a person can press.
const BURST: f64 = 100.0;
const PER_S: f64 = 50.0;

/// Pages that may be open at a time.
const MOST_PAGES: usize = 8;

/// How long a page may take over a message to it.
const PATIENCE: Duration = Duration::from_secs(5);

/// How long after [`ANSWER`] an order may still be answered that was carried out in time.
const GRACE: Duration = Duration::from_millis(200);

/// A place for each; it is given up with the socket.
static PAGES: Semaphore = Semaphore::const_new(MOST_PAGES);

/// Opens the socket of a page of ours.
pub async fn open(State(app): State<Arc<ConsoleApp>>, headers: HeaderMap, upgrade: WebSocketUpgrade) -> Response {
    if !app.guard.knows_page(&headers) {
        return refused(StatusCode::FORBIDDEN);
    }
    let Ok(place) = PAGES.try_acquire() else { return refused(StatusCode::TOO_MANY_REQUESTS) };
    let upgrade = upgrade.max_message_size(LONGEST).max_frame_size(LONGEST);
    upgrade.on_upgrade(async move |socket| {
        // A page that went away needs no word about it.
        let _ = talk(socket, app).await;
        drop(place);
    })
}

/// Talks with a page until it goes away, or breaks the rules.
async fn talk(mut socket: WebSocket, app: Arc<ConsoleApp>) -> Result<(), axum::Error> {
    let mut down = app.pages.listen();
    let (answers, mut answered) = mpsc::channel(BURST as usize);
    for text in so_far(&app) {
        send(&mut socket, Message::Text(text)).await?;
    }
    let mut allowance = Allowance::new(Instant::now());
    loop {
        tokio::select! {
            received = socket.recv() => match received {
                None => return Ok(()),
                Some(Err(error)) => return Err(error),
                Some(Ok(Message::Text(text))) => {
                    if !allowance.take(Instant::now()) {
                        return close(&mut socket, close_code::POLICY, "too many messages").await;
                    }
                    listen(&text, &app, &answers);
                }
                Some(Ok(Message::Binary(_))) => return close(&mut socket, close_code::UNSUPPORTED, "text only").await,
                Some(Ok(Message::Close(_))) => return Ok(()),
                Some(Ok(Message::Ping(_) | Message::Pong(_))) if !allowance.take(Instant::now()) => {
                    return close(&mut socket, close_code::POLICY, "too many messages").await;
                }
                Some(Ok(_)) => {}
            },
            Some(answer) = answered.recv() => send(&mut socket, Message::Text(answer)).await?,
            message = down.recv() => match message {
                Ok(PageMessage::Text(text)) => send(&mut socket, Message::Text(text)).await?,
                Ok(PageMessage::Frames(bytes)) => send(&mut socket, Message::Binary(bytes)).await?,
                // Too slow for the frames: it misses some, and the next ones say where they belong.
                Err(RecvError::Lagged(_)) => {
                    for text in so_far(&app) {
                        send(&mut socket, Message::Text(text)).await?;
                    }
                }
                Err(RecvError::Closed) => return Ok(()),
            },
        }
    }
}

async fn send(socket: &mut WebSocket, message: Message) -> Result<(), axum::Error> {
    timeout(PATIENCE, socket.send(message)).await.unwrap_or_else(|slow| Err(axum::Error::new(slow)))
}

async fn close(socket: &mut WebSocket, code: u16, reason: &'static str) -> Result<(), axum::Error> {
    send(socket, Message::Close(Some(CloseFrame { code, reason: Utf8Bytes::from_static(reason) }))).await
}

/// The messages that a page has to get first.
fn so_far(app: &ConsoleApp) -> Vec<Utf8Bytes> {
    let clock = Utf8Bytes::from(app.bench.clock().to_string());
    app.pages.so_far().into_iter().chain([clock]).collect()
}

/// A message of the page.
#[derive(Debug, Deserialize)]
struct Asking {
    /// Number that the answer carries.
    n: u64,
    /// The request.
    #[serde(flatten)]
    request: Request,
}

/// Carries out a message; its answer comes through `answers`.
fn listen(text: &str, app: &Arc<ConsoleApp>, answers: &mpsc::Sender<Utf8Bytes>) {
    let Asking { n, request } = match json::parse(text) {
        Ok(asking) => asking,
        Err(error) => {
            answer(answers, 0, Err(format!("the message can't be read: {error}")));
            return;
        }
    };
    let (reply, replied) = oneshot::channel();
    // A page that went away takes no answer.
    let is_order = app.bench.request(request, Box::new(move |done| _ = reply.send(done)));
    let answers = answers.clone();
    tokio::spawn(async move {
        let replied = if is_order { timeout(ANSWER + GRACE, replied).await } else { Ok(replied.await) };
        let done = match replied {
            Ok(Ok(done)) => done,
            Ok(Err(_)) => Err("the output has ended".to_owned()),
            Err(_) => Err("the output takes no frames; nothing was changed, and only a stop will follow".to_owned()),
        };
        answer(&answers, n, done);
    });
}

fn answer(answers: &mpsc::Sender<Utf8Bytes>, n: u64, done: Result<Value, String>) {
    let text = match done {
        Ok(value) => json!({"t": "answer", "n": n, "ok": true, "value": value}),
        Err(why) => json!({"t": "answer", "n": n, "ok": false, "why": why}),
    };
    // A page with so many answers waiting reads none.
    let _ = answers.try_send(Utf8Bytes::from(text.to_string()));
}

/// Messages that a page may still send.
struct Allowance {
    left: f64,
    since: Instant,
}

impl Allowance {
    fn new(now: Instant) -> Allowance {
        Allowance { left: BURST, since: now }
    }

    fn take(&mut self, now: Instant) -> bool {
        self.left = (self.left + now.duration_since(self.since).as_secs_f64() * PER_S).min(BURST);
        self.since = now;
        self.left -= 1.0;
        self.left >= 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_may_send_what_a_person_can_press_and_no_flood() {
        let start = Instant::now();
        let mut allowance = Allowance::new(start);
        let pressed = (0..1000).all(|i| allowance.take(start + Duration::from_millis(25 * i)));
        assert!(pressed, "40 a second are allowed");
        let end = start + Duration::from_secs(25);
        let let_in = (0..10_000).filter(|i| allowance.take(end + Duration::from_micros(100 * i))).count();
        assert!((100..=160).contains(&let_in), "{let_in}");
    }
}
