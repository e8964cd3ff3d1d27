//! JSON Schema of the network file, made from the table of keys, for editors.

use serde_json::{Map, Value, json};

use super::schema::{CORRELATION, Group, Key, Kind, Need, Range, SECTIONS, SectionType, Type};
use crate::component::fitting;
use crate::units::Dimension;

/// A number as the reader takes it.
const NUMBER: &str = r"[-+\u2212]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?";

/// The JSON Schema (draft 2020-12) of the network file.
///
/// It describes keys, words and the shape of values; what needs the whole file (references, units against dimensions
/// beyond their presence, sums) only the reader checks.
pub fn json_schema() -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for section in SECTIONS {
        let mut schema = match &section.ty {
            SectionType::Key(key) => key_schema(key),
            SectionType::One(group, need) => {
                if *need == Need::Required {
                    required.push(section.name);
                }
                group_schema(group)
            }
            SectionType::Items(kind, group) => json!({
                "type": ["object", "null"],
                "propertyNames": {"minLength": 1, "pattern": r"^[^\u0000-\u001f\u007f-\u009f]*$"},
                "additionalProperties": item_schema(*kind, group),
            }),
        };
        describe(&mut schema, section.doc);
        properties.insert(section.name.to_string(), schema);
    }
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "hydro network file",
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

fn item_schema(kind: Kind, group: &Group) -> Value {
    let mut schema = group_schema(group);
    if let Some(map) = schema.as_object_mut() {
        map.insert("title".into(), json!(kind.noun()));
    }
    schema
}

fn describe(schema: &mut Value, doc: &str) {
    if let Some(map) = schema.as_object_mut() {
        map.insert("description".into(), json!(doc));
    }
}

fn group_schema(group: &Group) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    let mut all_of = Vec::new();
    for key in group.keys {
        properties.insert(key.name.to_string(), key_schema(key));
        match key.need {
            Need::Required => required.push(key.name),
            Need::Unless(other) => {
                all_of.push(json!({"anyOf": [{"required": [key.name]}, {"required": [other]}]}));
            }
            Need::Optional(_) | Need::Choice => {}
        }
    }
    for choice in group.choices {
        let options: Vec<Value> = choice
            .options
            .iter()
            .map(|keys| {
                let others = choice.options.iter().flat_map(|o| o.iter()).filter(|k| !keys.contains(k));
                let none: Vec<Value> = others.map(|k| json!({"required": [k]})).collect();
                json!({"required": keys, "not": {"anyOf": none}})
            })
            .collect();
        all_of.push(json!({"oneOf": options}));
    }
    let mut schema = json!({"type": "object", "properties": properties, "additionalProperties": false});
    if let Some(map) = schema.as_object_mut() {
        if !required.is_empty() {
            map.insert("required".into(), json!(required));
        }
        if !all_of.is_empty() {
            map.insert("allOf".into(), json!(all_of));
        }
    }
    schema
}

