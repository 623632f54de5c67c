//! Enums of words that keep a word of a newer service, so that a program can show it and send it back.

/// A word that this version of the contract does not know.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct OtherWord {
    /// Private, so that a known word never stands here.
    word: Box<str>,
}

impl OtherWord {
    pub(crate) fn new(word: &str) -> Self {
        Self { word: word.into() }
    }

    /// The word as it is sent.
    pub fn as_str(&self) -> &str {
        &self.word
    }
}

/// Defines an enum of words that ends in `Other`, with its JSON and its OpenAPI schema.
macro_rules! open_words {
    (
        $(#[doc = $doc:literal])*
        $name:ident, other: $other:literal {
            $($(#[doc = $of:literal])* $variant:ident $word:literal,)*
        }
    ) => {
        $(#[doc = $doc])*
        #[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[cfg_attr(not(feature = "service"), non_exhaustive)]
        pub enum $name {
            $($(#[doc = $of])* $variant,)*
            #[doc = $other]
            Other($crate::OtherWord),
        }

        impl $name {
            /// Every word that this version knows.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The word as it is sent.
            pub fn as_str(&self) -> &str {
                match self {
                    $(Self::$variant => $word,)*
                    Self::Other(other) => other.as_str(),
                }
            }
        }

        impl From<&str> for $name {
            fn from(word: &str) -> Self {
                match word {
                    $($word => Self::$variant,)*
                    other => Self::Other($crate::OtherWord::new(other)),
                }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.as_str())
            }
        }

        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Words;

                impl serde::de::Visitor<'_> for Words {
                    type Value = $name;

                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        f.write_str("a word")
                    }

                    fn visit_str<E: serde::de::Error>(self, word: &str) -> Result<$name, E> {
                        Ok(word.into())
                    }
                }

                deserializer.deserialize_str(Words)
            }
        }

        #[cfg(feature = "openapi")]
        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                let lines: &[&str] = &[$($doc),*];
                let lines: Vec<&str> = lines.iter().map(|line| line.strip_prefix(' ').unwrap_or(line)).collect();
                utoipa::openapi::schema::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::String)
                    .description(Some(lines.join("\n")))
                    .enum_values(Some([$($word),*]))
                    .into()
            }
        }

        #[cfg(feature = "openapi")]
        impl utoipa::ToSchema for $name {
            fn name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }
        }
    };
}

pub(crate) use open_words;

#[cfg(test)]
mod tests {
    use crate::{ComponentKind, Duty, ProblemCode};
    use serde_json::{from_value, json, to_value};

    #[test]
    fn a_word_that_is_not_known_is_kept() {
        let duty: Duty = from_value(json!("mow_the_roof")).expect("a word");
        assert!(matches!(&duty, Duty::Other(word) if word.as_str() == "mow_the_roof"));
        assert_eq!((duty.as_str(), duty.to_string().as_str()), ("mow_the_roof", "mow_the_roof"));
        assert_eq!(to_value(&duty).expect("JSON"), json!("mow_the_roof"));
        assert_eq!(Duty::from("clean_screen"), Duty::CleanScreen, "a known word is never another one");
        assert_eq!(from_value::<ComponentKind>(json!("heat_lamp")).expect("a word").as_str(), "heat_lamp");
        assert_eq!(from_value::<ProblemCode>(json!("too_wet")).expect("a word").as_str(), "too_wet");
        for wrong in [json!({"clean_screen": null}), json!(["clean_screen"]), json!(7), json!(null)] {
            assert!(from_value::<Duty>(wrong.clone()).is_err(), "{wrong}");
        }
    }
}
