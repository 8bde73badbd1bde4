//! A session's record in the making: its answers, judged as they come, and the draft that keeps each of them.

pub mod answers;
pub mod draft;
