//! The log of a study: one JSON line for each finished variant, in order, so that a study that was stopped can go on.
//!
//! The first line says what the study is: its kind, the number of variants, and a fingerprint of the file, the options
//! and the version. A line that was cut short, as by a loss of power, is dropped and computed again.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// First line of a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// Kind of study: `faults`, `spread`.
    pub study: String,
    /// Version of the program.
    pub version: String,
    /// Number of variants.
    pub count: u64,
    /// SHA-256 of everything that the results depend on.
    pub fingerprint: String,
}

impl Header {
    /// Header of a study: `parts` is everything that its results depend on besides the version (text of the file, its
    /// options, the options of the study).
    pub fn new<'p>(study: &str, count: u64, parts: impl IntoIterator<Item = &'p str>) -> Header {
        let version = env!("CARGO_PKG_VERSION");
        Header { study: study.into(), version: version.into(), count, fingerprint: fingerprint(parts) }
    }
}

/// SHA-256, in hexadecimal digits, of texts and where each ends.
pub fn fingerprint<'p>(parts: impl IntoIterator<Item = &'p str>) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part.as_bytes());
    }
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Why a log cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The file is there and was not to be continued.
    #[error("{0} is there already: continue it (--resume), or name another file")]
    Exists(PathBuf),
    /// It belongs to another study.
    #[error("{path} is the log of another study: {what} differs; name another file")]
    Other {
        /// The file.
        path: PathBuf,
        /// What differs.
        what: &'static str,
    },
    /// It is no log, or a line in the middle of it is damaged.
    #[error("{path}:{line}: this is no line of a log: {source}")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Line, from 1.
        line: u64,
        /// Why it cannot be read.
        source: serde_json::Error,
    },
    /// The file cannot be read or written.
    #[error("{path}: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A result cannot be written.
    #[error("a result cannot be written to {path}: {source}")]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
}

/// An open log.
#[derive(Debug)]
pub struct Log {
    path: PathBuf,
    file: File,
    /// Whether lines of an earlier start are still to be read.
    begun: bool,
}

impl Log {
    /// Opens a log for a study. With `resume` a file that is there is continued; without, it must not be there.
    ///
    /// # Errors
    /// [`LogError`]; nothing is written over.
    pub fn open(path: &Path, header: &Header, resume: bool) -> Result<Log, LogError> {
        let io = |source| LogError::Io { path: path.to_path_buf(), source };
        if resume {
            let opened = OpenOptions::new().read(true).write(true).open(path);
            match opened {
                Ok(file) if file.metadata().map_err(io)?.len() > 0 => {
                    let log = Log { path: path.to_path_buf(), file, begun: true };
                    log.check(header)?;
                    return Ok(log);
                }
                Ok(file) => return Log::begin(path, file, header),
                Err(error) if error.kind() == ErrorKind::NotFound => {}
                Err(error) => return Err(io(error)),
            }
        }
        let file = OpenOptions::new().read(true).write(true).create_new(true).open(path);
        let file = file.map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => LogError::Exists(path.to_path_buf()),
            _ => io(error),
        })?;
        Log::begin(path, file, header)
    }

    fn begin(path: &Path, file: File, header: &Header) -> Result<Log, LogError> {
        let mut log = Log { path: path.to_path_buf(), file, begun: false };
        log.write(header)?;
        Ok(log)
    }

    fn io(&self, source: std::io::Error) -> LogError {
        LogError::Io { path: self.path.clone(), source }
    }

    fn check(&self, wanted: &Header) -> Result<(), LogError> {
        let mut line = String::new();
        BufReader::new(&self.file).read_line(&mut line).map_err(|e| self.io(e))?;
        let found: Header = serde_json::from_str(&line).map_err(|source| LogError::Damaged {
            path: self.path.clone(),
            line: 1,
            source,
        })?;
        let what = [
            (found.study != wanted.study, "the kind of study"),
            (found.version != wanted.version, "the version of hydro"),
            (found.fingerprint != wanted.fingerprint, "the file or an option"),
            (found.count != wanted.count, "the number of variants"),
        ];
        match what.into_iter().find(|(differs, _)| *differs) {
            Some((_, what)) => Err(LogError::Other { path: self.path.clone(), what }),
            None => Ok(()),
        }
    }

    /// Reads the results of an earlier start, in order; gives their number. The log then stands at its end, a last
    /// line that was cut short dropped.
    ///
    /// # Errors
    /// [`LogError`] where the file cannot be read or a whole line is damaged.
    pub fn replay<R: DeserializeOwned>(&mut self, mut sink: impl FnMut(u64, R)) -> Result<u64, LogError> {
        if !std::mem::take(&mut self.begun) {
            return Ok(0);
        }
        self.file.seek(SeekFrom::Start(0)).map_err(|e| self.io(e))?;
        let (mut end, mut count) = (0, 0);
        let mut line = Vec::new();
        let mut reader = BufReader::new(&self.file);
        for number in 1.. {
            line.clear();
            let length = reader.read_until(b'\n', &mut line).map_err(|e| self.io(e))?;
            if line.last() != Some(&b'\n') {
                break; // the end, or a line that was cut short
            }
            if number > 1 {
                let damaged = |source| LogError::Damaged { path: self.path.clone(), line: number, source };
                sink(count, serde_json::from_slice(&line).map_err(damaged)?);
                count += 1;
            }
            end += length as u64;
        }
        self.file.set_len(end).and_then(|()| self.file.seek(SeekFrom::Start(end))).map_err(|e| self.io(e))?;
        Ok(count)
    }

    /// Adds a result. It is handed to the operating system at once.
    ///
    /// # Errors
    /// [`LogError`] where the file cannot be written.
    pub fn write<R: Serialize>(&mut self, result: &R) -> Result<(), LogError> {
        let unwritable = |source| LogError::Unwritable { path: self.path.clone(), source };
        let mut line = serde_json::to_vec(result).map_err(unwritable)?;
        line.push(b'\n');
        self.file.write_all(&line).map_err(|e| self.io(e))
    }
}
