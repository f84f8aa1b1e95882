//! Reasons: why a figure or a verdict is missing, or what limits it. Data in the program, a sentence for whoever reads
//! it.
//!
//! Each question has an enum of its reasons, whose `Display` is the sentence: the only place with its words. In
//! `review.json` reasons are one string, so that the file reads like the page.

use std::fmt::{self, Display};

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

/// The reasons of one answer, one at least, the most important first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reasons<R>(Vec<R>);

impl<R: PartialEq> Reasons<R> {
    /// These reasons, each once; `None` without any.
    pub fn new(reasons: Vec<R>) -> Option<Self> {
        let mut once: Vec<R> = Vec::new();
        for reason in reasons {
            if !once.contains(&reason) {
                once.push(reason);
            }
        }
        (!once.is_empty()).then_some(Self(once))
    }
}

impl<R> Reasons<R> {
    /// The reasons in order.
    pub fn iter(&self) -> impl Iterator<Item = &R> {
        self.0.iter()
    }
}

impl<R> From<R> for Reasons<R> {
    fn from(reason: R) -> Self {
        Self(vec![reason])
    }
}

impl<R: Display> Display for Reasons<R> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, reason) in self.0.iter().enumerate() {
            write!(f, "{}{reason}", if n > 0 { "; " } else { "" })?;
        }
        Ok(())
    }
}

impl<R: Display> Serialize for Reasons<R> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<R> JsonSchema for Reasons<R> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        String::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}

/// A single reason as its sentence, for a field that may have none.
///
/// # Errors
/// What the serializer said.
pub fn as_text<R: Display, S: Serializer>(reason: &Option<R>, serializer: S) -> Result<S::Ok, S::Error> {
    match reason {
        Some(reason) => serializer.collect_str(reason),
        None => serializer.serialize_none(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_reasons_are_one_sentence() {
        let reasons = Reasons::new(vec!["the log has no voltage", "the log has no current"]).unwrap();
        let expected = "the log has no voltage; the log has no current";
        assert_eq!(serde_json::to_value(&reasons).unwrap(), expected);
        assert_eq!(Reasons::<&str>::new(Vec::new()), None);
    }
}