fn key_schema(key: &Key) -> Value {
    let mut schema = match key.ty {
        Type::Text | Type::Reference(_) => json!({"type": ["string", "number"]}),
        Type::Value(dimension, range) => value_schema(dimension, range),
        Type::ValueOr(dimension, range, word) => json!({"anyOf": [value_schema(dimension, range), {"const": word}]}),
        Type::Absolute(_) => json!({"type": "string", "pattern": format!(r"^\s*{NUMBER}\s*.*(\((a|abs)\)|a)\s*$")}),
        Type::Table(dimension, range) => {
            json!({"anyOf": [value_schema(dimension, range), table_schema(dimension, range)]})
        }
        Type::Load(dimension, range, pattern) => {
            let forms = [value_schema(dimension, range), table_schema(dimension, range), group_schema(pattern)];
            json!({"anyOf": forms})
        }
        Type::Count(min, max) => json!({"type": "integer", "minimum": min, "maximum": max}),
        Type::Switch => json!({"enum": [true, false, "on", "off"]}),
        Type::Words(words) => json!({"enum": words}),
        Type::Group(group) => group_schema(group),
        Type::List(group) => json!({"type": "array", "items": group_schema(group)}),
        Type::ShareOrGroup(words, range, group) => {
            json!({"anyOf": [{"enum": words}, value_schema(Dimension::Share, range), group_schema(group)]})
        }
        Type::Point | Type::Size => point_schema(),
        Type::Polygon => json!({"type": "array", "items": point_schema(), "minItems": 3}),
        Type::Points => {
            json!({"anyOf": [point_schema(), {"type": "array", "items": point_schema(), "minItems": 1}]})
        }
        Type::Numbers(dimension, range) => list_schema(value_schema(dimension, range)),
        Type::Rows(dimension, range) => {
            let row = list_schema(value_schema(dimension, range));
            json!({"anyOf": [row.clone(), list_schema(row)]})
        }
        Type::Cells => {
            json!({"type": "array", "items": {"type": "integer", "minimum": 1}, "minItems": 2, "maxItems": 2})
        }
        Type::Texts => json!({"type": "array", "items": {"type": ["string", "number"]}}),
        Type::Matrix => {
            json!({"type": "array", "items": {"type": "array", "items": value_schema(Dimension::Pure, CORRELATION)}})
        }
        Type::Fittings => {
            let count = json!({"type": "integer", "minimum": 0, "maximum": 10_000});
            let properties: Map<String, Value> = fitting::names().map(|n| (n.to_string(), count.clone())).collect();
            json!({"type": "object", "properties": properties, "additionalProperties": false})
        }
    };
    let doc = match (key.need, range_of(key)) {
        (Need::Optional(default), Some(range)) => format!("{} Must be {range}. Left out: {default}.", key.doc),
        (Need::Optional(default), None) => format!("{} Left out: {default}.", key.doc),
        (_, Some(range)) => format!("{} Must be {range}.", key.doc),
        _ => key.doc.to_string(),
    };
    describe(&mut schema, &doc);
    if let (Some(map), Type::Value(..) | Type::Text | Type::Absolute(_)) = (schema.as_object_mut(), key.ty) {
        let example: Value = match serde_json::from_str(key.example) {
            Ok(example) => example,
            Err(_) => json!(key.example),
        };
        map.insert("examples".into(), json!([example]));
    }
    schema
}

/// Admissible range of a key in words.
pub(super) fn range_of(key: &Key) -> Option<&'static str> {
    match key.ty {
        Type::Value(_, range)
        | Type::ValueOr(_, range, _)
        | Type::Absolute(range)
        | Type::Table(_, range)
        | Type::Load(_, range, _)
        | Type::Numbers(_, range)
        | Type::Rows(_, range) => Some(range.text),
        _ => None,
    }
}

fn value_schema(dimension: Dimension, range: Range) -> Value {
    match dimension {
        Dimension::Pure | Dimension::Share => {
            let mut number = json!({"type": "number"});
            if let Some(map) = number.as_object_mut() {
                map.insert(if range.above { "exclusiveMinimum" } else { "minimum" }.into(), json!(range.min));
                map.insert(if range.below { "exclusiveMaximum" } else { "maximum" }.into(), json!(range.max));
            }
            let unit = if dimension == Dimension::Share { r"\s*%?" } else { "" };
            json!({"anyOf": [number, {"type": "string", "pattern": format!(r"^\s*{NUMBER}{unit}\s*$")}]})
        }
        Dimension::Pressure => {
            json!({"type": "string", "pattern": format!(r"^\s*{NUMBER}\s*.*(\((g|a|gauge|abs)\)|[ga])\s*$")})
        }
        _ => json!({"type": "string", "pattern": format!(r"^\s*{NUMBER}\s*[^\s\d].*$")}),
    }
}

/// A table over time.
fn table_schema(dimension: Dimension, range: Range) -> Value {
    json!({
        "type": "object",
        "properties": {
            "time": {"type": "array", "items": value_schema(Dimension::Time, range), "minItems": 1},
            "value": {"type": "array", "items": value_schema(dimension, range), "minItems": 1},
        },
        "required": ["time", "value"],
        "additionalProperties": false,
    })
}

fn list_schema(items: Value) -> Value {
    json!({"type": "array", "items": items, "minItems": 1})
}

fn point_schema() -> Value {
    let length = json!({"type": "string", "pattern": format!(r"^\s*{NUMBER}\s*[^\s\d].*$")});
    json!({"type": "array", "items": length, "minItems": 2, "maxItems": 2})
}
