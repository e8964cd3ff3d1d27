//! Reading the network file that a command names.

use std::io::Read;
use std::path::Path;

use hydro::input::{self, Input, Template};

use crate::args::Source;
use crate::output::Failure;

/// Most that is read from standard input, bytes: as much as of a file.
const LONGEST: u64 = 64 << 20;

/// Reads the file, or standard input for `-`, with the values set on the command line.
pub fn read(source: &Source) -> Result<Input, Failure> {
    let read = if source.file == Path::new("-") {
        input::read_text("standard input", &standard_input()?, &source.set)
    } else {
        input::read_file(&source.file, &source.set)
    };
    read.map_err(|rejected| Failure::wrong(rejected.render()))
}

/// As [`read`], for many variants.
pub fn template(source: &Source) -> Result<Template, Failure> {
    let read = if source.file == Path::new("-") {
        Template::read_text("standard input", &standard_input()?, &source.set)
    } else {
        Template::read_file(&source.file, &source.set)
    };
    read.map_err(|rejected| Failure::wrong(rejected.render()))
}

/// All of standard input.
fn standard_input() -> Result<String, Failure> {
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().take(LONGEST + 1).read_to_end(&mut bytes);
    read.map_err(|error| Failure::wrong(format!("error: cannot read standard input: {error}")))?;
    if bytes.len() as u64 > LONGEST {
        return Err(Failure::wrong(format!("error: standard input is longer than {} MiB", LONGEST >> 20)));
    }
    String::from_utf8(bytes).map_err(|error| {
        let place = error.utf8_error().valid_up_to();
        Failure::wrong(format!("error: standard input is not text: byte {place} is not UTF-8; a network file is YAML"))
    })
}
