//! Enums whose variants are words, and are stored and sent as these words.

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $word)] $variant,)* }

        impl $name {
            /// Every value.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The word that is stored.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// Reads the word.
            pub fn parse(text: &str) -> Option<Self> {
                match text { $($word => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

pub(crate) use words;
