//! Why a text is no value, and what would be right.

use super::Dimension;

/// Why a text is no value of the dimension that is wanted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// The text does not begin with a number.
    #[error("`{text}` is not a number and a unit")]
    NotANumber {
        /// The text.
        text: String,
    },
    /// The number is too large, or is written as infinity or not-a-number.
    #[error("`{text}` is not a finite number")]
    NotFinite {
        /// The text.
        text: String,
    },
    /// Digits or a comma follow the number: a thousands separator or a decimal comma.
    #[error("`{text}` has a comma or a space inside the number")]
    Separator {
        /// The text.
        text: String,
    },
    /// A number without a unit.
    #[error("`{text}` has no unit; {} is wanted", .wanted.name())]
    MissingUnit {
        /// The text.
        text: String,
        /// What is wanted.
        wanted: Dimension,
    },
    /// A unit that is not in the table.
    #[error("`{unit}` is not a known unit")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
    },
    /// `a/b c`: unclear whether c is above or below the line.
    #[error("`{unit}` does not say whether what follows the `/` is divided by")]
    Ambiguous {
        /// The unit as written.
        unit: String,
    },
    /// A unit of another dimension.
    #[error("`{text}` is {found}; {} is wanted", .wanted.name())]
    WrongDimension {
        /// The text.
        text: String,
        /// What the unit measures.
        found: String,
        /// What is wanted.
        wanted: Dimension,
    },
    /// A pressure level without gauge or absolute.
    #[error("`{text}` does not say whether it is gauge or absolute")]
    ReferenceMissing {
        /// The text.
        text: String,
        /// The unit as written.
        unit: String,
    },
    /// Gauge or absolute where it has no meaning.
    #[error("`{text}` says gauge or absolute, but {} is wanted", .wanted.name())]
    ReferenceNotWanted {
        /// The text.
        text: String,
        /// What is wanted.
        wanted: Dimension,
    },
}

impl UnitError {
    /// What would be right.
    pub fn hint(&self, wanted: Dimension) -> String {
        let units = wanted.usual_units().join(", ");
        match self {
            UnitError::NotANumber { .. } | UnitError::NotFinite { .. } => wanted.example().to_string(),
            UnitError::Separator { text } => {
                let joined: String = text.chars().filter(|c| !c.is_whitespace() && *c != ',').take(40).collect();
                format!("digits without separators and a decimal point, such as {} (not {joined})", wanted.example())
            }
            UnitError::MissingUnit { text, .. } => match wanted.usual_units() {
                [_, second, ..] if matches!(wanted, Dimension::Pressure | Dimension::Temperature) => {
                    format!("{text} {second} (or another of {units})")
                }
                [first, ..] => format!("{text} {first} (or another of {units})"),
                [] => wanted.example().to_string(),
            },
            UnitError::Ambiguous { unit } => match unit.split_once('/') {
                Some((above, below)) => format!("{above}/({below})"),
                None => wanted.example().to_string(),
            },
            UnitError::ReferenceMissing { text, .. } => {
                format!("{text}(g) above the surroundings, or {text}(a) above vacuum")
            }
            UnitError::UnknownUnit { .. } | UnitError::WrongDimension { .. } | UnitError::ReferenceNotWanted { .. }
                if units.is_empty() =>
            {
                format!("a number without a unit, such as {}", wanted.example())
            }
            UnitError::UnknownUnit { .. } | UnitError::WrongDimension { .. } | UnitError::ReferenceNotWanted { .. } => {
                format!("a unit such as {units}: {}", wanted.example())
            }
        }
    }
}
