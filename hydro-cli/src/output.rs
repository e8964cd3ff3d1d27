//! Standard output, and how a command can go.

use std::io::{self, ErrorKind, Write};

use serde::Serialize;

/// Exit status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Status {
    /// Solved, and every requirement met.
    Met = 0,
    /// Solved, and some requirement not met.
    Missed = 1,
    /// The input, the command line or a place to write to is wrong.
    Wrong = 2,
    /// It could not be solved.
    Unsolved = 3,
}

impl Status {
    /// Status of something solved.
    pub fn solved(requirements_met: bool) -> Self {
        if requirements_met { Status::Met } else { Status::Missed }
    }
}

/// Why a command did not do what was asked.
#[derive(Debug)]
pub struct Failure {
    /// Exit status.
    pub status: Status,
    /// For standard error.
    pub message: String,
}

impl Failure {
    /// Something about the input, the command line or a file to write.
    pub fn wrong(message: impl Into<String>) -> Self {
        Failure { status: Status::Wrong, message: message.into() }
    }

    /// Something that could not be solved.
    pub fn unsolved(error: &dyn std::error::Error) -> Self {
        Failure { status: Status::Unsolved, message: format!("error: {}", chain(error)) }
    }
}

/// An error and what caused it, as one line; a cause that is already in the text is not said again.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let words = error.to_string();
        if !text.contains(&words) {
            text += &format!(": {words}");
        }
        cause = error.source();
    }
    text
}

/// Writes to standard output. A reader that has gone away is no failure.
pub fn write(print: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Failure> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    match print(&mut out).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::wrong(format!("error: cannot write to standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Writes one result: as one JSON document, or as text.
pub fn result<J: Serialize>(
    json: bool,
    document: impl FnOnce() -> J,
    text: impl FnOnce() -> String,
) -> Result<(), Failure> {
    write(|out| {
        if json {
            serde_json::to_writer(&mut *out, &document())?;
            writeln!(out)
        } else {
            out.write_all(text().as_bytes())
        }
    })
}
