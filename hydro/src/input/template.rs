//! A file read once, from which many variants are made by `--set` options.

use std::path::{Path, PathBuf};

use super::diagnostic::{Collector, Source};
use super::files::{FileReader, Files};
use super::names::Nearest;
use super::spread::{self, Spread};
use super::varied::{self, Varied};
use super::{Input, Rejected, beside, render, resolve, set, text_of_file, tree, written};

/// A network file read into its tree, with the options that hold for all its variants.
///
/// A variant costs a copy of the tree, its options and the resolving of names: the YAML text is not read again. What
/// `read_file` says of the same file and options is the same by construction, since it goes this way too.
#[derive(Debug)]
pub struct Template {
    name: String,
    text: String,
    root: tree::Node,
    sets: Vec<String>,
    /// Where files that the network file names are looked for.
    folder: Option<PathBuf>,
}

impl Template {
    /// Reads a file; `sets` hold for every variant.
    ///
    /// # Errors
    /// When the file cannot be read or is no YAML. What is wrong with its keys is said of its variants.
    pub fn read_file(path: &Path, sets: &[String]) -> Result<Template, Rejected> {
        let text = text_of_file(path, sets)?;
        let folder = Some(path.parent().unwrap_or(Path::new("")).to_path_buf());
        Ok(Template { folder, ..Template::read_text(&path.display().to_string(), &text, sets)? })
    }

    /// Reads a text; `name` stands for the file in messages. Files that it names cannot be read.
    ///
    /// # Errors
    /// As [`Template::read_file`].
    pub fn read_text(name: &str, text: &str, sets: &[String]) -> Result<Template, Rejected> {
        let mut out = Collector::default();
        match tree::read(text, Source::File, 1, &mut out) {
            Some(root) if out.is_empty() => {
                let (name, text, sets) = (name.to_string(), text.to_string(), sets.to_vec());
                Ok(Template { name, text, root, sets, folder: None })
            }
            Some(mut root) => {
                // No variant can be computed: all that is wrong is said at once.
                let mut nearest = Nearest::default();
                let overrides = set::apply(&mut root, sets, &mut nearest, &mut out);
                let files = Files::new(|named| beside(None, named));
                let _ = resolve::resolve(&root, &overrides, (nearest, files), &mut out);
                Err(rejected(name, text, sets, out))
            }
            None => Err(rejected(name, text, sets, out)),
        }
    }

    /// The text of the file.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Name of the file, as in messages.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The options that hold for every variant.
    pub fn sets(&self) -> &[String] {
        &self.sets
    }

    /// The network with more options, `PATH=VALUE`, after those of the template.
    ///
    /// # Errors
    /// Everything that is wrong with the file and the options, at once.
    pub fn input(&self, more: &[String]) -> Result<Input, Rejected> {
        let mut sets = self.sets.clone();
        sets.extend_from_slice(more);
        let files = &mut |named: &Path| beside(self.folder.as_deref(), named);
        // Blocks that say how to make variants are no part of a variant.
        understand(&self.name, &self.text, self.root.clone(), &sets, (files, more.is_empty()))
    }

    /// What the block `spread` says, with more options; `None` where the file has none.
    ///
    /// # Errors
    /// Everything that is wrong with the block, where the file is right otherwise.
    pub fn spread(&self, more: &[String]) -> Result<Option<Spread>, Rejected> {
        let mut sets = self.sets.clone();
        sets.extend_from_slice(more);
        let (mut out, mut root) = (Collector::default(), self.root.clone());
        let mut overrides = set::apply(&mut root, &sets, &mut Nearest::default(), &mut out);
        let ambient_pressure = resolve::ambient_pressure(&root);
        let spread = spread::read(&mut root, &mut overrides, ambient_pressure, &mut out);
        if out.is_empty() { Ok(spread) } else { Err(rejected(&self.name, &self.text, &sets, out)) }
    }

    /// Quantities to vary between bounds, each as `PATH=LEAST..MOST`.
    ///
    /// # Errors
    /// In words, what is wrong with the first of them that is.
    pub fn varied(&self, texts: &[String]) -> Result<Vec<Varied>, String> {
        let (mut out, mut root) = (Collector::default(), self.root.clone());
        let mut overrides = set::apply(&mut root, &self.sets, &mut Nearest::default(), &mut out);
        texts.iter().map(|text| varied::read(&mut root, &mut overrides, text)).collect()
    }

    /// The text of the file with other values at some places, everything else as it is.
    ///
    /// # Errors
    /// In words, where a value is not written in the file by itself.
    pub fn rewritten(&self, changes: &[(&Varied, f64)]) -> Result<String, String> {
        let network = |text: &str, sets: &[String]| {
            let mut template = Template::read_text(&self.name, text, sets).map_err(|error| error.render())?;
            template.folder = self.folder.clone();
            template.input(&[]).map(|input| input.network).map_err(|error| error.render())
        };
        let (text, sets) = varied::rewrite(&self.text, &self.sets, changes)?;
        // What is written is what was fitted.
        if network(&text, &self.sets)? == network(&self.text, &[self.sets.clone(), sets].concat())? {
            Ok(text)
        } else {
            Err("the file gives a value in more than one place (an alias?): change it by hand".to_string())
        }
    }

