//! The rain of one gauge, with everything that the systems under it share.
