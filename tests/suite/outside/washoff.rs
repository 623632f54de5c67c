//! Build-up and wash-off against EPA SWMM.