    /// The text of a file that holds the network of this one with more options, to be read from `folder`: the same text
    /// with the options in its block `set`, and without its block `spread`.
    ///
    /// # Errors
    /// In words, where such a file would not hold the same.
    pub fn written_with(&self, more: &[String], folder: &Path) -> Result<String, String> {
        let own = written::entries(&self.root).into_iter().map(|(text, _)| text);
        let sets = self.sets.iter().filter(|set| !set.trim().starts_with("spread."));
        let options: Vec<String> = own.chain(sets.cloned()).chain(more.iter().cloned()).collect();
        let text = written::with(&self.text, &self.root, &options)?;
        let Ok(wanted) = self.input(more) else {
            return Ok(text); // it is wrong there as it is here
        };
        let read = Template::read_text(&self.name, &text, &[]).and_then(|mut read| {
            read.folder = Some(folder.to_path_buf());
            read.input(&[])
        });
        match read {
            Ok(found) if found.network == wanted.network => Ok(text),
            Ok(_) => Err("the file written would hold other values: this is a fault of the program".to_string()),
            Err(error) => Err(format!(
                "the file cannot be read from there (files that it names are looked for beside it):\n{}",
                error.render()
            )),
        }
    }

    /// The network of the template itself, whose tree is used up.
    pub(super) fn into_input(self) -> Result<Input, Rejected> {
        let folder = self.folder.clone();
        self.into_input_with(&mut |named| beside(folder.as_deref(), named))
    }

    /// The same, with files read by `files`.
    pub(super) fn into_input_with(self, files: &mut FileReader<'_>) -> Result<Input, Rejected> {
        understand(&self.name, &self.text, self.root, &self.sets, (files, true))
    }
}

fn understand(
    name: &str,
    text: &str,
    mut root: tree::Node,
    sets: &[String],
    (files, whole): (&mut FileReader<'_>, bool),
) -> Result<Input, Rejected> {
    let (mut out, mut nearest) = (Collector::default(), Nearest::default());
    let mut overrides = set::apply(&mut root, sets, &mut nearest, &mut out);
    let resolved = resolve::resolve(&root, &overrides, (nearest, Files::new(|named| files(named))), &mut out);
    if whole && out.is_empty() && resolved.is_some() {
        let ambient_pressure = resolve::ambient_pressure(&root);
        spread::read(&mut root, &mut overrides, ambient_pressure, &mut out);
    }
    match resolved {
        Some(input) if out.is_empty() => Ok(input),
        _ => Err(rejected(name, text, sets, out)),
    }
}

fn rejected(name: &str, text: &str, sets: &[String], out: Collector) -> Rejected {
    let diagnostics = out.finish(sets);
    let excerpts = render::excerpts(&diagnostics, text);
    Rejected { name: name.to_string(), diagnostics, excerpts }
}

#[cfg(test)]
mod tests {
    use super::Template;
    use crate::input::read_text;

    const TEXT: &str = "
site: {ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}
tanks: {t: {volume: 2 m3, diameter: 1 m, bottom: 3 m, filled: 80 %, pressure: 2 bar(g)}}
pipes: {p: {from: t, to: out, length: 3 m, bore: 50 mm, roughness: 0.05 mm}}
outfalls: {out: {elevation: 0 m}}
";

    #[test]
    fn a_variant_is_what_the_file_with_its_options_is() {
        let options = |list: &[&str]| list.iter().map(ToString::to_string).collect::<Vec<_>>();
        let template = Template::read_text("f.yaml", TEXT, &options(&["tanks.t.pressure=3 bar(g)"])).unwrap();
        let more = options(&["tanks.*.water=1 m3", "pipes.p.bore=2 in"]);
        let all = options(&["tanks.t.pressure=3 bar(g)", "tanks.*.water=1 m3", "pipes.p.bore=2 in"]);
        let wanted = read_text("f.yaml", TEXT, &all).unwrap();
        assert_eq!(template.input(&more).unwrap(), wanted);
        // The template is as it was.
        assert_eq!(template.input(&[]).unwrap(), read_text("f.yaml", TEXT, template.sets()).unwrap());
    }

    #[test]
    fn what_is_wrong_with_a_variant_is_said_in_the_same_words() {
        let template = Template::read_text("f.yaml", TEXT, &[]).unwrap();
        let wrong = ["tanks.t.presure=3 bar(g)".to_string()];
        assert_eq!(template.input(&wrong).unwrap_err(), read_text("f.yaml", TEXT, &wrong).unwrap_err());
        assert!(Template::read_text("f.yaml", "a: [", &[]).is_err());
    }
}
