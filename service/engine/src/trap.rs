//! How long the seal of an overflow trap holds.
