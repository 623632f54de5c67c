//! Engine
