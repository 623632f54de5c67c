//! How long water has to stand warm before mosquitoes leave it.
