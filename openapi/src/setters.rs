//! Setters of requests: required fields are the arguments of a constructor, every other field has a setter.

/// Writes setters for fields of a request. A text is taken in any form, any other value as it is or as an option.
macro_rules! setters {
    ($name:ident { $($field:ident: $type:ty),* $(,)? } $(texts { $($text:ident),* $(,)? })?) => {
        impl $name {
            $(
                #[doc = concat!("Sets [`Self::", stringify!($field), "`].")]
                #[must_use]
                pub fn $field(mut self, $field: impl Into<$type>) -> Self {
                    self.$field = $field.into();
                    self
                }
            )*
            $($(
                #[doc = concat!("Sets [`Self::", stringify!($text), "`].")]
                #[must_use]
                pub fn $text(mut self, $text: impl Into<String>) -> Self {
                    self.$text = Some($text.into());
                    self
                }
            )*)?
        }
    };
}

pub(crate) use setters;
