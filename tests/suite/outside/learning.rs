//! Learning from findings against closed forms, quadrature and simulated truth.
