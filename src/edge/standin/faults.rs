//! Faults that a test scripts: the next calls of a method fail in the way asked for, then all is well again.

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// 429, and how many seconds to wait.
    TooMany { retry_after: u32 },
    /// An HTTP 5xx with an answer in the platform's shape.
    ServerError,
    /// 502 with a page: something before the platform answers.
    BadGateway,
    /// 200 with a page instead of JSON.
    NotJson,
    /// 403: the bot was blocked or put out.
    Blocked,
    /// 400: the group lets the bot write nothing.
    Silenced,
    /// 409: another program gets the updates.
    Conflict,
    /// The connection ends without an answer, and nothing was done.
    Hangup,
    /// It was done, but the connection ends before the answer.
    LostAnswer,
    /// It was done, but the connection ends within the answer.
    HalfAnswer,
}

#[derive(Default)]
pub(super) struct Faults {
    scripted: Vec<Scripted>,
}

struct Scripted {
    method: String,
    chat: Option<i64>,
    times: u32,
    fault: Fault,
}

impl Faults {
    pub(super) fn script(&mut self, method: &str, chat: Option<i64>, times: u32, fault: Fault) {
        self.scripted.push(Scripted { method: method.to_ascii_lowercase(), chat, times, fault });
    }

    /// The fault this call meets; it is used up by that.
    pub(super) fn take(&mut self, method: &str, chat: Option<i64>) -> Option<Fault> {
        let scripted = self.scripted.iter_mut().find(|s| {
            s.times > 0 && (s.method == "*" || s.method == method) && (s.chat.is_none() || s.chat == chat)
        })?;
        scripted.times -= 1;
        Some(scripted.fault.clone())
    }
}
