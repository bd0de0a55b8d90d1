//! One line with one device: reads, lets the session decide, writes.

use std::collections::VecDeque;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::time::{Instant, timeout};

use super::host::{Conversation, Host};
use crate::shape::record::Assumptions;
use crate::shape::wire::{LineEvent, LineOutcome, Session, Timing};

/// How much is read at once. A line is not read while a message is answered, so no more than this waits in memory.
const READ_BYTES: usize = 4096;
/// A device that takes nothing for so long is gone. A trace of 1,000 points takes about 15 s at 9600 baud.
const WRITE_TIME: Duration = Duration::from_secs(120);

/// What is known of a line before anything is said.
#[derive(Debug, Clone, Default)]
pub struct DeviceLine {
    /// The address the device connects from, or its port.
    pub device: String,
    /// What it does otherwise.
    pub assumptions: Assumptions,
    /// How long is waited.
    pub timing: Timing,
    /// A line on which nothing was said for so long is closed.
    pub idle: Option<Duration>,
}

/// Why a line ended.
enum End {
    /// The device is gone.
    Gone,
    /// It was closed from here, which was told.
    Closed,
}

/// Talks with a device until the line ends.
pub async fn attend(mut stream: impl AsyncRead + AsyncWrite + Unpin, line: DeviceLine, host: &Host) {
    let mut talk = Talk {
        session: Session::new(line.assumptions, line.timing),
        conversation: Conversation::new(&line.device),
        opened: Instant::now(),
        line,
        host,
    };
    host.say(&talk.conversation.name(), "is connected");
    let end = talk.run(&mut stream).await;
    let left = talk.session.end();
    let _ = talk.act(&mut stream, left).await;
    if matches!(end, End::Gone) {
        host.say(&talk.conversation.name(), "is gone");
    }
}

struct Talk<'a> {
    session: Session,
    conversation: Conversation,
    opened: Instant,
    line: DeviceLine,
    host: &'a Host,
}

impl Talk<'_> {
    async fn run(&mut self, stream: &mut (impl AsyncRead + AsyncWrite + Unpin)) -> End {
        let mut buffer = vec![0; READ_BYTES];
        let mut heard = self.opened;
        loop {
            let due = self.session.deadline().map(|due| self.opened + due);
            let idle = self.line.idle.map(|idle| heard + idle);
            let until = [due, idle].into_iter().flatten().min();
            let read = match until {
                Some(until) => timeout(until.saturating_duration_since(Instant::now()), stream.read(&mut buffer)).await,
                None => Ok(stream.read(&mut buffer).await),
            };
            let outcomes = match read {
                Ok(Ok(0) | Err(_)) => return End::Gone,
                Ok(Ok(count)) => {
                    heard = Instant::now();
                    self.host.keep_raw(&self.conversation.name(), false, &buffer[..count]);
                    self.session.receive(&buffer[..count], self.opened.elapsed())
                }
                Err(_) if idle.is_some_and(|idle| Instant::now() >= idle) => {
                    self.host.say(&self.conversation.name(), "said nothing for an hour; the line was closed");
                    return End::Closed;
                }
                Err(_) => self.session.pass(self.opened.elapsed()),
            };
            if let Err(end) = self.act(stream, outcomes).await {
                return end;
            }
        }
    }

    async fn act(
        &mut self,
        stream: &mut (impl AsyncRead + AsyncWrite + Unpin),
        outcomes: Vec<LineOutcome>,
    ) -> Result<(), End> {
        let mut outcomes = VecDeque::from(outcomes);
        while let Some(outcome) = outcomes.pop_front() {
            match outcome {
                LineOutcome::Send(bytes) => {
                    self.host.keep_raw(&self.conversation.name(), true, &bytes);
                    write(stream, &bytes).await?;
                }
                LineOutcome::Asked(message) => {
                    let answer = self.host.answer(message, &mut self.conversation, self.line.assumptions).await;
                    outcomes.extend(self.session.answer(answer, self.opened.elapsed()));
                }
                LineOutcome::Told(event @ LineEvent::Stray(_)) => {
                    self.host.say(&self.conversation.name(), &event.to_string())
                }
                LineOutcome::Told(event) => self.host.say_trouble(&self.conversation.name(), &event.to_string()),
                LineOutcome::Close(why) => {
                    self.host.say_trouble(&self.conversation.name(), &why.to_string());
                    return Err(End::Closed);
                }
            }
        }
        Ok(())
    }
}

async fn write(stream: &mut (impl AsyncWrite + Unpin), bytes: &[u8]) -> Result<(), End> {
    let sent = timeout(WRITE_TIME, async {
        stream.write_all(bytes).await?;
        stream.flush().await
    });
    match sent.await {
        Ok(Ok(())) => Ok(()),
        _ => Err(End::Gone),
    }
}
