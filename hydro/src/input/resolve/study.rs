//! What the file says of studies.

use super::Resolver;
use crate::input::diagnostic::Spot;
use crate::input::fits;
use crate::input::schema::key_of_path;
use crate::input::set::some_of;
use crate::input::study::{FaultKind, Faults, Fit, Sizing, pair};
use crate::input::validate::Fields;
use crate::units::cut;

/// Most entries of a list of items to leave out.
const MOST_PATTERNS: usize = 1000;

impl<'t> Resolver<'t, '_> {
    /// Reads the block `faults`; what it names is checked when all names are known.
    pub(super) fn faults(&mut self, fields: &Fields<'t>) {
        let usual = Faults::default();
        let texts = |key: &str| fields.texts(key).iter().map(|(text, _)| text.to_string()).collect();
        self.studies.faults = Faults {
            low_charge: fields.number("low_charge").unwrap_or(usual.low_charge),
            plugged: fields.number("plugged").unwrap_or(usual.plugged),
            without: texts("without"),
            pairs: texts("pairs"),
        };
        self.fault_names.extend(fields.texts("without").iter().map(|&(text, spot)| (text, spot, false)));
        self.fault_names.extend(fields.texts("pairs").iter().map(|&(text, spot)| (text, spot, true)));
        if let Some(&(_, spot, _)) = self.fault_names.get(MOST_PATTERNS) {
            let hint = Some(format!("at most {MOST_PATTERNS}; `*` stands for any run of characters"));
            self.v.out.add("too_large", spot, "too many entries in the block `faults`", hint);
            self.fault_names.clear();
        }
    }

    /// Reads the block `sizing`; its paths are checked where they are set.
    pub(super) fn sizing(&mut self, fields: &Fields<'t>) {
        let usual = Sizing::default();
        let texts = |key: &str| fields.texts(key).iter().map(|(text, _)| text.to_string()).collect();
        self.studies.sizing = Sizing {
            vary: texts("vary"),
            lasts: fields.number("lasts"),
            plume_margin: fields.number("plume_margin").unwrap_or(usual.plume_margin),
            greatest_velocity: fields.number("greatest_velocity"),
            within_rating: fields.switch("within_rating").unwrap_or(usual.within_rating),
            bank_end_pressure: fields.number("bank_end_pressure"),
            total_flow: fields.number("total_flow"),
            unevenness: fields.number("unevenness"),
            cost: texts("cost"),
        };
        self.check_paths(fields, &[("vary", "PATH=LOW..HIGH UNIT"), ("cost", "PATH=NUMBER")]);
    }

    /// Checks that lists of `PATH=...` name keys.
    fn check_paths(&mut self, fields: &Fields<'t>, lists: &[(&str, &str)]) {
        for (key, form) in lists {
            for &(text, spot) in fields.texts(key) {
                let path = text.split_once('=').map_or("", |(path, _)| path);
                if key_of_path(path.trim()).is_none() {
                    let message = format!("`{}` names no key of a network file", cut(text));
                    let hint = Some(format!("{form}, PATH as in --set: tanks.burst-1.pressure"));
                    self.v.out.add("unknown_key", spot, message, hint);
                }
            }
        }
    }

    /// Reads the block `fit`; what its paths and columns name is checked where the record is read.
    pub(super) fn fit(&mut self, fields: &Fields<'t>) {
        let texts = |key: &str| fields.texts(key).iter().map(|(text, _)| text.to_string()).collect();
        let offset = fields.numbers("offset");
        let bounds = offset.as_ref().and_then(|bounds| <[f64; 2]>::try_from(bounds.as_slice()).ok());
        let bounds = bounds.filter(|[low, high]| low < high);
        if offset.is_some() && bounds.is_none() {
            let message = "`offset` holds the least and the greatest time that is added".to_string();
            self.v.out.add("bad_order", fields.spot_of("offset"), message, Some("[-5 s, 5 s]".to_string()));
        }
        self.studies.fit = Fit {
            record: fields.text("record").map(str::to_string),
            vary: texts("vary"),
            columns: texts("columns"),
            offset: bounds,
            noise: texts("noise"),
        };
        self.check_paths(fields, &[("vary", "PATH=LEAST..MOST UNIT")]);
        for &(text, spot) in fields.texts("noise") {
            if !text.contains('=') {
                let message = format!("`{}` gives no noise", cut(text));
                let hint = Some("COLUMN=VALUE, as in tanks.t.pressure=0.02 bar".to_string());
                self.v.out.add("bad_form", spot, message, hint);
            }
        }
    }

    /// Checks what the block `faults` names.
    pub(super) fn check_fault_names(&mut self) {
        for (text, spot, is_pair) in std::mem::take(&mut self.fault_names) {
            if !is_pair {
                self.check_fault(text, spot);
                continue;
            }
            let known = |side: &str| {
                let name = side.rsplit_once('/').filter(|(_, kind)| is_kind(kind)).map(|(item, _)| item);
                name.is_some_and(|name| self.names.get(name).is_some())
            };
            if pair(text, known).is_none() {
                let message = format!("`{}` is no pair of failures of items of this file", cut(text));
                let hint = format!("ITEM/KIND + ITEM/KIND, KIND one of {}", kinds());
                self.v.out.add("unknown_name", spot, message, Some(hint));
            }
        }
    }

    fn check_fault(&mut self, text: &str, spot: Spot) {
        let (item, kind) = match text.rsplit_once('/') {
            // A name may hold a stroke itself.
            Some((item, kind)) if self.names.get(text).is_none() => (item, Some(kind)),
            _ => (text, None),
        };
        if !self.names.any(|name| fits(name, item)) {
            let near = self.v.nearest.of(item, self.names.all());
            let some: Vec<String> = self.names.all().take(9).map(str::to_string).collect();
            let hint = near.map_or_else(|| format!("the name of an item: {}", some_of(&some)), |n| format!("`{n}`"));
            let message = format!("nothing is named `{}`", cut(item));
            self.v.out.add("unknown_name", spot, message, Some(hint));
        } else if let Some(kind) = kind
            && !FaultKind::ALL.iter().any(|known| fits(known.label(), kind))
        {
            let near = self.v.nearest.of(kind, FaultKind::ALL.iter().map(|k| k.label()));
            let hint = near.map_or_else(|| format!("one of {}", kinds()), |n| format!("`{item}/{n}`"));
            self.v.out.add("unknown_word", spot, format!("there is no failure `{}`", cut(kind)), Some(hint));
        }
    }
}

fn is_kind(text: &str) -> bool {
    FaultKind::ALL.iter().any(|kind| kind.label() == text)
}

fn kinds() -> String {
    FaultKind::ALL.iter().map(|kind| kind.label()).collect::<Vec<_>>().join(", ")
}
