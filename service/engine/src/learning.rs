//! What findings teach about the rate at which a part fills, clogs or perishes.
