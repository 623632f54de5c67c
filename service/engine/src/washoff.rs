//! Solids that build up on a roof and wash off it.
