//! When frost comes and goes, from monthly mean minima.
