//! The log: a line a request, and whatever failed, each under the id of its request or job.
//!
//! No line holds a query, a header, a body or an input: the path of a request, ids and causes are all that is written.

use clap::ValueEnum;
use tracing::{Subscriber, error};
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::{EnvFilter, fmt};

/// How a line is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people
    Text,
    /// One JSON object a line; `spans` holds the ids
    Json,
}

/// The log, from what it lets through (`SLOWPOINT_LOG`) to where it goes.
pub fn to<W>(format: Format, filter: EnvFilter, writer: W) -> Box<dyn Subscriber + Send + Sync>
where
    W: for<'a> MakeWriter<'a> + Send + Sync + 'static,
{
    let lines = fmt().with_env_filter(filter).with_target(false).with_writer(writer);
    match format {
        Format::Text => Box::new(lines.finish()),
        Format::Json => Box::new(lines.json().flatten_event(true).with_current_span(false).finish()),
    }
}

/// Where and why JSON could not be read, without the reader's words: they quote what stands there.
pub fn unread(error: &serde_json::Error) -> String {
    format!("{:?} at line {}, column {}", error.classify(), error.line(), error.column())
}

/// What a panic says belongs in the log, never in an answer.
pub fn panics() {
    std::panic::set_hook(Box::new(|panic| {
        let thread = std::thread::current();
        let thread = thread.name().unwrap_or("without a name");
        if rayon::current_thread_index().is_some() {
            // A thread of a pool helps whoever has work: its span may be another's. Whose panic it is says the line "work is
            // lost", which follows.
            error!(parent: None, thread, %panic, "panicked");
        } else {
            error!(thread, %panic, "panicked");
        }
    }));
}
