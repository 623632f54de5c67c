//! A place inside JSON.

use serde_json::Value;
use serde_json::value::RawValue;
use serde_path_to_error::{Path, Segment};
use std::collections::BTreeMap;
use std::fmt;

/// Where a value stands: nowhere but at the top when empty.
#[derive(Clone, Debug, Default)]
pub struct Place(Vec<Step>);

#[derive(Clone, Debug)]
enum Step {
    Field(String),
    Entry(usize),
}

impl Place {
    /// What the reader kept of the way. The name of a variant is no step.
    pub fn of(path: &Path) -> Self {
        let steps = path.iter().filter_map(|segment| match segment {
            Segment::Seq { index } => Some(Step::Entry(*index)),
            Segment::Map { key } => Some(Step::Field(key.clone())),
            Segment::Enum { .. } | Segment::Unknown => None,
        });
        Self(steps.collect())
    }

    /// One step on, to a field.
    pub fn field(&self, name: &str) -> Self {
        self.step(Step::Field(name.to_owned()))
    }

    /// A place inside of this one.
    pub fn join(self, inside: Self) -> Self {
        Self(self.0.into_iter().chain(inside.0).collect())
    }

    fn step(&self, step: Step) -> Self {
        Self(self.0.iter().cloned().chain([step]).collect())
    }

    /// Whether its last step is a field of that name.
    pub fn ends_with(&self, name: &str) -> bool {
        matches!(self.0.last(), Some(Step::Field(last)) if last == name)
    }

    /// What stands there.
    pub fn value<'a>(&self, body: &'a Value) -> Option<&'a Value> {
        self.0.iter().try_fold(body, |value, step| match step {
            Step::Field(name) => value.get(name),
            Step::Entry(index) => value.get(index),
        })
    }

    /// What stands there in a body that was not parsed. Only what lies on the way is looked at.
    pub fn raw<'a>(&self, body: &'a [u8]) -> Option<&'a RawValue> {
        let body: &RawValue = serde_json::from_slice(body).ok()?;
        self.0.iter().try_fold(body, |value, step| match step {
            Step::Field(name) => {
                serde_json::from_str::<BTreeMap<String, &RawValue>>(value.get()).ok()?.remove(name)
            }
            Step::Entry(index) => {
                serde_json::from_str::<Vec<&RawValue>>(value.get()).ok()?.get(*index).copied()
            }
        })
    }

    /// The text that stands there in a body that was not parsed.
    pub fn text(&self, body: &[u8]) -> Option<String> {
        serde_json::from_str(self.raw(body)?.get()).ok()
    }

    /// The same, to be changed.
    pub fn value_mut<'a>(&self, body: &'a mut Value) -> Option<&'a mut Value> {
        self.0.iter().try_fold(body, |value, step| match step {
            Step::Field(name) => value.get_mut(name),
            Step::Entry(index) => value.get_mut(index),
        })
    }

    /// This place and all below it, each before those inside it. Where there are more than a part has by far, this place
    /// alone.
    pub fn with_all_below(&self, body: &Value) -> Vec<Self> {
        const MOST: usize = 500;
        let mut all = vec![self.clone()];
        let mut next = 0;
        while let Some(place) = all.get(next).cloned() {
            next += 1;
            if all.len() > MOST {
                return vec![self.clone()];
            }
            match place.value(body) {
                Some(Value::Object(object)) => {
                    all.extend(object.keys().take(MOST).map(|name| place.field(name)));
                }
                Some(Value::Array(list)) => {
                    all.extend((0..list.len().min(MOST)).map(|index| place.step(Step::Entry(index))));
                }
                _ => {}
            }
        }
        all
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, step) in self.0.iter().enumerate() {
            match step {
                Step::Field(name) if number == 0 => f.write_str(name)?,
                Step::Field(name) => write!(f, ".{name}")?,
                Step::Entry(index) => write!(f, "[{index}]")?,
            }
        }
        Ok(())
    }
}
