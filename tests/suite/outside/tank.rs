//! The tank against EPA SWMM and printed balances.
